"""A ColorSpecification of CxF3: under what something was measured, and at which wavelengths."""

from __future__ import annotations

import re
from dataclasses import dataclass, field, replace

from service.domain.terms import Specular
from service.exchange.condition_search import Said
from service.exchange.cxf_document import Node
from service.exchange.kept_text import kept_text
from service.exchange.readings import Conditions

_AS = re.compile(r"as\s*(?P<angle>[+-]?\d{1,3})(?!\d)", re.I)
_DEGREES = re.compile(r"(?<![\d.])(?P<angle>[+-]?\d{1,3})\s*(?:°|deg)", re.I)
_NO_GEOMETRY = ("not stated", "unknown", "unspecified", "undefined", "none", "n/a")
_IN_PLANE = (0.0, 180.0, 360.0, -180.0)
_NUMBER = re.compile(r"[+-]?\d{1,5}(?:[.,]\d{1,6})?")


@dataclass(frozen=True, slots=True)
class Angle:
    """One direction of a multi-angle geometry; ``degrees`` is None where it lies out of plane."""

    notation: str
    degrees: int | None


@dataclass(slots=True)
class Specification:
    """What one ColorSpecification says."""

    id: str
    conditions: Conditions = Conditions()
    angles: list[Angle] = field(default_factory=list)
    start_nm: float | None = None
    end_nm: float | None = None
    increment_nm: float | None = None
    instrument: str | None = None
    filter: str | None = None
    not_understood: list[str] = field(default_factory=list)
    notes: set[str] = field(default_factory=set)


def read_specification(node: Node) -> Specification:
    """Sort a specification; what it leaves out is left open."""
    found = Specification(node.attributes.get("id", "") or node.part("id", "name") or "")
    said = Said()
    tristimulus = node.find("tristimulusspec") or node
    light_text = _own(node.find("illuminant")) or _own(node.find("customilluminant"))
    light_text = light_text or tristimulus.part("illuminant")
    if light_text and not _add_light(said, light_text):
        found.not_understood.append(f"illuminant {kept_text(light_text[:60])}")
    observer = node.find("observer")
    observer_text = _own(observer) or tristimulus.part("observer")
    if observer_text and not _add_observer(said, observer_text, observer):
        found.not_understood.append(f"observer {kept_text(observer_text[:60])}")
    found.conditions = said.conditions()
    _geometry(node, found)
    _wavelengths(node, found)
    device = node.find("device")
    if device is not None:
        found.instrument = kept_text(device.part("model", "name"))
        filtered = device.part("devicefilter") or ""
        if filtered and not re.search(r"none|^no$", filtered, re.I):
            found.filter = kept_text(filtered)
        if (device.part("devicepolarization") or "").lower() in ("true", "1", "yes"):
            found.filter = "polarised"
    return found


def _own(node: Node | None) -> str | None:
    """The node's text, or what it is called where it has none."""
    if node is None:
        return None
    if node.text.lower() == "custom":
        return node.part("name")
    return node.text or node.part("value", "name", "type", "angle")


def _add_light(said: Said, text: str) -> bool:
    plain = re.sub(r"(?i)^\s*(cie|illuminant|standard)[ _-]*", "", text.replace("_", " "))
    if said.add_illuminant(plain):
        return True
    said.read_free(text)
    return bool(said.illuminants)


def _add_observer(said: Said, text: str, node: Node | None) -> bool:
    plain = re.sub(r"(?i)[ _-]*(degrees?|deg|°|observer|cie|standard)[ _-]*", "", text)
    if said.add_observer(plain) or said.add_observer(text):
        return True
    angle = node.part("angle") if node is not None else None
    return bool(angle and said.add_observer(angle))


def _geometry(node: Node, found: Specification) -> None:
    choice = node.find("geometrychoice") or node.find("measurementspec") or node
    sphere = choice.find("spheregeometry", "sphere")
    sphere_text = _all_text(sphere) if sphere is not None else None
    sphere_text = sphere_text or choice.part("spheregeometry", "sphere")
    single = choice.find("singleangle")
    multi = choice.find("multiangle") or (choice if choice.find("brdfangle") else None)
    if multi is not None:
        found.angles = [_angle(part) for part in multi.all("brdfangle")]
        found.conditions = replace(found.conditions, geometry="multi-angle")
    elif sphere_text is not None:
        specular = _specular_in(sphere_text)
        found.notes.add("sphere_angle_assumed")
        found.conditions = replace(found.conditions, geometry="d:8", specular=specular)
    elif single is not None:
        _single_angle(single, found)
    else:
        text = choice.part("unknowngeometry", "geometry", "singleangle", "geometrychoice")
        text = text or (choice.text if choice.name == "geometrychoice" else None)
        if text and text.lower() not in _NO_GEOMETRY:
            said = Said()
            if not said.add_geometry(text):
                said.read_free(text)
            geometry, specular = said.conditions().geometry, said.conditions().specular
            if geometry is None and (angle := said.angle()) is not None:
                found.angles, geometry = [Angle(text, angle)], "multi-angle"
            found.conditions = replace(found.conditions, geometry=geometry, specular=specular)
            if geometry is None:
                found.not_understood.append(f"geometry {kept_text(text[:60])}")


def _all_text(node: Node) -> str:
    """Everything a node says of itself: its text, its attributes and those of its parts."""
    parts = [node.text, *node.attributes.values(), *map(_all_text, node.children)]
    named = [f"{key} {value}" for key, value in node.attributes.items()]
    return " ".join([*parts, *named]).strip() or node.name


def _specular_in(text: str) -> Specular | None:
    """Included or excluded, if the text says one of them."""
    squeezed = re.sub(r"[\s_-]", "", text).lower()
    says = {
        Specular.INCLUDED: re.search(r"includ|sci(?![a-z])|spin(?![a-z])|rsin", squeezed),
        Specular.EXCLUDED: re.search(r"exclud|sce(?![a-z])|spex(?![a-z])|rsex", squeezed),
    }
    found = [mode for mode, match in says.items() if match]
    return found[0] if len(found) == 1 else None


def _single_angle(single: Node, found: Specification) -> None:
    from_deg = number(single.part("illuminationangle", "illumination"))
    to_deg = number(single.part("measurementangle", "viewingangle", "measurement"))
    if from_deg is None or to_deg is None:
        if single.text and (text := kept_text(single.text[:60])):
            said = Said()
            if said.add_geometry(text):
                found.conditions = replace(found.conditions, geometry=said.conditions().geometry)
                return
        found.not_understood.append("a single angle without both its angles")
        return
    geometry = f"{abs(from_deg):g}:{abs(to_deg):g}"
    found.conditions = replace(found.conditions, geometry=geometry)


def _angle(node: Node) -> Angle:
    notation = node.part("notation", "name") or node.text
    azimuth = number(node.part("azimuth"))
    if azimuth is not None and azimuth not in _IN_PLANE:
        return Angle(notation, None)
    degrees = number(node.part("aspecular", "aspecularangle"))
    if degrees is None:
        return Angle(notation, angle_named(notation))
    whole = round(degrees)
    return Angle(notation, whole if abs(degrees - whole) < 0.05 and -90 <= whole <= 175 else None)


def angle_named(text: str | None) -> int | None:
    """The aspecular angle a name holds, as 45as-15, as15 or 15°; None if it holds none."""
    found = _AS.search(text or "") or _DEGREES.search(text or "")
    degrees = int(found["angle"]) if found else None
    return degrees if degrees is not None and -90 <= degrees <= 175 else None


def _wavelengths(node: Node, found: Specification) -> None:
    place = node.find("wavelengthrange") or node.find("measurementspec") or node
    found.start_nm = number(place.part("startwl", "wlstart", "start"))
    found.end_nm = number(place.part("endwl", "wlend", "end"))
    found.increment_nm = number(place.part("increment", "step", "interval", "list_increment"))


def number(text: str | None) -> float | None:
    """A plain number, with or without a unit behind it; None if it is none."""
    found = _NUMBER.match(text.strip()) if text else None
    return float(found[0].replace(",", ".")) if found else None
