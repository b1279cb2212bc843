"""The two sides of a comparison: what they are called, and which readings are of which."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from service.domain.lookups import mean_lab
from service.domain.pooling import repeats_at
from service.domain.record_file import RecordFile
from service.domain.records.cards import Card
from service.domain.records.job import Repair
from service.domain.records.measuring import AngleReading, Lab, Reading, Verdict
from service.domain.records.spraying import Batch
from service.domain.terms import Subject
from service.web.context import PageContext


@dataclass(frozen=True, slots=True, kw_only=True)
class SideShown:
    """One of the two that were compared: its whole name, inside a sentence, at a line's end."""

    name: str
    said: str
    short: str
    href: str


def readings_of(here: PageContext, file: RecordFile, verdict: Verdict) -> list[Reading]:
    """The readings a verdict rests on; those of a stored card are in the job that is repaired."""
    found = []
    for id in verdict.reading_ids:
        rows = (one.latest_revision(Reading, id) for one in files_of(here, file))
        found += [row for row in rows if row is not None][:1]
    return found


def files_of(here: PageContext, file: RecordFile) -> Iterator[RecordFile]:
    """The job's own file and that of the job it goes back to, whose master it may be held to."""
    yield file
    for repair in file.all(Repair):
        yield here.store.job(repair.stored_job_id)


def is_first(verdict: Verdict, reading: Reading) -> bool:
    """Whether a reading is of the side that the other's difference was taken from."""
    if verdict.subject is Subject.CAR:
        return reading.card_id is not None
    first = verdict.card_id if verdict.subject is Subject.JOINT else verdict.other_card_id
    return reading.card_id == first


def sides_of(here: PageContext, file: RecordFile, verdict: Verdict) -> tuple[SideShown, SideShown]:
    if verdict.subject is Subject.CAR:
        return (
            SideShown(name="The stored card", said="the stored card", short="card", href=""),
            SideShown(name="The car", said="the car", short="car", href=""),
        )
    own = _side(here, file, verdict.card_id)
    other = _side(here, file, verdict.other_card_id)
    if verdict.subject is Subject.JOINT:
        if own.said != other.said:
            return own, other
        return (
            SideShown(name="One side", said="one side", short="one side", href=own.href),
            SideShown(name="The other side", said="the other", short="the other", href=other.href),
        )
    master = SideShown(name="The master", said="the master", short="master", href=other.href)
    return master, own


def _side(here: PageContext, file: RecordFile, card_id: str | None) -> SideShown:
    cards = (one.latest_revision(Card, card_id or "") for one in files_of(here, file))
    card = next((card for card in cards if card is not None), None)
    batch = file.latest_revision(Batch, card.batch_id) if card is not None else None
    href = here.link("card", code=card.code) if card is not None and not card.withdrawn else ""
    if batch is None:
        return SideShown(name="The card", said="the card", short="card", href=href)
    name = f"batch {batch.number}"
    return SideShown(name=name.capitalize(), said=name, short=name, href=href)


def mean_of(readings: Sequence[Reading], angle: int | None) -> Lab | None:
    """The mean of every repeat of one side, as it was judged."""
    repeats = repeats_at(readings, angle)
    return mean_lab(AngleReading(repeats=tuple(repeats), angle=angle)) if repeats else None
