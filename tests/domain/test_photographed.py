"""Photographs of two cards: which difference is taken, with what uncertainty, and what is said."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from colour.uncertain_difference import UncertainDifference
from service.domain.judging import draft_for_batch, draft_for_car, draft_for_joint
from service.domain.lookups import readings_of_card, standing_reading
from service.domain.photographed import pairs_of, through_master, together
from service.domain.records.cards import Card
from service.domain.records.job import Joint
from service.domain.records.measuring import AngleReading, Frame, Reading
from service.domain.records.spraying import Batch
from service.domain.terms import FinishKind, Method, Stage, Word
from tests.builders import JobBuilder, make_id
from tests.photographs import PAIR_NOISE, joint_covariance

Lab = tuple[float, float, float]
M: Lab = (42.0, 3.0, -18.0)


def moved(lab: Lab, *by: float) -> Lab:
    return tuple(x + dx for x, dx in zip(lab, by, strict=True))  # type: ignore[return-value]


class Photographer(JobBuilder):
    """A job whose cards are photographed together."""

    def photograph(
        self,
        *lying: tuple[Card, Lab],
        windows: tuple[str, ...] = ("master", "card", "card 2"),
        own: float = PAIR_NOISE / 2,
        stage: Stage = Stage.BAKED,
    ) -> Frame:
        self.count += 1
        frame_id = f"frame {self.count}"
        covariance = joint_covariance(len(lying), own=own)
        readings = []
        for place, (card, lab) in enumerate(lying):
            alone = tuple(
                row[3 * place : 3 * place + 3] for row in covariance[3 * place : 3 * place + 3]
            )
            readings.append(
                self.add(
                    Reading,
                    f"{frame_id} {place}",
                    stage=stage,
                    illuminant="D50",
                    observer=2,
                    geometry="photograph",
                    method=Method.PHOTOGRAPH,
                    card_id=card.root,
                    frame_id=make_id(frame_id),
                    angles=(AngleReading(repeats=(lab,), covariance=alone),),
                )
            )
        return self.add(
            Frame,
            frame_id,
            reading_ids=tuple(r.root for r in readings),
            covariance=covariance,
            windows=windows[: len(lying)],
            target="Invented sheet",
        )


@pytest.fixture
def job() -> Photographer:
    return Photographer()


def master_and_card(job: Photographer) -> tuple[Card, Card]:
    """A master that an instrument read and somebody approved, and another batch's card."""
    master = job.card(job.batch(1), coats=3)
    job.master(master, job.reading(master, (41.0, 2.5, -17.0)))
    return master, job.card(job.batch(2), coats=3)


def batch_draft(job: Photographer, card: Card):
    draft = draft_for_batch(job.file, card.batch_id)
    assert draft is not None
    return draft


def test_the_master_is_its_own_window_whatever_it_was_approved_by(job: Photographer) -> None:
    master, card = master_and_card(job)
    frame = job.photograph((master, M), (card, moved(M, 0.1, 0, 0)))
    draft = batch_draft(job, card)
    assert draft.word is Word.BLENDS
    assert draft.decision is not None
    assert draft.decision.difference == pytest.approx((0.1, 0.0, 0.0))
    # The part both windows share cancels; each one's own adds.
    assert draft.decision.standard_uncertainty < 0.2
    assert set(draft.reading_ids) == set(frame.reading_ids)
    assert draft.sentence.endswith("By photograph, under the conditions of its sheet.")
    assert draft.photographs is not None
    assert "D50" in draft.photographs.as_evidence()["conditions"]


def test_a_card_alone_in_a_photograph_is_not_held_against_an_instrument(job: Photographer) -> None:
    _, card = master_and_card(job)
    job.photograph((card, M))
    draft = batch_draft(job, card)
    assert draft.word is Word.NOT_COMPARABLE
    assert [reason.code for reason in draft.reasons][:1] == ["unlike_geometry"]
    assert "a photograph compares only what lies in it" in draft.sentence
    assert "Photograph both cards on one sheet" in draft.next_step


def test_a_photograph_without_the_master_leaves_the_verdict_as_it_was(job: Photographer) -> None:
    master, card = master_and_card(job)
    other = job.card(job.batch(3), coats=3)
    job.photograph((master, M), (card, moved(M, 0.1, 0, 0)))
    before = batch_draft(job, card)
    job.photograph((other, M), (card, moved(M, 2, 0, 0)))
    assert batch_draft(job, card) == before
    read = job.reading(card, (41.1, 2.5, -17.0))
    job.photograph((other, M), (card, moved(M, 2, 0, 0)))
    assert batch_draft(job, card).reading_ids[-1] == read.root


def test_the_newest_of_instrument_and_photograph_with_the_master_decides(
    job: Photographer,
) -> None:
    master, card = master_and_card(job)
    job.reading(card, (43.0, 2.5, -17.0))
    assert batch_draft(job, card).word is Word.SHOWS
    job.photograph((master, M), (card, M))
    assert batch_draft(job, card).photographs is not None


def test_a_master_approved_by_a_photograph_is_met_in_the_photograph(job: Photographer) -> None:
    master = job.card(job.batch(1), coats=3)
    card = job.card(job.batch(2), coats=3)
    frame = job.photograph((master, M), (card, M))
    job.master(master, job.file.get(Reading, frame.reading_ids[0]))
    job.reading(card, (41.0, 2.5, -17.0))
    assert batch_draft(job, card).word is Word.BLENDS


def test_two_cards_in_other_photographs_are_compared_through_the_master(job: Photographer) -> None:
    master, a = master_and_card(job)
    b = job.card(job.batch(3), coats=3)
    first = job.photograph((master, M), (a, moved(M, 0.5, -0.2, 0.1)))
    second = job.photograph((master, moved(M, 1, 1, 1)), (b, moved(M, 0.4, 1.1, 1.3)))
    found = through_master(job.file, *(readings_of_card(job.file, c.root) for c in (master, a, b)))
    assert found is not None

    def difference(frame: Frame) -> UncertainDifference:
        labs = [job.file.get(Reading, id).angles[0].repeats[0] for id in frame.reading_ids]
        return UncertainDifference.in_frame(labs[0], labs[1], frame.covariance)

    expected = difference(first).through_shared_master(difference(second))
    assert found.difference == pytest.approx(expected.mean.tolist())
    assert found.start == pytest.approx(expected.reference.tolist())
    np.testing.assert_allclose(found.covariance, expected.covariance)


def joint_of(job: Photographer, a: Card, b: Card) -> Joint:
    panels = []
    for card, name in ((a, "Door"), (b, "Wing")):
        panel = job.panel(name)
        job.coats(job.file.get(Batch, card.batch_id), 3, panel=panel)
        panels.append(panel)
    return job.joint(*panels)


def test_a_joint_is_judged_in_one_frame_before_through_the_master(job: Photographer) -> None:
    master, a = master_and_card(job)
    b = job.card(job.batch(3), coats=3)
    joint = joint_of(job, a, b)
    job.photograph((master, M), (a, moved(M, 0.6, 0, 0)))
    job.photograph((master, M), (b, moved(M, -0.6, 0, 0)))
    through = draft_for_joint(job.file, joint.root)
    assert through is not None and through.decision is not None
    assert through.decision.difference == pytest.approx((-1.2, 0, 0))
    assert "By photograph through the master" in through.sentence
    job.photograph((a, M), (b, moved(M, -1.1, 0, 0)))
    direct = draft_for_joint(job.file, joint.root)
    assert direct is not None and direct.decision is not None
    assert direct.decision.difference == pytest.approx((-1.1, 0, 0))
    assert direct.decision.standard_uncertainty < through.decision.standard_uncertainty


def test_a_photograph_of_one_side_leaves_a_joint_to_the_instrument(job: Photographer) -> None:
    master, a = master_and_card(job)
    b = job.card(job.batch(3), coats=3)
    joint = joint_of(job, a, b)
    job.reading(a, (41.0, 2.5, -17.0))
    job.reading(b, (41.1, 2.5, -17.0))
    before = draft_for_joint(job.file, joint.root)
    job.photograph((master, M), (a, M))
    assert draft_for_joint(job.file, joint.root) == before
    job.photograph((a, M), (b, M))
    after = draft_for_joint(job.file, joint.root)
    assert after is not None and after.photographs is not None


def test_swapping_the_cards_halves_the_error_and_repeating_does_not(job: Photographer) -> None:
    master, card = master_and_card(job)
    slope = 0.4
    job.photograph((master, M), (card, moved(M, 0.1 + slope, 0, 0)))
    one = batch_draft(job, card)
    job.photograph((master, M), (card, moved(M, 0.1 + slope, 0, 0)))
    repeated = batch_draft(job, card)
    swapped_places = ("card", "master")
    job.photograph((master, M), (card, moved(M, 0.1 - slope, 0, 0)), windows=swapped_places)
    swapped = batch_draft(job, card)
    found = [draft.photographs for draft in (one, repeated, swapped)]
    assert [between.how for between in found if between] == ["one_frame", "repeated", "swapped"]
    assert [between.looks for between in found if between] == [1, 2, 3]
    np.testing.assert_allclose(found[1].covariance, found[0].covariance)  # type: ignore[union-attr]
    np.testing.assert_allclose(
        found[2].covariance,  # type: ignore[union-attr]
        np.asarray(found[0].covariance) / 2,  # type: ignore[union-attr]
    )
    assert swapped.decision is not None
    assert swapped.decision.difference == pytest.approx((0.1, 0, 0))


def test_what_settles_it_is_no_count_of_photographs(job: Photographer) -> None:
    """They err alike, so so many more of them would promise what they do not hold."""
    master, card = master_and_card(job)
    near = moved(M, 0, 0, 0.9)
    job.photograph((master, M), (card, near), own=0.05)
    first = batch_draft(job, card)
    assert first.word is Word.CANNOT_TELL
    assert first.next_step.startswith("Swap the two cards on the sheet")
    job.photograph((master, M), (card, near), own=0.05, windows=("card", "master"))
    assert batch_draft(job, card).next_step.startswith("More photographs will hardly settle this")


def test_a_photograph_judges_as_soon_as_its_card_is_the_master(job: Photographer) -> None:
    master = job.card(job.batch(1), coats=3)
    card = job.card(job.batch(2), coats=3)
    job.photograph((master, M), (card, M))
    assert draft_for_batch(job.file, card.batch_id) is None
    job.master(master, job.reading(master, (41.0, 2.5, -17.0)))
    assert batch_draft(job, card).word is Word.BLENDS


def test_the_mean_of_photographs_in_the_same_places_is_never_called_too_sure() -> None:
    """By chance numbers: errors of any correlation stay within the mean of their variances."""
    rng = np.random.default_rng(20)
    for correlation in (0.0, 0.5, 1.0):
        shared = rng.normal(size=(200_000, 1)) * np.sqrt(correlation)
        own = rng.normal(size=(200_000, 2)) * np.sqrt(1 - correlation)
        errors = (shared + own) * np.array([0.3, 0.1])
        variance_of_mean = errors.mean(axis=1).var()
        claimed = (0.3**2 + 0.1**2) / 2
        assert variance_of_mean <= claimed * 1.02


def test_a_photograph_cannot_judge_flop() -> None:
    job = Photographer(FinishKind.METALLIC)
    master = job.card(job.batch(1), coats=3)
    card = job.card(job.batch(2), coats=3)
    frame = job.photograph((master, M), (card, moved(M, 9, 0, 0)))
    job.master(master, job.file.get(Reading, frame.reading_ids[0]))
    draft = batch_draft(job, card)
    assert draft.word is Word.CANNOT_TELL
    assert draft.decision is None
    assert "cannot judge flop" in draft.sentence
    assert "15°, 45°, 110°" in draft.next_step


def test_a_dropped_reading_takes_its_photograph_out(job: Photographer) -> None:
    master, card = master_and_card(job)
    frame = job.photograph((master, M), (card, M))
    reading = job.file.get(Reading, frame.reading_ids[0])
    job.file = job.file.with_records([replace(reading, withdrawn=True)])
    assert batch_draft(job, card).word is Word.NOT_COMPARABLE


def test_zones_and_stages_are_not_mixed(job: Photographer) -> None:
    master, card = master_and_card(job)
    job.photograph((master, M), (card, moved(M, 3, 0, 0)), stage=Stage.CLEARED)
    job.photograph((master, M), (card, moved(M, 0.1, 0, 0)), stage=Stage.POLISHED)
    pairs = pairs_of(job.file, *(readings_of_card(job.file, c.root) for c in (master, card)))
    between = together(pairs)
    assert between is not None
    assert between.difference == pytest.approx((0.1, 0, 0))
    assert between.looks == 1


def test_the_rack_shows_what_an_instrument_read_of_the_same_stage(job: Photographer) -> None:
    master, card = master_and_card(job)
    read = job.reading(card, (41.0, 2.5, -17.0))
    job.photograph((master, M), (card, M))
    assert standing_reading(readings_of_card(job.file, card.root)) == read
    job.photograph((master, M), (card, M), stage=Stage.POLISHED)
    standing = standing_reading(readings_of_card(job.file, card.root))
    assert standing is not None and standing.method is Method.PHOTOGRAPH
    assert standing_reading([]) is None


def test_the_car_is_held_against_what_was_read_alike(job: Photographer) -> None:
    master, card = master_and_card(job)
    job.photograph((master, M), (card, M), stage=Stage.POLISHED)
    panel = job.panel("Door")
    car = job.reading(None, (41.0, 2.5, -17.0), panel_id=panel.root, card_id=None)
    draft = draft_for_car(job.file, car, job.file, master)
    assert draft is not None and draft.decision is not None
