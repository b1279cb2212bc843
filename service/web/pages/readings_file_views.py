"""What the page of a readings file shows: what is asked, what would be stored, what was said."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime

from service.domain.lookups import verdict_on_batch
from service.domain.records.shop import Instrument
from service.use_cases.importing import ImportPlan, Planned, spectra_words
from service.web.context import Frame, PageContext
from service.web.filters import temperature
from service.web.forms import Form
from service.web.pages.bench_forms import UNITS, Filled, Kind, Option
from service.web.pages.bench_reading import (
    GEOMETRIES,
    ILLUMINANTS,
    OBSERVERS,
    SPECULAR,
    STAGES,
)
from service.web.pages.bench_views import VerdictShown, verdict_shown

UNREGISTERED = "none"
MOST_SHOWN = 100
MOST_PROBLEMS = 30
MOST_NAMED = 12
ASKED = ("stage", "illuminant", "observer", "geometry", "specular", "instrument", "temperature_c")
STAGE_WORDS = {option.value: option.text for option in STAGES}


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadingShown:
    """One reading as it would be stored, or as it is on record."""

    code: str
    card_href: str
    zone: str
    of: str
    batch_href: str
    stage: str
    conditions: str
    amount: str
    on_record: datetime | None
    dropped_why: str
    without_spectra: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class BatchSaid:
    """A batch of which a card was read, with what is said of it now."""

    name: str
    href: str
    verdict: VerdictShown | None


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadingsFilePage:
    """A file between being chosen and being stored, and after.

    ``asked`` names the fields that are asked, ``needed`` those without which nothing is stored;
    ``unknown`` counts the samples that name no card here.
    """

    frame: Frame
    form: Filled
    name: str
    card: str
    saved: bool
    readings: tuple[ReadingShown, ...]
    more_readings: int
    fresh: int
    known: int
    cards: int
    named: tuple[str, ...]
    more_named: int
    notes: tuple[str, ...]
    problems: tuple[str, ...]
    more_problems: int
    unknown: int
    asked: tuple[str, ...]
    needed: tuple[str, ...]
    unregistered: tuple[str, ...]
    past_calibration: tuple[str, ...]
    without_temperature: bool
    batches: tuple[BatchSaid, ...]
    action: str
    look_again: str
    leave_out_href: str
    new_href: str
    key: str
    stages: tuple[Option, ...]
    illuminants: tuple[Option, ...]
    observers: tuple[Option, ...]
    geometries: tuple[Option, ...]
    specular: tuple[Option, ...]
    instruments: tuple[Option, ...]
    temperatures: tuple[Option, ...] = UNITS[Kind.TEMPERATURE]


def file_page(
    here: PageContext, frame: Frame, asked: Form, plan: ImportPlan, sha256: str
) -> ReadingsFilePage:
    """The whole page."""
    given = {name: asked.value(name) for name in (*ASKED, "temperature_c.unit", "read_at")}
    place = {"called": asked.value("called"), "card": asked.value("card")}
    left_out = asked.value("leave_out")
    instruments = here.store.shop().all(Instrument)
    listed = [p for p in plan.problems if p.kind not in ("unsaid", "instrument")]
    every = plan.unsaid + plan.might_say
    ready = not plan.problems
    return ReadingsFilePage(
        frame=frame,
        form=Filled(form=asked),
        name=place["called"],
        card=place["card"],
        saved=here.request.query_params.get("saved") == "yes",
        readings=tuple(_shown(here, one) for one in plan.readings[:MOST_SHOWN]),
        more_readings=max(0, len(plan.readings) - MOST_SHOWN),
        fresh=len(plan.fresh),
        known=len(plan.readings) - len(plan.fresh),
        cards=len({one.code for one in plan.readings}),
        named=plan.cards[:MOST_NAMED],
        more_named=max(0, len(plan.cards) - MOST_NAMED),
        # What the file does not say is asked here, so the reader's advice to write it in is not
        # repeated.
        notes=tuple(n.message for n in plan.notes if not n.code.endswith("_not_stated")),
        problems=tuple(problem.sentence for problem in listed[:MOST_PROBLEMS]),
        more_problems=max(0, len(listed) - MOST_PROBLEMS),
        unknown=sum(problem.kind == "no_card" for problem in plan.problems),
        asked=tuple(name for name in ASKED if name in every or given[name] or asked.error(name)),
        needed=plan.unsaid,
        unregistered=tuple(dict.fromkeys(p.what for p in plan.problems if p.kind == "instrument")),
        past_calibration=tuple(_past_calibration(plan, instruments)),
        without_temperature=any(
            one.reading.reading.surface_temperature_c is None for one in plan.fresh
        ),
        batches=tuple(_batches(here, plan.readings)) if ready and not plan.fresh else (),
        action=here.link("readings_file", sha256=sha256, **place, leave_out=left_out, **given),
        look_again=here.link("readings_file", sha256=sha256),
        leave_out_href=here.link("readings_file", sha256=sha256, **place, leave_out="yes", **given),
        new_href=here.link("readings_file_new", card=place["card"]),
        key=plan.command.id if ready else "",
        stages=tuple(option for option in STAGES if option.value != "wet"),
        illuminants=(Option("", "State it"), *ILLUMINANTS),
        observers=OBSERVERS,
        geometries=(
            Option("", "As registered for the instrument" if instruments else "State it"),
            *(Option(name, name) for name in GEOMETRIES),
        ),
        specular=(Option("", "Not known"), *(o for o in SPECULAR if o.value)),
        instruments=(
            *(Option(one.root, one.name, one.geometry) for one in instruments),
            Option(UNREGISTERED, "Another", "not registered here"),
        ),
    )


def _shown(here: PageContext, planned: Planned) -> ReadingShown:
    measured = planned.reading.reading
    known = planned.on_record
    specular = f"specular {measured.specular}" if measured.specular else ""
    warmth = measured.surface_temperature_c
    conditions = (
        f"{measured.illuminant}/{measured.observer}°",
        measured.geometry or "",
        specular,
        planned.instrument,
        temperature(warmth) if warmth is not None else "",
    )
    return ReadingShown(
        code=planned.code,
        card_href=here.link("card", code=planned.code),
        zone=planned.zone,
        of=f"batch {planned.batch_number}, {planned.work_order}",
        batch_href=here.link("batch", job_id=planned.reading.job_id, batch_id=planned.batch_id),
        stage=STAGE_WORDS[measured.stage],
        conditions=", ".join(text for text in conditions if text),
        amount=_amount(planned),
        on_record=known.since if known else None,
        dropped_why=known.why if known and known.dropped else "",
        without_spectra=bool(known and known.without_spectra),
    )


def _amount(planned: Planned) -> str:
    measured = planned.reading.reading
    counts = sorted({len(angle.repeats) for angle in measured.angles})
    number = f"{counts[0]} to {counts[-1]}" if len(counts) > 1 else str(counts[0])
    repeats = f"{number} {'repeat' if counts[-1] == 1 else 'repeats'}"
    angles = [f"{angle.angle}°" for angle in measured.angles if angle.angle is not None]
    at = f" at {', '.join(angles)}" if angles else ""
    return f"{repeats}{at}{spectra_words(measured, '; ')}"


def _past_calibration(plan: ImportPlan, instruments: Sequence[Instrument]) -> Iterator[str]:
    used = {one.reading.reading.instrument_id for one in plan.fresh}
    now = datetime.now(UTC)
    for instrument in instruments:
        due = instrument.calibration_due
        if instrument.root in used and due is not None and due < now:
            yield instrument.name


def _batches(here: PageContext, readings: Iterable[Planned]) -> Iterator[BatchSaid]:
    seen: set[str] = set()
    for one in readings:
        if one.batch_id in seen:
            continue
        seen.add(one.batch_id)
        verdict = verdict_on_batch(here.store.job(one.reading.job_id), one.batch_id)
        yield BatchSaid(
            name=f"Batch {one.batch_number}, {one.work_order}",
            href=here.link("batch", job_id=one.reading.job_id, batch_id=one.batch_id),
            verdict=verdict_shown(here, verdict) if verdict is not None else None,
        )
