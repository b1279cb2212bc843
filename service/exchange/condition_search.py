"""Conditions found in the free text that headers of exchange files hold; nothing is guessed.

What a text says twice and differently is left open, and so is a name this program has no rule
for; both are told.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import TypeVar

from service.domain.terms import Specular
from service.exchange import condition_words
from service.exchange.readings import Conditions, FileWarning

T = TypeVar("T")

_DAYLIGHT = r"D\s?50|D\s?55|D\s?65|D\s?75|F(?:L)?\s?1[0-2]|F(?:L)?\s?[1-9]|LED-?[A-Z]{1,3}\d"
# Without a word before it, only a name that is hardly anything else.
_SURE = r"D\s?50|D\s?55|D\s?65|D\s?75|FL?\s?(?:2|7|11)|LED-?B[1-5]"
_LIGHT_KEYED = re.compile(
    rf"(?<![a-z])(?:illuminant|illumination|illuminant_name|light(?:\s?source)?)\s*[=:,]?\s*"
    rf"(?P<light>(?:CIE\s*)?(?:{_DAYLIGHT}|[ACE](?![a-z])))(?![0-9])",
    re.I,
)
_LIGHT_ALONE = re.compile(rf"(?<![A-Za-z0-9])(?P<light>{_SURE})(?![0-9A-Za-z])")
_OBSERVER_KEYED = re.compile(
    r"(?<![a-z])(?:observer|observerangle|observer[ _]angle|obs)\s*[=:,]?\s*"
    r"(?P<angle>10|2|1931|1964)(?![0-9])",
    re.I,
)
_OBSERVER_ALONE = re.compile(
    r"(?<![0-9.])(?P<angle>10|2)\s*(?:°|º|˚|_?deg)(?!\s*[CF]\b)"
    r"|(?<![A-Za-z0-9])D\s?(?:50|55|65|75)\s*[/-]\s*(?P<slashed>10|2)(?![0-9])"
    r"|CIE[ _]?(?P<year>1931|1964)",
    re.I,
)
_GEOMETRY = re.compile(
    r"(?<![0-9A-Za-z])(?P<sides>45\s*[acx]?\s*°?\s*[:/]\s*0|0\s*°?\s*[:/]\s*45\s*[acx]?"
    r"|d[ie]?\s*[:/]\s*[08]|[08]\s*°?\s*[:/]\s*d[ie]?)\s*°?(?![0-9])",
    re.I,
)
_SPECULAR = re.compile(
    r"(?<![a-z])(?P<mode>SCI|SCE|SPIN|SPEX|RSIN|RSEX)(?![a-z])"
    r"|specular(?:[ _]component)?[ _]?(?:=|:)?\s*(?P<word>in(?:cluded)?|ex(?:cluded)?)(?![a-z])",
    re.I,
)
_ASPECULAR = re.compile(
    r"(?<![a-z])(?:45\s*)?as\s*(?P<angle>-?\d{1,3})(?!\d)"
    r"|(?<![\d.])(?P<degrees>-?\d{1,3})\s*(?:°|deg|degrees?)?[\s,]*aspecular"
    r"|aspecular(?:[ _]angle)?\s*[:=]?\s*(?P<named>-?\d{1,3})(?!\d)",
    re.I,
)


@dataclass(slots=True)
class Said:
    """What the texts of one header say; several different values of one thing are kept all."""

    illuminants: list[str] = field(default_factory=list)
    observers: list[int] = field(default_factory=list)
    geometries: list[str] = field(default_factory=list)
    speculars: list[Specular] = field(default_factory=list)
    angles: list[int] = field(default_factory=list)
    not_understood: list[str] = field(default_factory=list)

    def conditions(self) -> Conditions:
        """Each condition that is said once, or always alike."""
        return Conditions(
            illuminant=_only(self.illuminants),
            observer=_only(self.observers),
            geometry=_only(self.geometries),
            specular=_only(self.speculars),
        )

    def angle(self) -> int | None:
        """The aspecular angle, if one is said."""
        return _only(self.angles)

    def contradictions(self) -> list[str]:
        """What is said in several ways, in words."""
        named: dict[str, Sequence[object]] = {
            "illuminant": self.illuminants,
            "observer": self.observers,
            "geometry": self.geometries,
            "specular": self.speculars,
            "angle": self.angles,
        }
        return [
            f"{name} {' and '.join(str(value) for value in dict.fromkeys(values))}"
            for name, values in named.items()
            if len(set(values)) > 1
        ]

    def read_free(self, text: str) -> None:
        """Take what a free text says in a form that means nothing else."""
        lights = [*_LIGHT_KEYED.finditer(text), *_LIGHT_ALONE.finditer(text)]
        for match in lights:
            self.add_illuminant(match["light"])
        for match in [*_OBSERVER_KEYED.finditer(text), *_OBSERVER_ALONE.finditer(text)]:
            group = match.groupdict()
            self.add_observer(group["angle"] or group.get("slashed") or group.get("year") or "")
        for match in _GEOMETRY.finditer(text):
            self.add_geometry(match["sides"])
        for match in _SPECULAR.finditer(text):
            self.speculars.append(condition_words.specular(match["mode"] or match["word"]))
        self.angles += _angles_in(text)

    def add_illuminant(self, text: str) -> bool:
        """Whether the whole text names an illuminant, which is then taken."""
        try:
            light, angle = condition_words.illuminant_and_observer(text)
        except ValueError:
            return False
        self.illuminants.append(light)
        if angle is not None:
            self.observers.append(angle)
        return True

    def add_observer(self, text: str) -> bool:
        """Whether the whole text names a standard observer, which is then taken."""
        try:
            self.observers.append(condition_words.observer(text))
        except ValueError:
            return False
        return True

    def add_geometry(self, text: str) -> bool:
        """Whether the whole text is a geometry of a known form, which is then taken."""
        try:
            geometry, specular = condition_words.geometry(text)
        except ValueError:
            return False
        if not condition_words.geometry_is_known(geometry):
            return False
        self.geometries.append(geometry)
        if specular is not None:
            self.speculars.append(specular)
        return True

    def warnings(self, where: str) -> Iterable[FileWarning]:
        """What was left open though the file speaks of it."""
        for text in self.contradictions():
            yield FileWarning(
                code="conditions_contradict",
                message=f"{where} states {text}; it was left open. State the one that holds.",
            )
        if self.not_understood:
            listed = ", ".join(f"'{text}'" for text in dict.fromkeys(self.not_understood))
            yield FileWarning(
                code="condition_not_understood",
                message=f"{where} states {listed}, which this program does not know; it was left "
                "open.",
            )


def _angles_in(text: str) -> list[int]:
    return [
        int(match["angle"] or match["degrees"] or match["named"])
        for match in _ASPECULAR.finditer(text)
    ]


def angle_of_title(text: str) -> int | None:
    """The aspecular angle a title holds in a form that means nothing else, as 45as15."""
    found = re.findall(r"(?i)(?<![a-z0-9])(?:45|0)\s*as\s*(-?\d{1,3})(?!\d)", text)
    return int(found[0]) if len(set(found)) == 1 else None


def _only(values: list[T]) -> T | None:
    return values[0] if len(set(values)) == 1 else None
