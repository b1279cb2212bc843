"""The ``Queries`` of one shop over its store."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime

from service.domain.lines import BatchLine, CardLine, JointLine
from service.domain.moment import from_text
from service.domain.nearness import AtAngle
from service.storage.queries import audit, batches, cards, due, in_use, jobs
from service.storage.queries.statement import Conditions, check_limit
from service.storage.store import ShopStore
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
)


class SqlQueries:
    """Reads over many jobs, on either engine, of nothing but the store's own shop."""

    def __init__(self, store: ShopStore) -> None:
        self._store = store
        self._shop_id = store.shop_id

    def jobs(
        self, *, text: str = "", open_only: bool = False, after: str | None = None, limit: int = 50
    ) -> Page[JobSummary]:
        """Jobs, newest first."""
        with self._store.database.snapshot() as sql:
            return jobs.jobs(sql, self._shop_id, text, open_only, after, limit)

    def cards(
        self, search: CardSearch, *, after: str | None = None, limit: int = 50
    ) -> Page[CardLine]:
        """Cards that fit, newest first; alone the one whose code the text is."""
        with self._store.database.snapshot() as sql:
            return cards.search_cards(sql, self._shop_id, search, after, limit)

    def card_by_code(self, code: str) -> CardLine | None:
        """The card under that code, also one it had before a correction."""
        with self._store.reading() as sql:
            return cards.card_by_code(sql, self._shop_id, code)

    def cards_by_id(self, ids: Sequence[str]) -> tuple[CardLine, ...]:
        """The cards with those ids, in that order; unknown ids are left out."""
        with self._store.reading() as sql:
            return cards.cards_by_id(sql, self._shop_id, ids)

    def nearest_cards(
        self,
        lab: tuple[float, float, float],
        *,
        illuminant: str,
        observer: int,
        geometry: str,
        angle: int | None = None,
        count: int = 8,
        specular: str | None = None,
    ) -> tuple[NearCard, ...]:
        """The stored cards nearest to a colour by CIEDE2000, exactly, among those read alike.

        Without ``specular`` readings with it, without it and of neither kind are all alike.
        """
        from service.storage.queries import nearest

        like = nearest.read_like(self._shop_id, illuminant, observer, geometry, specular, angle)
        with self._store.database.snapshot() as sql:
            return nearest.nearest_cards(sql, lab, like, count)

    def angles_of_cards(self, ids: Sequence[str]) -> Mapping[str, tuple[AtAngle, ...]]:
        """Every angle of the reading that stands for each card; nothing of those never read."""
        from service.storage.queries import standing

        with self._store.database.snapshot() as sql:
            return standing.angles_of_cards(sql, self._shop_id, ids)

    def batches(
        self, filter: BatchFilter, *, after: str | None = None, limit: int = 50
    ) -> Page[BatchLine]:
        """Batches that fit, in spray order, newest first."""
        with self._store.reading() as sql:
            return batches.batches(sql, self._shop_id, filter, after, limit)

    def batches_of_finish(self, finish_id: str) -> tuple[BatchLine, ...]:
        """All batches of one finish, in spray order, oldest first."""
        with self._store.reading() as sql:
            return batches.batches_of_finish(sql, self._shop_id, finish_id)

    def joints_of_job(self, job_id: str) -> tuple[JointLine, ...]:
        """The joints of a job."""
        with self._store.reading() as sql:
            return batches.joints_of_job(sql, self._shop_id, job_id)

    def audit(self, filter: BatchFilter, *, finishes: int = 50) -> Audit:
        """Counts over all batches that fit, and the finishes with the most that shows."""
        with self._store.database.snapshot() as sql:
            return audit.audit(sql, self._shop_id, filter, finishes)

    def due_counts(self, *, read_before: datetime) -> DueCounts:
        """How many cards in the rack were read last before that."""
        with self._store.reading() as sql:
            return due.due_counts(sql, self._shop_id, read_before)

    def due_cards(
        self,
        *,
        read_before: datetime,
        order: DueOrder = DueOrder.NEED,
        after: str | None = None,
        limit: int = 50,
    ) -> Page[CardLine]:
        """Cards in the rack that were read last before that; never those never read."""
        with self._store.database.snapshot() as sql:
            return due.due_cards(sql, self._shop_id, read_before, order, after, limit)

    def moved_cards(
        self, *, at_least: float = 0.0, after: str | None = None, limit: int = 50
    ) -> Page[CardLine]:
        """Cards whose newest reading lies so far from their first, of another age; worst first."""
        with self._store.reading() as sql:
            return due.moved_cards(sql, self._shop_id, at_least, after, limit)

    def values(self, field: str, *, limit: int = 200) -> tuple[str, ...]:
        """Values of product, lot, booth, gun or slot in use, for filters and defaults."""
        with self._store.reading() as sql:
            return in_use.values_in_use(sql, self._shop_id, field, limit)

    def journal(
        self, chain: str, *, before: int | None = None, limit: int = 50
    ) -> tuple[JournalEntry, ...]:
        """Entries of a chain, newest first."""
        check_limit(limit)
        conditions = Conditions(self._shop_id)
        conditions.add("chain = ?", chain)
        if before is not None:
            conditions.add("position < ?", before)
        if conditions.impossible:
            return ()
        with self._store.reading() as sql:
            rows = sql.rows(
                "SELECT chain, position, kind, person_id, received_at, hash, payload "
                f"FROM journal WHERE {conditions.sql} ORDER BY position DESC LIMIT ?",
                [*conditions.values, limit],
            )
        return tuple(
            JournalEntry(
                chain=chain,
                position=position,
                kind=kind,
                person_id=person_id,
                received_at=from_text(received_at),
                hash=hash,
                payload=payload,
            )
            for chain, position, kind, person_id, received_at, hash, payload in rows
        )
