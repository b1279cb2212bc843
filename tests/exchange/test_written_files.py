"""What is written stands up to others: the published schema, and readers that share no code."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from xml.etree import ElementTree

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from lxml import etree

from service.domain.terms import Specular, Stage
from service.exchange.reading_files import read_readings
from service.exchange.readings import Conditions, Reading, ReadingsRefused, Sample
from service.exchange.write_cgats import write_cgats
from service.exchange.write_cxf import write_cxf

WHEN = datetime(2026, 3, 2, 10, 30, tzinfo=UTC)
SCHEMA = Path(__file__).parents[1] / "reference" / "cxf3_core.xsd"
D65 = Conditions(illuminant="D65", observer=10, geometry="45:0")
SPHERE = Conditions(illuminant="LED-B3", observer=2, geometry="d:8", specular=Specular.EXCLUDED)


def reading(lab=(50.25, -3.125, 12.0), **more) -> Reading:
    return Reading(line=0, lab=lab, **more)


SAMPLES = [
    Sample(name="AB-12 <fir> & \u00e4", readings=(reading(), reading((50.5, -3.0, 12.25))),
           conditions=D65, stage=Stage.BAKED, instrument="bench & field"),
    Sample(name="sea", readings=(reading(reflectance=(0.1, 0.00001, 0.3)),), conditions=SPHERE,
           wavelengths_nm=(400, 410, 420)),
    Sample(name="odd bands", readings=(reading(None, reflectance=(0.1, 0.2, 1.3)),),
           wavelengths_nm=(400, 410.5, 430)),
    Sample(name="silver", conditions=replace(D65, geometry="multi-angle"),
           readings=tuple(reading((90 - angle / 2, 0.5, 1.0), angle=angle)
                          for angle in (-15, 15, 45, 110) for _ in range(2))),
    Sample(name=None, readings=(reading(xyz=(40.5, 42.0, 30.25)),)),
]  # fmt: skip


def strict_cgats(data: bytes) -> list[dict[str, object]]:
    """A reader of our own that takes nothing but what the standard has; a dict for each row."""
    text = data.decode("ascii")
    assert text.endswith("\r\n") and "\n" not in text.replace("\r\n", "")
    lines = text.split("\r\n")[:-1]
    assert lines[0] == "CGATS.17"
    rows, declared, known, lines = [], set(), {}, lines[1:]
    standard = {"ORIGINATOR", "CREATED", "INSTRUMENTATION", "MEASUREMENT_GEOMETRY"}
    standard |= {"WEIGHTING_FUNCTION", "NUMBER_OF_FIELDS", "NUMBER_OF_SETS", "SAMPLE_ID"}
    standard |= {"SAMPLE_NAME", "LAB_L", "LAB_A", "LAB_B", "XYZ_X", "XYZ_Y", "XYZ_Z"}
    while lines:
        line = lines.pop(0)
        if line != "BEGIN_DATA_FORMAT":
            key, value = re.fullmatch(r'([A-Z_]+) ("[^"]*"|\d+)', line).groups()
            value = value.strip('"')
            if key == "KEYWORD":
                declared.add(value)
                continue
            assert key in standard | declared, key
            if key == "WEIGHTING_FUNCTION":
                key, value = value.split(", ")
            known[key] = value
            continue
        fields = lines.pop(0).split("\t")
        assert set(fields) <= standard | declared
        assert len(fields) == int(known.pop("NUMBER_OF_FIELDS"))
        assert lines.pop(0) == "END_DATA_FORMAT"
        count = int(re.fullmatch(r"NUMBER_OF_SETS (\d+)", lines.pop(0))[1])
        assert lines.pop(0) == "BEGIN_DATA"
        for number in range(1, count + 1):
            cells = lines.pop(0).split("\t")
            row = dict(zip(fields, cells, strict=True))
            assert int(row.pop("SAMPLE_ID")) == number
            name = re.fullmatch(r'"([^"]*)"', row.pop("SAMPLE_NAME"))[1]
            for value in row.values():
                assert re.fullmatch(r"-?\d+(\.\d+)?", value)
            rows.append({**known, "name": name, **{k: float(v) for k, v in row.items()}})
        assert lines.pop(0) == "END_DATA"
        known = {}
    return rows


def test_cgats_is_read_by_a_strict_reader_of_its_own():
    rows = strict_cgats(write_cgats(SAMPLES, created=WHEN))
    assert len(rows) == 13
    assert rows[0]["name"] == "AB-12 <fir> & a"
    assert (rows[0]["LAB_L"], rows[0]["LAB_A"], rows[0]["LAB_B"]) == (50.25, -3.125, 12)
    assert (rows[0]["ILLUMINANT"], rows[0]["OBSERVER"]) == ("D65", "10 degree")
    assert (rows[0]["STAGE"], rows[0]["MEASUREMENT_GEOMETRY"]) == ("baked", "45:0")
    assert (rows[2]["SPECTRAL_NM410"], rows[2]["SPECULAR"]) == (0.00001, "excluded")
    assert rows[3]["SPECTRAL_NM410.5"] == 0.2
    assert [row["ANGLE"] for row in rows if row["name"] == "silver"] == sorted(
        ["-15", "15", "45", "110"] * 2, key=int
    )


def test_cxf_holds_to_the_published_schema():
    schema = etree.XMLSchema(etree.parse(SCHEMA))
    schema.assertValid(etree.fromstring(write_cxf(SAMPLES, created=WHEN)))
    broken = write_cxf(SAMPLES, created=WHEN).replace(b'ObjectType="Standard" ', b"", 1)
    assert not schema.validate(etree.fromstring(broken))  # so that the schema is known to bite


def test_cxf_is_read_by_a_plain_xml_reader():
    root = ElementTree.fromstring(write_cxf(SAMPLES, created=WHEN))
    ns = {"c": "http://colorexchangeformat.com/CxF3-core"}
    objects = root.findall("c:Resources/c:ObjectCollection/c:Object", ns)
    assert objects[0].get("Name") == "AB-12 <fir> & \u00e4"
    assert [objects[0].findtext(f".//c:ColorCIELab/c:{x}", None, ns) for x in "LAB"] == [
        "50.25", "-3.125", "12.0"]  # fmt: skip
    assert len(objects) == 2 + 1 + 1 + 2 + 1
    silver = objects[4].findall(".//c:ColorCIELab", ns)
    assert [lab.get("Name") for lab in silver] == ["45as-15", "45as15", "45as45", "45as110"]
    spectrum = objects[2].find(".//c:ReflectanceSpectrum", ns)
    assert (spectrum.get("StartWL"), spectrum.text) == ("400", "0.1 1e-05 0.3")


@pytest.mark.parametrize("write", [write_cgats, write_cxf])
def test_the_lenient_reader_finds_again_what_was_written(write):
    file = read_readings(write(SAMPLES, created=WHEN))
    assert file.samples[-1].conditions == Conditions()
    assert len(file.samples) == len(SAMPLES)
    named = {sample.name: sample for sample in file.samples}
    for given_sample in SAMPLES[1:4]:
        back = named[given_sample.name]
        assert back.conditions == given_sample.conditions
        assert back.labs_by_angle() == given_sample.labs_by_angle()
        assert back.wavelengths_nm == given_sample.wavelengths_nm
        assert [r.reflectance for r in back.readings] == [
            r.reflectance for r in given_sample.readings
        ]
    first = file.samples[0]
    assert (first.stage, first.conditions) == (Stage.BAKED, D65)
    assert first.labs_by_angle() == SAMPLES[0].labs_by_angle()
    assert file.samples[-1].readings[0].xyz == (40.5, 42.0, 30.25)


labs = st.tuples(st.floats(0, 400), st.floats(-200, 200), st.floats(-200, 200))


@settings(deadline=None, max_examples=60)
@given(st.lists(st.tuples(st.text(max_size=30), labs), min_size=1, max_size=4))
def test_any_name_and_any_number_make_valid_files(things):
    samples = [Sample(name=name, readings=(reading(lab),)) for name, lab in things]
    rows = strict_cgats(write_cgats(samples, created=WHEN))
    found = [(row["LAB_L"], row["LAB_A"], row["LAB_B"]) for row in rows]
    assert found == [lab for _, lab in things]
    data = write_cxf(samples, created=WHEN)
    etree.XMLSchema(etree.parse(SCHEMA)).assertValid(etree.fromstring(data))


def test_what_cxf_has_no_room_for_is_refused_in_words():
    black = Sample(name="black", readings=(reading((-0.3, 0.0, 0.0)),))
    with pytest.raises(ReadingsRefused, match=r"L\* -0.3 of 'black' has no place in CxF3"):
        write_cxf([black], created=WHEN)
    bright = Sample(
        name="x", readings=(reading(None, reflectance=(1, 4)),), wavelengths_nm=(400, 410)
    )
    with pytest.raises(ReadingsRefused, match="reflectance 4 of 'x'.*between -0.1 and 3"):
        write_cxf([bright], created=WHEN)


@pytest.mark.parametrize("write", [write_cgats, write_cxf])
def test_nothing_to_write_is_said(write):
    with pytest.raises(ReadingsRefused, match="no readings to export"):
        write([], created=WHEN)
