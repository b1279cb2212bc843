"""Several angles: which sets of them there are, how far lightness falls over them, and in words.

Angles are aspecular: degrees from the mirror reflection of the light, positive towards the normal
of the surface (ASTM E2539). Close to the mirror is the face of a metallic, far from it the flop.

The flop index is Alman's ("Directional color measurement of metallic flake finishes", ISCC
Williamsburg Conference on Appearance, 1987). Formula from memory: that paper was not to be had,
nor another that quotes it. What two public glossaries say of the index agrees with it: 0 for a
solid, 15 to 17 for a very strong flop.

The words are ours and follow common practice in the trade (no source): face, middle and flop,
lighter or darker, and a paint that travels more falls further from face to flop. None is said of
what the noise of the readings may bring, and none contradicts the ΔL* printed beside it.

Imports no numpy.
"""

import re
from collections.abc import Mapping
from math import hypot, isfinite, nan, sqrt
from typing import NamedTuple

from colour import one_pair
from colour.words import NOTABLE, SEEN_BY_HALF

METAL_FLAKE = (15, 45, 110)
"""ASTM E2194 asks for three angles for metal flake; these degrees of it from memory."""
FIVE_ANGLES = (15, 25, 45, 75, 110)
"""The usual set of multi-angle instruments, as in DIN 6175 and, for interference pigments, within
ASTM E2539 (both from memory)."""
SIX_ANGLES = (-15, *FIVE_ANGLES)
"""The same and one on the other side of the mirror, where interference pigments show another
colour (from memory)."""
NEAREST_TO_THE_LIGHT, NEAREST_TO_THE_SURFACE = -90, 175  # aspecular degrees that can be
MOST_ANGLES = 24

FACE, MIDDLE, FLOP = METAL_FLAKE  # the three the index is made of

_SCALE, _FALL, _BODY = 2.69, 1.11, 0.86
LEAST_FLOP, STRONG_FLOP = 1.0, 15.0  # the upper from those glossaries, the lower is ours


def aspecular_degrees(value: object) -> int:
    """An aspecular angle, however it was written: 15, "15°", "−15", "as 110", "75.0 deg".

    Raises
    ------
    ValueError
        What is no whole number of degrees, or no angle an instrument can look from.
    """
    text = str(value).strip().replace("\N{MINUS SIGN}", "-").replace("\N{EN DASH}", "-")
    found = re.fullmatch(
        r"(?:as)?\s*([+-]?\d{1,3})(?:[.,]0*)?\s*(?:°|deg(?:rees?)?)?", text, re.IGNORECASE
    )
    if found is None or isinstance(value, bool):
        raise ValueError(f"{text!r} is not an angle. Write whole aspecular degrees, as 15 or -15.")
    degrees = int(found[1])
    if not NEAREST_TO_THE_LIGHT <= degrees <= NEAREST_TO_THE_SURFACE:
        raise ValueError(
            f"The angle cannot be {degrees}°. Aspecular degrees go from {NEAREST_TO_THE_LIGHT} "
            f"to {NEAREST_TO_THE_SURFACE}."
        )
    return degrees


def angle_set(text: str) -> tuple[int, ...]:
    """The angles somebody typed in one field, in ascending order.

    By commas, semicolons, spaces, slashes or "and"; empty text is no angle.

    Raises
    ------
    ValueError
        An angle that is none, one named twice, or too many.
    """
    tied = re.sub(r"([+\-\N{MINUS SIGN}\N{EN DASH}])\s+(?=\d)", r"\1", text)
    tied = re.sub(r"\s+(?=°|deg)|\bas\s*(?=\S*\d)", "", tied, flags=re.IGNORECASE)
    pieces = [piece for piece in re.split(r"[,;/\s]+|\band\b", tied, flags=re.IGNORECASE) if piece]
    angles = [aspecular_degrees(piece) for piece in pieces]
    twice = [angle for angle in angles if angles.count(angle) > 1]
    if twice:
        raise ValueError(f"{twice[0]}° stands twice. Name each angle once.")
    if len(angles) > MOST_ANGLES:
        raise ValueError(f"{len(angles)} angles were named. Name {MOST_ANGLES} at most.")
    return tuple(sorted(angles))


class FlopIndex(NamedTuple):
    """How far lightness falls from face to flop: 0 a solid, 15 to 17 a very strong metallic."""

    value: float
    standard_uncertainty: float | None  # None when the noise of a reading is not known

    @property
    def words(self) -> str:
        """Whether a flop stands out of the noise, and whether it is a strong one."""
        noise = 2 * (self.standard_uncertainty or 0.0)
        if self.value < max(LEAST_FLOP, noise):
            return "no flop stands out"
        return "a strong flop" if self.value >= STRONG_FLOP else "some flop"


def flop_index(
    lightness: Mapping[int, float], uncertainty: Mapping[int, float | None] | None = None
) -> FlopIndex | None:
    """Alman's flop index, 2.69 (L*15 - L*110)^1.11 / (L*45)^0.86; formula from memory.

    Parameters
    ----------
    lightness : mapping of int to float
        L* by aspecular degrees.
    uncertainty : mapping of int to float, optional
        Standard uncertainty of each L*, taken to be independent.

    Returns
    -------
    FlopIndex or None
        None without L* at 15°, 45° and 110°, and where L* at 45° is not above zero: there the
        index grows without bound. A flop lighter than the face, as noise on a solid has it, is
        an index of 0.
    """
    if not all(isfinite(lightness.get(angle, nan)) for angle in METAL_FLAKE):
        return None
    at = [float(lightness[angle]) for angle in METAL_FLAKE]
    if at[1] <= 0:
        return None
    known = [(uncertainty or {}).get(angle) for angle in METAL_FLAKE]
    return FlopIndex(_index(*at), _doubt(at, known))


def _index(face: float, middle: float, flop: float) -> float:
    fall = max(face - flop, 0.0)
    return float(_SCALE * fall**_FALL / middle**_BODY)


def _doubt(at: list[float], known: list[float | None]) -> float | None:
    """By the larger of the steps that one standard uncertainty up or down makes, angle by angle.

    A gradient would vanish where there is no fall, and promise an index of exactly zero.
    """
    index = _index(*at)
    square = 0.0
    for place, figure in enumerate(known):
        if figure is None or (place == 1 and figure >= at[1]):
            return None
        moved = [list(at), list(at)]
        moved[0][place] -= figure
        moved[1][place] += figure
        square += max(abs(_index(l15, l45, l110) - index) for l15, l45, l110 in moved) ** 2
    return sqrt(square)


class Place(NamedTuple):
    """A card beside its master at one of the places: face, middle or flop."""

    name: str
    angle: int
    delta_l: float  # card less master
    size: float  # what it adds, in CIEDE2000 units, signed
    expanded_uncertainty: float | None  # k = 2, same units; None when not known
    word: str  # lighter, darker, or empty when nothing stands out of the noise


class FlopDifference(NamedTuple):
    """How a card's face and flop lie beside its master's."""

    places: tuple[Place, ...]
    travel: float  # how much further L* falls from face to flop than the master's; L* units
    travels: str  # more, less, or empty when nothing stands out of the noise

    @property
    def words(self) -> str:
        """Lighter at the face, darker at the flop, so it travels more; empty when nothing is."""
        said = []
        for word in dict.fromkeys(place.word for place in self.places if place.word):
            names = [f"the {place.name}" for place in self.places if place.word == word]
            listed = " and ".join(filter(None, (", ".join(names[:-1]), names[-1])))
            said.append(f"{word} at {listed}")
        if not self.travels:
            return ", ".join(said)
        travels = f"travels {self.travels}"
        return f"{', '.join(said)}, so it {travels}" if said else travels


def flop_difference(
    master: Mapping[int, float],
    card: Mapping[int, float],
    uncertainty: Mapping[int, float | None] | None = None,
) -> FlopDifference | None:
    """How a card's face, middle and flop lie beside its master's, in lightness.

    A step is named from 0.3 on in CIEDE2000 units when it is beyond its expanded uncertainty
    (k = 2); where the noise is not known, from 0.8 on, which half of the observers see.

    Parameters
    ----------
    master, card : mapping of int to float
        L* by aspecular degrees.
    uncertainty : mapping of int to float, optional
        Standard uncertainty of the difference of the two, by angle.

    Returns
    -------
    FlopDifference or None
        None unless both have L* at 15° and at 110°, or as near to these as the angles of common
        sets are: 25° for the face, 75° for the flop. The middle is 45°, and may be missing.
    """
    shared = {
        angle for angle in master if isfinite(master[angle]) and isfinite(card.get(angle, nan))
    }
    face = next((angle for angle in (FACE, 25) if angle in shared), None)
    flop = next((angle for angle in (FLOP, 75) if angle in shared), None)
    if face is None or flop is None:
        return None
    named = [("face", face), ("middle", MIDDLE), ("flop", flop)]
    places = tuple(
        _place(name, angle, master[angle], card[angle], (uncertainty or {}).get(angle))
        for name, angle in named
        if angle in shared
    )
    travel = places[0].delta_l - places[-1].delta_l
    size = places[0].size - places[-1].size
    noise = [(uncertainty or {}).get(angle) for angle in (face, flop)]
    in_l = _both(*(None if figure is None else 2 * figure for figure in noise))
    in_size = _both(places[0].expanded_uncertainty, places[-1].expanded_uncertainty)
    travels = ""
    # Lightness weighs less at a bright face, so one can be there without the other, or the other
    # way round; then nothing is said.
    if travel * size > 0 and _stands_out(travel, in_l) and _stands_out(size, in_size):
        travels = "more" if travel > 0 else "less"
    return FlopDifference(places, travel, travels)


def _place(name: str, angle: int, master: float, card: float, doubt: float | None) -> Place:
    weight = one_pair.steps_2000((master, 0.0, 0.0), (card, 0.0, 0.0)).s_l
    size = (card - master) / weight
    expanded = None if doubt is None else 2 * doubt / weight
    word = ""
    if _stands_out(size, expanded):
        word = "lighter" if size > 0 else "darker"
    return Place(name, angle, card - master, size, expanded, word)


def _both(one: float | None, other: float | None) -> float | None:
    return None if one is None or other is None else hypot(one, other)


def _stands_out(size: float, expanded: float | None) -> bool:
    if expanded is None:
        return abs(size) >= SEEN_BY_HALF
    return abs(size) >= max(NOTABLE, expanded)
