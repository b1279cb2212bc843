"""The fields of a record as a form edits them: what stands there, what it may become."""

from __future__ import annotations

import types
from collections.abc import Mapping
from dataclasses import dataclass, fields
from datetime import UTC, datetime
from enum import Enum
from functools import cache
from typing import Any, Union, get_args, get_origin, get_type_hints
from zoneinfo import ZoneInfo

from service.domain.moment import as_text, from_text
from service.domain.records.base import Record
from service.domain.refused import Invalid
from service.domain.terms import ComponentRole
from service.use_cases.correcting import JOB_KINDS, SHOP_KINDS, fields_open_to_correction
from service.web.filters import NOT_RECORDED, local_moment
from service.web.forms import Form, FormError, FormRefused
from service.web.pages.bench_forms import Option, moment_typed, typed, words
from service.web.pages.record_words import POINTS_TO, Files, choices_for, label_of, name_of

LONG_TEXTS = ("note", "damage", "why", "state")
NO_CHOICE = Option("", "Not recorded")


@dataclass(frozen=True, slots=True, kw_only=True)
class EditedField:
    """One field: what stands on record, and the field of the form that may change it."""

    name: str
    label: str
    kind: str  # text, area, number, choice, boxes, moment or parts
    was: str
    value: str
    values: tuple[str, ...]
    options: tuple[Option, ...]
    required: bool
    error: str


def edited_fields(record: Record, files: Files, form: Form, zone: str) -> tuple[EditedField, ...]:
    """Every field of a record that a correction may touch."""
    return tuple(
        _edited(record, name, files, form, zone) for name in fields_open_to_correction(type(record))
    )


def _edited(record: Record, name: str, files: Files, form: Form, zone: str) -> EditedField:
    hint, optional = _hint(type(record), name)
    held = getattr(record, name)
    kind = _kind(name, hint)
    return EditedField(
        name=name,
        label=label_of(name),
        kind=kind,
        was=shown(name, held, files, zone),
        value=form.value(name, _typed(held, zone)),
        values=_values(name, held, form) if kind in ("boxes", "parts") else (),
        options=_options(name, hint, held, files, optional),
        required=not optional and kind in ("number", "moment"),
        error=form.error(name),
    )


def changes_in(form: Form, record: Record, zone: str) -> dict[str, Any]:
    """What the form changes, as the values of a correction.

    Raises
    ------
    FormRefused
        Naming every field that cannot be taken.
    """
    changes: dict[str, Any] = {}
    errors: list[FormError] = []
    for name in fields_open_to_correction(type(record)):
        hint, optional = _hint(type(record), name)
        kind = _kind(name, hint)
        held = getattr(record, name)
        try:
            if kind in ("boxes", "parts"):
                new = _several(form, name, kind)
                if new != _plain(held):
                    changes[name] = new
            elif form.value(name) != _typed(held, zone):
                changes[name] = _read(form, name, hint, optional, zone)
        except Invalid as invalid:
            errors.append(FormError(f"f-{name}", str(invalid)))
    if errors:
        raise FormRefused(errors)
    return changes


def shown(name: str, value: Any, files: Files, zone: str) -> str:
    """A value as people read it; also as the journal has it, where times and numbers are text."""
    if value is None or value == "" or value == [] or value == ():
        return NOT_RECORDED
    if name in POINTS_TO and isinstance(value, str):
        found = files.find(POINTS_TO[name], value)
        return name_of(files, found) if found is not None else value
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, datetime):
        return local_moment(value, zone)
    if isinstance(value, Enum):
        return words(str(value.value))
    if name == "mix_ratio":
        return ", ".join(f"{words(str(role)).lower()} {_number(n)}" for role, n in value)
    if isinstance(value, tuple | list):
        return ", ".join(words(str(part)) for part in value)
    if isinstance(value, float):
        return _number(value)
    if name in _of_type(datetime) and isinstance(value, str):
        return local_moment(from_text(value), zone)
    if name in _of_type(float) and isinstance(value, str):
        return _number(value)
    if name in _words_of() and isinstance(value, str):
        return words(value)
    if name == "target":
        return f"a file of {len(str(value)):,} characters"
    return str(value)


def _number(value: Any) -> str:
    return typed(float(value))


@cache
def _of_type(wanted: type) -> frozenset[str]:
    """The fields of all records that hold a value of a type; the journal has them as text."""
    kinds = (*JOB_KINDS.values(), *SHOP_KINDS.values())
    return frozenset(
        name for kind in kinds for name in _hints(kind) if _inner(_hints(kind)[name]) is wanted
    )


@cache
def _words_of() -> frozenset[str]:
    """The fields of all records that hold a word of a closed set."""
    kinds = (*JOB_KINDS.values(), *SHOP_KINDS.values())
    return frozenset(name for kind in kinds for name in _hints(kind) if _is_word(kind, name))


def _is_word(kind: type[Record], name: str) -> bool:
    hint = _inner(_hints(kind)[name])
    return isinstance(hint, type) and issubclass(hint, Enum)


def _inner(hint: Any) -> Any:
    """The type a field holds when it is not empty."""
    if get_origin(hint) in (Union, types.UnionType):
        return next(one for one in get_args(hint) if one is not type(None))
    return hint


_HINTS: dict[type[Record], Mapping[str, Any]] = {}


def _hints(kind: type[Record]) -> Mapping[str, Any]:
    if kind not in _HINTS:
        _HINTS[kind] = get_type_hints(kind)
    return _HINTS[kind]


def _hint(kind: type[Record], name: str) -> tuple[Any, bool]:
    """The type a field holds, and whether it may be empty."""
    hint = _hints(kind)[name]
    if _inner(hint) is not hint:
        return _inner(hint), True
    default = next(field.default for field in fields(kind) if field.name == name)
    return hint, default == ""


def _kind(name: str, hint: Any) -> str:
    if name in POINTS_TO or hint is bool or (isinstance(hint, type) and issubclass(hint, Enum)):
        return "choice"
    if hint in (int, float):
        return "number"
    if hint is datetime:
        return "moment"
    if name == "mix_ratio":
        return "parts"
    if get_origin(hint) is tuple:
        return "boxes"
    return "area" if name in LONG_TEXTS else "text"


def _typed(held: Any, zone: str) -> str:
    """A value as its field of the form holds it."""
    if isinstance(held, bool):
        return "yes" if held else "no"
    if isinstance(held, datetime):
        return moment_typed(held, zone)
    if isinstance(held, tuple):
        return ""
    return typed(held)


def _values(name: str, held: Any, form: Form) -> tuple[str, ...]:
    if name == "mix_ratio":
        parts = {str(role): _number(n) for role, n in held}
        return tuple(form.value(f"{name}.{role}", parts.get(role, "")) for role in ComponentRole)
    return form.values(name) if form.sent else tuple(str(one) for one in held)


def _options(name: str, hint: Any, held: Any, files: Files, optional: bool) -> tuple[Option, ...]:
    none = (NO_CHOICE,) if optional else ()
    if name in POINTS_TO:
        return (*none, *choices_for(files, name, held))
    if hint is bool:
        return (*none, Option("yes", "Yes"), Option("no", "No"))
    if name == "mix_ratio":
        return tuple(Option(role, words(role)) for role in ComponentRole)
    if get_origin(hint) is tuple:
        hint = get_args(hint)[0]
        none = ()
    if isinstance(hint, type) and issubclass(hint, Enum):
        return (*none, *(Option(str(one.value), words(str(one.value))) for one in hint))
    return ()


def _several(form: Form, name: str, kind: str) -> list[Any]:
    if kind == "boxes":
        return sorted(form.values(name))
    parts = [(role.value, form.number(f"{name}.{role}")) for role in ComponentRole]
    return [[role, number] for role, number in parts if number is not None]


def _plain(held: Any) -> list[Any]:
    """A tuple as the form gives it back, in the order of its words."""
    if held and isinstance(held[0], tuple):
        order = list(ComponentRole)
        return [[str(r), n] for r, n in sorted(held, key=lambda part: order.index(part[0]))]
    return sorted(str(one) for one in held)


def _read(form: Form, name: str, hint: Any, optional: bool, zone: str) -> Any:
    text = form.value(name)
    if not text:
        if hint is str and name not in POINTS_TO:
            return ""
        if optional:
            return None
        raise Invalid(name, f"{label_of(name)} cannot be empty. Fill it in.")
    if hint is bool:
        return text == "yes"
    if hint in (int, float):
        number = form.number(name)
        assert number is not None
        if hint is int:
            if number != int(number):
                raise Invalid(name, f"{text!r} is no whole number. Enter one.")
            return int(number)
        return number
    if hint is datetime:
        return _moment(name, text, zone)
    return text


def _moment(name: str, text: str, zone: str) -> str:
    try:
        moment = datetime.fromisoformat(text)
    except ValueError:
        raise Invalid(name, f"{text!r} is no time. Enter it like 2026-11-25 09:23.") from None
    if moment.tzinfo is None:
        moment = moment.replace(tzinfo=ZoneInfo(zone))
    return as_text(moment.astimezone(UTC))
