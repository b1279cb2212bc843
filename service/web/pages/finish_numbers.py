"""A finish in figures: how each batch lies from the master at each angle, and how they spread."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

from service.domain.judging import approved_readings
from service.domain.lookups import mean_lab, verdict_on_batch
from service.domain.record_file import RecordFile
from service.domain.records.measuring import Lab, Master, Verdict
from service.domain.records.spraying import Batch
from service.domain.terms import Stage
from service.web import charts


@dataclass(frozen=True, slots=True, kw_only=True)
class AtAngle:
    """What one angle of a verdict says of a batch."""

    delta: Lab
    delta_e_2000: float
    word: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Measured:
    """A batch with its newest verdict and, if that could be had, how it lies at one angle."""

    batch: Batch
    verdict: Verdict | None
    at: AtAngle | None
    lab: Lab | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Spread:
    """How the batches read at one stage lie about the master, in CIELAB units."""

    stage: Stage
    count: int
    mean: Lab
    deviation: Lab | None
    widest: tuple[Batch, Batch, float] | None


def by_angle(verdict: Verdict) -> Mapping[int | None, AtAngle]:
    """The angles of a verdict's evidence."""
    return _by_angle(verdict.evidence)


# A finish page reads the evidence of every batch; verdicts never change, so it is read once.
@lru_cache(maxsize=4096)
def _by_angle(evidence: str) -> Mapping[int | None, AtAngle]:
    found: Sequence[Mapping[str, Any]] = json.loads(evidence).get("angles", ())
    return {
        one["angle"]: AtAngle(
            delta=(one["difference"][0], one["difference"][1], one["difference"][2]),
            delta_e_2000=one["delta_e_2000"],
            word=one["verdict"],
        )
        for one in found
    }


def measured(
    file: RecordFile, batches: Sequence[Batch], master: Master, angle: int | None, origin: Lab
) -> list[Measured]:
    """The batches as they lie from the master in force at an angle, in the order given."""
    found = []
    for batch in batches:
        verdict = verdict_on_batch(file, batch.root)
        at = None
        if verdict is not None and verdict.master_id == master.root:
            at = by_angle(verdict).get(angle)
        lab = _plus(origin, at.delta) if at is not None else None
        found.append(Measured(batch=batch, verdict=verdict, at=at, lab=lab))
    return found


def angles_judged(file: RecordFile, batches: Sequence[Batch]) -> list[int | None]:
    """Every angle at which a batch was judged, in order."""
    angles: set[int | None] = set()
    for batch in batches:
        verdict = verdict_on_batch(file, batch.root)
        if verdict is not None:
            angles.update(by_angle(verdict))
    return sorted(angles, key=lambda angle: -999 if angle is None else angle)


def worst_angle(file: RecordFile, batches: Sequence[Batch]) -> int | None:
    """The angle that decided the verdict with the largest difference for its limit."""
    verdicts = [verdict_on_batch(file, batch.root) for batch in batches]
    decided = [v for v in verdicts if v is not None and v.delta_e_2000 is not None]
    if not decided:
        return None
    return max(decided, key=lambda v: (v.delta_e_2000 or 0.0) / v.limit).angle


def master_lab(file: RecordFile, master: Master, angle: int | None) -> Lab | None:
    """The master at an angle, at the furthest stage it was approved at."""
    readings = sorted(approved_readings(file, master), key=lambda r: r.stage.order, reverse=True)
    for reading in readings:
        for one in reading.angles:
            if one.angle == angle:
                return mean_lab(one)
    return None


def spread_of(found: Sequence[Measured]) -> Spread | None:
    """The spread of the batches judged at the stage that most of them were."""
    by_stage: dict[Stage, list[Measured]] = {}
    for one in found:
        if one.at is not None and one.verdict is not None and one.verdict.stage is not None:
            by_stage.setdefault(one.verdict.stage, []).append(one)
    if not by_stage:
        return None
    stage = max(by_stage, key=lambda stage: (len(by_stage[stage]), stage.order))
    here = by_stage[stage]
    deltas = [one.at.delta for one in here if one.at is not None]
    mean = _each(deltas, _mean)
    deviation = _each(deltas, _standard_deviation) if len(deltas) > 1 else None
    return Spread(
        stage=stage, count=len(here), mean=mean, deviation=deviation, widest=_widest(here)
    )


def _widest(found: Sequence[Measured]) -> tuple[Batch, Batch, float] | None:
    if len(found) < 2:
        return None
    first, second, difference = _widest_pair(tuple(one.lab for one in found if one.lab))
    return found[first].batch, found[second].batch, difference


@lru_cache(maxsize=64)
def _widest_pair(labs: tuple[Lab, ...]) -> tuple[int, int, float]:
    from colour.spread import widest

    pair = widest(labs)
    return int(pair.first), int(pair.second), float(pair.difference)


def _each(deltas: Sequence[Lab], of: Any) -> Lab:
    l, a, b = (of([delta[axis] for delta in deltas]) for axis in range(3))  # noqa: E741
    return (l, a, b)


def _mean(values: Sequence[float]) -> float:
    return math.fsum(values) / len(values)


def _standard_deviation(values: Sequence[float]) -> float:
    mean = _mean(values)
    return math.sqrt(math.fsum((value - mean) ** 2 for value in values) / (len(values) - 1))


def _plus(one: Lab, other: Lab) -> Lab:
    return (one[0] + other[0], one[1] + other[1], one[2] + other[2])


def within_contour(found: Sequence[Measured], master: Lab, limit: float) -> int:
    """How many batches would lie within the limit if they were as light as the master."""
    from colour.difference import delta_e_2000

    labs = [(master[0], one.lab[1], one.lab[2]) for one in found if one.lab is not None]
    return int((delta_e_2000(master, labs) <= limit).sum()) if labs else 0


def direction(master: Lab, lab: Lab) -> str:
    """How a colour lies from the master, in words; empty when nothing stands out."""
    from colour.words import directions, words

    return words(master, lab) if directions(master, lab) else ""


# Laid out once for each state of a finish: the contour alone takes dozens of searches.
@lru_cache(maxsize=32)
def draw(
    cards: tuple[charts.ChartCard, ...], master: Lab, limit: float
) -> tuple[charts.StripChart, charts.Scatter]:
    """Both charts of a finish."""
    strip = charts.strip_chart(cards, master=master, bands=charts.bands_alone(master, limit))
    return strip, charts.scatter(cards, master=master, limit=limit)
