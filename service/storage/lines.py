"""The lines of lists, kept in the same transaction as the change that moves them."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from service.domain.line_making import lines_after, stale_lines
from service.domain.lines import Line
from service.domain.record_file import RecordFile
from service.domain.records.base import Record
from service.storage.schema import LINE_CODECS
from service.storage.sql import Sql, quoted, upsert_into


def write_lines(sql: Sql, file: RecordFile, records: Sequence[Record]) -> None:
    """Bring a job's lines up to its file, to which these records were just added."""
    for kind, id in stale_lines(file, records):
        sql.run(f"DELETE FROM {quoted(kind.table)} WHERE id = ?", (id,))
    put_lines(sql, lines_after(file, records))


def put_lines(sql: Sql, lines: Sequence[Line]) -> None:
    """Insert or replace lines."""
    tables: dict[str, list[list[Any]]] = {}
    for line in lines:
        tables.setdefault(line.table, []).append(LINE_CODECS[line.table].encode(line)[0])
    for table, rows in tables.items():
        sql.many(upsert_into(table, LINE_CODECS[table].names), rows)
