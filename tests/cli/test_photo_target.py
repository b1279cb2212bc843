"""``keepcard photo-target``: the sheet as numbers and as a picture, and one that was measured."""

from __future__ import annotations

import io
import json

import pytest
from PIL import Image

from colour.photo.sheet import sheet_target
from colour.photo.sheet_changes import one_of_each
from colour.photo.target import Target

SHEET = sheet_target("a4")
CHART = {
    "name": "invented chart",
    "width_mm": 50,
    "height_mm": 80,
    "measurement": {"illuminant": "D50", "observer": "2"},
    "patches": [
        {
            "name": f"A{i}",
            "x_mm": 2,
            "y_mm": 2 + 8 * i,
            "width_mm": 6,
            "height_mm": 7,
            "lab": [50, i, 0],
        }
        for i in range(8)
    ],
    "windows": [],
}


def readings(names, head="# illuminant: D50\n# observer: 2\n# geometry: 45:0\n"):
    rows = [f"{name},{20 + i % 70},{i % 9},-3" for i, name in enumerate(names)]
    return head + "name,L,a,b\n" + "\n".join(rows) + "\n"


@pytest.fixture
def written(tmp_path):
    def write(content: str, name: str = "file") -> str:
        path = tmp_path / name
        path.write_text(content)
        return str(path)

    return write


def given(result):
    assert (result.exit_code, result.stderr) == (0, "")
    return json.loads(result.stdout)


def test_json_has_the_contract_shape_and_nothing_else_is_printed(keepcard):
    found = given(keepcard("photo-target", "--json"))
    assert {"name", "width_mm", "height_mm", "measurement", "patches", "windows"} <= set(found)
    assert set(found["measurement"]) == {"illuminant", "observer"}
    place = {"name", "x_mm", "y_mm", "width_mm", "height_mm"}
    assert all({*place, "lab"} <= set(patch) for patch in found["patches"])
    assert all(place == set(window) for window in found["windows"])
    assert {"master", "card"} <= {window["name"] for window in found["windows"]}
    assert Target.from_json(found) == SHEET


def test_letter_and_a_print_code_are_in_the_numbers(keepcard):
    found = given(keepcard("photo-target", "--paper", "letter", "--print-code", "7k3q", "--json"))
    assert (found["width_mm"], found["height_mm"]) == (279.4, 215.9)
    assert {marker["text"] for marker in found["markers"]} == {
        f"KC/LT/{corner}/7K3Q" for corner in ("TL", "TR", "BR", "BL")
    }


def test_files_are_written_beside_the_numbers(keepcard, tmp_path):
    files = {form: tmp_path / f"sheet.{form}" for form in ("png", "pdf", "svg")}
    options = [part for form, file in files.items() for part in (f"--{form}", str(file))]
    found = given(keepcard("photo-target", *options, "--json"))
    assert found["name"] == SHEET.name
    assert Image.open(io.BytesIO(files["png"].read_bytes())).size == (2970, 2100)
    assert files["pdf"].read_bytes().startswith(b"%PDF-")
    assert b"<svg" in files["svg"].read_bytes()[:200]


def test_people_are_told_what_was_written(keepcard, tmp_path):
    result = keepcard("photo-target", "--pdf", str(tmp_path / "sheet.pdf"))
    assert result.exit_code == 0
    assert result.stdout == (
        f"{tmp_path / 'sheet.pdf'} holds the sheet. Print it at 100 % and check its 100 mm bar.\n"
    )


def test_asked_for_nothing_it_says_what_the_sheet_is_and_what_to_do_next(keepcard):
    result = keepcard("photo-target")
    assert result.exit_code == 0
    for words in ("3 windows", "keepcard photo-target --pdf", "keepcard measure PHOTO", "nominal"):
        assert words in result.stdout


def test_readings_of_every_patch_make_the_target_of_that_very_print(keepcard, written):
    file = written(readings([patch.name for patch in SHEET.patches]))
    options = ("--print-code", "7K3Q", "--measured", file)
    found = given(keepcard("photo-target", *options, "--json"))
    assert found["values"] == "measured"
    assert found["measurement"] == {"illuminant": "D50", "observer": "2"}
    assert found["patches"][4]["lab"] == [24, 4, -3]
    assert Target.from_json(found).values == "measured"
    said = keepcard("photo-target", *options).stdout
    assert "158 patches, measured for D50/2°" in said


def test_one_reading_of_each_printed_colour_will_do(keepcard, written):
    names = one_of_each(SHEET)
    found = given(keepcard("photo-target", "--measured", written(readings(names)), "--json"))
    assert len(found["patches"]) == len(SHEET.patches) > len(names)


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (readings(["C1", "D1"]), "Nothing was read of the colour printed at"),
        (readings(["C1", "Z9"]), "what is no patch of the sheet: Z9. Name each by its column"),
        (readings(one_of_each(SHEET), head=""), "does not say for which illuminant"),
        ("name,L,a,b\nC1,5o,0,0\n", "'5o' is not a number"),
    ],
    ids=["too few", "unknown name", "no conditions", "not a number"],
)
def test_readings_that_will_not_do_are_refused_in_words(keepcard, written, content, words):
    result = keepcard("photo-target", "--measured", written(content), "--json")
    assert (result.exit_code, result.stdout) == (2, "")
    assert words in result.stderr


def test_a_bought_chart_is_mixed_only_under_its_own_conditions(keepcard, written):
    chart = written(json.dumps(CHART), "chart.json")
    result = keepcard("photo-target", "--chart", chart, "--json")
    assert (result.exit_code, result.stdout) == (2, "")
    assert "cannot be mixed" in result.stderr and "D50/2°" in result.stderr
    alone = given(keepcard("photo-target", "--chart", chart, "--chart-only", "--json"))
    assert len(alone["patches"]) == 8 and alone["measurement"]["illuminant"] == "D50"
    assert [window["name"] for window in alone["windows"]] == ["card", "master"]
    measured = written(readings(one_of_each(SHEET)), "readings.csv")
    both = given(keepcard("photo-target", "--chart", chart, "--measured", measured, "--json"))
    assert len(both["patches"]) == len(SHEET.patches) + 8
    said = keepcard("photo-target", "--chart", chart, "--chart-only").stdout
    assert "Lay invented chart upright in the middle of the third window." in said
    assert "uneven light over the cards is not seen" in said


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("--chart-only",), "needs a chart"),
        (("--print-code", "OILU"), "'OILU' is not a print code"),
        (("--print-code", "0000"), "the code of every print that is not registered"),
        (("--chart", "no.json"), "'no.json' cannot be read: no such file"),
        (("--measured", "no.csv"), "'no.csv' cannot be read: no such file"),
        (("--png", "no/such/folder/sheet.png"), "cannot be written: no such file or directory"),
        (("--paper", "a3"), "'a3' is not one of 'a4', 'letter'"),
    ],
    ids=lambda value: value[0] if isinstance(value, tuple) else "",
)
def test_what_cannot_be_met_exits_2_with_words(keepcard, arguments, words):
    result = keepcard("photo-target", *arguments, "--json")
    assert (result.exit_code, result.stdout) == (2, "")
    assert words in result.stderr


@pytest.mark.parametrize("content", ["{", "[]", '{"name": "x"}'], ids=["cut", "list", "empty"])
def test_a_chart_file_of_another_form_is_refused(keepcard, written, content):
    result = keepcard("photo-target", "--chart", written(content), "--json")
    assert (result.exit_code, result.stdout) == (2, "")
    assert "keepcard photo-target --json" in result.stderr or "width_mm" in result.stderr


def test_the_numbers_need_neither_numpy_nor_the_typesetter(shell_keepcard):
    result = shell_keepcard("photo-target", "--json", environment={"PYTHONPROFILEIMPORTTIME": "1"})
    assert result.returncode == 0
    loaded = {line.rpartition(b"|")[2].strip() for line in result.stderr.splitlines()}
    assert b"colour.photo.sheet" in loaded
    assert not loaded & {b"numpy", b"typst", b"segno", b"scipy"}
