"""CxF3 (ISO 17972-1) as the schema has it and as exporters bend it; documents made up here.

Element and attribute names are those of the published schema; the deviations are common
practice, no source.
"""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from service.exchange.reading_files import read_readings
from service.exchange.readings import ReadingsFile, ReadingsRefused

SPECTRUM = "0.1 0.2 0.3 0.4"
LAB = '<cc:ColorCIELab ColorSpecification="s"><cc:L>50.5</cc:L><cc:A>-3</cc:A><cc:B>12</cc:B>'
LAB += "</cc:ColorCIELab>"
REFLECTANCE = (
    f'<cc:ReflectanceSpectrum ColorSpecification="s" StartWL="400">{SPECTRUM}'
    "</cc:ReflectanceSpectrum>"
)
ANGLE_45_0 = (
    "<cc:SingleAngle><cc:SingleAngleConfiguration>Annular</cc:SingleAngleConfiguration>"
    "<cc:IlluminationAngle>45</cc:IlluminationAngle><cc:MeasurementAngle>0</cc:MeasurementAngle>"
    "</cc:SingleAngle>"
)
LIGHT = "<cc:Illuminant>D65</cc:Illuminant><cc:Observer>10_Degree</cc:Observer>"
RANGE = '<cc:WavelengthRange StartWL="400" Increment="10"/>'


def specification(geometry: str = ANGLE_45_0, light: str = LIGHT, name: str = "s") -> str:
    return (
        f'<cc:ColorSpecification Id="{name}"><cc:TristimulusSpec>{light}</cc:TristimulusSpec>'
        "<cc:MeasurementSpec><cc:MeasurementType>Spectrum_Reflectance</cc:MeasurementType>"
        f"<cc:GeometryChoice>{geometry}</cc:GeometryChoice>{RANGE}</cc:MeasurementSpec>"
        "</cc:ColorSpecification>"
    )


def thing(values: str, name: str = "fir") -> str:
    return (
        f'<cc:Object ObjectType="Standard" Name="{name}" Id="id-{name}">'
        "<cc:CreationDate>2026-03-02T10:00:00</cc:CreationDate>"
        f"<cc:ColorValues>{values}</cc:ColorValues></cc:Object>"
    )


def document(
    objects: str = thing(LAB + REFLECTANCE), specifications: str | None = None, head: str = ""
) -> str:
    said = specification() if specifications is None else specifications
    return (
        (head or '<?xml version="1.0" encoding="UTF-8"?>')
        + '<cc:CxF xmlns:cc="http://colorexchangeformat.com/CxF3-core"><cc:Resources>'
        + f"<cc:ObjectCollection>{objects}</cc:ObjectCollection>"
        + f"<cc:ColorSpecificationCollection>{said}</cc:ColorSpecificationCollection>"
        + "</cc:Resources></cc:CxF>"
    )


PLAIN = document()


def read(text: str | bytes) -> ReadingsFile:
    return read_readings(text if isinstance(text, bytes) else text.encode())


def codes(file: ReadingsFile) -> set[str]:
    return {warning.code for warning in file.warnings}


def test_a_file_by_the_book_is_read_whole_and_without_a_warning():
    file = read(PLAIN)
    assert (file.format, file.warnings) == ("cxf", ())
    (sample,) = file.samples
    (reading,) = sample.readings
    assert (sample.name, reading.lab) == ("fir", (50.5, -3, 12))
    assert (sample.wavelengths_nm, reading.reflectance) == (
        (400, 410, 420, 430),
        (0.1, 0.2, 0.3, 0.4),
    )
    known = sample.conditions
    assert (known.illuminant, known.observer, known.geometry) == ("D65", 10, "45:0")


VARIANTS = [
    ("no prefix", PLAIN.replace("cc:", "").replace(":cc", ""), set()),
    ("no namespace", PLAIN.replace(' xmlns:cc="http://colorexchangeformat.com/CxF3-core"', "")
     .replace("cc:", ""), set()),
    ("another prefix", PLAIN.replace("cc:", "n1:").replace("xmlns:cc", "xmlns:n1"), set()),
    ("undeclared prefix", PLAIN.replace(' xmlns:cc="http://colorexchangeformat.com/CxF3-core"', ""),
     {"namespace_not_declared"}),
    ("no declaration", PLAIN.replace('<?xml version="1.0" encoding="UTF-8"?>', ""), set()),
    ("byte order mark", "\ufeff" + PLAIN, set()),
    ("empty lines before", "\n\n" + PLAIN, {"space_before_declaration"}),
    ("comments", PLAIN.replace("<cc:ColorValues>", "<!-- kept dry --><cc:ColorValues>"), set()),
    ("Lab as attributes",
     PLAIN.replace(LAB, '<cc:ColorCIELab ColorSpecification="s" L="50.5" A="-3" B="12"/>'), set()),
    ("Lab as one text",
     PLAIN.replace(LAB, '<cc:ColorCIELab ColorSpecification="s">50.5 -3 12</cc:ColorCIELab>'),
     set()),
    ("specification as a child",
     PLAIN.replace('<cc:ReflectanceSpectrum ColorSpecification="s" StartWL="400">',
                   '<cc:ReflectanceSpectrum StartWL="400">'), {"specification_not_named"}),
    ("name as a child",
     PLAIN.replace(' Name="fir"', "").replace("<cc:Creat", "<cc:Name>fir</cc:Name><cc:Creat"),
     set()),
    ("range as children",
     PLAIN.replace(' StartWL="400">0', ">0").replace(
         RANGE, "<cc:WavelengthRange><cc:StartWL>400</cc:StartWL><cc:Increment>10</cc:Increment>"
         "</cc:WavelengthRange>"), set()),
    ("start only in the specification", PLAIN.replace(' StartWL="400">0', ">0"), set()),
    ("no wrapper", PLAIN.replace("<cc:ColorValues>", "").replace("</cc:ColorValues>", ""), set()),
    ("decimal commas", PLAIN.replace("50.5", "50,5").replace(SPECTRUM, "0,1 0,2 0,3 0,4"),
     {"decimal_comma"}),
    ("values by commas", PLAIN.replace(SPECTRUM, "0.1,0.2, 0.3,0.4"), set()),
    ("values over lines", PLAIN.replace(SPECTRUM, "\n 0.1\n 0.2\t0.3\r\n 0.4 \n"), set()),
    ("specifications first",
     document("").replace("<cc:ObjectCollection></cc:ObjectCollection>", "").replace(
         "</cc:Resources>",
         f"<cc:ObjectCollection>{thing(LAB + REFLECTANCE)}</cc:ObjectCollection></cc:Resources>"),
     set()),
    ("sRGB beside",
     PLAIN.replace(LAB, LAB + '<cc:ColorSRGB ColorSpecification="s"><cc:R>1</cc:R></cc:ColorSRGB>'),
     {"values_ignored"}),
    ("points with their own wavelength",
     PLAIN.replace(REFLECTANCE, '<cc:CustomSpectrum ColorSpecification="s">' + "".join(
         f'<cc:SpectralPoint WL="{nm}">{r}</cc:SpectralPoint>'
         for nm, r in ((430, 0.4), (400, 0.1), (410, 0.2), (420, 0.3))) + "</cc:CustomSpectrum>"),
     set()),
    ("observer as a number", PLAIN.replace("10_Degree", "10"), set()),
    ("observer by its year", PLAIN.replace("10_Degree", "CIE 1964"), set()),
    ("light as an attribute",
     PLAIN.replace("<cc:Illuminant>D65</cc:Illuminant>", '<cc:Illuminant Name="D65"/>'), set()),
    ("parts of somebody's own",
     PLAIN.replace("</cc:Resources>", "</cc:Resources><cc:CustomResources><x:Object xmlns:x='y' "
                   "Name='no'><x:ColorCIELab L='1' A='2' B='3'/></x:Object></cc:CustomResources>"),
     set()),
]  # fmt: skip


@pytest.mark.parametrize(
    ("text", "expected"), [v[1:] for v in VARIANTS], ids=[v[0] for v in VARIANTS]
)
def test_a_bent_document_is_read_the_same_and_each_leniency_is_told(text, expected):
    file = read(text)
    (sample,) = file.samples
    (reading,) = sample.readings
    assert (sample.name, reading.lab) == ("fir", (50.5, -3, 12))
    assert sample.wavelengths_nm == (400, 410, 420, 430)
    assert reading.reflectance == (0.1, 0.2, 0.3, 0.4)
    known = sample.conditions
    assert (known.illuminant, known.observer, known.geometry) == ("D65", 10, "45:0")
    assert codes(file) == expected


@pytest.mark.parametrize(
    "encoding", ["utf-8", "utf-16", "iso-8859-1", "windows-1252", "iso-8859-15", "shift_jis"]
)
def test_the_declared_encoding_holds(encoding):
    name = "\u6df1\u7dd1" if encoding == "shift_jis" else "M\u00e4rz"
    head = f'<?xml version="1.0" encoding="{encoding}"?>'
    text = document(thing(LAB, name).replace(f'Id="id-{name}"', 'Id="i"'), head=head)
    assert read(text.encode(encoding)).samples[0].name == name


def test_a_wrongly_declared_encoding_and_loose_ampersands_are_repaired_and_told():
    file = read(document(thing(LAB, "M\u00e4rz").replace("id-M\u00e4rz", "i")).encode("cp1252"))
    assert file.samples[0].name == "M\u00e4rz"
    assert codes(file) == {"encoding_not_as_declared"}
    file = read(document(thing(LAB, "fir &amp; sea &deg; & moss").replace("Id=", "Key=")))
    assert file.samples[0].name == "fir & sea \u00b0 & moss"
    assert "ampersand" in codes(file)


@pytest.mark.parametrize(
    ("geometry", "expected", "specular"),
    [
        ("<cc:SphereGeometry>Specular_Included</cc:SphereGeometry>", "d:8", "included"),
        ("<cc:SphereGeometry>Specular_Excluded</cc:SphereGeometry>", "d:8", "excluded"),
        (ANGLE_45_0.replace(">45<", ">0<", 1).replace("MeasurementAngle>0", "MeasurementAngle>45"),
         "0:45", None),
        ("<cc:UnknownGeometry>di:8</cc:UnknownGeometry>", "d:8", "included"),
        ("<cc:UnknownGeometry>somehow</cc:UnknownGeometry>", None, None),
    ],
)  # fmt: skip
def test_the_geometry_is_read_from_the_specification(geometry, expected, specular):
    file = read(document(thing(LAB), specification(geometry)))
    known = file.samples[0].conditions
    assert (known.geometry, known.specular) == (expected, specular)
    if "Sphere" in geometry:
        assert "sphere_angle_assumed" in codes(file)


def brdf(degrees: int, azimuth: str = "") -> str:
    return (
        f'<cc:BRDFAngle Notation="45as{degrees}"><cc:IlluminationAngle>45</cc:IlluminationAngle>'
        f"<cc:Aspecular>{degrees}</cc:Aspecular>{azimuth}</cc:BRDFAngle>"
    )


def lab(lightness: int, named: str = "s", label: str = "") -> str:
    name = f' Name="{label}"' if label else ""
    return (
        f'<cc:ColorCIELab ColorSpecification="{named}"{name}><cc:L>{lightness}</cc:L>'
        "<cc:A>0</cc:A><cc:B>1</cc:B></cc:ColorCIELab>"
    )


ANGLES = (-15, 15, 45, 110)
EXPECTED = {str(angle): [100 - angle // 2, 0, 1] for angle in ANGLES}


def test_angles_each_with_a_specification_of_its_own():
    said = "".join(
        specification(f"<cc:MultiAngle>{brdf(a)}</cc:MultiAngle>", name=f"s{a}") for a in ANGLES
    )
    values = "".join(lab(100 - a // 2, f"s{a}") for a in ANGLES)
    (sample,) = read(document(thing(values), said)).samples
    assert sample.as_json()["angles"] == EXPECTED
    assert sample.conditions.geometry == "multi-angle"


def test_angles_of_one_specification_by_label_or_by_order():
    said = specification(f"<cc:MultiAngle>{''.join(map(brdf, ANGLES))}</cc:MultiAngle>")
    labelled = "".join(lab(100 - a // 2, label=f"45as{a}") for a in reversed(ANGLES))
    (sample,) = read(document(thing(labelled), said)).samples
    assert sample.as_json()["angles"] == EXPECTED
    file = read(document(thing("".join(lab(100 - a // 2) for a in ANGLES)), said))
    assert file.samples[0].as_json()["angles"] == EXPECTED
    assert "angles_by_order" in codes(file)
    file = read(document(thing(lab(1, label="as15") + lab(2)), said))
    assert file.samples[0].as_json()["angles"] == {"15": [1, 0, 1]}
    assert "angle_left_out" in codes(file)


def test_an_angle_out_of_the_plane_is_left_out():
    out = specification(
        f"<cc:MultiAngle>{brdf(25, '<cc:Azimuth>90</cc:Azimuth>')}</cc:MultiAngle>", name="out"
    )
    file = read(document(thing(lab(50) + lab(60, "out")), specification() + out))
    assert [sample.readings[0].lab for sample in file.samples] == [(50, 0, 1)]
    assert "angle_left_out" in codes(file)


def test_a_missing_specification_leaves_the_conditions_open():
    file = read(document(specifications=""))
    known = file.samples[0].conditions
    assert (known.illuminant, known.observer, known.geometry) == (None, None, None)
    assert "specification_missing" in codes(file)
    assert "wavelengths_assumed" in codes(file)


def test_colours_under_two_lights_are_two_samples_that_share_the_spectrum():
    said = specification() + specification(light=LIGHT.replace("D65", "A"), name="t")
    file = read(document(thing(lab(50) + lab(51, "t") + REFLECTANCE), said))
    assert [s.conditions.illuminant for s in file.samples] == ["D65", "A"]
    assert file.samples[0].readings[0].reflectance == (0.1, 0.2, 0.3, 0.4)
    assert file.samples[1].wavelengths_nm is None


def test_a_spectrum_of_another_measurement_goes_with_the_colour_of_like_geometry():
    said = specification() + specification(name="r", light="")
    values = lab(50) + REFLECTANCE.replace('"s"', '"r"')
    (sample,) = read(document(thing(values), said)).samples
    assert sample.readings[0].reflectance == (0.1, 0.2, 0.3, 0.4)
    assert sample.conditions.illuminant == "D65"


def test_percent_is_told_by_size_or_by_the_lightness_beside_it():
    file = read(document(thing(REFLECTANCE.replace(SPECTRUM, "10 20 30 40"))))
    assert file.samples[0].readings[0].reflectance == (0.1, 0.2, 0.3, 0.4)
    assert "reflectance_in_percent" in codes(file)
    # L* 10 is Y 1.126 % by CIE 15.
    dark = REFLECTANCE.replace(SPECTRUM, " ".join(["1.1"] * 20))
    file = read(document(thing(lab(10) + dark)))
    assert file.samples[0].readings[0].reflectance == pytest.approx((0.011,) * 20)
    assert "reflectance_scale_by_colour" in codes(file)


def test_wavelengths_that_nobody_states_are_the_usual_ones_or_left_out():
    bare = REFLECTANCE.replace(' StartWL="400"', "")
    said = specification().replace(RANGE, "")
    file = read(document(thing(bare.replace(SPECTRUM, " ".join(["0.1"] * 31))), said))
    assert file.samples[0].wavelengths_nm == tuple(range(400, 710, 10))
    assert "wavelengths_assumed" in codes(file)
    file = read(document(thing(lab(50) + bare.replace(SPECTRUM, "0.1 0.2 0.3 0.4 0.5")), said))
    assert file.samples[0].wavelengths_nm is None
    assert "wavelengths_not_stated" in codes(file)


def test_xyz_and_chroma_with_hue():
    xyz = lab(1).replace("CIELab", "CIEXYZ").replace(":L", ":X").replace(":A>", ":Y>")
    (sample,) = read(document(thing(xyz.replace(":B>", ":Z>")))).samples
    assert sample.as_json()["xyz"] == [1, 0, 1] and sample.as_json()["lab"] is None
    polar = lab(50).replace("CIELab", "CIELCh").replace(":A>0", ":C>10").replace(":B>1", ":H>90")
    file = read(document(thing(polar.replace("/cc:A", "/cc:C").replace("/cc:B", "/cc:H"))))
    assert file.samples[0].readings[0].lab == pytest.approx((50, 0, 10))


def test_objects_without_a_colour_are_left_out_and_told():
    recipe = '<cc:DeviceColorValues><cc:ColorRGB ColorSpecification="s"/></cc:DeviceColorValues>'
    file = read(document(thing(LAB) + thing(recipe, "mix")))
    assert [sample.name for sample in file.samples] == ["fir"]
    assert {"object_without_colour", "values_ignored"} <= codes(file)


REFUSED = [
    ("document type", PLAIN.replace("?>", '?><!DOCTYPE c SYSTEM "x.dtd">', 1), "document type"),
    ("laughs", '<?xml version="1.0"?><!DOCTYPE c [<!ENTITY a "ha">'
     + "".join(f'<!ENTITY a{n} "{("&a%s;" % (n - 1 or "")) * 10}">' for n in range(1, 10))
     + "]><CxF>&a9;</CxF>", "document type"),
    ("outside file", '<!DOCTYPE c [<!ENTITY x SYSTEM "file:///etc/passwd">]><CxF>&x;</CxF>',
     "document type"),
    ("parameter entity", '<!DOCTYPE c [<!ENTITY % x SYSTEM "http://127.0.0.1/x"> %x;]><CxF/>',
     "document type"),
    ("nested", "<CxF>" + "<a>" * 100_000, "nested more than 60 deep"),
    ("nested in an object", PLAIN.replace("<cc:ColorValues>", "<cc:x>" * 70), "nested more than"),
    ("cut", PLAIN[: len(PLAIN) // 2], "not whole XML"),
    ("crossed", PLAIN.replace("</cc:L>", "</cc:A>", 1), "not whole XML"),
    ("no object", document(""), "holds no object"),
    ("other XML", "<svg/>", "begins with 'svg'"),
    ("a word", PLAIN.replace("50.5", "light"), "column 'L': 'light' is not a number"),
    ("too far", PLAIN.replace("50.5", "5000"), "the value cannot be 5000"),
    ("endless spectrum", PLAIN.replace(SPECTRUM, "0.1 " * 3000), "3,000 values"),
    ("too many parts", document(thing(LAB * 2000)), "more than 5,000 parts"),
    ("NUL", PLAIN.replace("fir", "f\0r"), "."),
]  # fmt: skip


@pytest.mark.parametrize(("text", "words"), [r[1:] for r in REFUSED], ids=[r[0] for r in REFUSED])
def test_what_cannot_be_taken_is_refused_in_words(text, words):
    with pytest.raises(ReadingsRefused, match=words):
        read(text)


def test_a_codec_that_could_hang_is_never_used():
    head = '<?xml version="1.0" encoding="idna"?>'
    assert read(document(head=head)).samples[0].name == "fir"


def test_a_file_of_others_making():
    folder = os.environ.get("KEEPCARD_SAMPLES")
    if not folder:
        pytest.skip("unproved: KEEPCARD_SAMPLES names no folder of sample files")
    file = read((Path(folder) / "cxf_sample.cxf").read_bytes())
    assert len(file.samples) == 144
    first, last = file.samples[0], file.samples[-1]
    assert first.readings[0].lab == (17.64167, 1.076669, 0.3338588)
    assert last.readings[0].lab == (50.6829, 28.19667, -24.02345)
    assert last.wavelengths_nm == tuple(range(380, 690, 10))
    known = last.conditions
    assert (known.illuminant, known.observer, known.geometry) == ("D50", 2, "45:0")
    assert codes(file) == {"values_ignored"}
