"""A reading of a card, typed in by hand: conditions stated, repeats kept, judged when saved."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime

from fastapi import APIRouter
from starlette.responses import Response

from service.domain.comparability import COOLING, MEASURING_TEMPERATURE_C, required_angles
from service.domain.judging import reads_again
from service.domain.lookups import policy_in_force
from service.domain.record_file import RecordFile
from service.domain.records.cards import Card, Zone
from service.domain.records.job import Finish
from service.domain.records.measuring import Reading
from service.domain.records.shop import Instrument
from service.domain.records.spraying import Bake, Batch
from service.domain.refused import Refused
from service.domain.terms import Specular, Stage
from service.use_cases.measuring import LogReading, Measured
from service.web.access import page_rules
from service.web.context import Frame, Here, PageContext, SentForm
from service.web.forms import Form
from service.web.pages.bench_defaults import first_of_furthest_stage, reading_like, stage_reached
from service.web.pages.bench_forms import (
    UNITS,
    Filled,
    Gathering,
    Kind,
    Option,
    Start,
    read_with_units,
)
from service.web.pages.lab_typed import AXES, TypedAngle, angles_typed

router = APIRouter()
page_rules(
    {
        ("GET", "/c/{code}/readings/new"): LogReading,
        ("POST", "/c/{code}/readings/new"): LogReading,
    }
)

REPEATS = 3
STAGES = (
    Option(Stage.BASE_DRY, "Base, dry"),
    Option(Stage.CLEARED, "Cleared", "not baked"),
    Option(Stage.BAKED, "Baked", "and cooled"),
    Option(Stage.POLISHED, "Polished", "cut and polished"),
    Option(Stage.WET, "Wet", "cannot be compared"),
)
ILLUMINANTS = tuple(Option(name, name) for name in ("D65", "D50", "A", "F2", "F11", "LED-B3"))
OBSERVERS = (Option("", "State it"), Option("10", "10°"), Option("2", "2°"))
GEOMETRIES = ("d:8", "45:0", "multi-angle")
SPECULAR = (
    Option(Specular.INCLUDED, "Included"),
    Option(Specular.EXCLUDED, "Excluded"),
    Option("", "As the instrument has it"),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadingNewPage:
    """The form of a reading; ``cooling_until`` when the card may still be warm.

    ``first`` is the card's first reading, where the card is to be read again as it was then.
    """

    frame: Frame
    form: Filled
    card: Card
    batch: Batch
    batch_href: str
    finish: Finish
    angles: tuple[TypedAngle, ...]
    repeats: range
    axes: tuple[str, ...]
    zones: tuple[Option, ...]
    stages: tuple[Option, ...]
    instruments: tuple[Option, ...]
    illuminants: tuple[Option, ...]
    observers: tuple[Option, ...]
    geometries: tuple[Option, ...]
    specular: tuple[Option, ...]
    like: Reading | None
    first: Reading | None
    cooling_until: datetime | None
    past_calibration: tuple[str, ...]
    measuring_temperature_c: float
    temperatures: tuple[Option, ...] = UNITS[Kind.TEMPERATURE]


@router.get("/c/{code}/readings/new", name="reading_new")
def reading_new(here: Here, code: str, zone: str = "", again: str = "") -> Response:
    """The form; its conditions are those of the last reading alike, its numbers empty.

    To read a card ``again`` they are those of its own first reading, so that the two compare.
    """
    line = here.card(code)
    file = here.store.job(line.job_id)
    first = first_of_furthest_stage(file, file.get(Card, line.id)) if again else None
    page = _page(here, file, line.id, here.frame("bench", bench=True), Form(), zone, first)
    return here.render("bench_reading.html", page)


@router.post("/c/{code}/readings/new", name="reading_new")
def reading_new_now(here: Here, form: SentForm, code: str) -> Response:
    """Put the reading on record, and show what it says of the batch."""
    line = here.card(code)
    file = here.store.job(line.job_id)
    try:
        reading = _measured(form, file, line.id)
        here.perform(form.command(LogReading, job_id=line.job_id, reading=reading))
    except Refused as refusal:
        return here.refused(
            form,
            refusal,
            "bench_reading.html",
            lambda frame: _page(here, file, line.id, frame, form),
            "bench",
            bench=True,
        )
    file = here.store.job(line.job_id)
    if reads_again(file, file.get(Reading, form.id)):
        return here.see_other("card", code=line.code, saved="again")
    return here.see_other("batch", job_id=line.job_id, batch_id=line.batch_id, saved="reading")


def _measured(form: Form, file: RecordFile, card_id: str) -> Measured:
    asked = _asked(file, file.get(Card, card_id))
    gathering = Gathering(form)
    angles = gathering.take(lambda: angles_typed(form, asked, REPEATS), ())
    measured = gathering.take(
        lambda: read_with_units(
            form,
            Measured,
            "reading.",
            {"surface_temperature_c": Kind.TEMPERATURE},
            card_id=card_id,
            angles=angles,
        ),
        None,
    )
    gathering.done()
    assert measured is not None, "nothing was refused"
    return measured


def _asked(file: RecordFile, card: Card) -> tuple[TypedAngle, ...]:
    """The angles to type: those the finish is judged at, or the one of a solid."""
    finish = file.get(Finish, card.finish_id)
    angles: list[int | None] = list(required_angles(finish, policy_in_force(file, finish.root)))
    return tuple(map(TypedAngle, angles or [None]))


def _page(
    here: PageContext,
    file: RecordFile,
    card_id: str,
    frame: Frame,
    form: Form,
    zone_id: str = "",
    first: Reading | None = None,
) -> ReadingNewPage:
    card = file.get(Card, card_id)
    batch = file.get(Batch, card.batch_id)
    zones = file.by(Zone, "card_id", card.root)
    like = first or reading_like(file, card)
    instruments = here.store.shop().all(Instrument)
    angles = _asked(file, card)
    start = _start(file, card, zones, like, instruments, zone_id, len(angles) > 1)
    if first is not None:
        as_first = {"reading.stage": first.stage.value, "reading.zone_id": first.zone_id or ""}
        start = {**start, **as_first}
    return ReadingNewPage(
        frame=frame,
        form=Filled(form=form, start=start),
        card=card,
        batch=batch,
        batch_href=here.link("batch", job_id=file.chain, batch_id=batch.root),
        finish=file.get(Finish, card.finish_id),
        angles=angles,
        repeats=range(REPEATS),
        axes=AXES,
        zones=tuple(Option(z.root, z.name) for z in zones),
        stages=STAGES,
        instruments=tuple(_instrument_options(instruments)),
        illuminants=_with_used(ILLUMINANTS, like.illuminant if like else ""),
        observers=OBSERVERS,
        geometries=_geometries(instruments, like),
        specular=SPECULAR,
        like=like,
        first=first,
        cooling_until=_cooling_until(file, card),
        past_calibration=tuple(i.name for i in instruments if _is_past(i)),
        measuring_temperature_c=MEASURING_TEMPERATURE_C,
    )


def _start(
    file: RecordFile,
    card: Card,
    zones: Sequence[Zone],
    like: Reading | None,
    instruments: Sequence[Instrument],
    zone_id: str,
    many_angles: bool,
) -> Start:
    zone = next((z for z in zones if z.root == zone_id), None)
    if zone is None and like is not None and like.card_id == card.root:
        zone = next((z for z in zones if z.root == like.zone_id), None)
    if zone is None and len(zones) == 1:
        zone = zones[0]
    start = {
        "reading.zone_id": zone.root if zone else "",
        "reading.stage": stage_reached(file, card, zone).value,
    }
    known = {instrument.root for instrument in instruments}
    if like is not None:
        instrument = like.instrument_id if like.instrument_id in known else ""
        start |= {
            "reading.illuminant": like.illuminant,
            "reading.observer": str(like.observer),
            "reading.instrument_id": instrument or "",
            "reading.geometry": "" if instrument else like.geometry,
            "reading.specular": "" if instrument else (like.specular or ""),
        }
    elif len(instruments) == 1:
        start["reading.instrument_id"] = instruments[0].root
    elif not instruments:
        start["reading.geometry"] = "multi-angle" if many_angles else ""
    return start


def _instrument_options(instruments: Iterable[Instrument]) -> Iterable[Option]:
    for instrument in instruments:
        specular = f"specular {instrument.specular}" if instrument.specular else ""
        noise = ""
        if instrument.standard_uncertainty is not None:
            noise = f"repeats within {instrument.standard_uncertainty:g}"
        past = "past its calibration" if _is_past(instrument) else ""
        said = (instrument.geometry, specular, noise, past)
        yield Option(instrument.root, instrument.name, ", ".join(text for text in said if text))
    yield Option("", "Another", "its geometry is stated below")


def _is_past(instrument: Instrument) -> bool:
    due = instrument.calibration_due
    return due is not None and due < datetime.now(UTC)


def _with_used(options: tuple[Option, ...], used: str) -> tuple[Option, ...]:
    ready = (Option("", "State it"), *options)
    return ready if used in {option.value for option in ready} else (*ready, Option(used, used))


def _geometries(instruments: Sequence[Instrument], like: Reading | None) -> tuple[Option, ...]:
    used = (like.geometry,) if like is not None else ()
    named = dict.fromkeys((*used, *GEOMETRIES))
    first = "As registered for the instrument" if instruments else "State it"
    return (Option("", first), *(Option(name, name) for name in named))


def _cooling_until(file: RecordFile, card: Card) -> datetime | None:
    """Until when the card counts as warm after its last bake; None when it has cooled."""
    ends = [bake.observed_at for bake in file.by(Bake, "card_id", card.root)]
    until = max(ends) + COOLING if ends else None
    return until if until is not None and until > datetime.now(UTC) else None
