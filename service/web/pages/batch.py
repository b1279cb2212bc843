"""A batch: what was mixed, how it was sprayed, and what was said of it, then and now."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

from fastapi import APIRouter
from starlette.responses import Response

from service.domain.card_code import grouped
from service.domain.findings import findings_of
from service.domain.line_making import batch_gap
from service.domain.lookups import (
    cards_of_batch,
    master_in_force,
    panels_of_batch,
    readings_of_card,
    whereabouts,
)
from service.domain.mixing import pot_life_ends
from service.domain.record_file import RecordFile
from service.domain.records.cards import Card
from service.domain.records.job import Area, Finish, Job, Panel
from service.domain.records.measuring import Master, Reading, Verdict
from service.domain.records.shop import Product
from service.domain.records.spraying import Batch, Coat, Component
from service.domain.sentences import READABLE, Readable, approved_stages, readable_when
from service.domain.terms import CoatRole, ComponentRole, Word
from service.web.access import ANYBODY_HERE, page_rules
from service.web.context import Frame, Here, PageContext
from service.web.pages.batch_lights import LightsShown, lights_shown
from service.web.pages.batch_ratio import RatioSaid, ratio_said
from service.web.pages.bench_swatches import SwatchShown, swatch_of_reading
from service.web.pages.bench_views import (
    Action,
    FindingShown,
    VerdictShown,
    finding_shown,
    person_name,
    verdict_shown,
)
from service.web.pages.job_map import JointShown, shown_joints

router = APIRouter()
page_rules({("GET", "/jobs/{job_id}/batches/{batch_id}"): ANYBODY_HERE})

SAVED = {
    "batch": "The batch is on record.",
    "coat": "The coat is on record.",
    "card": "The card is on record.",
    "reading": "The reading is on record.",
}
"""What is said after a form was taken, by the word in the address."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PouredShown:
    """One thing in the pot."""

    product: str
    role: ComponentRole
    lot: str
    amount: float | None
    unit: str


@dataclass(frozen=True, slots=True, kw_only=True)
class CoatShown:
    """A coat, or several logged as one, and all the places it went to at once."""

    role: str
    first: int
    last: int
    places: tuple[str, ...]
    at: datetime
    painter: str
    coat: Coat


@dataclass(frozen=True, slots=True, kw_only=True)
class CardOfBatch:
    """A card of the batch with how often it was read."""

    code: str
    slot: str
    finish: str
    href: str
    note: str
    readings: int
    read_href: str


@dataclass(frozen=True, slots=True, kw_only=True)
class BatchPage:
    """The whole of a batch, what was last said of it first."""

    frame: Frame
    batch: Batch
    job: Job
    job_href: str
    finish: str
    author: str
    saved: str
    gap: str
    verdict: VerdictShown | None
    is_master: bool
    on_panels: tuple[str, ...]
    first_readable: str
    flash_ends: datetime | None
    wax_wait_days: float | None
    wax_product: str
    readable: str
    readable_at: datetime | None
    swatches: tuple[SwatchShown, SwatchShown] | None
    lights: LightsShown | None
    findings: tuple[FindingShown, ...]
    joints: tuple[JointShown, ...]
    poured: tuple[PouredShown, ...]
    ratio: RatioSaid
    pot_life_ends: datetime | None
    pot_life_left_minutes: float | None
    has_hardener: bool
    coats: tuple[CoatShown, ...]
    cards: tuple[CardOfBatch, ...]
    history: tuple[VerdictShown, ...]
    actions: tuple[Action, ...]
    correct_href: str


@router.get("/jobs/{job_id}/batches/{batch_id}", name="batch")
def batch(here: Here, job_id: str, batch_id: str, saved: str = "") -> Response:
    """The page of a batch; ``saved`` says what was just put on record."""
    page = batch_page(here, here.store.job(job_id), batch_id, SAVED.get(saved, ""))
    return here.render("batch.html", page)


def batch_page(here: PageContext, file: RecordFile, batch_id: str, saved: str = "") -> BatchPage:
    """Everything the page shows, read off the job's file."""
    batch = file.get(Batch, batch_id)
    shop = here.store.shop()
    components = file.by(Component, "batch_id", batch.root)
    verdicts = file.by(Verdict, "batch_id", batch.root)
    cards = cards_of_batch(file, batch.root)
    ends = pot_life_ends(batch)
    left = (ends - datetime.now(UTC)).total_seconds() / 60 if ends is not None else None
    card_ids = {card.root for card in cards}
    newest = verdicts[-1] if verdicts else None
    master = master_in_force(file, batch.finish_id)
    waiting = _waiting(file, newest)
    stages = approved_stages(file, master) if master is not None else []
    product = shop.find(Product, batch.product_id)
    return BatchPage(
        frame=here.frame("bench", bench=True),
        batch=batch,
        job=file.get(Job, file.chain),
        job_href=here.link("job", job_id=file.chain),
        finish=file.get(Finish, batch.finish_id).name,
        author=person_name(shop, batch.author_id),
        saved=saved,
        gap=batch_gap(file, batch),
        verdict=verdict_shown(here, newest) if newest else None,
        is_master=master is not None and master.card_id in card_ids,
        first_readable=READABLE[stages[0]] if stages else "",
        flash_ends=_flash_ends(file, batch),
        wax_wait_days=product.wax_wait_days if product else None,
        wax_product=product.name if product else "",
        on_panels=tuple(panel.name for panel in panels_of_batch(file, batch.root)),
        readable=READABLE[waiting.stage] if waiting else "",
        readable_at=waiting.at if waiting else None,
        swatches=_swatches(file, newest),
        lights=lights_shown(here, file, batch),
        findings=tuple(
            finding_shown(here, file, f) for f in findings_of(file) if f.batch_id == batch.root
        ),
        joints=tuple(j for j in shown_joints(here, file)[0] if card_ids & {j.card_a, j.card_b}),
        poured=tuple(
            PouredShown(product=c.product, role=c.role, lot=c.lot, amount=c.amount, unit=c.unit)
            for c in components
        ),
        ratio=ratio_said(shop, batch.product_id, components),
        pot_life_ends=ends,
        pot_life_left_minutes=max(0.0, left) if left is not None else None,
        has_hardener=any(c.role is ComponentRole.HARDENER for c in components),
        coats=tuple(coats_shown(file, shop, file.by(Coat, "batch_id", batch.root))),
        cards=tuple(_card(here, file, shop, card) for card in cards),
        history=tuple(verdict_shown(here, v) for v in reversed(verdicts[:-1])),
        actions=_actions(here, file, batch, cards, newest.word if newest else None),
        correct_href=here.link("correct", job_id=file.chain, table="batches", record_id=batch.root),
    )


def _waiting(file: RecordFile, verdict: Verdict | None) -> Readable | None:
    """When the card a verdict is about can be judged, if it was read too early."""
    master = file.find(Master, verdict.master_id) if verdict is not None else None
    if verdict is None or master is None:
        return None
    found = (file.find(Reading, id) for id in verdict.reading_ids)
    own = [r for r in found if r is not None and r.card_id == verdict.card_id]
    return readable_when(file, master, own[-1]) if own else None


def _flash_ends(file: RecordFile, batch: Batch) -> datetime | None:
    """When the flash of the last coat ends; None when it did, or nobody logged one."""
    coats = file.by(Coat, "batch_id", batch.root)
    last = max(coats, key=lambda coat: coat.observed_at, default=None)
    if last is None or last.flash_minutes is None:
        return None
    ends = last.observed_at + timedelta(minutes=last.flash_minutes)
    return ends if ends > datetime.now(UTC) else None


def _swatches(file: RecordFile, verdict: Verdict | None) -> tuple[SwatchShown, SwatchShown] | None:
    """Master and batch, as they were compared."""
    if verdict is None:
        return None
    readings = [r for r in (file.find(Reading, id) for id in verdict.reading_ids) if r is not None]
    pair = [
        swatch_of_reading(next(r for r in reversed(readings) if r.card_id == id), verdict.angle)
        for id in (verdict.other_card_id, verdict.card_id)
        if any(r.card_id == id for r in readings)
    ]
    if len(pair) != 2 or pair[0] is None or pair[1] is None:
        return None
    return pair[0], pair[1]


def coats_shown(file: RecordFile, shop: RecordFile, coats: Iterable[Coat]) -> list[CoatShown]:
    """Coats in order; those logged in one go stand together where their numbers are alike."""
    logged: dict[tuple[object, ...], dict[str, list[Coat]]] = {}
    for coat in coats:
        key: tuple[object, ...] = (
            coat.observed_at,
            coat.received_at,
            coat.role,
            coat.author_id,
        )
        logged.setdefault(key, {}).setdefault(_place(file, coat), []).append(coat)
    together: dict[tuple[object, ...], list[tuple[str, list[Coat]]]] = {}
    for key, places in logged.items():
        for place, there in places.items():
            numbers = tuple(sorted(coat.number for coat in there))
            together.setdefault((*key, numbers), []).append((place, there))
    shown = [
        CoatShown(
            role=found[0][1][0].role.value,
            first=min(coat.number for coat in found[0][1]),
            last=max(coat.number for coat in found[0][1]),
            places=tuple(place for place, _ in found),
            at=found[0][1][0].observed_at,
            painter=person_name(shop, found[0][1][0].author_id),
            coat=found[0][1][0],
        )
        for found in together.values()
    ]
    return sorted(shown, key=lambda one: (one.at, one.first))


def _place(file: RecordFile, coat: Coat) -> str:
    if coat.card_id is not None:
        card = file.find(Card, coat.card_id)
        return f"card {grouped(card.code)}" if card else "a card withdrawn since"
    panel = file.find(Panel, coat.panel_id)
    area = file.find(Area, coat.area_id)
    name = panel.name if panel else "a panel withdrawn since"
    return f"{name}, {area.name}" if area else name


def _card(here: PageContext, file: RecordFile, shop: RecordFile, card: Card) -> CardOfBatch:
    place = whereabouts(file, card)
    readings = readings_of_card(file, card.root)
    note = card.kind.value.capitalize()
    if place.place == "out":
        note = f"Out with {person_name(shop, place.holder_id)}"
    elif place.place == "missing":
        note = "Missing"
    return CardOfBatch(
        code=card.code,
        slot=place.slot if place.place == "in" else "",
        finish=file.get(Finish, card.finish_id).name,
        href=here.link("card", code=card.code),
        note=note,
        readings=len(readings),
        read_href=here.link("reading_new", code=card.code),
    )


def _actions(
    here: PageContext, file: RecordFile, batch: Batch, cards: Sequence[Card], word: Word | None
) -> tuple[Action, ...]:
    """What is done next with a batch, the likeliest first."""
    ids = {"job_id": file.chain, "batch_id": batch.root}
    unread = next((c for c in cards if not readings_of_card(file, c.root)), None)
    to_read = unread or (cards[0] if cards else None)
    spray = Action(text="Spray a card with it", href=here.link("card_new", **ids))
    coat = Action(text="Log a coat", href=here.link("coat_new", **ids))
    pot = Action(
        text="Mix the next pot like it",
        href=here.link("batch_new", job_id=file.chain, like=batch.root),
    )
    order = [coat, pot] if batch.role is CoatRole.CLEAR else [spray, coat, pot]
    if to_read is not None:
        read = Action(
            text=f"Read card {grouped(to_read.code)}",
            href=here.link("reading_new", code=to_read.code),
        )
        order = [read, coat, spray, pot]
        if unread is None and word in (Word.SHOWS, Word.BLENDS, None):
            # What shows is not sprayed on: the next thing is another card, or another pot.
            order = [spray, pot, read, coat] if word is Word.SHOWS else [coat, read, spray, pot]
        photograph = here.link("photograph_new", job_id=file.chain, card=to_read.code)
        order.append(Action(text="Photograph it beside the master", href=photograph))
    return (
        *order,
        Action(text="Log a bake", href=here.link("bake_new", job_id=file.chain)),
        Action(text="Log cutting or polishing", href=here.link("finishing_new", job_id=file.chain)),
    )
