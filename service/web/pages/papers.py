"""Papers: labels for cards, the sheet of a card, the sheet of a repair, the report of a job."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime

from fastapi import APIRouter
from starlette.responses import Response

from service.domain.lines import CardLine
from service.domain.printing import check_paper
from service.domain.record_file import RecordFile
from service.domain.records.cards import Card
from service.domain.refused import Invalid, Refused
from service.use_cases.card_paper import card_paper
from service.use_cases.job_paper import job_paper
from service.use_cases.label_papers import (
    LabelPaper,
    cards_of_codes,
    cards_to_label,
    fresh_labels,
    job_of_order,
    label_of,
)
from service.use_cases.label_stock import (
    FIRST_STOCK,
    MOST_LABELS,
    ONE_LABEL,
    STOCKS,
    LabelStock,
    stock_named,
)
from service.use_cases.papers import JournalHead, PaperHead, journal_heads, paper_head
from service.use_cases.queries import CardSearch
from service.use_cases.repair_paper import (
    near_the_car,
    reading_shown,
    repair_on_file,
    repair_paper,
)
from service.use_cases.under_lights import lights_of_batch
from service.web.access import ANYBODY_HERE, page_rules
from service.web.context import Frame, Here, PageContext
from service.web.forms import Form
from service.web.pages.bench_forms import Filled, Option

router = APIRouter()
_PATHS = (
    "/labels",
    "/labels.pdf",
    "/c/{code}/label.pdf",
    "/c/{code}/sheet.pdf",
    "/jobs/{job_id}/report.pdf",
    "/jobs/{job_id}/repair.pdf",
)
page_rules({("GET", path): ANYBODY_HERE for path in _PATHS})

_CARDS = ("order", "slot", "codes")
"""Ways to say which cards' labels are printed; none of them prints blank labels."""
_FIELDS = ("count", *_CARDS, "stock", "start")


@dataclass(frozen=True, slots=True, kw_only=True)
class LabelsPage:
    """What may be printed, and on what."""

    frame: Frame
    form: Filled
    stocks: tuple[Option, ...]
    slots: tuple[str, ...]
    most: int
    address: str


@router.get("/labels", name="labels")
def labels(here: Here) -> Response:
    """The page; what stands in the address is filled in."""
    return here.render("papers.html", _page(here, here.frame("rack"), Form()))


@router.get("/labels.pdf", name="labels_pdf")
def labels_pdf(here: Here) -> Response:
    """The labels that were asked for; the page again where they cannot be printed."""
    form = _form(here)
    try:
        stock = stock_named(form.value("stock"))
        chosen = _labels(here, form)
        pdf = here.services.press.labels(chosen, stock, _whole(form, "start", 1))
    except Refused as refusal:
        return here.refused(
            form, refusal, "papers.html", lambda frame: _page(here, frame, form), "rack"
        )
    of = "cards" if any(map(form.value, _CARDS)) else "blank"
    return pdf_answer(pdf, "labels", of, stock.name)


@router.get("/c/{code}/label.pdf", name="card_label")
def card_label(here: Here, code: str, stock: str = ONE_LABEL, start: int = 1) -> Response:
    """The label of one card."""
    line = here.card(code)
    pdf = here.services.press.labels([_label(here, line)], stock_named(stock), start)
    return pdf_answer(pdf, "label", line.code)


@router.get("/c/{code}/sheet.pdf", name="card_sheet")
def card_sheet(here: Here, code: str, paper: str = "") -> Response:
    """Everything of one card."""
    line = here.card(code)
    file = here.store.job(line.job_id)
    made = card_paper(
        file,
        here.store.shop(),
        file.get(Card, line.id),
        _head(here, file, paper),
        here.services.settings.label_address,
        lights_of_batch(here.store, file, line.batch_id),
    )
    return pdf_answer(here.services.press.card(made), "card", line.code)


@router.get("/jobs/{job_id}/report.pdf", name="job_report")
def job_report(here: Here, job_id: str, paper: str = "") -> Response:
    """The report of a job, with where its journal stood."""
    file = here.store.job(job_id)
    heads = journal_heads(here.queries, file, here.store.shop_id)
    made = job_paper(file, here.store.shop(), _head(here, file, paper, heads))
    return pdf_answer(here.services.press.job(made), "report", made.head.work_order)


@router.get("/jobs/{job_id}/repair.pdf", name="repair_sheet")
def repair_sheet(here: Here, job_id: str, panel: str = "", paper: str = "") -> Response:
    """The sheet of a repair; ``panel`` picks one of several that were read."""
    file = here.store.job(job_id)
    made = repair_paper(
        file,
        here.store.job(repair_on_file(file).stored_job_id),
        here.store.shop(),
        _head(here, file, paper),
        panel_id=panel,
        near=near_the_car(here.queries, file, reading_shown(file, panel)),
        public_address=here.services.settings.label_address,
    )
    return pdf_answer(here.services.press.repair(made), "repair", made.head.work_order)


def pdf_answer(pdf: bytes, *name: str) -> Response:
    """A PDF to be kept, under a name that every system takes."""
    plain = re.sub(r"[^A-Za-z0-9.]+", "-", "-".join(name)).strip("-.")
    return Response(
        pdf,
        media_type="application/pdf",
        headers={
            "Content-Disposition": f'attachment; filename="{plain[:80]}.pdf"',
            "Content-Security-Policy": "default-src 'none'; style-src 'unsafe-inline'; sandbox",
        },
    )


def _head(
    here: PageContext, file: RecordFile, paper: str, heads: Sequence[JournalHead] = ()
) -> PaperHead:
    return paper_head(
        file,
        here.store.shop(),
        printed_at=datetime.now(UTC),
        zone=here.zone,
        paper=check_paper(paper or here.services.settings.paper),
        heads=heads,
    )


def _form(here: PageContext) -> Form:
    given = here.request.query_params
    return Form({name: given.getlist(name) for name in _FIELDS if name in given})


def _page(here: PageContext, frame: Frame, form: Form) -> LabelsPage:
    settings = here.services.settings
    given = here.request.query_params
    start = {
        "stock": FIRST_STOCK[settings.paper],
        "start": "1",
        "count": str(stock_named(FIRST_STOCK[settings.paper]).each_page),
        **{name: given[name] for name in _FIELDS if given.get(name)},
    }
    return LabelsPage(
        frame=frame,
        form=Filled(form=form, start=start),
        stocks=tuple(Option(stock.name, stock.described) for stock in _in_order(settings.paper)),
        slots=here.queries.values("slot"),
        most=MOST_LABELS,
        address=settings.label_address,
    )


def _in_order(paper: str) -> Sequence[LabelStock]:
    """The shop's own paper first, then rolls, then other papers."""
    return sorted(STOCKS, key=lambda stock: (stock.paper != paper, not stock.is_roll))


def _labels(here: PageContext, form: Form) -> tuple[LabelPaper, ...]:
    asked = [name for name in _CARDS if form.value(name)]
    if not asked:
        return fresh_labels(
            _whole(form, "count", 0),
            public_address=here.services.settings.label_address,
            is_demo=here.services.is_demo,
        )
    if len(asked) > 1:
        raise Invalid(asked[1], "Fill in one of work order, slot and codes, and empty the others.")
    if "order" in asked:
        order = form.value("order")
        job_id = job_of_order(here.queries, order)
        lines = cards_to_label(
            here.queries, CardSearch(job_id=job_id), "order", f"on the job {order}"
        )
    elif "slot" in asked:
        slot = form.value("slot")
        lines = cards_to_label(here.queries, CardSearch(slot=slot), "slot", f"in slot {slot}")
    else:
        lines = cards_of_codes(here.queries, form.value("codes"))
    return tuple(_label(here, line) for line in lines)


def _label(here: PageContext, line: CardLine) -> LabelPaper:
    return label_of(
        line,
        public_address=here.services.settings.label_address,
        zone=here.zone,
        is_demo=here.services.is_demo,
    )


def _whole(form: Form, name: str, default: int) -> int:
    value = form.number(name)
    if value is None:
        return default
    if value != int(value):
        raise Invalid(name, f"{value:g} is no whole number. Write one.")
    return int(value)
