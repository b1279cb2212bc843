"""The demo's spectra are of the colours that were read, and tell the two tins apart by lamp."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest

from colour.difference import delta_e_2000
from colour.spectra import lab_from_reflectance
from demo_cards.names import id_of
from demo_cards.script import instrument_id, reading_id
from demo_cards.spectra_made import spectra_of
from service.domain.metameric import batch_under_lights
from service.domain.records.measuring import AngleReading, Reading
from service.domain.terms import Word
from tests.demo_cards.conftest import Told

SILVER = AngleReading(angle=45, repeats=((56.1, -1.4, -3.7), (56.2, -1.3, -3.6)))
USUAL, OTHER = [[610, 60, 0.1]], [[540, 55, 0.12], [420, 20, 0.15]]
EVERY_10 = (400, 700, 10)


def readings_of(demo: Told) -> list[Reading]:
    return [*demo.van.all(Reading), *demo.repair.all(Reading)]


@pytest.mark.parametrize("pigments", [USUAL, OTHER])
@pytest.mark.parametrize(("light", "observer"), [("D65", 10), ("D50", 2)])
def test_a_spectrum_has_the_colour_of_its_repeat(pigments, light, observer):
    (made,) = spectra_of([SILVER], pigments, EVERY_10, light, observer)
    labs = lab_from_reflectance(
        made.reflectance, made.wavelengths_nm, illuminant=light, observer=observer
    )
    assert np.abs(labs - SILVER.repeats).max() < 0.002
    assert spectra_of([SILVER], pigments, EVERY_10, light, observer) == (made,)


def test_every_reading_of_the_three_angle_instrument_has_spectra_of_its_own_colours(demo: Told):
    """The L*, a*, b* on record are rounded to 0.01, the spectra to 0.00001."""
    three_angles = [r for r in readings_of(demo) if r.instrument_id == instrument_id(True)]
    assert len(three_angles) > 20
    for reading in three_angles:
        assert [s.angle for s in reading.spectra] == [a.angle for a in reading.angles]
        for spectrum, angle in zip(reading.spectra, reading.angles, strict=True):
            labs = lab_from_reflectance(
                spectrum.reflectance,
                spectrum.wavelengths_nm,
                illuminant=reading.illuminant,
                observer=reading.observer,
            )
            assert delta_e_2000(labs, angle.repeats).max() < 0.005


def test_no_other_reading_has_a_spectrum(demo: Told):
    others = [r for r in readings_of(demo) if r.instrument_id != instrument_id(True)]
    assert others and not any(reading.spectra for reading in others)


def test_the_spectra_are_those_of_a_paint(demo: Told):
    """Never dark below nothing, and no step from one wavelength to the next that paint has not."""
    for reading in readings_of(demo):
        for spectrum in reading.spectra:
            for row in spectrum.reflectance:
                assert min(row) > 0.01
                steps = [abs(after - before) for before, after in pairwise(row)]
                assert max(steps) < 0.1 * max(row)


BLENDING = (1, 3, 4, 5)


@pytest.mark.parametrize("number", BLENDING)
def test_batches_of_the_old_tin_match_under_every_light(demo: Told, number: int):
    found = batch_under_lights(demo.van, id_of("van", "batch", number))
    assert found is not None and found.lights and found.angle == 45
    assert all(light.matches for light in found.lights)


def test_the_batch_of_the_new_tin_blends_and_shows_under_shop_led(demo: Told):
    verdict = demo.batch(7)
    assert verdict is not None and verdict.word is Word.BLENDS
    found = batch_under_lights(demo.van, id_of("van", "batch", 7))
    assert found is not None
    assert found.answer == (
        "matches in daylight and shows under a three-band tube and under shop LED"
    )
    assert all(light.settled for light in found.lights)
    assert {light.illuminant for light in found.lights if light.matches} == {"D65", "A"}
    assert found.card_reading_id == reading_id("7 polished")


def test_the_solid_has_no_spectra_and_says_so(demo: Told):
    found = batch_under_lights(demo.van, id_of("van", "batch", 10))
    assert found is not None and found.missing_spectrum == "both"
