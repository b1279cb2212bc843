"""One judgement: its words, its figures and what it refuses."""

import json

import numpy as np
import pytest
from skimage.color import deltaE_ciede2000

from colour.decision import (
    History,
    LookPlan,
    Reason,
    UncertainDifference,
    Verdict,
    judge,
    judge_difference,
)
from colour.least_favourable import Noise, no_difference

SILVER = np.array([70.0, -0.5, -1.5])


def _readings(centre, n, sd, seed):
    return np.asarray(centre) + sd * np.random.default_rng(seed).normal(size=(n, 3))


def _pair(step, n=3, sd=0.05, seed=1):
    return _readings(SILVER, n, sd, seed), _readings(SILVER + [step, 0, 0], n, sd, seed + 1000)


def _known(step, sd=0.1, **about):
    difference = UncertainDifference.of(SILVER, step, sd**2 * np.eye(3))
    return judge_difference(difference, **{"limit": 0.8, **about})


# The three words


@pytest.mark.parametrize(
    ("step", "verdict"),
    [(0.2, Verdict.BLENDS), (1.0, Verdict.CANNOT_TELL), (2.5, Verdict.SHOWS)],
)
def test_small_near_and_large_differences_get_their_words(step, verdict):
    judged = judge(*_pair(step), limit=0.8)
    assert judged.verdict is verdict
    assert (judged.reasons == ()) is (verdict is not Verdict.CANNOT_TELL)


def test_words_are_the_ones_outside_scripts_rely_on():
    assert [verdict.value for verdict in Verdict] == ["blends", "shows", "cannot_tell"]


def test_difference_is_of_the_mean_and_not_the_mean_of_differences():
    # Outside: scikit-image's CIEDE2000.
    master, card = _pair(0.1, n=5, sd=0.3)
    judged = judge(master, card, limit=0.8)
    assert judged.delta_e_2000 == pytest.approx(
        float(deltaE_ciede2000(master.mean(axis=0), card.mean(axis=0))), abs=1e-9
    )
    each = [float(deltaE_ciede2000(a, b)) for a, b in zip(master, card, strict=True)]
    assert judged.delta_e_2000 < np.mean(each) - 0.05


def test_standard_uncertainty_agrees_with_simulation():
    # 50,000 repetitions; the formula's own curvature leaves about 1 %.
    rng = np.random.default_rng(3)
    for step in ([1.5, 0, 0], [0, 1.2, 0.5], [-1, 0.3, -0.8]):
        cards = SILVER + step + 0.1 * rng.normal(size=(50_000, 3))
        seen = deltaE_ciede2000(np.broadcast_to(SILVER, cards.shape), cards)
        assert _known(step).standard_uncertainty == pytest.approx(seen.std(), rel=0.02)


def test_no_difference_has_the_uncertainty_of_its_loudest_direction():
    nothing = _known([0, 0, 0]).standard_uncertainty
    for step in np.eye(3) * 1e-6:
        assert _known(step).standard_uncertainty <= nothing * (1 + 1e-6)
    neutral = UncertainDifference.of([50, 0, 0], [0, 0, 0], 0.01 * np.eye(3))
    # Where neutral ΔE00 counts a* one and a half times: G = 0.5.
    found = judge_difference(neutral, limit=0.8).standard_uncertainty
    assert found == pytest.approx(0.15, rel=1e-6)


def test_chances_agree_with_simulation_at_the_limit():
    # The card seen lies 0.55 from the master; truths 0.8 away along each Lab axis, 20,000 each
    # through scikit-image. No truth may reach p_blends by more than four sampling errors.
    judged = _known([0.55, 0, 0], sd=0.12)
    rng, largest = np.random.default_rng(4), 0.0
    for direction in np.vstack([np.eye(3), -np.eye(3)]):
        length = float(deltaE_ciede2000(SILVER, SILVER + direction))
        for _ in range(3):
            direction = direction * 0.8 / float(deltaE_ciede2000(SILVER, SILVER + direction))
        cards = SILVER + direction + 0.12 * rng.normal(size=(20_000, 3))
        seen = deltaE_ciede2000(np.broadcast_to(SILVER, cards.shape), cards)
        largest = max(largest, (seen <= judged.delta_e_2000).mean())
        assert length > 0
    assert largest == pytest.approx(judged.p_blends, abs=4 * np.sqrt(judged.p_blends / 20_000))


def test_beyond_small_differences_it_is_a_different_colour():
    judged = judge(*_pair(12.0), limit=0.8)
    assert judged.verdict is Verdict.SHOWS and judged.different_colour
    assert judged.explanation == "A different colour."
    assert not judge(*_pair(3.0), limit=0.8).different_colour


# What is not enough


@pytest.mark.parametrize(("n", "m"), [(1, 1), (2, 2), (1, 3)])
def test_too_few_repeats_cannot_tell(n, m):
    judged = judge(_readings(SILVER, n, 0.1, 1), _readings(SILVER, m, 0.1, 2), limit=0.8)
    assert judged.verdict is Verdict.CANNOT_TELL
    assert judged.reasons == (Reason.TOO_FEW_READINGS,)
    assert judged.p_blends is judged.p_shows is judged.power_at_zero is None
    assert judged.interval is None


def test_one_reading_a_side_and_no_uncertainty_has_no_uncertainty_of_its_own():
    assert judge(SILVER, SILVER, limit=0.8).standard_uncertainty is None


def test_repeats_with_three_degrees_of_freedom_are_judged():
    judged = judge(_readings(SILVER, 2, 0.02, 1), _readings(SILVER, 3, 0.02, 2), limit=0.8)
    assert judged.verdict is Verdict.BLENDS
    assert judged.degrees_of_freedom == 3


def test_single_readings_are_judged_with_a_stated_uncertainty_or_a_history():
    near = SILVER + [0.1, 0, 0]
    assert judge(SILVER, near, limit=0.8, standard_uncertainty=0.05).verdict is Verdict.BLENDS
    history = History(covariance=0.05**2 * np.eye(3), degrees_of_freedom=30)
    assert judge(SILVER, near, limit=0.8, history=history).verdict is Verdict.BLENDS


def test_coarse_measurement_never_blends_however_near():
    judged = judge([SILVER] * 3, [SILVER] * 3, limit=0.8, standard_uncertainty=1.0)
    assert judged.p_blends < 0.05
    assert judged.power_at_zero < 0.5
    assert judged.verdict is Verdict.CANNOT_TELL
    assert judged.reasons == (Reason.TOO_COARSE,)
    assert judged.explanation == "This measurement is too coarse for a limit of 0.8."


def test_power_is_the_chance_of_blends_when_nothing_differs():
    # 20,000 identical cards through the same rule: a sampling error of 0.35 % at most.
    for sd in (0.1, 0.18, 0.25):
        judged = _known([0.3, 0, 0], sd=sd)
        noise = Noise.of(sd**2 * np.eye(3)[None], np.zeros((1, 3, 3)), np.array([np.inf]))
        rng = np.random.default_rng(5)
        cards = SILVER + sd * rng.normal(size=(20_000, 3))
        seen = np.sort(deltaE_ciede2000(np.broadcast_to(SILVER, cards.shape), cards))
        # The largest difference that blends, found by asking the judgement itself.
        low, high = 0.0, 0.8
        for _ in range(30):
            middle = (low + high) / 2
            step = [middle * 1.2971, 0, 0]  # S_L at L* 70, so that ΔE00 is about `middle`
            asked = judge_difference(
                UncertainDifference.of(SILVER, step, sd**2 * np.eye(3)), limit=0.8
            )
            low, high = (asked.delta_e_2000, high) if asked.p_blends < 0.05 else (low, middle)
            if high - low < 1e-3:
                break
        share = np.searchsorted(seen, low) / len(seen)
        assert judged.power_at_zero == pytest.approx(share, abs=0.02)
        below, _ = no_difference(SILVER[None], noise).chances_below(np.array([low]))
        assert below[0, 0] == pytest.approx(share, abs=0.02)


def test_identical_rounded_repeats_are_not_certain():
    judged = judge([[70.0, -0.5, -1.5]] * 3, [[70.7, -0.5, -1.5]] * 3, limit=0.8)
    assert judged.standard_uncertainty > 0.02
    assert 0 < judged.p_blends < 1


# Properties


def test_same_input_gives_the_same_bytes():
    master, card = _pair(0.9)
    first = json.dumps(judge(master, card, limit=0.8).as_dict(), sort_keys=True)
    again = json.dumps(judge(master.copy(), card.copy(), limit=0.8).as_dict(), sort_keys=True)
    assert first == again


def test_order_of_the_repeats_does_not_matter():
    master, card = _pair(0.6, n=4)
    one, other = judge(master, card, limit=0.8), judge(master[::-1], card[::-1], limit=0.8)
    assert one.p_blends == pytest.approx(other.p_blends, abs=1e-8)


def test_a_closer_limit_never_blends_more_easily():
    master, card = _pair(0.4)
    limits = (0.4, 0.6, 0.8, 1.2, 2.0)
    judged = [judge(master, card, limit=limit) for limit in limits]
    assert all(np.diff([one.p_blends for one in judged]) <= 1e-9)
    assert all(np.diff([one.p_shows for one in judged]) >= -1e-9)


def test_verdict_says_what_its_chances_say():
    rng = np.random.default_rng(6)
    seen = set()
    for seed in range(60):
        step, n = rng.uniform(0, 2), int(rng.integers(2, 6))
        judged = judge(*_pair(step, n=n, sd=0.12, seed=seed), limit=0.8, standard_uncertainty=0.1)
        blends = judged.p_blends < 0.05 and judged.power_at_zero >= 0.5
        shows = judged.p_shows < 0.05
        assert (judged.verdict is Verdict.BLENDS) is blends
        assert (judged.verdict is Verdict.SHOWS) is shows
        seen.add(judged.verdict)
    assert len(seen) == 3


def test_interval_leaves_out_what_a_sharper_test_refutes():
    for step in (0.3, 0.8, 2.0):
        difference = UncertainDifference.of(SILVER, [step, 0, 0], 0.08**2 * np.eye(3))
        judged = judge_difference(difference, limit=0.8)
        low, high = judged.interval.low, judged.interval.high
        assert low < judged.delta_e_2000 < high
        at_high = judge_difference(difference, limit=high, risk=0.025)
        assert at_high.p_blends == pytest.approx(0.025, rel=0.03)
        if low:
            at_low = judge_difference(difference, limit=low, risk=0.025)
            assert at_low.p_shows == pytest.approx(0.025, rel=0.03)


@pytest.mark.parametrize(
    "lab", [(0, 0, 0), (0.5, 0, 0), (50, 0, 0), (100, 0, 0), (30, 1e-9, -1e-9), (50, 2.5, -0.001)]
)
@pytest.mark.parametrize("sd", [0.001, 0.1, 1.0])
def test_neutrals_blacks_and_the_whitest_white_are_judged(lab, sd):
    for step in ([0, 0, 0], [0, 0.3, 0], [0.2, -0.3, 0.1], [0, -5, 0.002], [3, 20, -9]):
        difference = UncertainDifference.of(lab, step, sd**2 * np.eye(3))
        judged = judge_difference(difference, limit=0.8)
        assert 0 <= judged.p_blends <= 1 and 0 <= judged.p_shows <= 1
        assert judged.p_blends + judged.p_shows >= 1 - 1e-6
        assert judged.interval.low <= judged.interval.high


@pytest.mark.parametrize("limit", [0.01, 0.1, 0.8, 5.0, 20.0])
def test_any_limit_is_judged(limit):
    judged = judge(*_pair(0.5), limit=limit)
    assert judged.verdict is (Verdict.SHOWS if limit < 0.2 else Verdict.BLENDS)


def test_uncertainty_that_does_not_average_down_is_kept():
    master, card = _pair(0.3, n=5)
    narrow = judge(master, card, limit=0.8)
    wide = judge(master, card, limit=0.8, added_covariance=0.3**2 * np.eye(3))
    assert narrow.verdict is Verdict.BLENDS
    assert wide.verdict is Verdict.CANNOT_TELL
    assert wide.standard_uncertainty > narrow.standard_uncertainty


def test_card_to_panel_figure_changes_what_the_risk_is_about():
    difference = UncertainDifference.of(SILVER, [0.1, 0, 0], 0.01 * np.eye(3))
    assert judge_difference(difference, limit=0.8).as_dict()["risk_is_about"] == "card"
    panel = difference.widened(standard_uncertainty=0.05, to_panel=True)
    assert judge_difference(panel, limit=0.8).as_dict()["risk_is_about"] == "panel"


def test_two_batches_near_the_master_may_show_where_they_meet():
    noise = 0.05**2 * np.eye(3)
    one = UncertainDifference.of(SILVER, [0.65, 0, 0], noise)
    other = UncertainDifference.of(SILVER, [-0.65, 0, 0], noise)
    for side in (one, other):
        assert judge_difference(side, limit=0.8).verdict is Verdict.BLENDS
    joint = judge_difference(one.through_shared_master(other), limit=0.8)
    assert joint.verdict is Verdict.CANNOT_TELL or joint.verdict is Verdict.SHOWS
    assert joint.delta_e_2000 == pytest.approx(
        float(deltaE_ciede2000(SILVER + [0.65, 0, 0], SILVER - [0.65, 0, 0])), abs=1e-9
    )
    assert joint.verdict is not Verdict.BLENDS


# Records


def test_evidence_is_plain_data():
    evidence = judge(*_pair(1.0), limit=0.8).as_dict()
    assert json.loads(json.dumps(evidence, allow_nan=False)) == evidence
    assert evidence["verdict"] == "cannot_tell" and evidence["reasons"] == ["undecided"]
    assert evidence["interval"][0] < evidence["delta_e_2000"] < evidence["interval"][1]


def test_evidence_without_its_slow_parts_leaves_them_out():
    evidence = judge(*_pair(1.0), limit=0.8).as_dict(complete=False)
    assert not {"interval", "next_step", "outlook"} & set(evidence)


# Refusals


@pytest.mark.parametrize(
    ("about", "message"),
    [
        ({"limit": 0.0}, r"limit must be finite and above 0, got 0\.0"),
        ({"limit": -0.8}, r"limit must be finite and above 0, got -0\.8"),
        ({"limit": np.nan}, "limit must be finite and above 0, got nan"),
        ({"limit": np.inf}, "limit must be finite and above 0, got inf"),
        ({"risk": 0.0}, r"risk must lie between 0 and 0\.5, got 0\.0"),
        ({"risk": 0.5}, r"risk must lie between 0 and 0\.5, got 0\.5"),
        ({"risk": np.nan}, "risk must lie between 0 and 0.5, got nan"),
        ({"look": 0}, "looks count from 1, got look 0 of 1"),
    ],
)
def test_bad_questions_are_refused(about, message):
    with pytest.raises(ValueError, match=message):
        judge(*_pair(0.3), **{"limit": 0.8, **about})


def test_bad_side_is_named():
    with pytest.raises(ValueError, match=r"card must be finite, got nan in row 1"):
        judge(SILVER, [SILVER, [np.nan, 0, 0]], limit=0.8)
    with pytest.raises(ValueError, match=r"master must be rows of L\*, a\*, b\* of one surface"):
        judge(np.zeros((2, 3, 3)), SILVER, limit=0.8)


def test_exact_measurement_is_refused():
    exact = UncertainDifference.of(SILVER, [0.1, 0, 0], np.zeros((3, 3)))
    with pytest.raises(ValueError, match="no measurement is exact; state its uncertainty"):
        judge_difference(exact, limit=0.8)


# Next step


def test_settled_verdicts_need_no_next_step():
    for step in (0.1, 3.0):
        judged = judge(*_pair(step), limit=0.8)
        assert judged.next_step is None and judged.outlook is None


def test_next_step_says_how_many_readings_and_how_often():
    judged = judge(*_pair(0.75, n=3, sd=0.1, seed=5), limit=0.8)
    assert judged.verdict is Verdict.CANNOT_TELL
    ahead = judged.outlook
    assert ahead.settles and ahead.chance >= 0.8
    number = ahead.more_of_card
    plural = "s" if number > 1 else ""
    assert judged.next_step.startswith(f"{number} more reading{plural} of ")
    assert judged.next_step.endswith("of 10 cases, if the difference is what it seems.")


def test_difference_at_the_limit_will_not_be_settled_by_readings():
    judged = _known([0.8 * 1.2971, 0, 0], sd=0.1)
    assert judged.verdict is Verdict.CANNOT_TELL
    assert judged.next_step == "More readings will not settle this."
    assert not judged.outlook.settles


def test_fixed_uncertainty_will_not_be_settled_by_readings():
    difference = UncertainDifference.of(SILVER, [0.2, 0, 0], 0.01 * np.eye(3))
    judged = judge_difference(difference.widened(standard_uncertainty=0.5), limit=0.8)
    assert judged.reasons == (Reason.TOO_COARSE,)
    assert judged.next_step == "More readings will not settle this."


def test_too_few_readings_are_told_how_many_more():
    one = judge(SILVER, SILVER + 0.1, limit=0.8)
    assert "2 more of the master and 2 more of the card" in one.next_step
    two = judge(_readings(SILVER, 2, 0.1, 1), _readings(SILVER, 2, 0.1, 2), limit=0.8)
    assert "1 more of the master and 1 more of the card" in two.next_step
    assert two.outlook.chance is None


def test_frames_are_repeated_as_a_whole():
    judged = _known([0.55, 0.2, 0], sd=0.2)
    assert judged.verdict is Verdict.CANNOT_TELL
    assert judged.outlook.more_of_both > 0
    assert "more measurement" in judged.next_step


@pytest.mark.parametrize("step", [0.7, 0.75, 1.35, 1.4])
def test_outlook_of_a_frame_comes_true_as_often_as_it_says(step):
    # Further frames are drawn around the difference seen, as the outlook supposes, averaged, and
    # judged anew. 200 draws: a sampling error of 2.8 % at most; three are allowed, and 1 % for the
    # one metric a forecast makes do with.
    rng = np.random.default_rng(7)
    covariance = 0.14**2 * np.diag([1.0, 0.8, 1.2])
    seen = np.array([step, 0.1, 0.0])
    judged = judge_difference(UncertainDifference.of(SILVER, seen, covariance), limit=0.8)
    ahead = judged.outlook
    assert ahead.settles
    more = ahead.more_of_both
    settled = 0
    for _ in range(200):
        others = seen + rng.multivariate_normal(np.zeros(3), covariance, more)
        mean = (seen + others.sum(axis=0)) / (1 + more)
        again = UncertainDifference.of(SILVER, mean, covariance / (1 + more))
        settled += judge_difference(again, limit=0.8).verdict is not Verdict.CANNOT_TELL
    assert settled / 200 == pytest.approx(ahead.chance, abs=0.095)


def test_outlook_of_readings_does_not_promise_too_much():
    # As above with readings, whose stated uncertainty holds while three of them seemed noisier:
    # the outlook goes by what was seen. 200 draws: three sampling errors are 8.5 %.
    rng = np.random.default_rng(8)
    master, card = _pair(0.75, n=3, sd=0.1, seed=5)
    judged = judge(master, card, limit=0.8, standard_uncertainty=0.1)
    ahead = judged.outlook
    assert ahead.settles
    settled = 0
    for _ in range(200):
        longer = [
            np.vstack([side, side.mean(axis=0) + 0.1 * rng.normal(size=(more, 3))])
            for side, more in ((master, ahead.more_of_master), (card, ahead.more_of_card))
        ]
        again = judge(*longer, limit=0.8, standard_uncertainty=0.1)
        settled += again.verdict is not Verdict.CANNOT_TELL
    assert settled / 200 >= ahead.chance - 0.085


# Looks


def test_plan_shares_the_risk_equally():
    plan = LookPlan()
    assert [plan.risk_of_look(look) for look in (1, 2, 3, 4)] == pytest.approx(
        [0.05 / 3, 0.05 / 3, 0.05 / 3, 0.0]
    )


def test_plan_may_declare_its_shares():
    plan = LookPlan(risk=0.04, planned=2, shares=(0.25, 0.75))
    assert [plan.risk_of_look(look) for look in (1, 2)] == pytest.approx([0.01, 0.03])


@pytest.mark.parametrize(
    ("about", "message"),
    [
        ({"planned": 0}, "planned must be one look at least, got 0"),
        ({"risk": 0.6}, "risk must lie between 0 and 0.5, got 0.6"),
        ({"planned": 2, "shares": (0.5,)}, "a share for each of the 2 planned looks, got 1"),
        ({"planned": 2, "shares": (0.5, 0.6)}, "add up to 1 at most"),
        ({"planned": 2, "shares": (1.0, 0.0)}, "each be above 0"),
    ],
)
def test_bad_plans_are_refused(about, message):
    with pytest.raises(ValueError, match=message):
        LookPlan(**about)


def test_look_beyond_the_plan_cannot_tell():
    judged = judge(*_pair(0.1), limit=0.8, risk=0.05 / 3, look=4, planned_looks=3)
    assert judged.verdict is Verdict.CANNOT_TELL
    assert judged.reasons == (Reason.LOOKS_SPENT,)
    assert "all 3 planned looks are taken" in judged.next_step


def test_last_look_offers_no_further_one():
    judged = judge(*_pair(1.0), limit=0.8, risk=0.05 / 3, look=3, planned_looks=3)
    assert judged.reasons == (Reason.UNDECIDED,)
    assert "all 3 planned looks are taken" in judged.next_step
    assert judged.outlook is None
