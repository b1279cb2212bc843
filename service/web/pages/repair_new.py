"""Starting a repair from a stored card."""

from __future__ import annotations

from dataclasses import dataclass

from fastapi import APIRouter
from starlette.responses import Response

from service.domain.card_code import grouped
from service.domain.lines import CardLine
from service.domain.record_file import RecordFile
from service.domain.records.base import check_uuid
from service.domain.records.job import Finish, Job, Panel
from service.domain.refused import Invalid, Refused
from service.use_cases.command import part_id
from service.use_cases.job import AddPanel, OpenJob
from service.web.access import page_rules
from service.web.context import Frame, Here, PageContext, SentForm
from service.web.forms import Form
from service.web.pages.bench_forms import Filled, Option

router = APIRouter()
page_rules({("GET", "/c/{code}/repair"): OpenJob, ("POST", "/c/{code}/repair"): OpenJob})


@dataclass(frozen=True, slots=True, kw_only=True)
class RepairNewPage:
    """The form of a repair."""

    frame: Frame
    form: Filled
    line: CardLine
    finish: Finish
    panels: tuple[Option, ...]


@router.get("/c/{code}/repair", name="repair_new")
def repair_new(here: Here, code: str) -> Response:
    """The form; the vehicle and the panels are those of the stored job."""
    line = here.card(code)
    return here.render("repair_new.html", _page(here, line, here.frame("rack"), Form()))


@router.post("/c/{code}/repair", name="repair_new")
def repair_new_now(here: Here, form: SentForm, code: str) -> Response:
    """Open the repair with its panels, and go on to the first reading of the car."""
    line = here.card(code)
    try:
        job_id = _open(here, form, line)
    except Refused as refusal:
        return here.refused(
            form, refusal, "repair_new.html", lambda frame: _page(here, line, frame, form), "rack"
        )
    return here.see_other("car_reading_new", job_id=job_id, saved="opened")


def _open(here: PageContext, form: Form, line: CardLine) -> str:
    """Open the job, then add each panel; sent again, what is there already is passed over."""
    stored = here.store.job(line.job_id)
    panels = _panels(form, stored)
    command = form.command(
        OpenJob,
        note=f"Started from card {grouped(line.code)}.",
        repairs_job_id=line.job_id,
        repairs_finish_id=line.finish_id,
        damage=form.needed("damage"),
    )
    check_uuid("id", command.id)
    here.perform(command)
    finish = here.store.job(command.id).all(Finish)[0]
    for name, place in panels.items():
        here.perform(
            AddPanel(
                id=part_id(command.id, f"panel {name}"),
                job_id=command.id,
                finish_id=finish.root,
                name=name,
                x=place.x if place else 0.0,
                y=place.y if place else 0.0,
            )
        )
    return command.id


def _panels(form: Form, stored: RecordFile) -> dict[str, Panel | None]:
    """The panels of the repair by their names, with their places on the stored map."""
    places = {panel.name: panel for panel in stored.all(Panel)}
    names = dict.fromkeys((*form.values("panels"), form.value("panel_more")))
    found = {name: places.get(name) for name in names if name}
    if not found:
        raise Invalid("panels", "No panel was named. Say on which the damage is.")
    return found


def _page(here: PageContext, line: CardLine, frame: Frame, form: Form) -> RepairNewPage:
    stored = here.store.job(line.job_id)
    names = [panel.name for panel in stored.by(Panel, "finish_id", line.finish_id)]
    return RepairNewPage(
        frame=frame,
        form=Filled(form=form, start={"title": stored.get(Job, stored.chain).title}),
        line=line,
        finish=stored.get(Finish, line.finish_id),
        panels=tuple(Option(name, name) for name in names),
    )
