"""Readings files as instrument software and spreadsheets write them, and what is said of each."""

from __future__ import annotations

import pytest

from service.domain.terms import Specular, Stage
from service.exchange.reading_files import read_readings
from service.exchange.readings import Conditions, ReadingsFile


def read(text: str, encoding: str = "utf-8") -> ReadingsFile:
    return read_readings(text.encode(encoding))


def codes(file: ReadingsFile) -> set[str]:
    return {warning.code for warning in file.warnings}


STATED = "# illuminant: D65\n# observer: 10\n# geometry: d:8\n# specular: included\n"


def test_a_plain_file_with_all_conditions_stated_gives_no_warning():
    file = read(STATED + "name,L,a,b\nfirst,50.1,2.3,-4\nsecond,20,0,0\n")
    assert file.warnings == ()
    assert [sample.name for sample in file.samples] == ["first", "second"]
    assert file.samples[0].labs_by_angle() == {None: ((50.1, 2.3, -4.0),)}
    assert file.samples[0].conditions == Conditions(
        illuminant="D65", observer=10, geometry="d:8", specular=Specular.INCLUDED
    )


def test_the_json_form_has_the_contract_keys_and_null_for_what_is_unknown():
    written = read("L,a,b\n50,1,2\n").as_json()
    assert set(written) == {"format", "samples", "warnings"}
    (sample,) = written["samples"]
    expected = {"name", "lab", "xyz", "spectrum", "conditions", "angles"}
    assert expected <= set(sample)
    assert sample["lab"] == [50, 1, 2]
    assert sample["name"] is None and sample["xyz"] is None and sample["angles"] is None
    assert sample["conditions"] == {
        "illuminant": None,
        "observer": None,
        "geometry": None,
        "specular": None,
    }
    for warning in written["warnings"]:
        assert set(warning) == {"code", "message"}


def test_each_missing_condition_is_a_warning_of_its_own():
    assert codes(read("name,L,a,b\nx,50,1,2\n")) == {
        "illuminant_not_stated",
        "observer_not_stated",
        "geometry_not_stated",
        "specular_not_stated",
    }


@pytest.mark.parametrize("geometry", ["45:0", "0/45", "45°a:0°", "multi-angle"])
def test_a_directional_geometry_leaves_no_question_about_the_specular_reflection(geometry):
    file = read(f"# geometry: {geometry}\nname,L,a,b\nx,50,1,2\n")
    assert "specular_not_stated" not in codes(file)


DIALECTS = [
    ("comma", "name,L,a,b\nx,50.1,2.3,-4\n", set()),
    ("semicolon", "name;L;a;b\nx;50.1;2.3;-4\n", {"delimiter"}),
    ("tab", "name\tL\ta\tb\nx\t50.1\t2.3\t-4\n", {"delimiter"}),
    ("upright bar", "name|L|a|b\nx|50.1|2.3|-4\n", {"delimiter"}),
    ("decimal comma", "name;L;a;b\nx;50,1;2,3;-4\n", {"delimiter", "decimal_comma"}),
    ("quoted decimal comma", 'name,L,a,b\nx,"50,1","2,3",-4\n', {"decimal_comma"}),
    ("all quoted", '"name","L","a","b"\n"x","50.1","2.3","-4"\n', set()),
    ("CR LF", "name,L,a,b\r\nx,50.1,2.3,-4\r\n", set()),
    ("CR", "name,L,a,b\rx,50.1,2.3,-4\r", set()),
    ("no last line break", "name,L,a,b\nx,50.1,2.3,-4", set()),
    ("blank lines", "\n\nname,L,a,b\n\n,,,\nx,50.1,2.3,-4\n\n", set()),
    ("comments", "# made by hand\nname,L,a,b\n# the card\nx,50.1,2.3,-4\n", set()),
    ("spaces", "name, L, a, b\n x , 50.1 , 2.3 , -4 \n", set()),
    ("byte order mark", "\ufeffname,L,a,b\nx,50.1,2.3,-4\n", {"byte_order_mark"}),
    ("true minus", "name,L,a,b\nx,50.1,2.3,\u22124\n", set()),
    ("plus and exponent", "name,L,a,b\nx,+5.01e1,2.3,-4.\n", set()),
    ("separator line", "sep=;\nname;L;a;b\nx;50.1;2.3;-4\n", {"delimiter"}),
    ("trailing delimiters", "name,L,a,b,,\nx,50.1,2.3,-4,,\n", set()),
    ("title lines", "Export of cards\n\nname,L,a,b\nx,50.1,2.3,-4\n", {"lines_skipped"}),
    ("more columns", "name,L,a,b,C*,dE\nx,50.1,2.3,-4,4.6,0.3\n", {"columns_ignored"}),
    ("other order", "b*,name,a*,L*\n-4,x,2.3,50.1\n", set()),
]


@pytest.mark.parametrize(
    ("text", "lenient"), [d[1:] for d in DIALECTS], ids=[d[0] for d in DIALECTS]
)
def test_each_dialect_holds_the_same_reading_and_says_what_was_lenient(text, lenient):
    file = read(text)
    (sample,) = file.samples
    assert sample.name == "x"
    assert sample.labs_by_angle() == {None: ((50.1, 2.3, -4.0),)}
    assert {code for code in codes(file) if not code.endswith("_not_stated")} == lenient


@pytest.mark.parametrize("encoding", ["utf-16", "utf-16-le", "utf-16-be"])
def test_utf_16_is_read_with_and_without_its_mark(encoding):
    file = read("name,L,a,b\r\nÄ7,50.1,2.3,-4\r\n", encoding)
    assert file.samples[0].name == "Ä7"
    assert "utf_16" in codes(file)


def test_a_degree_sign_in_one_byte_is_read_and_the_assumed_encoding_said():
    file = read("name;L*(D65/10°);a*(D65/10°);b*(D65/10°)\nx;50;1;2\n", "cp1252")
    assert file.samples[0].conditions.illuminant == "D65"
    assert "encoding_assumed" in codes(file)


HEADINGS = [
    "L,a,b",
    "L*,a*,b*",
    "l,A,B",
    "LAB_L,LAB_A,LAB_B",
    "Lab L,Lab a,Lab b",
    "CIE L*,CIE a*,CIE b*",
    "CIELAB L*,CIELAB a*,CIELAB b*",
    "L star,a star,b star",
    "Lightness,a*,b*",
]


@pytest.mark.parametrize("header", HEADINGS)
def test_spelled_variants_of_the_headings_are_understood(header):
    assert read(header + "\n50,1,-2\n").samples[0].labs_by_angle() == {None: ((50.0, 1.0, -2.0),)}


def test_conditions_may_stand_in_columns_and_split_readings_of_one_name():
    file = read(
        "sample,illuminant,observer,geometry,specular,stage,instrument,L,a,b\n"
        "x,D65,10°,d/8,SCI,cleared,bench 1,50,1,2\n"
        "x,d 65,10,di:8,incl,cleared,bench 1,50.2,1,2\n"
        "x,FL11,CIE 1931,45/0,out,base dry,bench 1,51,1,2\n"
    )
    first, second = file.samples
    assert len(first.readings) == 2
    assert first.stage is Stage.CLEARED and first.instrument == "bench 1"
    assert first.conditions == Conditions(
        illuminant="D65", observer=10, geometry="d:8", specular=Specular.INCLUDED
    )
    assert second.conditions == Conditions(
        illuminant="F11", observer=2, geometry="45:0", specular=Specular.EXCLUDED
    )
    assert second.stage is Stage.BASE_DRY


def test_illuminant_and_observer_may_share_a_cell():
    (sample,) = read("name,illuminant/observer,L,a,b\nx,D50/2°,50,1,2\n").samples
    assert (sample.conditions.illuminant, sample.conditions.observer) == ("D50", 2)


def test_angles_in_rows_become_angles_of_one_sample():
    file = read(
        STATED.replace("d:8", "multi-angle")
        + "name,angle,L,a,b\nx,15,90,1,1\nx,45°,60,1,1\nx,as110,30,1,1\nx,15,92,1,3\n"
    )
    (sample,) = file.samples
    assert sample.labs_by_angle() == {
        15: ((90.0, 1.0, 1.0), (92.0, 1.0, 3.0)),
        45: ((60.0, 1.0, 1.0),),
        110: ((30.0, 1.0, 1.0),),
    }
    written = sample.as_json()
    assert written["lab"] is None
    assert written["angles"] == {"15": [91, 1, 2], "45": [60, 1, 1], "110": [30, 1, 1]}


@pytest.mark.parametrize(
    ("header", "bare"),
    [
        ("name,L*(15°),a*(15°),b*(15°),L*(-15°),a*(-15°),b*(-15°)", False),
        ("name,as15 L*,as15 a*,as15 b*,as-15 L*,as-15 a*,as-15 b*", False),
        ("name,15° L*,15° a*,15° b*,-15° L*,-15° a*,-15° b*", False),
        ("name,L15,a15,b15,L*(-15°),a*(-15°),b*(-15°)", True),
    ],
)
def test_angles_in_headings_become_angles_of_one_sample(header, bare):
    file = read(header + "\nx,90,1,2,30,3,4\n")
    assert file.samples[0].labs_by_angle() == {15: ((90.0, 1.0, 2.0),), -15: ((30.0, 3.0, 4.0),)}
    assert ("angle_from_heading" in codes(file)) is bare


def test_lights_in_headings_make_a_sample_each():
    file = read(
        "name,L*(D65/10),a*(D65/10),b*(D65/10),L*(A/10),a*(A/10),b*(A/10)\nx,50,1,2,51,3,4\n"
    )
    assert [(s.name, s.conditions.illuminant, s.conditions.observer) for s in file.samples] == [
        ("x", "D65", 10),
        ("x", "A", 10),
    ]
    assert file.samples[1].labs_by_angle() == {None: ((51.0, 3.0, 4.0),)}


def test_repeats_are_kept_apart_and_averaged_as_lab_in_the_json_form():
    file = read("name,repeat,L,a,b\nx,1,50,1,2\nx,2,51,1,4\ny,1,20,0,0\n")
    first, _ = file.samples
    assert first.labs_by_angle() == {None: ((50.0, 1.0, 2.0), (51.0, 1.0, 4.0))}
    assert first.as_json()["lab"] == [50.5, 1, 3]
    assert [r["repeat"] for r in first.as_json()["repeats"]] == [1, 2]
    assert "repeats_by_name" not in codes(file)


def test_rows_of_one_name_without_numbers_are_repeats_and_that_is_said():
    file = read("name,L,a,b\nx,50,1,2\ny,20,0,0\nx,51,1,4\n")
    assert [len(sample.readings) for sample in file.samples] == [2, 1]
    assert "repeats_by_name" in codes(file)


def test_rows_without_names_are_never_taken_for_repeats():
    file = read("L,a,b\n50,1,2\n50.1,1,2\n")
    assert len(file.samples) == 2
    assert "no_names" in codes(file)


def test_rows_without_names_but_numbered_are_repeats_of_one_sample():
    file = read("repeat,L,a,b\n1,50,1,2\n2,50.1,1,2\n")
    assert len(file.samples) == 1
    assert "no_names" not in codes(file)


def test_angles_without_names_go_on_with_the_sample_until_one_comes_again():
    file = read("angle,L,a,b\n15,90,1,1\n45,60,1,1\n15,91,1,1\n45,61,1,1\n")
    assert [sample.angles() for sample in file.samples] == [(15, 45), (15, 45)]


def test_repeats_alike_to_the_last_digit_are_pointed_out():
    assert "identical_repeats" in codes(read("name,L,a,b\nx,50,1,2\nx,50,1,2\n"))
    assert "identical_repeats" not in codes(read("name,L,a,b\nx,50,1,2\nx,50,1,2.01\n"))
    one_at_each_angle = "name,angle,L,a,b\nx,15,50,1,2\nx,45,50,1,2\n"
    assert "identical_repeats" not in codes(read(one_at_each_angle))


def test_xyz_columns_are_taken_beside_lab_and_their_scale_is_said():
    file = read("name,X,Y,Z,L,a,b\nx,17.5,18.4,19.9,50,0,0\n")
    assert file.samples[0].as_json()["xyz"] == [17.5, 18.4, 19.9]
    assert "xyz_scale_not_stated" in codes(file)
    as_share = read("# xyz: fraction\nname,X,Y,Z\nx,0.175,0.184,0.199\n")
    assert as_share.samples[0].readings[0].xyz == pytest.approx((17.5, 18.4, 19.9), rel=1e-15)
    assert "xyz_scale_not_stated" not in codes(as_share)


def test_chromaticities_in_small_letters_are_not_taken_for_tristimulus_values():
    file = read("name,L,a,b,x,y\nq,50,0,0,0.31,0.33\n")
    assert file.samples[0].readings[0].xyz is None
    assert "columns_ignored" in codes(file)


@pytest.mark.parametrize("header", ["400,410,420", "400 nm,410 nm,420nm", "R400,R410,R420"])
def test_wavelength_headings_make_a_spectrum(header):
    file = read(f"name,{header}\nx,0.1,0.2,0.3\n")
    assert file.samples[0].as_json()["spectrum"] == {
        "wavelengths_nm": [400, 410, 420],
        "reflectance": [0.1, 0.2, 0.3],
    }
    assert "illuminant_not_stated" not in codes(file)  # a spectrum holds under every light


def test_wavelengths_in_falling_order_are_put_in_rising_order():
    (sample,) = read("name,420,410,400\nx,0.3,0.2,0.1\n").samples
    assert sample.wavelengths_nm == (400, 410, 420)
    assert sample.readings[0].reflectance == (0.1, 0.2, 0.3)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("# reflectance: percent\nname,400,410,420\nx,10,20,30\n", False),
        ("name,400 %,410 %,420 %\nx,10,20,30\n", False),
        ("name,400,410,420\nx,10%,20 %,30%\n", False),
        ("# reflectance: fraction\nname,400,410,420\nx,0.1,0.2,0.3\n", False),
        ("name,400,410,420\nx,10,20,30\n", True),
        ("name,400,410,420\nx,0.1,0.2,0.3\n", True),
    ],
)
def test_reflectance_ends_as_a_share_of_one_and_an_unstated_scale_is_said(text, said):
    file = read(text)
    assert file.samples[0].readings[0].reflectance == (0.1, 0.2, 0.3)
    assert ("reflectance_scale_not_stated" in codes(file)) is said


@pytest.mark.parametrize(
    "text",
    [
        "name,temperature_c,L,a,b\nx,25,50,1,2\n",
        "name,temperature F,L,a,b\nx,77,50,1,2\n",
        "name,temperature,L,a,b\nx,25 °C,50,1,2\n",
        "# temperature unit: F\nname,temperature,L,a,b\nx,77,50,1,2\n",
        "# temperature: 77 F\nname,L,a,b\nx,50,1,2\n",
    ],
)
def test_temperatures_are_read_in_their_stated_unit(text):
    # 77 °F is 25 °C by the definition F = C·9/5 + 32.
    assert read(text).samples[0].readings[0].surface_temperature_c == pytest.approx(25, abs=1e-12)


def test_statements_of_a_title_block_without_hash_signs_are_read_and_named():
    file = read("Report 7;;\nIlluminant;D65;\nObserver;10;\n\nname;L;a;b\nx;50;1;2\n")
    assert (file.samples[0].conditions.illuminant, file.samples[0].conditions.observer) == (
        "D65",
        10,
    )
    assert "lines_skipped" in codes(file)


def test_a_statement_quoted_by_a_spreadsheet_is_still_a_statement():
    file = read('"# illuminant: D65",,\n"# observer: 10",,\nL,a,b\n50,1,2\n')
    assert file.samples[0].conditions.observer == 10


def test_a_commented_row_is_not_read_but_is_pointed_out():
    file = read("name,L,a,b\nx,50,1,2\n#12,51,1,2\n")
    assert len(file.samples) == 1
    assert "row_in_comment" in codes(file)
    assert len(read('name,L,a,b\nx,50,1,2\n"#12",51,1,2\n').samples) == 2


def test_a_wide_table_may_leave_one_angle_empty_and_that_is_said():
    file = read("name,L15,a15,b15,L45,a45,b45\nx,90,1,2,,,\n")
    assert file.samples[0].angles() == (15,)
    assert "reading_left_out" in codes(file)


def test_near_black_a_little_below_zero_is_kept_and_said():
    file = read("name,L,a,b\nx,-0.03,0,0\n")
    assert file.samples[0].readings[0].lab == (-0.03, 0.0, 0.0)
    assert "lightness_below_zero" in codes(file)


def test_effect_paint_near_the_specular_angle_may_outshine_white():
    assert read("name,angle,L,a,b\nx,15,132.5,1,2\n").samples[0].readings[0].lab == (
        132.5,
        1.0,
        2.0,
    )


def test_what_a_spreadsheet_guard_put_before_a_name_is_taken_away():
    (sample,) = read("name,L,a,b\n'=red,50,1,2\n").samples
    assert sample.name == "=red"


# RFC 4180 section 2, its own examples under a header of ours: an aaa,bbb,ccc there is a name.


@pytest.mark.parametrize(
    ("quoted", "name"),
    [
        ("aaa", "aaa"),  # rule 1
        ('"aaa"', "aaa"),  # rule 5
        ('"b\r\nbb"', "b bb"),  # rule 6; a name is one line, so the break becomes a space
        ('"b""bb"', 'b"bb'),  # rule 7
        ('"a,b"', "a,b"),  # rule 6
    ],
)
@pytest.mark.parametrize("end", ["\r\n", ""])  # rule 2: the last line break may be missing
def test_rfc_4180_quoting(quoted, name, end):
    file = read(f"name,L,a,b\r\n{quoted},50,1,2\r\nzzz,20,0,0{end}")
    assert [sample.name for sample in file.samples] == [name, "zzz"]
    assert file.samples[1].readings[0].line == (4 if "\r\n" in quoted else 3)


def test_a_quotation_mark_inside_an_unquoted_name_is_kept():
    assert read('name,L,a,b\n5" card,50,1,2\n').samples[0].name == '5" card'
