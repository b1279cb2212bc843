"""Files that cannot be taken: nothing is read in part, and the message names place and value."""

from __future__ import annotations

import pytest

from service.domain.refused import Refused
from service.exchange import reading_files, readings_csv
from service.exchange.reading_files import read_readings
from service.exchange.readings import ReadingsRefused

BAD_ROWS = [
    ("word", "name,L,a,b\nx,50,1,2\ny,50,abc,2\n", 3, "a", "abc", "'abc' is not a number"),
    ("empty", "name,L,a,b\nx,50,,2\n", 2, "a", "", "value is missing"),
    ("nan", "L,a,b\nnan,1,2\n", 2, "L", "nan", "'nan' is not a number"),
    ("infinity", "L,a,b\ninf,1,2\n", 2, "L", "inf", "is not a number"),
    ("underscore", "L,a,b\n5_0,1,2\n", 2, "L", "5_0", "is not a number"),
    ("percent of L", "L,a,b\n50%,1,2\n", 2, "L", "50%", "is not a number"),
    ("thousands", "L;a;b\n1.050,2;1;2\n", 2, "L", "1.050,2", "more than one decimal mark"),
    ("too light", "L*,a*,b*\n120,1,2\n", 2, "L*", "120", "from -1 to 100.5"),
    ("too dark", "L,a,b\n-5,1,2\n", 2, "L", "-5", "from -1 to 100.5"),
    ("far out", "L,a,b\n50,1,-300\n", 2, "b", "-300", "from -200 to 200"),
    ("two marks", "L;a;b\n50,1;2,3;-4\n50.1;2,3;-4\n", 3, "L", "50.1", "another decimal mark"),
    ("no name", "name,L,a,b\nx,50,1,2\n,50,1,2\n", 3, "name", None, "name is missing"),
    ("illuminant", "illuminant,L,a,b\nD66,1,1,1\n", 2, "illuminant", "D66", "'D66' is not an ill"),
    ("observer", "observer,L,a,b\n5,50,1,2\n", 2, "observer", "5", "Write 2 or 10"),
    ("specular", "specular,L,a,b\nmaybe,50,1,2\n", 2, "specular", "maybe", "included or excluded"),
    ("stage", "stage,L,a,b\nshiny,50,1,2\n", 2, "stage", "shiny", "is not a stage"),
    ("angle", "angle,L,a,b\n300,50,1,2\n", 2, "angle", "300", "is not an angle"),
    ("half angle", "angle,L,a,b\n22.5,50,1,2\n", 2, "angle", "22.5", "whole degrees"),
    ("repeat", "repeat,L,a,b\nfirst,50,1,2\n", 2, "repeat", "first", "not a repeat number"),
    ("repeat twice", "name,repeat,L,a,b\nx,1,50,1,2\nx,1,51,1,2\n", 3, "repeat", "1", "line 2"),
    ("no unit", "temperature,L,a,b\n23,50,1,2\n", 2, "temperature", "23", "has no unit"),
    ("oven", "temperature_c,L,a,b\n900,50,1,2\n", 2, "temperature_c", "900", "cannot be a card's"),
    ("long name", "name,L,a,b\n" + "x" * 201 + ",50,1,2\n", 2, "name", "x" * 201, "201 characters"),
    ("unseen", "name,L,a,b\nx\u202ey,50,1,2\n", 2, "name", "x\u202ey", "cannot be shown"),
    ("black hole", "name,400,410,420\nx,0.1,-0.5,0.2\n", 2, "410", "-0.5", "reflectance cannot be"),
    ("some percent", "name,400,410,420\nx,10%,20%,30\n", 2, "420", "30", "no % sign"),
    ("later percent", "name,400,410,420\nx,1%,2%,3%\ny,1,2,3\n", 3, "400", "1", "no % sign"),
    ("share or %", "name,400,410,420\nx,1,2,3\n", 2, "420", "3", "a share of 1 or percent"),
]


@pytest.mark.parametrize(
    ("text", "line", "column", "value", "words"),
    [row[1:] for row in BAD_ROWS],
    ids=[row[0] for row in BAD_ROWS],
)
def test_a_bad_row_is_named_by_line_column_and_value(text, line, column, value, words):
    with pytest.raises(ReadingsRefused) as refused:
        read_readings(text.encode())
    assert (refused.value.line, refused.value.column) == (line, column)
    assert refused.value.value == value
    assert words in str(refused.value)
    assert str(refused.value).startswith(f"Line {line}, column '{column}': ")


BAD_TABLES = [
    ("empty", "", "file is empty"),
    ("blank", " \n\n", "file is empty"),
    ("only comments", "# illuminant: D65\n", "holds no table"),
    ("no header", "50,1,2\n51,1,2\n", r"no header with L\*, a\*, b\*.*'50,1,2'.*such as L,a,b"),
    ("prose", "Dear painter\nsee you\n", "no header.*'Dear painter'"),
    ("rows before header", "1,2,3\nL,a,b\n50,1,2\n", "Line 1: no header"),
    ("no b", "name,L,a\nx,50,1\n", "no column for b\\*.*'name', 'L', 'a'"),
    ("polar", "name,L,C,h\nx,50,1,20\n", "no column for a\\* or b\\*"),
    ("numbered headings", "L1,a1,b1\n50,1,2\n", "no header"),
    ("joined angle", "L-15,a-15,b-15\n50,1,2\n", "no header"),
    ("header alone", "L,a,b\n", "header but no rows"),
    ("two of one", "L,a,b,b*\n50,1,2,3\n", "'b' and 'b\\*' mean the same"),
    ("two names", "name,name,L,a,b\nx,y,50,1,2\n", "'name' and 'name' mean the same"),
    ("commas everywhere", "L,a,b\n50,1,2,3,-4,0\n", "separate the values by semicolons"),
    (
        "one too many",
        "L,a,b\n50,1,2,7\n",
        "4 values under 3 headings, the first too many being '7'",
    ),
    ("open quote", 'name,L,a,b\n"x,50,1,2\n', "Line 2: the quotation marks do not pair"),
    ("after quote", 'name,L,a,b\n"x"y,50,1,2\n', "Line 2: the quotation marks do not pair"),
    ("row of a name", "name,L,a,b\nx,,,\n", "Line 2: the row holds no reading"),
    ("contradiction", "# illuminant: D65\n# illuminant: A\nL,a,b\n1,1,1\n", "contradicts 'D65'"),
    ("row against file", "# illuminant: D65\nilluminant,L,a,b\nA,1,1,1\n", "Line 3.*D65 and A"),
    (
        "heading against file",
        "# illuminant: A\nL*(D65/10),a*(D65/10),b*(D65/10)\n1,1,1\n",
        "A and D",
    ),
    (
        "geometry against mode",
        "# geometry: di:8\n# specular: out\nL,a,b\n1,1,1\n",
        "included and exc",
    ),
    ("late statement", "L,a,b\n1,1,1\n# illuminant: A\n2,2,2\n", "Line 3.*State it above"),
    ("bad statement", "# observer: 7\nL,a,b\n1,1,1\n", "Line 1, column 'observer': '7'"),
    ("marked in part", "name,400 %,410,420\nx,1,2,3\n", "some wavelength headings carry a %"),
    ("angles of spectra", "L15,a15,b15,L45,a45,b45,400,410,420\n1,1,1,1,1,1,1,1,1\n", "do not say"),
    ("control character", "name,L,a,b\n\x1b[2Jx,50,1,2\n", "Line 2: .*control character '.x1b'"),
    (
        "CGATS",
        "CGATS.17\nNUMBER_OF_FIELDS 3\n",
        "looks like a CGATS.17 file, but it holds no table of readings",
    ),
    ("CGATS by its table", "ABC\nBEGIN_DATA_FORMAT\nLAB_L\n", "looks like a CGATS.17 file"),
    (
        "CxF3",
        '<?xml version="1.0"?>\n<cc:CxF xmlns:cc="x"/>',
        "holds no object with L.*Export the readings with their colours",
    ),
    ("web page", "<html></html>", "is XML or a web page that begins with 'html', not a CxF3 file"),
]


@pytest.mark.parametrize(
    ("text", "words"), [t[1:] for t in BAD_TABLES], ids=[t[0] for t in BAD_TABLES]
)
def test_a_file_that_cannot_be_read_says_why_and_what_to_do(text, words):
    with pytest.raises(ReadingsRefused, match=words):
        read_readings(text.encode())


@pytest.mark.parametrize(
    ("start", "kind"),
    [
        (b"\xff\xd8\xff\xe0", "JPEG"),
        (b"\x89PNG\r\n", "PNG"),
        (b"%PDF-1.7", "PDF"),
        (b"PK\x03\x04", "workbook"),
        (b"\x1f\x8b\x08", "gzip"),
    ],
)
def test_files_that_are_no_text_are_named_for_what_they_are(start, kind):
    with pytest.raises(ReadingsRefused, match=kind):
        read_readings(start + b"\x00\x01" * 50)


def test_bytes_in_no_known_encoding_are_refused_with_their_place():
    with pytest.raises(ReadingsRefused, match="Byte 7 of the file"):
        read_readings(b"L,a,b\n\x81\n")


def test_a_quoted_cell_that_never_closes_is_refused_without_reading_the_rest():
    with pytest.raises(ReadingsRefused, match="still open after 20 lines"):
        read_readings(b'name,L,a,b\n"x' + b"\n" * 50_000)


def test_files_over_the_size_limit_are_refused_before_they_are_read(monkeypatch):
    monkeypatch.setattr(reading_files, "decode", None)  # not even looked at
    with pytest.raises(ReadingsRefused, match="20,000,001 bytes; at most 20,000,000"):
        read_readings(b"L" * 20_000_001)


def test_more_rows_than_the_limit_are_refused(monkeypatch):
    assert readings_csv.MOST_ROWS == 100_000
    monkeypatch.setattr(readings_csv, "MOST_ROWS", 3)
    assert len(read_readings(b"L,a,b\n" + b"1,1,1\n" * 3).samples) == 3
    with pytest.raises(ReadingsRefused, match="Line 5: the table has more than 3 rows"):
        read_readings(b"L,a,b\n" + b"1,1,1\n" * 4)


def test_the_refusal_is_one_the_whole_program_knows():
    assert issubclass(ReadingsRefused, Refused)
