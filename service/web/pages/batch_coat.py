"""A coat of a batch, over several panels, areas and cards at once."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from fastapi import APIRouter
from starlette.responses import Response

from service.domain.card_code import grouped
from service.domain.lookups import whereabouts
from service.domain.record_file import RecordFile
from service.domain.records.cards import Card
from service.domain.records.job import Area, Finish, Job, Panel
from service.domain.records.shop import Product
from service.domain.records.spraying import Batch, Coat, Component
from service.domain.refused import Refused
from service.domain.terms import CoatRole, ComponentRole
from service.use_cases.spraying import SprayCoat
from service.web.access import page_rules
from service.web.context import Frame, Here, PageContext, SentForm
from service.web.forms import Form
from service.web.pages.bench_defaults import cards_at_hand, last_coat
from service.web.pages.bench_forms import (
    UNITS,
    Filled,
    Kind,
    Option,
    Start,
    options_of,
    read_set_up,
    start_of_set_up,
    typed,
)

router = APIRouter()
_PATH = "/jobs/{job_id}/batches/{batch_id}/coats/new"
page_rules({("GET", _PATH): SprayCoat, ("POST", _PATH): SprayCoat})

HIDES = (
    Option("", "Not looked at"),
    Option("yes", "It hides what is under it"),
    Option("no", "It does not hide yet"),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class CoatNewPage:
    """The form of a coat: first where it went, then how it was sprayed."""

    frame: Frame
    form: Filled
    job: Job
    job_href: str
    batch: Batch
    finish: str
    number: int
    panels: tuple[Option, ...]
    areas: tuple[Option, ...]
    cards: tuple[Option, ...]
    panel_new_href: str
    area_new_href: str
    roles: tuple[Option, ...]
    hides: tuple[Option, ...]
    guns: tuple[str, ...]
    booths: tuple[str, ...]
    temperatures: tuple[Option, ...] = UNITS[Kind.TEMPERATURE]
    pressures: tuple[Option, ...] = UNITS[Kind.PRESSURE]
    lengths: tuple[Option, ...] = UNITS[Kind.LENGTH]
    has_hardener: bool = False


@router.get(_PATH, name="coat_new")
def coat_new(here: Here, job_id: str, batch_id: str) -> Response:
    """The form, filled as the last coat of the batch was sprayed, onto the same places."""
    file = here.store.job(job_id)
    page = _page(here, file, batch_id, here.frame("bench", bench=True), Form())
    return here.render("batch_coat.html", page)


@router.post(_PATH, name="coat_new")
def coat_new_now(here: Here, form: SentForm, job_id: str, batch_id: str) -> Response:
    """Put the coat on record; the joints it bears on are judged anew."""
    file = here.store.job(job_id)
    try:
        set_up = read_set_up(form)
        here.perform(form.command(SprayCoat, job_id=job_id, batch_id=batch_id, set_up=set_up))
    except Refused as refusal:
        return here.refused(
            form,
            refusal,
            "batch_coat.html",
            lambda frame: _page(here, file, batch_id, frame, form),
            "bench",
            bench=True,
        )
    return here.see_other("batch", job_id=job_id, batch_id=batch_id, saved="coat")


def _page(
    here: PageContext, file: RecordFile, batch_id: str, frame: Frame, form: Form
) -> CoatNewPage:
    batch = file.get(Batch, batch_id)
    person = here.person.root
    own = file.by(Coat, "batch_id", batch.root)
    before = last_coat(file, person, batch, batch.role)
    sprayed = [coat for coat in own if not _came_with_card(file, coat)]
    shop = here.store.shop()
    components = file.by(Component, "batch_id", batch.root)
    coats = file.all(Coat)
    return CoatNewPage(
        frame=frame,
        form=Filled(form=form, start=_start(shop, batch, sprayed, before)),
        job=file.get(Job, file.chain),
        job_href=here.link("job", job_id=file.chain),
        batch=batch,
        finish=file.get(Finish, batch.finish_id).name,
        number=max((c.number for c in own), default=0) + 1,
        panels=tuple(_panel_options(file, batch)),
        areas=tuple(_area_options(file, batch)),
        cards=tuple(card_options(file, cards_at_hand(file, batch, most=_others(batch)))),
        panel_new_href=here.link("panel_new", job_id=file.chain),
        area_new_href=here.link("area_new", job_id=file.chain),
        roles=options_of(CoatRole),
        hides=HIDES,
        guns=used(c.gun for c in coats),
        booths=used(c.booth for c in coats),
        has_hardener=any(c.role is ComponentRole.HARDENER for c in components),
    )


def _start(shop: RecordFile, batch: Batch, sprayed: list[Coat], before: Coat | None) -> Start:
    start: dict[str, str | tuple[str, ...]] = dict(start_of_set_up(before))
    product = shop.find(Product, batch.product_id)
    if before is None and product is not None:
        start["set_up.flash_minutes"] = typed(product.flash_minutes)
    if sprayed:
        # The next coat mostly goes where the last one went.
        newest = max(sprayed, key=lambda c: (c.observed_at, c.number))
        together = [c for c in sprayed if c.received_at == newest.received_at]
        start["panel_ids"] = tuple(c.panel_id for c in together if c.panel_id and not c.area_id)
        start["area_ids"] = tuple(c.area_id for c in together if c.area_id)
        start["card_ids"] = tuple(c.card_id for c in together if c.card_id)
    return start


def _others(batch: Batch) -> int:
    """How many cards of other batches to offer: ground and clear go over cards of any."""
    return 3 if batch.role in (CoatRole.BASE, CoatRole.MID) else 12


def _came_with_card(file: RecordFile, coat: Coat) -> bool:
    """Whether a coat was logged with its card; the next one does not follow it there."""
    card = file.find(Card, coat.card_id)
    return card is not None and card.received_at == coat.received_at


def _panel_options(file: RecordFile, batch: Batch) -> Iterable[Option]:
    for panel in file.by(Panel, "finish_id", batch.finish_id):
        coats = file.by(Coat, "panel_id", panel.root)
        yield Option(panel.root, panel.name, _coats_so_far(coats, batch.role))


def _area_options(file: RecordFile, batch: Batch) -> Iterable[Option]:
    for panel in file.by(Panel, "finish_id", batch.finish_id):
        coats = file.by(Coat, "panel_id", panel.root)
        for area in file.by(Area, "panel_id", panel.root):
            there = (coat for coat in coats if coat.area_id in (None, area.root))
            name = f"{panel.name}, {area.name}"
            yield Option(area.root, name, _coats_so_far(there, batch.role))


def _coats_so_far(coats: Iterable[Coat], role: CoatRole) -> str:
    """How many coats of a role lie there; one from two pots counts once."""
    count = max((coat.number for coat in coats if coat.role is role), default=0)
    return f"{count} {role} coat{'s' * (count != 1)} so far" if count else ""


def card_options(file: RecordFile, cards: Iterable[Card]) -> Iterable[Option]:
    """Cards to choose from, each with its batch and slot."""
    for card in cards:
        batch = file.find(Batch, card.batch_id)
        slot = whereabouts(file, card).slot
        said = [f"batch {batch.number}" if batch else "", f"slot {slot}" if slot else ""]
        yield Option(card.root, grouped(card.code), ", ".join(text for text in said if text))


def used(texts: Iterable[str]) -> tuple[str, ...]:
    """What was typed into a field before, the newest first."""
    return tuple(dict.fromkeys(reversed([text for text in texts if text])))[:20]
