"""Records to columns and to journal JSON, and back, by the types their fields declare.

A plain value (text, whole number, truth) is the same in the column and in the journal. A time
is text in both, the same text. A float is a double in its column and its shortest exact decimal
string in the journal, so that no engine's number type can bend a hash. What is nested (tuples,
dicts, small dataclasses) is canonical JSON text in its column and the same JSON in the journal.
"""

from __future__ import annotations

import math
import types
import typing
from collections.abc import Callable, Mapping, Sequence
from dataclasses import MISSING, Field, fields, is_dataclass
from datetime import datetime
from enum import StrEnum
from hashlib import sha256
from typing import Any, Generic, TypeVar, cast

from service.domain.moment import as_text
from service.domain.refused import Invalid
from service.storage.canonical import canonical

T = TypeVar("T")
Convert = Callable[[Any], Any]
Json = Any

TEXT, INTEGER, DOUBLE, BOOLEAN, JSON = "text", "integer", "double", "boolean", "json"

SECRETS: frozenset[tuple[str, str]] = frozenset(
    {("credentials", "password_hash"), ("api_tokens", "token_hash")}
)
"""Fields whose value stays in its table; the journal holds the SHA-256 of it instead."""


class Column(typing.NamedTuple):
    """How one field is kept: its kind of column, and the ways to the journal and back."""

    name: str
    kind: str
    nullable: bool
    secret: bool
    scalar: type[Any] | None
    """The one class of an exact value; None for what is nested."""
    to_plain: Convert
    """To what the journal holds."""
    from_plain: Convert | None
    """From what the journal holds; None when it is the value itself."""
    is_exact: Callable[[Any], bool]
    """Whether a value of the record already is what would be read back."""
    default: Any
    """What an entry written before the field existed is read as; MISSING when there is none."""


class Codec(Generic[T]):
    """Columns of one dataclass, and how its values are written and read."""

    def __init__(self, kind: type[T], table: str) -> None:
        self.kind = kind
        self.table = table
        hints = typing.get_type_hints(kind)
        declared = [f for f in fields(cast(Any, kind))]
        self.columns = tuple(_column(table, f, hints[f.name]) for f in declared)
        self.names = tuple(column.name for column in self.columns)
        self.has_secret = any(column.secret for column in self.columns)
        # The descriptors of the slots write a frozen value without going through its checks.
        self._setters = [getattr(kind, name).__set__ for name in self.names]

    def encode(self, value: T) -> tuple[list[Any], dict[str, Json], bool]:
        """Column values, the journal's row, and whether reading it back gives the same value."""
        row: list[Any] = []
        plain: dict[str, Json] = {}
        exact = not self.has_secret
        for name, kind, nullable, secret, scalar, to_plain, from_plain, is_exact, _ in self.columns:
            held = getattr(value, name)
            if held is None:
                if not nullable:
                    raise Invalid(name, f"{name} is missing. Fill it in.")
                row.append(None)
                plain[name] = None
                continue
            if type(held) is scalar:
                if from_plain is None:
                    row.append(held)
                    plain[name] = held if not secret else digest(held)
                    continue
            elif scalar is not None or not is_exact(held):
                exact = False
            try:
                journal = to_plain(held)
            except (TypeError, ValueError, AttributeError) as error:
                raise Invalid(
                    name, f"{name} cannot be stored as {held!r}: {error}. Enter another value."
                ) from error
            plain[name] = journal
            if kind is DOUBLE:
                row.append(float(held) + 0.0)
            elif kind is JSON:
                row.append(canonical(journal))
            else:
                row.append(journal)
        return row, plain, exact

    def decode(self, plain: Mapping[str, Json]) -> T:
        """A value from the journal's row; what was valid when written is not judged again."""
        value = object.__new__(self.kind)
        for column, assign in zip(self.columns, self._setters, strict=True):
            held = plain.get(column.name, MISSING)
            if held is MISSING:
                held = column.default
                if held is MISSING:
                    raise ValueError(f"the journal's row of {self.table} lacks {column.name}")
            elif held is not None and column.from_plain is not None:
                held = column.from_plain(held)
            assign(value, held)
        return value

    def normal(self, value: T) -> T:
        """The value as it will be read back, secrets replaced by their digests."""
        return self.decode(self.encode(value)[1])


_made: dict[type[Any], Codec[Any]] = {}


def codec_of(kind: type[Any]) -> Codec[Any]:
    """The codec of a dataclass that names its table, made once."""
    if kind not in _made:
        _made[kind] = Codec(kind, kind.table)
    return _made[kind]


def digest(secret: str) -> str:
    """What the journal holds in place of a secret."""
    return sha256(secret.encode()).hexdigest()


def _column(table: str, field: Field[Any], hint: Any) -> Column:
    inner, nullable = _without_none(hint)
    secret = (table, field.name) in SECRETS
    default = field.default
    if field.default_factory is not MISSING:
        default = field.default_factory()
    kind = _kind(inner)
    scalar = None if kind is JSON else inner
    return Column(field.name, kind, nullable, secret, scalar, *_ways(inner), default)


def _without_none(hint: Any) -> tuple[Any, bool]:
    if typing.get_origin(hint) in (types.UnionType, typing.Union):
        inner = [a for a in typing.get_args(hint) if a is not type(None)]
        if len(inner) == 1:
            return inner[0], True
        raise TypeError(f"a field of several types has no column: {hint}")
    return hint, False


def _kind(hint: Any) -> str:
    if hint is bool:
        return BOOLEAN
    if hint is int:
        return INTEGER
    if hint is float:
        return DOUBLE
    if hint in (str, datetime) or (isinstance(hint, type) and issubclass(hint, StrEnum)):
        return TEXT
    return JSON


def _ways(hint: Any) -> tuple[Convert, Convert | None, Callable[[Any], bool]]:
    """To the journal, from it, and the test whether a value comes back as it went."""
    inner, nullable = _without_none(hint)
    if nullable:
        to_plain, from_plain, is_exact = _ways(inner)
        return _or_none(to_plain), from_plain and _or_none(from_plain), _or_true(is_exact)
    if inner in _SCALARS:
        return (*_SCALARS[inner], _is_a(inner))
    if isinstance(inner, type) and issubclass(inner, StrEnum):
        return _enum_to_plain(inner), _enum_from_plain(inner), _is_a(inner)
    if is_dataclass(inner):
        return _nested_ways(cast(type[Any], inner))
    origin, arguments = typing.get_origin(inner), typing.get_args(inner)
    if origin is tuple:
        return _tuple_ways(arguments)
    if origin is dict:
        return _dict_ways(arguments)
    raise TypeError(f"no way to keep a field of type {hint}")


def plain_text(value: Any) -> str:
    """A text, also when it comes as a member of an enumeration."""
    if not isinstance(value, str):
        raise TypeError("it is not a text")
    return str.__str__(value)


def whole_number(value: Any) -> int:
    """A whole number, also when it comes as a float without a fraction."""
    number = int(value)
    if number != value or isinstance(value, str):
        raise ValueError("it is not a whole number")
    return number


def truth(value: Any) -> bool:
    """Yes or no; 1 and 0 are taken too."""
    if value not in (0, 1):
        raise ValueError("it is neither true nor false")
    return bool(value)


def decimal_text(number: float) -> str:
    """The shortest decimal string that reads back as the same double."""
    number = float(number)
    if not math.isfinite(number):
        raise ValueError("it is not a finite number")
    # Adding 0.0 makes -0.0 plain zero, which is all SQLite would keep of it.
    return repr(number + 0.0)


_SCALARS: dict[Any, tuple[Convert, Convert | None]] = {
    str: (plain_text, None),
    int: (whole_number, None),
    bool: (truth, None),
    float: (decimal_text, float),
    datetime: (as_text, datetime.fromisoformat),
}


def _is_a(kind: type[Any]) -> Callable[[Any], bool]:
    return lambda value: type(value) is kind


def _or_none(convert: Convert) -> Convert:
    return lambda value: None if value is None else convert(value)


def _or_true(test: Callable[[Any], bool]) -> Callable[[Any], bool]:
    return lambda value: value is None or test(value)


def _enum_to_plain(kind: type[StrEnum]) -> Convert:
    known = {member.value: member.value for member in kind}

    def to_plain(value: Any) -> str:
        try:
            return known[value]
        except (KeyError, TypeError):
            raise ValueError(f"it is not one of {', '.join(known)}") from None

    return to_plain


def _enum_from_plain(kind: type[StrEnum]) -> Convert:
    members = {member.value: member for member in kind}
    return members.__getitem__


def _nested_ways(kind: type[Any]) -> tuple[Convert, Convert, Callable[[Any], bool]]:
    hints = typing.get_type_hints(kind)
    parts = [(f.name, *_ways(hints[f.name])) for f in fields(kind)]
    setters = [getattr(kind, name).__set__ for name, *_ in parts]

    def to_plain(value: Any) -> dict[str, Json]:
        return {name: convert(getattr(value, name)) for name, convert, _, _ in parts}

    def from_plain(plain: Mapping[str, Json]) -> Any:
        value = object.__new__(kind)
        for (name, _, convert, _), assign in zip(parts, setters, strict=True):
            held = plain[name]
            assign(value, held if convert is None else convert(held))
        return value

    def is_exact(value: Any) -> bool:
        return type(value) is kind and all(test(getattr(value, name)) for name, *_, test in parts)

    return to_plain, from_plain, is_exact


def _tuple_ways(arguments: tuple[Any, ...]) -> tuple[Convert, Convert, Callable[[Any], bool]]:
    if len(arguments) == 2 and arguments[1] is Ellipsis:
        to_item, from_item, test = _ways(arguments[0])

        def to_plain(value: Any) -> list[Json]:
            return [to_item(item) for item in _sequence(value)]

        def from_plain(plain: list[Json]) -> tuple[Any, ...]:
            return tuple(plain) if from_item is None else tuple(map(from_item, plain))

        def is_exact(value: Any) -> bool:
            return type(value) is tuple and all(map(test, value))

        return to_plain, from_plain, is_exact
    ways = [_ways(argument) for argument in arguments]

    def to_plain_each(value: Any) -> list[Json]:
        return [way[0](item) for item, way in zip(_sequence(value), ways, strict=True)]

    def from_plain_each(plain: list[Json]) -> tuple[Any, ...]:
        return tuple(
            item if way[1] is None else way[1](item) for item, way in zip(plain, ways, strict=True)
        )

    def is_exact_each(value: Any) -> bool:
        return type(value) is tuple and all(
            way[2](item) for item, way in zip(value, ways, strict=True)
        )

    return to_plain_each, from_plain_each, is_exact_each


def _sequence(value: Any) -> Sequence[Any]:
    if not isinstance(value, tuple | list):
        raise TypeError("it is not a list")
    return value


def _dict_ways(arguments: tuple[Any, ...]) -> tuple[Convert, Convert, Callable[[Any], bool]]:
    if arguments[0] is not str:
        raise TypeError("only dicts with text keys can be kept")
    to_item, from_item, test = _ways(arguments[1])

    def to_plain(value: Any) -> dict[str, Json]:
        return {plain_text(key): to_item(item) for key, item in value.items()}

    def from_plain(plain: Mapping[str, Json]) -> dict[str, Any]:
        return {key: item if from_item is None else from_item(item) for key, item in plain.items()}

    def is_exact(value: Any) -> bool:
        return type(value) is dict and all(map(test, value.values()))

    return to_plain, from_plain, is_exact
