"""Later readings of a check tile beside the reference: how far off, and whether more than noise.

The decision that judges cards judges the tiles too; what an instrument's other repeats scattered
by is pooled in, so that single readings can be judged as well.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from service.domain.drift import MOVED_BY, RISK
from service.domain.lookups import mean_lab
from service.domain.nearness import doubts_of_differences
from service.domain.records.measuring import AngleReading, Lab
from service.domain.records.shop import TileReading

if TYPE_CHECKING:
    from colour.uncertain_difference import UncertainDifference
    from colour.uncertainty import History


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


@dataclass(frozen=True, slots=True)
class Repeats:
    """The sets of repeats an instrument took at one angle, by the reading they are of."""

    sets: tuple[tuple[str, tuple[Lab, ...]], ...]

    def history(self, leave_out: Iterable[str] = ()) -> History | None:
        """What they scattered by, without some readings; None where nothing was repeated."""
        from colour.uncertainty import pooled_history

        without = set(leave_out)
        repeated = [one for id, one in self.sets if id not in without and len(one) > 1]
        return pooled_history(repeated) if repeated else None

    def of_one_reading(self) -> float | None:
        """Standard uncertainty of one reading per channel, by all that scattered."""
        history = self.history()
        if history is None:
            return None
        channels = sum(float(history.covariance[n][n]) for n in range(3))
        # No repeat is better than the step of the display, 0.01: step/√12.
        return max(math.sqrt(channels / 3), 0.01 / math.sqrt(12))


def repeats_by_angle(readings: Iterable[TileReading]) -> dict[int | None, Repeats]:
    """The sets of repeats of some readings by one instrument, angle by angle."""
    found: dict[int | None, list[tuple[str, tuple[Lab, ...]]]] = {}
    for reading in readings:
        for one in reading.angles:
            found.setdefault(one.angle, []).append((reading.root, one.repeats))
    return {angle: Repeats(tuple(sets)) for angle, sets in found.items()}


@dataclass(frozen=True, slots=True, kw_only=True)
class Noise:
    """The reference at one angle, with what is known of the noise of readings beside it.

    ``of_one`` is the standard uncertainty of one reading per channel: ``stated`` where the book
    knows it, else by all ``repeats`` of the instrument at this angle; None where nothing is known.
    """

    reference: TileReading
    before: AngleReading
    stated: float | None
    of_one: float | None
    repeats: Repeats

    def difference(self, reading: TileReading, after: AngleReading) -> UncertainDifference:
        """A reading less the reference; what the others scattered by is pooled in."""
        from colour.uncertain_difference import UncertainDifference
        from colour.uncertainty import UncertainColour

        history = self.repeats.history(leave_out=(self.reference.root, reading.root))
        return UncertainDifference.between(
            *(
                UncertainColour.from_repeats(
                    one.repeats, standard_uncertainty=self.stated, history=history
                )
                for one in (self.before, after)
            )
        )


def steps_of(
    noise: Noise, pairs: Sequence[tuple[TileReading, AngleReading]]
) -> tuple[TileStep, ...]:
    from colour.difference import delta_e_2000
    from colour.words import directions, words

    one = mean_lab(noise.before)
    means = [mean_lab(after) for _, after in pairs]
    doubts = doubts_of_differences(
        [
            (one, _of_mean(noise.of_one, noise.before), mean, _of_mean(noise.of_one, after))
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


def drift_of(
    noise: Noise, reading: TileReading, after: AngleReading, *, with_range: bool
) -> TileDrift:
    """Judge a reading against the reference, by the decision that judges cards.

    Each newest reading asks anew whether the instrument reads otherwise now; the risk of saying
    so wrongly is shared among the angles of that reading.
    """
    from colour.decision import Verdict, judge_difference

    shared = {a.angle for a in noise.reference.angles} & {a.angle for a in reading.angles}
    judged = judge_difference(
        noise.difference(reading, after),
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
