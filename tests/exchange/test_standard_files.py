"""CGATS.17 and CxF3 files, as standards and as programs write them: read, with each leniency told.

Structures after ANSI CGATS.17 / ISO 28178 and ISO 17972-1 (CxF3), from open descriptions of both;
the colours are invented.
"""

from __future__ import annotations

import os
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.exchange.reading_files import read_readings
from service.exchange.readings import ReadingsRefused

CGATS = """CGATS.17
ORIGINATOR "an invented program"
ILLUMINANT "D50"
OBSERVER "2"
MEASUREMENT_GEOMETRY "45/0"
NUMBER_OF_FIELDS 5
BEGIN_DATA_FORMAT
SAMPLE_ID SAMPLE_NAME LAB_L LAB_A LAB_B
END_DATA_FORMAT
NUMBER_OF_SETS 2
BEGIN_DATA
1 "left door" 52.25 -3.5 10
2 "right door" 51.75 -3.25 9.5
END_DATA
"""
LABS = [(52.25, -3.5, 10.0), (51.75, -3.25, 9.5)]

CXF = """<?xml version="1.0" encoding="UTF-8"?>
<cc:CxF xmlns:cc="http://colorexchangeformat.com/CxF3-core">
 <cc:Resources>
  <cc:ObjectCollection>
   <cc:Object ObjectType="Standard" Name="left door" Id="o1">
    <cc:CreationDate>2026-01-01T00:00:00</cc:CreationDate>
    <cc:ColorValues>
     <cc:ReflectanceSpectrum ColorSpecification="cs1" StartWL="400">
      0.1 0.2 0.3 0.4
     </cc:ReflectanceSpectrum>
     <cc:ColorCIELab ColorSpecification="cs1">
      <cc:L>52.25</cc:L><cc:A>-3.5</cc:A><cc:B>10</cc:B>
     </cc:ColorCIELab>
    </cc:ColorValues>
   </cc:Object>
  </cc:ObjectCollection>
  <cc:ColorSpecificationCollection>
   <cc:ColorSpecification Id="cs1">
    <cc:TristimulusSpec>
     <cc:Illuminant>D65</cc:Illuminant><cc:Observer>10_Degree</cc:Observer>
    </cc:TristimulusSpec>
    <cc:MeasurementSpec>
     <cc:MeasurementType>Spectrum_Reflectance</cc:MeasurementType>
     <cc:GeometryChoice><cc:SingleAngle>
      <cc:SingleAngleConfiguration>Annular</cc:SingleAngleConfiguration>
      <cc:IlluminationAngle>45</cc:IlluminationAngle><cc:MeasurementAngle>0</cc:MeasurementAngle>
     </cc:SingleAngle></cc:GeometryChoice>
     <cc:WavelengthRange StartWL="400" Increment="10"/>
    </cc:MeasurementSpec>
   </cc:ColorSpecification>
  </cc:ColorSpecificationCollection>
 </cc:Resources>
</cc:CxF>
"""


def labs(found):
    return [sample["lab"] and tuple(sample["lab"]) for sample in found.as_json()["samples"]]


def codes(found):
    return {warning.code for warning in found.warnings}


def test_a_plain_cgats_file_is_read_with_its_conditions():
    found = read_readings(CGATS.encode()).as_json()
    assert found["format"] == "cgats"
    assert [sample["name"] for sample in found["samples"]] == ["left door", "right door"]
    assert [tuple(sample["lab"]) for sample in found["samples"]] == LABS
    conditions = found["samples"][0]["conditions"]
    assert (conditions["illuminant"], str(conditions["observer"])) == ("D50", "2")
    # The standard wants other keywords declared by KEYWORD.
    assert [warning["code"] for warning in found["warnings"]] == ["keyword_not_declared"]


@pytest.mark.parametrize(
    "change",
    [
        lambda text: text.replace("\n", "\r\n"),
        lambda text: text.replace("\n", "\r"),
        lambda text: "\ufeff" + text,
        lambda text: text.replace("left door", "left").replace(" ", "\t"),
        lambda text: text.replace("NUMBER_OF_SETS 2", "NUMBER_OF_SETS 9"),
        lambda text: text.replace("NUMBER_OF_FIELDS 5\n", ""),
        lambda text: text.replace(".25", ",25").replace(".5", ",5").replace(".75", ",75"),
        lambda text: text.replace("CGATS.17", "# a program's own first line"),
        lambda text: text.replace("LAB_L", "lab_l"),
    ],
    ids=["CRLF", "CR", "BOM", "tabs", "sets", "fields", "commas", "first line", "case"],
)
def test_what_programs_make_of_cgats_is_read_all_the_same(change):
    assert labs(read_readings(change(CGATS).encode())) == LABS


def test_a_wrong_count_is_warned_of():
    found = read_readings(CGATS.replace("SETS 2", "SETS 9").encode())
    assert codes(found)
    assert any("9" in warning.message for warning in found.warnings)


@pytest.mark.parametrize("spelling", ["SPECTRAL_NM{}", "SPEC_{}", "NM{}", "SPECTRAL_NM_{}", "nm{}"])
@pytest.mark.parametrize("scale", [1, 100])
def test_spectra_are_read_under_any_spelling_as_shares_or_percent(spelling, scale):
    fields = " ".join(spelling.format(nm) for nm in (400, 410, 420, 430))
    values = " ".join(str(v * scale) for v in (0.125, 0.25, 0.5, 0.75))
    text = f"CGATS.17\nBEGIN_DATA_FORMAT\nSAMPLE_ID {fields}\nEND_DATA_FORMAT\n"
    text += f"BEGIN_DATA\n1 {values}\nEND_DATA\n"
    [sample] = read_readings(text.encode()).as_json()["samples"]
    assert sample["spectrum"]["wavelengths_nm"] == [400, 410, 420, 430]
    assert sample["spectrum"]["reflectance"] == pytest.approx([0.125, 0.25, 0.5, 0.75])


def test_a_plain_cxf_file_is_read_with_spectrum_and_conditions():
    found = read_readings(CXF.encode()).as_json()
    assert found["format"] == "cxf"
    [sample] = found["samples"]
    assert (sample["name"], sample["lab"]) == ("left door", [52.25, -3.5, 10])
    assert sample["spectrum"] == {
        "wavelengths_nm": [400, 410, 420, 430],
        "reflectance": [0.1, 0.2, 0.3, 0.4],
    }
    conditions = sample["conditions"]
    assert (conditions["illuminant"], str(conditions["observer"])) == ("D65", "10")


@pytest.mark.parametrize(
    "change",
    [
        lambda text: text.replace("cc:", "").replace("xmlns:cc", "xmlns"),
        lambda text: text.replace("cc:", "q:").replace("xmlns:cc", "xmlns:q"),
        lambda text: text.replace('encoding="UTF-8"', 'encoding="UTF-16"'),
    ],
    ids=["no prefix", "another prefix", "UTF-16"],
)
def test_prefixes_and_encodings_of_cxf_do_not_matter(change):
    text = change(CXF)
    data = text.encode("utf-16" if "UTF-16" in text else "utf-8")
    assert labs(read_readings(data)) == [LABS[0]]


@pytest.mark.parametrize(
    "declaration",
    [
        '<!DOCTYPE x [<!ENTITY a "b">]>',
        '<!DOCTYPE x SYSTEM "file:///etc/passwd">',
        '<!DOCTYPE x [<!ENTITY a SYSTEM "file:///etc/passwd">]>',
    ],
)
def test_document_types_and_entities_are_refused(declaration):
    text = CXF.replace('encoding="UTF-8"?>\n', f'encoding="UTF-8"?>\n{declaration}\n')
    with pytest.raises(ReadingsRefused):
        read_readings(text.encode())


def test_nesting_without_end_is_refused():
    with pytest.raises(ReadingsRefused):
        read_readings(b"<CxF>" + b"<a>" * 100_000)


@settings(max_examples=150, deadline=None)
@given(
    st.sampled_from([CGATS, CXF]), st.integers(0, 2000), st.integers(0, 60), st.binary(max_size=8)
)
def test_a_file_cut_and_changed_anywhere_ends_in_an_answer(text, at, length, put):
    data = text.encode()
    at = min(at, len(data))
    try:
        read_readings(data[:at] + put + data[at + length :])
    except ReadingsRefused as refused:
        assert len(str(refused)) > 15


@pytest.mark.parametrize(
    ("name", "kind", "count"),
    [
        ("cxf_sample.cxf", "cxf", 100),
        ("cgats17_single_spectral_nm_fields.txt", "cgats", 1),
        ("lgorowlength_spectral_d65.txt", "cgats", 1),
    ],
)
def test_real_files_of_others_are_read(name, kind, count):
    folder = os.environ.get("KEEPCARD_SAMPLES")
    if not folder:
        pytest.skip("unproved: KEEPCARD_SAMPLES names no folder of sample files")
    found = read_readings((Path(folder) / name).read_bytes()).as_json()
    assert found["format"] == kind
    assert len(found["samples"]) >= count
    assert all(sample["spectrum"] or sample["lab"] for sample in found["samples"])
