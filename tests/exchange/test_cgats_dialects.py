"""CGATS.17 as it is met in public files: names of fields, angles, several tables, odd frames.

Every file here is invented; the dialects are those of files that are publicly at hand (target
descriptions, measured charts, exports of spectrometers). Expected values are those typed into
the file, so the reader is compared with the hand that wrote it.
"""

from __future__ import annotations

import pytest

from service.exchange.reading_files import read_readings
from service.exchange.readings import ReadingsRefused

LAB = [50.0, 10.0, -20.0]
BANDS = [400, 500, 600, 700]
SPECTRUM = [0.1, 0.2, 0.3, 0.4]
THREE = {15: [50.0, 1.0, 2.0], 45: [40.0, 1.0, 2.0], 110: [30.0, 1.0, 2.0]}


def table(fields, rows, head="", first="CGATS.17", sep="\t"):
    """A file of one table."""
    lines = [first, head, f"NUMBER_OF_FIELDS{sep}{len(fields)}", "BEGIN_DATA_FORMAT"]
    lines += [sep.join(fields), "END_DATA_FORMAT", f"NUMBER_OF_SETS{sep}{len(rows)}", "BEGIN_DATA"]
    lines += [sep.join(str(cell) for cell in row) for row in rows]
    return "\n".join([line for line in lines if line] + ["END_DATA", ""])


def read(text):
    return read_readings(text if isinstance(text, bytes) else text.encode())


def as_json(text):
    return [sample.as_json() for sample in read(text).samples]


def codes(text):
    return [warning.code for warning in read(text).warnings]


@pytest.mark.parametrize(
    "names",
    [
        ["Lab_L", "Lab_a", "Lab_b"],
        ["L*", "a*", "b*"],
        ["CIE_L", "CIE_A", "CIE_B"],
        ["L_STAR", "A_STAR", "B_STAR"],
        ["CIE-L*", "CIE-a*", "CIE-b*"],
        ["LAB_L(D50/2)", "LAB_A(D50/2)", "LAB_B(D50/2)"],
        ["D50_LAB_L", "D50_LAB_A", "D50_LAB_B"],
        ["LAB_L_D50", "LAB_A_D50", "LAB_B_D50"],
        ["MEAN_LAB_L", "MEAN_LAB_A", "MEAN_LAB_B"],
        ["M0_LAB_L", "M0_LAB_A", "M0_LAB_B"],
        ["LAB_L_M1", "LAB_A_M1", "LAB_B_M1"],
    ],
    ids=lambda names: names[0],
)
def test_coordinates_are_found_however_they_are_named(names):
    (sample,) = as_json(table(["SAMPLE_ID", *names], [["7", *LAB]]))
    assert (sample["name"], sample["lab"]) == ("7", LAB)


def test_a_light_in_the_names_of_the_fields_is_a_condition():
    names = ["LAB_L_D65_10", "LAB_A_D65_10", "LAB_B_D65_10"]
    (sample,) = as_json(table(["SAMPLE_ID", *names], [["7", *LAB]]))
    assert sample["conditions"]["illuminant"] == "D65"
    assert sample["conditions"]["observer"] == 10


@pytest.mark.parametrize(
    "pattern",
    [
        *("SPECTRAL_NM{}", "SPECTRAL_NM_{}", "SPECTRAL_{}", "SPECTRALNM{}", "SPECTRUM_{}"),
        *("SPEC_{}", "Spec.{}", "SP_{}", "NM_{}", "nm{}", "nm {}", "{}", "{}.0", "{}nm", "{} nm"),
        *("{}(nm)", "{} [nm]", "R{}", "R_{}nm", "R[{}]", "R({})", "R@{}", "R @ {}", "X{}"),
        *("REFL_{}", "Reflectance {} nm", "REM_{}", "SPECTRAL_WL_{}", "WL{}", "LAMBDA_{}", "λ{}"),
        *("VALUE_{}", "SPECTRAL_DEC_{}", "M0_nm{}", "nm{}_M1", "R_M0_{}", "SPECTRAL_M2_{}"),
    ],
)
def test_wavelengths_are_found_however_the_fields_are_named(pattern):
    names = [pattern.format(nm) for nm in BANDS]
    (sample,) = as_json(table(["SAMPLE_ID", *names], [["7", *SPECTRUM]]))
    assert sample["spectrum"] == {"wavelengths_nm": BANDS, "reflectance": SPECTRUM}


@pytest.mark.parametrize("pattern", ["SPECTRAL_PCT_{}", "R%{}", "%R_{}", "REFL_PERCENT_{}"])
def test_percent_in_the_names_of_the_fields_counts(pattern):
    names = [pattern.format(nm) for nm in BANDS]
    (sample,) = as_json(table(["SAMPLE_ID", *names], [["7", 1, 2, 3, 4]]))
    assert sample["spectrum"]["reflectance"] == [0.01, 0.02, 0.03, 0.04]


@pytest.mark.parametrize("word", ["T_{}", "TRANS_{}", "KS_{}", "ABS_{}", "D_{}", "STDEV_{}"])
def test_other_things_than_reflectance_are_no_spectrum(word):
    names = [word.format(nm) for nm in range(400, 710, 10)]
    text = table(["SAMPLE_ID", "LAB_L", "LAB_A", "LAB_B", *names], [["7", *LAB, *[0.5] * 31]])
    assert as_json(text)[0]["spectrum"] is None


def test_an_unknown_word_before_even_wavelengths_is_taken_as_reflectance():
    names = [f"MESS{nm}" for nm in range(400, 710, 10)]
    (sample,) = as_json(table(["SAMPLE_ID", *names], [["7", *[0.5] * 31]]))
    assert sample["spectrum"]["wavelengths_nm"] == list(range(400, 710, 10))


@pytest.mark.parametrize("numbers", [(1, 2, 3, 4), (0, 1, 2, 3), (400000, 500000, 600000, 700000)])
def test_bands_that_are_only_numbered_take_their_wavelengths_from_the_header(numbers):
    head = 'SPECTRAL_BANDS "4"\nSPECTRAL_START_NM "400.0"\nSPECTRAL_END_NM "700.0"'
    names = [f"SPEC_{number}" for number in numbers]
    (sample,) = as_json(table(["SAMPLE_ID", *names], [["7", *SPECTRUM]], head))
    assert sample["spectrum"] == {"wavelengths_nm": BANDS, "reflectance": SPECTRUM}


def test_wavelengths_rounded_in_the_names_are_taken_exactly_from_the_header():
    head = 'SPECTRAL_BANDS "4"\nSPECTRAL_START_NM "400.0"\nSPECTRAL_END_NM "410.0"'
    names = ["SPEC_400", "SPEC_403", "SPEC_407", "SPEC_410"]
    (sample,) = as_json(table(["SAMPLE_ID", *names], [["7", *SPECTRUM]], head))
    exact = [400.0, 400 + 10 / 3, 400 + 20 / 3, 410.0]
    assert sample["spectrum"]["wavelengths_nm"] == pytest.approx(exact, abs=1e-5)


@pytest.mark.parametrize("norm", ["1.000000", "100", "30.00"])
def test_the_number_that_means_one_is_taken_from_the_header(norm):
    values = [share * float(norm) for share in SPECTRUM]
    names = [f"SPEC_{nm}" for nm in BANDS]
    text = table(["SAMPLE_ID", *names], [["7", *values]], f'SPECTRAL_NORM "{norm}"')
    assert as_json(text)[0]["spectrum"]["reflectance"] == pytest.approx(SPECTRUM)


def paired(order):
    names, values = [], []
    for nm, share in order:
        names += ["SPECTRAL_NM", "SPECTRAL_DEC"]
        values += [nm, share]
    return names, values


def test_pairs_of_wavelength_and_value_stand_beside_lab_too():
    names, values = paired(zip(BANDS, SPECTRUM, strict=True))
    fields = ["SAMPLE_ID", "LAB_L", "LAB_A", "LAB_B", *names]
    (sample,) = as_json(table(fields, [["7", *LAB, *values]]))
    assert sample["lab"] == LAB
    assert sample["spectrum"] == {"wavelengths_nm": BANDS, "reflectance": SPECTRUM}


def test_pairs_may_stand_as_all_wavelengths_and_then_all_values():
    fields = ["SAMPLE_ID", *["SPECTRAL_NM"] * 4, *["SPECTRAL_PCT"] * 4]
    values = [share * 100 for share in SPECTRUM]
    (sample,) = as_json(table(fields, [["7", *BANDS, *values]]))
    assert sample["spectrum"]["wavelengths_nm"] == BANDS
    assert sample["spectrum"]["reflectance"] == pytest.approx(SPECTRUM)


@pytest.mark.parametrize(
    "name",
    [
        *("ANGLE", "DEGREE", "GEOMETRY", "MEAS_ANGLE", "VIEWING_ANGLE", "ASPECULAR_ANGLE"),
        *("SAMPLE_ANGLE", "MEASUREMENT_ANGLE"),
    ],
)
@pytest.mark.parametrize("form", ["{}", "as{}", "45as{}", "{}°", "{}deg", "45/as {}"])
def test_an_angle_in_a_field_of_its_own_is_read_in_every_form(name, form):
    rows = [["C", form.format(angle), *lab] for angle, lab in THREE.items()]
    (sample,) = read(table(["SAMPLE_NAME", name, "LAB_L", "LAB_A", "LAB_B"], rows)).samples
    assert sample.as_json()["angles"] == {str(angle): lab for angle, lab in THREE.items()}


@pytest.mark.parametrize(
    "form",
    [
        *("LAB_{c}_{a}", "LAB_{c}_AS{a}", "45as{a}_LAB_{c}", "LAB{a}_{c}", "{c}{a}"),
        *("{a}deg_LAB_{c}", "LAB_{c}@{a}", "LAB_{c}@45as{a}", "{a}° {c}*"),
    ],
)
def test_angles_in_the_names_of_the_fields_are_read(form):
    names = [form.format(c=c, a=angle) for angle in THREE for c in "Lab"]
    values = [value for lab in THREE.values() for value in lab]
    (sample,) = as_json(table(["SAMPLE_ID", *names], [["7", *values]]))
    assert sample["angles"] == {str(angle): lab for angle, lab in THREE.items()}


@pytest.mark.parametrize("form", ["LAB_{}_-15", "LAB_{}_M15", "45as-15_LAB_{}", "LAB_{}@-15"])
def test_the_angle_before_the_specular_keeps_its_minus(form):
    names = [form.format(c) for c in "LAB"]
    (sample,) = as_json(table(["SAMPLE_ID", *names], [["7", *LAB]]))
    assert sample["angles"] == {"-15": LAB}


def test_ten_behind_a_coordinate_is_the_observer():
    (sample,) = as_json(table(["SAMPLE_ID", "X10", "Y10", "Z10"], [["7", 18.9, 18.4, 30.2]]))
    assert sample["angles"] is None
    assert sample["xyz"] == [18.9, 18.4, 30.2]
    assert sample["conditions"]["observer"] == 10


@pytest.mark.parametrize("form", ["{a}_R{nm}", "AS{a}_NM{nm}", "SPECTRAL_NM{nm}@45as{a}"])
def test_spectra_at_several_angles_are_kept_apart(form):
    names = [form.format(a=angle, nm=nm) for angle in (15, 45) for nm in BANDS]
    (sample,) = read(table(["SAMPLE_ID", *names], [["7", *SPECTRUM, *SPECTRUM[::-1]]])).samples
    assert sample.wavelengths_nm == tuple(BANDS)
    assert {r.angle: list(r.reflectance) for r in sample.readings} == {
        15: SPECTRUM,
        45: SPECTRUM[::-1],
    }


@pytest.mark.parametrize(
    "head",
    [
        'KEYWORD "ANGLE"\nANGLE "{}"',
        'MEASUREMENT_GEOMETRY "45as{}"',
        'MEASUREMENT_GEOMETRY "{} degrees aspecular"',
        'TABLE_DESCRIPTOR "45as{}"',
    ],
    ids=["keyword", "geometry", "words", "title"],
)
def test_one_table_an_angle_makes_one_sample(head):
    text = "".join(
        table(["SAMPLE_NAME", "LAB_L", "LAB_A", "LAB_B"], [["C", *lab]], head.format(angle))
        for angle, lab in THREE.items()
    )
    (sample,) = as_json(text)
    assert sample["angles"] == {str(angle): lab for angle, lab in THREE.items()}


def test_conditions_may_stand_row_by_row():
    fields = ["SAMPLE_NAME", "ILLUMINANT", "OBSERVER", "GEOMETRY", "LAB_L", "LAB_A", "LAB_B"]
    rows = [["a", "D65", "10", "d/8", *LAB], ["b", "A", "2 degree", "45/0", *LAB]]
    conditions = [sample["conditions"] for sample in as_json(table(fields, rows))]
    assert [tuple(one.values())[:3] for one in conditions] == [("D65", 10, "d:8"), ("A", 2, "45:0")]


LAB_TABLE = table(["SAMPLE_ID", "LAB_L", "LAB_A", "LAB_B"], [["1", *LAB], ["2", 40, 1, 2]])
NM_TABLE = table(
    ["SAMPLE_ID", *[f"nm{nm}" for nm in BANDS]], [["1", *SPECTRUM], ["2", *SPECTRUM[::-1]]]
)


def test_tables_that_hold_different_things_of_the_same_samples_are_put_together():
    first, second = as_json(LAB_TABLE + NM_TABLE)
    assert (first["name"], first["lab"], first["spectrum"]["reflectance"]) == ("1", LAB, SPECTRUM)
    assert second["spectrum"]["reflectance"] == SPECTRUM[::-1]
    assert "tables_joined" in codes(LAB_TABLE + NM_TABLE)


def test_tables_of_other_samples_stay_apart():
    other = NM_TABLE.replace("\n2\t", "\n3\t")
    assert [sample["name"] for sample in as_json(LAB_TABLE + other)] == ["1", "2", "1", "3"]


def test_tables_of_target_files_that_hold_no_samples_are_left_out():
    head = 'DENSITY_EXTREME_VALUES "8"'
    fields = ["INDEX", "XYZ_X", "XYZ_Y", "XYZ_Z"]
    text = LAB_TABLE + table(fields, [["0", 95, 100, 108]], head)
    assert [sample["name"] for sample in as_json(text)] == ["1", "2"]
    assert "table_without_colour" in codes(text)


def test_spectra_that_the_file_calls_emission_are_told_apart():
    names = [f"SPEC_{nm}" for nm in BANDS]
    text = table(["SAMPLE_ID", *names], [["7", 0.5, 1.5, 3.0, 2.0]], 'MEAS_TYPE "EMISSION"')
    assert as_json(text)[0]["spectrum"]["reflectance"] == [0.5, 1.5, 3.0, 2.0]
    assert "spectrum_no_reflectance" in codes(text)


TWO = [["1", *LAB], ["2", 40.0, 1.0, 2.0]]
FRAMES = {
    "a tab too many in the names alone": (
        "CGATS.17\nBEGIN_DATA_FORMAT\nSAMPLE_ID\t\tLAB_L\tLAB_A\tLAB_B\nEND_DATA_FORMAT\n"
        "BEGIN_DATA\n1\t50\t10\t-20\n2\t40\t1\t2\nEND_DATA\n"
    ),
    "a tab too many in names and rows": (
        "CGATS.17\nBEGIN_DATA_FORMAT\nSAMPLE_ID\t\tLAB_L\tLAB_A\tLAB_B\t\nEND_DATA_FORMAT\n"
        "BEGIN_DATA\n1\t\t50\t10\t-20\t\n2\t\t40\t1\t2\t\nEND_DATA\n"
    ),
    "all on one line": (
        "CGATS.17 BEGIN_DATA_FORMAT SAMPLE_ID LAB_L LAB_A LAB_B END_DATA_FORMAT BEGIN_DATA "
        "1 50 10 -20 2 40 1 2 END_DATA\n"
    ),
    "rows on one line": (
        "CGATS.17\nBEGIN_DATA_FORMAT\nSAMPLE_ID LAB_L LAB_A LAB_B\nEND_DATA_FORMAT\nBEGIN_DATA\n"
        "1 50 10 -20 2 40 1 2\nEND_DATA\n"
    ),
    "commas and blanks": table(["SAMPLE_ID", "LAB_L", "LAB_A", "LAB_B"], TWO, sep=", "),
    "comments behind the rows": table(
        ["SAMPLE_ID", "LAB_L", "LAB_A", "LAB_B"], [[*row[:3], f"{row[3]} # seen"] for row in TWO]
    ),
    "colons behind keywords": table(
        ["SAMPLE_ID", "LAB_L", "LAB_A", "LAB_B"], TWO, "ILLUMINANT: D65\nOBSERVER: 10°"
    ),
}


@pytest.mark.parametrize("text", FRAMES.values(), ids=FRAMES.keys())
def test_odd_frames_hold_the_same_rows(text):
    assert [[sample["name"], *sample["lab"]] for sample in as_json(text)] == TWO


def test_a_colon_behind_a_keyword_is_no_part_of_it():
    conditions = as_json(FRAMES["colons behind keywords"])[0]["conditions"]
    assert (conditions["illuminant"], conditions["observer"]) == ("D65", 10)


def test_a_sharp_in_an_unquoted_name_between_tabs_stays():
    fields = ["SAMPLE_NAME", "LAB_L", "LAB_A", "LAB_B"]
    assert as_json(table(fields, [["Card #3", *LAB]]))[0]["name"] == "Card #3"


def test_one_number_at_two_places_of_a_chart_is_two_samples():
    fields = ["SAMPLE_ID", "SAMPLE_LOC", "LAB_L", "LAB_A", "LAB_B"]
    text = table(fields, [["1", "A1", *LAB], ["1", "B7", 50.2, 10, -20]])
    assert [sample["name"] for sample in as_json(text)] == ["1", "1"]


def test_a_row_of_too_many_values_is_still_refused():
    text = table(["SAMPLE_ID", "LAB_L", "LAB_A", "LAB_B"], [["1", *LAB, 3.5]])
    with pytest.raises(ReadingsRefused, match="5 values under 4 field names"):
        read(text)


@pytest.mark.parametrize(
    "name", ["R" + "9" * 400, "LAB_L_፩", "²", "R①", "@" * 90, "as", "-", "D65"]
)
def test_a_field_name_that_is_no_name_is_left_alone(name):
    (sample,) = as_json(table(["SAMPLE_ID", name, "LAB_L", "LAB_A", "LAB_B"], [["7", 1, *LAB]]))
    assert sample["lab"] == LAB
