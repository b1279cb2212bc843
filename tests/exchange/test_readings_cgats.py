"""CGATS.17 (ISO 28178) as the standard has it and as exporters write it; texts made up here.

Field and keyword names are those of the standard's tables as secondary sources print them; the
dialects are common practice, no source.
"""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from service.exchange.reading_files import read_readings
from service.exchange.readings import ReadingsFile, ReadingsRefused

LABS = [(50.12, -3.4, 12.5), (31.0, 0.25, -7.75)]
HEAD = """CGATS.17
ORIGINATOR "Workshop"
MEASUREMENT_SOURCE "Illumination=D65 ObserverAngle=10 WhiteBase=Abs Filter=No"
MEASUREMENT_GEOMETRY "45/0"
NUMBER_OF_FIELDS 5
BEGIN_DATA_FORMAT
SAMPLE_ID SAMPLE_NAME LAB_L LAB_A LAB_B
END_DATA_FORMAT
NUMBER_OF_SETS 2
BEGIN_DATA
"""
FIELDS = "SAMPLE_ID SAMPLE_NAME LAB_L LAB_A LAB_B"
ROWS = "1 fir 50.12 -3.4 12.5\n2 sea 31.0 0.25 -7.75\n"
PLAIN = HEAD + ROWS + "END_DATA\n"


def read(text: str | bytes) -> ReadingsFile:
    return read_readings(text if isinstance(text, bytes) else text.encode())


def codes(file: ReadingsFile) -> set[str]:
    return {warning.code for warning in file.warnings}


def labs(file: ReadingsFile) -> list[tuple[float, ...] | None]:
    return [sample.readings[0].lab for sample in file.samples]


def table(fields: str, *rows: str, head: str = "") -> str:
    return (
        f"CGATS.17\n{head}NUMBER_OF_FIELDS {len(fields.split())}\nBEGIN_DATA_FORMAT\n{fields}\n"
        f"END_DATA_FORMAT\nNUMBER_OF_SETS {len(rows)}\nBEGIN_DATA\n" + "\n".join(rows)
    ) + "\nEND_DATA\n"


def test_a_file_by_the_book_gives_names_colours_and_conditions_and_no_warning():
    file = read(PLAIN)
    assert (file.format, file.warnings) == ("cgats", ())
    assert [sample.name for sample in file.samples] == ["fir", "sea"]
    assert labs(file) == LABS
    known = file.samples[0].conditions
    assert (known.illuminant, known.observer, known.geometry) == ("D65", 10, "45:0")


VARIANTS = [
    ("decimal commas", PLAIN.replace("50.12", "50,12"), {"decimal_comma"}),
    ("wrong sets", PLAIN.replace("SETS 2", "SETS 7"), {"count_wrong"}),
    ("no sets", PLAIN.replace("NUMBER_OF_SETS 2\n", ""), {"count_missing"}),
    ("no field count", PLAIN.replace("NUMBER_OF_FIELDS 5\n", ""), {"count_missing"}),
    ("wrong field count", PLAIN.replace("FIELDS 5", "FIELDS 4"), {"count_wrong"}),
    ("tabs", HEAD.replace("ID SAMPLE_NAME LAB", "ID\tSAMPLE_NAME\tLAB") + ROWS.replace(" ", "\t"),
     {"end_of_data_missing"}),
    ("tabs in rows alone", HEAD + ROWS.replace(" ", "\t") + "END_DATA\n", set()),
    ("many blanks", PLAIN.replace(" ", "   "), set()),
    ("quoted values", HEAD + '"1" "fir" "50.12" "-3.4" "12.5"\n2 "sea" 31.0 0.25 -7.75\nEND_DATA',
     set()),
    ("CR LF", PLAIN.replace("\n", "\r\n"), set()),
    ("CR", PLAIN.replace("\n", "\r"), set()),
    ("blank lines", PLAIN.replace("\n", "\n\n"), set()),
    ("comments", PLAIN.replace("1 fir", "# a remark\n1 fir").replace("-7.75", "-7.75 # checked"),
     set()),
    ("no END_DATA", HEAD + ROWS, {"end_of_data_missing"}),
    ("no BEGIN_DATA_FORMAT", PLAIN.replace("BEGIN_DATA_FORMAT\n", ""), {"begin_of_format_missing"}),
    ("no format marks",
     PLAIN.replace("BEGIN_DATA_FORMAT\n", "").replace("END_DATA_FORMAT\n", ""),
     {"begin_of_format_missing"}),
    ("no END_DATA_FORMAT", PLAIN.replace("END_DATA_FORMAT\n", ""), {"end_of_format_missing"}),
    ("no BEGIN_DATA", PLAIN.replace("BEGIN_DATA\n", ""), {"begin_of_data_missing"}),
    ("names as the first row",
     PLAIN.replace(f"BEGIN_DATA_FORMAT\n{FIELDS}\nEND_DATA_FORMAT\n", "")
          .replace("BEGIN_DATA\n", f"BEGIN_DATA\n{FIELDS}\n"),
     {"begin_of_format_missing"}),
    ("format on one line",
     PLAIN.replace("FORMAT\nSAMPLE", "FORMAT SAMPLE").replace("B\nEND_DATA_F", "B END_DATA_F"),
     set()),
    ("format over lines", PLAIN.replace("NAME LAB_L", "NAME\nLAB_L"), set()),
    ("rows over lines", PLAIN.replace("fir 50.12", "fir\n50.12").replace("sea 31", "sea\n31"),
     {"row_over_lines"}),
    ("small letters", PLAIN.replace("BEGIN_DATA", "begin_data").replace("LAB_L", "Lab_L"), set()),
    ("another first line", PLAIN.replace("CGATS.17", "WORKSHOP 1"),
     {"not_named_cgats", "keyword_not_declared"}),
    ("no first line", PLAIN.replace("CGATS.17\n", ""), {"not_named_cgats"}),
    ("IT8 first line", PLAIN.replace("CGATS.17", "IT8.7/2"), set()),
    ("byte order mark", "\ufeff" + PLAIN, {"byte_order_mark"}),
    ("semicolons", HEAD + ROWS.replace(" ", ";") + "END_DATA\n", {"unusual_separator"}),
    ("commas", HEAD + ROWS.replace(" ", ",") + "END_DATA\n", {"unusual_separator"}),
    ("undeclared keyword", PLAIN.replace("ORIGINATOR", "SHELF_MARK"), {"keyword_not_declared"}),
    ("declared keyword",
     PLAIN.replace("ORIGINATOR", 'KEYWORD "SHELF_MARK"\nSHELF_MARK'), set()),
    ("end-of-file mark", PLAIN + "\x1a", {"end_of_file_mark"}),
    ("typographic minus", PLAIN.replace("-", "\u2212"), set()),
    ("other names", PLAIN.replace("LAB_L LAB_A LAB_B", "L* a* b*"), set()),
    ("CIE names", PLAIN.replace("LAB_", "CIE_"), set()),
]  # fmt: skip


@pytest.mark.parametrize(
    ("text", "expected"), [v[1:] for v in VARIANTS], ids=[v[0] for v in VARIANTS]
)
def test_a_dialect_is_read_the_same_and_each_leniency_is_told(text, expected):
    file = read(text)
    assert [sample.name for sample in file.samples] == ["fir", "sea"]
    assert labs(file) == LABS
    assert codes(file) == expected


def test_utf_16_and_old_single_bytes_are_read():
    assert labs(read(PLAIN.encode("utf-16"))) == LABS
    degrees = PLAIN.replace("ObserverAngle=10", "ObserverAngle=10\u00b0")
    for encoding in ("cp1252", "mac-roman", "cp850"):
        file = read(degrees.encode(encoding))
        assert file.samples[0].conditions.observer == 10
        assert "encoding_assumed" in codes(file)


SPELLINGS = [
    *("SPECTRAL_NM{}", "SPECTRAL_NM_{}", "SPECTRAL_{}", "SPEC_{}", "SPEC{}", "NM{}", "NM_{}"),
    *("nm{}", "R{}", "R_{}", "R{}nm", "{}", "{}nm", "REFL_{}", "SPECTRUM_{}", "W{}", "Spectral{}"),
]


@pytest.mark.parametrize("spelling", SPELLINGS)
def test_spectral_fields_in_any_spelling(spelling):
    fields = "SAMPLE_ID " + " ".join(spelling.format(nm) for nm in (400, 410, 420, 430))
    (sample,) = read(table(fields, "x 0.1 0.2 0.3 0.4")).samples
    assert sample.wavelengths_nm == (400, 410, 420, 430)
    assert sample.readings[0].reflectance == (0.1, 0.2, 0.3, 0.4)
    assert sample.readings[0].lab is None


def test_spectra_as_pairs_of_wavelength_and_value_say_their_scale():
    pairs = "SAMPLE_ID " + "SPECTRAL_NM SPECTRAL_PCT " * 3
    (sample,) = read(table(pairs, "x 420 3 400 1 410 2")).samples
    assert sample.wavelengths_nm == (400, 410, 420)
    assert sample.readings[0].reflectance == (0.01, 0.02, 0.03)


def test_percent_is_told_by_the_lightness_beside_it_even_where_it_is_small():
    # L* 10 is Y 1.126 % by CIE 15, so a spectrum about 1.1 is percent, though below 1.2.
    fields = "SAMPLE_ID LAB_L LAB_A LAB_B NM500 NM530 NM560 NM590 NM620"
    file = read(table(fields, "black 10 0 0 1.1 1.1 1.1 1.1 1.1"))
    assert file.samples[0].readings[0].reflectance == pytest.approx((0.011,) * 5)
    assert "reflectance_scale_by_colour" in codes(file)


def test_percent_alone_and_a_stated_norm():
    fields = "SAMPLE_ID SPEC_400 SPEC_410 SPEC_420"
    assert read(table(fields, "x 10 50 90")).samples[0].readings[0].reflectance == (0.1, 0.5, 0.9)
    dark = table(fields, "x 1 2 3", head='SPECTRAL_NORM "100.000000"\n')
    assert read(dark).samples[0].readings[0].reflectance == (0.01, 0.02, 0.03)
    with pytest.raises(ReadingsRefused, match="a share of 1 or percent"):
        read(table(fields, "x 1 2 3"))


def test_xyz_alone_and_lightness_chroma_hue():
    file = read(table("SAMPLE_ID XYZ_X XYZ_Y XYZ_Z", "x 41.2 43.1 20.5"))
    assert file.samples[0].readings[0].xyz == (41.2, 43.1, 20.5)
    assert file.samples[0].as_json()["lab"] is None
    file = read(table("SAMPLE_ID LAB_L LAB_C LAB_H", "x 50 10 90"))
    assert file.samples[0].readings[0].lab == pytest.approx((50, 0, 10))
    assert "lab_from_lch" in codes(file)


def test_densities_and_device_values_are_passed_over_with_a_warning():
    file = read(table("SAMPLE_ID CMYK_C CMYK_Y D_RED D_VIS LAB_L LAB_A LAB_B",
                      "x 1 2 1.5 1.4 50 1 2"))  # fmt: skip
    assert labs(file) == [(50, 1, 2)]
    assert {"density_ignored", "columns_ignored"} <= codes(file)


def test_letters_of_device_values_are_no_coordinates():
    file = read(table("SAMPLE_ID R G B L a b", "x 10 20 30 50 1 2"))
    assert labs(file) == [(50, 1, 2)]
    file = read(table("SAMPLE_ID C M Y K LAB_L LAB_A LAB_B", "x 10 20 30 40 50 1 2"))
    assert labs(file) == [(50, 1, 2)]


def test_several_tables_are_all_read_and_rows_of_two_are_never_repeats():
    second = PLAIN.replace("CGATS.17\n", "").replace("50.12", "50.13")
    file = read(PLAIN + second)
    assert labs(file) == [*LABS, (50.13, -3.4, 12.5), LABS[1]]
    assert codes(file) == {"several_tables"}


def test_a_table_without_a_colour_is_left_out_and_told():
    other = table("INDEX RGB_R RGB_G RGB_B", "1 2 3 4").replace("CGATS.17\n", "")
    file = read(PLAIN + other)
    assert labs(file) == LABS
    assert "table_without_colour" in codes(file)


def test_a_later_table_takes_fields_and_conditions_over():
    later = "BEGIN_DATA\n3 moss 40 1 2\nEND_DATA\n"
    file = read(PLAIN + later)
    assert file.samples[2].name == "moss"
    assert file.samples[2].conditions.illuminant == "D65"
    assert "format_of_table_before" in codes(file)


def test_angles_as_fields_and_as_tables():
    fields = "SAMPLE_ID " + " ".join(f"LAB_{p}_{a}" for a in (15, 45, 110) for p in "LAB")
    (sample,) = read(table(fields, "silver 98 0 1 60 0 2 30 0 3")).samples
    assert sample.as_json()["angles"] == {"15": [98, 0, 1], "45": [60, 0, 2], "110": [30, 0, 3]}
    text = table("SAMPLE_ID LAB_L LAB_A LAB_B", "silver 98 0 1", head="ANGLE 15\n")
    text += table("SAMPLE_ID LAB_L LAB_A LAB_B", "silver 60 0 2", head='ANGLE "as45"\n')
    (sample,) = read(text).samples
    assert sample.as_json()["angles"] == {"15": [98, 0, 1], "45": [60, 0, 2]}


CONDITIONS = [
    ('WEIGHTING_FUNCTION "ILLUMINANT, D50"\nWEIGHTING_FUNCTION "OBSERVER, 2 deg"', "D50", 2, None),
    ('WEIGHTING_FUNCTION "ILLUMINANT, A"\nWEIGHTING_FUNCTION "OBSERVER, 10 degree"', "A", 10, None),
    ('ILLUMINATION_NAME "D65"\nOBSERVER_ANGLE "10"', "D65", 10, None),
    ('INSTRUMENTATION "D50, 2 degree, geometry 45/0, no polarisation filter"', "D50", 2, "45:0"),
    ('MEASUREMENT_SOURCE "Illumination=A\tObserverAngle=10\u00b0"', "A", 10, None),
    ('MEASUREMENT_GEOMETRY "0/45"\nILLUMINANT "D65/10"', "D65", 10, "0:45"),
    ('MEASUREMENT_GEOMETRY "di:8"\nILLUMINANT F11\nOBSERVER 1964', "F11", 10, "d:8"),
    ('MEASUREMENT_SOURCE "M1"', None, None, None),
    ("# illuminant: D65\n# observer: 10\n# geometry: 45:0", "D65", 10, "45:0"),
]  # fmt: skip


@pytest.mark.parametrize(("head", "illuminant", "observer", "geometry"), CONDITIONS)
def test_conditions_are_found_where_headers_hold_them(head, illuminant, observer, geometry):
    file = read(table("SAMPLE_ID LAB_L LAB_A LAB_B", "x 50 1 2", head=head + "\n"))
    known = file.samples[0].conditions
    assert (known.illuminant, known.observer, known.geometry) == (illuminant, observer, geometry)


def test_what_contradicts_itself_or_is_not_known_is_left_open():
    head = 'ILLUMINANT D50\nWEIGHTING_FUNCTION "ILLUMINANT, D65"\nOBSERVER 5\n'
    file = read(table("SAMPLE_ID LAB_L LAB_A LAB_B", "x 50 1 2", head=head))
    assert file.samples[0].conditions.illuminant is None
    assert {"conditions_contradict", "condition_not_understood"} <= codes(file)


def test_a_filter_is_told():
    file = read(PLAIN.replace("NUMBER_OF_FIELDS", 'FILTER "UV cut"\nNUMBER_OF_FIELDS'))
    assert "filter_stated" in codes(file)
    assert "filter_stated" not in codes(
        read(PLAIN.replace("NUMBER_OF", 'FILTER "None"\nNUMBER_OF', 1))
    )


def test_names_of_several_words_without_quotation_marks():
    file = read(PLAIN.replace("fir", "deep fir 7"))
    assert file.samples[0].name == "deep fir 7"
    assert labs(file) == LABS
    assert "name_not_quoted" in codes(file)


def test_missing_values_leave_a_reading_out_and_say_so():
    file = read(PLAIN.replace("31.0", "n/a"))
    assert [sample.name for sample in file.samples] == ["fir"]
    assert {"value_missing", "row_left_out"} <= codes(file)


def test_rows_of_one_name_are_repeats_only_where_they_are_of_one_colour():
    near = read(PLAIN.replace("sea 31.0 0.25 -7.75", "fir 50.2 -3.4 12.5"))
    assert [len(sample.readings) for sample in near.samples] == [2]
    assert "repeats_by_name" in codes(near)
    far = read(PLAIN.replace("sea", "fir"))
    assert labs(far) == LABS
    assert "one_name_many_colours" in codes(far)


def test_a_bad_value_is_named_by_line_field_and_value():
    with pytest.raises(ReadingsRefused, match="Line 12, column 'LAB_A': 'o.25' is not a number"):
        read(PLAIN.replace("0.25", "o.25"))
    with pytest.raises(ReadingsRefused, match="Line 12: the row has 6 values under 5 field names"):
        read(PLAIN.replace("-7.75", "-7.75 9"))


@pytest.mark.parametrize(
    ("name", "samples", "first"),
    [
        ("cgats17_single_spectral_nm_fields.txt", 1, (43, 56, 16)),
        ("lgorowlength_spectral_d65.txt", 10, None),
    ],
)
def test_files_of_others_making(name, samples, first):
    folder = os.environ.get("KEEPCARD_SAMPLES")
    if not folder:
        pytest.skip("unproved: KEEPCARD_SAMPLES names no folder of sample files")
    file = read((Path(folder) / name).read_bytes())
    assert (file.format, len(file.samples)) == ("cgats", samples)
    assert labs(file)[0] == first
    sample = file.samples[0]
    assert sample.wavelengths_nm == tuple(range(380, 740, 10))
    assert sample.conditions.illuminant == ("D50" if first else "D65")


def test_of_several_lamps_in_one_table_the_first_is_read_and_the_rest_told():
    fields = "SAMPLE_ID LAB_L_M0 LAB_A_M0 LAB_B_M0 LAB_L_M1 LAB_A_M1 LAB_B_M1"
    file = read(table(fields, "x 50 1 2 51 1 2"))
    assert labs(file) == [(50, 1, 2)]
    (told,) = [w.message for w in file.warnings if w.code == "columns_ignored"]
    assert told == "Fields not read: 'LAB_L_M1', 'LAB_A_M1', 'LAB_B_M1'."


def test_a_chart_of_three_tables_and_a_norm():
    """As a chart program writes: a word of its own first, spectra in percent, other tables."""
    text = (
        'CTX3   \n\nDESCRIPTOR "made up"\nORIGINATOR "made up"\nKEYWORD "DEVICE_CLASS"\n'
        'DEVICE_CLASS "OUTPUT"\nKEYWORD "SPECTRAL_BANDS"\nSPECTRAL_BANDS "3"\n'
        'KEYWORD "SPECTRAL_NORM"\nSPECTRAL_NORM "100.000000"\nKEYWORD "SAMPLE_LOC"\n'
        "NUMBER_OF_FIELDS 8\nBEGIN_DATA_FORMAT\nSAMPLE_ID SAMPLE_LOC XYZ_X XYZ_Y XYZ_Z SPEC_500 "
        "SPEC_550 SPEC_600 \nEND_DATA_FORMAT\n\nNUMBER_OF_SETS 1\nBEGIN_DATA\n"
        '1 "A1" 1.1 1.2 0.9 1.10 1.20 1.30 \nEND_DATA\n\nCTX2\n\nNUMBER_OF_FIELDS 2\n'
        "BEGIN_DATA_FORMAT\nINDEX RGB_R\nEND_DATA_FORMAT\nNUMBER_OF_SETS 1\nBEGIN_DATA\n0 1\n"
        "END_DATA\n"
    )
    file = read(text)
    (sample,) = file.samples
    assert sample.readings[0].xyz == (1.1, 1.2, 0.9)
    assert sample.readings[0].reflectance == pytest.approx((0.011, 0.012, 0.013))
    assert "table_without_colour" in codes(file)
