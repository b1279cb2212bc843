"""Holding every row of the tables against what the journal says it should be."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator, Mapping
from dataclasses import MISSING
from typing import Any

from service.storage.codec import SECRETS
from service.storage.report import Report
from service.storage.schema import CODECS, JOB_TABLES, LINE_CODECS
from service.storage.sql import Sql, for_psycopg

_PLACE = ("position", "ordinal")
_GONE = object()


class _Walk:
    """The rows of one record table in the order of the journal, one at a time."""

    def __init__(self, sql: Sql, table: str, shop_id: str, number: int) -> None:
        self.table = table
        self.names = _column_names(sql, table)
        self._chain = "job_id" if table in JOB_TABLES else "shop_id"
        columns = ", ".join(f'"{name}"' for name in self.names)
        order = f'"{self._chain}", position, ordinal'
        # The shop's chain comes first in the journal; a table has one kind of chain only.
        self._cursor = (
            sql.connection.cursor(name=f"walk{number}")
            if sql.postgresql
            else sql.connection.cursor()
        )
        statement = f'SELECT {columns} FROM "{table}" WHERE shop_id = ? ORDER BY {order}'
        self._cursor.execute(for_psycopg(statement) if sql.postgresql else statement, (shop_id,))
        self._rows: Iterator[tuple[Any, ...]] = iter(self._cursor)
        self.row: dict[str, Any] | None = None
        self.step()

    def step(self) -> None:
        """Go to the next row."""
        values = next(self._rows, None)
        self.row = None if values is None else dict(zip(self.names, values, strict=True))

    def close(self) -> None:
        """Give the cursor back."""
        self._cursor.close()

    @property
    def place(self) -> tuple[str, int, int] | None:
        """Where the row at hand says it stands in the journal."""
        if self.row is None:
            return None
        # SQLite keeps whatever somebody puts into a column; what is no number comes first and
        # so is nobody's row.
        position, ordinal = (
            held if type(held) is int else -1
            for held in (self.row["position"], self.row["ordinal"])
        )
        return str(self.row[self._chain]), position, ordinal


class RecordRows:
    """Every record table, walked beside the journal."""

    def __init__(self, sql: Sql, shop_id: str, report: Report, *, secrets: bool) -> None:
        self._report = report
        self._secrets = secrets
        self._walks = {
            table: _Walk(sql, table, shop_id, number) for number, table in enumerate(CODECS)
        }

    def expect(self, chain: str, position: int, ordinal: int, item: Mapping[str, Any]) -> None:
        """The next row of a table must be this one."""
        self._report.count("records")
        walk = self._walks.get(item["table"])
        where = f"{item['table']} {item['row'].get('id')} (entry {position} of {chain})"
        if walk is None:
            self._report.found(where, "there is no such table")
            return
        place = (chain, position, ordinal)
        while walk.place is not None and walk.place < place:
            self._unexpected(walk)
        if walk.row is None or walk.place != place:
            self._report.found(where, "the row is missing from its table")
            return
        self._compare(where, walk, item["row"])
        walk.step()

    def close(self) -> None:
        """Give the cursors back."""
        for walk in self._walks.values():
            walk.close()

    def finish(self) -> None:
        """Whatever is left in the tables is in no entry."""
        for walk in self._walks.values():
            while walk.row is not None:
                self._unexpected(walk)

    def _unexpected(self, walk: _Walk) -> None:
        assert walk.row is not None
        self._report.found(
            f"{walk.table} {walk.row.get('id')}", "the row is in no entry of the journal"
        )
        walk.step()

    def _compare(self, where: str, walk: _Walk, told: Mapping[str, Any]) -> None:
        assert walk.row is not None
        for name, held in walk.row.items():
            if name in _PLACE:
                continue
            said = told[name] if name in told else _said_by_default(walk.table, name)
            if self._secrets and (walk.table, name) in SECRETS and isinstance(held, str):
                held = hashlib.sha256(held.encode()).hexdigest()
            if not agree(held, said):
                self._report.found(
                    where, f"column {name} holds {_short(held)}, the journal says {_short(said)}"
                )
        for name in told.keys() - walk.row.keys():
            self._report.found(where, f"the table has no column {name}")


def agree(held: Any, said: Any) -> bool:
    """Whether a column holds what the journal says, in whatever form its engine has for it."""
    if said is None or held is None:
        return said is None and held is None
    if isinstance(said, bool):
        return type(held) in (bool, int) and held in (0, 1) and bool(held) == said
    if isinstance(said, int):
        return type(held) is int and held == said
    if isinstance(said, str):
        # A double is text in the journal: the shortest that reads back as the same double.
        return repr(held) == said if isinstance(held, float) else bool(held == said)
    text = json.dumps(said, ensure_ascii=False, sort_keys=True, separators=(",", ":"))
    return bool(held == text)


class LineRows:
    """Every table of lines; what is expected is looked up by id, and all must be expected."""

    def __init__(self, sql: Sql, shop_id: str, report: Report) -> None:
        self._sql = sql
        self._shop_id = shop_id
        self._report = report
        self._expected = dict.fromkeys(LINE_CODECS, 0)

    def expect(self, table: str, line: Mapping[str, Any]) -> None:
        """There must be this line."""
        self._report.count("lines")
        names = LINE_CODECS[table].names
        columns = ", ".join(f'"{name}"' for name in names)
        row = self._sql.row(
            f'SELECT {columns} FROM "{table}" WHERE id = ? AND shop_id = ?',
            (line["id"], self._shop_id),
        )
        where = f"{table} {line['id']}"
        if row is None:
            self._report.found(where, "the line is missing")
            return
        self._expected[table] += 1
        for name, held in zip(names, row, strict=True):
            said = line[name]
            same = held is None if said is None else held is not None and held == said
            if not same:
                self._report.found(
                    where, f"column {name} holds {_short(held)}, its job gives {_short(said)}"
                )

    def finish(self) -> None:
        """There must be no other line."""
        for table, expected in self._expected.items():
            row = self._sql.row(
                f'SELECT COUNT(*) FROM "{table}" WHERE shop_id = ?', (self._shop_id,)
            )
            held = row[0] if row else 0
            if held != expected:
                self._report.found(
                    table, f"it has {held} lines, {expected} of them stand for something"
                )


def _said_by_default(table: str, name: str) -> Any:
    """What an entry from before a column existed stands for."""
    for column in CODECS[table].columns:
        if column.name == name and column.default is not MISSING:
            default = column.default
            return None if default is None else column.to_plain(default)
    return _GONE


def _column_names(sql: Sql, table: str) -> list[str]:
    if sql.postgresql:
        rows = sql.rows(
            "SELECT column_name FROM information_schema.columns "
            "WHERE table_schema = current_schema() AND table_name = ? ORDER BY ordinal_position",
            (table,),
        )
    else:
        rows = sql.rows("SELECT name FROM pragma_table_info(?)", (table,))
    return [str(row[0]) for row in rows]


def _short(value: Any) -> str:
    if value is _GONE:
        return "nothing"
    text = repr(value)
    return text if len(text) <= 80 else f"{text[:77]}..."
