"""Check tiles and what instruments read of them; what past calibration does to a verdict."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from service.domain.lookups import verdict_on_batch
from service.domain.records.measuring import AngleReading, Reading
from service.domain.records.shop import CheckTile, Instrument, TileReading
from service.domain.refused import AlreadyThere, Invalid, NotAllowed, Unknown
from service.domain.terms import Specular, Word
from service.storage.verify import verify
from service.use_cases import all_verbs  # noqa: F401  reads every verb
from service.use_cases.check_tiles import LogTileReading, RegisterCheckTile
from service.use_cases.correcting import Correct, CorrectShop
from service.use_cases.shop import RegisterInstrument
from tests.shop_hand import ShopHand

GREY = (56.0, -0.2, 0.4)
DAY = timedelta(days=1)


@pytest.fixture
def hand(store):
    hand = ShopHand(store)
    hand.sphere = hand.do(
        RegisterInstrument,
        name="Bench sphere",
        geometry="d:8",
        specular=Specular.INCLUDED,
        inter_instrument_uncertainty=0.06,
    )
    hand.tile = hand.do(RegisterCheckTile, name="Grey tile", serial=" T-9 ")
    return hand


def tile_reading(hand, by=None, **fields):
    given = {
        "tile_id": hand.tile,
        "instrument_id": hand.sphere,
        "illuminant": "D65",
        "observer": 10,
        "angles": (AngleReading(repeats=(GREY, GREY)),),
    }
    return hand.do(LogTileReading, by=by or hand.painter, **{**given, **fields})


def test_a_painter_logs_what_the_instrument_reads_with_its_own_conditions(hand):
    id = tile_reading(hand, surface_temperature_c=22.5, is_reference=True)
    found = hand.store.shop().get(TileReading, id)
    assert (found.geometry, found.specular) == ("d:8", Specular.INCLUDED)
    assert (found.tile_id, found.instrument_id, found.is_reference) == (
        hand.tile,
        hand.sphere,
        True,
    )
    assert hand.store.shop().get(CheckTile, hand.tile).serial == "T-9"
    assert verify(hand.store).ok


def test_only_a_manager_registers_a_tile_and_under_a_name_of_its_own(hand):
    with pytest.raises(NotAllowed):
        hand.do(RegisterCheckTile, by=hand.painter, name="White tile")
    with pytest.raises(AlreadyThere, match="grey tile is already registered"):
        hand.do(RegisterCheckTile, name="grey tile")


@pytest.mark.parametrize("field", ["tile_id", "instrument_id"])
def test_what_is_not_in_the_book_cannot_be_read_or_read_with(hand, field):
    with pytest.raises(Unknown):
        tile_reading(hand, **{field: hand.painter})


def test_an_instrument_of_unknown_geometry_needs_it_stated(hand):
    bare = hand.do(RegisterInstrument, name="Bare")
    with pytest.raises(Invalid, match="The geometry of Bare is not known. State it"):
        tile_reading(hand, instrument_id=bare)
    id = tile_reading(hand, instrument_id=bare, geometry="45:0")
    assert hand.store.shop().get(TileReading, id).geometry == "45:0"


def test_a_tile_and_its_readings_are_corrected_and_withdrawn_with_a_reason(hand):
    id = tile_reading(hand)
    hand.do(
        CorrectShop,
        table="tile_readings",
        record_id=id,
        why="It was after the service.",
        changes={"is_reference": True},
    )
    assert hand.store.shop().get(TileReading, id).is_reference
    with pytest.raises(Invalid, match="angles"):
        hand.do(CorrectShop, table="tile_readings", record_id=id, why="No.", changes={"angles": []})
    hand.do(CorrectShop, table="tile_readings", record_id=id, why="Dusty.", withdraw=True)
    assert hand.store.shop().all(TileReading) == []
    hand.do(CorrectShop, table="check_tiles", record_id=hand.tile, why="Broken.", withdraw=True)
    assert hand.store.shop().all(CheckTile) == []
    assert verify(hand.store).ok


# What an instrument past its calibration, and two of them, do to a verdict.


def job_with_master(hand, **reading):
    hand.open()
    first = hand.batch()
    card = hand.card(first)
    hand.bake(card)
    hand.master(card, hand.read(card, GREY, instrument_id=hand.sphere, **reading))


def second(hand, **reading):
    batch = hand.batch()
    card = hand.card(batch)
    hand.bake(card)
    return batch, hand.read(card, GREY, **{"instrument_id": hand.sphere, **reading})


def due(hand, when):
    hand.do(
        CorrectShop,
        table="instruments",
        record_id=hand.sphere,
        why="Calibrated, or typed wrongly.",
        changes={"calibration_due": when.isoformat()},
    )


def word(hand, batch):
    return verdict_on_batch(hand.file, batch).word


def test_a_reading_past_calibration_is_taken_and_ends_in_cannot_tell(hand):
    job_with_master(hand)
    due(hand, datetime.now(UTC) - 5 * DAY)
    batch, id = second(hand)
    assert hand.file.get(Reading, id).past_calibration
    verdict = verdict_on_batch(hand.file, batch)
    assert (verdict.word, verdict.reasons) == (Word.CANNOT_TELL, ("past_calibration",))
    assert verify(hand.store).ok


def test_a_new_calibration_does_not_clear_what_was_read_past_the_old_one(hand):
    job_with_master(hand)
    due(hand, datetime.now(UTC) - 5 * DAY)
    batch, id = second(hand)
    due(hand, datetime.now(UTC) + 365 * DAY)
    assert hand.file.get(Reading, id).past_calibration
    later, _ = second(hand)
    assert (word(hand, batch), word(hand, later)) == (Word.CANNOT_TELL, Word.BLENDS)


def test_a_date_that_was_typed_wrongly_is_put_right_reading_by_reading(hand):
    job_with_master(hand)
    due(hand, datetime.now(UTC) - 5 * DAY)
    batch, id = second(hand)
    hand.on_job(
        Correct,
        table="readings",
        record_id=id,
        why="The year in the book was wrong.",
        changes={"past_calibration": False},
    )
    assert word(hand, batch) is Word.BLENDS


def test_a_time_that_was_typed_wrongly_may_put_a_reading_past_the_calibration(hand):
    job_with_master(hand)
    due(hand, datetime.now(UTC) - 1 * DAY)
    batch, id = second(hand)
    assert word(hand, batch) is Word.BLENDS
    hand.on_job(
        Correct,
        table="readings",
        record_id=id,
        why="It was this morning.",
        changes={"observed_at": datetime.now(UTC).isoformat()},
    )
    assert hand.file.get(Reading, id).past_calibration
    assert word(hand, batch) is Word.CANNOT_TELL


def test_another_instrument_widens_and_an_unknown_one_cannot_tell(hand):
    job_with_master(hand)
    known = hand.do(
        RegisterInstrument, name="Second", geometry="d:8", inter_instrument_uncertainty=0.08
    )
    unknown = hand.do(RegisterInstrument, name="Third", geometry="d:8")
    same, _ = second(hand)
    other, _ = second(hand, instrument_id=known)
    third, id = second(hand, instrument_id=unknown)
    found = [verdict_on_batch(hand.file, batch) for batch in (same, other, third)]
    assert [v.reasons for v in found] == [(), ("other_instrument",), ("other_instrument_unknown",)]
    assert [v.word for v in found] == [Word.BLENDS, Word.BLENDS, Word.CANNOT_TELL]
    assert found[1].standard_uncertainty > found[0].standard_uncertainty
    assert "0.06 and 0.08 per channel" in found[1].evidence
    # Once somebody knows the figure, the reading is put right by it.
    hand.on_job(
        Correct,
        table="readings",
        record_id=id,
        why="Both were tried on the grey tile.",
        changes={"inter_instrument_uncertainty": 0.08},
    )
    assert word(hand, third) is Word.BLENDS
    assert verify(hand.store).ok


def test_a_reading_said_to_be_of_another_instrument_takes_on_what_is_known_of_it(hand):
    job_with_master(hand)
    known = hand.do(
        RegisterInstrument,
        name="Second",
        geometry="d:8",
        standard_uncertainty=0.09,
        inter_instrument_uncertainty=0.08,
        calibration_due=datetime.now(UTC) - 90 * DAY,
    )
    _, id = second(hand)
    hand.on_job(
        Correct,
        table="readings",
        record_id=id,
        why="It was the other one.",
        changes={"instrument_id": known},
    )
    reading = hand.file.get(Reading, id)
    assert (reading.standard_uncertainty, reading.inter_instrument_uncertainty) == (0.09, 0.08)
    assert reading.past_calibration
    assert hand.store.shop().get(Instrument, known).name == "Second"
