"""The parts of a job: its panels and their areas, and the joints between them."""

from __future__ import annotations

from dataclasses import dataclass

from fastapi import APIRouter
from starlette.responses import Response

from service.domain.record_file import RecordFile
from service.domain.records.job import Area, Finish, Job, Joint, Panel
from service.domain.refused import Invalid, OutOfOrder, Refused
from service.domain.sides import place_name
from service.domain.terms import JointKind
from service.use_cases.command import part_id
from service.use_cases.job import AddArea, AddJoint, AddPanel
from service.web.access import page_rules
from service.web.context import Frame, Here, PageContext, SentForm
from service.web.forms import Form
from service.web.pages.bench_forms import Filled, Option
from service.web.pages.job_places import ACROSS, ALONG, COMMON, free_place, likely_joints

router = APIRouter()
page_rules(
    {
        (method, f"/jobs/{{job_id}}/{part}/new"): command
        for method in ("GET", "POST")
        for part, command in (("panels", AddPanel), ("areas", AddArea), ("joints", AddJoint))
    }
)

MOST_AREAS = 4
JOINT_KINDS = (
    Option(JointKind.GAP, "Panel gap", "a gap, body line or trim between"),
    Option(JointKind.BUTT, "Butt joint", "edge to edge in one plane"),
    Option(JointKind.FADE, "Fade", "faded out inside a panel"),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class PanelNewPage:
    """Common panels to tick, and one with a name of its own."""

    frame: Frame
    form: Filled
    job: Job
    job_href: str
    finishes: tuple[Option, ...]
    common: tuple[Option, ...]
    across: tuple[Option, ...]
    along: tuple[Option, ...]
    has_panels: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class AreaNewPage:
    """A panel, and the names of the areas it is sprayed in."""

    frame: Frame
    form: Filled
    job: Job
    job_href: str
    panels: tuple[Option, ...]
    areas: range


@dataclass(frozen=True, slots=True, kw_only=True)
class JointNewPage:
    """Neighbours on the map to tick, and any two places."""

    frame: Frame
    form: Filled
    job: Job
    job_href: str
    kinds: tuple[Option, ...]
    likely: tuple[Option, ...]
    places: tuple[Option, ...]


@router.get("/jobs/{job_id}/panels/new", name="panel_new")
def panel_new(here: Here, job_id: str) -> Response:
    """The form of panels."""
    frame = here.frame("bench", bench=True)
    page = _panel_page(here, here.store.job(job_id), frame, Form())
    return here.render("job_panel.html", page)


@router.post("/jobs/{job_id}/panels/new", name="panel_new")
def panel_new_now(here: Here, form: SentForm, job_id: str) -> Response:
    """Add every panel that was ticked or named, and go on to the joints between them."""
    file = here.store.job(job_id)
    try:
        for command in _panels(form, file):
            here.perform(command)
    except Refused as refusal:
        return here.refused(
            form,
            refusal,
            "job_panel.html",
            lambda frame: _panel_page(here, here.store.job(job_id), frame, form),
            "bench",
            bench=True,
        )
    return here.see_other("joint_new", job_id=job_id)


def _panels(form: Form, file: RecordFile) -> list[AddPanel]:
    """One command a panel; the ids follow from the form's own, so sending it twice adds once."""
    ticked = form.values("common")
    commands = [
        AddPanel(
            id=part_id(form.id, f"panel {place.name}"),
            job_id=file.chain,
            finish_id=form.value("finish_id"),
            name=place.name,
            x=place.x,
            y=place.y,
        )
        for place in COMMON
        if place.name in ticked
    ]
    if form.value("name"):
        commands.append(form.command(AddPanel, job_id=file.chain))
    if not commands:
        raise Invalid("common", "No panel was named. Tick the panels, or name one.")
    return commands


@router.get("/jobs/{job_id}/areas/new", name="area_new")
def area_new(here: Here, job_id: str, panel: str = "") -> Response:
    """The form of areas."""
    frame = here.frame("bench", bench=True)
    page = _area_page(here, here.store.job(job_id), frame, Form(), panel)
    return here.render("job_area.html", page)


@router.post("/jobs/{job_id}/areas/new", name="area_new")
def area_new_now(here: Here, form: SentForm, job_id: str) -> Response:
    """Add the areas that were named."""
    try:
        panel_id, names = form.needed("panel_id"), form.values("areas")
        if not names:
            raise Invalid("areas", "No area was named. Name at least one, such as Upper half.")
        for name in dict.fromkeys(names):
            here.perform(
                AddArea(
                    id=part_id(form.id, f"area {name}"), job_id=job_id, panel_id=panel_id, name=name
                )
            )
    except Refused as refusal:
        return here.refused(
            form,
            refusal,
            "job_area.html",
            lambda frame: _area_page(here, here.store.job(job_id), frame, form),
            "bench",
            bench=True,
        )
    return here.see_other("job", job_id=job_id)


@router.get("/jobs/{job_id}/joints/new", name="joint_new")
def joint_new(here: Here, job_id: str) -> Response:
    """The form of joints."""
    frame = here.frame("bench", bench=True)
    page = _joint_page(here, here.store.job(job_id), frame, Form())
    return here.render("job_joint.html", page)


@router.post("/jobs/{job_id}/joints/new", name="joint_new")
def joint_new_now(here: Here, form: SentForm, job_id: str) -> Response:
    """Add every joint that was ticked or named."""
    try:
        for command in _joints(form, job_id):
            here.perform(command)
    except Refused as refusal:
        return here.refused(
            form,
            refusal,
            "job_joint.html",
            lambda frame: _joint_page(here, here.store.job(job_id), frame, form),
            "bench",
            bench=True,
        )
    return here.see_other("job", job_id=job_id)


def _joints(form: Form, job_id: str) -> list[AddJoint]:
    kind = form.value("kind") or JointKind.GAP
    if kind not in list(JointKind):
        raise Invalid("kind", f"{kind!r} is no kind of joint. Pick one of the tiles.")
    commands = []
    for pair in form.values("likely"):
        a, _, b = pair.partition(" ")
        commands.append(
            AddJoint(
                id=part_id(form.id, f"joint {pair}"),
                job_id=job_id,
                kind=JointKind(kind),
                panel_a=a,
                panel_b=b,
            )
        )
    if form.value("one") or form.value("other"):
        one, other = form.needed("one"), form.needed("other")
        (panel_a, _, area_a), (panel_b, _, area_b) = one.partition(" "), other.partition(" ")
        within = panel_a == panel_b
        commands.append(
            AddJoint(
                id=form.id,
                job_id=job_id,
                kind=JointKind.WITHIN if within else JointKind(kind),
                panel_a=panel_a,
                panel_b=panel_b,
                area_a=area_a or None,
                area_b=area_b or None,
                note=form.value("note"),
            )
        )
    if not commands:
        raise Invalid(
            "likely", "No joint was named. Tick the ones that meet the eye, or name two places."
        )
    return commands


def _panel_page(here: PageContext, file: RecordFile, frame: Frame, form: Form) -> PanelNewPage:
    finishes = file.all(Finish)
    if not finishes:
        raise OutOfOrder("This job has no finish yet. Add its first finish, then its panels.")
    panels = file.all(Panel)
    there = {panel.name.casefold() for panel in panels}
    x, y = free_place(panels)
    start = {"finish_id": finishes[0].root, "x": f"{x:g}", "y": f"{y:g}"}
    return PanelNewPage(
        frame=frame,
        form=Filled(form=form, start=start),
        job=file.get(Job, file.chain),
        job_href=here.link("job", job_id=file.chain),
        finishes=tuple(Option(f.root, f.name, f.colour_code) for f in finishes),
        common=tuple(Option(p.name, p.name) for p in COMMON if p.name.casefold() not in there),
        across=tuple(Option(*pair) for pair in ACROSS),
        along=tuple(Option(*pair) for pair in ALONG),
        has_panels=bool(panels),
    )


def _area_page(
    here: PageContext, file: RecordFile, frame: Frame, form: Form, panel: str = ""
) -> AreaNewPage:
    panels = file.all(Panel)
    if not panels:
        raise OutOfOrder("This job has no panel yet. Add its panels, then divide one into areas.")
    options = []
    for one in panels:
        areas = ", ".join(area.name for area in file.by(Area, "panel_id", one.root))
        options.append(Option(one.root, one.name, f"has {areas}" if areas else ""))
    return AreaNewPage(
        frame=frame,
        form=Filled(form=form, start={"panel_id": panel}),
        job=file.get(Job, file.chain),
        job_href=here.link("job", job_id=file.chain),
        panels=tuple(options),
        areas=range(MOST_AREAS),
    )


def _joint_page(here: PageContext, file: RecordFile, frame: Frame, form: Form) -> JointNewPage:
    panels = file.all(Panel)
    if not panels:
        raise OutOfOrder("This job has no panel yet. Add its panels, then the joints between them.")
    places = [Option("", "Pick a place")]
    for panel in panels:
        places.append(Option(panel.root, panel.name))
        places += [
            Option(f"{panel.root} {area.root}", place_name(file, panel.root, area.root))
            for area in file.by(Area, "panel_id", panel.root)
        ]
    likely = likely_joints(panels, file.all(Joint))
    return JointNewPage(
        frame=frame,
        form=Filled(form=form, start={"kind": JointKind.GAP.value}),
        job=file.get(Job, file.chain),
        job_href=here.link("job", job_id=file.chain),
        kinds=JOINT_KINDS,
        likely=tuple(Option(f"{a.root} {b.root}", f"{a.name} to {b.name}") for a, b in likely),
        places=tuple(places),
    )
