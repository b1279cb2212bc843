"""Names of single columns to what they hold: wavelengths, coordinates, and their conditions.

Exporters join the same few parts in any order and with any sign between: SPECTRAL_NM400, nm400,
R_400nm, "400 nm [%]", 45as15_LAB_L, LAB_L@15, D65_LAB_A, NM400_M1. So a name is cut into words
and numbers, and each part is understood by itself. (Spellings as seen in public files.)
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass

FIRST_NM, LAST_NM = 300.0, 1100.0
FIRST_ANGLE, LAST_ANGLE = -90, 175

LONGEST_NAME = 80  # of a column that means something
_DIGITS = "0123456789"
_ANY_DIGIT = re.compile(r"\d")
_TOKEN = re.compile(r"[^\W\d_]+\*?|[0-9]{1,7}(?:[.,][0-9]{1,6})?|\S")
_MEANS_REFLECTANCE = {
    *("", "r", "rem", "refl", "ref", "reflect", "reflectance", "reflection", "reflectivity"),
    *("reflectancefactor", "remission", "s", "sp", "spec", "spect", "spectral", "spectrum"),
    *("spectra", "w", "wl", "wave", "wavelength", "lambda", "λ", "band", "val", "value", "x"),
    *("spectralr", "spectralrefl", "spectralreflectance", "spectralval", "spectralvalue"),
    *("spectralwl", "spectralwavelength", "spectraldec"),
}
# What else stands in columns of one wavelength each and is no reflectance.
_OTHER_SPECTRA = {
    *("t", "tr", "trans", "transmittance", "transmission", "tau", "ks", "k", "abs", "absorbance"),
    *("a", "d", "dens", "density", "std", "stdev", "sd", "dev", "var", "unc", "u", "e", "em"),
    *("emission", "radiance", "rad", "irradiance", "counts", "power", "delta", "diff", "min"),
    *("max", "l", "b", "cmyk", "rgb", "c", "m", "y", "z", "id", "no", "sample", "patch"),
}
_DEGREES = {"°", "deg", "degs", "degree", "degrees"}
_DAYLIGHT, _LAMPS = (50, 55, 65, 75), (2, 7, 11)
_OBSERVERS = (2, 10)
_PASSED_OVER = {"nm", "angle", "obs", "observer", "ill", "illuminant"}
_MEANS = {"mean", "avg", "average", "meas", "measured"}
_FEWEST_OF_A_SERIES = 6


@dataclass(slots=True)
class FieldName:
    """The parts of one name."""

    word: str = ""  # its letters, joined, without those that are understood
    nm: float | None = None
    angle: int | None = None  # aspecular degrees
    bare: bool = False  # the angle is a number without any sign of being one
    illuminant: str | None = None
    observer: int | None = None
    percent: bool = False

    def is_reflectance(self) -> bool:
        """Whether the name is that of reflectance at one wavelength."""
        word = self.word.removesuffix("percent").removesuffix("pct")
        return self.nm is not None and word in _MEANS_REFLECTANCE


def parse(name: str) -> FieldName | None:
    """The parts of a name; None where one of its numbers can be taken in two ways."""
    if len(name) > LONGEST_NAME:
        return None
    text = unicodedata.normalize("NFKC", name).lower().replace("\u2212", "-")
    return _Parser(text).parsed()


class _Parser:
    """Goes through the tokens of a name once."""

    def __init__(self, text: str) -> None:
        self._text = text
        self._tokens = [(found[0], found.start()) for found in _TOKEN.finditer(text)]
        self._place = 0
        self._words: list[str] = []
        self._bare: list[float] = []
        self._at = False  # an @ stands before
        self._found = FieldName()

    def parsed(self) -> FieldName | None:
        while self._place < len(self._tokens):
            token = self._token()
            if not (self._number() if token[0] in _DIGITS else self._letters(token)):
                return None
        found = self._found
        if self._bare:
            if len(self._bare) > 1 or found.angle is not None or found.observer is not None:
                return None
            found.angle, found.bare = _angle(self._bare[0]), True
            if found.angle is None:
                return None
        found.percent |= any(word in ("pct", "percent") for word in self._words)
        found.percent |= "".join(self._words).endswith(("pct", "percent"))
        found.word = "".join(self._words)
        return found

    def _token(self, ahead: int = 0) -> str:
        place = self._place + ahead
        return self._tokens[place][0] if place < len(self._tokens) else ""

    def _value(self, ahead: int) -> float | None:
        token = self._token(ahead)
        return float(token.replace(",", ".")) if token and token[0] in _DIGITS else None

    def _number(self) -> bool:
        value = self._value(0)
        assert value is not None
        sign = self._sign()
        follower = self._token(1)
        self._place += 1
        if FIRST_NM <= value <= LAST_NM and self._found.nm is None:
            self._found.nm = value
            return True
        if follower == "as" and value in (0, 45):  # the angle of the light
            return True
        if sign == 0:  # a hyphen that may be a minus or a mere join
            return False
        if follower in _DEGREES:
            self._place += 1
            if value in _OBSERVERS and sign > 0:
                self._found.observer = int(value)
                return True
            return self._take_angle(sign * value)
        if self._at:
            return self._take_angle(sign * value)
        self._bare.append(sign * value)
        return True

    def _sign(self) -> int:
        """1 or -1; 0 where nobody can tell."""
        start = self._tokens[self._place][1]
        if start == 0 or self._text[start - 1] != "-":
            return 1
        before = self._text[start - 2] if start > 1 else "_"
        return 0 if before.isalnum() or before in "*)]" else -1

    def _take_angle(self, value: float) -> bool:
        angle = _angle(value)
        if angle is None or self._found.angle is not None:
            return False
        self._found.angle = angle
        return True

    def _letters(self, word: str) -> bool:
        self._place += 1
        value = self._value(0)
        whole = int(value) if value is not None and value == int(value) else None
        if word == "as":
            return self._aspecular()
        if word == "d" and whole in _DAYLIGHT:
            return self._light(f"D{whole}")
        if word in ("f", "fl") and whole in _LAMPS:
            return self._light(f"F{whole}")
        if word == "m" and whole is not None and whole <= 3:  # M0 to M3 of ISO 13655: the lamp
            self._place += 1
            return True
        if word in ("m", "minus", "neg") and whole is not None and 3 < whole <= 90:
            self._place += 1
            return self._take_angle(-whole)
        if word in _DEGREES and self._bare:
            return self._take_angle(self._bare.pop())
        if word == "%":
            self._found.percent = True
        elif word == "@":
            self._at = True
        elif word[0].isalpha() and word not in _PASSED_OVER:
            word = word.rstrip("*")
            self._words.append(word[:-2] if word.endswith("nm") else word)
        elif word in ("<", ">", "#", "?") or word.isalnum() and word not in _PASSED_OVER:
            return False
        return True

    def _aspecular(self) -> bool:
        """The number behind as, which may be negative: 45as15, as-15, asm15."""
        sign = 1
        if self._token() in ("-", "m", "minus"):
            sign = -1
            self._place += 1
        value = self._value(0)
        if value is None:
            self._words.append("as")
            return True
        self._place += 1
        if self._token() in _DEGREES:
            self._place += 1
        return self._take_angle(sign * value)

    def _light(self, name: str) -> bool:
        self._found.illuminant = name
        self._place += 1
        ahead = 1 if self._token() == "/" else 0
        if self._value(ahead) in _OBSERVERS:
            self._found.observer = int(self._value(ahead) or 0)
            self._place += ahead + 1
            if self._token() in _DEGREES:
                self._place += 1
        return True


def _angle(value: float) -> int | None:
    return int(value) if value == int(value) and FIRST_ANGLE <= value <= LAST_ANGLE else None


def without_means(word: str) -> str:
    """The letters of a name without a word that says it is a mean."""
    for mean in _MEANS:
        if word.startswith(mean) and len(word) > len(mean):
            return word[len(mean) :]
    return word


def spectral_names(names: Sequence[str]) -> dict[int, FieldName]:
    """The columns that hold reflectance at one wavelength, by their places.

    Beside the spellings that are known, any other word counts where it stands before
    wavelengths in even steps, since hardly anything else is named so.
    """
    found: dict[int, FieldName] = {}
    series: dict[tuple[str, int | None], dict[int, FieldName]] = {}
    for place, name in enumerate(names):
        if len(name) > LONGEST_NAME or not _ANY_DIGIT.search(name):
            continue
        parts = parse(name)
        if parts is None or parts.nm is None:
            continue
        if parts.is_reflectance():
            found[place] = parts
        elif parts.word not in _OTHER_SPECTRA:
            series.setdefault((parts.word, parts.angle), {})[place] = parts
    if not found:
        for places in series.values():
            if _even([parts.nm for parts in places.values() if parts.nm is not None]):
                found.update(places)
    return found


def _even(wavelengths: Sequence[float]) -> bool:
    if len(wavelengths) < _FEWEST_OF_A_SERIES:
        return False
    steps = {round(b - a, 3) for a, b in zip(wavelengths, wavelengths[1:], strict=False)}
    return len(steps) == 1 and 0 < abs(next(iter(steps))) <= 20
