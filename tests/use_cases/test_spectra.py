"""Readings with spectra on a real store: taken, kept to the last digit, and never touched."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from skimage.color import deltaE_ciede2000

from colour.difference import delta_e_2000
from service.domain.lookups import policy_in_force
from service.domain.metameric import batch_under_lights
from service.domain.records.cards import Card
from service.domain.records.measuring import AngleSpectrum, Reading, Verdict
from service.domain.refused import AlreadyThere, Invalid
from service.domain.terms import Stage, Word
from service.storage.backup import backup, restore
from service.storage.database import open_database
from service.storage.verify import verify
from service.use_cases.correcting import Correct, fields_open_to_correction
from service.use_cases.importing import ImportReadings
from service.use_cases.job import Limits, SetPolicy
from service.use_cases.measuring import JobReading, LogReading, LogReadings, Measured
from tests.chart import chart, computed
from tests.shop_hand import ShopHand
from tests.spectral_readings import GREY, NM, metameric, repeats_of, spectral


@pytest.fixture
def hand(store):
    made = ShopHand(store)
    made.open()
    return made


def spectra(rows, angle=None, nm=NM):
    return spectral(rows, angle, nm)["spectra"]


def measured(card, **fields) -> Measured:
    given = {
        "stage": Stage.BAKED, "illuminant": "D65", "observer": 10, "geometry": "45:0",
        "standard_uncertainty": 0.05, "surface_temperature_c": 22.0, "card_id": card,
    }  # fmt: skip
    return Measured(**{**given, **fields})


def log(hand, card, **fields) -> Reading:
    id = hand.on_job(LogReading, reading=measured(card, **fields))
    return hand.file.get(Reading, id)


def with_two_batches(hand):
    """A master and a batch that is its match in daylight only; the second's id and both cards."""
    made = []
    for spectrum in (GREY, metameric(GREY)):
        card = hand.card(hand.batch())
        hand.bake(card)
        made.append((card, log(hand, card, spectra=spectra(repeats_of(spectrum)))))
        if len(made) == 1:
            hand.master(card, made[0][1].root)
    return made


@pytest.mark.parametrize("light", ["D65", "F11", "LED-B3"])
def test_spectra_alone_give_the_colours_another_library_computes(hand, light):
    """chart_lab.txt says which library and how; it takes F11 otherwise below 380 nm."""
    nm, reflectance = chart()
    reading = log(
        hand, hand.card(hand.batch()), illuminant=light, spectra=spectra(reflectance, nm=nm)
    )
    (angle,) = reading.angles
    theirs = computed()["e308_5", light, 10][1]
    assert delta_e_2000(theirs, angle.repeats).max() < (5e-3 if light == "F11" else 2e-4)
    assert len(angle.repeats) == 24


def test_the_reading_says_where_its_colours_are_from(hand):
    card = hand.card(hand.batch())
    reading = log(hand, card, spectra=spectra(repeats_of(GREY)), source="a file")
    assert (
        reading.source == "a file L*, a*, b* worked out from the spectra by weights of ASTM E308."
    )
    given = log(hand, card, **spectral(repeats_of(GREY)), source="a file")
    assert given.source == "a file"


def test_colours_that_were_sent_are_kept_beside_their_spectra(hand):
    sent = spectral(repeats_of(GREY))
    near = replace(sent["angles"][0], repeats=((80.9, 0.2, 0.1),) * 3)
    reading = log(hand, hand.card(hand.batch()), angles=(near,), spectra=sent["spectra"])
    assert reading.angles == (near,)


def test_several_angles_are_worked_out_each_by_itself(hand):
    both = spectra(repeats_of(GREY), 15) + spectra(repeats_of(0.5 * GREY, 2), 110)
    reading = log(hand, hand.card(hand.batch()), geometry="multi-angle", spectra=both)
    assert [(a.angle, len(a.repeats)) for a in reading.angles] == [(15, 3), (110, 2)]
    # ISO/CIE 11664-4: half the Y is cbrt(1/2) of L* + 16.
    lightness, darker = (angle.repeats[0][0] for angle in reading.angles)
    assert darker + 16 == pytest.approx((lightness + 16) * 0.5 ** (1 / 3), abs=0.02)


def test_the_verdict_on_spectra_alone_is_on_their_colours(hand):
    """ΔE00 of the mean colours by scikit-image, a library outside the project."""
    (_, master), (_, own) = with_two_batches(hand)
    (verdict,) = hand.file.all(Verdict)
    means = [np.mean(reading.angles[0].repeats, axis=0) for reading in (master, own)]
    assert verdict.delta_e_2000 == pytest.approx(float(deltaE_ciede2000(*means)), abs=1e-6)
    assert verdict.word is Word.BLENDS


REFUSED = {
    "neither": ({}, "angles", "holds no colour"),
    "an unknown light": (
        {"illuminant": "B7", "spectra": spectra(repeats_of(GREY))},
        "illuminant",
        "'B7' is not known. Known are A",
    ),
    "another observer": (
        {"observer": 7, "spectra": spectra(repeats_of(GREY))},
        "observer",
        "not known|cannot be",
    ),
    "too short a range": (
        {"spectra": (AngleSpectrum(wavelengths_nm=tuple(NM[8:].tolist()),
                                   reflectance=(tuple(GREY[8:].tolist()),)),)},
        "spectra",
        "runs from 460 to 780 nm and so misses",
    ),
}  # fmt: skip


@pytest.mark.parametrize(("fields", "field", "said"), REFUSED.values(), ids=REFUSED)
def test_what_gives_no_colour_is_refused_at_its_field(hand, fields, field, said):
    card = hand.card(hand.batch())
    with pytest.raises(Invalid, match=said) as refused:
        log(hand, card, **fields)
    assert refused.value.field == field
    assert not hand.file.all(Reading)


def test_many_readings_at_once_may_be_spectra_alone(hand):
    card = hand.card(hand.batch())
    hand.do(
        LogReadings,
        readings=tuple(
            JobReading(job_id=hand.job_id, reading=measured(card, spectra=spectra(repeats_of(s))))
            for s in (GREY, 0.9 * GREY)
        ),
    )
    assert [len(r.angles[0].repeats) for r in hand.file.all(Reading)] == [3, 3]


def test_an_import_of_spectra_alone_tells_readings_apart_and_is_taken_once(hand):
    card = hand.card(hand.batch())
    readings = tuple(
        JobReading(job_id=hand.job_id, reading=measured(card, spectra=spectra(repeats_of(s))))
        for s in (GREY, 0.9 * GREY)
    )
    hand.do(ImportReadings, readings=readings)
    assert len(hand.file.all(Reading)) == 2
    with pytest.raises(AlreadyThere, match="All 2 readings are on record"):
        hand.do(ImportReadings, readings=readings)


def test_a_policys_lights_are_known_ones_however_they_are_written(hand):
    limits = Limits(lights=("fl11", "CIE A", "led b3"))
    hand.on_job(SetPolicy, finish_id=hand.finish, limits=limits, why="a shop of tubes")
    assert policy_in_force(hand.file, hand.finish).lights == ("F11", "A", "LED-B3")
    with pytest.raises(Invalid, match=r"Illuminant 'B7' is not known. Known are A") as refused:
        hand.on_job(SetPolicy, finish_id=hand.finish, limits=Limits(lights=("B7",)), why="no")
    assert refused.value.field == "lights"


def test_no_correction_touches_a_spectrum(hand):
    reading = log(hand, hand.card(hand.batch()), spectra=spectra(repeats_of(GREY)))
    assert "spectra" not in fields_open_to_correction(Reading)
    with pytest.raises(Invalid, match="spectra"):
        hand.on_job(
            Correct,
            table="readings",
            record_id=reading.root,
            why="a better one",
            changes={"spectra": []},
        )
    hand.on_job(
        Correct, table="readings", record_id=reading.root, why="a slip",
        changes={"surface_temperature_c": 21.0},
    )  # fmt: skip
    with pytest.raises(Invalid, match="worked out under D65 for 10°"):
        hand.on_job(
            Correct, table="readings", record_id=reading.root, why="a slip",
            changes={"illuminant": "D50"},
        )  # fmt: skip
    corrected = hand.file.get(Reading, reading.root)
    assert corrected.surface_temperature_c == 21.0
    assert corrected.spectra == reading.spectra and corrected.angles == reading.angles


def test_spectra_come_through_journal_backup_and_restore_to_the_last_digit(hand, tmp_path):
    (_, master), (card, own) = with_two_batches(hand)
    before = looked_at(hand.file)
    assert before.answer.startswith("matches in daylight and shows under")
    report = verify(hand.store)
    assert report.ok, report.problems
    backup(hand.store, tmp_path / "kept.zip")
    assert restore(tmp_path / "kept.zip", tmp_path / "new").report.ok
    with open_database(tmp_path / "new", read_only=True) as database:
        file = database.store().job(hand.job_id)
        assert verify(database.store()).ok
        assert file.get(Reading, own.root) == own
        assert file.get(Reading, master.root).spectra == spectra(repeats_of(GREY))
        assert looked_at(file) == before


def looked_at(file):
    return batch_under_lights(file, file.all(Card)[-1].batch_id)
