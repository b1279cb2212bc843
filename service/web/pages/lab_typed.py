"""L*, a*, b* as an instrument shows them: in fields of their own repeat by repeat, or as rows."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial

from service.domain.records.measuring import AngleReading, Lab
from service.domain.refused import Invalid
from service.web.forms import Form
from service.web.pages.angle_rows import rows_of
from service.web.pages.bench_forms import Gathering

AXES = ("L", "a", "b")
ROWS = "rows"


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

    Those typed as rows come after those in the fields, and may be at angles nobody asked for.

    Raises
    ------
    FormRefused
        Naming every field that cannot be taken.
    """
    gathering = Gathering(form)
    found: dict[int | None, list[Lab]] = {one.angle: [] for one in asked}
    in_fields: dict[int | None, str] = {}
    for one in asked:
        for repeat in range(repeats):
            lab = gathering.take(partial(_repeat, form, one, repeat), None)
            if lab is not None:
                found[one.angle].append(lab)
                in_fields[one.angle] = one.name(0, AXES[0])
    wanted = [one.angle for one in asked]
    for angle, lab in gathering.take(lambda: rows_of(ROWS, form.value(ROWS), wanted), []):
        found.setdefault(angle, []).append(lab)
    readings = [
        gathering.take(partial(_at_angle, in_fields.get(angle, ROWS), angle, labs), None)
        for angle, labs in found.items()
        if labs
    ]
    gathering.done()
    if not readings:
        raise Invalid(
            asked[0].name(0, AXES[0]), "No colour was typed. Enter at least one L*, a*, b*."
        )
    return tuple(reading for reading in readings if reading is not None)


def _at_angle(field: str, angle: int | None, repeats: Sequence[Lab]) -> AngleReading:
    try:
        return AngleReading(angle=angle, repeats=tuple(repeats))
    except Invalid as invalid:
        raise Invalid(field, str(invalid)) from invalid


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
