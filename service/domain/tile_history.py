"""What the check tiles tell of an instrument: whether it reads a tile as it did before.

Everything here is worked out from the shop's own file. A tile does not change, so what is read
of it otherwise than before is the instrument's doing, or the temperature's.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import timedelta

from service.domain.ageing import span
from service.domain.comparability import WARM_BY_C, normal_geometry
from service.domain.lookups import mean_lab
from service.domain.record_file import RecordFile
from service.domain.records.measuring import Lab
from service.domain.records.shop import CheckTile, Instrument, TileReading
from service.domain.tile_noise import (
    Noise,
    TileDrift,
    TileStep,
    drift_of,
    repeats_by_angle,
    steps_of,
)

RATE_AFTER = timedelta(days=60)
"""A shorter history gives no rate worth a word; ours."""


@dataclass(frozen=True, slots=True, kw_only=True)
class TileCourse:
    """How one instrument read one tile under like conditions at one angle, since the reference.

    ``drift`` is of the last step; None while there is no step.
    """

    tile: CheckTile
    instrument: Instrument
    angle: int | None
    reference: TileReading
    before: Lab
    steps: tuple[TileStep, ...]
    drift: TileDrift | None

    @property
    def conditions(self) -> str:
        """What was alike in all of them: D65/10°, d:8, specular included."""
        one = self.reference
        specular = f", specular {one.specular}" if one.specular else ""
        return f"{one.illuminant}/{one.observer}°, {one.geometry}{specular}"

    @property
    def newest(self) -> TileStep | None:
        """The last reading since the reference."""
        return self.steps[-1] if self.steps else None


def courses_of(
    shop: RecordFile, instrument_id: str, *, newest: int = 1000, with_range: bool = True
) -> list[TileCourse]:
    """The history of an instrument on each tile, under each set of like conditions, by angle.

    The reference is the newest reading that was marked as one, else the first. Of the later
    ones each history holds the ``newest``; the 95 % range takes longest and may be left out.
    Worked out once for a file, which never changes.
    """
    worked_out = shop.once(_worked_out)
    asked = (instrument_id, newest, with_range)
    if asked not in worked_out:
        worked_out[asked] = _courses(shop, instrument_id, newest, with_range)
    return worked_out[asked]


def _worked_out(shop: RecordFile) -> dict[tuple[str, int, bool], list[TileCourse]]:
    """The histories of a file that were asked for so far."""
    return {}


def _courses(
    shop: RecordFile, instrument_id: str, newest: int, with_range: bool
) -> list[TileCourse]:
    instrument = shop.get(Instrument, instrument_id)
    read = tile_readings(shop, instrument.root)
    stated = instrument.standard_uncertainty
    repeats = repeats_by_angle(read)
    of_one = {angle: stated or sets.of_one_reading() for angle, sets in repeats.items()}
    courses: list[TileCourse] = []
    for group in alike_tile_readings(read).values():
        marked = [reading for reading in group if reading.is_reference]
        reference = marked[-1] if marked else group[0]
        later = group[group.index(reference) + 1 :]
        tile = shop.get(CheckTile, reference.tile_id)
        for before in reference.angles:
            pairs = [
                (reading, after)
                for reading in later
                for after in reading.angles
                if after.angle == before.angle
            ]
            pairs = pairs[-newest:]
            noise = Noise(
                reference=reference,
                before=before,
                stated=stated,
                of_one=of_one[before.angle],
                repeats=repeats[before.angle],
            )
            courses.append(
                TileCourse(
                    tile=tile,
                    instrument=instrument,
                    angle=before.angle,
                    reference=reference,
                    before=mean_lab(before),
                    steps=steps_of(noise, pairs),
                    drift=drift_of(noise, *pairs[-1], with_range=with_range) if pairs else None,
                )
            )
    return courses


def drift_words(course: TileCourse) -> str:
    """What the newest reading of a course says, in a sentence."""
    step = course.newest
    at = "" if course.angle is None else f" at {course.angle}°"
    if step is None:
        return f"Read once{at} so far: later readings are held against that."
    apart = step.reading.observed_at - course.reference.observed_at
    since = f"over {span(apart)}" if apart.days else "within a day"
    if course.drift is None or course.drift.drifted is None:
        return (
            f"Too few readings to tell{at}: read it three times or more, lifting the instrument "
            "each time."
        )
    if not course.drift.drifted:
        return f"No drift shows beyond the noise{at} {since}."
    way = f", {step.words}" if step.words else ""
    text = f"It drifted{at} by {step.delta_e_2000:.2f} {since}{way}{_rate(course, step)}."
    if step.warmer_c is not None and abs(step.warmer_c) > WARM_BY_C:
        text += (
            f" The tile was {abs(step.warmer_c):g} °C {'warmer' if step.warmer_c > 0 else 'colder'}"
            " than at the reference, which may be all of it."
        )
    return text


def _rate(course: TileCourse, step: TileStep) -> str:
    apart = step.reading.observed_at - course.reference.observed_at
    if apart < RATE_AFTER:
        return ""
    a_year = step.delta_e_2000 * 365.25 / (apart.total_seconds() / 86_400)
    return f", about {a_year:.1f} a year if it goes on so"


Way = tuple[object, ...]


def way_of_tile(reading: TileReading) -> Way:
    """What tile was read, and under which conditions."""
    return (
        reading.tile_id,
        reading.illuminant.casefold(),
        reading.observer,
        normal_geometry(reading.geometry),
        reading.specular,
    )


def tile_readings(shop: RecordFile, instrument_id: str) -> list[TileReading]:
    """What an instrument read of the tiles that are still in the book, oldest first."""
    return sorted(
        (
            reading
            for reading in shop.by(TileReading, "instrument_id", instrument_id)
            if shop.find(CheckTile, reading.tile_id) is not None
        ),
        key=lambda reading: (reading.observed_at, reading.received_at),
    )


def alike_tile_readings(readings: Iterable[TileReading]) -> dict[Way, list[TileReading]]:
    """Readings of one tile under like conditions together, in their order."""
    groups: dict[Way, list[TileReading]] = {}
    for reading in readings:
        groups.setdefault(way_of_tile(reading), []).append(reading)
    return groups
