"""What a manager has to do about an instrument: calibrate it, look at its drift."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from service.domain.ageing import span
from service.domain.record_file import RecordFile
from service.domain.records.shop import Instrument
from service.domain.tile_history import TileCourse, courses_of, drift_words


@dataclass(frozen=True, slots=True, kw_only=True)
class InstrumentFinding:
    """Something about an instrument that a manager has to act on; ``code`` sorts it."""

    instrument: Instrument
    code: str  # past_calibration, drifted or due_soon
    sentence: str
    remedy: str


DUE_SOON = timedelta(days=30)


def instrument_findings(shop: RecordFile, now: datetime) -> list[InstrumentFinding]:
    """Instruments past their calibration, that drifted, or that are due soon; worst first."""
    found: list[InstrumentFinding] = []
    for instrument in shop.all(Instrument):
        found += _of_calibration(instrument, now)
        drifted = shop.once(_drifted_courses).get(instrument.root, [])
        if drifted:
            found.append(_drifted(instrument, drifted))
    order = ("past_calibration", "drifted", "due_soon")
    return sorted(found, key=lambda finding: order.index(finding.code))


def _of_calibration(instrument: Instrument, now: datetime) -> list[InstrumentFinding]:
    due = instrument.calibration_due
    if due is None or due - now > DUE_SOON:
        return []
    if due < now:
        since = "since today" if (now - due).days == 0 else f"for {span(now - due)}"
        return [
            InstrumentFinding(
                instrument=instrument,
                code="past_calibration",
                sentence=f"{instrument.name} has been past its calibration {since}.",
                remedy="Have it calibrated and put the next date into the shop's book. Until then "
                "what it reads can only be answered with cannot tell.",
            )
        ]
    days = (due - now).days
    left = f"in {days} day{'' if days == 1 else 's'}" if days else "within a day"
    return [
        InstrumentFinding(
            instrument=instrument,
            code="due_soon",
            sentence=f"{instrument.name} is due for calibration {left}.",
            remedy="Have it calibrated before that, and read the check tiles before and after.",
        )
    ]


def _drifted(instrument: Instrument, courses: Sequence[TileCourse]) -> InstrumentFinding:
    worst = max(courses, key=lambda course: course.steps[-1].delta_e_2000)
    said = drift_words(worst)
    return InstrumentFinding(
        instrument=instrument,
        code="drifted",
        sentence=f"{instrument.name} no longer reads {worst.tile.name} as it did. {said}",
        remedy="Clean the tile and the instrument, calibrate, and read the tile again at the "
        "temperature of the reference. If it stays, have the instrument serviced; once it is in "
        "order, mark the next reading of each tile as its reference.",
    )


def _drifted_courses(shop: RecordFile) -> dict[str, list[TileCourse]]:
    """By instrument, the histories whose newest reading is off the reference."""
    return {
        instrument.root: [
            course
            for course in courses_of(shop, instrument.root, newest=1, with_range=False)
            if course.drift is not None and course.drift.drifted
        ]
        for instrument in shop.all(Instrument)
    }
