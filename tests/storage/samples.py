"""Sample records of every class, made from what their fields declare."""

from __future__ import annotations

import json
import types
import typing
from collections.abc import Callable
from dataclasses import MISSING, fields, is_dataclass, replace
from datetime import UTC, datetime, timedelta
from enum import StrEnum
from hashlib import sha256
from typing import Any
from uuid import uuid4

from service.domain.card_code import new_card_code
from service.domain.records.base import JobRecord, Record
from service.domain.records.cards import Card, Movement, Photo, Zone
from service.domain.records.job import Acceptance, Job, Joint, Panel, Policy
from service.domain.records.measuring import AngleReading, AngleSpectrum, EyeCheck, Frame, Reading
from service.domain.records.shop import Person, PhotoTarget, Product, Shop
from service.domain.records.spraying import Bake, Coat, Component, Finishing
from service.domain.refused import Invalid
from service.domain.terms import ComponentRole, JointKind, MovementKind, PatchValues, ZoneState
from service.storage.schema import RECORDS, parent_of
from service.storage.store import ShopStore
from service.use_cases.ports import Receipt, Unit
from tests.photographs import target_file

NOW = datetime(2026, 3, 4, 5, 6, 7, 89, tzinfo=UTC)
PHOTO = b"bytes of a photograph"

# Fields where a value made from the type alone would be refused by the record's own rules.
_FITTING: dict[type[Record], dict[str, Any]] = {
    Card: {"code": new_card_code, "slot": "A-14"},
    Zone: {"state": ZoneState.LET_DOWN_STEP, "mid_coats": 3},
    Photo: {"sha256": sha256(PHOTO).hexdigest()},
    Movement: {"kind": MovementKind.PULLED},
    Joint: {"kind": JointKind.GAP, "area_b": None},
    Bake: {"card_id": None},
    Finishing: {"panel_id": None},
    Component: {"unit": "ml"},
    Acceptance: {"batch_id": None},
    EyeCheck: {"against_panel_id": None},
    Policy: {"angle_limits": {"15": 1.2, "-15": 1.5}},
    Reading: {
        "panel_id": None,
        "spectra": (
            AngleSpectrum(
                angle=45, wavelengths_nm=(400.0, 410.0, 420.5), reflectance=((0.1, 0.25, 0.3),)
            ),
        ),
        "angles": (AngleReading(angle=45, repeats=((50.5, 1.25, -2.0),)),),
    },
    Product: {"mix_ratio": ((ComponentRole.BASE, 2.0), (ComponentRole.REDUCER, 0.1))},
    Coat: {"card_id": None},
    Frame: {"photo_sha256": sha256(PHOTO).hexdigest()},
    PhotoTarget: {
        "target": json.dumps(target_file(values="nominal")),
        "values": PatchValues.NOMINAL,
        "print_code": "7K3Q",
    },
}

_NUMBERS: dict[Any, list[Any]] = {int: [2, 10, 2000], float: [1.1, 60.25, 150.5, 0.2]}


def sample(kind: type[Record], **given: Any) -> Record:
    """A record of the class with every field filled, so far as ``given`` does not fill it.

    A number that the record's own rules refuse is replaced by the next candidate.
    """
    hints = typing.get_type_hints(kind)
    values: dict[str, Any] = {}
    for field in fields(kind):
        if field.name in given:
            values[field.name] = given[field.name]
        elif field.name in _FITTING.get(kind, {}):
            fitting = _FITTING[kind][field.name]
            values[field.name] = fitting() if callable(fitting) else fitting
        elif field.name in ("corrects", "revision", "reason", "withdrawn"):
            assert field.default is not MISSING
            values[field.name] = field.default
        else:
            values[field.name] = _value(field.name, hints[field.name])
    refused: list[Invalid] = []
    while True:
        try:
            return kind(**values)
        except Invalid as error:
            refused.append(error)
            held = values.get(error.field)
            others = _NUMBERS.get(type(held), [])
            if held not in others[:-1]:
                raise
            values[error.field] = others[others.index(held) + 1]


def _value(name: str, hint: Any) -> Any:
    origin, arguments = typing.get_origin(hint), typing.get_args(hint)
    if origin in (types.UnionType, typing.Union):
        return _value(name, next(a for a in arguments if a is not type(None)))
    if origin is tuple:
        if name == "repeats":
            return ((50.1, -1.25, 1 / 3), (50.2, -1.5, 2e-7))
        if name == "covariance":
            return ((0.1, 0.0, 0.0), (0.0, 0.2, -1e-7), (0.0, -1e-7, 0.3))
        if arguments[-1] is Ellipsis:
            return (_value(name, arguments[0]),)
        return tuple(_value(name, a) for a in arguments)
    if origin is dict:
        return {"b": _value(name, arguments[1]), "a": _value(name, arguments[1])}
    if is_dataclass(hint):
        hints = typing.get_type_hints(hint)
        return hint(**{f.name: _value(f.name, hints[f.name]) for f in fields(hint)})
    if isinstance(hint, type) and issubclass(hint, StrEnum):
        return list(hint)[0]
    if hint is str:
        return str(uuid4()) if name == "id" or name.endswith("_id") else f"{name} é \U0001f697"[:20]
    if hint is bool:
        return True
    if hint in _NUMBERS:
        return _NUMBERS[hint][0]
    if hint is datetime:
        return NOW + timedelta(microseconds=1)
    raise TypeError(f"no sample for {name}: {hint}")


def write(store: ShopStore, work: Callable[[Unit], None], **asked: str) -> Receipt:
    """Make a change as the shop's first manager."""
    asked.setdefault("change_id", str(uuid4()))
    asked.setdefault("kind", "test")
    asked.setdefault("fingerprint", "")
    asked.setdefault("person_id", store.shop().all(Person)[0].root)
    return store.write(work=work, **asked)


def usual(unit: Unit) -> dict[str, Any]:
    """The fields every record has."""
    return {
        "id": str(uuid4()),
        "shop_id": unit.shop_id,
        "author_id": unit.person.root,
        "observed_at": NOW,
        "received_at": unit.now,
    }


def open_job(store: ShopStore, work_order: str = "W-1") -> str:
    """Open a job and return its id."""
    id = str(uuid4())

    def work(unit: Unit) -> None:
        every = usual(unit) | {"id": id, "job_id": id}
        unit.add(Job(**every, work_order=work_order, title="An invented van"))

    write(store, work, kind="open_job")
    return id


def add_panel(store: ShopStore, job_id: str, finish_id: str, name: str) -> Receipt:
    """One small change to a job."""

    def work(unit: Unit) -> None:
        unit.job(job_id)
        unit.add(Panel(**usual(unit), job_id=job_id, finish_id=finish_id, name=name))

    return write(store, work, kind="add_panel")


def fill(store: ShopStore) -> dict[type[Record], Record]:
    """Write one record of every class, each with a later correction; gives the first rows."""
    made: dict[type[Record], Record] = {Shop: store.shop().all(Shop)[0]}
    made[Person] = store.shop().all(Person)[0]
    ids = {kind.table: record.id for kind, record in made.items()}

    def everything(unit: Unit) -> None:
        for kind in RECORDS:
            if kind is Shop:
                continue
            record = _fitting_sample(kind, unit, ids)
            unit.add(record)
            if kind is Person:
                continue
            made[kind] = record
            ids[kind.table] = record.id
            if kind is Panel:
                other = _fitting_sample(kind, unit, ids)
                unit.add(other)
                ids["other panel"] = other.id

    def corrections(unit: Unit) -> None:
        for record in made.values():
            unit.add(
                replace(
                    record,
                    id=str(uuid4()),
                    corrects=record.id,
                    revision=2,
                    reason="It was mistyped.",
                    received_at=unit.now,
                )
            )

    store.photos.put(PHOTO)
    write(store, everything, kind="fill")
    write(store, corrections, kind="correct")
    return made


def _fitting_sample(kind: type[Record], unit: Unit, ids: dict[str, str]) -> Record:
    given: dict[str, Any] = usual(unit)
    if kind is Job:
        given["job_id"] = given["id"]
    for field in fields(kind):
        parent = parent_of(kind, field.name)
        if field.name in given or field.name in _FITTING.get(kind, {}) or parent is None:
            continue
        if field.name == "panel_b":
            given[field.name] = ids["other panel"]
        elif field.name != "corrects":
            given[field.name] = ids.get(parent)
    return sample(kind, **given)


JOB_RECORDS = [kind for kind in RECORDS if issubclass(kind, JobRecord)]
