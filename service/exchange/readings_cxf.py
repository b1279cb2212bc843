"""Readings from CxF3 (ISO 17972-1) documents, as written by the book and otherwise."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace

from service.exchange.condition_warnings import IN_CXF, missing_conditions
from service.exchange.condition_words import aspecular_angle
from service.exchange.csv_statements import About
from service.exchange.cxf_document import CxfDocument, read_document
from service.exchange.cxf_objects import CxfObject, ObjectReader, Value
from service.exchange.cxf_specification import Specification, angle_named, read_specification
from service.exchange.cxf_wavelengths import wavelengths_of
from service.exchange.found_readings import Found, divided, samples_of
from service.exchange.readings import (
    Conditions,
    FileWarning,
    Reading,
    ReadingsFile,
    ReadingsRefused,
)
from service.exchange.scale_evidence import find_divisor

# ISO 17972-1 allows reflectance up to 3 as a share of 1, and L* from 0 without an upper end.
_GREATEST_SHARE = 3.0


def read_cxf(data: bytes) -> ReadingsFile:
    """Everything in the file's object collection.

    Raises ReadingsRefused at the first thing that cannot be taken; nothing is taken in part.
    """
    document = read_document(data)
    if document.root != "cxf" and not document.objects:
        name = document.root[:40] if document.root.isprintable() else ascii(document.root[:40])
        raise ReadingsRefused(
            f"This is XML or a web page that begins with '{name}', not a CxF3 file. Export the "
            "readings as CxF3, CGATS.17 or CSV."
        )
    resolver = _Resolver(document)
    reader = ObjectReader()
    found: list[Found] = []
    empty: list[int] = []
    while document.objects:
        # Taken from the end and let go, so that nodes and readings are not all held at once.
        node = document.objects.pop()
        one = reader.read(node)
        readings = resolver.readings(one)
        if not readings:
            empty.append(one.line)
        found += reversed(readings)
    found.reverse()
    if not found:
        raise ReadingsRefused(
            "The file holds no object with L*, a*, b*, X, Y, Z or a reflectance spectrum. Export "
            "the readings with their colours."
        )
    divisor, scale_warnings = find_divisor(found, None, _GREATEST_SHARE)
    samples, grouping_warnings = samples_of(divided(found, divisor))
    return ReadingsFile(
        format="cxf",
        samples=samples,
        warnings=(
            *document.warnings,
            *resolver.warnings(),
            *_value_warnings(reader, empty),
            *scale_warnings,
            *grouping_warnings,
            *missing_conditions(samples, IN_CXF),
        ),
    )


@dataclass(slots=True)
class _Slot:
    """What is measured together: one angle under one set of conditions."""

    specification: str
    about: About
    line: int
    lab: tuple[float, float, float] | None = None
    xyz: tuple[float, float, float] | None = None
    reflectance: tuple[float, ...] | None = None
    bands_nm: tuple[float, ...] | None = None


@dataclass(slots=True)
class _Resolver:
    """Brings values together with their specifications."""

    document: CxfDocument
    specifications: dict[str, Specification] = field(default_factory=dict)
    only: Specification | None = None
    notes: dict[str, list[str]] = field(default_factory=dict)
    numbers: dict[str, int] = field(default_factory=dict)

    def __post_init__(self) -> None:
        found = [read_specification(node) for node in self.document.specifications]
        self.specifications = {one.id: one for one in found}
        if len(found) == 1:
            self.only = found[0]

    def readings(self, one: CxfObject) -> list[Found]:
        """Every reading of an object; a spectrum goes with each colour it may belong to."""
        slots: list[_Slot] = []
        colours = [value for value in one.values if value.reflectance is None]
        spectra = [value for value in one.values if value.reflectance is not None]
        for value, specification, angle in self._with_angles(colours, one.angle):
            about = self._about(one, specification, angle)
            self._place(slots, value, about)
        for value, specification, angle in self._with_angles(spectra, one.angle):
            bands, code = wavelengths_of(value, specification)
            if code:
                self._note(code, f"line {value.line}")
            if bands is None:
                continue
            about = self._about(one, specification, angle)
            self._place_spectrum(slots, value, about, bands)
        return [
            Found(
                one.name,
                slot.about,
                Reading(
                    line=slot.line,
                    angle=slot.about.angle,
                    lab=slot.lab,
                    xyz=slot.xyz,
                    reflectance=slot.reflectance,
                ),
                slot.bands_nm,
                self._number_of(slot.specification),
                one.kind or None,
            )
            for slot in slots
        ]

    def _number_of(self, specification: str) -> int:
        """One number for each specification: what was measured under two is no repeat."""
        return self.numbers.setdefault(specification, len(self.numbers))

    def _specification(self, value: Value) -> Specification:
        named = value.specification
        if named in self.specifications:
            return self.specifications[named]
        if not named and self.only is not None:
            self._note("specification_not_named", f"line {value.line}")
            return self.only
        self._note("specification_missing", named or f"line {value.line}")
        return Specification(named)

    def _with_angles(
        self, values: Sequence[Value], of_object: int | None
    ) -> Iterator[tuple[Value, Specification, int | None]]:
        """Each value with its specification and angle; angles out of the plane are left out."""
        of_kind = Counter((v.specification, v.lab is not None, v.xyz is not None) for v in values)
        seen: Counter[tuple[str, bool, bool]] = Counter()
        for value in values:
            specification = self._specification(value)
            kind = (value.specification, value.lab is not None, value.xyz is not None)
            place = seen[kind]
            seen[kind] += 1
            angles = specification.angles
            stated = of_object if value.angle is None else value.angle
            if not angles:
                label = angle_named(value.label) if stated is None else stated
                if label is None and "as" in value.specification.lower():
                    label = angle_named(value.specification)
                yield value, specification, label
                continue
            if len(angles) == 1:
                chosen = angles[0].degrees
            elif named := [a for a in angles if a.notation and a.notation == value.label]:
                chosen = named[0].degrees
            elif stated is not None:
                chosen = stated
            elif (bare := aspecular_angle(value.label)) in [a.degrees for a in angles]:
                chosen = bare
            elif (label := angle_named(value.label)) is not None:
                chosen = label
            elif of_kind[kind] == len(angles):
                self._note("angles_by_order", specification.id)
                chosen = angles[place].degrees
            else:
                chosen = None
            if chosen is None:
                self._note("angle_left_out", f"line {value.line}")
                continue
            yield value, specification, chosen

    def _about(self, one: CxfObject, specification: Specification, angle: int | None) -> About:
        conditions = specification.conditions
        if angle is not None and conditions.geometry is None:
            conditions = replace(conditions, geometry="multi-angle")
        for code in specification.notes:
            self._note(code, specification.id)
        for text in specification.not_understood:
            self._note("condition_not_understood", text)
        if specification.filter:
            self._note("filter_stated", specification.filter)
        return About(
            conditions=conditions,
            stage=one.stage,
            instrument=specification.instrument,
            angle=angle,
        )

    def _place(self, slots: list[_Slot], value: Value, about: About) -> None:
        for slot in slots:
            fits = slot.about == about and slot.specification == value.specification
            if fits and value.lab is not None and slot.lab is None:
                slot.lab = value.lab
                return
            if fits and value.xyz is not None and slot.xyz is None:
                slot.xyz = value.xyz
                return
        slots.append(_Slot(value.specification, about, value.line, lab=value.lab, xyz=value.xyz))

    def _place_spectrum(
        self, slots: list[_Slot], value: Value, about: About, bands: tuple[float, ...]
    ) -> None:
        free = [s for s in slots if s.reflectance is None and s.about.angle == about.angle]
        exact = [slot for slot in free if slot.specification == value.specification]
        fitting = exact[:1] or [s for s in free if _geometries_agree(s.about, about)]
        if not fitting:
            fitting = [_Slot(value.specification, about, value.line)]
            slots += fitting
        for slot in fitting:  # reflectance is the same under each light
            slot.reflectance, slot.bands_nm = value.reflectance, bands
            known, other = slot.about.conditions, about.conditions
            slot.about = replace(
                slot.about,
                conditions=Conditions(
                    illuminant=known.illuminant,
                    observer=known.observer,
                    geometry=known.geometry or other.geometry,
                    specular=known.specular or other.specular,
                ),
                instrument=slot.about.instrument or about.instrument,
            )

    def _note(self, code: str, what: str) -> None:
        noted = self.notes.setdefault(code, [])
        if len(noted) < 10 and what not in noted:
            noted.append(what)

    def warnings(self) -> Iterator[FileWarning]:
        """What the specifications left open or had to be helped with."""
        for code, noted in self.notes.items():
            message = _MESSAGES[code].format(", ".join(_shown(text) for text in noted))
            yield FileWarning(code=code, message=message)


_MESSAGES = {
    "specification_missing": "Colour specifications are named or needed that the file does not "
    "have ({}); the conditions of those readings are not known.",
    "specification_not_named": "Values name no colour specification ({}); the file's only one was "
    "taken.",
    "sphere_angle_assumed": "The sphere geometry of {} was taken as d:8; CxF3 does not say its "
    "angle.",
    "condition_not_understood": "The file states {}, which this program does not know; it was "
    "left open.",
    "filter_stated": "The readings were made with a filter ({}). Compare them only with readings "
    "made alike.",
    "angles_by_order": "The values under {} do not say their angles; they were taken in the order "
    "of the angles.",
    "angle_left_out": "Readings whose angle is not known, or lies out of the plane of light and "
    "surface normal, were left out: {}.",
    "wavelengths_assumed": "Wavelengths are not stated whole ({}); the usual ones for so many "
    "values were taken.",
    "wavelengths_not_stated": "Spectra whose wavelengths are not stated were left out: {}.",
}


def _shown(text: str) -> str:
    short = text if len(text) <= 60 else text[:60] + "…"
    return short if short.isprintable() else ascii(short)


def _geometries_agree(one: About, other: About) -> bool:
    first, second = one.conditions, other.conditions
    return (first.geometry is None or second.geometry in (None, first.geometry)) and (
        first.specular is None or second.specular in (None, first.specular)
    )


def _value_warnings(reader: ObjectReader, empty: Sequence[int]) -> Iterator[FileWarning]:
    notes = reader.numbers.notes
    if "decimal_comma" in notes:
        yield FileWarning(
            code="decimal_comma",
            message="Numbers are written with decimal commas; XML has decimal points.",
        )
    if "value_missing" in notes:
        yield FileWarning(
            code="value_missing",
            message=f"Values are missing, as on line {notes['value_missing']}; those readings "
            "were left out.",
        )
    if "lab_from_lch" in notes:
        yield FileWarning(
            code="lab_from_lch", message="a* and b* were worked out from chroma and hue."
        )
    if reader.ignored:
        listed = ", ".join(sorted(reader.ignored))
        yield FileWarning(code="values_ignored", message=f"Values not read: {listed}.")
    if empty:
        yield FileWarning(
            code="object_without_colour",
            message=f"{len(empty):,} objects hold no colour this program reads, the first on line "
            f"{min(empty)}; they were left out.",
        )
