"""A reading of the car near the damage: conditions stated, repeats kept, judged when saved."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from fastapi import APIRouter
from starlette.responses import Response

from service.domain.beside_car import stored_card, the_repair
from service.domain.comparability import MEASURING_TEMPERATURE_C, required_angles
from service.domain.lookups import policy_in_force, readings_of_card
from service.domain.record_file import RecordFile
from service.domain.records.job import Finish, Job, Panel
from service.domain.records.measuring import Reading
from service.domain.records.shop import Instrument
from service.domain.refused import Invalid, Refused
from service.domain.terms import Stage
from service.use_cases.measuring import LogReading, Measured
from service.web.access import page_rules
from service.web.context import Frame, Here, PageContext, SentForm
from service.web.forms import Form
from service.web.pages.bench_defaults import newest
from service.web.pages.bench_forms import (
    UNITS,
    Filled,
    Gathering,
    Kind,
    Option,
    Start,
    read_with_units,
)
from service.web.pages.bench_reading import (
    GEOMETRIES,
    ILLUMINANTS,
    OBSERVERS,
    REPEATS,
    SPECULAR,
)
from service.web.pages.lab_typed import AXES, TypedAngle, angles_typed

router = APIRouter()
page_rules(
    {
        ("GET", "/jobs/{job_id}/car-readings/new"): LogReading,
        ("POST", "/jobs/{job_id}/car-readings/new"): LogReading,
    }
)

STAGES = (
    Option(Stage.POLISHED, "Polished", "cut and polished, as an old car is"),
    Option(Stage.BAKED, "As sprayed", "never cut since its clear was baked"),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class CarReadingPage:
    """The form of a reading of the car; ``like`` is that of the stored card it is held against."""

    frame: Frame
    form: Filled
    job: Job
    is_repair: bool
    opened: bool
    angles: tuple[TypedAngle, ...]
    repeats: range
    axes: tuple[str, ...]
    panels: tuple[Option, ...]
    stages: tuple[Option, ...]
    instruments: tuple[Option, ...]
    illuminants: tuple[Option, ...]
    observers: tuple[Option, ...]
    geometries: tuple[Option, ...]
    specular: tuple[Option, ...]
    like: Reading | None
    like_code: str
    measuring_temperature_c: float
    temperatures: tuple[Option, ...] = UNITS[Kind.TEMPERATURE]


@router.get("/jobs/{job_id}/car-readings/new", name="car_reading_new")
def car_reading_new(here: Here, job_id: str, panel: str = "", saved: str = "") -> Response:
    """The form; its conditions are those the stored card was read under."""
    file = here.store.job(job_id)
    page = _page(here, file, here.frame("rack"), Form(), panel, saved == "opened")
    return here.render("repair_reading.html", page)


@router.post("/jobs/{job_id}/car-readings/new", name="car_reading_new")
def car_reading_new_now(here: Here, form: SentForm, job_id: str) -> Response:
    """Put the reading on record, and show what it says of the car."""
    file = here.store.job(job_id)
    try:
        here.perform(form.command(LogReading, job_id=job_id, reading=_measured(form, file)))
    except Refused as refusal:
        return here.refused(
            form,
            refusal,
            "repair_reading.html",
            lambda frame: _page(here, file, frame, form),
            "rack",
        )
    if the_repair(file) is None:
        return here.see_other("job", job_id=job_id, saved="reading")
    panel = form.value("reading.panel_id")
    return here.see_other("repair", job_id=job_id, panel=panel, saved="reading")


def _measured(form: Form, file: RecordFile) -> Measured:
    gathering = Gathering(form)
    panel = gathering.take(lambda: _panel(form, file), None)
    asked = _asked(file, panel)
    angles = gathering.take(lambda: angles_typed(form, asked, REPEATS), ())
    measured = gathering.take(
        lambda: read_with_units(
            form,
            Measured,
            "reading.",
            {"surface_temperature_c": Kind.TEMPERATURE},
            card_id=None,
            panel_id=panel.root if panel is not None else None,
            angles=angles,
        ),
        None,
    )
    gathering.done()
    assert measured is not None, "nothing was refused"
    return measured


def _panel(form: Form, file: RecordFile) -> Panel:
    panel = file.find(Panel, form.value("reading.panel_id"))
    if panel is None:
        raise Invalid("reading.panel_id", "No panel was picked. Say on which the car was read.")
    return panel


def _asked(file: RecordFile, panel: Panel | None) -> tuple[TypedAngle, ...]:
    """The angles to type: those the panel's finish is judged at, or the one of a solid."""
    finishes = [file.get(Finish, panel.finish_id)] if panel is not None else file.all(Finish)
    angles: list[int | None] = []
    for finish in finishes[:1]:
        angles += required_angles(finish, policy_in_force(file, finish.root))
    return tuple(map(TypedAngle, angles or [None]))


def _page(
    here: PageContext,
    file: RecordFile,
    frame: Frame,
    form: Form,
    panel_id: str = "",
    opened: bool = False,
) -> CarReadingPage:
    panels = file.all(Panel)
    chosen = file.find(Panel, form.value("reading.panel_id", panel_id))
    if chosen is None and len(panels) == 1:
        chosen = panels[0]
    like, code = _like(here, file, chosen)
    instruments = here.store.shop().all(Instrument)
    start = _start(like, instruments, chosen)
    geometries = dict.fromkeys((*((like.geometry,) if like else ()), *GEOMETRIES))
    illuminants = [option.value for option in ILLUMINANTS]
    if like is not None and like.illuminant not in illuminants:
        illuminants.append(like.illuminant)
    return CarReadingPage(
        frame=frame,
        form=Filled(form=form, start=start),
        job=file.get(Job, file.chain),
        is_repair=the_repair(file) is not None,
        opened=opened,
        angles=_asked(file, chosen),
        repeats=range(REPEATS),
        axes=AXES,
        panels=tuple(Option(panel.root, panel.name) for panel in panels),
        stages=STAGES,
        instruments=(
            *(Option(one.root, one.name, one.geometry) for one in instruments),
            Option("", "Another", "its geometry is stated below"),
        ),
        illuminants=(Option("", "State it"), *(Option(name, name) for name in illuminants)),
        observers=OBSERVERS,
        geometries=(
            Option("", "As registered for the instrument" if instruments else "State it"),
            *(Option(name, name) for name in geometries),
        ),
        specular=SPECULAR,
        like=like,
        like_code=code,
        measuring_temperature_c=MEASURING_TEMPERATURE_C,
    )


def _like(here: PageContext, file: RecordFile, panel: Panel | None) -> tuple[Reading | None, str]:
    """The stored card's furthest reading and its code, for the car has to be read like it."""
    repair = the_repair(file)
    if repair is None:
        return newest(file.all(Reading)), ""
    stored = here.store.job(repair.stored_job_id)
    found = stored_card(stored, repair.stored_finish_id, panel.name if panel else "")
    if found is None:
        return None, ""
    readings = readings_of_card(stored, found.card.root)
    return max(readings, key=lambda r: (r.stage.order, r.observed_at)), found.card.code


def _start(like: Reading | None, instruments: Iterable[Instrument], panel: Panel | None) -> Start:
    known = [instrument.root for instrument in instruments]
    start = {"reading.panel_id": panel.root if panel else ""}
    if like is None:
        return start | ({"reading.instrument_id": known[0]} if len(known) == 1 else {})
    instrument = like.instrument_id if like.instrument_id in known else ""
    return start | {
        "reading.illuminant": like.illuminant,
        "reading.observer": str(like.observer),
        "reading.instrument_id": instrument or "",
        "reading.geometry": "" if instrument else like.geometry,
        "reading.specular": "" if instrument else (like.specular or ""),
    }
