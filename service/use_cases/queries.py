"""What lists, searches and audits ask of the record; storage answers with plain SQL."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from typing import Generic, Protocol, TypeVar

from service.domain.lines import BatchLine, CardLine, JobLine, JointLine
from service.domain.nearness import AtAngle

L = TypeVar("L", covariant=True)


@dataclass(frozen=True, slots=True, kw_only=True)
class Page(Generic[L]):
    """Some lines of a longer list; ``after`` is the key to ask for the next ones with."""

    lines: tuple[L, ...]
    after: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class CardSearch:
    """What is known of a card that is looked for; every part given must fit.

    ``text`` is any words: each must occur in the card's code, job, finish, colour, panels,
    batch or slot. ``sprayed_from`` and ``sprayed_to`` are ISO dates, both included.
    """

    text: str = ""
    slot: str = ""
    panel: str = ""
    colour: str = ""
    painter_id: str = ""
    job_id: str = ""
    finish_id: str = ""
    batch_id: str = ""
    whereabouts: str = ""
    sprayed_from: str = ""
    sprayed_to: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class BatchFilter:
    """Which batches an audit is about; every part given must fit. Periods as in CardSearch."""

    job_id: str = ""
    finish_id: str = ""
    product: str = ""
    lot: str = ""
    painter_id: str = ""
    booth: str = ""
    gun: str = ""
    word: str = ""
    gap: str = ""
    sprayed_from: str = ""
    sprayed_to: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class NearCard:
    """A stored card near a colour; ``delta_e_2000`` is of its last reading's mean."""

    line: CardLine
    delta_e_2000: float


@dataclass(frozen=True, slots=True, kw_only=True)
class JobSummary:
    """A job in a list, with how many of its batches and joints stand how."""

    line: JobLine
    batches: int
    shows: int
    cannot_tell: int
    not_comparable: int
    blends: int
    gaps: int
    joints: int
    joints_blend: int
    joints_show: int


@dataclass(frozen=True, slots=True, kw_only=True)
class WordCounts:
    """How many batches (and joints of the same jobs) have which word; ``gap`` those with none."""

    blends: int = 0
    shows: int = 0
    cannot_tell: int = 0
    not_comparable: int = 0
    gap: int = 0
    accepted: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class FinishSpread:
    """How a finish's batches lie about their master; deviations in CIELAB units.

    ``largest`` is the largest CIEDE2000 against the master.
    """

    job_id: str
    finish_id: str
    work_order: str
    finish_name: str
    batches: int
    judged: int
    shows: int
    largest: float | None
    mean_delta_l: float | None
    mean_delta_a: float | None
    mean_delta_b: float | None
    sd_delta_l: float | None
    sd_delta_a: float | None
    sd_delta_b: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Audit:
    """The whole of one audit: counts over all that fits, and the finishes that need a look."""

    batches: WordCounts
    joints: WordCounts
    cards_out: int
    cards_missing: int
    finishes: tuple[FinishSpread, ...]


class DueOrder(StrEnum):
    """How the cards that are due are listed.

    By ``need``: masters, then last cards of a batch, then the others, each the longest due first.
    By ``slot``, as somebody walks past them; those without a slot at the end.
    """

    NEED = "need"
    SLOT = "slot"


@dataclass(frozen=True, slots=True, kw_only=True)
class DueCounts:
    """How many cards in the rack are due to be read again; a master counts as one only."""

    masters: int = 0
    last: int = 0
    others: int = 0

    @property
    def all(self) -> int:
        """All of them."""
        return self.masters + self.last + self.others


@dataclass(frozen=True, slots=True, kw_only=True)
class JournalEntry:
    """One entry of a chain as it is shown."""

    chain: str
    position: int
    kind: str
    person_id: str
    received_at: datetime
    hash: str
    payload: str


class Queries(Protocol):
    """Reads over many jobs; every list is paged by key, never by offset."""

    def jobs(
        self, *, text: str = "", open_only: bool = False, after: str | None = None, limit: int = 50
    ) -> Page[JobSummary]:
        """Jobs, newest first."""

    def cards(
        self, search: CardSearch, *, after: str | None = None, limit: int = 50
    ) -> Page[CardLine]:
        """Cards that fit, newest first."""

    def card_by_code(self, code: str) -> CardLine | None:
        """The card under that code."""

    def cards_by_id(self, ids: Sequence[str]) -> tuple[CardLine, ...]:
        """The cards with those ids, in that order; unknown ids are left out."""

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
        """The stored cards nearest to a colour by CIEDE2000, exactly, among those read alike.

        Without ``specular`` readings with it, without it and of neither kind are all alike.
        """

    def angles_of_cards(self, ids: Sequence[str]) -> Mapping[str, tuple[AtAngle, ...]]:
        """Every angle of the reading that stands for each card; nothing of those never read."""

    def batches(
        self, filter: BatchFilter, *, after: str | None = None, limit: int = 50
    ) -> Page[BatchLine]:
        """Batches that fit, in spray order, newest first."""

    def batches_of_finish(self, finish_id: str) -> tuple[BatchLine, ...]:
        """All batches of one finish, in spray order, oldest first."""

    def joints_of_job(self, job_id: str) -> tuple[JointLine, ...]:
        """The joints of a job."""

    def audit(self, filter: BatchFilter, *, finishes: int = 50) -> Audit:
        """Counts over all batches that fit, and the finishes with the most that shows."""

    def due_counts(self, *, read_before: datetime) -> DueCounts:
        """How many cards in the rack were read last before that."""

    def due_cards(
        self,
        *,
        read_before: datetime,
        order: DueOrder = DueOrder.NEED,
        after: str | None = None,
        limit: int = 50,
    ) -> Page[CardLine]:
        """Cards in the rack that were read last before that; never those never read."""

    def moved_cards(
        self, *, at_least: float = 0.0, after: str | None = None, limit: int = 50
    ) -> Page[CardLine]:
        """Cards whose newest reading lies so far from their first, of another age; worst first."""

    def values(self, field: str, *, limit: int = 200) -> tuple[str, ...]:
        """Values of product, lot, booth, gun or slot in use, for filters and defaults."""

    def journal(
        self, chain: str, *, before: int | None = None, limit: int = 50
    ) -> tuple[JournalEntry, ...]:
        """Entries of a chain, newest first."""
