"""Reading a list newest first: along an index, and for what is rare through the whole table.

SQLite plans without statistics here and takes ``shop_id = ?`` for more selective than it is, so
every statement names its index on SQLite. PostgreSQL gathers statistics and plans by itself.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any, Generic

from service.domain.lines import BatchLine, CardLine, JobLine
from service.storage.queries.statement import Conditions, Key, L, columns_of, lines_from
from service.storage.sql import Sql
from service.use_cases.queries import Page

# What one line in forty, or in three hundred, has fills a page from this many of the newest.
# Reading them one by one along the index takes some two and twenty milliseconds.
WINDOWS = (2_048, 16_384)
# So many more are read along the index if the windows give hope that they fill the page. What
# is rarer still is cheaper to find by reading the table as it lies on the disk, and sorting.
LAST_WINDOW = 65_536
CHUNK = 256


@dataclass(frozen=True)
class Listed(Generic[L]):
    """A table of lines as a list: what orders it, and the index in that order."""

    kind: type[L]
    time: str
    index: str

    def key_of(self, line: L) -> Key:
        """The key of the lines behind this one."""
        return Key(getattr(line, self.time), line.id)


CARDS = Listed(CardLine, "sprayed_at", "ix_card_lines_shop_id_sprayed_at_id")
BATCHES = Listed(BatchLine, "sprayed_at", "ix_batch_lines_shop_id_sprayed_at_id")
JOBS = Listed(JobLine, "opened_at", "ix_job_lines_shop_id_opened_at_id")

OF_JOB = "ix_batch_lines_of_job"
JOINTS_OF_JOB = "ix_joint_lines_of_job"


def along(sql: Sql, table: str, index: str | None) -> str:
    """The table for FROM, on SQLite with the index to use; None to use none at all."""
    if sql.postgresql:
        return table
    return f"{table} NOT INDEXED" if index is None else f"{table} INDEXED BY {index}"


def by_id(sql: Sql, table: str) -> str:
    """The table for FROM when its rows are sought by their ids."""
    return along(sql, table, f"sqlite_autoindex_{table}_1")


def page(
    listed: Listed[L],
    lines: Iterator[L],
    limit: int,
    fits: Callable[[L], bool] | None = None,
) -> Page[L]:
    """The first lines that fit; one more than asked for tells whether there is another page."""
    found: list[L] = []
    for line in lines:
        if fits is None or fits(line):
            found.append(line)
            if len(found) > limit:
                break
    more = len(found) > limit
    return Page(
        lines=tuple(found[:limit]),
        after=listed.key_of(found[limit - 1]).as_text() if more else None,
    )


def in_order(
    sql: Sql,
    listed: Listed[L],
    conditions: Conditions,
    key: Key | None,
    wanted: int,
    index: str | None = None,
) -> Iterator[L]:
    """Lines that fulfil the conditions, newest first, read along an index in growing chunks."""
    if conditions.impossible:
        return
    size = wanted
    while True:
        narrowed = conditions.copy()
        narrowed.before(key, listed.time)
        rows = sql.rows(
            f"SELECT {columns_of(listed.kind)} "
            f"FROM {along(sql, listed.kind.table, index or listed.index)} "
            f"WHERE {narrowed.sql} ORDER BY {listed.time} DESC, id DESC LIMIT ?",
            [*narrowed.values, size],
        )
        lines = lines_from(sql, listed.kind, rows)
        yield from lines
        if len(lines) < size:
            return
        key = listed.key_of(lines[-1])
        size = max(2 * size, CHUNK)


def rare(
    sql: Sql,
    listed: Listed[L],
    conditions: Conditions,
    period: Conditions,
    key: Key | None,
    wanted: int,
) -> Iterator[L]:
    """The same for conditions that no index serves: the newest of the period first, then all."""
    if conditions.impossible:
        return
    read = found = 0
    for window in (*WINDOWS, LAST_WINDOW):
        if window == LAST_WINDOW and 4 * found * window < (wanted - found) * read:
            break
        bound = _bound(sql, listed, period, key, window)
        narrowed = conditions.copy()
        if bound is not None:
            narrowed.add(f"({listed.time}, id) >= (?, ?)", *bound)
        for line in in_order(sql, listed, narrowed, key, wanted):
            yield line
            found += 1
        if bound is None:
            return
        key = bound
        read += window
    yield from _whole_table(sql, listed, conditions, key, wanted)


def _bound(
    sql: Sql, listed: Listed[Any], period: Conditions, key: Key | None, window: int
) -> Key | None:
    """The last of so many lines; None when there are not that many. Reads only the index."""
    within = period.copy()
    within.before(key, listed.time)
    row = sql.row(
        f"SELECT {listed.time}, id FROM {along(sql, listed.kind.table, listed.index)} "
        f"WHERE {within.sql} ORDER BY {listed.time} DESC, id DESC LIMIT 1 OFFSET ?",
        [*within.values, window],
    )
    return None if row is None else Key(*row)


def _whole_table(
    sql: Sql, listed: Listed[L], conditions: Conditions, key: Key | None, wanted: int
) -> Iterator[L]:
    size = wanted
    while True:
        narrowed = conditions.copy()
        narrowed.before(key, listed.time)
        # The inner query has no order and no limit, so PostgreSQL has no reason either to walk
        # along an index in hope of an early end.
        rows = sql.rows(
            f"WITH found AS MATERIALIZED (SELECT {columns_of(listed.kind)} "
            f"FROM {along(sql, listed.kind.table, None)} WHERE {narrowed.sql}) "
            f"SELECT * FROM found ORDER BY {listed.time} DESC, id DESC LIMIT ?",
            [*narrowed.values, size],
        )
        lines = lines_from(sql, listed.kind, rows)
        yield from lines
        if len(lines) < size:
            return
        key = listed.key_of(lines[-1])
        size *= 8
