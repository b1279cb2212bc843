"""One change: what it sees, what it adds, and how that is written with its journal entry."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from service.domain.moment import as_text, from_text
from service.domain.record_file import RecordFile
from service.domain.records.base import JobRecord, Record
from service.domain.records.cards import Card
from service.domain.records.job import Job
from service.domain.records.shop import Person
from service.domain.refused import AlreadyThere, KeyReused, Unknown
from service.storage.chains import Chains, Moved, head_of
from service.storage.journal import (
    INSERT_ENTRY,
    Entry,
    Head,
    Known,
    derived_id,
    make_entry,
)
from service.storage.lines import write_lines
from service.storage.schema import CODECS, PLACE, RANK, chain_of
from service.storage.sql import insert_into, upsert_into
from service.use_cases.ports import Receipt, Unit

UPSERT_HEAD = upsert_into("heads", ("chain", "shop_id", "position", "hash"), key="chain")


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """A change asked for: its permanent key, and the work that makes it."""

    change_id: str
    kind: str
    fingerprint: str
    person_id: str
    now: datetime
    work: Callable[[Unit], None]


@dataclass(slots=True)
class _Added:
    """A record to write, with its column values and its journal row."""

    record: Record
    values: list[Any]
    plain: dict[str, Any]


class NothingMoved(Exception):
    """There is no job that went on since the last checkpoint."""


class ChangeUnit:
    """The ``Unit`` of one change; ``write`` puts down what its work added."""

    def __init__(self, chains: Chains, change: Change) -> None:
        self._chains = chains
        self._change = change
        self._known: dict[str, Known | None] = {}
        self._files: dict[str, RecordFile] = {}
        self._unfolded: dict[str, list[Record]] = {}
        self._added: dict[str, list[_Added]] = {}
        self._moved: list[Head] | None = None
        self.now = change.now
        self.shop_id = chains.shop_id
        found = self.shop().find(Person, change.person_id)
        if found is None:
            raise Unknown("person", change.person_id)
        self.person = found

    def shop(self) -> RecordFile:
        """The shop's own file, with what this change added so far."""
        file = self._file(self.shop_id)
        if file is None:
            raise Unknown("shop", self.shop_id)
        return file

    def job(self, job_id: str) -> RecordFile:
        """A job's file, with what this change added so far."""
        file = self._file(job_id) if job_id != self.shop_id else None
        if file is None:
            raise Unknown("job", job_id)
        return file

    def add(self, *records: Record) -> None:
        """Add rows: job records to their job's chain, others to the shop's."""
        for record in records:
            chain = chain_of(record)
            self._check_place(record, chain)
            values, plain, exact = CODECS[record.table].encode(record)
            if not exact:
                record = CODECS[record.table].decode(plain)
            self._added.setdefault(chain, []).append(_Added(record, values, plain))
            self._unfolded.setdefault(chain, []).append(record)

    def card_by_code(self, code: str) -> tuple[str, str] | None:
        """Job id and card id of the card that has, or ever had, that code."""
        for card in self._all_added(Card):
            if card.code == code:
                return card.job_id, card.root
        return find_card(self._chains, code)

    def job_by_work_order(self, work_order: str) -> str | None:
        """Id of the job that is, or ever was, under that work order."""
        for job in self._all_added(Job):
            if job.work_order == work_order:
                return str(job.root)
        row = self._chains.sql.row(
            "SELECT job_id FROM jobs WHERE shop_id = ? AND work_order = ? AND revision = 1",
            (self.shop_id, work_order),
        ) or self._chains.sql.row(
            "SELECT job_id FROM jobs WHERE shop_id = ? AND work_order = ? AND revision > 1 "
            "ORDER BY received_at DESC",
            (self.shop_id, work_order),
        )
        return None if row is None else str(row[0])

    def add_heads(self) -> None:
        """Name in the shop's chain where every job stands that went on since the last time."""
        # Jobs are locked before the shop, as every change does it.
        suffix = " FOR UPDATE" if self._chains.sql.postgresql else ""
        rows = self._chains.sql.rows(
            "SELECT chain, position, hash FROM heads WHERE shop_id = ? AND chain <> ? "
            f"AND position > checkpointed ORDER BY chain{suffix}",
            (self.shop_id, self.shop_id),
        )
        if not rows:
            raise NothingMoved
        self._moved = [Head(*row) for row in rows]
        self._added.setdefault(self.shop_id, [])
        self._unfolded.setdefault(self.shop_id, [])

    def write(self) -> tuple[Receipt, dict[str, Known]]:
        """Write what was added; the receipt, and the chains as they now stand."""
        if not self._added:
            raise ValueError(f"the change {self._change.kind} adds no record")
        first = next(iter(self._added))
        jobs = [chain for chain in self._added if chain != self.shop_id]
        opened = [chain for chain in jobs if self._known[chain] is None]
        entries = [self._entry(chain, self._known[chain], first) for chain in jobs]
        after = {
            entry.chain: Known(entry.position, entry.hash, self.job(entry.chain))
            for entry in entries
        }
        if opened or self.shop_id in self._added:
            # The shop's head is locked last, so two changes never wait for each other's.
            known = self._chains.known(self.shop_id, lock=True)
            file = self.shop() if known is None else known.file
            if self.shop_id in self._added:
                if head_of(self.shop_id, known) != head_of(self.shop_id, self._known[self.shop_id]):
                    raise Moved
                file = self.shop()
            heads = [entry.head for entry in entries if entry.chain in opened]
            heads += self._moved or []
            entry = self._entry(self.shop_id, known, first, heads)
            entries.append(entry)
            after[self.shop_id] = Known(entry.position, entry.hash, file)
        self._put_down(entries)
        for chain in jobs:
            records = [added.record for added in self._added[chain]]
            write_lines(self._chains.sql, after[chain].file, records)
        receipt = next(entry for entry in entries if entry.chain == first)
        return self._receipt(receipt), after

    def _entry(
        self, chain: str, known: Known | None, first: str, heads: Sequence[Head] = ()
    ) -> Entry:
        change = self._change
        return make_entry(
            head_of(chain, known),
            shop_id=self.shop_id,
            change_id=change.change_id if chain == first else derived_id(change.change_id, chain),
            kind=change.kind,
            fingerprint=change.fingerprint,
            person_id=change.person_id,
            received_at=as_text(change.now),
            rows=[
                {"table": added.record.table, "row": added.plain}
                for added in self._added.get(chain, ())
            ],
            heads=heads,
        )

    def _put_down(self, entries: list[Entry]) -> None:
        sql = self._chains.sql
        tables: dict[str, list[list[Any]]] = {}
        for entry in entries:
            for ordinal, added in enumerate(self._added.get(entry.chain, ())):
                row = [*added.values, entry.position, ordinal]
                tables.setdefault(added.record.table, []).append(row)
        for table in sorted(tables, key=RANK.__getitem__):
            sql.many(insert_into(table, (*CODECS[table].names, *PLACE)), tables[table])
        sql.many(INSERT_ENTRY, entries)
        sql.many(UPSERT_HEAD, [(e.chain, self.shop_id, e.position, e.hash) for e in entries])
        sql.many(
            "UPDATE heads SET checkpointed = ? WHERE chain = ?",
            [(head.position, head.chain) for head in self._moved or ()],
        )

    def _receipt(self, entry: Entry) -> Receipt:
        return Receipt(
            id=entry.change_id,
            kind=entry.kind,
            chain=entry.chain,
            position=entry.position,
            hash=entry.hash,
            received_at=self.now,
        )

    def _file(self, chain: str) -> RecordFile | None:
        if chain not in self._known:
            known = self._chains.known(chain, lock=chain != self.shop_id)
            if known is None:
                return None
            self._known[chain] = known
            self._files[chain] = known.file
        unfolded = self._unfolded.pop(chain, None)
        if unfolded:
            self._files[chain] = self._files[chain].with_records(unfolded)
        return self._files[chain]

    def _check_place(self, record: Record, chain: str) -> None:
        if record.shop_id != self.shop_id:
            raise ValueError(f"a row of shop {record.shop_id} cannot go to shop {self.shop_id}")
        if chain == self.shop_id:
            if isinstance(record, JobRecord):
                raise ValueError(f"{chain} is the shop, not a job")
            return
        if isinstance(record, Job) and record.corrects is None:
            if record.job_id != record.id:
                raise ValueError(f"a job's job_id is its own id, got {record.job_id}")
            if self._file(chain) is not None:
                raise AlreadyThere(f"The job {chain} is already open. Add to it instead.")
            self._known[chain] = None
            self._files[chain] = RecordFile(chain)
        elif self._file(chain) is None:
            raise Unknown("job", chain)

    def _all_added(self, kind: type[Any]) -> list[Any]:
        return [
            added.record
            for rows in self._added.values()
            for added in rows
            if type(added.record) is kind
        ]


def carry_out(chains: Chains, change: Change) -> tuple[Receipt, dict[str, Known]]:
    """Make a change in the open transaction; the receipt, and the chains that went on."""
    receipt = first_receipt(chains, change)
    if receipt is not None:
        return receipt, {}
    unit = ChangeUnit(chains, change)
    change.work(unit)
    return unit.write()


def find_card(chains: Chains, code: str) -> tuple[str, str] | None:
    """Job id and card id of the card with a code; also under a code it had before."""
    row = chains.sql.row(
        "SELECT job_id, id FROM cards WHERE shop_id = ? AND code = ? AND revision = 1",
        (chains.shop_id, code),
    ) or chains.sql.row(
        "SELECT job_id, corrects FROM cards WHERE shop_id = ? AND code = ? AND revision > 1 "
        "ORDER BY received_at DESC",
        (chains.shop_id, code),
    )
    return None if row is None else (str(row[0]), str(row[1]))


def first_receipt(chains: Chains, change: Change) -> Receipt | None:
    """The receipt of a change that came before under the same key."""
    row = chains.sql.row(
        "SELECT chain, position, kind, fingerprint, received_at, hash FROM journal "
        "WHERE shop_id = ? AND change_id = ?",
        (chains.shop_id, change.change_id),
    )
    if row is None:
        return None
    chain, position, kind, fingerprint, received_at, hash = row
    if (kind, fingerprint) != (change.kind, change.fingerprint):
        raise KeyReused(change.change_id)
    return Receipt(
        id=change.change_id,
        kind=kind,
        chain=chain,
        position=position,
        hash=hash,
        received_at=from_text(received_at),
    )
