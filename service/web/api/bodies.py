"""The bodies of the API: the commands themselves, but where something has to be made first."""

from __future__ import annotations

import typing
from dataclasses import dataclass, fields, is_dataclass, replace
from datetime import UTC, datetime
from typing import Any, TypeVar

from pydantic import ConfigDict, TypeAdapter, with_config

from service.domain.refused import Invalid
from service.domain.terms import Role
from service.use_cases.command import Command
from service.use_cases.photographs import LogPhotograph, NewPhotograph
from service.use_cases.shop import AddPerson, GiveToken, SetPassword

C = TypeVar("C", bound=Command)

# JSON has types of its own: "10" is no number and 5 no time, so neither is taken for one. What
# a request does not know is a misspelling, and passing over it would lose what was meant.
STRICT = ConfigDict(strict=True, extra="forbid", allow_inf_nan=False)


@dataclass(frozen=True, slots=True, kw_only=True)
class NewPerson(Command):
    """Somebody who will use the record, with their first password if they are to sign in.

    A password has at least 15 characters; any will do.
    """

    name: str
    roles: tuple[Role, ...]
    password: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class NewPassword(Command):
    """A new password for a person, at least 15 characters; theirs is asked for on their own."""

    person_id: str
    password: str
    current_password: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class NewToken(Command):
    """A token for a program that acts as a person in one role; the answer shows it once."""

    person_id: str
    role: Role
    label: str
    expires_at: datetime | None = None


BODIES: dict[type[Command], type[Command]] = {
    AddPerson: NewPerson,
    SetPassword: NewPassword,
    GiveToken: NewToken,
    LogPhotograph: NewPhotograph,
}


def body_of(kind: type[Command]) -> type[Command]:
    """What a client sends for a command."""
    return BODIES.get(kind, kind)


def adapter_of(kind: type[Any]) -> TypeAdapter[Any]:
    """Reads the body of a command, or of another question, from JSON."""
    body = BODIES.get(kind, kind)
    _make_strict(body)
    return TypeAdapter(body)


def with_zones(command: C) -> C:
    """The command with every time in UTC; refuses one without a zone."""
    changed: dict[str, Any] = {}
    for name in _times(type(command)):
        moment: datetime | None = getattr(command, name)
        if moment is None:
            continue
        if moment.tzinfo is None:
            raise Invalid(
                name, f"The time {moment.isoformat()} has no zone. Add Z for UTC, or +01:00."
            )
        try:
            changed[name] = moment.astimezone(UTC)
        except OverflowError:
            raise Invalid(
                name, f"The time {moment.isoformat()} is out of range. Check the year."
            ) from None
    return replace(command, **changed) if changed else command


_TIMES: dict[type[Command], tuple[str, ...]] = {}


def _times(kind: type[Command]) -> tuple[str, ...]:
    names = _TIMES.get(kind)
    if names is None:
        hints = typing.get_type_hints(kind)
        names = tuple(f.name for f in fields(kind) if datetime in typing.get_args(hints[f.name]))
        _TIMES[kind] = names
    return names


def _make_strict(kind: type[Any]) -> None:
    if "__pydantic_config__" in vars(kind):
        return
    # pydantic reads the attribute this sets from the class, there is no other way to say it of
    # a dataclass of the standard library; nothing else looks at it.
    with_config(STRICT)(kind)
    for hint in typing.get_type_hints(kind).values():
        for inner in _dataclasses_in(hint):
            _make_strict(inner)


def _dataclasses_in(hint: Any) -> list[type[Any]]:
    if is_dataclass(hint) and isinstance(hint, type):
        return [hint]
    return [inner for arg in typing.get_args(hint) for inner in _dataclasses_in(arg)]
