"""No exchange file ends in a traceback or a hang: each is read, or refused in words."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.exchange.reading_files import read_readings
from service.exchange.readings import ReadingsRefused

BANDS = " ".join(f"SPECTRAL_NM{nm}" for nm in range(400, 460, 10))
CGATS = (
    'CGATS.17\nORIGINATOR "Workshop"\nWEIGHTING_FUNCTION "ILLUMINANT, D65"\n'
    'MEASUREMENT_SOURCE "ObserverAngle=10\u00b0"\nKEYWORD "SHELF"\nSHELF 7 # upper\n'
    f"NUMBER_OF_FIELDS 11\nBEGIN_DATA_FORMAT\nSAMPLE_ID\tSAMPLE_NAME\tLAB_L\tLAB_A\tLAB_B {BANDS}\n"
    "END_DATA_FORMAT\nNUMBER_OF_SETS 2\nBEGIN_DATA\n"
    '1\t"deep fir"\t50.12\t-3.4\t12,5\t0.1\t0.2\t0.3\t0.4\t0.5\t0.6\n'
    "2 sea 31 0.25 -7.75 0.1 0.2 0.3 0.4 0.5 n/a\nEND_DATA\n"
    'SPECTRAL_NORM "100.0"\nBEGIN_DATA_FORMAT\nSAMPLE_ID XYZ_X XYZ_Y XYZ_Z LAB_L_15 LAB_A_15 '
    "LAB_B_15\nEND_DATA_FORMAT\nBEGIN_DATA\n1 41.2 43.1 20.5 98 0 1\nEND_DATA\n"
)
CXF = (
    '<?xml version="1.0" encoding="UTF-8"?>\n<cc:CxF xmlns:cc="c"><cc:Resources>\n'
    '<cc:ObjectCollection><cc:Object ObjectType="Standard" Name="fir" Id="o1">'
    "<cc:CreationDate>2026-03-02T10:00:00</cc:CreationDate><cc:ColorValues>"
    '<cc:ReflectanceSpectrum ColorSpecification="s" StartWL="400">0.1 0.2 0.3'
    '</cc:ReflectanceSpectrum><cc:ColorCIELab ColorSpecification="s"><cc:L>50</cc:L><cc:A>1</cc:A>'
    "<cc:B>-2</cc:B></cc:ColorCIELab></cc:ColorValues></cc:Object></cc:ObjectCollection>\n"
    '<cc:ColorSpecificationCollection><cc:ColorSpecification Id="s"><cc:TristimulusSpec>'
    "<cc:Illuminant>D65</cc:Illuminant><cc:Observer>10_Degree</cc:Observer></cc:TristimulusSpec>"
    "<cc:MeasurementSpec><cc:GeometryChoice><cc:MultiAngle>"
    '<cc:BRDFAngle Notation="45as15"><cc:Aspecular>15</cc:Aspecular></cc:BRDFAngle>'
    '</cc:MultiAngle></cc:GeometryChoice><cc:WavelengthRange StartWL="400" Increment="10"/>'
    "</cc:MeasurementSpec></cc:ColorSpecification></cc:ColorSpecificationCollection>"
    "</cc:Resources></cc:CxF>\n"
)
SOURCES = [CGATS.encode(), CXF.encode(), CXF.encode("utf-16"), CGATS.encode("cp1252")]
PIECES = [
    *(b"\0", b"\t", b'"', b"'", b"#", b"\n", b"\r", b"END_DATA\n", b"BEGIN_DATA\n", b"<", b"&x;"),
    *(
        b"</",
        b",",
        b";",
        b"nan",
        b"1e999",
        b"-1e308",
        b"BEGIN_DATA_FORMAT ",
        b"\xef\xbb\xbf",
        b"]]>",
    ),
    *(b"<!--", b"<![CDATA[", b"\xff\xfe", b"9" * 400, b"_", b"%", b"NUMBER_OF_SETS -1\n", b"\x1a"),
]


def answered(data: bytes) -> bool:
    """Read it or refuse it in words; anything else escapes and fails the test."""
    try:
        file = read_readings(data)
    except ReadingsRefused as refused:
        assert len(str(refused)) > 20
        assert str(refused).isprintable()
        return False
    for sample in file.samples:
        sample.as_json()
    for warning in file.warnings:
        assert warning.message.isprintable()
    return True


@st.composite
def mutated(draw):
    """A file cut, doubled, crossed, overwritten and filled in."""
    data = bytearray(draw(st.sampled_from(SOURCES)))
    for _ in range(draw(st.integers(1, 6))):
        start = draw(st.integers(0, len(data)))
        end = min(len(data), start + draw(st.integers(1, 120)))
        change = draw(st.sampled_from(["cut", "double", "end", "put", "bytes", "cross"]))
        if change == "cut":
            del data[start:end]
        elif change == "double":
            data[start:start] = data[start:end]
        elif change == "end":
            del data[start:]
        elif change == "put":
            data[start:start] = draw(st.sampled_from(PIECES))
        elif change == "bytes":
            data[start:end] = draw(st.binary(max_size=20))
        else:
            middle = (start + end) // 2
            data[start:end] = data[middle:end] + data[start:middle]
    return bytes(data)


@settings(deadline=None, max_examples=400)
@given(mutated())
def test_any_damaged_file_is_answered(data):
    answered(data)


@settings(deadline=None, max_examples=100)
@given(st.binary(max_size=300))
def test_any_bytes_behind_a_beginning_are_answered(data):
    answered(b"CGATS.17\nBEGIN_DATA_FORMAT\n" + data)
    answered(b"<CxF><Object>" + data)


@settings(deadline=None, max_examples=100)
@given(st.text(alphabet='LAB_XYZNM0123456789 \t\n"#.,;-SAMPLEID', max_size=200))
def test_any_table_is_answered(text):
    answered(f"CGATS.17\nBEGIN_DATA_FORMAT\nLAB_L LAB_A LAB_B\nEND_DATA_FORMAT\nBEGIN_DATA\n{text}"
             .encode())  # fmt: skip


@pytest.mark.parametrize("source", [0, 1])
def test_the_files_that_are_damaged_above_are_whole_before(source):
    assert answered(SOURCES[source])


def table(fields: str, body: str, head: str = "") -> bytes:
    return (
        f"CGATS.17\n{head}BEGIN_DATA_FORMAT\n{fields}\nEND_DATA_FORMAT\nBEGIN_DATA\n{body}\nEND_DATA"
    ).encode()


LAB = "LAB_L LAB_A LAB_B"
HUGE = [
    ("100,000 columns", table(" ".join(f"NM{n}" for n in range(100_000)), "1"), "columns"),
    ("a row of millions", table(LAB, "1 " * 2_000_000), "values under 3"),
    ("an endless quotation", table(LAB, '"' * 2_000_000), "values under 3"),
    ("rows of one cell", table(LAB + " F" * 4000, "1\n" * 100_000), "values under"),
    ("marks upon marks", b"BEGIN_DATA_FORMAT " * 200_000, "marks such as"),
    ("tables upon tables", (LAB.encode() + b"\nBEGIN_DATA\n1 2 3\nEND_DATA\n") * 3_000, "tables"),
    ("headers upon headers", table(LAB, "1 2 3", "A B\n" * 30_000), "headers have more"),
    ("NUL bytes", table(LAB, "1 2\0 3"), "control character"),
    ("only NUL bytes", b"\0" * 1_000_000, "."),
    ("a spectrum of millions", b"<CxF><Object><ReflectanceSpectrum>" + b"0.1 " * 1_000_000
     + b"</ReflectanceSpectrum></Object></CxF>", "1,000,000 values"),
    ("nothing but <", b"<" * 2_000_000, "not whole XML"),
    ("an endless declaration", b"<?xml version='1.0' encoding='" + b"a" * 2_000_000 + b"'?><CxF/>",
     "not whole XML"),
    ("an unknown encoding", b"<?xml version='1.0' encoding='nonesuch'?><CxF/>", "holds no object"),
    ("wide and empty", b"<CxF>" + b"<a/>" * 300_000 + b"</CxF>", "holds no object"),
]  # fmt: skip


@pytest.mark.parametrize(("data", "words"), [h[1:] for h in HUGE], ids=[h[0] for h in HUGE])
def test_what_no_exporter_writes_is_refused_in_words(data, words):
    with pytest.raises(ReadingsRefused, match=words):
        read_readings(data)


def test_a_header_line_of_millions_is_passed_over():
    head = 'ORIGINATOR "' + "x" * 2_000_000 + '"\n'
    assert answered(table(LAB, "50 1 2", head))


def test_warnings_of_one_kind_do_not_pile_up():
    some = "".join(f"{LAB}\nBEGIN_DATA\n{n} 1 2\nEND_DATA\n" for n in range(1, 90))
    file = read_readings(b"CGATS.17\n" + some.encode())
    assert len(file.samples) == 89
    assert sum(warning.code == "count_missing" for warning in file.warnings) == 6
