"""Lines, names and columns no exporter writes: answered in words, without a walk through each."""

from __future__ import annotations

import pytest

from service.exchange.reading_files import read_readings
from service.exchange.readings import ReadingsRefused

LONG = [
    ("letters without an end", b"a" * 2_000_000, "1,000,000 characters"),
    ("digits without an end", b"1" * 2_000_000, "1,000,000 characters"),
    ("old line ends do not hide one", b"L,a,b\r" + b"'" * 2_000_000, "1,000,000 characters"),
    ("long lines", (b"a" * 90_000 + b"\n") * 20, "no header"),
    ("names that are no names", b"x" * 500 + b",L,a\n", "has no column for b"),
    ("columns upon columns", b"L*," * 20_000, "at most 10,000"),
    ("comments upon comments", b"#\n" * 20_000, "10,000 comments"),
    ("rows on one line upon rows", b"CGATS.17\nBEGIN_DATA_FORMAT\nLAB_L LAB_A LAB_B\n"
     b"END_DATA_FORMAT\nBEGIN_DATA\n" + b"1 2 3 " * 50_000 + b"\nEND_DATA", "values under 3"),
    ("entities upon entities", b"<CxF>" + b"&nosuch;" * 100_000, "not whole XML"),
]  # fmt: skip


@pytest.mark.parametrize(("data", "words"), [one[1:] for one in LONG], ids=[one[0] for one in LONG])
def test_it_is_refused_in_words(data, words):
    with pytest.raises(ReadingsRefused, match=words):
        read_readings(data)


def test_entities_that_html_has_are_still_read_as_their_signs():
    text = (
        '<CxF><Object Name="fir &eacute;&nosuch; &amp; &eacute;"><ColorCIELab L="5" A="1" B="2"/>'
        "</Object></CxF>"
    )
    (sample,) = read_readings(text.encode()).samples
    assert sample.name == "fir é&nosuch; & é"
