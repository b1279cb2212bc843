"""A bake of panels and cards together, and the steps of cutting and polishing."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from fastapi import APIRouter
from starlette.responses import Response

from service.domain.card_code import grouped
from service.domain.record_file import RecordFile
from service.domain.records.cards import Zone
from service.domain.records.job import Job, Panel
from service.domain.records.shop import Product
from service.domain.records.spraying import Bake, Batch, Finishing
from service.domain.refused import Invalid, Refused
from service.domain.terms import BakeTemperatureOf, FinishingKind
from service.use_cases.spraying import BakeThem, FinishSurface
from service.web.access import page_rules
from service.web.context import Frame, Here, PageContext, SentForm
from service.web.forms import Form
from service.web.pages.batch_coat import card_options
from service.web.pages.bench_defaults import cards_at_hand, newest
from service.web.pages.bench_forms import (
    UNITS,
    Filled,
    Kind,
    Option,
    Start,
    read_with_units,
    typed,
)

router = APIRouter()
page_rules(
    {
        (method, f"/jobs/{{job_id}}/{part}/new"): command
        for method in ("GET", "POST")
        for part, command in (("bakes", BakeThem), ("finishings", FinishSurface))
    }
)

TEMPERATURES_OF = (
    Option(BakeTemperatureOf.METAL, "Metal", "measured on the panel or card"),
    Option(BakeTemperatureOf.AIR, "Air", "as the oven shows it"),
)
GRITS = (1000, 1500, 2000, 2500, 3000)
"""The papers clear is commonly cut with, coarse to fine; common practice, no source."""


@dataclass(frozen=True, slots=True, kw_only=True)
class BakeNewPage:
    """What was in the oven, how long, how hot; ``sheets`` are the figures of the products."""

    frame: Frame
    form: Filled
    job: Job
    job_href: str
    panels: tuple[Option, ...]
    cards: tuple[Option, ...]
    temperatures_of: tuple[Option, ...]
    sheets: tuple[Product, ...]
    temperatures: tuple[Option, ...] = UNITS[Kind.TEMPERATURE]


@dataclass(frozen=True, slots=True, kw_only=True)
class FinishingNewPage:
    """One step of cutting or polishing, and what it was done to."""

    frame: Frame
    form: Filled
    job: Job
    job_href: str
    steps: tuple[Option, ...]
    panels: tuple[Option, ...]
    cards: tuple[Option, ...]
    zones: tuple[Option, ...]


@router.get("/jobs/{job_id}/bakes/new", name="bake_new")
def bake_new(here: Here, job_id: str) -> Response:
    """The form, filled as the last bake was."""
    frame = here.frame("bench", bench=True)
    return here.render("job_bake.html", _bake_page(here, here.store.job(job_id), frame, Form()))


@router.post("/jobs/{job_id}/bakes/new", name="bake_new")
def bake_new_now(here: Here, form: SentForm, job_id: str) -> Response:
    """Put the bake on record for everything that was in the oven."""
    file = here.store.job(job_id)
    try:
        units = {"temperature_c": Kind.TEMPERATURE}
        here.perform(read_with_units(form, BakeThem, "", units, job_id=job_id))
    except Refused as refusal:
        return here.refused(
            form,
            refusal,
            "job_bake.html",
            lambda frame: _bake_page(here, file, frame, form),
            "bench",
            bench=True,
        )
    return here.see_other("job", job_id=job_id, saved="bake")


@router.get("/jobs/{job_id}/finishings/new", name="finishing_new")
def finishing_new(here: Here, job_id: str) -> Response:
    """The form, at the step after the last one."""
    frame = here.frame("bench", bench=True)
    page = _finishing_page(here, here.store.job(job_id), frame, Form())
    return here.render("job_finishing.html", page)


@router.post("/jobs/{job_id}/finishings/new", name="finishing_new")
def finishing_new_now(here: Here, form: SentForm, job_id: str) -> Response:
    """Put the step on record."""
    file = here.store.job(job_id)
    try:
        kind, grit = _step(form)
        given = {"job_id": job_id, "kind": kind, "grit": grit}
        here.perform(form.read(FinishSurface, "", given))
    except Refused as refusal:
        return here.refused(
            form,
            refusal,
            "job_finishing.html",
            lambda frame: _finishing_page(here, file, frame, form),
            "bench",
            bench=True,
        )
    return here.see_other("job", job_id=job_id, saved="finishing")


def _step(form: Form) -> tuple[FinishingKind, int | None]:
    """What was done: one of the tiles, or a grit of its own."""
    step = form.value("step")
    other = form.number("other_grit")
    if step == FinishingKind.POLISH:
        return FinishingKind.POLISH, None
    if step == "other" or (not step and other is not None):
        if other is None or other != int(other):
            raise Invalid("other_grit", "Cutting needs its grit. Enter the number on the paper.")
        return FinishingKind.CUT, int(other)
    if step not in {str(grit) for grit in GRITS}:
        raise Invalid("step", "Nothing was picked. Pick the paper it was cut with, or polishing.")
    return FinishingKind.CUT, int(step)


def _bake_page(here: PageContext, file: RecordFile, frame: Frame, form: Form) -> BakeNewPage:
    before = newest(file.all(Bake), here.person.root)
    ids = {batch.product_id for batch in file.all(Batch)}
    shop = here.store.shop()
    products = [product for product in (shop.find(Product, id) for id in ids) if product]
    sheets = tuple(p for p in products if p.bake_minutes is not None)
    return BakeNewPage(
        frame=frame,
        form=Filled(form=form, start=_bake_start(file, before)),
        job=file.get(Job, file.chain),
        job_href=here.link("job", job_id=file.chain),
        panels=tuple(_panel_options(file)),
        cards=tuple(card_options(file, cards_at_hand(file))),
        temperatures_of=TEMPERATURES_OF,
        sheets=sheets,
    )


def _bake_start(file: RecordFile, before: Bake | None) -> Start:
    """As the last bake; in the oven are likely the cards that were sprayed since."""
    since = before.observed_at if before is not None else None
    cards = [
        card.root
        for card in cards_at_hand(file)
        if not file.by(Bake, "card_id", card.root) and (since is None or card.observed_at > since)
    ]
    start: dict[str, str | tuple[str, ...]] = {"card_ids": tuple(cards)}
    if before is not None:
        start["minutes"] = typed(before.minutes)
        start["temperature_c"] = typed(before.temperature_c)
        start["temperature_of"] = before.temperature_of.value
    return start


def _finishing_page(
    here: PageContext, file: RecordFile, frame: Frame, form: Form
) -> FinishingNewPage:
    before = newest(file.all(Finishing), here.person.root)
    start: dict[str, str | tuple[str, ...]] = {"step": _next_step(before)}
    if before is not None:
        together = [f for f in file.all(Finishing) if f.observed_at == before.observed_at]
        start["panel_ids"] = tuple(f.panel_id for f in together if f.panel_id)
        start["card_ids"] = tuple(f.card_id for f in together if f.card_id and not f.zone_id)
        start["zone_id"] = next((f.zone_id for f in together if f.zone_id), "")
    return FinishingNewPage(
        frame=frame,
        form=Filled(form=form, start=start),
        job=file.get(Job, file.chain),
        job_href=here.link("job", job_id=file.chain),
        steps=(
            *(Option(str(grit), f"Cut with {grit}") for grit in GRITS),
            Option("other", "Cut with another", "its number is below"),
            Option(FinishingKind.POLISH, "Polished"),
        ),
        panels=tuple(_panel_options(file)),
        cards=tuple(card_options(file, cards_at_hand(file))),
        zones=tuple(_zone_options(file)),
    )


def _next_step(before: Finishing | None) -> str:
    """The paper after the last one, polishing after the finest."""
    if before is None or before.grit is None:
        return ""
    finer = [grit for grit in GRITS if grit > before.grit]
    return str(finer[0]) if finer else FinishingKind.POLISH.value


def _panel_options(file: RecordFile) -> Iterable[Option]:
    for panel in file.all(Panel):
        baked = len(file.by(Bake, "panel_id", panel.root))
        times = "once" if baked == 1 else f"{baked} times"
        yield Option(panel.root, panel.name, f"baked {times} so far" if baked else "")


def _zone_options(file: RecordFile) -> Iterable[Option]:
    yield Option("", "The whole card")
    for card in cards_at_hand(file):
        for zone in file.by(Zone, "card_id", card.root):
            if zone.cleared:
                yield Option(zone.root, f"{grouped(card.code)}: {zone.name}")
