"""Forms: what a person typed, as a command; what cannot be taken, as an error at its field."""

from __future__ import annotations

import types
from collections.abc import Mapping, Sequence
from dataclasses import MISSING, Field, dataclass, fields, is_dataclass
from datetime import UTC, datetime
from enum import Enum
from typing import Any, TypeVar, Union, get_args, get_origin, get_type_hints
from uuid import uuid4
from zoneinfo import ZoneInfo

from starlette.datastructures import UploadFile
from starlette.requests import Request

from service.domain.refused import Invalid, Refused
from service.use_cases.command import Command
from service.web.refusals import TooLarge

C = TypeVar("C", bound=Command)
D = TypeVar("D")

_NUMBER_SIGNS = str.maketrans({",": ".", "\u2212": "-", "\u00a0": "", "\u202f": "", " ": ""})


@dataclass(frozen=True, slots=True)
class FormError:
    """What is wrong with a field; ``field`` is the id of its element, for the kit's links."""

    field: str
    message: str


class FormRefused(Refused):
    """A form with fields that cannot be taken."""

    def __init__(self, errors: Sequence[FormError]) -> None:
        super().__init__(" ".join(error.message for error in errors))
        self.errors = tuple(errors)


class Form:
    """The fields of a form as they were typed, and what is wrong with them.

    An empty form stands for one that was not sent yet, so a template fills its fields from the
    same object in both cases: ``form.value("slot", "A-12")`` gives what was typed, else the
    given default.
    """

    def __init__(
        self,
        typed: Mapping[str, Sequence[str]] | None = None,
        files: Mapping[str, UploadFile] | None = None,
        zone: str = "UTC",
    ) -> None:
        self._typed = typed or {}
        self._files = files or {}
        self._zone = zone
        self._errors: list[FormError] = []
        self.sent = typed is not None

    @property
    def id(self) -> str:
        """The id of the entry this form makes: put it in a hidden field named ``id``.

        Made once, when the form is first shown, so that a form sent twice is entered once.
        """
        return self.value("id") or str(uuid4())

    @property
    def errors(self) -> tuple[FormError, ...]:
        """What is wrong, in the order of the fields, for ``error_summary``."""
        return tuple(self._errors)

    def error(self, name: str) -> str:
        """What is wrong with one field, empty when nothing is."""
        return next((e.message for e in self._errors if e.field == f"f-{name}"), "")

    def value(self, name: str, default: str = "") -> str:
        """What was typed into a field, else ``default``."""
        typed = self._typed.get(name)
        if typed:
            return typed[-1].strip()
        return "" if self.sent else default

    def exact(self, name: str) -> str:
        """What was typed to the last space, as a password is."""
        typed = self._typed.get(name)
        return typed[-1] if typed else ""

    def needed(self, name: str) -> str:
        """What was typed into a field that must not be empty."""
        text = self.value(name)
        if not text:
            raise Invalid(name, f"The {name.replace('_', ' ')} is missing. Fill it in.")
        return text

    def values(self, name: str) -> tuple[str, ...]:
        """Everything that was chosen or typed under one name."""
        return tuple(text.strip() for text in self._typed.get(name, ()) if text.strip())

    def names(self, prefix: str) -> tuple[str, ...]:
        """The names of the fields of a prefix that were sent."""
        return tuple(name for name in self._typed if name.startswith(prefix))

    def ticked(self, name: str, default: bool = False) -> bool:
        """Whether a box is ticked."""
        return bool(self._typed.get(name)) if self.sent else default

    def number(self, name: str) -> float | None:
        """A number as typed, with comma or point; None when nothing was. Refuses what is none."""
        text = self.value(name)
        return None if not text else _number(name, text)

    def moment(self, name: str) -> datetime | None:
        """A time by the shop's clock; None when the field is empty."""
        text = self.value(name)
        return _moment(name, text, self._zone) if text else None

    def uploaded(self, name: str, most_bytes: int) -> bytes:
        """The bytes of a sent file, empty when there is none."""
        file = self._files.get(name)
        if file is None:
            return b""
        content = file.file.read(most_bytes + 1)
        if len(content) > most_bytes:
            raise TooLarge("The file", most_bytes)
        return content

    def uploaded_name(self, name: str) -> str:
        """The name a sent file had where it came from, empty when there is none."""
        file = self._files.get(name)
        return "" if file is None else file.filename or ""

    def command(self, kind: type[C], **fixed: Any) -> C:
        """The command a form asks for.

        A field of the command is read from the field of its name; one of a dataclass inside it
        from ``outer.inner`` (``set_up.booth``); several from ``outer.0.inner``, ``outer.1.inner``
        and on; a tuple of texts from every field of the name. An empty field takes the command's
        default. ``fixed`` gives the fields that come from elsewhere.

        Raises
        ------
        FormRefused
            Naming every field that cannot be taken.
        """
        return self.read(kind, "", fixed)

    def read(self, kind: type[D], prefix: str, fixed: Mapping[str, Any] | None = None) -> D:
        """Any dataclass from the fields of a prefix; see ``command``."""
        fixed = fixed or {}
        errors: list[FormError] = []
        values: dict[str, Any] = dict(fixed)
        hints = _hints(kind)
        for field in fields(kind):  # type: ignore[arg-type]
            if field.name in fixed or not field.init:
                continue
            try:
                found = self._field(hints[field.name], prefix + field.name, field)
            except FormRefused as refused:
                errors += refused.errors
                continue
            except Invalid as invalid:
                errors.append(FormError(f"f-{prefix}{field.name}", str(invalid)))
                continue
            if found is not MISSING:
                values[field.name] = found
        if errors:
            self._errors += [e for e in errors if e not in self._errors]
            raise FormRefused(errors)
        try:
            return kind(**values)
        except Invalid as invalid:
            raise FormRefused([FormError(f"f-{prefix}{invalid.field}", str(invalid))]) from invalid

    def refuse(self, refusal: Refused) -> None:
        """Show a refusal with the form: at its field when it names one, else at the top."""
        if isinstance(refusal, FormRefused):
            found = list(refusal.errors)
        elif isinstance(refusal, Invalid):
            found = [FormError(f"f-{self._full_name(refusal.field)}", str(refusal))]
        else:
            found = [FormError("main", str(refusal))]
        self._errors += [error for error in found if error not in self._errors]

    def _full_name(self, field: str) -> str:
        """The form's own name of a field that a record named: ``booth`` may be set_up.booth."""
        if field in self._typed:
            return field
        ends = [name for name in self._typed if name.rpartition(".")[2] == field]
        return ends[0] if len(ends) == 1 else field

    def _field(self, hint: Any, name: str, field: Field[Any]) -> Any:
        optional = field.default is not MISSING or field.default_factory is not MISSING
        if get_origin(hint) in (Union, types.UnionType):
            hint = next(option for option in get_args(hint) if option is not type(None))
        if is_dataclass(hint):
            given = any(key.startswith(f"{name}.") for key in self._typed)
            if not given and optional:
                return MISSING
            return self.read(hint, f"{name}.")  # type: ignore[arg-type]
        if get_origin(hint) is tuple:
            found = self._several(get_args(hint)[0], name)
            if found is MISSING and not optional:
                raise _missing(field, name)
            return found
        text = self.value(name)
        if hint is bool and name in self._typed:
            return text.casefold() in ("yes", "true", "on", "1") if text else MISSING
        if not text:
            if optional or hint is bool:
                return MISSING if optional else False
            raise _missing(field, name)
        return self._value(hint, name, text)

    def _several(self, of: Any, name: str) -> Any:
        if is_dataclass(of):
            places = {
                key[len(name) + 1 :].partition(".")[0]
                for key in self._typed
                if key.startswith(f"{name}.")
            }
            numbers = sorted(int(place) for place in places if place.isdigit())
            rows = [n for n in numbers if self._row_is_filled(f"{name}.{n}.")]
            return tuple(self.read(of, f"{name}.{n}.") for n in rows) or MISSING  # type: ignore[arg-type]
        texts = self.values(name)
        return tuple(self._value(of, name, text) for text in texts) or MISSING

    def _row_is_filled(self, prefix: str) -> bool:
        return any(
            text.strip()
            for key, typed in self._typed.items()
            if key.startswith(prefix)
            for text in typed
        )

    def _value(self, hint: Any, name: str, text: str) -> Any:
        if hint is float:
            return _number(name, text)
        if hint is int:
            number = _number(name, text)
            if number != int(number):
                raise Invalid(name, f"{text!r} is no whole number. Enter one.")
            return int(number)
        if hint is datetime:
            return _moment(name, text, self._zone)
        if isinstance(hint, type) and issubclass(hint, Enum):
            try:
                return hint(text)
            except ValueError:
                known = ", ".join(str(word.value) for word in hint)
                raise Invalid(name, f"{text!r} is unknown. Pick one of: {known}.") from None
        return text


def _missing(field: Field[Any], name: str) -> Invalid:
    words = field.name.replace("_ids", "").replace("_id", "").replace("_", " ")
    return Invalid(name, f"The {words} is missing. Fill it in.")


async def read_form(request: Request) -> Form:
    """The form that was sent; a dependency for page routes."""
    typed: dict[str, list[str]] = {}
    files: dict[str, UploadFile] = {}
    sent = await request.form(max_files=8, max_fields=500)
    for name, value in sent.multi_items():
        if isinstance(value, UploadFile):
            if value.filename:
                files[name] = value
        else:
            typed.setdefault(name, []).append(value.replace("\r\n", "\n"))
    return Form(typed, files, request.app.state.services.settings.shown_zone)


_HINTS: dict[type[Any], dict[str, Any]] = {}


def _hints(kind: type[Any]) -> dict[str, Any]:
    if kind not in _HINTS:
        _HINTS[kind] = get_type_hints(kind)
    return _HINTS[kind]


def _number(name: str, text: str) -> float:
    try:
        number = float(text.translate(_NUMBER_SIGNS))
    except ValueError:
        raise Invalid(name, f"{text!r} is no number. Enter one, like 12.5 or 12,5.") from None
    if number != number or number in (float("inf"), float("-inf")):
        raise Invalid(name, f"{text!r} is no number. Enter one, like 12.5 or 12,5.")
    return number


def _moment(name: str, text: str, zone: str) -> datetime:
    try:
        moment = datetime.fromisoformat(text)
    except ValueError:
        raise Invalid(name, f"{text!r} is no time. Enter it like 2026-11-25 09:23.") from None
    if moment.tzinfo is None:
        moment = moment.replace(tzinfo=ZoneInfo(zone))
    return moment.astimezone(UTC)
