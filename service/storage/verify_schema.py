"""What the database itself must still have: its append-only triggers and whole references."""

from __future__ import annotations

from service.storage.report import Report
from service.storage.schema import CODECS, RECORDS, parent_of
from service.storage.sql import Sql

_APPEND_ONLY = [*CODECS, "journal"]


def check_schema(sql: Sql, report: Report) -> None:
    """Find missing triggers, references to nothing, rows of no shop and a damaged file."""
    if sql.postgresql:
        rows = sql.rows(
            "SELECT c.relname || ' ' || t.tgname FROM pg_trigger t "
            "JOIN pg_class c ON c.oid = t.tgrelid JOIN pg_proc p ON p.oid = t.tgfoid "
            "WHERE p.proname = 'refuse_change' AND t.tgenabled IN ('O', 'A')"
        )
        needed = [f"{t} {name}" for t in _APPEND_ONLY for name in ("append_only", "never_emptied")]
    else:
        rows = sql.rows(
            "SELECT name FROM sqlite_schema WHERE type = 'trigger' AND sql LIKE '%RAISE(ABORT%'"
        )
        needed = [f"{t}_no_{doing}" for t in _APPEND_ONLY for doing in ("update", "delete")]
    held = {str(row[0]) for row in rows}
    for name in needed:
        if name not in held:
            report.found(f"trigger {name}", "it is missing, so the table could be changed")
    if not sql.postgresql:
        for (message,) in sql.rows("PRAGMA integrity_check"):
            if message != "ok":
                report.found("the database file", str(message))
    for kind in RECORDS:
        for column in CODECS[kind.table].names:
            parent = parent_of(kind, column)
            if parent is not None:
                _check_reference(sql, report, kind.table, column, parent)
    _check_owner(sql, report)


def _check_reference(sql: Sql, report: Report, table: str, column: str, parent: str) -> None:
    row = sql.row(
        f'SELECT child.id, child."{column}" FROM "{table}" AS child '
        f'LEFT JOIN "{parent}" AS parent ON parent.id = child."{column}" '
        f'WHERE child."{column}" IS NOT NULL AND parent.id IS NULL LIMIT 1'
    )
    if row is not None:
        report.found(f"{table} {row[0]}", f"column {column} names {row[1]}, which is not there")


def _check_owner(sql: Sql, report: Report) -> None:
    for table in _APPEND_ONLY:
        row = sql.row(
            f'SELECT shop_id FROM "{table}" WHERE shop_id NOT IN (SELECT id FROM shops) LIMIT 1'
        )
        if row is not None:
            report.found(table, f"it has rows of a shop {row[0]} that is not there")
