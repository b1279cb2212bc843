"""Stand-ins for storage that keep everything in memory, for tests of use cases and the web."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from concurrent.futures import Future
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from hashlib import sha256
from itertools import count
from threading import RLock
from typing import Any
from uuid import uuid4

from service.domain.line_making import all_lines
from service.domain.lines import BatchLine, CardLine, JobLine, JointLine
from service.domain.lookups import readings_of_card, standing_reading
from service.domain.moment import as_text
from service.domain.nearness import AtAngle, at_angles
from service.domain.record_file import RecordFile
from service.domain.records.base import JobRecord, Record, check_uuid
from service.domain.records.cards import Card
from service.domain.records.job import Job
from service.domain.records.shop import ApiToken, Credential, Person, Shop
from service.domain.refused import KeyReused, Unknown
from service.domain.terms import Role
from service.use_cases.ports import Receipt, Unit
from service.use_cases.queries import (
    Audit,
    BatchFilter,
    CardSearch,
    DueCounts,
    DueOrder,
    JobSummary,
    JournalEntry,
    NearCard,
    Page,
    WordCounts,
)


class FakeStore:
    """The ``Store`` port over files in memory; a failing change leaves no trace."""

    def __init__(self, name: str = "Test shop", manager: str = "First Manager") -> None:
        self.shop_id = str(uuid4())
        self.manager_id = str(uuid4())
        self.files: dict[str, RecordFile] = {self.shop_id: RecordFile(self.shop_id)}
        self.receipts: dict[str, tuple[Receipt, str]] = {}
        self.entries: list[JournalEntry] = []
        self.works = 0
        """How often the work of a change was carried out."""
        self._moments = count()
        self._lock = RLock()
        now = self.now()
        every: dict[str, Any] = {
            "shop_id": self.shop_id,
            "author_id": self.manager_id,
            "observed_at": now,
            "received_at": now,
        }
        self._keep(
            [
                Shop(id=self.shop_id, name=name, **every),
                Person(id=self.manager_id, name=manager, roles=(Role.MANAGER,), **every),
            ]
        )

    def now(self) -> datetime:
        """A microsecond after the last time it was asked, and after the clock."""
        return datetime.now(UTC) + timedelta(microseconds=next(self._moments))

    def write(
        self,
        *,
        change_id: str,
        kind: str,
        fingerprint: str,
        person_id: str,
        work: Callable[[Unit], None],
    ) -> Receipt:
        check_uuid("id", change_id)
        with self._lock:
            if change_id in self.receipts:
                receipt, first = self.receipts[change_id]
                if first != f"{kind} {fingerprint}":
                    raise KeyReused(change_id)
                return receipt
            unit = FakeUnit(self, person_id)
            self.works += 1
            work(unit)
            self._keep(unit.added)
            chain = chain_of(unit.added[0])
            position = 1 + sum(entry.chain == chain for entry in self.entries)
            hash = sha256(f"{chain} {position} {change_id}".encode()).hexdigest()
            receipt = Receipt(
                id=change_id,
                kind=kind,
                chain=chain,
                position=position,
                hash=hash,
                received_at=unit.now,
            )
            self.receipts[change_id] = receipt, f"{kind} {fingerprint}"
            self.entries.append(
                JournalEntry(
                    chain=chain,
                    position=position,
                    kind=kind,
                    person_id=person_id,
                    received_at=unit.now,
                    hash=hash,
                    payload="{}",
                )
            )
            return receipt

    def submit(self, **change: Any) -> Future[Receipt]:
        done: Future[Receipt] = Future()
        try:
            done.set_result(self.write(**change))
        except Exception as error:
            done.set_exception(error)
        return done

    def shop(self) -> RecordFile:
        return self.files[self.shop_id]

    def job(self, job_id: str) -> RecordFile:
        if job_id == self.shop_id or job_id not in self.files:
            raise Unknown("job", job_id)
        return self.files[job_id]

    @property
    def jobs(self) -> list[RecordFile]:
        """The files of all jobs, the newest first."""
        return [file for id, file in reversed(self.files.items()) if id != self.shop_id]

    def _keep(self, records: Sequence[Record]) -> None:
        for record in records:
            chain = chain_of(record)
            file = self.files.get(chain) or RecordFile(chain)
            self.files[chain] = file.with_records([record])


class FakeUnit:
    """The ``Unit`` of one change."""

    def __init__(self, store: FakeStore, person_id: str) -> None:
        self._store = store
        self._files = dict(store.files)
        self.added: list[Record] = []
        self.now = store.now()
        self.shop_id = store.shop_id
        self.person = self.shop().get(Person, person_id)

    def shop(self) -> RecordFile:
        return self._files[self.shop_id]

    def job(self, job_id: str) -> RecordFile:
        if job_id == self.shop_id or job_id not in self._files:
            raise Unknown("job", job_id)
        return self._files[job_id]

    def add(self, *records: Record) -> None:
        for record in records:
            chain = chain_of(record)
            opens = isinstance(record, Job) and record.corrects is None
            if not opens and chain not in self._files:
                raise Unknown("job", chain)
            file = self._files.get(chain) or RecordFile(chain)
            self._files[chain] = file.with_records([record])
            self.added.append(record)

    def card_by_code(self, code: str) -> tuple[str, str] | None:
        for file in self._files.values():
            for card in file.all(Card):
                if card.code == code:
                    return card.job_id, card.root
        return None

    def job_by_work_order(self, work_order: str) -> str | None:
        for file in self._files.values():
            for job in file.all(Job):
                if job.work_order == work_order:
                    return job.root
        return None


def chain_of(record: Record) -> str:
    """The chain a record belongs to: its job's, else the shop's."""
    return record.job_id if isinstance(record, JobRecord) else record.shop_id


class FakeQueries:
    """The ``Queries`` port: every line is made anew from the files at each asking."""

    def __init__(self, store: FakeStore) -> None:
        self._store = store

    def jobs(
        self, *, text: str = "", open_only: bool = False, after: str | None = None, limit: int = 50
    ) -> Page[JobSummary]:
        found = [self._summary(file) for file in self._store.jobs]
        found = [
            one
            for one in found
            if all(word in one.line.search for word in text.casefold().split())
            and not (open_only and one.line.released_at)
        ]
        return _page(found, after, limit, lambda one: one.line.id)

    def cards(
        self, search: CardSearch, *, after: str | None = None, limit: int = 50
    ) -> Page[CardLine]:
        found = [
            line
            for line in self._lines(CardLine)
            if all(word in line.search for word in search.text.casefold().split())
            and (not search.slot or line.slot == search.slot.upper())
            and (not search.job_id or line.job_id == search.job_id)
        ]
        return _page(found, after, limit, lambda line: line.id)

    def card_by_code(self, code: str) -> CardLine | None:
        return next((line for line in self._lines(CardLine) if line.code == code), None)

    def cards_by_id(self, ids: Sequence[str]) -> tuple[CardLine, ...]:
        lines = {line.id: line for line in self._lines(CardLine)}
        return tuple(lines[id] for id in ids if id in lines)

    def nearest_cards(
        self,
        lab: tuple[float, float, float],
        *,
        illuminant: str,
        observer: int,
        geometry: str,
        specular: str | None = None,
        angle: int | None = None,
        count: int = 8,
    ) -> tuple[NearCard, ...]:
        from colour.one_pair import delta_e_2000

        conditions = f"{illuminant}/{observer}°, {geometry}"
        near = [
            NearCard(line=line, delta_e_2000=delta_e_2000(lab, (line.l, line.a, line.b)))
            for line in self._lines(CardLine)
            if line.l is not None
            and line.a is not None
            and line.b is not None
            and line.conditions.startswith(conditions)
            and (specular is None or line.conditions.endswith(f"specular {specular}"))
            and line.angle == angle
        ]
        return tuple(sorted(near, key=lambda one: one.delta_e_2000)[:count])

    def angles_of_cards(self, ids: Sequence[str]) -> dict[str, tuple[AtAngle, ...]]:
        found = {}
        for file in self._store.jobs:
            for card in file.all(Card):
                reading = standing_reading(readings_of_card(file, card.root))
                if card.root in ids and reading is not None:
                    found[card.root] = at_angles(reading)
        return found

    def batches(
        self, filter: BatchFilter, *, after: str | None = None, limit: int = 50
    ) -> Page[BatchLine]:
        found = [
            line
            for line in self._lines(BatchLine)
            if (not filter.job_id or line.job_id == filter.job_id)
            and (not filter.lot or filter.lot in line.lots)
        ]
        return _page(found, after, limit, lambda line: line.id)

    def batches_of_finish(self, finish_id: str) -> tuple[BatchLine, ...]:
        return tuple(line for line in self._lines(BatchLine) if line.finish_id == finish_id)

    def joints_of_job(self, job_id: str) -> tuple[JointLine, ...]:
        return tuple(line for line in self._lines(JointLine) if line.job_id == job_id)

    def audit(self, filter: BatchFilter, *, finishes: int = 50) -> Audit:
        words = [line.word or "gap" for line in self._lines(BatchLine)]
        counts = {word: words.count(word) for word in set(words)}
        out = [line.whereabouts for line in self._lines(CardLine)]
        return Audit(
            batches=WordCounts(**counts),
            joints=WordCounts(),
            cards_out=out.count("out"),
            cards_missing=out.count("missing"),
            finishes=(),
        )

    def due_counts(self, *, read_before: datetime) -> DueCounts:
        held = [line.held_back for line in self._due(read_before)]
        return DueCounts(
            masters=held.count("master"), last=held.count("last"), others=held.count("")
        )

    def due_cards(
        self,
        *,
        read_before: datetime,
        order: DueOrder = DueOrder.NEED,
        after: str | None = None,
        limit: int = 50,
    ) -> Page[CardLine]:
        needs = ("master", "last", "")
        found = sorted(
            self._due(read_before),
            key=lambda line: (
                (line.slot == "", line.slot)
                if order is DueOrder.SLOT
                else (needs.index(line.held_back), line.read_at)
            ),
        )
        return _page(found, after, limit, lambda line: line.id)

    def moved_cards(
        self, *, at_least: float = 0.0, after: str | None = None, limit: int = 50
    ) -> Page[CardLine]:
        found = [line for line in self._lines(CardLine) if (line.moved_by or -1) >= at_least]
        found.sort(key=lambda line: -line.moved_by)
        return _page(found, after, limit, lambda line: line.id)

    def _due(self, read_before: datetime) -> list[CardLine]:
        return [
            line
            for line in self._lines(CardLine)
            if line.whereabouts == "in" and line.read_at and line.read_at < as_text(read_before)
        ]

    def values(self, field: str, *, limit: int = 200) -> tuple[str, ...]:
        lines: Sequence[Any] = self._lines(CardLine if field == "slot" else BatchLine)
        name = "lots" if field == "lot" else field
        return tuple(sorted({getattr(line, name) for line in lines} - {""}))[:limit]

    def journal(
        self, chain: str, *, before: int | None = None, limit: int = 50
    ) -> tuple[JournalEntry, ...]:
        found = [e for e in reversed(self._store.entries) if e.chain == chain]
        return tuple(e for e in found if before is None or e.position < before)[:limit]

    def _lines(self, kind: type[Any]) -> list[Any]:
        return [
            line for file in self._store.jobs for line in all_lines(file) if isinstance(line, kind)
        ]

    def _summary(self, file: RecordFile) -> JobSummary:
        lines = all_lines(file)
        words = [line.word for line in lines if isinstance(line, BatchLine)]
        joints = [line.word for line in lines if isinstance(line, JointLine)]
        return JobSummary(
            line=next(line for line in lines if isinstance(line, JobLine)),
            batches=len(words),
            shows=words.count("shows"),
            cannot_tell=words.count("cannot_tell"),
            not_comparable=words.count("not_comparable"),
            blends=words.count("blends"),
            gaps=words.count(None),
            joints=len(joints),
            joints_blend=joints.count("blends"),
            joints_show=joints.count("shows"),
        )


def _page(found: list[Any], after: str | None, limit: int, key: Callable[[Any], str]) -> Page[Any]:
    keys = [key(one) for one in found]
    start = keys.index(after) + 1 if after in keys else 0
    lines = tuple(found[start : start + limit])
    more = start + limit < len(found)
    return Page(lines=lines, after=key(lines[-1]) if more and lines else None)


class FakeWaitingFiles:
    """Files between two steps, in memory."""

    def __init__(self) -> None:
        self.content: dict[str, bytes] = {}

    def put(self, content: bytes) -> str:
        sha = sha256(content).hexdigest()
        self.content[sha] = content
        return sha

    def get(self, sha: str) -> bytes | None:
        return self.content.get(sha)


class FakePhotos:
    """The photo store in a dictionary."""

    def __init__(self) -> None:
        self.content: dict[str, bytes] = {}

    def put(self, content: bytes) -> str:
        sha = sha256(content).hexdigest()
        self.content[sha] = content
        return sha

    def get(self, sha: str) -> bytes:
        return self.content[sha]

    def has(self, sha: str) -> bool:
        return sha in self.content


@dataclass(frozen=True, kw_only=True)
class FakeSession:
    """A session with its end."""

    id: str
    person_id: str
    started_at: datetime
    seen_at: datetime
    idle: timedelta
    ends_at: datetime


@dataclass
class FakeSessions:
    """Sessions in memory; ``clock`` may be set forward."""

    clock: datetime = field(default_factory=lambda: datetime.now(UTC))
    kept: dict[str, FakeSession] = field(default_factory=dict)

    def start(self, person_id: str, *, idle: timedelta, longest: timedelta) -> str:
        token = f"session-{uuid4()}"
        self.kept[token] = FakeSession(
            id=sha256(token.encode()).hexdigest(),
            person_id=person_id,
            started_at=self.clock,
            seen_at=self.clock,
            idle=idle,
            ends_at=self.clock + longest,
        )
        return token

    def find(self, token: str) -> FakeSession | None:
        found = self.kept.get(token)
        if found is None or self.clock >= min(found.ends_at, found.seen_at + found.idle):
            return None
        self.kept[token] = replace(found, seen_at=self.clock)
        return found

    def end(self, token: str) -> None:
        self.kept.pop(token, None)

    def revoke_all(self, person_id: str) -> None:
        self.kept = {t: s for t, s in self.kept.items() if s.person_id != person_id}


@dataclass
class FakeAttempts:
    """Counts attempts; five are free, then each has to wait."""

    counts: dict[str, int] = field(default_factory=dict)

    def begin(self, account: str, address: str) -> float:
        if self.counts.get(account, 0) >= 5:
            return 7.5
        self.counts[account] = self.counts.get(account, 0) + 1
        return 0.0

    def succeeded(self, account: str, address: str) -> None:
        self.counts.pop(account, None)


class FakeKeys:
    """Passwords and tokens as the files of the fake store have them."""

    def __init__(self, store: FakeStore) -> None:
        self._store = store

    def password_hash_of(self, person_id: str) -> str | None:
        found = self._store.shop().by(Credential, "person_id", person_id)
        return found[-1].password_hash if found else None

    def token_by_hash(self, token_hash: str) -> ApiToken | None:
        found = self._store.shop().by(ApiToken, "token_hash", token_hash)
        now = datetime.now(UTC)
        return next((t for t in found if t.expires_at is None or now < t.expires_at), None)
