"""Random lines put straight into their tables, and what each query must answer about them.

The answers are worked out in plain Python, line by line, from what the ports promise.
"""

from __future__ import annotations

import random
import statistics
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from typing import Any, TypeVar
from uuid import UUID

from service.domain.card_code import new_card_code
from service.domain.lines import BatchLine, CardLine, JobLine, JointLine, Line
from service.domain.moment import as_text
from service.domain.records.base import Record
from service.domain.records.job import Finish, Job
from service.domain.records.shop import Person
from service.domain.terms import FinishKind
from service.storage.lines import put_lines
from service.storage.schema import CODECS, PLACE
from service.storage.sql import Sql, insert_into
from service.storage.store import ShopStore
from service.use_cases.queries import BatchFilter, CardSearch

L = TypeVar("L", bound=Line)

START = datetime(2025, 11, 20, 21, 0, tzinfo=UTC)
WORDS = ["blends", "shows", "cannot_tell", "not_comparable"]
# Names that a careless LIKE, a careless fold or a careless split would get wrong.
NAMES = [
    *("Silver mist", "silver 100% mist", "SILVER_MIST", "silverXmist", "Grün", "GROSSE STRASSE"),
    *("Straße", "Blå \\ grå", "Blå / grå", "漆 black", "night [1]", "a*b?c", "''--;", "ΣΊΣΥΦΟΣ"),
]
PANELS = ["Left door", "Right door", "Bonnet", "Tür 50%", "left_wing", "Roof"]
PRODUCTS = ["Base 100", "Base 10", "base 100", "Mid_1", "Mid%1", "Clear, slow"]
LOTS = ["L1", "L10", "l1", "L%1", "L_1", ""]
CONDITIONS = [
    "D65/10°, d:8, specular included",
    "D65/10°, d:8, specular excluded",
    "D65/10°, 45:0",
    "D50/2°, 45:0",
]


@dataclass
class Lines:
    """The lines of one shop."""

    jobs: list[JobLine] = field(default_factory=list)
    cards: list[CardLine] = field(default_factory=list)
    batches: list[BatchLine] = field(default_factory=list)
    joints: list[JointLine] = field(default_factory=list)
    finishes: dict[str, tuple[str, str]] = field(default_factory=dict)
    """Job and name of each finish."""

    def all(self) -> list[Line]:
        """Every line."""
        return [*self.jobs, *self.cards, *self.batches, *self.joints]


def some_id(rng: random.Random) -> str:
    """A UUID drawn from the generator."""
    return str(UUID(int=rng.getrandbits(128), version=4))


def folded(*words: str) -> str:
    """Words as the lines keep them for searching."""
    return " ".join(word for word in words if word).casefold()


def random_lines(rng: random.Random, shop_id: str, jobs: int = 12) -> Lines:
    """Jobs with their finishes, batches, cards and joints; many times are equal."""
    lines = Lines()
    painters = [some_id(rng) for _ in range(3)]
    for number in range(jobs):
        job_id = some_id(rng)
        work_order = f"W-{rng.randrange(30)}{'%_'[rng.randrange(2)]}{number}"
        title = rng.choice(NAMES)
        lines.jobs.append(
            JobLine(
                id=job_id,
                shop_id=shop_id,
                job_id=job_id,
                work_order=work_order,
                title=title,
                opened_at=some_time(rng),
                released_at=rng.choice([None, some_time(rng)]),
                repairs_job_id=None,
                search=folded(work_order, title),
            )
        )
        for _ in range(rng.randrange(3)):
            finish_id = some_id(rng)
            lines.finishes[finish_id] = (job_id, rng.choice(NAMES))
            colour = (rng.choice(["", "B-12", "b%12"]), rng.choice(["", *NAMES]))
            for batch_number in range(1, rng.randrange(2, 8)):
                batch = _batch(rng, shop_id, job_id, finish_id, batch_number, painters)
                lines.batches.append(batch)
                for _ in range(rng.randrange(3)):
                    lines.cards.append(
                        _card(rng, batch, work_order, title, lines.finishes[finish_id][1], colour)
                    )
        for _ in range(rng.randrange(4)):
            lines.joints.append(_joint(rng, shop_id, job_id))
    return lines


def some_time(rng: random.Random) -> str:
    """One of few times, so that several lines share one; around the turn of a year."""
    return as_text(START + timedelta(hours=3 * rng.randrange(400)))


def _batch(
    rng: random.Random, shop_id: str, job_id: str, finish_id: str, number: int, painters: list[str]
) -> BatchLine:
    word = rng.choice([*WORDS, None])
    measured = word in WORDS[:3]
    sprayed = some_time(rng)
    return BatchLine(
        id=some_id(rng),
        shop_id=shop_id,
        job_id=job_id,
        finish_id=finish_id,
        number=number,
        role=rng.choice(["base", "clear"]),
        product=", ".join(rng.sample(PRODUCTS, rng.randrange(1, 3))),
        lots=", ".join(lot for lot in rng.sample(LOTS, rng.randrange(3)) if lot),
        painter_id=rng.choice(painters),
        booth=rng.choice(["", "Booth 1", "booth 1", "Booth 2"]),
        gun=rng.choice(["", "Gun A", "Gun_B"]),
        sprayed_at=sprayed,
        month=sprayed[:7],
        gap="" if word else rng.choice(["", "no_card", "no_reading", "no_master", "no_verdict"]),
        verdict_id=some_id(rng) if word else None,
        word=word,
        stage="baked" if word else None,
        delta_e_2000=rng.choice([0.5, rng.uniform(0, 3)]) if measured else None,
        limit_value=0.8 if word else None,
        delta_l=rng.gauss(0.4, 0.3) if measured else None,
        delta_a=rng.gauss(-2, 0.01) if measured else None,
        delta_b=rng.choice([0.25, -1.5]) if measured else None,
        accepted=rng.random() < 0.2,
    )


def _card(
    rng: random.Random,
    batch: BatchLine,
    work_order: str,
    title: str,
    finish_name: str,
    colour: tuple[str, str],
) -> CardLine:
    panels = ", ".join(rng.sample(PANELS, rng.randrange(3)))
    code = new_card_code(rng.choice)
    # Drawn apart, so that what the searches find stays what it was.
    later = random.Random(code)
    slot = rng.choice(["", "A1", "A10", "B7", "C%1"])
    read = rng.random() < 0.9
    place = rng.choice(["in", "in", "in", "out", "missing"])
    centre = rng.choice([(25.0, -12.0, 6.0), (80.0, 0.0, 0.0), (40.0, 10.0, -45.0)])
    lab = [rng.gauss(value, rng.choice([0.3, 4.0])) for value in centre]
    if rng.random() < 0.1:
        lab = list(centre)
    return CardLine(
        id=some_id(rng),
        shop_id=batch.shop_id,
        job_id=batch.job_id,
        finish_id=batch.finish_id,
        batch_id=batch.id,
        code=code,
        kind="retention",
        slot=slot,
        sprayed_at=some_time(rng),
        painter_id=batch.painter_id,
        batch_number=batch.number,
        work_order=work_order,
        job_title=title,
        finish_name=finish_name,
        finish_kind="solid",
        colour_code=colour[0],
        colour_name=colour[1],
        panels=panels,
        whereabouts=place,
        holder_id=some_id(rng) if place == "out" else None,
        is_master=rng.random() < 0.1,
        stage="baked" if read else None,
        conditions=rng.choice(CONDITIONS) if read else "",
        angle=rng.choice([None, None, 45]) if read else None,
        l=lab[0] if read else None,
        a=lab[1] if read else None,
        b=lab[2] if read else None,
        standard_uncertainty=rng.choice([None, 0.1]) if read else None,
        word=batch.word,
        delta_e_2000=batch.delta_e_2000,
        search=folded(
            *(code, f"{code[:4]}-{code[4:8]}-{code[8:]}", work_order, title, finish_name),
            *(*colour, panels, f"batch {batch.number}", slot),
        ),
        read_at=some_time(later) if read else None,
        moved_by=later.choice([None, 0.25, later.uniform(0, 3)]) if read else None,
        held_back=later.choice(["", "", "master", "last"]),
    )


def _joint(rng: random.Random, shop_id: str, job_id: str) -> JointLine:
    word = rng.choice([*WORDS, None])
    gaps = ["no_side", "one_stack", "two_finishes", "no_verdict", "no_reading"]
    return JointLine(
        id=some_id(rng),
        shop_id=shop_id,
        job_id=job_id,
        kind="gap",
        gap="" if word else rng.choice(gaps),
        verdict_id=some_id(rng) if word else None,
        word=word,
        delta_e_2000=None,
        limit_value=None,
        accepted=rng.random() < 0.2,
    )


def put(store: ShopStore, lines: Lines) -> Lines:
    """Write the lines, with the jobs and finishes they belong to."""
    author = store.shop().all(Person)[0].root
    every: dict[str, Any] = {
        "shop_id": store.shop_id,
        "author_id": author,
        "observed_at": START,
        "received_at": START,
    }
    records: list[Record] = [
        Job(**every, id=j.id, job_id=j.id, work_order=j.work_order, title=j.title)
        for j in lines.jobs
    ]
    for finish_id, (job_id, name) in lines.finishes.items():
        records.append(
            Finish(**every, id=finish_id, job_id=job_id, name=name, kind=FinishKind.SOLID)
        )

    def work(sql: Sql) -> None:
        for record in records:
            codec = CODECS[record.table]
            names = (*codec.names, *PLACE)
            sql.run(insert_into(record.table, names), [*codec.encode(record)[0], 1, 0])
        put_lines(sql, lines.all())

    store.database.writer().run(work)
    return lines


def put_more(store: ShopStore, lines: Sequence[Line]) -> None:
    """Write lines alone."""
    store.database.writer().run(lambda sql: put_lines(sql, lines))


def newest(lines: Iterable[L], time: str = "sprayed_at") -> list[L]:
    """Newest first, and of one time by id downwards."""
    return sorted(lines, key=lambda line: (getattr(line, time), line.id), reverse=True)


def _in_period(sprayed_at: str, first: str, last: str) -> bool:
    return (not first or sprayed_at[:10] >= first) and (not last or sprayed_at[:10] <= last)


def fitting_cards(lines: Lines, search: CardSearch) -> list[CardLine]:
    """The cards that fit, as CardSearch promises."""

    def fits(card: CardLine) -> bool:
        exact = ("painter_id", "job_id", "finish_id", "batch_id", "whereabouts")
        return (
            all(word in card.search for word in search.text.casefold().split())
            and all(getattr(search, n) in ("", getattr(card, n)) for n in exact)
            and (not search.slot or card.slot in (search.slot, search.slot.upper()))
            and search.panel.casefold() in card.panels.casefold()
            and any(
                search.colour.casefold() in held.casefold()
                for held in (card.colour_code, card.colour_name)
            )
            and _in_period(card.sprayed_at, search.sprayed_from, search.sprayed_to)
        )

    return newest(card for card in lines.cards if fits(card))


def fitting_batches(lines: Lines, filter: BatchFilter) -> list[BatchLine]:
    """The batches that fit, as BatchFilter promises."""

    def fits(batch: BatchLine) -> bool:
        exact = ("job_id", "finish_id", "painter_id", "booth", "gun", "word", "gap")
        return (
            all(getattr(filter, n) in ("", getattr(batch, n)) for n in exact)
            and (not filter.product or f", {filter.product}, " in f", {batch.product}, ")
            and (not filter.lot or f", {filter.lot}, " in f", {batch.lots}, ")
            and _in_period(batch.sprayed_at, filter.sprayed_from, filter.sprayed_to)
        )

    return newest(batch for batch in lines.batches if fits(batch))


def counted(lines: Sequence[BatchLine] | Sequence[JointLine]) -> dict[str, int]:
    """WordCounts of lines."""
    nothing_to_judge = ("", "one_stack", "two_finishes")
    return {
        **{word: sum(line.word == word for line in lines) for word in WORDS},
        "gap": sum(line.gap not in nothing_to_judge for line in lines),
        "accepted": sum(line.accepted for line in lines),
    }


def spread_of(lines: Lines, batches: Sequence[BatchLine]) -> dict[str, Any]:
    """FinishSpread of the batches of one finish."""
    job_id, finish_id = batches[0].job_id, batches[0].finish_id
    spread: dict[str, Any] = {
        "job_id": job_id,
        "finish_id": finish_id,
        "work_order": next(job.work_order for job in lines.jobs if job.id == job_id),
        "finish_name": lines.finishes[finish_id][1],
        "batches": len(batches),
        "judged": sum(batch.word is not None for batch in batches),
        "shows": sum(batch.word == "shows" for batch in batches),
        "largest": max(
            (b.delta_e_2000 for b in batches if b.delta_e_2000 is not None), default=None
        ),
    }
    for name in ("delta_l", "delta_a", "delta_b"):
        held = [v for v in (getattr(batch, name) for batch in batches) if v is not None]
        spread[f"mean_{name}"] = statistics.fmean(held) if held else None
        spread[f"sd_{name}"] = statistics.stdev(held) if len(held) > 1 else None
    return spread


def all_pages(read: Callable[[str | None], Any]) -> list[Any]:
    """Every line of a list, page by page."""
    found: list[Any] = []
    after = None
    while True:
        page = read(after)
        found += page.lines
        after = page.after
        if after is None:
            return found
        assert page.lines


def later(line: L, rng: random.Random, at: str) -> L:
    """The same line under a new id, at another time."""
    return replace(line, id=some_id(rng), **{"sprayed_at": at})
