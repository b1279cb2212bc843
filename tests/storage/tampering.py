"""Changing a record behind the program's back, as somebody with the file or the server could."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from typing import Any

from service.storage import triggers
from service.storage.codec import BOOLEAN, DOUBLE, INTEGER
from service.storage.database import FILE
from service.storage.engine import choose_sqlite, connect_postgresql
from service.storage.schema import CODECS, LINE_CODECS
from service.storage.sql import Sql
from tests.conftest import Place

APPEND_ONLY = [*CODECS, "journal"]


@contextmanager
def tampering(place: Place, *tables: str) -> Iterator[Sql]:
    """A connection that no trigger and no reference stops; the triggers are there again after."""
    if place.url is not None:
        sql = Sql(connect_postgresql(place.url, reading=False), postgresql=True)
        sql.run("SET session_replication_role = replica")
        sql.run("SET synchronous_commit = off")
        yield sql
    else:
        module = choose_sqlite().module
        connection = module.connect((place.folder / FILE).as_posix(), isolation_level=None)
        sql = Sql(connection, postgresql=False)
        guarded = [table for table in tables or APPEND_ONLY if table in APPEND_ONLY]
        sql.run("PRAGMA synchronous = OFF")
        sql.run("BEGIN")
        for statement in triggers.dropping(guarded, postgresql=False):
            sql.run(statement)
        yield sql
        for statement in triggers.making(guarded, postgresql=False):
            sql.run(statement)
        sql.run("COMMIT")
    sql.connection.close()


class Tampered:
    """Some columns of one row of a table, changed and put back again."""

    def __init__(self, sql: Sql, table: str, columns: Sequence[str]) -> None:
        self.sql = sql
        self.table = table
        self.columns = columns
        keys = {"journal": ("hash", "change_id"), "heads": ("hash", "chain")}.get(table, ("id",))
        self.key = next((key for key in keys if key not in columns), keys[0])
        names = ", ".join(f'"{name}"' for name in (*columns, self.key))
        filled = " AND ".join(f'"{name}" IS NOT NULL' for name in columns)
        order = "position" if "position" in columns_of(sql, table) else "id"
        select = f'SELECT {names} FROM "{table}"'
        row = sql.row(f'{select} WHERE {filled} ORDER BY "{order}" DESC') or sql.row(
            f'{select} ORDER BY "{order}" DESC'
        )
        assert row is not None, table
        *self.held, self.id = row
        self.new = [
            other_than(held, _kind(table, name))
            for name, held in zip(columns, self.held, strict=True)
        ]

    def put(self) -> None:
        """Change the row."""
        self._update(self.new, self.id)

    def put_back(self) -> None:
        """Make the row what it was."""
        renamed = self.key in self.columns
        self._update(self.held, self.new[self.columns.index(self.key)] if renamed else self.id)

    def _update(self, values: Sequence[Any], id: Any) -> None:
        changes = ", ".join(f'"{name}" = ?' for name in self.columns)
        statement = f'UPDATE "{self.table}" SET {changes} WHERE "{self.key}" = ?'
        assert self.sql.run(statement, (*values, id)) == 1


def columns_of(sql: Sql, table: str) -> list[str]:
    """Names of a table's columns."""
    cursor = sql.connection.cursor()
    cursor.execute(f'SELECT * FROM "{table}" WHERE 1 = 0')
    return [column[0] for column in cursor.description]


def other_than(held: Any, kind: str) -> Any:
    """A value that is not this one, and no further from it than it must be."""
    if held is None:
        return {BOOLEAN: True, INTEGER: 1, DOUBLE: 1.5}.get(kind, "x")
    if kind == BOOLEAN:
        return not held
    if isinstance(held, float):
        return math.nextafter(held, math.inf)
    if isinstance(held, int):
        return held + 1
    if held == "":
        return "x"
    return held[:-1] + ("0" if held[-1] != "0" else "1")


def _kind(table: str, name: str) -> str:
    codec = CODECS.get(table) or LINE_CODECS.get(table)
    columns = codec.columns if codec else ()
    return next((column.kind for column in columns if column.name == name), "")
