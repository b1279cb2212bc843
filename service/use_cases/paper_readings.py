"""Readings as papers list them: of what, by whom, under which conditions, and their means."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from service.domain.flop import flop_of
from service.domain.line_making import conditions_text
from service.domain.lookups import mean_lab, uncertainty_of_mean
from service.domain.record_file import RecordFile
from service.domain.records.cards import Card, Zone
from service.domain.records.job import Panel
from service.domain.records.measuring import Lab, Master, Reading
from service.domain.records.shop import Instrument
from service.use_cases.papers import name_of


@dataclass(frozen=True, slots=True, kw_only=True)
class AngleRead:
    """The mean of some repeats; ``standard_uncertainty`` is of that mean, per channel."""

    angle: int | None
    mean: Lab
    repeats: int
    standard_uncertainty: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadOff:
    """A reading with its conditions in words."""

    reading: Reading
    of: str
    by: str
    conditions: str
    instrument: str
    zone: str
    approved: bool
    flop_index: float | None
    angles: tuple[AngleRead, ...]


def readings_off(
    file: RecordFile, shop: RecordFile, readings: Iterable[Reading]
) -> tuple[ReadOff, ...]:
    """Readings with their conditions in words, oldest first."""
    approved = {id for master in file.all(Master) for id in master.reading_ids}
    return tuple(
        _read_off(file, shop, reading, reading.root in approved)
        for reading in sorted(readings, key=lambda reading: reading.observed_at)
    )


def _read_off(file: RecordFile, shop: RecordFile, reading: Reading, approved: bool) -> ReadOff:
    instrument = shop.latest_revision(Instrument, reading.instrument_id or "")
    zone = file.find(Zone, reading.zone_id)
    card = file.find(Card, reading.card_id)
    panel = file.find(Panel, reading.panel_id)
    flop = flop_of(reading)
    return ReadOff(
        reading=reading,
        of=card.code if card is not None else f"the car, {panel.name}" if panel else "",
        by=name_of(shop, reading.author_id),
        conditions=conditions_text(reading),
        instrument=instrument.name if instrument is not None else "",
        zone=zone.name if zone is not None else "",
        approved=approved,
        flop_index=flop.index if flop is not None else None,
        angles=tuple(
            AngleRead(
                angle=angle.angle,
                mean=mean_lab(angle),
                repeats=len(angle.repeats),
                standard_uncertainty=uncertainty_of_mean(reading, angle),
            )
            for angle in reading.angles
        ),
    )
