"""Approving a card as what its finish is judged against, by one reading a stage."""

from __future__ import annotations

from dataclasses import dataclass

from fastapi import APIRouter
from starlette.responses import Response

from service.domain.lines import CardLine
from service.domain.lookups import master_in_force
from service.domain.record_file import RecordFile
from service.domain.records.cards import Card
from service.domain.refused import Invalid, Refused
from service.domain.terms import MasterLevel, Stage
from service.use_cases.closing import ApproveMaster
from service.web.access import page_rules
from service.web.context import Frame, Here, PageContext, SentForm
from service.web.forms import Form
from service.web.pages.bench_forms import Filled, Option, words
from service.web.pages.card_readings import ReadingShown, readings_shown

router = APIRouter()
page_rules(
    {
        ("GET", "/c/{code}/master"): ApproveMaster,
        ("POST", "/c/{code}/master"): ApproveMaster,
    }
)

# The three levels of physical standards in ASTM D5531.
LEVELS = (
    Option(MasterLevel.MASTER, "Master", "the first standard; it stays in the rack"),
    Option(MasterLevel.DUPLICATE, "Duplicate", "stands in for the master, made with it"),
    Option(MasterLevel.WORKING, "Working standard", "for daily use, checked against the master"),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class StageAsked:
    """The readings of one stage, of which one may be approved; ``name`` is the field."""

    name: str
    stage: str
    readings: tuple[ReadingShown, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class MasterNewPage:
    """The form of an approval."""

    frame: Frame
    form: Filled
    line: CardLine
    stages: tuple[StageAsked, ...]
    levels: tuple[Option, ...]
    before: str


@router.get("/c/{code}/master", name="master_new")
def master_new(here: Here, code: str) -> Response:
    """The form; the newest reading of each stage is picked."""
    line = here.card(code)
    return here.render("card_master.html", _page(here, line, here.frame("rack"), Form()))


@router.post("/c/{code}/master", name="master_new")
def master_new_now(here: Here, form: SentForm, code: str) -> Response:
    """Approve; every batch of the finish is judged by it at once."""
    line = here.card(code)
    try:
        picked = [form.value(f"stage.{stage}") for stage in Stage]
        readings = tuple(id for id in picked if id)
        if not readings:
            raise Invalid("stage", "No reading was picked. Pick one for a stage at least.")
        here.perform(
            form.command(ApproveMaster, job_id=line.job_id, card_id=line.id, reading_ids=readings)
        )
    except Refused as refusal:
        return here.refused(
            form, refusal, "card_master.html", lambda frame: _page(here, line, frame, form), "rack"
        )
    return here.see_other("card", code=line.code, saved="master")


def _page(here: PageContext, line: CardLine, frame: Frame, form: Form) -> MasterNewPage:
    file = here.store.job(line.job_id)
    shown = [one for one in readings_shown(here, file, file.get(Card, line.id)) if not one.dropped]
    stages = [
        StageAsked(
            name=f"stage.{stage}",
            stage=words(stage),
            readings=tuple(one for one in shown if one.reading.stage is stage),
        )
        for stage in Stage
    ]
    asked = tuple(stage for stage in stages if stage.readings)
    before = _before(file, line)
    start = {one.name: one.readings[0].reading.root for one in asked}
    # A wet reading is approved only by somebody who picks it: nothing can be judged by it.
    start.pop(f"stage.{Stage.WET}", None)
    return MasterNewPage(
        frame=frame,
        form=Filled(form=form, start={**start, "level": MasterLevel.MASTER.value}),
        line=line,
        stages=asked,
        levels=LEVELS if before else LEVELS[:1],
        before=before,
    )


def _before(file: RecordFile, line: CardLine) -> str:
    """Code of the master in force so far."""
    master = master_in_force(file, line.finish_id)
    card = file.find(Card, master.card_id) if master else None
    return card.code if card else ""
