"""Forms of the bench as their templates see them: what was typed, else what the last one had."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, fields
from datetime import datetime
from enum import StrEnum
from functools import partial
from typing import Any, TypeVar
from zoneinfo import ZoneInfo

from service.domain.records.spraying import Coat
from service.domain.refused import Invalid
from service.use_cases.spraying import GunSetUp
from service.web.filters import UNIT_FACTORS
from service.web.forms import Form, FormError, FormRefused

D = TypeVar("D")
E = TypeVar("E")

Start = Mapping[str, str | Sequence[str]]
"""What a form starts with, by the names of its fields; several values for a set of boxes."""


@dataclass(frozen=True, slots=True)
class Option:
    """One choice of a field."""

    value: str
    text: str
    hint: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Filled:
    """A form together with what it starts with, for templates."""

    form: Form
    start: Start = field(default_factory=dict)

    @property
    def id(self) -> str:
        """The id of the entry the form makes."""
        return self.form.id

    @property
    def errors(self) -> tuple[FormError, ...]:
        """What is wrong with it."""
        return self.form.errors

    def error(self, name: str) -> str:
        """What is wrong with one field."""
        return self.form.error(name)

    def value(self, name: str, default: str = "") -> str:
        """What stands in a field."""
        given = self.start.get(name, default)
        return self.form.value(name, given if isinstance(given, str) else default)

    def wrong(self, *names: str) -> bool:
        """Whether anything is wrong with one of these fields, so that they must be seen."""
        return any(self.form.error(name) for name in names)

    def has(self, name: str, value: str) -> bool:
        """Whether one box of a set is ticked."""
        if self.form.sent:
            return value in self.form.values(name)
        given = self.start.get(name, ())
        return value == given if isinstance(given, str) else value in given


class Gathering:
    """Reads the parts of a form one by one and remembers every refusal, in order."""

    def __init__(self, form: Form) -> None:
        self._form = form
        self._failed = False

    def take(self, read: Callable[[], D], otherwise: E) -> D | E:
        """What a part reads as; ``otherwise`` when it is refused, for the reading to go on."""
        try:
            return read()
        except (Invalid, FormRefused) as refusal:
            self._form.refuse(refusal)
            self._failed = True
            return otherwise

    def done(self) -> None:
        """Refuse the form when any part was refused."""
        if self._failed:
            raise FormRefused(self._form.errors)


class Kind(StrEnum):
    """What a number with a choice of units measures."""

    TEMPERATURE = "temperature"
    PRESSURE = "pressure"
    LENGTH = "length"


UNITS: Mapping[Kind, tuple[Option, ...]] = {
    Kind.TEMPERATURE: (Option("C", "°C"), Option("F", "°F")),
    Kind.PRESSURE: (Option("bar", "bar"), Option("psi", "psi")),
    Kind.LENGTH: (Option("mm", "mm"), Option("in", "in")),
}
"""Units a number may be typed in; the first is the one it is kept in."""


def unit_field(name: str) -> str:
    """The field that says in which unit the number of another was typed."""
    return f"{name}.unit"


def in_kept_unit(form: Form, name: str, kind: Kind) -> float | None:
    """A number as it is kept (°C, bar, mm), whichever unit it was typed in."""
    typed = form.number(name)
    if typed is None:
        return None
    kept = UNITS[kind][0].value
    unit = form.value(unit_field(name), kept) or kept
    if unit == kept:
        return typed
    if unit not in [option.value for option in UNITS[kind]]:
        known = " or ".join(option.text for option in UNITS[kind])
        raise Invalid(name, f"The unit {unit!r} is unknown here. Pick {known}.")
    if kind is Kind.TEMPERATURE:
        return round((typed - 32) * 5 / 9, 6)
    # Rounded so that 29 psi does not come back as 28.999999 psi.
    return round(typed * UNIT_FACTORS[kept, unit], 6)


SET_UP_UNITS: Mapping[str, Kind] = {
    "booth_temperature_c": Kind.TEMPERATURE,
    "pressure_bar": Kind.PRESSURE,
    "distance_mm": Kind.LENGTH,
}


def read_set_up(form: Form, prefix: str = "set_up.") -> GunSetUp:
    """How it was sprayed, from the fields of a prefix."""
    return read_with_units(form, GunSetUp, prefix, SET_UP_UNITS)


def read_with_units(
    form: Form, kind: type[D], prefix: str, units: Mapping[str, Kind], **fixed: Any
) -> D:
    """A dataclass from a form some of whose numbers were typed in a unit of choice."""
    given = dict(fixed)
    gathering = Gathering(form)
    for name, measures in units.items():
        number = gathering.take(partial(in_kept_unit, form, prefix + name, measures), None)
        # A refused number is not asked for again as one that is missing.
        if number is not None or form.error(prefix + name):
            given[name] = number
    found = gathering.take(lambda: form.read(kind, prefix, given), None)
    gathering.done()
    assert found is not None, "nothing was refused"
    return found


def start_of_set_up(coat: Coat | None, prefix: str = "set_up.") -> dict[str, str]:
    """The fields of a gun set-up, as the last coat had them.

    Whether a coat hides is seen on each one anew, so it is left open.
    """
    if coat is None:
        return {}
    names = [f.name for f in fields(GunSetUp) if f.name != "hides"]
    return {prefix + name: typed(getattr(coat, name)) for name in names}


def typed(value: object) -> str:
    """A value as a person would type it."""
    if value is None:
        return ""
    if isinstance(value, float):
        return f"{value:.6g}" if abs(value) < 1e6 else str(value)
    return str(value)


def moment_typed(moment: datetime, zone: str) -> str:
    """A time as the field of a form takes it, on the shop's clock."""
    return moment.astimezone(ZoneInfo(zone)).strftime("%Y-%m-%dT%H:%M")


def words(text: str) -> str:
    """A word of a closed set as people read it: base_dry is Base dry."""
    return text.replace("_", " ").capitalize()


def options_of(kind: type[StrEnum], leave_out: Iterable[str] = ()) -> tuple[Option, ...]:
    """The words of a closed set as choices."""
    return tuple(Option(word.value, words(word.value)) for word in kind if word not in leave_out)
