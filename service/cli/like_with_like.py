"""What two readings files state that stands against comparing them; what they leave open is said.

The record judges with the whole history of both cards; here only the files speak. The grades
are those of service.domain.comparability, and so are the codes.
"""

from __future__ import annotations

from math import atan2, degrees, hypot
from typing import NamedTuple

from service.cli.ports import Lab, SampleRead
from service.domain.terms import Stage


class Side(NamedTuple):
    """One side of a comparison: the repeats at one angle, and what its file states."""

    name: str  # of the file, for messages
    labs: tuple[Lab, ...]
    angle: int | None
    sample: SampleRead
    temperatures_c: tuple[float, ...]
    warnings: tuple[tuple[str, str], ...] = ()  # code and message, of the file

    def mean(self) -> Lab:
        """Of the repeats, as Lab."""
        count = len(self.labs)
        lightness, a, b = (sum(axis) / count for axis in zip(*self.labs, strict=True))
        return lightness, a, b


class Against(NamedTuple):
    """One thing that stands against the comparison, with its remedy."""

    code: str
    text: str


_CONDITIONS = (
    ("illuminant", "The illuminant", "under {}"),
    ("observer", "The observer", "for the {}° observer"),
    ("geometry", "The geometry", "at {}"),
    ("specular", "The specular reflection", "with it {}"),
)


def stops(master: Side, card: Side) -> list[Against]:
    """Why the numbers do not belong together; every reason at once."""
    found = []
    for name, words, how in _CONDITIONS:
        one = getattr(master.sample.conditions, name)
        other = getattr(card.sample.conditions, name)
        if one is not None and other is not None and one != other:
            found.append(
                Against(
                    f"unlike_{name}",
                    f"{words} is {one} in {master.name} and {other} in {card.name}. "
                    f"Read the card again {how.format(one)}.",
                )
            )
    if master.angle != card.angle:
        shown = ["no stated angle" if s.angle is None else f"{s.angle}°" for s in (master, card)]
        found.append(
            Against(
                "unlike_angle",
                f"{master.name} was read at {shown[0]}, {card.name} at {shown[1]}. "
                "Read both at one angle.",
            )
        )
    found += [
        Against("wet", f"{side.name} was read wet. Let it dry and read it again.")
        for side in (master, card)
        if _stage(side) is Stage.WET
    ]
    if None not in (_stage(master), _stage(card)) and _cleared(master) != _cleared(card):
        bare = card if _cleared(master) else master
        found.append(
            Against(
                "unlike_clear",
                f"{bare.name} was read without clear and the other with it. Clear it and read it "
                "again, or compare the bare zones.",
            )
        )
    return found


def only_cannot_tell(master: Side, card: Side) -> list[Against]:
    """Why the paint or its temperature was not alike enough for more than 'cannot tell'."""
    found = []
    stages = {_stage(master), _stage(card)}
    if Stage.CLEARED in stages and stages & {Stage.BAKED, Stage.POLISHED}:
        raw = card if _stage(card) is Stage.CLEARED else master
        found.append(
            Against(
                "never_baked",
                f"{raw.name} was read before its bake and the other after. Bake it, let it cool "
                "and read it again.",
            )
        )
    return found + _warmth(master, card)


def left_open(master: Side, card: Side) -> list[str]:
    """Conditions that were not compared because a file does not state them."""
    return [
        words.removeprefix("The ")
        for name, words, _ in _CONDITIONS
        if None in (getattr(s.sample.conditions, name) for s in (master, card))
        and not (name == "specular" and _directional(master) and _directional(card))
    ]


def _directional(side: Side) -> bool:
    geometry = side.sample.conditions.geometry
    return side.angle is not None or (geometry is not None and "d" not in geometry)


def _stage(side: Side) -> Stage | None:
    return None if side.sample.stage is None else Stage(side.sample.stage)


def _cleared(side: Side) -> bool:
    stage = _stage(side)
    return stage is not None and stage.is_cleared


def _warmth(master: Side, card: Side) -> list[Against]:
    if not master.temperatures_c and not card.temperatures_c:
        return []
    from service.domain.comparability import (
        MEASURING_TEMPERATURE_C,
        WARM_BY_C,
        WARM_BY_C_OTHER_HUES,
    )

    _, a, b = master.mean()
    hue = degrees(atan2(b, a)) % 360
    strict = hypot(a, b) > 5 and (hue >= 330 or hue <= 110)
    allowed = WARM_BY_C if strict else WARM_BY_C_OTHER_HUES
    found = [
        Against(
            "warm",
            f"{side.name} was at {max(side.temperatures_c):g} °C when it was read. Let it cool to "
            f"about {MEASURING_TEMPERATURE_C:g} °C and read it again.",
        )
        for side in (master, card)
        if side.temperatures_c and max(side.temperatures_c) - MEASURING_TEMPERATURE_C > allowed
    ]
    every = (*master.temperatures_c, *card.temperatures_c)
    both = master.temperatures_c and card.temperatures_c
    if both and not found and max(every) - min(every) > allowed:
        found.append(
            Against(
                "warm",
                f"The readings were taken {max(every) - min(every):g} °C apart. Read both at one "
                "temperature.",
            )
        )
    return found
