"""Several angles: every one by itself, and the worst decides."""

import numpy as np
import pytest

from colour.decision import Reason, UncertainDifference, Verdict, judge_angles, judge_difference

FACES = {15: (85.0, -0.6, -2.0), 45: (60.0, -0.5, -1.6), 110: (35.0, -0.3, -1.0)}


def _angles(steps, sd=0.08):
    return {
        angle: UncertainDifference.of(FACES[angle], [step, 0, 0], sd**2 * np.eye(3))
        for angle, step in steps.items()
    }


def _judge(steps, sd=0.08, **about):
    return judge_angles(_angles(steps, sd), required=[15, 45, 110], limit=0.8, **about)


def test_all_angles_near_blend():
    judged = _judge({15: 0.2, 45: 0.1, 110: 0.15})
    assert judged.verdict is Verdict.BLENDS
    assert judged.next_step is None


def test_worst_angle_decides():
    judged = _judge({15: 0.2, 45: 0.1, 110: 2.5})
    assert judged.verdict is Verdict.SHOWS
    assert judged.worst == 110
    assert judged.angles[15].verdict is Verdict.BLENDS


def test_one_undecided_angle_leaves_it_undecided():
    judged = _judge({15: 0.2, 45: 0.85, 110: 0.1})
    assert judged.verdict is Verdict.CANNOT_TELL
    assert judged.worst == 45
    assert judged.next_step.startswith("At 45: ")


def test_blends_uses_the_full_risk_and_shows_a_share():
    judged = _judge({15: 0.2, 45: 0.1, 110: 0.15})
    for one in judged.angles.values():
        assert one.risk == 0.05
        assert one.shows_risk == pytest.approx(0.05 / 3)


def test_difference_that_shows_alone_may_not_show_among_three():
    # Between the two critical values: p_shows lies between 0.05/3 and 0.05.
    for step in np.linspace(1.0, 1.6, 61):
        alone = judge_difference(_angles({15: step})[15], limit=0.8)
        if 0.02 < alone.p_shows < 0.045:
            break
    else:
        pytest.fail("no difference between the two critical values was found")
    assert alone.verdict is Verdict.SHOWS
    assert _judge({15: step, 45: 0.1, 110: 0.1}).verdict is Verdict.CANNOT_TELL


def test_missing_angle_cannot_tell():
    judged = _judge({15: 0.2, 45: 0.1})
    assert judged.verdict is Verdict.CANNOT_TELL
    assert judged.reasons[0] is Reason.ANGLE_MISSING
    assert judged.missing == (110,)
    assert judged.next_step == "Measure the missing angle: 110."
    assert _judge({15: 2.5, 45: 0.1}).verdict is Verdict.CANNOT_TELL


def test_different_colour_at_one_angle_needs_no_other():
    judged = _judge({15: 20.0})
    assert judged.verdict is Verdict.SHOWS
    assert judged.missing == (45, 110)


def test_no_angle_at_all_cannot_tell():
    judged = judge_angles({45: None}, required=[45], limit=0.8)
    assert judged.verdict is Verdict.CANNOT_TELL
    assert judged.worst is None
    assert judged.as_dict()["angles"] == {}


def test_angle_not_required_is_left_out():
    differences = _angles({15: 0.1, 45: 0.1, 110: 3.0})
    judged = judge_angles(differences, required=[15, 45], limit=0.8)
    assert judged.verdict is Verdict.BLENDS


def test_wrong_shows_over_three_angles_stay_within_the_risk():
    # Every angle at the limit, 500 trials: a sampling error of 1 %; three are allowed.
    rng = np.random.default_rng(1)
    on_limit = {15: 0.8 * 1.522, 45: 0.8 * 1.1342, 110: 0.8 * 1.218}  # S_L at each face
    wrong_shows = wrong_blends = 0
    for _ in range(500):
        noisy = {
            angle: UncertainDifference.of(
                FACES[angle], [step, 0, 0] + 0.1 * rng.normal(size=3), 0.01 * np.eye(3)
            )
            for angle, step in on_limit.items()
        }
        verdict = judge_angles(noisy, required=[15, 45, 110], limit=0.8).verdict
        wrong_shows += verdict is Verdict.SHOWS
        wrong_blends += verdict is Verdict.BLENDS
    assert wrong_shows / 500 <= 0.05 + 3 * 0.01
    assert wrong_blends / 500 <= 0.05


def test_record_is_plain_data_with_every_angle():
    record = _judge({15: 0.2, 45: 0.85, 110: 0.1}).as_dict()
    assert record["verdict"] == "cannot_tell"
    assert record["worst"] == "45"
    assert set(record["angles"]) == {"15", "45", "110"}


def test_no_required_angle_is_refused():
    with pytest.raises(ValueError, match="required must name one angle at least"):
        judge_angles({}, required=[], limit=0.8)


def test_a_different_colour_is_worse_than_a_lesser_one_of_a_stricter_limit():
    limits = {15: 4.0, 45: 0.3, 110: 0.8}
    judged = judge_angles(_angles({15: 20.0, 45: 3.0}), required=[15, 45, 110], limit=limits)
    assert judged.angles[45].delta_e_2000 / 0.3 > judged.angles[15].delta_e_2000 / 4.0
    assert (judged.verdict, judged.worst) == (Verdict.SHOWS, 15)


def test_the_next_step_says_which_other_angles_are_open():
    judged = _judge({15: 1.25, 45: 0.9, 110: 0.1})
    assert judged.verdict is Verdict.CANNOT_TELL and judged.worst == 15
    assert judged.next_step.endswith("Not settled at 45 either.")
