"""CxF3 as it is met in public files and as the schema of ISO 17972-1 has it; values as typed here.

Element names are those of the published schema; departures from it are ones seen in public files
and programs that write or read CxF3.
"""

from __future__ import annotations

import pytest

from service.exchange.reading_files import read_readings
from service.exchange.readings import ReadingsRefused

LAB = [50.0, 10.0, -20.0]
BANDS = list(range(400, 710, 10))
SPECTRUM = [round(0.1 + place / 100, 2) for place in range(31)]
VALUES = " ".join(map(str, SPECTRUM))
THREE = {15: [50.0, 1.0, 2.0], 45: [40.0, 1.0, 2.0], 110: [30.0, 1.0, 2.0]}


def specification(name="CS1", geometry="<SphereGeometry>Specular_Included</SphereGeometry>"):
    return (
        f'<ColorSpecification Id="{name}"><TristimulusSpec><Illuminant>D65</Illuminant>'
        "<Observer>10_Degree</Observer></TristimulusSpec><MeasurementSpec><MeasurementType>"
        f"Spectrum_Reflectance</MeasurementType><GeometryChoice>{geometry}</GeometryChoice>"
        '<WavelengthRange StartWL="400" Increment="10"/></MeasurementSpec></ColorSpecification>'
    )


def multi_angle(*angles):
    return specification_of_angles(angles, "")


def specification_of_angles(angles, attributes):
    parts = "".join(
        f'<BRDFAngle Notation="45as{angle}"{attributes}><IlluminationAngle>45</IlluminationAngle>'
        f"<Aspecular>{angle}</Aspecular></BRDFAngle>"
        for angle in angles
    )
    return f"<MultiAngle>{parts}</MultiAngle>"


def lab(values=LAB, spec="CS1", attributes="", more=""):
    named = f' ColorSpecification="{spec}"' if spec else ""
    parts = "".join(f"<{k}>{v}</{k}>" for k, v in zip("LAB", values, strict=True))
    return f"<ColorCIELab{named}{attributes}>{parts}{more}</ColorCIELab>"


def spectrum(text=VALUES, spec="CS1", attributes=' StartWL="400"'):
    named = f' ColorSpecification="{spec}"' if spec else ""
    return f"<ReflectanceSpectrum{named}{attributes}>{text}</ReflectanceSpectrum>"


def thing(values, name="fir", kind="Standard", more=""):
    return (
        f'<Object ObjectType="{kind}" Name="{name}" Id="{name}-{kind}"><CreationDate>'
        f"2024-01-01T00:00:00</CreationDate><ColorValues>{values}</ColorValues>{more}</Object>"
    )


def document(objects, specifications=None):
    specs = specification() if specifications is None else specifications
    return (
        '<?xml version="1.0" encoding="UTF-8"?>\n'
        '<CxF xmlns="http://colorexchangeformat.com/CxF3-core"><Resources><ObjectCollection>'
        f"{objects}</ObjectCollection><ColorSpecificationCollection>{specs}"
        "</ColorSpecificationCollection></Resources></CxF>"
    )


def read(text):
    return read_readings(text if isinstance(text, bytes) else text.encode())


def as_json(text):
    return [sample.as_json() for sample in read(text).samples]


@pytest.mark.parametrize(
    ("geometry", "expected"),
    [
        ("<SphereGeometry>Specular_Excluded</SphereGeometry>", ("d:8", "excluded")),
        ("<SphereGeometry>d/8 SCE</SphereGeometry>", ("d:8", "excluded")),
        ('<SphereGeometry Specular="Excluded"/>', ("d:8", "excluded")),
        ('<SphereGeometry Type="Specular_Included"/>', ("d:8", "included")),
        (
            "<SphereGeometry><SphereGeometryConfiguration>Specular_Excluded"
            "</SphereGeometryConfiguration></SphereGeometry>",
            ("d:8", "excluded"),
        ),
        ('<SingleAngle IlluminationAngle="0" MeasurementAngle="45"/>', ("0:45", None)),
        ("<UnknownGeometry>45/0</UnknownGeometry>", ("45:0", None)),
        ("<UnknownGeometry>Target</UnknownGeometry>", (None, None)),
        ("Sphere d/8 SCI", ("d:8", "included")),
        ("", (None, None)),
    ],
)
def test_geometry_is_read_wherever_it_stands(geometry, expected):
    (sample,) = as_json(document(thing(lab()), specification(geometry=geometry)))
    conditions = sample["conditions"]
    assert (conditions["geometry"], conditions["specular"]) == expected


def test_a_custom_illuminant_is_known_by_its_name():
    spec = specification().replace(
        "<Illuminant>D65</Illuminant>",
        '<Illuminant>Custom</Illuminant><CustomIlluminant Name="LED-B3"/>',
    )
    assert as_json(document(thing(lab()), spec))[0]["conditions"]["illuminant"] == "LED-B3"


def test_a_custom_illuminant_of_unknown_name_is_left_open_and_told():
    spec = specification().replace(
        "<Illuminant>D65</Illuminant>", '<CustomIlluminant Name="Shop window"/>'
    )
    file = read(document(thing(lab()), spec))
    assert file.samples[0].conditions.illuminant is None
    assert any("Shop window" in warning.message for warning in file.warnings)


POINTS = {
    "the schema's": lambda nm, share: f'<SpectralPoint WL="{nm}">{share}</SpectralPoint>',
    "attributes": lambda nm, share: f'<SpectralPoint Wavelength="{nm}" Value="{share}"/>',
    "children": lambda nm, share: (
        f"<Point><Wavelength>{nm}</Wavelength><Value>{share}</Value></Point>"
    ),
}


@pytest.mark.parametrize("point", POINTS.values(), ids=POINTS.keys())
def test_a_spectrum_of_points_says_its_own_wavelengths(point):
    bands = [400, 405, 431, 700]
    text = "".join(map(point, bands, SPECTRUM))
    (sample,) = as_json(document(thing(spectrum(text, attributes=""))))
    assert sample["spectrum"] == {"wavelengths_nm": bands, "reflectance": SPECTRUM[:4]}


@pytest.mark.parametrize(
    "attributes",
    [
        ' StartWL="400" EndWL="700" Interval="10"',
        ' StartWL="400" Step="10"',
        ' Name="45/0 Spectral" StartWL="400" NumPoints="31" Increment="10"',
        ' StartWL="400nm" Increment="10nm"',
        ' StartWL="400" EndWL="700"',
    ],
)
def test_wavelengths_in_attributes_of_any_name_are_read(attributes):
    (sample,) = as_json(document(thing(spectrum(spec="", attributes=attributes)), ""))
    assert sample["spectrum"] == {"wavelengths_nm": BANDS, "reflectance": SPECTRUM}


def test_wavelengths_and_values_in_child_elements_are_read():
    text = (
        "<StartWL>400</StartWL><EndWL>700</EndWL><Increment>10</Increment>"
        f"<Values>{VALUES}</Values>"
    )
    (sample,) = as_json(document(thing(spectrum(text, "", "")), ""))
    assert sample["spectrum"] == {"wavelengths_nm": BANDS, "reflectance": SPECTRUM}


def test_spectra_under_two_lamp_conditions_are_no_repeats():
    """M0 and M1 of ISO 13655 have a specification each; their mean would be neither."""
    brighter = " ".join(str(round(share + 0.05, 2)) for share in SPECTRUM)
    text = document(
        thing(spectrum(spec="M0") + spectrum(brighter, "M1")),
        specification("M0") + specification("M1"),
    )
    first, second = as_json(text)
    assert (first["name"], second["name"]) == ("fir", "fir")
    assert first["spectrum"]["reflectance"] == SPECTRUM
    assert second["spectrum"]["reflectance"][0] == 0.15


def test_objects_of_one_name_and_two_types_are_no_repeats():
    text = document(thing(lab()) + thing(lab([50.5, 10, -20]), kind="Trial"))
    assert [sample["lab"] for sample in as_json(text)] == [LAB, [50.5, 10.0, -20.0]]


MULTI = {
    "by a specification each": (
        "".join(lab(values, f"S{angle}") for angle, values in THREE.items()),
        "".join(specification(f"S{angle}", multi_angle(angle)) for angle in THREE),
    ),
    "by order": ("".join(map(lab, THREE.values())), specification("CS1", multi_angle(*THREE))),
    "by name": (
        "".join(
            lab(values, attributes=f' Name="45as{angle}"')
            for angle, values in reversed(THREE.items())
        ),
        specification("CS1", multi_angle(*THREE)),
    ),
    "by a bare number for a name": (
        "".join(
            lab(values, attributes=f' Name="{angle}"') for angle, values in reversed(THREE.items())
        ),
        specification("CS1", multi_angle(*THREE)),
    ),
    "by an attribute": (
        "".join(
            lab(values, attributes=f' Angle="{angle}"') for angle, values in reversed(THREE.items())
        ),
        specification("CS1", multi_angle(*THREE)),
    ),
    "by an attribute, without a specification": (
        "".join(lab(values, "", f' Geometry="45as{angle}"') for angle, values in THREE.items()),
        "",
    ),
    "by a tag of each value": (
        "".join(
            lab(
                values,
                "",
                more=f'<TagCollection><Tag Name="Angle" Value="{angle}"/></TagCollection>',
            )
            for angle, values in THREE.items()
        ),
        "",
    ),
    "by an unknown geometry": (
        "".join(lab(values, f"S{angle}") for angle, values in THREE.items()),
        "".join(
            specification(f"S{angle}", f"<UnknownGeometry>45as{angle}</UnknownGeometry>")
            for angle in THREE
        ),
    ),
}


@pytest.mark.parametrize(("values", "specs"), MULTI.values(), ids=MULTI.keys())
def test_angles_of_one_object_are_told_apart(values, specs):
    (sample,) = as_json(document(thing(values), specs))
    assert sample["angles"] == {str(angle): values for angle, values in THREE.items()}


def test_objects_of_one_name_with_an_angle_tag_each_are_one_sample():
    text = document(
        "".join(
            thing(
                lab(values, ""),
                more=f'<TagCollection><Tag Name="Angle" Value="{angle}"/></TagCollection>',
            )
            for angle, values in THREE.items()
        ),
        "",
    )
    (sample,) = as_json(text)
    assert sample["angles"] == {str(angle): values for angle, values in THREE.items()}


def test_samples_in_a_place_of_somebodys_own_are_read_where_there_are_no_objects():
    text = (
        '<CxF xmlns="http://colorexchangeformat.com/CxF3-core"><CustomResources><Things>'
        f'<Sample Name="fir">{lab(spec="")}{spectrum(spec="")}</Sample>'
        "</Things></CustomResources></CxF>"
    )
    (sample,) = as_json(text)
    assert (sample["name"], sample["lab"]) == ("fir", LAB)
    assert sample["spectrum"]["wavelengths_nm"] == BANDS


def test_objects_of_custom_resources_are_passed_over_where_there_are_others():
    text = document(thing(lab())).replace(
        "</CxF>", f"<CustomResources>{thing(lab(), 'own')}</CustomResources></CxF>"
    )
    assert [sample["name"] for sample in as_json(text)] == ["fir"]


def test_zero_bytes_at_the_end_are_passed_over():
    (sample,) = as_json(document(thing(lab())).encode() + b"\n\0\0\0")
    assert sample["lab"] == LAB


def test_an_empty_collection_is_refused_in_words():
    with pytest.raises(ReadingsRefused, match="holds no object with"):
        read(document(""))
