"""What each heading of a readings table means: L*, b* 45°, X, 550 nm, illuminant, name ..."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Literal

from service.exchange import condition_words
from service.exchange.field_names import LONGEST_NAME, parse, spectral_names, without_means
from service.exchange.readings import ReadingsRefused

Kind = Literal["lab", "xyz", "spectrum"]
PARTS = {"lab": ("L*", "a*", "b*"), "xyz": ("X", "Y", "Z")}

_PREFIXES: dict[Kind, tuple[str, ...]] = {
    "lab": ("", "cie", "lab", "cielab"),
    "xyz": ("", "cie", "xyz", "ciexyz", "tristimulus"),
}
_COORDINATES: dict[str, tuple[Kind, int]] = {
    prefix + letter + suffix: (kind, "labxyz".index(letter) % 3)
    for kind, prefixes in _PREFIXES.items()
    for prefix in prefixes
    for letter in kind
    for suffix in ("", "star")
}
_COORDINATES["lightness"] = ("lab", 0)

# Earlier synonyms win where a table has several, a name before a number.
_FIELDS = {
    "name": (
        *("name", "samplename", "card", "sample", "label", "code", "cardcode", "id", "sampleid"),
        *("patchname", "patch", "patchid", "swatch", "chip", "tile", "specimen", "specimenid"),
        *("colourname", "colorname", "probe", "bezeichnung"),
    ),
    "angle": ("angle", "angledeg", "aspecular", "aspecularangle", "measurementangle"),
    "illuminant": ("illuminant", "illuminantobserver", "illobs", "ill"),
    "observer": ("observer", "standardobserver", "observerangle", "obs"),
    "geometry": ("geometry", "measurementgeometry", "measuringgeometry"),
    "specular": ("specular", "specularcomponent", "specularmode", "scisce"),
    "instrument": ("instrument", "instrumentserial", "instrumentid", "device"),
    "stage": ("stage",),
    "repeat": ("repeat", "repeatno", "repeatnumber", "replicate", "reading", "readingno"),
    "temperature_c": ("temperaturec", "tempc", "surfacetemperaturec", "cardtemperaturec"),
    "temperature_f": ("temperaturef", "tempf", "surfacetemperaturef", "cardtemperaturef"),
    "temperature": ("temperature", "temp", "surfacetemperature", "cardtemperature"),
}
_FIELD_OF = {word: (name, rank) for name, all_ in _FIELDS.items() for rank, word in enumerate(all_)}

_LIGHT = re.compile(r"(?<![a-z0-9])(?P<light>[a-z][a-z0-9-]*)\s*/\s*(?P<observer>10|2)(?!\d)\s*°?")
# A hyphen straight after the coordinate may be a minus or a mere join: such a heading is not read.
_ANGLE_STATED = re.compile(
    r"(?<![a-z])as\s*(?P<aspecular>-?\d{1,3})(?!\d)\s*°?"
    r"|(?<![a-z0-9*_])(?P<signed>-\d{1,3})\s*°|(?<![-\d])(?P<plain>\d{1,3})\s*°"
)
# Below 10 a bare number is more likely to count repeats than to be an angle.
_ANGLE_BARE = re.compile(r"(?P<word>[a-z*_ ]+?)[ _]*(?P<angle>[1-9]\d{1,2})")
_SEPARATORS = re.compile(r"[\s*_.:;,()\[\]°-]+")


@dataclass(frozen=True, slots=True)
class ChannelKey:
    """What the columns of one reading share; None where the headings do not say."""

    kind: Kind
    angle: int | None = None
    illuminant: str | None = None
    observer: int | None = None


@dataclass(slots=True)
class Headings:
    """The columns of a table by what they mean; numbers are places in a row, from 0."""

    names: list[str]
    fields: dict[str, int] = field(default_factory=dict)
    channels: dict[ChannelKey, dict[float, int]] = field(default_factory=dict)
    percent: bool = False  # a wavelength heading says so
    ignored: list[str] = field(default_factory=list)
    bare_angles: list[str] = field(default_factory=list)  # headings whose angle has no sign
    ranks: dict[str, int] = field(default_factory=dict)

    def recognised(self) -> int:
        """How many columns mean something."""
        return len(self.fields) + sum(len(places) for places in self.channels.values())

    def missing(self) -> list[str]:
        """The coordinates that a begun L*, a*, b* or X, Y, Z still lacks."""
        lacking = []
        for key, places in self.channels.items():
            if key.kind != "spectrum":
                where = "" if key.angle is None else f" at {key.angle}°"
                names = PARTS[key.kind]
                lacking += [names[part] + where for part in range(3) if part not in places]
        return lacking

    def complete(self) -> bool:
        """Whether a colour can be read from each row."""
        return bool(self.channels) and not self.missing()


def understand(cells: Sequence[str], line: int) -> Headings:
    """Sort the columns; raises ReadingsRefused when two of them claim to be the same."""
    found = Headings([cell.strip() for cell in cells])
    spectra: dict[int | None, dict[float, int]] = {}
    marked: list[bool] = []
    spectral = spectral_names(found.names)
    for place, name in enumerate(found.names):
        text = unicodedata.normalize("NFKC", name).strip().lower().replace("\u2212", "-")
        parts = spectral.get(place)
        if parts is not None and parts.nm is not None:
            _claim(spectra.setdefault(parts.angle, {}), parts.nm, place, found, line)
            found.bare_angles += [name] if parts.bare else []
            marked.append(parts.percent)
        elif (channel := coordinate(text, name)) is not None:
            key, part, bare = channel
            found.bare_angles += [name] if bare else []
            _claim(found.channels.setdefault(key, {}), part, place, found, line)
        elif text:
            _field(text, place, found, line)
    for angle, wavelengths in spectra.items():
        if len(wavelengths) >= 3:  # fewer make no spectrum; a lone number is some other column
            found.channels[ChannelKey("spectrum", angle)] = wavelengths
            found.percent = all(marked)
            if any(marked) and not found.percent:
                raise ReadingsRefused(
                    "some wavelength headings carry a % sign and some do not. Mark all or none.",
                    line=line,
                )
        else:
            found.ignored += [found.names[place] for place in wavelengths.values()]
    _drop_lone_letters(found)
    return found


def _drop_lone_letters(found: Headings) -> None:
    """The B of R, G, B is no b*: a letter without its sisters counts only where nothing else is."""
    lone = [
        key
        for key, places in found.channels.items()
        if key.kind != "spectrum" and len(places) == 1 and len(found.channels) > 1
    ]
    for key in lone:
        (place,) = found.channels[key].values()
        if len(found.names[place]) == 1:
            found.ignored.append(found.names[place])
            del found.channels[key]


def field_of(word: str) -> str | None:
    """The field a squeezed heading names, or None."""
    return _FIELD_OF[word][0] if word in _FIELD_OF else None


def _claim(places: dict[float, int], part: float, place: int, found: Headings, line: int) -> None:
    if part in places:
        raise ReadingsRefused(
            f"the headings '{found.names[places[part]]}' and '{found.names[place]}' mean the same. "
            "Keep one of the two columns, or say in the heading how they differ, as L*(D65/10).",
            line=line,
            column=found.names[place],
        )
    places[part] = place


def _field(text: str, place: int, found: Headings, line: int) -> None:
    if len(text) > LONGEST_NAME:
        found.ignored.append(found.names[place])
        return
    word = _SEPARATORS.sub("", text).replace("/", "")
    if word not in _FIELD_OF:
        found.ignored.append(found.names[place])
        return
    name, rank = _FIELD_OF[word]
    if name in found.fields and found.ranks[name] == rank:
        _claim({0: found.fields[name]}, 0, place, found, line)
    if name in found.fields and found.ranks[name] < rank:
        found.ignored.append(found.names[place])
        return
    if name in found.fields:
        found.ignored.append(found.names[found.fields[name]])
    found.fields[name] = place
    found.ranks[name] = rank


def coordinate(text: str, name: str) -> tuple[ChannelKey, int, bool] | None:
    """L*, lab_a, b45, "L* 15°", "as-15 a*", "b*(D65/10°)": key, part, and if its angle is bare."""
    if len(name) > LONGEST_NAME:
        return None
    found = _usual_coordinate(text, name) or _joined_coordinate(name)
    if found is not None and found[2] and found[0].angle == 10 and found[0].observer is None:
        # L*10 is how CIE 15 marks the 10° observer; no instrument reads at 10° from the gloss.
        return replace(found[0], angle=None, observer=10), found[1], False
    return found


def _joined_coordinate(name: str) -> tuple[ChannelKey, int, bool] | None:
    """45as15_LAB_L, LAB_L@15, LAB15_L, D65_LAB_L, LAB_L_M1, MEAN_LAB_L."""
    parts = parse(name)
    if parts is None or parts.nm is not None:
        return None
    word = without_means(parts.word)
    if word not in _COORDINATES or (len(word) == 1 and word != parts.word):
        return None
    if parts.bare and abs(parts.angle or 0) < 10:  # rather counts repeats than is an angle
        return None
    kind, part = _COORDINATES[word]
    if kind == "xyz" and len(word) == 1 and word.upper() not in name:
        return None
    return ChannelKey(kind, parts.angle, parts.illuminant, parts.observer), part, parts.bare


def _usual_coordinate(text: str, name: str) -> tuple[ChannelKey, int, bool] | None:
    illuminant, observer, angle, bare = None, None, None, False
    light = _LIGHT.search(text)
    if light:
        try:
            illuminant = condition_words.illuminant(light["light"])
        except ValueError:
            return None
        observer = int(light["observer"])
        text = text[: light.start()] + " " + text[light.end() :]
    if stated := _ANGLE_STATED.search(text):
        angle = int(stated["aspecular"] or stated["signed"] or stated["plain"])
        text = text[: stated.start()] + " " + text[stated.end() :]
    elif ended := _ANGLE_BARE.fullmatch(text.strip()):
        angle, bare = int(ended["angle"]), True
        text = ended["word"]
    word = _SEPARATORS.sub("", text)
    if word not in _COORDINATES or (angle is not None and not -90 <= angle <= 175):
        return None
    kind, part = _COORDINATES[word]
    if kind == "xyz" and len(word) == 1 and word in name:
        return None  # small x, y, z are chromaticities
    return ChannelKey(kind, angle, illuminant, observer), part, bare
