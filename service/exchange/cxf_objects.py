"""An Object of CxF3 to its colours and spectra, still without what its specification says."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, field

from service.domain.terms import Stage
from service.exchange import condition_words
from service.exchange.condition_words import aspecular_angle
from service.exchange.cxf_document import Node
from service.exchange.cxf_specification import number
from service.exchange.kept_text import kept_text
from service.exchange.lenient_values import LenientNumbers
from service.exchange.readings import ReadingsRefused, Triple

MOST_BANDS = 2_000
_LAB = ("colorcielab", "cielab", "lab")
_LCH = ("colorcielch", "cielch", "lch")
_XYZ = ("colorciexyz", "ciexyz", "xyz")
_SPECTRUM = ("reflectancespectrum", "customspectrum")
_PASSED_OVER = (
    *("devicecolorvalues", "colordifferencevalues", "tagcollection", "physicalattributes"),
    *("customresources", "comment", "creationdate", "name", "image"),
)
_BAND_NAMES = ("wl", "wavelength", "nm", "lambda")
_ANGLE_NAMES = (
    *("angle", "aspecular", "aspecularangle", "measurementangle", "brdfangle", "geometry"),
    *("notation", "degree", "viewingangle"),
)
_IGNORED = {
    "transmittancespectrum": "TransmittanceSpectrum",
    "emissivespectrum": "EmissiveSpectrum",
    "colordensity": "ColorDensity",
    "colorcieluv": "ColorCIELuv",
    "colorciexyy": "ColorCIExyY",
    "coloremissiveciexyz": "ColorEmissiveCIEXYZ",
    "coloremissiveciexyy": "ColorEmissiveCIExyY",
    "privatespectrum": "PrivateSpectrum",
    "privatecolorvalues": "PrivateColorValues",
    "customcolorspace": "CustomColorSpace",
    "devicecolorvalues": "DeviceColorValues",
    "colordifferencevalues": "ColorDifferenceValues",
    "colorsrgb": "ColorSRGB",
    "coloradobergb": "ColorAdobeRGB",
}


@dataclass(slots=True)
class Value:
    """One colour or spectrum of an object."""

    specification: str  # the id it names, or nothing
    label: str
    line: int
    lab: Triple | None = None
    xyz: Triple | None = None
    reflectance: tuple[float, ...] | None = None
    bands_nm: tuple[float, ...] | None = None  # where each value says its own
    start_nm: float | None = None
    end_nm: float | None = None
    increment_nm: float | None = None
    angle: int | None = None  # aspecular degrees, where the value itself says it


@dataclass(slots=True)
class CxfObject:
    """What one object holds."""

    name: str | None
    line: int
    kind: str = ""  # its ObjectType: a standard and a trial of one name are two things
    angle: int | None = None  # where the whole object says it
    values: list[Value] = field(default_factory=list)
    stage: Stage | None = None


class ObjectReader:
    """Reads objects and remembers what it passed over."""

    def __init__(self) -> None:
        self.numbers = LenientNumbers()
        self.ignored: dict[str, int] = {}  # name to the first line

    def read(self, node: Node) -> CxfObject:
        """Every value of one object that is a colour or a spectrum of a surface."""
        name = kept_text(node.part("name")) or kept_text(node.part("id", "guid"))
        found = CxfObject(name, node.line, (node.part("objecttype") or "").strip().lower())
        found.values = [value for part in self._parts(node) if (value := self._value(part))]
        found.stage = _stage(node)
        found.angle = _stated_angle(node)
        return found

    def _parts(self, node: Node) -> Iterator[Node]:
        for child in node.children:
            if child.name in (*_LAB, *_LCH, *_XYZ, *_SPECTRUM):
                yield child
                continue
            if child.name in _IGNORED:
                self.ignored.setdefault(_IGNORED[child.name], child.line)
            elif child.name not in _PASSED_OVER:
                yield from self._parts(child)

    def _value(self, node: Node) -> Value | None:
        value = Value(
            specification=(node.part("colorspecification", "colorspecificationref") or "").strip(),
            label=node.attributes.get("name", ""),
            line=node.line,
            angle=_stated_angle(node),
        )
        if node.name in _SPECTRUM:
            return self._spectrum(node, value)
        letters = "xyz" if node.name in _XYZ else "lch" if node.name in _LCH else "lab"
        cells = [node.part(letter, f"{letter}*") or "" for letter in letters]
        if not any(cells) and node.text:
            cells = node.text.replace(";", " ").split()
            if len(cells) != 3:
                cells = node.text.split(",")
        if len(cells) != 3:
            raise ReadingsRefused(
                f"{node.name} holds {len(cells)} values; a colour has three. Export the readings "
                "again.",
                line=node.line,
            )
        names = [letter.upper() for letter in letters]
        if letters == "xyz":
            value.xyz = self.numbers.xyz(cells, node.line, names)
        elif letters == "lch":
            value.lab = self.numbers.polar(cells, node.line, names)
        else:
            value.lab = self.numbers.lab(cells, node.line, names)
        return value if value.lab or value.xyz else None

    def _spectrum(self, node: Node, value: Value) -> Value | None:
        value.start_nm = number(node.part("startwl", "wlstart", "start"))
        value.end_nm = number(node.part("endwl", "wlend", "end"))
        value.increment_nm = number(node.part("increment", "step", "interval"))
        cells = _cells(node.text or node.part("values", "value", "data", "spectrum") or "")
        points = [child for child in node.children if child.part(*_BAND_NAMES)] or [
            child for child in node.children if number(child.text) is not None
        ]
        bands: list[float] | None = None
        if len(cells) <= 1 and len(points) > 1:
            cells = [child.text or child.part("value", "reflectance") or "" for child in points]
            told = [number(child.part(*_BAND_NAMES)) for child in points]
            known = [nm for nm in told if nm is not None]
            bands = known if len(known) == len(points) else None
        if not cells:
            self.numbers.notes.setdefault("value_missing", node.line)
            return None
        if len(cells) > MOST_BANDS:
            raise ReadingsRefused(
                f"the spectrum has {len(cells):,} values; at most {MOST_BANDS:,} are read. Export "
                "the readings again.",
                line=node.line,
            )
        values = self.numbers.read(cells, node.line, ["ReflectanceSpectrum"] * len(cells))
        if values is None:
            return None
        if bands is not None:
            if len(set(bands)) != len(bands):
                raise ReadingsRefused(
                    "a wavelength of the spectrum stands twice. Export the readings again.",
                    line=node.line,
                )
            rising = sorted(zip(bands, values, strict=True))
            value.bands_nm = tuple(nm for nm, _ in rising)
            values = [reflectance for _, reflectance in rising]
        value.reflectance = tuple(values)
        return value


def _cells(text: str) -> list[str]:
    """The values of a list, whether blanks, semicolons or commas stand between them."""
    if ";" in text:
        return text.replace(";", " ").split()
    if "," not in text:
        return text.split()
    if "." in text:
        return text.replace(",", " ").split()
    words = [word.rstrip(",") for word in text.split()]
    return text.split(",") if len(words) == 1 else [word for word in words if word]


def _stated_angle(node: Node) -> int | None:
    """The aspecular angle that a part says of itself, as an attribute or a tag."""
    for name in _ANGLE_NAMES:
        angle = aspecular_angle(node.attributes.get(name, ""))
        if angle is not None:
            return angle
    for child in node.children:
        tags = child.children if child.name == "tagcollection" else [child]
        for tag in tags:
            squeezed = re.sub(r"[\s_-]", "", tag.attributes.get("name", "")).lower()
            if tag.name == "tag" and squeezed in _ANGLE_NAMES:
                return aspecular_angle(tag.attributes.get("value", "") or tag.text)
            if tag.name in _ANGLE_NAMES and (angle := aspecular_angle(tag.text)) is not None:
                return angle
    return None


def _stage(node: Node) -> Stage | None:
    for tag in node.all("tag"):
        if re.fullmatch(r"(?i)stage", tag.attributes.get("name", "").strip()):
            try:
                return condition_words.stage(tag.attributes.get("value", ""))
            except ValueError:
                return None
    return None
