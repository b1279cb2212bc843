"""L*, a*, b* typed into fields of their own, repeat by repeat, as an instrument shows them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial

from service.domain.records.measuring import AngleReading, Lab
from service.domain.refused import Invalid
from service.web.forms import Form
from service.web.pages.bench_forms import Gathering

AXES = ("L", "a", "b")


@dataclass(frozen=True, slots=True)
class TypedAngle:
    """The fields of one angle; ``key`` is its part of their names."""

    angle: int | None

    @property
    def key(self) -> str:
        return "only" if self.angle is None else str(self.angle)

    @property
    def where(self) -> str:
        """At which angle, for a sentence."""
        return "" if self.angle is None else f" at {self.angle}°"

    def name(self, repeat: int, axis: str) -> str:
        """The name of a field."""
        return f"lab.{self.key}.{repeat}.{axis}"


def angles_typed(form: Form, asked: Sequence[TypedAngle], repeats: int) -> tuple[AngleReading, ...]:
    """The repeats that were typed, angle by angle; a repeat must be whole, an angle need not be.

    Raises
    ------
    FormRefused
        Naming every field that cannot be taken.
    """
    gathering = Gathering(form)
    found: list[AngleReading] = []
    for one in asked:
        read = [gathering.take(partial(_repeat, form, one, n), None) for n in range(repeats)]
        whole = tuple(lab for lab in read if lab is not None)
        if whole:
            reading = gathering.take(partial(_at_angle, one, whole), None)
            found += [reading] if reading is not None else []
    gathering.done()
    if not found:
        raise Invalid(
            asked[0].name(0, AXES[0]), "No colour was typed. Enter at least one L*, a*, b*."
        )
    return tuple(found)


def _at_angle(asked: TypedAngle, repeats: tuple[Lab, ...]) -> AngleReading:
    try:
        return AngleReading(angle=asked.angle, repeats=repeats)
    except Invalid as invalid:
        raise Invalid(asked.name(0, AXES[0]), str(invalid)) from invalid


def _repeat(form: Form, asked: TypedAngle, repeat: int) -> Lab | None:
    values = [form.number(asked.name(repeat, axis)) for axis in AXES]
    if all(value is None for value in values):
        return None
    for axis, value in zip(AXES, values, strict=True):
        if value is None:
            raise Invalid(
                asked.name(repeat, axis),
                f"{axis}* of reading {repeat + 1}{asked.where} is missing. "
                "Read it again, or type it.",
            )
    l, a, b = (value or 0.0 for value in values)  # noqa: E741  the standard's own name
    return (l, a, b)
