"""ΔE00 from angle to angle, each over the limit that holds there."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from service.web.charts import FARTHEST_IN_LIMITS, ChartPoint, Tick, tick_spacing
from service.web.charts_lines import LEFT, TOP, WIDTH, legible

BOTTOM, HEIGHT, RIGHT = 208.0, 260.0, 440.0
WIDEST_BAND = 32.0


@dataclass(frozen=True, slots=True, kw_only=True)
class AngleMark:
    """What is to be drawn at an angle; without a difference it was not read."""

    angle: int
    limit: float
    difference: float | None = None
    bounds: tuple[float, float] | None = None
    word: str = ""
    decides: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class AngleBar:
    """One angle: its band up to the limit, its point and its range, in view box units."""

    at: float
    left: float
    right: float
    limit: float
    point: ChartPoint | None
    range: tuple[float, float] | None
    decides: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class AngleChart:
    """All angles, placed by their degrees."""

    width: float
    height: float
    left: float
    right: float
    top: float
    bottom: float
    bars: tuple[AngleBar, ...]
    x_labels: tuple[Tick, ...]
    y_ticks: tuple[Tick, ...]
    places: int


def angle_chart(marks: Sequence[AngleMark], *, label: str, href: str) -> AngleChart:
    """Lay out the angles; a point beyond some limits is drawn at the upper edge and marked."""
    marks = sorted(marks, key=lambda mark: mark.angle)
    first, last = marks[0].angle, marks[-1].angle
    low, high = LEFT + 22.0, RIGHT - 18.0
    per_degree = (high - low) / (last - first) if last > first else 0.0

    def across(angle: int) -> float:
        return round(low + per_degree * (angle - first), 2) if per_degree else (low + high) / 2

    gaps = [
        per_degree * (after.angle - before.angle)
        for before, after in zip(marks, marks[1:], strict=False)
    ]
    half_band = min(WIDEST_BAND, min(gaps, default=WIDEST_BAND) - 4.0) / 2
    limits = max(mark.limit for mark in marks)
    tops = [v for mark in marks for v in (mark.difference or 0.0, (mark.bounds or (0, 0))[1])]
    span = 1.12 * max(limits, min(max(tops), FARTHEST_IN_LIMITS * limits))
    scale = (BOTTOM - TOP) / span

    def up(value: float) -> float:
        return round(BOTTOM - scale * min(max(value, 0.0), span), 2)

    spacing, places = tick_spacing(span / 2.5)
    bars = tuple(
        AngleBar(
            at=across(mark.angle),
            left=across(mark.angle) - half_band,
            right=across(mark.angle) + half_band,
            limit=up(mark.limit),
            point=None
            if mark.difference is None
            else ChartPoint(
                x=across(mark.angle),
                y=up(mark.difference),
                label=f"{label} at {mark.angle}°",
                href=href,
                word=mark.word,
                values=(mark.difference,),
                beyond=mark.difference > span,
            ),
            range=mark.bounds and (up(mark.bounds[1]), up(mark.bounds[0])),
            decides=mark.decides,
        )
        for mark in marks
    )
    ticks = [Tick(at=across(mark.angle), value=float(mark.angle)) for mark in marks]
    decided = next((float(mark.angle) for mark in marks if mark.decides), None)
    return AngleChart(
        width=WIDTH,
        height=HEIGHT,
        left=LEFT,
        right=RIGHT,
        top=TOP,
        bottom=BOTTOM,
        bars=bars,
        x_labels=tuple(legible(ticks, decided)),
        y_ticks=tuple(
            Tick(at=up(index * spacing), value=index * spacing)
            for index in range(int(span / spacing) + 1)
        ),
        places=places,
    )
