"""Like with like: what stands against a comparison, in its grade, with its remedy."""

from __future__ import annotations

from datetime import timedelta

import pytest

from service.domain.comparability import GRADES, Grade, reasons_against
from service.domain.specimens import specimen_of_card
from service.domain.terms import FinishKind, HidingMark, Specular, Stage
from tests.builders import MONDAY, JobBuilder

METALLIC = {15: (70.0, 0.0, 2.0), 45: (45.0, 0.0, 1.0), 110: (25.0, 0.0, 0.0)}
RED = (40.0, 55.0, 30.0)


class Bench:
    """Two cards of one job, alike in everything a test does not change."""

    def __init__(self, kind=FinishKind.SOLID, lab=(50.0, 0.0, 0.0), **policy):
        self.job = JobBuilder(kind, **policy)
        self.lab = lab

    def side(self, number, *, coats=3, bake=True, card=None, **reading):
        batch = self.job.batch(number)
        made = self.job.card(batch, coats=coats, **(card or {}))
        if bake:
            self.job.bake(made, at=MONDAY)
        reading.setdefault("at", MONDAY + timedelta(hours=6))
        taken = self.job.reading(made, reading.pop("lab", self.lab), **reading)
        return specimen_of_card(self.job.file, made, taken, f"card {number}")

    def reasons(self, a, b):
        return reasons_against(self.job.file, self.job.finish, a, b)

    def graded(self, a, b):
        return {reason.code: reason.grade for reason in self.reasons(a, b)}


def test_two_cards_treated_alike_are_compared_without_a_word():
    bench = Bench()
    assert bench.graded(bench.side(1), bench.side(2)) == {}


@pytest.mark.parametrize(
    ("code", "changed"),
    [
        ("unlike_illuminant", {"illuminant": "D50"}),
        ("unlike_observer", {"observer": 2}),
        ("unlike_geometry", {"geometry": "45:0"}),
        ("unlike_specular", {"specular": Specular.EXCLUDED}),
        ("unlike_specular", {"specular": None}),
        ("wet", {"stage": Stage.WET}),
    ],
)
def test_unlike_conditions_stop_the_comparison(code, changed):
    bench = Bench()
    assert bench.graded(bench.side(1), bench.side(2, **changed))[code] is Grade.STOPS


def test_print_conditions_against_paint_conditions_name_both_faults_at_once():
    bench = Bench()
    reasons = bench.reasons(bench.side(1), bench.side(2, illuminant="D50", observer=2))
    assert [reason.code for reason in reasons] == ["unlike_illuminant", "unlike_observer"]
    assert all("card 2" in reason.remedy for reason in reasons)


def test_one_geometry_may_be_spelled_in_several_ways_and_needs_no_specular_mode():
    bench = Bench()
    first = bench.side(1, geometry="45:0", specular=None)
    assert bench.graded(first, bench.side(2, geometry="45°/0°", specular=Specular.EXCLUDED)) == {}


def test_an_uncleared_card_is_not_compared_with_a_cleared_master():
    bench = Bench()
    graded = bench.graded(bench.side(1), bench.side(2, stage=Stage.BASE_DRY, bake=False))
    assert graded == {"unlike_clear": Grade.STOPS}


def test_two_base_coats_for_three_on_a_metallic_only_cannot_tell():
    bench = Bench(FinishKind.METALLIC, METALLIC)
    graded = bench.graded(bench.side(1, coats=3), bench.side(2, coats=2))
    assert graded == {"unlike_coats": Grade.ONLY_CANNOT_TELL}


def test_two_base_coats_for_three_on_a_hidden_solid_is_noted():
    bench = Bench()
    hidden = {"hiding_mark": HidingMark.COVERED}
    graded = bench.graded(bench.side(1, card=hidden), bench.side(2, coats=2, card=hidden))
    assert graded == {"extra_coat": Grade.NOTED}


def test_fewer_coats_than_hide_only_cannot_tell():
    bench = Bench(coats_to_hide=3)
    graded = bench.graded(bench.side(1, coats=3), bench.side(2, coats=2))
    assert graded["short_of_hiding"] is Grade.ONLY_CANNOT_TELL


def test_a_mark_that_shows_through_is_short_of_hiding_whatever_was_sprayed():
    bench = Bench(coats_to_hide=2)
    shows = {"hiding_mark": HidingMark.SHOWS_THROUGH}
    graded = bench.graded(bench.side(1), bench.side(2, card=shows))
    assert graded["short_of_hiding"] is Grade.ONLY_CANNOT_TELL


def test_a_metallic_whose_coats_nobody_logged_only_cannot_tell():
    bench = Bench(FinishKind.METALLIC, METALLIC)
    graded = bench.graded(bench.side(1), bench.side(2, coats=0))
    assert graded == {"unlike_coats": Grade.ONLY_CANNOT_TELL}


def test_another_ground_counts_unless_it_is_hidden():
    bench = Bench()
    grey, white = {"ground_shade": "grey 5"}, {"ground_shade": "white"}
    graded = bench.graded(bench.side(1, card=grey), bench.side(2, card=white))
    assert graded == {"unlike_ground": Grade.ONLY_CANNOT_TELL}
    hidden = {"hiding_mark": HidingMark.COVERED}
    graded = bench.graded(bench.side(3, card=grey | hidden), bench.side(4, card=white | hidden))
    assert graded == {}


def test_a_card_never_baked_only_cannot_tell_against_a_baked_one():
    bench = Bench()
    graded = bench.graded(bench.side(1), bench.side(2, stage=Stage.CLEARED, bake=False))
    assert graded == {"never_baked": Grade.ONLY_CANNOT_TELL}


@pytest.mark.parametrize(
    ("lab", "temperature", "warm"),
    [
        # NPL's ceramic tiles change by about 1 unit for 10 °C in red and orange, and by 0.07 at
        # most in greys and deep blue (Malkin et al., J. Soc. Dyers Col. 113, 1997).
        (RED, 27.0, True),
        (RED, 25.0, False),
        ((50.0, 0.0, 0.0), 27.0, False),
        ((50.0, 0.0, 0.0), 40.0, True),
        ((30.0, 5.0, -40.0), 27.0, False),
    ],
)
def test_a_warm_card_only_cannot_tell_and_reds_are_held_stricter(lab, temperature, warm):
    bench = Bench(lab=lab)
    graded = bench.graded(bench.side(1), bench.side(2, surface_temperature_c=temperature))
    assert graded == ({"warm": Grade.ONLY_CANNOT_TELL} if warm else {})


def test_a_card_read_soon_after_its_bake_counts_as_warm_when_nobody_measured_it():
    bench = Bench()
    soon = MONDAY + timedelta(minutes=20)
    graded = bench.graded(bench.side(1), bench.side(2, surface_temperature_c=None, at=soon))
    assert graded == {"warm": Grade.ONLY_CANNOT_TELL}
    reasons = bench.reasons(bench.side(3), bench.side(4, surface_temperature_c=None, at=soon))
    assert "20 min after its bake" in reasons[0].text


def test_a_temperature_nobody_measured_is_noted():
    bench = Bench()
    graded = bench.graded(bench.side(1), bench.side(2, surface_temperature_c=None))
    assert graded == {"temperature_unknown": Grade.NOTED}


def test_polished_against_as_sprayed_is_noted():
    bench = Bench()
    assert bench.graded(bench.side(1), bench.side(2, stage=Stage.POLISHED)) == {
        "unlike_polish": Grade.NOTED
    }


def test_a_required_angle_missing_only_cannot_tell_and_is_named():
    bench = Bench(FinishKind.METALLIC, METALLIC)
    less = {angle: lab for angle, lab in METALLIC.items() if angle != 110}
    reasons = bench.reasons(bench.side(1), bench.side(2, lab=less))
    assert [(r.code, r.grade) for r in reasons] == [("angle_missing", Grade.ONLY_CANNOT_TELL)]
    assert "110°" in reasons[0].text
    assert reasons[0].remedy == "Read card 2 at 110°."


def test_at_several_angles_the_gloss_is_left_out_whatever_the_setting_is_called():
    bench = Bench(FinishKind.METALLIC, METALLIC)
    fan = {"geometry": "multi-angle"}
    one, other = bench.side(1, **fan), bench.side(2, specular=None, **fan)
    assert bench.graded(one, other) == {}


def test_solids_read_at_no_common_angle_are_not_compared():
    bench = Bench()
    lab = (50.0, 0.0, 0.0)
    graded = bench.graded(bench.side(1, lab={15: lab}), bench.side(2, lab={110: lab}))
    assert graded == {"unlike_angle": Grade.STOPS}


def test_a_reading_past_calibration_only_cannot_tell():
    bench = Bench()
    graded = bench.graded(bench.side(1), bench.side(2, past_calibration=True))
    assert graded == {"past_calibration": Grade.ONLY_CANNOT_TELL}


def test_the_policy_may_move_a_reason_to_another_grade():
    bench = Bench(grades={"never_baked": "noted", "temperature_unknown": "stops"})
    second = bench.side(2, stage=Stage.CLEARED, bake=False, surface_temperature_c=None)
    assert bench.graded(bench.side(1), second) == {
        "temperature_unknown": Grade.STOPS,
        "never_baked": Grade.NOTED,
    }


def test_every_reason_comes_at_once_heaviest_first():
    bench = Bench(coats_to_hide=3)
    second = bench.side(
        2, illuminant="A", coats=2, bake=False, stage=Stage.CLEARED, surface_temperature_c=None
    )
    grades = [reason.grade for reason in bench.reasons(bench.side(1), second)]
    assert len(grades) >= 4
    assert grades == sorted(grades, key=list(Grade).index)


def test_a_stage_read_as_baked_counts_as_baked_though_nobody_logged_the_oven():
    bench = Bench()
    assert bench.graded(bench.side(1), bench.side(2, bake=False)) == {}


def test_no_remedy_is_empty():
    bench = Bench(FinishKind.METALLIC, METALLIC, coats_to_hide=3)
    second = bench.side(2, coats=2, bake=False, stage=Stage.WET, past_calibration=True)
    reasons = bench.reasons(bench.side(1), second)
    assert {reason.code for reason in reasons} <= set(GRADES)
    assert all(reason.text and reason.remedy for reason in reasons)
