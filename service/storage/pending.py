"""What the changes of one transaction write, put down together at its end.

Many clients' changes share a commit. A statement for each row of each would hand Python's lock
to another thread at every step, and get it back late; a statement for all rows of a table does
so once.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from service.domain.records.base import Record
from service.domain.records.cards import Card
from service.domain.records.job import Job
from service.storage.journal import JOURNAL_COLUMNS, Entry, Head, Known
from service.storage.lines import LineChange, Lines
from service.storage.schema import CODECS, PLACE, RANK
from service.storage.sql import Sql

_HEAD = ("chain", "shop_id", "position", "hash")


class Pending:
    """Made by changes, seen by the later ones of the same transaction, not yet in the tables."""

    def __init__(self) -> None:
        self.known: dict[str, Known] = {}
        """Chains as they stand after the changes so far."""
        self.entries: dict[tuple[str, str], Entry] = {}
        """Entries by shop and change id."""
        self.codes: dict[tuple[str, str], tuple[str, str]] = {}
        """Job and card by shop and card code."""
        self.work_orders: dict[tuple[str, str], str] = {}
        """Jobs by shop and work order."""
        self._rows: dict[str, list[list[Any]]] = {}
        self._lines = Lines()
        self._checkpointed: list[tuple[int, str]] = []

    def add_record(self, record: Record, values: list[Any], position: int, ordinal: int) -> None:
        """A row of the record, with its place in the journal."""
        self._rows.setdefault(record.table, []).append([*values, position, ordinal])
        if isinstance(record, Card):
            self.codes.setdefault((record.shop_id, record.code), (record.job_id, record.root))
        elif isinstance(record, Job):
            self.work_orders.setdefault((record.shop_id, record.work_order), record.root)

    def add_chain(self, entry: Entry, known: Known, lines: Iterable[LineChange]) -> None:
        """An entry, its chain after it, and what becomes of its lines."""
        self.entries[entry.shop_id, entry.change_id] = entry
        self.known[entry.chain] = known
        self._lines.add(lines)

    def add_checkpoint(self, heads: Iterable[Head]) -> None:
        """Heads that are now named in the shop's chain."""
        self._checkpointed += [(head.position, head.chain) for head in heads]

    def put_down(self, sql: Sql) -> None:
        """Write everything."""
        for table in sorted(self._rows, key=RANK.__getitem__):
            sql.put(table, (*CODECS[table].names, *PLACE), self._rows[table])
        entries = list(self.entries.values())
        sql.put("journal", JOURNAL_COLUMNS, entries)
        # A chain that went on several times has its last entry last.
        ends = {e.chain: (e.chain, e.shop_id, e.position, e.hash) for e in entries}
        sql.put("heads", _HEAD, list(ends.values()), key="chain")
        sql.many("UPDATE heads SET checkpointed = ? WHERE chain = ?", self._checkpointed)
        self._lines.put_down(sql)
