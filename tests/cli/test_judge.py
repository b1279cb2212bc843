"""``keepcard judge``: two readings files and a limit; one of three words, or why not."""

from __future__ import annotations

import json
import math
import re

import pytest
from skimage import color

KEYS = {
    "delta_e_2000",
    "standard_uncertainty",
    "verdict",
    "risk",
    "limit",
    "p_blends",
    "p_shows",
    "power_at_zero",
    "words",
    "next_step",
}
STATED = "# illuminant: D65\n# observer: 10\n# geometry: d:8\n# specular: included\n"
MASTER = "L,a,b\n49.5,0.5,1.0\n49.6,0.6,1.1\n49.4,0.4,0.9\n"
# Around the same colour as the master, about two units lighter, and one reading beside it.
LIKE = "L,a,b\n49.55,0.5,1.0\n49.45,0.55,1.05\n49.5,0.45,0.95\n"
LIGHTER = "L,a,b\n52.5,0.5,1.0\n52.6,0.6,1.1\n52.4,0.4,0.9\n"
ONE = "L,a,b\n50.1,0.5,1.0\n"


@pytest.fixture
def judge(keepcard, tmp_path):
    """Judge one file's content against another's."""

    def run(master: str, card: str, *options: str, limit: str = "0.8"):
        for name, content in (("master.csv", master), ("card.csv", card)):
            (tmp_path / name).write_text(content, encoding="utf-8")
        return keepcard(
            "judge",
            *("--master", str(tmp_path / "master.csv"), "--card", str(tmp_path / "card.csv")),
            *("--limit", limit, *options),
        )

    return run


def found(result) -> dict:
    assert result.exit_code == 0, result.stderr
    return json.loads(result.stdout)


def test_a_like_card_blends_and_json_holds_the_contract_keys(judge):
    result = judge(MASTER, LIKE, "--standard-uncertainty", "0.1", "--json")
    assert result.stderr == ""
    assert result.stdout.count("\n") == 1
    verdict = found(result)
    assert set(verdict) >= KEYS
    assert verdict["verdict"] == "blends"
    assert (verdict["risk"], verdict["limit"]) == (0.05, 0.8)
    assert verdict["p_blends"] < 0.05
    assert 0.5 <= verdict["power_at_zero"] <= 1
    assert isinstance(verdict["words"], str)
    assert verdict["next_step"] is None


def test_a_lighter_card_shows_and_the_words_say_how(judge):
    verdict = found(judge(MASTER, LIGHTER, "--standard-uncertainty", "0.1", "--json"))
    assert verdict["verdict"] == "shows"
    assert verdict["p_shows"] < 0.05
    assert "lighter" in verdict["words"]


def test_the_difference_is_one_of_means_and_agrees_with_scikit_image(judge):
    verdict = found(judge(MASTER, LIGHTER, "--standard-uncertainty", "0.1", "--json"))
    expected = color.deltaE_ciede2000([49.5, 0.5, 1.0], [52.5, 0.5, 1.0])
    assert verdict["delta_e_2000"] == pytest.approx(expected, abs=1e-9)


def test_the_uncertainty_of_a_pure_lightness_difference_follows_from_the_readings(judge):
    # At a mean L* of 50 the weight S_L is 1 (ISO/CIE 11664-6), so ΔE00 is |ΔL*| and its
    # uncertainty that of a difference of two means: U·√(1/3 + 1/3). U exceeds the scatter here.
    grey = "L,a,b\n49.5,0,0\n49.5,0,0.01\n49.5,0,-0.01\n"
    other = "L,a,b\n50.5,0,0\n50.5,0,0.01\n50.5,0,-0.01\n"
    verdict = found(judge(grey, other, "--standard-uncertainty", "0.2", "--json"))
    assert verdict["delta_e_2000"] == pytest.approx(1, abs=1e-3)
    assert verdict["standard_uncertainty"] == pytest.approx(0.2 * math.sqrt(2 / 3), rel=0.01)


def test_one_reading_a_side_without_a_known_uncertainty_cannot_tell(judge):
    verdict = found(judge(ONE, ONE, "--json"))
    assert verdict["verdict"] == "cannot_tell"
    assert verdict["standard_uncertainty"] is None
    assert verdict["next_step"]


def test_too_coarse_a_measurement_cannot_tell_however_close_the_cards_seem(judge):
    verdict = found(judge(ONE, ONE, "--standard-uncertainty", "1.0", "--json"))
    assert verdict["verdict"] == "cannot_tell"
    assert verdict["power_at_zero"] < 0.5


def test_a_smaller_risk_asks_for_more(judge):
    near = "L,a,b\n49.85,0.5,1.0\n49.95,0.6,1.1\n49.75,0.4,0.9\n"
    usual = found(judge(MASTER, near, "--standard-uncertainty", "0.15", "--json"))
    strict = found(
        judge(MASTER, near, "--standard-uncertainty", "0.15", "--risk", "0.0001", "--json")
    )
    assert usual["verdict"] == "blends"
    assert strict["verdict"] == "cannot_tell"
    assert strict["risk"] == 0.0001


@pytest.mark.parametrize(("card", "code"), [(LIKE, 0), (LIGHTER, 1), (ONE, 1)])
def test_check_exits_with_1_unless_the_card_blends(judge, card, code):
    # One reading with this uncertainty beside a limit it cannot resolve is no `blends`.
    options = ["--standard-uncertainty", "0.1" if card is not ONE else "1.0"]
    assert judge(MASTER, card, *options, "--json", "--check").exit_code == code
    assert judge(MASTER, card, *options, "--check").exit_code == code
    assert judge(MASTER, card, *options).exit_code == 0


def test_people_read_the_sentence_first_then_what_to_do(judge):
    lines = judge(MASTER, LIGHTER, "--standard-uncertainty", "0.1").stdout.splitlines()
    assert lines[0].startswith("Shows: ΔE00 ")
    assert "95 %" in lines[0] and "limit 0.8" in lines[0] and "lighter" in lines[0]
    coarse = judge(ONE, ONE).stdout.splitlines()
    assert coarse[0].startswith("Cannot tell")
    assert any(line.startswith("Next: ") for line in coarse)


UNLIKE = [
    ("# illuminant: A", "# illuminant: D65", "The illuminant is D65 in .*master.csv and A in"),
    ("# observer: 2", "# observer: 10", "The observer is 10 in .* and 2 in"),
    ("# geometry: 45:0", "# geometry: d:8", "The geometry is d:8 in .* and 45:0 in"),
    ("# specular: out", "# specular: in", "The specular reflection is included in .* excluded in"),
    ("# angle: 45", "# angle: 15", "read at 15°, .* at 45°"),
    ("# angle: 45", "# none", "read at no stated angle, .* at 45°"),
    ("# stage: base dry", "# stage: cleared", "card.csv was read without clear"),
    ("# stage: wet", "# stage: wet", "was read wet"),
]


@pytest.mark.parametrize(("of_card", "of_master", "words"), UNLIKE)
def test_like_is_compared_with_like_only(judge, of_card, of_master, words):
    result = judge(f"{of_master}\n{MASTER}", f"{of_card}\n{LIKE}", "--json")
    assert (result.exit_code, result.stdout) == (2, "")
    assert "Not comparable. " in result.stderr
    assert re.search(words, result.stderr)


def test_every_reason_against_a_comparison_is_given_at_once(judge):
    result = judge(STATED + MASTER, "# illuminant: A\n# observer: 2\n# geometry: 45:0\n" + LIKE)
    for words in ("illuminant", "observer", "geometry"):
        assert words in result.stderr
    assert result.exit_code == 2


@pytest.mark.parametrize(
    ("of_card", "of_master", "words"),
    [
        ("# stage: cleared", "# stage: baked", "was read before its bake"),
        ("# temperature: 60 C", "# temperature: 23 C", "60 °C"),
    ],
)
def test_paint_not_treated_alike_is_no_more_than_cannot_tell(judge, of_card, of_master, words):
    result = judge(
        f"{of_master}\n{MASTER}", f"{of_card}\n{LIKE}", "--standard-uncertainty", "0.1", "--json"
    )
    verdict = found(result)
    assert verdict["verdict"] == "cannot_tell"
    assert words in verdict["next_step"]
    assert verdict["delta_e_2000"] < 0.2  # the figure itself is kept


def test_a_different_colour_is_one_however_the_paint_was_treated(judge):
    far = LIGHTER.replace(",1.0", ",21.0").replace(",1.1", ",21.1").replace(",0.9", ",20.9")
    unlike = judge("# stage: baked\n" + MASTER, "# stage: cleared\n" + far, "--json")
    verdict = found(unlike)
    assert (verdict["verdict"], verdict["different_colour"]) == ("shows", True)
    assert "never_baked" in {warning["code"] for warning in verdict["warnings"]}
    first = judge(MASTER, far).stdout.splitlines()[0]
    assert first.startswith("Shows: a different colour, ΔE*ab over 5, limit 0.8; ")


def test_conditions_that_a_file_leaves_open_are_named_and_not_guessed(judge):
    warned = found(judge(STATED + MASTER, LIKE, "--json"))["warnings"]
    (open_,) = [w for w in warned if w["code"] == "conditions_not_compared"]
    for words in ("illuminant", "observer", "geometry", "specular"):
        assert words in open_["message"]
    assert found(judge(STATED + MASTER, STATED + LIKE, "--json"))["warnings"] == []


ANGLED = "angle,L,a,b\n15,99,0,0\n45,50,0,0\n15,99.1,0,0\n45,50.1,0,0\n15,98.9,0,0\n45,49.9,0,0\n"


def test_several_angles_are_judged_one_at_a_time(judge):
    result = judge(ANGLED, ANGLED)
    assert result.exit_code == 2
    assert "15°, 45°. Every angle is judged by itself" in result.stderr
    darker = ANGLED.replace("45,5", "45,4")
    assert found(judge(ANGLED, darker, "--angle", "15", "--json"))["delta_e_2000"] == 0
    assert found(judge(ANGLED, darker, "--angle", "45", "--json"))["delta_e_2000"] > 3
    result = judge(ANGLED, ANGLED, "--angle", "110")
    assert (result.exit_code, "has no reading at 110°; it has 15°, 45°" in result.stderr) == (
        2,
        True,
    )


@pytest.mark.parametrize(
    ("card", "words"),
    [
        ("name,L,a,b\nx,50,1,2\ny,50,1,2\n", r"card.csv holds 2 samples \(x, y\)"),
        ("illuminant,L,a,b\nA,50,1,2\nD65,50,1,2\n", "under 2 sets of conditions"),
        ("X,Y,Z\n17,18,19\n", "holds no L*, a*, b*"),
        ("L,a,b\n50,one,2\n", "card.csv: Line 2, column 'a': 'one' is not a number"),
        ("CGATS.17\n", "card.csv: This looks like a CGATS.17 file"),
    ],
)
def test_a_file_that_is_not_the_readings_of_one_card_is_refused_by_name(judge, card, words):
    result = judge(MASTER, card, "--json")
    assert (result.exit_code, result.stdout) == (2, "")
    assert words.replace("\\", "") in result.stderr


@pytest.mark.parametrize(
    "option",
    [
        ("--limit", "0"),
        ("--limit", "nan"),
        ("--risk", "0"),
        ("--risk", "0.5"),
        ("--standard-uncertainty", "-0.1"),
        ("--standard-uncertainty", "0"),
    ],
)
def test_options_out_of_range_are_refused_by_name(judge, option):
    result = judge(MASTER, LIKE, *option, "--json")
    assert (result.exit_code, result.stdout) == (2, "")
    assert f"'{option[0]}'" in result.stderr


def test_a_decimal_comma_is_a_limit_too(judge):
    assert found(judge(MASTER, LIKE, "--json", limit="0,8"))["limit"] == 0.8


def test_a_process_of_its_own_keeps_to_the_exit_codes(shell_keepcard, tmp_path):
    master, card = tmp_path / "m.csv", tmp_path / "c.csv"
    master.write_text(MASTER)
    card.write_text(LIGHTER)
    common = ["judge", "--master", str(master), "--card", str(card), "--limit", "0.8", "--json"]
    done = shell_keepcard(*common)
    assert (done.returncode, done.stderr) == (0, b"")
    assert json.loads(done.stdout)["verdict"] == "shows"
    assert shell_keepcard(*common, "--check").returncode == 1
    card.unlink()
    done = shell_keepcard(*common, "--check")
    assert (done.returncode, done.stdout) == (2, b"")


def test_the_same_files_give_the_same_bytes(judge):
    assert judge(MASTER, LIKE, "--json").stdout == judge(MASTER, LIKE, "--json").stdout
