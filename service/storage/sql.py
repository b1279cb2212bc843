"""A connection to either engine behind one small face; statements are written with ``?``."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from functools import cache
from typing import Any

Row = tuple[Any, ...]
MOST_ROWS, MOST_VALUES = 64, 30_000
"""In one statement; SQLite takes 32,766 values, PostgreSQL 65,535."""


class Sql:
    """Runs statements on one DBAPI connection, on SQLite or on PostgreSQL."""

    def __init__(self, connection: Any, *, postgresql: bool) -> None:
        self.connection = connection
        self.postgresql = postgresql
        self._cursor = connection.cursor()

    def run(self, statement: str, values: Sequence[Any] = ()) -> int:
        """Execute; the number of rows it touched."""
        self._cursor.execute(self._text(statement), values)
        return int(self._cursor.rowcount)

    def rows(self, statement: str, values: Sequence[Any] = ()) -> list[Row]:
        """Execute and fetch everything."""
        self._cursor.execute(self._text(statement), values)
        return list(self._cursor.fetchall())

    def row(self, statement: str, values: Sequence[Any] = ()) -> Row | None:
        """Execute and fetch the first row."""
        self._cursor.execute(self._text(statement), values)
        found: Row | None = self._cursor.fetchone()
        return found

    def each(self, statement: str, values: Sequence[Any] = ()) -> Iterable[Row]:
        """Execute and hand over row by row, for results that should not lie in memory."""
        if self.postgresql:
            with self.connection.cursor(name="each") as cursor:
                cursor.execute(self._text(statement), values)
                yield from cursor
        else:
            yield from self.connection.cursor().execute(statement, values)

    def many(self, statement: str, rows: Sequence[Sequence[Any]]) -> None:
        """Execute once for each row of values."""
        if len(rows) == 1:
            self._cursor.execute(self._text(statement), rows[0])
        elif rows:
            self._cursor.executemany(self._text(statement), rows)

    def put(
        self,
        table: str,
        names: tuple[str, ...],
        rows: Sequence[Sequence[Any]],
        *,
        key: str | None = None,
    ) -> None:
        """Insert rows, with ``key`` in place of those that are there, in few statements."""
        most = min(MOST_ROWS, MOST_VALUES // len(names))
        done = 0
        while done < len(rows):
            # Powers of two, so that a few prepared statements serve every number of rows.
            count = 1 << (min(len(rows) - done, most).bit_length() - 1)
            values = [value for row in rows[done : done + count] for value in row]
            if key is None:
                self.run(insert_into(table, names, count), values)
            else:
                self.run(upsert_into(table, names, key, count), values)
            done += count

    def _text(self, statement: str) -> str:
        return for_psycopg(statement) if self.postgresql else statement


@cache
def for_psycopg(statement: str) -> str:
    """The statement with psycopg's placeholders; ``?`` is used for nothing else in ours."""
    return statement.replace("%", "%%").replace("?", "%s")


def quoted(name: str) -> str:
    """A table or column name as both engines take it (``limit`` is a word of SQL)."""
    return f'"{name}"'


@cache
def insert_into(table: str, names: tuple[str, ...], rows: int = 1) -> str:
    """INSERT of so many rows in one statement."""
    columns = ", ".join(map(quoted, names))
    row = f"({', '.join('?' * len(names))})"
    return f"INSERT INTO {quoted(table)} ({columns}) VALUES {', '.join([row] * rows)}"


@cache
def upsert_into(table: str, names: tuple[str, ...], key: str, rows: int = 1) -> str:
    """INSERT of so many rows, or UPDATE of those whose key is there."""
    changes = ", ".join(f"{quoted(n)} = excluded.{quoted(n)}" for n in names if n != key)
    inserting = insert_into(table, names, rows)
    return f"{inserting} ON CONFLICT ({quoted(key)}) DO UPDATE SET {changes}"
