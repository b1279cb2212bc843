"""A new batch: one pot, with what was poured into it, checked by the sheet of its product."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import partial

from fastapi import APIRouter
from starlette.responses import Response

from service.domain.record_file import RecordFile
from service.domain.records.job import Finish, Job
from service.domain.records.shop import Product
from service.domain.records.spraying import Batch, Component
from service.domain.refused import OutOfOrder, Refused
from service.domain.terms import CoatRole, ComponentRole
from service.use_cases.spraying import MixBatch, Poured
from service.web.access import page_rules
from service.web.context import Frame, Here, PageContext, SentForm
from service.web.forms import Form
from service.web.pages.batch_ratio import RatioSaid, ratio_said, sheet_for
from service.web.pages.bench_defaults import last_batch
from service.web.pages.bench_forms import Filled, Gathering, Option, Start, options_of, typed

router = APIRouter()
page_rules(
    {
        ("GET", "/jobs/{job_id}/batches/new"): MixBatch,
        ("POST", "/jobs/{job_id}/batches/new"): MixBatch,
    }
)

LEAST_ROWS = 4
MOST_ROWS = 24
UNITS = tuple(Option(unit, unit) for unit in ("ml", "g", "fl oz", "oz", "parts"))


@dataclass(frozen=True, slots=True, kw_only=True)
class BatchNewPage:
    """The form of a new pot; ``ratio`` is what was said of it when it was checked first."""

    frame: Frame
    form: Filled
    job: Job
    job_href: str
    number: int
    like: int | None
    finishes: tuple[Option, ...]
    roles: tuple[Option, ...]
    component_roles: tuple[Option, ...]
    units: tuple[Option, ...]
    sheets: tuple[Option, ...]
    products: tuple[str, ...]
    rows: range
    ratio: RatioSaid | None


@router.get("/jobs/{job_id}/batches/new", name="batch_new")
def batch_new(here: Here, job_id: str, like: str = "", finish: str = "") -> Response:
    """The form, filled from the last pot of the finish or the one named by ``like``."""
    file = here.store.job(job_id)
    page = _page(here, file, here.frame("bench", bench=True), Form(), like, finish)
    return here.render("batch_new.html", page)


@router.post("/jobs/{job_id}/batches/new", name="batch_new")
def batch_new_now(here: Here, form: SentForm, job_id: str) -> Response:
    """Put the pot on record, or only say what its sheet says of it."""
    file = here.store.job(job_id)
    like, checking = form.value("like"), form.value("do") == "check"

    def page(frame: Frame, ratio: RatioSaid | None = None) -> BatchNewPage:
        return _page(here, file, frame, form, like, ratio=ratio)

    try:
        command = _command(form, here.store.shop(), job_id)
        if checking:
            said = ratio_said(here.store.shop(), command.product_id, command.components)
            return here.render("batch_new.html", page(here.frame("bench", bench=True), said))
        here.perform(command)
    except Refused as refusal:
        return here.refused(form, refusal, "batch_new.html", page, "bench", bench=True)
    return here.see_other("batch", job_id=job_id, batch_id=command.id, saved="batch")


def _command(form: Form, shop: RecordFile, job_id: str) -> MixBatch:
    """The pot as typed; a row counts when anything but its ready choices stands in it."""
    gathering = Gathering(form)
    rows = [row for row in range(_rows_typed(form)) if _is_typed(form, row)]
    read = [gathering.take(partial(form.read, Poured, f"components.{row}."), None) for row in rows]
    poured = tuple(one for one in read if one is not None)
    given = {"job_id": job_id, "components": poured}
    command = gathering.take(lambda: form.read(MixBatch, "", given), None)
    gathering.done()
    assert command is not None, "nothing was refused"
    sheet = sheet_for(shop, command.product_id, command.components)
    return replace(command, product_id=sheet.root if sheet else None)


def _page(
    here: PageContext,
    file: RecordFile,
    frame: Frame,
    form: Form,
    like: str = "",
    finish: str = "",
    ratio: RatioSaid | None = None,
) -> BatchNewPage:
    finishes = file.all(Finish)
    if not finishes:
        raise OutOfOrder("This job has no finish yet. Add its first finish, then mix a batch.")
    model = file.find(Batch, like) or last_batch(file, here.person.root, finish)
    shop = here.store.shop()
    products = sorted(shop.all(Product), key=lambda p: p.name.casefold())
    poured = file.by(Component, "batch_id", model.root) if model else []
    filled = Filled(form=form, start=_start(file, model, finish, poured))
    least = len(poured) + 1 if poured else LEAST_ROWS
    rows = min(MOST_ROWS, max(least, _rows_typed(form) + 1))
    numbers = [batch.number for batch in file.all(Batch)]
    return BatchNewPage(
        frame=frame,
        form=filled,
        job=file.get(Job, file.chain),
        job_href=here.link("job", job_id=file.chain),
        number=max(numbers, default=0) + 1,
        like=model.number if model else None,
        finishes=tuple(Option(f.root, f.name, _colour(f)) for f in finishes),
        roles=options_of(CoatRole),
        component_roles=options_of(ComponentRole),
        units=UNITS,
        sheets=(
            Option("", "No sheet"),
            *(Option(p.root, p.name) for p in products if p.mix_ratio or p.pot_life_minutes),
        ),
        products=tuple(p.name for p in products),
        rows=range(rows),
        ratio=ratio,
    )


def _colour(finish: Finish) -> str:
    return " ".join(text for text in (finish.colour_code, finish.colour_name) if text)


def _rows_typed(form: Form) -> int:
    return 1 + max((row for row in range(MOST_ROWS) if _is_typed(form, row)), default=-1)


def _is_typed(form: Form, row: int) -> bool:
    return any(form.value(f"components.{row}.{name}") for name in ("product", "lot", "amount"))


def _start(file: RecordFile, model: Batch | None, finish: str, poured: list[Component]) -> Start:
    """Everything as in the last pot: a refill is the same mix from, most often, the same lots."""
    finishes = file.all(Finish)
    if model is None:
        return {"finish_id": finish or finishes[0].root, "role": CoatRole.BASE.value}
    start = {
        "finish_id": model.finish_id,
        "role": model.role.value,
        "formula": model.formula,
        "product_id": model.product_id or "",
        "amount_ml": typed(model.amount_ml),
        "like": model.root,
    }
    for place, component in enumerate(poured):
        for name in ("product", "role", "lot", "amount", "unit"):
            start[f"components.{place}.{name}"] = typed(getattr(component, name))
    return start
