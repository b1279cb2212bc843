"""What the check tiles tell of an instrument: whether it reads a tile as it did before.

Everything here is worked out from the shop's own file. A tile does not change, so what is read
of it otherwise than before is the instrument's doing, or the temperature's.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import timedelta
from typing import TYPE_CHECKING

from service.domain.ageing import span
from service.domain.comparability import WARM_BY_C, normal_geometry
from service.domain.drift import MOVED_BY, RISK
from service.domain.lookups import mean_lab
from service.domain.nearness import doubts_of_differences
from service.domain.record_file import RecordFile
from service.domain.records.measuring import AngleReading, Lab
from service.domain.records.shop import CheckTile, Instrument, TileReading

if TYPE_CHECKING:
    from colour.uncertain_difference import UncertainDifference
    from colour.uncertainty import History

RATE_AFTER = timedelta(days=60)
"""A shorter history gives no rate worth a word; ours."""


@dataclass(frozen=True, slots=True, kw_only=True)
class TileStep:
    """A later reading of a tile beside the reference, at one angle.

    ``difference`` is this less the reference (ΔL*, Δa*, Δb*); ``standard_uncertainty`` is of the
    ΔE00 and holds the repeat noise of both: the instrument's known one, else what all its
    repeats at this angle scattered by; None where nothing is known. ``warmer_c`` is by
    how much the tile was warmer than at the reference, None where nobody measured both.
    """

    reading: TileReading
    days: float
    difference: Lab
    delta_e_2000: float
    standard_uncertainty: float | None
    words: str
    warmer_c: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class TileDrift:
    """Whether the newest reading is off the reference by more than noise explains.

    ``drifted`` is None where the readings are too few to judge their own noise. ``low`` and
    ``high`` bound 95 % of where its ΔE00 lies, where they were asked for.
    """

    drifted: bool | None
    low: float | None = None
    high: float | None = None


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
    scatters = _scatters_by_angle(read)
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
            noise = _Noise(instrument, reference, before, scatters[before.angle])
            courses.append(
                TileCourse(
                    tile=tile,
                    instrument=instrument,
                    angle=before.angle,
                    reference=reference,
                    before=mean_lab(before),
                    steps=_steps(noise, pairs),
                    drift=_drift(noise, *pairs[-1], with_range=with_range) if pairs else None,
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


Square = tuple[float, ...]
"""The sums of squares and products of L*, a*, b* about their mean, row by row: nine numbers."""


@dataclass(frozen=True, slots=True)
class _Scatter:
    """What repeats scattered by: sums of squares and products, and their degrees of freedom."""

    squares: Square
    degrees: int

    def less(self, other: _Scatter) -> _Scatter:
        """What is left without some of them."""
        squares = tuple(x - y for x, y in zip(self.squares, other.squares, strict=True))
        return _Scatter(squares, self.degrees - other.degrees)

    def history(self) -> History | None:
        """As the decision takes it; None where there is none, or not a digit of scatter in it."""
        from colour.uncertainty import History

        if self.degrees < 1 or sum(self.squares[::4]) < _NO_SCATTER:
            return None
        of_one = [value / self.degrees for value in self.squares]
        return History(
            covariance=[of_one[:3], of_one[3:6], of_one[6:]],  # type: ignore[arg-type]
            degrees_of_freedom=self.degrees,
        )


_NO_SCATTER = 1e-9
"""Two repeats that differ in the fourth decimal scatter by five times this."""


def _scatter(repeats: Sequence[Lab]) -> _Scatter:
    mean = [sum(channel) / len(repeats) for channel in zip(*repeats, strict=True)]
    away = [[x - m for x, m in zip(lab, mean, strict=True)] for lab in repeats]
    squares = tuple(sum(row[i] * row[j] for row in away) for i in range(3) for j in range(3))
    return _Scatter(squares, len(repeats) - 1)


def _scatters_by_angle(readings: Iterable[TileReading]) -> dict[int | None, _Scatter]:
    """The scatter of every set of repeats of an instrument, together, angle by angle."""
    found: dict[int | None, list[_Scatter]] = {}
    for reading in readings:
        for one in reading.angles:
            found.setdefault(one.angle, []).append(_scatter(one.repeats))
    return {
        angle: _Scatter(
            tuple(map(sum, zip(*(one.squares for one in sets), strict=True))),
            sum(one.degrees for one in sets),
        )
        for angle, sets in found.items()
    }


class _Noise:
    """Readings of a tile beside the reference at one angle, with what is known of their noise."""

    def __init__(
        self, instrument: Instrument, reference: TileReading, before: AngleReading, all: _Scatter
    ) -> None:
        self.stated = instrument.standard_uncertainty
        self.reference, self.before = reference, before
        self.all = all
        self.without_reference = all.less(_scatter(before.repeats))

    def of_one_reading(self) -> float | None:
        """Standard uncertainty of one reading, per channel: stated, else all that scattered."""
        if self.stated is not None:
            return self.stated
        if self.all.degrees < 1:
            return None
        # The step of the display, 0.01, is what no repeat is better than: step/√12.
        return max(math.sqrt(sum(self.all.squares[::4]) / 3 / self.all.degrees), 0.01 / 12**0.5)

    def difference(self, after: AngleReading) -> UncertainDifference:
        """The reading less the reference; what the others scattered by is pooled in."""
        from colour.uncertain_difference import UncertainDifference
        from colour.uncertainty import UncertainColour

        history = self.without_reference.less(_scatter(after.repeats)).history()
        return UncertainDifference.between(
            *(
                UncertainColour.from_repeats(
                    one.repeats, standard_uncertainty=self.stated, history=history
                )
                for one in (self.before, after)
            )
        )


def _steps(
    noise: _Noise, pairs: Sequence[tuple[TileReading, AngleReading]]
) -> tuple[TileStep, ...]:
    from colour.difference import delta_e_2000
    from colour.words import directions, words

    one = mean_lab(noise.before)
    means = [mean_lab(after) for _, after in pairs]
    of_one = noise.of_one_reading()
    doubts = doubts_of_differences(
        [
            (one, _of_mean(of_one, noise.before), mean, _of_mean(of_one, after))
            for mean, (_, after) in zip(means, pairs, strict=True)
        ]
    )
    return tuple(
        TileStep(
            reading=reading,
            days=(reading.observed_at - noise.reference.observed_at).total_seconds() / 86_400,
            difference=less(mean, one),
            delta_e_2000=float(delta_e_2000(one, mean)),
            standard_uncertainty=doubt,
            words=words(one, mean) if directions(one, mean) else "",
            warmer_c=_warmer(noise.reference, reading),
        )
        for mean, doubt, (reading, _) in zip(means, doubts, pairs, strict=True)
    )


def _of_mean(of_one: float | None, angle: AngleReading) -> float | None:
    return None if of_one is None else of_one / math.sqrt(len(angle.repeats))


def _warmer(reference: TileReading, reading: TileReading) -> float | None:
    then, now = reference.surface_temperature_c, reading.surface_temperature_c
    return None if then is None or now is None else now - then


def _drift(
    noise: _Noise, reading: TileReading, after: AngleReading, *, with_range: bool
) -> TileDrift:
    """Judge a reading against the reference, by the decision that judges cards.

    Each newest reading asks anew whether the instrument reads otherwise now; the risk of saying
    so wrongly is shared among the angles of that reading.
    """
    from colour.decision import Verdict, judge_difference

    shared = {a.angle for a in noise.reference.angles} & {a.angle for a in reading.angles}
    judged = judge_difference(
        noise.difference(after),
        limit=MOVED_BY,
        risk=RISK,
        shows_risk=RISK / len(shared),
    )
    if judged.p_shows is None:
        return TileDrift(drifted=None)
    reach = judged.interval if with_range else None
    return TileDrift(
        drifted=judged.verdict is Verdict.SHOWS,
        low=reach.low if reach else None,
        high=reach.high if reach else None,
    )


def less(one: Lab, other: Lab) -> Lab:
    """The one colour less the other, channel by channel."""
    return (one[0] - other[0], one[1] - other[1], one[2] - other[2])
