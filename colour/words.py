"""The painter's words for a colour difference: how the sample lies beside the master.

Four pairs of words, the dominating one first: lighter/darker, redder/greener, yellower/bluer,
cleaner/greyer. The rules below are ours. They follow common practice in the trade (no source)
and keep one promise: no word ever contradicts the ΔL*, Δa*, Δb*, ΔC* printed beside it.

Which words
    *lighter, darker* by ΔL*.
    *Near a neutral* (silver, white, black: the master's C*ab below 5, or below 0.15 L*, which
    takes in off-whites and pale tints) any step away from grey is seen as a hue, so Δa* and Δb*
    are named directly and nothing is called cleaner or greyer. So too where the two colours
    lie on opposite sides of grey, which is no turn of hue any more.
    *On a colour* the step splits into chroma and hue. ΔC* gives cleaner or greyer. ΔH* turns the
    hue one way or the other, and the word is the hue it turns towards: a red can only turn
    yellower or bluer, a yellow redder or greener, a green yellower or bluer, a blue greener or
    redder; between those, an orange redder or yellower, and so on round. Where that word's own
    axis says otherwise (a red that turns yellow but also fades can lose b*), the word of the
    other axis is used; one of the two is always true.

Which comes first
    Each part is weighed as CIEDE2000 weighs it: ΔL'/S_L, ΔC'/S_C, ΔH'/S_H, and near a neutral
    Δa'/S_C and Δb*/S_C. A part is named when it reaches a third of the largest.

When nothing is said
    Parts below 0.3 are not named, and nothing is when the whole ΔE00 is below that. Common
    practice puts what a trained eye finds on pale neutrals edge to edge at 0.3 to 0.5 (no
    source). The published figure is 0.8, seen by half the observers (Paravina et al., 2015, on
    dental materials): from there on at least one word is always given.

Imports no numpy.
"""

from collections.abc import Sequence
from math import atan2, cos, degrees, isfinite, sin, sqrt
from typing import NamedTuple

from colour import one_pair
from colour.one_pair import Lab

NOTABLE = 0.3  # CIEDE2000 units
SEEN_BY_HALF = 0.8  # CIEDE2000 units
LEAST_SHARE = 1 / 3  # of the largest part
NEUTRAL_CHROMA = 5.0  # C*ab
NEUTRAL_SHARE_OF_LIGHTNESS = 0.15  # C*ab / L*
NO_WORDS = "no direction stands out"

# By the mean hue angle up to `end` degrees: the axis that names a clockwise turn and the one that
# names an anticlockwise turn. Sectors without a mixed name (red, yellow, green, blue) reach from
# their CIELAB axis to a little past the unique hue (about 24°, 90°, 162°, 246°; from memory).
_SECTORS = (
    (46.0, "b", "b"),  # red: bluer, yellower
    (67.5, "a", "b"),  # orange: redder, yellower
    (112.5, "a", "a"),  # yellow: redder, greener
    (140.0, "b", "a"),  # yellow green: yellower, greener
    (202.5, "b", "b"),  # green: yellower, bluer
    (225.0, "a", "b"),  # blue green: greener, bluer
    (292.5, "a", "a"),  # blue: greener, redder
    (337.5, "b", "a"),  # purple: bluer, redder
    (360.0, "b", "b"),  # red again
)


class Direction(NamedTuple):
    """One way in which the sample differs from the master."""

    word: str
    size: float  # what this part alone adds, in CIEDE2000 units


def words(master: Sequence[float], sample: Sequence[float]) -> str:
    """The difference in words, for instance "bluer and darker".

    Parameters
    ----------
    master, sample : sequence of 3 floats
        CIELAB colours under the same conditions.

    Returns
    -------
    str
        One to three words, the dominating one first, or "no direction stands out".
    """
    named = [direction.word for direction in directions(master, sample)]
    if not named:
        return NO_WORDS
    return " and ".join(part for part in (", ".join(named[:-1]), named[-1]) if part)


def directions(master: Sequence[float], sample: Sequence[float]) -> tuple[Direction, ...]:
    """The notable directions, the dominating one first.

    Parameters
    ----------
    master, sample : sequence of 3 floats
        CIELAB colours under the same conditions.

    Returns
    -------
    tuple of Direction
        Empty when nothing stands out.
    """
    first, second = _lab(master, "master"), _lab(sample, "sample")
    parts = sorted(_parts(first, second), key=lambda part: -part.size)
    delta_e = one_pair.delta_e_2000(first, second)
    if delta_e < NOTABLE or not parts:
        return ()
    least = max(NOTABLE, LEAST_SHARE * parts[0].size)
    named = tuple(part for part in parts if part.size >= least)
    if not named and delta_e >= SEEN_BY_HALF:
        return (parts[0],)
    return named


def is_neutral(colour: Sequence[float]) -> bool:
    """Whether a step from this colour is named by Δa* and Δb* instead of chroma and hue."""
    lightness, a, b = _lab(colour, "colour")
    return sqrt(a * a + b * b) < max(NEUTRAL_CHROMA, NEUTRAL_SHARE_OF_LIGHTNESS * lightness)


def _parts(master: Lab, sample: Lab) -> list[Direction]:
    steps = one_pair.steps_2000(master, sample)
    plain = one_pair.components(master, sample)
    parts = []
    if plain.delta_l:
        word = "lighter" if plain.delta_l > 0 else "darker"
        parts.append(Direction(word, abs(steps.delta_l) / steps.s_l))
    if is_neutral(master) or master[1] * sample[1] + master[2] * sample[2] < 0:
        if plain.delta_a:
            size = abs(steps.sample_a - steps.master_a) / steps.s_c
            parts.append(Direction(_word("a", plain.delta_a), size))
        if plain.delta_b:
            parts.append(Direction(_word("b", plain.delta_b), abs(plain.delta_b) / steps.s_c))
        return parts
    # C' stretches a*, so ΔC' and ΔC* can differ in sign; then neither word would be honest.
    if plain.delta_c * steps.delta_c > 0:
        word = "cleaner" if plain.delta_c > 0 else "greyer"
        parts.append(Direction(word, abs(steps.delta_c) / steps.s_c))
    if plain.delta_h:
        word = _hue_word(master, sample, plain)
        parts.append(Direction(word, abs(steps.delta_h) / steps.s_h))
    return parts


def _word(axis: str, delta: float) -> str:
    if axis == "a":
        return "redder" if delta > 0 else "greener"
    return "yellower" if delta > 0 else "bluer"


def _hue_word(master: Lab, sample: Lab, plain: one_pair.Components[float]) -> str:
    """The word for a turn of hue; ``plain.delta_h`` is not zero."""
    _, a1, b1 = master
    _, a2, b2 = sample
    c1, c2 = sqrt(a1 * a1 + b1 * b1), sqrt(a2 * a2 + b2 * b2)
    mean_hue = atan2(b1 / c1 + b2 / c2, a1 / c1 + a2 / c2)
    anticlockwise = plain.delta_h > 0
    hue_deg = degrees(mean_hue) % 360.0
    clockwise_axis, anticlockwise_axis = next(axes for end, *axes in _SECTORS if hue_deg <= end)
    axis = anticlockwise_axis if anticlockwise else clockwise_axis
    turn = 1.0 if anticlockwise else -1.0
    towards = {"a": -turn * sin(mean_hue), "b": turn * cos(mean_hue)}
    moved = {"a": plain.delta_a, "b": plain.delta_b}
    if towards[axis] * moved[axis] <= 0:
        # The turn's own direction has a positive share of the whole step, so where one axis
        # does not go along with it, the other does.
        axis = "b" if axis == "a" else "a"
    return _word(axis, moved[axis])


def _lab(colour: Sequence[float], name: str) -> Lab:
    try:
        lightness, a, b = colour
        lab = float(lightness), float(a), float(b)
    except (TypeError, ValueError):
        raise ValueError(
            f"{name} must be one colour, three numbers L*, a*, b*, got {colour!r}"
        ) from None
    if not all(isfinite(value) for value in lab):
        raise ValueError(f"{name} must be finite to be put in words, got {lab}")
    return lab
