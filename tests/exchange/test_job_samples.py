"""A job's readings with their spectra, written and read back: by the reader here and by others."""

from __future__ import annotations

from dataclasses import replace
from xml.etree import ElementTree

import numpy as np
import pytest
from lxml import etree

from service.domain.card_code import grouped
from service.domain.records.cards import Card
from service.domain.records.measuring import AngleReading, AngleSpectrum, Reading
from service.domain.terms import Method, Stage
from service.exchange.job_csv import job_csv
from service.exchange.job_samples import job_as
from service.exchange.reading_files import read_readings
from service.exchange.readings import ReadingsRefused
from tests.builders import JobBuilder
from tests.exchange.test_written_files import SCHEMA, strict_cgats
from tests.spectral_readings import CHART, GREY, NM, repeats_of, spectral

NS = {"c": "http://colorexchangeformat.com/CxF3-core"}


def angle(lab, rows, at=None, nm=NM):
    """Fields of a reading at one angle: colours as they stand, and a spectrum each."""
    return (
        AngleReading(angle=at, repeats=(lab,) * len(rows)),
        AngleSpectrum(
            angle=at,
            wavelengths_nm=tuple(map(float, nm)),
            reflectance=tuple(map(tuple, np.asarray(rows).tolist())),
        ),
    )


@pytest.fixture
def job() -> JobBuilder:
    """Three cards: a solid with spectra, an effect colour at three angles, one of colours alone."""
    made = JobBuilder()
    batch = made.batch(1)
    solid = spectral(repeats_of(GREY))["spectra"]
    made.reading(made.card(batch, "solid"), (81.25, 0.5, 0.125), spectra=solid, geometry="45:0",
                 specular=None)  # fmt: skip
    several = [angle((90.5 - at / 2, 0.5, 1.0), repeats_of(CHART[2], 2), at) for at in (15, 45)]
    other_nm = NM[2:-8:2]
    several.append(angle((30.25, 0.5, 1.0), repeats_of(CHART[2], 2)[:, 2:-8:2], 110, other_nm))
    _angles(made, made.card(batch, "effect"), several, stage=Stage.POLISHED)
    made.reading(made.card(batch, "plain"), (25.5, -12.0, 6.25), repeats=2, geometry="45:0",
                 specular=None)  # fmt: skip
    return made


def _angles(made, card, several, **fields):
    reading = made.reading(card, geometry="multi-angle", specular=None, **fields)
    angles, spectra = zip(*several, strict=True)
    made.file = made.file.with_records([replace(reading, angles=angles, spectra=spectra)])


def kept(job):
    """Card, angle, colours and spectra on record, by name and angle."""
    found = {}
    for reading in job.file.all(Reading):
        code = job.file.get(Card, reading.card_id).code
        spectra = {s.angle: s for s in reading.spectra}
        for one in reading.angles:
            spectrum = spectra.get(one.angle)
            found[grouped(code), one.angle] = (
                one.repeats,
                spectrum.wavelengths_nm if spectrum else None,
                spectrum.reflectance if spectrum else (None,) * len(one.repeats),
            )
    return found


@pytest.mark.parametrize("form", ["cgats", "cxf"])
def test_what_is_exported_is_read_back_to_the_last_digit(job, form):
    file = read_readings(job_as(form, job.file))
    assert file.format == form
    found = {}
    for sample in file.samples:
        assert (sample.conditions.illuminant, sample.conditions.observer) == ("D65", 10)
        for at in sample.angles():
            readings = [r for r in sample.readings if r.angle == at]
            spectra = tuple(r.reflectance for r in readings)
            nm = sample.wavelengths_nm if spectra[0] is not None else None
            found[sample.name, at] = (tuple(r.lab for r in readings), nm, spectra)
    assert found == kept(job)


def test_cgats_declares_every_wavelength_as_a_strict_reader_wants_it(job):
    rows = strict_cgats(job_as("cgats", job.file))
    assert len(rows) == 3 + 3 * 2 + 2
    first = rows[0]
    assert first["SPECTRAL_NORM"] == "1"
    assert first["LAB_L"] == 81.25
    told = [first[f"SPECTRAL_NM{nm:g}"] for nm in NM]
    assert told == list(repeats_of(GREY)[0])
    at_110 = [row for row in rows if row.get("ANGLE") == "110"]
    assert len(at_110) == 2
    assert "SPECTRAL_NM400" in at_110[0] and "SPECTRAL_NM410" not in at_110[0]
    assert not any(key.startswith("SPECTRAL") for key in rows[-1])


def test_cxf_holds_to_the_schema_and_a_plain_xml_reader_finds_the_spectra(job):
    data = job_as("cxf", job.file)
    etree.XMLSchema(etree.parse(SCHEMA)).assertValid(etree.fromstring(data))
    root = ElementTree.fromstring(data)
    resources = root.find("c:Resources", NS)
    specifications = {
        spec.get("Id"): spec.find("c:MeasurementSpec", NS)
        for spec in resources.findall("c:ColorSpecificationCollection/c:ColorSpecification", NS)
    }
    objects = resources.findall("c:ObjectCollection/c:Object", NS)
    spectrum = objects[0].find(".//c:ReflectanceSpectrum", NS)
    assert [float(text) for text in spectrum.text.split()] == list(repeats_of(GREY)[0])
    spec = specifications[spectrum.get("ColorSpecification")]
    assert spec.findtext("c:MeasurementType", None, NS) == "Spectrum_Reflectance"
    steps = spec.find("c:WavelengthRange", NS)
    assert (steps.get("StartWL"), steps.get("Increment")) == ("380", "10")
    names = [s.get("Name") for s in objects[3].findall(".//c:ReflectanceSpectrum", NS)]
    assert names == ["45as15", "45as45"]  # 110 was sampled at other wavelengths, so lies apart
    last = objects[-1]
    assert last.find(".//c:ReflectanceSpectrum", NS) is None
    plain = last.find(".//c:ColorCIELab", NS).get("ColorSpecification")
    assert specifications[plain].findtext("c:MeasurementType", None, NS) == (
        "Colorimetric_Reflectance"
    )


def test_csv_holds_the_colours_of_every_reading(job):
    """A table has one set of wavelengths; the colours are all there whatever the spectra."""
    file = read_readings(job_csv(job.file))
    assert sum(len(sample.readings) for sample in file.samples) == 3 + 3 * 2 + 2
    assert all(r.lab is not None for sample in file.samples for r in sample.readings)


def test_a_card_read_twice_alike_has_its_repeats_numbered_on(job):
    card = job.file.all(Card)[2]
    job.reading(card, (25.75, -12.0, 6.25), repeats=2, geometry="45:0", specular=None)
    sample = read_readings(job_csv(job.file)).samples[-1]
    assert [r.repeat for r in sample.readings] == [1, 2, 3, 4]
    assert [r.lab[0] for r in sample.readings] == [25.5, 25.5, 25.75, 25.75]


@pytest.mark.parametrize("form", ["cgats", "cxf"])
def test_a_photograph_is_not_passed_off_as_a_measurement(job, form):
    before = job_as(form, job.file)
    card = job.file.all(Card)[0]
    job.reading(card, geometry="photograph", specular=None, method=Method.PHOTOGRAPH)
    assert job_as(form, job.file) == before
    alone = JobBuilder()
    alone.reading(alone.card(alone.batch(1)), method=Method.PHOTOGRAPH)
    with pytest.raises(ReadingsRefused, match="Read a card with an instrument first"):
        job_as(form, alone.file)
