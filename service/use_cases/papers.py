"""What papers have in common: their head, verdicts as they are printed, and who prints them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING, Protocol

from service.domain.lookups import the_job
from service.domain.record_file import RecordFile
from service.domain.records.job import Finish
from service.domain.records.measuring import Verdict
from service.domain.records.shop import Person, Shop
from service.domain.records.spraying import Batch, Component
from service.domain.terms import ComponentRole, Stage, Word

if TYPE_CHECKING:
    from service.use_cases.card_paper import CardPaper
    from service.use_cases.job_paper import JobPaper
    from service.use_cases.label_papers import LabelPaper
    from service.use_cases.label_stock import LabelStock
    from service.use_cases.queries import Queries
    from service.use_cases.repair_paper import RepairPaper


@dataclass(frozen=True, slots=True, kw_only=True)
class JournalHead:
    """Where a chain of the journal stood when the paper was printed."""

    of: str
    position: int
    hash: str


def journal_heads(queries: Queries, file: RecordFile, shop_id: str) -> tuple[JournalHead, ...]:
    """Where the journals of a job and of its shop stand."""
    return tuple(
        JournalHead(of=of, position=entry.position, hash=entry.hash)
        for of, chain in (("this job", file.chain), ("the shop", shop_id))
        for entry in queries.journal(chain, limit=1)
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class PaperHead:
    """What every page carries; ``zone`` is the clock its times are on, ``paper`` its size."""

    shop: str
    is_demo: bool
    work_order: str
    title: str
    printed_at: datetime
    zone: str
    paper: str
    heads: tuple[JournalHead, ...] = ()


def paper_head(
    file: RecordFile,
    shop: RecordFile,
    *,
    printed_at: datetime,
    zone: str,
    paper: str,
    heads: Sequence[JournalHead] = (),
) -> PaperHead:
    """The head of a paper about a job."""
    job = the_job(file)
    found = shop.all(Shop)[0]
    return PaperHead(
        shop=found.name,
        is_demo=found.is_demo,
        work_order=job.work_order,
        title=job.title,
        printed_at=printed_at,
        zone=zone,
        paper=paper,
        heads=tuple(heads),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Said:
    """A word with all that stands beside it."""

    word: Word
    difference: float | None
    bounds: tuple[float, float] | None
    limit: float
    directions: str = ""
    different: bool = False
    angle: int | None = None
    stage: Stage | None = None
    sentence: str = ""
    next_step: str = ""
    at: datetime | None = None


def said_by(verdict: Verdict) -> Said:
    """A verdict as it is printed."""
    known = verdict.low is not None and verdict.high is not None
    return Said(
        word=verdict.word,
        difference=verdict.delta_e_2000,
        bounds=(verdict.low or 0.0, verdict.high or 0.0) if known else None,
        limit=verdict.limit,
        directions="" if verdict.word is Word.BLENDS else verdict.words,
        different=verdict.over_five and verdict.word is Word.SHOWS,
        angle=verdict.angle,
        stage=verdict.stage,
        sentence=verdict.sentence,
        next_step=verdict.next_step,
        at=verdict.observed_at,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Mix:
    """One pot with what was poured into it."""

    batch: Batch
    poured: tuple[Component, ...]

    @property
    def has_hardener(self) -> bool:
        """Whether a hardener went in."""
        return any(one.role is ComponentRole.HARDENER for one in self.poured)


def mix_of(file: RecordFile, batch: Batch) -> Mix:
    """A pot with what was poured into it."""
    return Mix(batch=batch, poured=tuple(file.by(Component, "batch_id", batch.root)))


def name_of(shop: RecordFile, person_id: str | None) -> str:
    """A person's name, also of one who has left."""
    person = shop.latest_revision(Person, person_id or "")
    return person.name if person is not None else "somebody unknown"


def colour_of(finish: Finish) -> str:
    """The colour's code and name, as far as they are known."""
    return " ".join(part for part in (finish.colour_code, finish.colour_name) if part)


class PaperPress(Protocol):
    """What makes PDF of papers."""

    def labels(self, labels: Sequence[LabelPaper], stock: LabelStock, start: int) -> bytes:
        """Labels on stock, the first at place ``start`` of the first sheet, counted from 1."""

    def card(self, paper: CardPaper) -> bytes:
        """Everything of one card."""

    def repair(self, paper: RepairPaper) -> bytes:
        """A repair, to be held beside the car."""

    def job(self, paper: JobPaper) -> bytes:
        """The report of a job."""
