"""``keepcard difference``: two colours typed in, every figure out."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from skimage import color

KEYS = {
    "delta_e_2000",
    "delta_e_94",
    "delta_e_cmc_2_1",
    "delta_e_cmc_1_1",
    "delta_e_ab",
    "delta_l",
    "delta_a",
    "delta_b",
    "delta_c",
    "delta_h",
    "words",
}


def sharma_pairs() -> list[dict[str, str]]:
    """Sharma, Wu, Dalal (2005), table 1, as typed there; the source stands in the file."""
    path = Path(__file__).parents[1] / "reference" / "ciede2000_pairs.txt"
    lines = [line for line in path.read_text("utf-8").splitlines() if not line.startswith("#")]
    header = lines[0].split()
    return [dict(zip(header, line.split(), strict=True)) for line in lines[1:]]


PAIRS = sharma_pairs()


def typed(pair: dict[str, str]) -> tuple[str, str]:
    return tuple(",".join(pair[axis + n] for axis in "Lab") for n in "12")


@pytest.mark.parametrize("pair", PAIRS, ids=lambda pair: f"pair{pair['pair']}")
def test_a_published_pair_comes_out_to_its_last_digit(keepcard, pair):
    result = keepcard("difference", *typed(pair), "--json")
    assert (result.exit_code, result.stderr) == (0, "")
    assert json.loads(result.stdout)["delta_e_2000"] == pytest.approx(
        float(pair["delta_e"]), abs=5e-5
    )


def test_all_published_pairs_are_there():
    assert len(PAIRS) == 34


@pytest.mark.parametrize("pair", PAIRS[:20:3], ids=lambda pair: f"pair{pair['pair']}")
def test_the_other_formulas_agree_with_scikit_image(keepcard, pair):
    found = json.loads(keepcard("difference", *typed(pair), "--json").stdout)
    master, sample = ([float(v) for v in colour.split(",")] for colour in typed(pair))
    assert found["delta_e_94"] == pytest.approx(color.deltaE_ciede94(master, sample), abs=1e-9)
    assert found["delta_e_ab"] == pytest.approx(color.deltaE_cie76(master, sample), abs=1e-9)
    for key, lightness in (("delta_e_cmc_2_1", 2), ("delta_e_cmc_1_1", 1)):
        expected = color.deltaE_cmc(master, sample, kL=lightness, kC=1)
        assert found[key] == pytest.approx(expected, abs=1e-9)


def test_json_holds_the_contract_keys_and_the_parts_point_from_master_to_sample(keepcard):
    found = json.loads(keepcard("difference", "50,3,4", "49,6,8", "--json").stdout)
    assert set(found) == KEYS
    assert found["delta_l"] == -1
    assert (found["delta_a"], found["delta_b"]) == (3, 4)
    assert found["delta_c"] == pytest.approx(5)  # from 5 to 10, along the same hue
    assert found["delta_h"] == pytest.approx(0, abs=1e-12)
    assert isinstance(found["words"], str)


def test_the_first_colour_is_the_master_where_the_formula_is_not_symmetric(keepcard):
    there = json.loads(keepcard("difference", "50,30,0", "50,35,5", "--json").stdout)
    back = json.loads(keepcard("difference", "50,35,5", "50,30,0", "--json").stdout)
    assert there["delta_e_94"] > back["delta_e_94"]  # the weights grow with the master's chroma
    assert there["delta_e_2000"] == pytest.approx(back["delta_e_2000"], abs=1e-12)


def test_parametric_factors_divide_their_part(keepcard):
    plain = json.loads(keepcard("difference", "50,0,0", "52,0,0", "--json").stdout)
    halved = json.loads(keepcard("difference", "50,0,0", "52,0,0", "--k-l", "2", "--json").stdout)
    assert halved["delta_e_2000"] == pytest.approx(plain["delta_e_2000"] / 2, rel=1e-12)


@pytest.mark.parametrize(
    ("master", "sample"),
    [
        ("50.1,2.3,-4", "50,-1,2"),
        ("50,1;2,3;-4", "50;-1;2"),
        (" 50.1, 2.3, -4 ", "50, -1, 2"),
        ("50.1,2.3,\u22124", "5e1,-1.0,+2"),
    ],
)
def test_a_colour_may_be_typed_with_commas_or_semicolons(keepcard, master, sample):
    found = json.loads(keepcard("difference", master, sample, "--json").stdout)
    assert found["delta_l"] == pytest.approx(-0.1)
    assert found["delta_a"] == pytest.approx(-3.3)
    assert found["delta_b"] == pytest.approx(6)


@pytest.mark.parametrize("place", [0, 1])
def test_a_colour_that_begins_with_a_minus_is_a_colour_and_no_option(keepcard, place):
    colours = ["50,1,2", "50,1,2"]
    colours[place] = "-1,2,3"
    result = keepcard("difference", *colours, "--json")
    assert (result.exit_code, result.stdout) == (2, "")
    assert "L* cannot be -1. It is 0 for black and 100 for white." in result.stderr
    assert "No such option" not in result.stderr


@pytest.mark.parametrize(
    ("colour", "words"),
    [
        ("50,1", "'50,1' has 2 values. A colour is three numbers"),
        ("50,1,2,3,-4,0", 'write semicolons between: "50,1;2,3;-4"'),
        ("50,x,2", "'x' in '50,x,2' is not a number. Write a* as 12.3."),
        ("50,,2", "'' in '50,,2' is not a number"),
        ("nan,1,2", "'nan' in 'nan,1,2' is not a number"),
        ("50,inf,2", "'inf' in '50,inf,2' is not a number"),
        ("50,1e999,2", "'1e999' in '50,1e999,2' is not a number"),
        ("900,1,2", "L* cannot be 900"),
        ("50,-500,2", "a* cannot be -500. It lies between -200 and 200."),
        ("50,0,201", "b* cannot be 201"),
        ("-3;1,0;2", "L* cannot be -3"),
    ],
)
def test_a_colour_that_cannot_be_is_refused_with_its_value(keepcard, colour, words):
    result = keepcard("difference", "50,1,2", colour)
    assert (result.exit_code, result.stdout) == (2, "")
    assert words in result.stderr


@pytest.mark.parametrize("value", ["0", "-1", "nan", "inf", "much"])
def test_a_weight_that_cannot_be_is_refused(keepcard, value):
    result = keepcard("difference", "50,1,2", "50,1,3", "--k-c", value)
    assert (result.exit_code, result.stdout) == (2, "")
    assert "'--k-c'" in result.stderr


def test_people_read_a_short_table_with_words(keepcard):
    result = keepcard("difference", "50,2.6772,-79.7751", "50,0,-82.7485")
    assert result.exit_code == 0
    first, *rest = result.stdout.splitlines()
    assert first.startswith("ΔE00 2.04. Sample against master: ")
    table = {line.split()[0]: line.split()[1:] for line in rest if line.strip()}
    assert table["b*"] == ["-79.78", "-82.75", "-2.97"]
    assert table["L*"] == ["50.00", "50.00", "0.00"]
    assert "different colour" not in result.stdout


def test_beyond_small_differences_the_figure_is_not_offered_as_exact(keepcard):
    assert "a different colour" in keepcard("difference", "50,0,0", "70,0,0").stdout


def test_changed_weights_are_shown_with_the_figure(keepcard):
    shown = keepcard("difference", "50,0,0", "51,0,0", "--k-l", "2").stdout
    assert "with k_L:k_C:k_H = 2:1:1" in shown


def test_a_process_of_its_own_prints_one_object_and_nothing_else(shell_keepcard):
    done = shell_keepcard("difference", "50,1,2", "50,1,3", "--json")
    assert (done.returncode, done.stderr) == (0, b"")
    assert done.stdout.count(b"\n") == 1
    assert set(json.loads(done.stdout)) == KEYS
