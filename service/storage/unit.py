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
    JOURNAL_COLUMNS,
    Entry,
    Head,
    Known,
    derived_id,
    make_entry,
)
from service.storage.lines import LineChange, changes_after
from service.storage.schema import CODECS, chain_of
from service.storage.sql import Sql
from service.use_cases.ports import Receipt, Unit


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
        return self._chains.card(code)

    def job_by_work_order(self, work_order: str) -> str | None:
        """Id of the job that is, or ever was, under that work order."""
        for job in self._all_added(Job):
            if job.work_order == work_order:
                return str(job.root)
        return self._chains.job(work_order)

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

    def write(self) -> Receipt:
        """Hand what was added to the transaction, which writes it; the receipt."""
        if not self._added:
            raise ValueError(f"the change {self._change.kind} adds no record")
        first = next(iter(self._added))
        jobs = [chain for chain in self._added if chain != self.shop_id]
        entries = [self._entry(chain, self._known[chain], first) for chain in jobs]
        files = {chain: self.job(chain) for chain in jobs}
        opened = [entry.head for entry in entries if self._known[entry.chain] is None]
        if opened or self.shop_id in self._added:
            # The shop's head is locked last, so two changes never wait for each other's.
            known = self._chains.known(self.shop_id, lock=True)
            files[self.shop_id] = self.shop() if known is None else known.file
            if self.shop_id in self._added:
                if head_of(self.shop_id, known) != head_of(self.shop_id, self._known[self.shop_id]):
                    raise Moved
                files[self.shop_id] = self.shop()
            heads = [*opened, *(self._moved or ())]
            entries.append(self._entry(self.shop_id, known, first, heads))
        # Worked out before anything is handed over, for what is handed over is written.
        lines = {
            chain: changes_after(files[chain], [one.record for one in self._added[chain]])
            for chain in jobs
        }
        for entry in entries:
            self._hand_over(entry, files[entry.chain], lines.get(entry.chain, []))
        self._chains.pending.add_checkpoint(self._moved or ())
        return receipt_of(next(entry for entry in entries if entry.chain == first))

    def _hand_over(self, entry: Entry, file: RecordFile, lines: list[LineChange]) -> None:
        pending = self._chains.pending
        for ordinal, one in enumerate(self._added.get(entry.chain, ())):
            pending.add_record(one.record, one.values, entry.position, ordinal)
        pending.add_chain(entry, Known(entry.position, entry.hash, file), lines)

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


def carry_out(chains: Chains, change: Change, earlier: Entry | None) -> Receipt:
    """Make a change in the open transaction, unless its key came before.

    ``earlier`` is the entry under its key, None when there is none.
    """
    earlier = chains.pending.entries.get((chains.shop_id, change.change_id), earlier)
    if earlier is not None:
        if (earlier.kind, earlier.fingerprint) != (change.kind, change.fingerprint):
            raise KeyReused(change.change_id)
        return receipt_of(earlier)
    unit = ChangeUnit(chains, change)
    change.work(unit)
    return unit.write()


def receipt_of(entry: Entry) -> Receipt:
    """The receipt of the change whose entry that is."""
    return Receipt(
        id=entry.change_id,
        kind=entry.kind,
        chain=entry.chain,
        position=entry.position,
        hash=entry.hash,
        received_at=from_text(entry.received_at),
    )


def earlier_entries(sql: Sql, keys: Sequence[tuple[str, str]]) -> dict[tuple[str, str], Entry]:
    """Entries that came before under these keys (shop and change id), without their text."""
    columns = ", ".join("''" if name == "payload" else name for name in JOURNAL_COLUMNS)
    wanted = " OR ".join(["(shop_id = ? AND change_id = ?)"] * len(keys))
    rows = sql.rows(
        f"SELECT {columns} FROM journal WHERE {wanted}", [part for key in keys for part in key]
    )
    entries = [Entry(*row) for row in rows]
    return {(entry.shop_id, entry.change_id): entry for entry in entries}
