"""``keepcard control``: the published examples from a file, and files as people have them."""

from __future__ import annotations

import json

import pytest

from tests.colour.test_control import NIST_EWMA, NIST_INDIVIDUALS, TYM, TYM_T2


@pytest.fixture
def written(tmp_path):
    def write(text: str, name: str = "batches.csv") -> str:
        path = tmp_path / name
        path.write_text(text, encoding="utf-8")
        return str(path)

    return write


def column(values) -> str:
    return "value\n" + "\n".join(map(str, values)) + "\n"


def answer(done):
    assert (done.exit_code, done.stderr) == (0, "")
    return json.loads(done.stdout)


def refused(done) -> str:
    assert done.exit_code == 2 and done.stdout == ""
    return done.stderr


def test_individuals_of_the_handbook_in_the_contracts_shape(keepcard, written):
    file = written(column(NIST_INDIVIDUALS))
    found = answer(keepcard("control", file, "--chart", "individuals", "--json"))
    assert found["centre"] == pytest.approx(50.81)
    assert found["upper"] == pytest.approx(55.8041, abs=5e-5)
    assert found["lower"] == pytest.approx(45.8159, abs=5e-5)
    assert found["points"] == NIST_INDIVIDUALS and found["signals"] == []
    assert found["notes"][0].startswith("Not enough batches: 10 rows")


def test_the_ewma_has_a_limit_for_each_point(keepcard, written):
    known = ("--target", "50", "--standard-deviation", "2.0539", "--lambda", "0.3")
    found = answer(
        keepcard("control", written(column(NIST_EWMA)), "--chart", "ewma", *known, "--json")
    )
    assert len(found["upper"]) == len(found["points"]) == 20
    assert found["upper"][0] == pytest.approx(51.8485, abs=5e-5)
    assert found["upper"][-1] == pytest.approx(52.5884, abs=1e-4)
    assert found["signals"] == [] and found["notes"] == []


def test_t_squared_names_the_row_that_signals_counted_from_one(keepcard, written):
    rows = "\n".join(",".join(map(str, row)) for row in TYM)
    file = written("dL,da,db\n" + rows)
    found = answer(keepcard("control", file, "--chart", "t2", "--alpha", "0.005", "--json"))
    assert found["points"] == pytest.approx(TYM_T2, abs=0.00501)
    assert found["upper"] == pytest.approx(8.546, abs=5e-4)
    assert found["lower"] is None and found["signals"] == [1]
    assert found["columns"] == ["dL", "da", "db"]
    # Without a heading the file is the same.
    assert (
        answer(keepcard("control", written(rows), "--chart", "t2", "--json"))["points"]
        == (found["points"])
    )


def test_a_baseline_of_another_file_judges_the_rows_after_it(keepcard, written):
    text = "\n".join(",".join(map(str, row)) for row in TYM)
    held = written("a,b,c\n" + text, "held.csv")
    later = written("a,b,c\n16.9,85.2,43.2\n16.9,95.2,43.2\n", "later.csv")
    found = answer(
        keepcard("control", later, "--chart", "t2", "--phase", "2", "--baseline", held, "--json")
    )
    assert found["upper"] == pytest.approx(34.12, abs=5e-3)
    assert found["signals"] == [2]


def test_a_column_of_words_names_the_rows_and_decimal_commas_are_read(keepcard, written):
    file = written("batch;dL\nB1;0,1\nB2;-0,2\nB3;0,1\nB4;9,5\nB5;0,0\nB6;0,2\n")
    done = keepcard(
        "control", file, "--chart", "individuals", "--target", "0", "--standard-deviation", "0.2"
    )
    assert done.exit_code == 0
    assert done.stdout.startswith("Outside the limits: B4.")


def test_rows_that_begin_with_words_need_no_heading(keepcard, written):
    file = written("B1,0.1\nB2,0.3\nB3,0.2\n")
    found = answer(keepcard("control", file, "--chart", "individuals", "--json"))
    assert found["points"] == [0.1, 0.3, 0.2]


@pytest.mark.parametrize(
    ("text", "options", "said"),
    [
        ("", ["--chart", "ewma"], "is empty"),
        ("dL\n", ["--chart", "ewma"], "a heading and no rows"),
        ("dL,da\n1,2\n3,4\n", ["--chart", "ewma"], "Choose one by --column"),
        ("dL,da\n1,2\n3,x\n", ["--chart", "t2"], "Row 3"),
        ("dL,da\n1,2\n3\n", ["--chart", "t2"], "Row 3"),
        ("dL,da\n1,2\n3,4\n", ["--chart", "ewma", "--column", "dB"], "has no column 'dB'"),
        ("dL\n1\n1\n1\n", ["--chart", "individuals"], "all values are the same"),
        ("dL,da\n1,2\n3,4\n", ["--chart", "t2"], "4 rows at least, got 2"),
        ("dL,da\n1,2\n3,4\n", ["--chart", "t2", "--target", "0"], "--target has no place"),
        ("dL\n1\n2\n", ["--chart", "ewma", "--baseline", "x"], "is for the chart t2"),
        ("name\na\nb\n", ["--chart", "ewma"], "no column of numbers"),
    ],
)
def test_what_gives_no_chart_is_refused_in_words(keepcard, written, text, options, said):
    assert said in refused(keepcard("control", written(text), *options))


def test_one_column_of_several_is_chosen_by_name(keepcard, written):
    file = written("dL,da\n1,2\n3,4\n2,8\n")
    found = answer(keepcard("control", file, "--chart", "individuals", "--column", "DA", "--json"))
    assert found["points"] == [2, 4, 8]
