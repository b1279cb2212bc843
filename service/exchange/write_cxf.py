"""Readings as a CxF3 (ISO 17972-1) document that the published schema accepts."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import datetime
from typing import NamedTuple
from xml.sax.saxutils import escape, quoteattr

from service.domain.terms import Specular
from service.exchange.kept_text import kept_text
from service.exchange.readings import Conditions, Reading, ReadingsRefused, Sample

NAMESPACE = "http://colorexchangeformat.com/CxF3-core"
NOT_STATED = "not stated"  # the schema wants a geometry; this one is nobody's
# What the schema lists; another light is Custom and carries its name.
_ILLUMINANTS = (
    *("A", "B", "C", "D50", "D55", "D60", "D65", "D75", "E"),
    *("F2", "F3", "F7", "F9", "F10", "F11", "F12"),
)
_START_NM, _SHARE = (360, 400), (-0.1, 3.0)  # the schema's own ranges
_LIGHT_AT_DEG = 45  # multi-angle instruments light from here, as ASTM E2194 has it


class _Spec(NamedTuple):
    """What a ColorSpecification says."""

    conditions: Conditions
    instrument: str | None
    angle: int | None
    range_nm: tuple[int, int] | None  # start and increment
    spectral: bool


def write_cxf(
    samples: Sequence[Sample],
    *,
    created: datetime,
    observed: Sequence[datetime] | None = None,
) -> bytes:
    """Every reading, one object for each repeat; ``observed`` has a time for each sample.

    Raises
    ------
    ReadingsRefused
        Where there is nothing to write, or a value the schema has no room for.
    """
    specifications: dict[_Spec, str] = {}
    objects: list[str] = []
    for place, sample in enumerate(samples):
        when = created if observed is None else observed[place]
        for readings in _repeats(sample):
            number = len(objects) + 1
            objects.append(_object(sample, readings, number, when, specifications))
    if not objects:
        raise ReadingsRefused("There are no readings to export. Read a card first.")
    parts = [
        '<?xml version="1.0" encoding="UTF-8"?>',
        f'<cc:CxF xmlns:cc="{NAMESPACE}">',
        "<cc:FileInformation>",
        "<cc:Creator>Keepcard</cc:Creator>",
        f"<cc:CreationDate>{created.isoformat()}</cc:CreationDate>",
        "</cc:FileInformation>",
        "<cc:Resources>",
        "<cc:ObjectCollection>",
        *objects,
        "</cc:ObjectCollection>",
        "<cc:ColorSpecificationCollection>",
        *(_specification(spec, name) for spec, name in specifications.items()),
        "</cc:ColorSpecificationCollection>",
        "</cc:Resources>",
        "</cc:CxF>",
    ]
    return ("\n".join(parts) + "\n").encode()


def _repeats(sample: Sample) -> list[list[Reading]]:
    """The first reading of each angle together, then the second of each, and so on."""
    by_angle: dict[int | None, list[Reading]] = {}
    for reading in sample.readings:
        by_angle.setdefault(reading.angle, []).append(reading)
    most = max((len(repeats) for repeats in by_angle.values()), default=0)
    return [[r[place] for r in by_angle.values() if place < len(r)] for place in range(most)]


def _object(
    sample: Sample,
    readings: Sequence[Reading],
    number: int,
    when: datetime,
    specifications: dict[_Spec, str],
) -> str:
    values: list[str] = []
    for reading in readings:
        spec = _spec_of(sample, reading)
        name = specifications.setdefault(spec, f"cs{len(specifications) + 1}")
        label = f' Name="45as{reading.angle}"' if reading.angle is not None else ""
        values += _values(sample, reading, spec, f'{label} ColorSpecification="{name}"')
    tags = ""
    if sample.stage is not None:
        tag = f'<cc:Tag Name="Stage" Value={quoteattr(sample.stage)}/>'
        tags = f'<cc:TagCollection Name="Keepcard">{tag}</cc:TagCollection>'
    name = kept_text(sample.name) or f"sample {number}"
    return (
        f'<cc:Object ObjectType="Standard" Name={quoteattr(name)} Id="o{number}">'
        f"<cc:CreationDate>{when.isoformat()}</cc:CreationDate>"
        f"<cc:ColorValues>{''.join(values)}</cc:ColorValues>{tags}</cc:Object>"
    )


def _values(sample: Sample, reading: Reading, spec: _Spec, attributes: str) -> Iterator[str]:
    if reading.reflectance is not None and sample.wavelengths_nm is not None:
        lowest, highest = _SHARE
        if not all(lowest < value < highest for value in reading.reflectance):
            odd = next(v for v in reading.reflectance if not lowest < v < highest)
            raise _no_room(sample, f"reflectance {odd:g}", "lies between -0.1 and 3")
        if spec.range_nm is not None:
            text = " ".join(repr(float(value)) for value in reading.reflectance)
            start = f' StartWL="{spec.range_nm[0]}"'
            yield f"<cc:ReflectanceSpectrum{attributes}{start}>{text}</cc:ReflectanceSpectrum>"
        else:
            points = "".join(
                f'<cc:SpectralPoint WL="{float(nm)!r}">{float(value)!r}</cc:SpectralPoint>'
                for nm, value in zip(sample.wavelengths_nm, reading.reflectance, strict=True)
            )
            yield f"<cc:CustomSpectrum{attributes}>{points}</cc:CustomSpectrum>"
    if reading.lab is not None:
        if reading.lab[0] < 0:
            raise _no_room(sample, f"L* {reading.lab[0]:g}", "begins at 0")
        yield _triple("ColorCIELab", attributes, "LAB", reading.lab)
    if reading.xyz is not None:
        if min(reading.xyz) < 0:
            raise _no_room(sample, f"a tristimulus value of {min(reading.xyz):g}", "begins at 0")
        yield _triple("ColorCIEXYZ", attributes, "XYZ", reading.xyz)


def _no_room(sample: Sample, what: str, why: str) -> ReadingsRefused:
    return ReadingsRefused(
        f"{what} of '{sample.name or 'a sample without a name'}' has no place in CxF3, where it "
        f"{why}. Export as CGATS.17 or CSV."
    )


def _triple(element: str, attributes: str, letters: str, values: Sequence[float]) -> str:
    inner = "".join(
        f"<cc:{letter}>{float(value)!r}</cc:{letter}>"
        for letter, value in zip(letters, values, strict=True)
    )
    return f"<cc:{element}{attributes}>{inner}</cc:{element}>"


def _spec_of(sample: Sample, reading: Reading) -> _Spec:
    spectral = reading.reflectance is not None
    bands = sample.wavelengths_nm if spectral else None
    return _Spec(
        sample.conditions,
        kept_text(sample.instrument),
        reading.angle,
        _even_range(bands) if bands else None,
        spectral,
    )


def _even_range(bands: Sequence[float]) -> tuple[int, int] | None:
    """Start and increment where both are whole and the schema has room for the start."""
    if len(bands) < 2:
        return None
    start, step = bands[0], bands[1] - bands[0]
    even = all(nm == start + step * place for place, nm in enumerate(bands))
    whole = start == int(start) and step == int(step) and step > 0
    if not (even and whole and _START_NM[0] <= start <= _START_NM[1]):
        return None
    return int(start), int(step)


def _specification(spec: _Spec, name: str) -> str:
    known = spec.conditions
    light = ""
    if known.illuminant is not None and known.observer is not None:
        listed = known.illuminant in _ILLUMINANTS
        illuminant = (
            f"<cc:Illuminant>{known.illuminant}</cc:Illuminant>"
            if listed
            else f"<cc:Illuminant Name={quoteattr(known.illuminant)}>Custom</cc:Illuminant>"
        )
        light = (
            f"<cc:TristimulusSpec>{illuminant}<cc:Observer>{known.observer}_Degree</cc:Observer>"
            "<cc:Method>unknown</cc:Method></cc:TristimulusSpec>"
        )
    kind = "Spectrum_Reflectance" if spec.spectral else "Colorimetric_Reflectance"
    wavelengths = ""
    if spec.range_nm is not None:
        start, step = spec.range_nm
        wavelengths = f'<cc:WavelengthRange StartWL="{start}" Increment="{step}"/>'
    device = ""
    if spec.instrument:
        device = f"<cc:Device><cc:Model>{escape(spec.instrument)}</cc:Model></cc:Device>"
    return (
        f'<cc:ColorSpecification Id="{name}">{light}<cc:MeasurementSpec>'
        f"<cc:MeasurementType>{kind}</cc:MeasurementType>"
        f"<cc:GeometryChoice>{_geometry(known, spec.angle)}</cc:GeometryChoice>"
        f"{wavelengths}{device}</cc:MeasurementSpec></cc:ColorSpecification>"
    )


def _geometry(known: Conditions, angle: int | None) -> str:
    if angle is not None:
        return (
            f'<cc:MultiAngle><cc:BRDFAngle Notation="45as{angle}">'
            f"<cc:IlluminationAngle>{_LIGHT_AT_DEG}</cc:IlluminationAngle>"
            f"<cc:Aspecular>{angle}</cc:Aspecular></cc:BRDFAngle></cc:MultiAngle>"
        )
    geometry = known.geometry or NOT_STATED
    # The schema wants one of two arrangements of 45:0; where none is stated, the usual one.
    plain = geometry.replace("45a", "45").replace("45c", "45").replace("45x", "45")
    if plain in ("45:0", "0:45"):
        arrangement = "Uniplanar" if "45x" in geometry else "Annular"
        light, seen = plain.split(":")
        return (
            f"<cc:SingleAngle><cc:SingleAngleConfiguration>{arrangement}"
            f"</cc:SingleAngleConfiguration><cc:IlluminationAngle>{light}</cc:IlluminationAngle>"
            f"<cc:MeasurementAngle>{seen}</cc:MeasurementAngle></cc:SingleAngle>"
        )
    if geometry == "d:8" and known.specular is not None:
        mode = "Included" if known.specular is Specular.INCLUDED else "Excluded"
        return f"<cc:SphereGeometry>Specular_{mode}</cc:SphereGeometry>"
    return f"<cc:UnknownGeometry>{escape(geometry)}</cc:UnknownGeometry>"
