"""The lines of lists, kept in the same transaction as the changes that move them."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

from service.domain.line_making import lines_after, stale_lines
from service.domain.lines import Line
from service.domain.record_file import RecordFile
from service.domain.records.base import Record
from service.storage.schema import LINE_CODECS
from service.storage.sql import Sql, quoted

LineChange = tuple[str, str, list[Any] | None]
"""Table, id and values of a line; None for one to remove."""


def changes_after(file: RecordFile, records: Sequence[Record]) -> list[LineChange]:
    """What becomes of a job's lines; ``file`` already holds the records just added."""
    gone: list[LineChange] = [(kind.table, id, None) for kind, id in stale_lines(file, records)]
    return gone + as_changes(lines_after(file, records))


def as_changes(lines: Iterable[Line]) -> list[LineChange]:
    """These lines, to insert or replace."""
    return [(line.table, line.id, LINE_CODECS[line.table].encode(line)[0]) for line in lines]


class Lines:
    """Lines to write, each as the last change left it; those that stay as they are are not."""

    def __init__(self) -> None:
        self._wanted: dict[str, dict[str, list[Any] | None]] = {}

    def add(self, changes: Iterable[LineChange]) -> None:
        """Lines to insert, replace or remove."""
        for table, id, values in changes:
            self._wanted.setdefault(table, {})[id] = values

    def put_down(self, sql: Sql) -> None:
        """Write them."""
        for table, wanted in self._wanted.items():
            gone = [(id,) for id, values in wanted.items() if values is None]
            sql.many(f"DELETE FROM {quoted(table)} WHERE id = ?", gone)
            names = LINE_CODECS[table].names
            held = _held(sql, table, names, [id for id, values in wanted.items() if values])
            changed = [
                values
                for id, values in wanted.items()
                if values is not None and held.get(id) != values
            ]
            sql.put(table, names, changed, key="id")
        self._wanted = {}


def _held(sql: Sql, table: str, names: tuple[str, ...], ids: Sequence[str]) -> dict[str, list[Any]]:
    columns = ", ".join(map(quoted, names))
    id_at = names.index("id")
    held = {}
    for start in range(0, len(ids), 500):
        some = ids[start : start + 500]
        for row in sql.rows(
            f"SELECT {columns} FROM {quoted(table)} WHERE id IN ({', '.join('?' * len(some))})",
            some,
        ):
            held[row[id_at]] = list(row)
    return held


def put_lines(sql: Sql, lines: Iterable[Line]) -> None:
    """Write lines now."""
    wanted = Lines()
    wanted.add(as_changes(lines))
    wanted.put_down(sql)
