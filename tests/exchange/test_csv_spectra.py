"""Tables of spectra as spreadsheets and published data sets hold them; values as typed here.

The dialects are those seen in public files of measured charts and of spectrometers.
"""

from __future__ import annotations

import pytest

from service.exchange.reading_files import read_readings
from service.exchange.readings import ReadingsRefused

BANDS = [400, 500, 600, 700]
SPECTRUM = [0.1, 0.2, 0.3, 0.4]


def read(text):
    return read_readings(text.encode())


def spectra(text):
    return [
        (one["name"], one["spectrum"]["wavelengths_nm"], one["spectrum"]["reflectance"])
        for one in (sample.as_json() for sample in read(text).samples)
    ]


def codes(text):
    return {warning.code for warning in read(text).warnings}


def row(*cells, sep=","):
    return sep.join(str(cell) for cell in cells) + "\n"


@pytest.mark.parametrize(
    "pattern",
    [
        *("{}", "{}nm", "{} nm", "nm{}", "{}.0", "{} (nm)", "{} [nm]", "R{}", "R_{}", "R({})"),
        *("R[{}]", "R @ {} nm", "R{} nm", "R_{}nm", "SPECTRAL_NM{}", "SPEC_{}", "Reflectance_{}"),
        *("Reflectance ({} nm)", "{} nm (Reflectance)", "Wavelength {}", "wl{}", "λ{}", "X{}"),
    ],
)
def test_headings_of_wavelengths_are_read_in_every_form(pattern):
    text = row("name", *[pattern.format(nm) for nm in BANDS]) + row("fir", *SPECTRUM)
    assert spectra(text) == [("fir", BANDS, SPECTRUM)]


@pytest.mark.parametrize("heading", ["", "Swatch", "Patch", "wavelength", "Muster"])
def test_a_first_column_of_unlike_texts_is_the_names(heading):
    text = row(heading, *BANDS) + row("fir", *SPECTRUM) + row("sea", *SPECTRUM[::-1])
    assert spectra(text) == [("fir", BANDS, SPECTRUM), ("sea", BANDS, SPECTRUM[::-1])]


def test_the_names_of_an_unknown_first_column_are_told():
    assert "names_from_first_column" in codes(row("Muster", *BANDS) + row("fir", *SPECTRUM))


@pytest.mark.parametrize("heading", ["Date", "time", "hex"])
def test_a_first_column_of_dates_names_nothing(heading):
    text = row(heading, *BANDS) + row("2024-05-01", *SPECTRUM)
    assert spectra(text) == [(None, BANDS, SPECTRUM)]


def test_a_first_column_that_repeats_itself_names_nothing():
    text = row("Run", *BANDS) + row("a", *SPECTRUM) + row("a", *SPECTRUM[::-1])
    assert [name for name, _, _ in spectra(text)] == [None, None]


@pytest.mark.parametrize("heading", ["", "n", "run"])
def test_counted_rows_of_lab_stay_unnamed_since_they_may_be_repeats(heading):
    text = f"{heading},L,a,b\n1,50,1,2\n2,50.1,1,2\n3,50,1.1,2\n"
    assert [sample.name for sample in read(text).samples] == [None] * 3


def test_counted_rows_of_lab_with_spectra_stay_unnamed_too():
    text = row("n", "L", "a", "b", *BANDS) + row(1, 50, 1, 2, *SPECTRUM)
    assert read(text).samples[0].name is None


def test_device_colours_beside_a_spectrum_are_left_out():
    text = row("name", "R", "G", "B", *BANDS) + row("fir", 1, 2, 3, *SPECTRUM)
    assert spectra(text) == [("fir", BANDS, SPECTRUM)]


def turned(heading, names, columns, sep=","):
    lines = [row(heading, *names, sep=sep)]
    lines += [row(*cells, sep=sep) for cells in zip(*columns, strict=True)]
    return "".join(lines)


@pytest.mark.parametrize(
    "heading",
    [
        *("wavelength", "Wavelength (nm)", "Wavelength [nm]", "nm", "wl", "WL/nm", "lambda"),
        *("λ (nm)", "Wellenlänge", ""),
    ],
)
def test_wavelengths_down_the_first_column_are_read(heading):
    text = turned(heading, ["fir", "sea"], [BANDS, SPECTRUM, SPECTRUM[::-1]])
    assert spectra(text) == [("fir", BANDS, SPECTRUM), ("sea", BANDS, SPECTRUM[::-1])]
    assert "spectra_in_columns" in codes(text)


def test_row_numbers_in_the_range_of_wavelengths_turn_no_table():
    text = ",L,a,b\n" + "".join(row(number, 50, 1, 2) for number in range(400, 406))
    samples = read(text).samples
    assert len(samples) == 6
    assert samples[0].readings[0].lab == (50.0, 1.0, 2.0)


def test_turned_tables_may_have_numbers_for_names_and_run_downwards():
    text = turned("nm", [1, 2], [BANDS[::-1], SPECTRUM[::-1], SPECTRUM[::-1]])
    assert spectra(text) == [("1", BANDS, SPECTRUM), ("2", BANDS, SPECTRUM)]


def test_turned_tables_may_have_semicolons_and_decimal_commas():
    cells = [str(share).replace(".", ",") for share in SPECTRUM]
    text = turned("nm", ["fir"], [BANDS, cells], sep=";")
    assert spectra(text) == [("fir", BANDS, SPECTRUM)]
    assert {"decimal_comma", "delimiter"} <= codes(text)


def test_a_row_of_units_says_percent():
    text = "Wavelength,fir\nnm,%\n" + "".join(row(nm, nm / 400) for nm in BANDS)
    ((name, _, shares),) = spectra(text)
    assert (name, shares) == ("fir", pytest.approx([0.01, 0.0125, 0.015, 0.0175]))


def test_conditions_may_stand_above_a_turned_table():
    text = "# geometry: 45:0\n" + turned("nm", ["fir"], [BANDS, SPECTRUM])
    assert read(text).samples[0].conditions.geometry == "45:0"


def test_an_empty_column_of_a_turned_table_is_no_sample():
    text = turned("nm", ["fir", "note"], [BANDS, SPECTRUM, ["", "", "", ""]])
    assert spectra(text) == [("fir", BANDS, SPECTRUM)]


BAD = {
    "missing": (turned("nm", ["fir"], [BANDS, [0.1, "", 0.3, 0.4]]), "Line 3, column 'fir'"),
    "word": (turned("nm", ["fir"], [BANDS, [0.1, "O.2", 0.3, 0.4]]), "'O.2' is not a number"),
    "no wavelength": (
        turned("nm", ["fir"], [[*BANDS, "mean"], [*SPECTRUM, 0.2]]),
        "'mean' is not a wavelength",
    ),
    "too many cells": (
        turned("nm", ["fir"], [BANDS, SPECTRUM]) + "710,0.4,0.5\n",
        "3 values under 2 headings",
    ),
    "scale": (turned("nm", ["fir"], [BANDS, [5, 5, 5, 5]]), "may be a share of 1 or percent"),
}


@pytest.mark.parametrize(("text", "words"), BAD.values(), ids=BAD.keys())
def test_a_turned_table_that_cannot_be_read_says_why(text, words):
    with pytest.raises(ReadingsRefused, match=words):
        read(text)


@pytest.mark.parametrize("form", ["{a}° {nm} nm", "R{nm}_as{a}", "45as{a} R{nm}"])
def test_headings_may_name_the_angle_of_a_spectrum(form):
    names = [form.format(a=angle, nm=nm) for angle in (15, 45) for nm in BANDS]
    (sample,) = read(row("name", *names) + row("fir", *SPECTRUM, *SPECTRUM[::-1])).samples
    assert {r.angle: list(r.reflectance) for r in sample.readings} == {
        15: SPECTRUM,
        45: SPECTRUM[::-1],
    }


def test_angles_with_unlike_wavelengths_are_refused_in_words():
    names = [f"R{nm}_as15" for nm in BANDS] + [f"R{nm}_as45" for nm in (410, 510, 610, 710)]
    with pytest.raises(ReadingsRefused, match="wavelengths at 45°"):
        read(row("name", *names) + row("fir", *SPECTRUM, *SPECTRUM))


@pytest.mark.parametrize("form", ["45as{a} {c}", "{c}_AS{a}", "{c}@{a}", "{a}deg {c}"])
@pytest.mark.parametrize("angle", [15, 110])
def test_joined_headings_of_angles_are_read(form, angle):
    names = [form.format(c=c, a=angle) for c in ("L*", "a*", "b*")]
    (sample,) = read(row("name", *names) + row("fir", 50, 1, 2)).samples
    assert sample.as_json()["angles"] == {str(angle): [50.0, 1.0, 2.0]}


@pytest.mark.parametrize("count", [1, 7])
def test_a_few_spectra_beyond_one_must_state_their_scale(count):
    text = row("name", *BANDS) + "".join(row(f"n{n}", 0.9, 1.5, 1, 1) for n in range(count))
    with pytest.raises(ReadingsRefused, match="may be a share of 1 or percent"):
        read(text)


def test_many_spectra_none_beyond_three_are_shares_of_one():
    """Fluorescent paint passes 1; eight surfaces that all reflect less than 3 % there are not."""
    text = row("name", *BANDS) + "".join(row(f"n{n}", 0.1, 1.5, 1, 1) for n in range(8))
    assert spectra(text)[0] == ("n0", BANDS, [0.1, 1.5, 1.0, 1.0])
    assert "reflectance_scale_not_stated" in codes(text)


def test_a_turned_table_counts_its_columns_as_spectra():
    text = turned("nm", ["fir"], [[*BANDS, 710, 720, 730, 740, 750], [1.5] * 9])
    with pytest.raises(ReadingsRefused, match="may be a share of 1 or percent"):
        read(text)
