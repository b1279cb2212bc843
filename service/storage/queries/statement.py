"""Putting a query together: conditions with their values, rows into lines, pages by key."""

from __future__ import annotations

import base64
import binascii
import re
from collections.abc import Iterable, Sequence
from datetime import date, timedelta
from typing import Any, NamedTuple, TypeVar

from service.domain.lines import Line
from service.domain.refused import Invalid
from service.storage.codec import BOOLEAN
from service.storage.schema import LINE_CODECS
from service.storage.sql import Row, Sql, quoted

L = TypeVar("L", bound=Line)

LONGEST_TEXT = 200
MOST_WORDS = 20


class Key(NamedTuple):
    """Where a list that is ordered by time, then id, was left."""

    at: str
    id: str

    def as_text(self) -> str:
        """The key as it goes to whoever asks for the next page."""
        packed = base64.urlsafe_b64encode(f"{self.at} {self.id}".encode())
        return packed.decode().rstrip("=")

    @classmethod
    def from_text(cls, text: str | None) -> Key | None:
        """Read what ``as_text`` wrote; None stands for the first page."""
        if text is None:
            return None
        try:
            packed = base64.b64decode(text + "=" * (-len(text) % 4), altchars=b"-_", validate=True)
            found = _KEY.fullmatch(packed.decode("ascii"))
        except (binascii.Error, ValueError):
            found = None
        if found is None:
            shown = text if len(text) <= 80 else f"{text[:77]}..."
            raise Invalid(
                "after",
                f"{shown!r} is not the mark of a page. Start the list again from its first page.",
            )
        return cls(*found.groups())


_KEY = re.compile(r"(\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{6}Z) ([0-9a-f-]{36})")


class Conditions:
    """What a row must fulfil; the shop it belongs to before all."""

    def __init__(self, shop_id: str) -> None:
        self.shop_id = shop_id
        self._texts = ["shop_id = ?"]
        self.values: list[Any] = [shop_id]
        self.impossible = False
        """Whether no row can fulfil them, so that the database need not be asked."""

    @property
    def sql(self) -> str:
        """The text that goes behind WHERE."""
        return " AND ".join(self._texts)

    def copy(self) -> Conditions:
        """The same conditions, to be narrowed further."""
        new = Conditions(self.shop_id)
        new._texts, new.values = list(self._texts), list(self.values)
        new.impossible = self.impossible
        return new

    def add(self, text: str, *values: Any) -> None:
        """One more condition."""
        self._texts.append(text)
        self.values.extend(values)
        # No record holds a NUL or half a character: the journal refuses both.
        self.impossible |= any(isinstance(v, str) and not storable(v) for v in values)

    def equal(self, **columns: str) -> None:
        """Each column must hold its value, unless the value is empty."""
        for column, value in columns.items():
            if value:
                self.add(f"{quoted(column)} = ?", value)

    def words(self, text: str) -> None:
        """Each word must occur in ``search``."""
        check_length("text", "The search", text)
        words = list(dict.fromkeys(text.casefold().split()))
        if len(words) > MOST_WORDS:
            raise Invalid("text", f"The search has {len(words)} words. Keep it to {MOST_WORDS}.")
        for word in words:
            self.contains(word)

    def contains(self, folded: str) -> None:
        """``search`` must contain a text that is folded already."""
        self.add(r"search LIKE ? ESCAPE '\'", f"%{escaped(folded)}%")

    def element(self, column: str, value: str) -> None:
        """The value must be one of those that the column holds joined by commas."""
        if value:
            # REPLACE minds the case on both engines, LIKE on one of them only.
            whole = f"', ' || {quoted(column)} || ', '"
            self.add(f"REPLACE({whole}, ?, '') <> {whole}", f", {value}, ")

    def of_finish(self, finish_id: str) -> None:
        """The row must belong to a finish; it is found through the finish's job."""
        if finish_id:
            self.equal(finish_id=finish_id)
            self.add("job_id = (SELECT job_id FROM finishes WHERE id = ?)", finish_id)

    def sprayed(self, first: str, last: str) -> None:
        """``sprayed_at`` must lie in the days from first to last, in UTC, both included."""
        if first:
            self.add("sprayed_at >= ?", _day("sprayed_from", first).isoformat())
        if last:
            day = _day("sprayed_to", last)
            if day < date.max:
                self.add("sprayed_at < ?", (day + timedelta(days=1)).isoformat())

    def before(self, key: Key | None, time: str = "sprayed_at") -> None:
        """Only what comes after the key in a list that shows the newest first."""
        if key is not None:
            self.add(f"({time}, id) < (?, ?)", *key)


def escaped(text: str) -> str:
    """The text for a LIKE pattern whose escape is the backslash."""
    return text.replace("\\", "\\\\").replace("%", "\\%").replace("_", "\\_")


def one_of(values: Sequence[str]) -> tuple[str, list[str]]:
    """An IN list; filled up to a power of two, so that there are few different statements."""
    length = 1 << max(len(values) - 1, 0).bit_length()
    last = values[-1]
    return f"({', '.join('?' * length)})", [*values, *[last] * (length - len(values))]


def columns_of(kind: type[Line]) -> str:
    """The columns of a line's table, in the order of its fields."""
    return _COLUMNS[kind.table]


def lines_from(sql: Sql, kind: type[L], rows: Iterable[Row]) -> list[L]:
    """Rows of ``columns_of`` as lines."""
    names = LINE_CODECS[kind.table].names
    # The descriptors of the slots write a frozen value without an __init__ of thirty names.
    setters = [getattr(kind, name).__set__ for name in names]
    lines: list[L] = []
    for row in rows:
        line = object.__new__(kind)
        for assign, held in zip(setters, row, strict=True):
            assign(line, held)
        if not sql.postgresql:
            for place in _TRUTHS[kind.table]:
                setters[place](line, bool(row[place]))
        lines.append(line)
    return lines


_COLUMNS = {t: ", ".join(map(quoted, codec.names)) for t, codec in LINE_CODECS.items()}
_TRUTHS = {
    table: [place for place, column in enumerate(codec.columns) if column.kind == BOOLEAN]
    for table, codec in LINE_CODECS.items()
}


def check_length(field: str, what: str, text: str) -> None:
    """Refuse a search text longer than any that the record holds."""
    if len(text) > LONGEST_TEXT:
        raise Invalid(field, f"{what} has {len(text)} characters. Keep it to {LONGEST_TEXT}.")


def check_limit(limit: int) -> None:
    """Refuse a page of no length; how long one may be is for whoever shows it to say."""
    if limit < 1:
        raise ValueError(f"limit must be 1 or more, got {limit}")


def _day(field: str, text: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise Invalid(field, f"{text!r} is not a date. Write it like 2026-11-25.") from None


def storable(text: str) -> bool:
    """Whether a record can hold the text, and an engine take it as a value."""
    if "\0" in text:
        return False
    try:
        text.encode()
    except UnicodeEncodeError:
        return False
    return True
