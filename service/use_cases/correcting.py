"""Corrections: a new row that names the old, with a reason; then judge by what is right."""

from __future__ import annotations

import types
from dataclasses import dataclass, field, fields, replace
from enum import Enum
from typing import Any, Union, get_args, get_origin, get_type_hints

from service.domain.from_spectra import FROM_SPECTRA
from service.domain.record_file import RecordFile
from service.domain.records.base import JobRecord, Record
from service.domain.records.cards import Card, Zone
from service.domain.records.job import Area, Finish, Job, Joint, Panel
from service.domain.records.measuring import Reading
from service.domain.records.shop import (
    ApiToken,
    CheckTile,
    Instrument,
    Person,
    PhotoTarget,
    Product,
    TileReading,
)
from service.domain.records.spraying import Bake, Batch, Coat, Component, Finishing
from service.domain.refused import Invalid, OutOfOrder
from service.domain.terms import Role
from service.use_cases.command import EVERYONE, Command, revision_of, verb
from service.use_cases.judging import judge_batches, judge_joints
from service.use_cases.measuring import frame_mates
from service.use_cases.ports import Unit
from service.use_cases.shop import refuse_taken

JOB_KINDS: dict[str, type[JobRecord]] = {
    kind.table: kind
    for kind in (
        Job, Finish, Panel, Area, Joint, Batch, Component, Coat, Bake, Finishing, Card, Zone,
        Reading,
    )
}  # fmt: skip
SHOP_KINDS: dict[str, type[Record]] = {
    kind.table: kind
    for kind in (Person, Instrument, CheckTile, TileReading, Product, PhotoTarget, ApiToken)
}

FIXED = {field.name for field in fields(JobRecord)} | {
    "code", "angles", "spectra", "frame_id", "print_code", "target", "values",
}  # fmt: skip
"""Fields no correction may touch; observed_at apart, which may have been typed wrongly.

A sheet that was measured anew, or printed anew, is another one and registered as such.
"""


def fields_open_to_correction(kind: type[Record]) -> tuple[str, ...]:
    """The fields of a kind of record that may be corrected; a token can only be revoked."""
    if kind is ApiToken:
        return ()
    return tuple(
        field.name
        for field in fields(kind)
        if field.name not in FIXED or field.name == "observed_at"
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Correct(Command):
    """Change fields of a record of a job, by the name of its table; the old row stays.

    ``changes`` maps field names to new values as JSON has them. ``withdraw`` says the thing was
    entered in error and never was.
    """

    job_id: str
    table: str
    record_id: str
    why: str
    changes: dict[str, Any] = field(default_factory=dict)
    withdraw: bool = False


@verb(*EVERYONE, doing="correct an entry")
def correct(unit: Unit, command: Correct) -> None:
    """Correct or withdraw a record of a job, and judge again what it bears on."""
    file = unit.job(command.job_id)
    kind = JOB_KINDS.get(command.table)
    if kind is None:
        raise Invalid(
            "table", f"{command.table!r} cannot be corrected. Pick one of: {', '.join(JOB_KINDS)}."
        )
    record = file.get(kind, command.record_id)
    if command.withdraw and isinstance(record, Job):
        raise Invalid("withdraw", "A job cannot be withdrawn. Correct it, or leave it unreleased.")
    if command.withdraw:
        _refuse_what_others_need(file, record)
    _refuse_another_light(record, command.changes)
    corrected = _corrected(unit, command, record, command.changes, command.withdraw)
    if isinstance(corrected, Reading):
        corrected = _as_its_instrument(unit.shop(), corrected, command.changes)
    unit.add(corrected)
    _judge_what_it_bears_on(unit, command, record)


def _refuse_another_light(record: JobRecord, changes: dict[str, Any]) -> None:
    """Colours that were worked out for one light are no others' when the label is changed."""
    if not (isinstance(record, Reading) and record.source.endswith(FROM_SPECTRA)):
        return
    for name in ("illuminant", "observer"):
        if name in changes and changes[name] != getattr(record, name):
            raise Invalid(
                name,
                f"The L*, a*, b* of this reading were worked out under {record.illuminant} for "
                f"{record.observer}° from its spectra, and would be wrong under {changes[name]}. "
                "Drop it, and log its spectra again under the right light.",
            )


def _as_its_instrument(shop: RecordFile, reading: Reading, changes: dict[str, Any]) -> Reading:
    """A reading that was said to be of another instrument takes on what is known of that one.

    Of another time it is only ever found to be past the calibration, never within it: the book
    holds the date the instrument is due next, and it may have been overdue when this was read.
    """
    instrument = shop.find(Instrument, reading.instrument_id)
    if not {"instrument_id", "observed_at"} & changes.keys():
        return reading
    due = instrument.calibration_due if instrument else None
    past = due is not None and reading.observed_at > due
    known: dict[str, Any] = {"past_calibration": past or reading.past_calibration}
    if "instrument_id" in changes:
        known = {
            "past_calibration": past,
            "standard_uncertainty": instrument and instrument.standard_uncertainty,
            "inter_instrument_uncertainty": instrument and instrument.inter_instrument_uncertainty,
        }
    return replace(reading, **{k: v for k, v in known.items() if k not in changes})


_NEEDED_BY: dict[type[JobRecord], tuple[tuple[type[JobRecord], str], ...]] = {
    Finish: ((Panel, "finish_id"), (Batch, "finish_id")),
    Panel: ((Area, "panel_id"), (Joint, "panel_a"), (Joint, "panel_b"), (Coat, "panel_id")),
    Area: ((Joint, "area_a"), (Joint, "area_b"), (Coat, "area_id")),
    Batch: ((Coat, "batch_id"), (Card, "batch_id")),
}
"""What cannot be without a record of that kind, and the field by which it names it."""


def _refuse_what_others_need(file: RecordFile, record: JobRecord) -> None:
    """Refuse to withdraw what other records still stand on."""
    counts: dict[str, int] = {}
    for kind, name in _NEEDED_BY.get(type(record), ()):
        found = len(file.by(kind, name, record.root))
        if found:
            counts[kind.table] = counts.get(kind.table, 0) + found
    if counts:
        # The names of these tables are the plurals of what they hold.
        held = " and ".join(
            f"{count} {table if count > 1 else _one_of(table)}" for table, count in counts.items()
        )
        raise OutOfOrder(
            f"This {type(record).__name__.lower()} still has {held}. Withdraw or correct "
            "those first, then this."
        )


def _one_of(table: str) -> str:
    """One record of a table, in a word."""
    return JOB_KINDS[table].__name__.lower()


@dataclass(frozen=True, slots=True, kw_only=True)
class CorrectShop(Command):
    """Change fields of a person, an instrument, a product or photo sheet, as ``Correct`` does.

    A token cannot be changed; to withdraw it revokes it.
    """

    table: str
    record_id: str
    why: str
    changes: dict[str, Any] = field(default_factory=dict)
    withdraw: bool = False


@verb(Role.MANAGER, doing="correct the shop's book")
def correct_shop(unit: Unit, command: CorrectShop) -> None:
    """Correct or withdraw an entry of the shop's own book."""
    kind = SHOP_KINDS.get(command.table)
    if kind is None:
        raise Invalid(
            "table", f"{command.table!r} cannot be corrected. Pick one of: {', '.join(SHOP_KINDS)}."
        )
    if kind is ApiToken and (command.changes or not command.withdraw):
        raise Invalid(
            "changes", "A token cannot be changed. Withdraw it, and give out another in its place."
        )
    shop = unit.shop()
    record = shop.get(kind, command.record_id)
    corrected = _corrected(unit, command, record, command.changes, command.withdraw)
    managers = [p.root for p in shop.all(Person) if Role.MANAGER in p.roles]
    if isinstance(corrected, Person) and managers == [corrected.root]:
        if corrected.withdrawn or Role.MANAGER not in corrected.roles:
            raise Invalid("roles", "This is the only manager. Make somebody else a manager first.")
    if isinstance(corrected, PhotoTarget) and "name" in command.changes:
        # What is photographed on a sheet finds its entry by its name.
        refuse_taken(unit, PhotoTarget, corrected.name)
    unit.add(corrected)


def _corrected(
    unit: Unit,
    command: Correct | CorrectShop,
    record: Record,
    changes: dict[str, Any],
    withdraw: bool,
) -> Record:
    if not changes and not withdraw:
        raise Invalid("changes", "Nothing changes. Name a field and its new value.")
    new = {name: _read(type(record), name, value) for name, value in changes.items()}
    try:
        return revision_of(unit, command, record, command.why, new, withdraw)
    except (TypeError, ValueError) as wrong:
        raise Invalid("changes", f"The correction does not fit: {wrong}.") from wrong


def _read(kind: type[Record], name: str, value: Any) -> Any:
    open_fields = fields_open_to_correction(kind)
    if name not in open_fields:
        raise Invalid(
            name, f"{name!r} cannot be corrected here. Fields are: {', '.join(open_fields)}."
        )
    return _as(get_type_hints(kind)[name], name, value)


def _as(hint: Any, name: str, value: Any) -> Any:
    origin = get_origin(hint)
    if origin in (Union, types.UnionType):
        options = [option for option in get_args(hint) if option is not type(None)]
        return None if value is None else _as(options[0], name, value)
    if origin is tuple and isinstance(value, list | tuple):
        of = get_args(hint)
        if len(of) == 2 and of[1] is Ellipsis:
            return tuple(_as(of[0], name, item) for item in value)
        return tuple(_as(one, name, item) for one, item in zip(of, value, strict=True))
    if isinstance(hint, type) and issubclass(hint, Enum):
        try:
            return hint(value)
        except ValueError:
            known = ", ".join(str(word.value) for word in hint)
            raise Invalid(name, f"{value!r} is unknown. Pick one of: {known}.") from None
    if hint is float and isinstance(value, int | float) and not isinstance(value, bool):
        return float(value)
    if hint.__name__ == "datetime" and isinstance(value, str):
        from service.domain.moment import from_text

        return from_text(value)
    if not isinstance(value, hint) or (hint is int and isinstance(value, bool)):
        raise Invalid(name, f"{name} cannot be {value!r}. Give a {hint.__name__}.")
    return value


def _judge_what_it_bears_on(unit: Unit, command: Correct, record: JobRecord) -> None:
    file = unit.job(command.job_id)
    if isinstance(record, Finish):
        judge_batches(unit, command, file, finish_id=record.root)
        judge_joints(unit, command, unit.job(command.job_id))
        return
    batch_ids = _batches(file, record)
    if batch_ids:
        judge_batches(unit, command, file, batch_ids=batch_ids)
    if batch_ids or isinstance(record, Joint | Panel | Area | Coat):
        judge_joints(unit, command, unit.job(command.job_id))


def _batches(file: RecordFile, record: JobRecord) -> set[str]:
    if isinstance(record, Reading):
        mates = (file.get(Card, mate.card_id or "") for mate in frame_mates(file, record))
        return {card.batch_id for card in mates} | _own_batch(file, record)
    return _own_batch(file, record)


def _own_batch(file: RecordFile, record: JobRecord) -> set[str]:
    if isinstance(record, Batch):
        return {record.root} if file.find(Batch, record.root) else set()
    if isinstance(record, Coat) and record.card_id is None:
        return set()
    card_id = record.root if isinstance(record, Card) else getattr(record, "card_id", None)
    card = file.latest_revision(Card, card_id) if card_id else None
    if card is None or file.find(Batch, card.batch_id) is None:
        return set()
    return {card.batch_id}
