"""What comes out of the story is decided by the program, and is what the story tells."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from skimage.color import deltaE_ciede2000

from demo_cards.load import to_log
from demo_cards.names import id_of
from demo_cards.script import card_id, reading_id, zone_id
from demo_cards.story import plan
from service.domain.comparability import Grade
from service.domain.findings import findings_of
from service.domain.lookups import (
    last_movement,
    master_in_force,
    mean_lab,
    whereabouts,
)
from service.domain.mixing import ratio_deviations
from service.domain.records.cards import Card, Photo, Zone
from service.domain.records.job import Acceptance, Joint, Panel, Release
from service.domain.records.measuring import EyeCheck, Master, Reading, Verdict
from service.domain.records.shop import Product
from service.domain.records.spraying import Batch, Coat, Component
from service.domain.terms import CardKind, CoatRole, JointKind, Stage, Subject, Word
from service.photos.desk import PhotoDesk
from service.storage.database import open_database
from service.storage.verify import verify
from service.use_cases.command import perform
from tests.demo_cards.conftest import TODAY, Told

BATCHES = {
    1: Word.BLENDS,
    2: None,  # the master's own
    3: Word.BLENDS,
    4: Word.BLENDS,
    5: Word.BLENDS,
    6: Word.SHOWS,  # drifted
    7: Word.BLENDS,
    8: None,  # the master's own
    9: Word.NOT_COMPARABLE,  # read as printed paper is
    10: Word.CANNOT_TELL,  # read once
    11: None,  # has no card
    12: Word.SHOWS,  # an old tin, told by photograph
}

JOINTS = {
    "Scuttle to Bonnet": Word.SHOWS,
    "Left door to Bonnet": Word.SHOWS,
    "Right side to Bonnet": Word.BLENDS,
    "Scuttle to Roof, front half": "one_stack",
    "Left door inner face to Left door": Word.BLENDS,
    "Left door to Left side": "one_stack",
    "Roof, rear half to Left side": Word.BLENDS,
    "Roof, rear half to Right side": Word.BLENDS,
    "Roof, rear half to Back door": Word.BLENDS,
    "Left side to Back door": Word.SHOWS,
    "Right side to Back door": Word.BLENDS,
    "Left side to Fuel flap": Word.SHOWS,
    "Front apron to Left skirt": Word.NOT_COMPARABLE,
    "Front apron to Right skirt": Word.CANNOT_TELL,
    "Left skirt to Step": "no_side",
    "Left door to Left skirt": "two_finishes",
    "Roof, front half to Roof, rear half": Word.BLENDS,
}


@pytest.mark.parametrize("number", BATCHES)
def test_each_batch_gets_the_word_the_story_tells(demo: Told, number: int):
    verdict = demo.batch(number)
    assert (verdict.word if verdict else None) == BATCHES[number]


def test_each_joint_gets_the_word_the_story_tells(demo: Told):
    assert demo.joints() == JOINTS


def test_findings_are_those_the_story_tells_the_worst_first(demo: Told):
    found = [finding.code for finding in findings_of(demo.van)]
    assert found[0] == "joint_shows"
    assert Counter(found) == {
        "joint_shows": 3,
        "batch_shows": 1,
        "joint_not_comparable": 1,
        "batch_not_comparable": 1,
        "joint_cannot_tell": 1,
        "batch_cannot_tell": 1,
        "batch_without_card": 1,
        "side_without_card": 1,
        "card_missing": 1,
        "card_out": 1,
    }


def test_the_drifted_batch_is_bluer_and_darker_at_the_flop_and_does_not_show_everywhere(
    demo: Told,
):
    drifted = demo.batch(6)
    assert drifted is not None
    assert (drifted.angle, drifted.words) == (110, "bluer and darker")
    assert drifted.delta_l is not None and drifted.delta_l < -0.5
    assert demo.joint("Scuttle to Bonnet").word is Word.SHOWS
    assert demo.joint("Right side to Bonnet").word is Word.BLENDS


def test_the_drifted_batch_was_thinned_off_its_sheet(demo: Told):
    product = next(p for p in demo.store.shop().all(Product) if p.name.startswith("Frost Lake"))
    off = {
        batch.number
        for batch in demo.van.all(Batch)
        if batch.product_id == product.root
        and ratio_deviations(product, demo.van.by(Component, "batch_id", batch.root))
    }
    assert off == {6}


def test_two_batches_near_the_master_show_where_they_meet_also_by_another_formula_library(
    demo: Told,
):
    """CIEDE2000 by scikit-image on the readings themselves, without the program's verdicts."""

    def flop(card: str) -> np.ndarray:
        reading = demo.van.get(Reading, reading_id(f"{card} polished"))
        return np.array(mean_lab(next(a for a in reading.angles if a.angle == 110)))

    master, left, back = flop("2"), flop("4"), flop("7")
    assert deltaE_ciede2000(master, left) < 0.8
    assert deltaE_ciede2000(master, back) < 0.8
    seen = demo.joint("Left side to Back door")
    assert seen.limit == 1.0
    assert float(deltaE_ciede2000(left, back)) == pytest.approx(seen.delta_e_2000, abs=1e-6)
    assert float(deltaE_ciede2000(left, back)) > 1.0
    assert seen.word is Word.SHOWS
    assert demo.batch(4).word is demo.batch(7).word is Word.BLENDS


def test_the_refill_made_a_joint_within_the_roof_by_itself(demo: Told):
    within = [joint for joint in demo.van.all(Joint) if joint.kind is JointKind.WITHIN]
    assert len(within) == 1
    assert demo.van.get(Panel, within[0].panel_a).name == "Roof"
    assert {joint.kind for joint in demo.van.all(Joint)} == set(JointKind)


def test_the_card_read_as_printed_paper_is_says_how_to_mend_it(demo: Told):
    verdict = demo.batch(9)
    assert verdict is not None
    assert set(verdict.reasons) == {"unlike_illuminant", "unlike_observer"}
    assert "Set the instrument to D65" in verdict.next_step
    assert str(Grade.STOPS) in verdict.evidence


def test_a_bare_card_is_told_when_it_can_be_read(demo: Told):
    first = demo.van.by(Verdict, "batch_id", id_of("van", "batch", 10))[0]
    assert (first.word, first.stage) == (Word.NOT_COMPARABLE, Stage.BASE_DRY)
    assert "Readable after clear" in first.sentence


def test_the_drift_was_known_before_clear(demo: Told):
    first = demo.van.by(Verdict, "batch_id", id_of("van", "batch", 6))[0]
    assert (first.word, first.stage) == (Word.SHOWS, Stage.BASE_DRY)


def test_masters_are_approved_stage_by_stage(demo: Told):
    stages = {}
    for finish in ("Frost Lake", "Deep Fir"):
        id = id_of("van", "finish", finish)
        master = master_in_force(demo.van, id)
        assert master is not None
        stages[finish] = {demo.van.get(Reading, one).stage for one in master.reading_ids}
        assert len(demo.van.by(Master, "finish_id", id)) == len(stages[finish])
    assert stages == {
        "Frost Lake": {Stage.BASE_DRY, Stage.BAKED, Stage.POLISHED},
        "Deep Fir": {Stage.BAKED, Stage.POLISHED},
    }


def test_cards_have_their_zones_coats_and_kinds(demo: Told):
    cards = demo.van.all(Card)
    assert {card.kind for card in cards} == set(CardKind)
    for card in cards:
        assert {z.name for z in demo.van.by(Zone, "card_id", card.root)} == {
            "bare",
            "cleared",
            "polished",
        }
        coats = Counter(coat.role for coat in demo.van.by(Coat, "card_id", card.root))
        assert coats == {CoatRole.BASE: 3, CoatRole.CLEAR: 2}
    polished = demo.van.get(Reading, reading_id("2 polished"))
    assert polished.zone_id == zone_id("2", "polished")


def test_one_card_is_out_one_is_missing_and_one_came_back(demo: Told):
    def place(card: str) -> str:
        return whereabouts(demo.van, demo.van.get(Card, card_id(card))).place

    assert {card: place(card) for card in ("1T", "2b", "6")} == {
        "1T": "missing",
        "2b": "out",
        "6": "in",
    }
    back = last_movement(demo.van, card_id("6"))
    assert back is not None and back.state


def test_a_joint_was_accepted_by_name_and_reason_and_a_warm_reading_dropped(demo: Told):
    flap, trial_pot = demo.van.all(Acceptance)
    assert flap.author_id == trial_pot.author_id == id_of("person", "manager")
    assert flap.verdict_id == demo.joint("Left side to Fuel flap").root and flap.why
    assert trial_pot.batch_id == id_of("van", "batch", 12) and trial_pot.why
    warm = demo.van.latest_revision(Reading, reading_id("7 warm"))
    assert warm is not None and warm.withdrawn and warm.reason
    assert demo.van.all(EyeCheck) and demo.van.all(Photo)


def test_what_came_late_is_marked_and_all_else_came_within_a_minute(demo: Told):
    late = {v.root for v in demo.van.all(Verdict) if v.late}
    assert late
    for reading in demo.van.all(Reading):
        waited = (reading.received_at - reading.observed_at).total_seconds()
        if reading.root == reading_id("5 baked"):
            assert 40 * 60 < waited < 60 * 60
        else:
            assert 0 < waited < 60


def test_the_car_still_blends_with_its_stored_card_before_and_after_the_repair(demo: Told):
    cars = [v for v in demo.repair.all(Verdict) if v.subject is Subject.CAR]
    assert [verdict.word for verdict in cars] == [Word.BLENDS, Word.BLENDS]
    assert {verdict.other_card_id for verdict in cars} == {card_id("2")}
    assert cars[0].observed_at.year - demo.van.all(Panel)[0].received_at.year == 3


def test_trial_cards_show_until_one_blends_and_the_repair_is_released(demo: Told):
    assert demo.batch(1, "repair").word is Word.SHOWS
    assert demo.batch(2, "repair").word is Word.SHOWS
    assert demo.batch(4, "repair").word is Word.BLENDS
    assert len(demo.repair.all(Release)) == 1
    assert not [f for f in findings_of(demo.repair) if f.stands_against_release]
    assert not demo.van.all(Release)


def test_readings_are_plausible_and_repeated(demo: Told):
    for reading in demo.van.all(Reading):
        assert len({len(angle.repeats) for angle in reading.angles}) == 1
        at = {angle.angle: mean_lab(angle)[0] for angle in reading.angles}
        if len(at) == 3:  # flake: light at the face, dark at the flop
            assert at[15] > 80 and at[15] > at[45] > at[110] > 25
        else:
            assert 18 < at[None] < 25
            assert math.hypot(*mean_lab(reading.angles[0])[1:]) > 8


def test_the_demos_record_verifies(demo_copy: Callable[[], Path]):
    with open_database(demo_copy()) as database:
        report = verify(database.store())
    assert report.ok, report.problems
    assert report.counts["photo files"] == 4  # two drawn, two simulated


def test_the_record_takes_a_second_telling_for_the_first(demo_copy: Callable[[], Path]):
    """Ids come from names, so the same story sent again changes nothing."""
    with open_database(demo_copy()) as database, PhotoDesk() as desk:
        store = database.store()
        before = {head.chain: head.position for head in store.heads()}
        for planned in plan(TODAY):
            command = to_log(store, desk, store.photos, planned.command)
            perform(store, planned.person_id, command)
        assert {head.chain: head.position for head in store.heads()} == before


def test_the_story_goes_forward_in_time(demo: Told):
    arrivals = [one.received_at for one in plan(TODAY)]
    assert arrivals == sorted(arrivals)
    assert arrivals[0].strftime("%a") == "Mon"
    # The check tile is read again in November.
    week = [at for at in arrivals if (at.year, at.month) == (2022, 5)]
    assert {at.strftime("%a") for at in week} == {"Mon", "Tue", "Wed", "Thu", "Fri"}
    assert (week[-1] - week[0]).days == 4
    assert all(5 <= at.hour < 18 for at in arrivals)
