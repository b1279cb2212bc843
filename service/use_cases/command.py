"""What every command carries, and how one is carried out exactly once."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Mapping
from dataclasses import dataclass, fields, is_dataclass, replace
from datetime import UTC, datetime, timedelta
from enum import Enum
from functools import partial
from typing import Any, ClassVar, TypedDict, TypeVar
from uuid import UUID, uuid5

from service.domain.moment import as_text
from service.domain.records.base import Record, check_uuid
from service.domain.refused import Invalid, NotAllowed
from service.domain.terms import Role
from service.use_cases.ports import Receipt, Store, Unit

C = TypeVar("C", bound="Command")


@dataclass(frozen=True, slots=True, kw_only=True)
class Command:
    """One thing a person wants recorded.

    ``id`` is made by the client and is the permanent idempotency key: sent twice, the command
    is carried out once. It becomes the id of the main record. ``observed_at`` is when the thing
    happened; None means when it arrives. Fields in ``WORKED_OUT`` follow from the others and
    from what is stored; a client never sends them, and a repeat is not told by them.
    """

    WORKED_OUT: ClassVar[frozenset[str]] = frozenset()

    id: str
    observed_at: datetime | None = None


@dataclass(frozen=True, slots=True)
class Verb:
    """How a command is carried out, and by whom it may be."""

    name: str
    handler: Callable[[Unit, Any], None]
    roles: frozenset[Role]
    doing: str


VERBS: dict[type[Command], Verb] = {}
"""Every command of the service with its handler; filled as the modules of verbs are read."""

EVERYONE = (Role.PAINTER, Role.REFINISHER, Role.MANAGER)


def verb(
    *roles: Role, doing: str
) -> Callable[[Callable[[Unit, C], None]], Callable[[Unit, C], None]]:
    """Register a handler for the command its second argument is annotated with."""

    def register(handler: Callable[[Unit, C], None]) -> Callable[[Unit, C], None]:
        command = handler.__annotations__["command"]
        kind = handler.__globals__[command] if isinstance(command, str) else command
        VERBS[kind] = Verb(handler.__name__, handler, frozenset(roles), doing)
        return handler

    return register


def perform(
    store: Store, person_id: str, command: Command, acting_as: Role | None = None
) -> Receipt:
    """Carry out a command once, as a person, and return the receipt.

    ``acting_as`` narrows the person to one role, as an API token does.

    Raises
    ------
    Refused
        With what is wrong and what to do; nothing was written then.
    """
    change = change_for(store, person_id, command, acting_as)
    return store.write(**change)


class Change(TypedDict):
    """The arguments of ``Store.write``."""

    change_id: str
    kind: str
    fingerprint: str
    person_id: str
    work: Callable[[Unit], None]


def change_for(
    store: Store, person_id: str, command: Command, acting_as: Role | None = None
) -> Change:
    """What ``Store.write`` takes for a command; for callers that wait in their own way."""
    check_uuid("id", command.id)
    if command.observed_at is not None and command.observed_at.tzinfo is None:
        raise Invalid(
            "observed_at", f"The time {command.observed_at} has no zone. Add Z for UTC, or +01:00."
        )
    entry = VERBS[type(command)]
    return Change(
        change_id=command.id,
        kind=entry.name,
        fingerprint=fingerprint(command),
        person_id=person_id,
        work=partial(_work, entry, command, acting_as),
    )


def _work(entry: Verb, command: Command, acting_as: Role | None, unit: Unit) -> None:
    held = tuple(role for role in unit.person.roles if acting_as in (None, role))
    if not entry.roles.intersection(held):
        raise NotAllowed(entry.doing, tuple(sorted(entry.roles)))
    entry.handler(unit if acting_as is None else _ActingUnit(unit, held), command)


class _ActingUnit:
    """A unit whose person holds only some of their roles."""

    def __init__(self, unit: Unit, roles: tuple[Role, ...]) -> None:
        self.person = replace(unit.person, roles=roles)
        self.now = unit.now
        self.shop_id = unit.shop_id
        self.shop = unit.shop
        self.job = unit.job
        self.add = unit.add
        self.card_by_code = unit.card_by_code
        self.job_by_work_order = unit.job_by_work_order


def fingerprint(command: Command) -> str:
    """SHA-256 of what a command says, to tell a repeat from another entry under its id."""
    # A password's hash is salted anew each time, so it says nothing about being the same.
    said = {
        name: value
        for name, value in _fields(command).items()
        if not name.endswith("_hash") and name not in command.WORKED_OUT
    }
    content = json.dumps(
        {"kind": type(command).__name__, **said},
        sort_keys=True,
        separators=(",", ":"),
        default=_plain,
    )
    return hashlib.sha256(content.encode()).hexdigest()


def _fields(value: Any) -> dict[str, Any]:
    # Not dataclasses.asdict: it copies everything deeply, and json goes through it all anyway.
    return {field.name: getattr(value, field.name) for field in fields(value)}


def _plain(value: object) -> object:
    if is_dataclass(value):
        return _fields(value)
    if isinstance(value, datetime):
        return as_text(value)
    if isinstance(value, Enum):
        return value.value
    if isinstance(value, Mapping):
        return dict(value)
    raise TypeError(f"no canonical form for {value!r}")


class Stamp(TypedDict):
    """The fields every new record takes from the command and the unit."""

    id: str
    shop_id: str
    author_id: str
    observed_at: datetime
    received_at: datetime


def stamp(unit: Unit, command: Command, part: str = "") -> Stamp:
    """Fields of the main record of a command, or of a part of it by name."""
    return Stamp(
        id=part_id(command.id, part),
        shop_id=unit.shop_id,
        author_id=unit.person.root,
        observed_at=happened(unit, command),
        received_at=unit.now,
    )


def happened(unit: Unit, command: Command) -> datetime:
    """When the thing happened, UTC; a device's clock may run a day ahead, not more."""
    if command.observed_at is None:
        return unit.now
    moment = command.observed_at.astimezone(UTC)
    if moment - unit.now > timedelta(days=1):
        raise Invalid(
            "observed_at",
            f"The time {as_text(moment)} lies in the future. Check the clock of the device.",
        )
    return moment


def part_id(command_id: str, part: str) -> str:
    """Id of a part of a command's doing; the same whenever the command is carried out."""
    return str(uuid5(UUID(command_id), part)) if part else command_id


R = TypeVar("R", bound=Record)


def revision_of(
    unit: Unit,
    command: Command,
    record: R,
    why: str,
    changes: Mapping[str, Any],
    withdrawn: bool = False,
) -> R:
    """The next revision of a record: a new row that names the first one and gives a reason."""
    new: dict[str, Any] = {
        **stamp(unit, command),
        "observed_at": record.observed_at,
        **changes,
        "corrects": record.root,
        "revision": record.revision + 1,
        "reason": why,
        "withdrawn": withdrawn,
    }
    return replace(record, **new)
