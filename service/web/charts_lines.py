"""Lines over a measured axis: spectra, and coordinates from angle to angle.

Lines differ by their dashes and carry their names at their ends, so nothing needs colour.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from service.web.charts import Tick, tick_spacing

WIDTH, LEFT, TOP = 484.0, 50.0, 26.0
LETTER = 17.0  # what one line of letters takes where they are set largest, in view box units


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """What is to be drawn: ``stroke`` is solid, dashed or dotted."""

    name: str
    stroke: str
    xs: Sequence[float]
    ys: Sequence[float]


@dataclass(frozen=True, slots=True, kw_only=True)
class LineDrawn:
    """A line as it is drawn, with its name at its right end."""

    name: str
    stroke: str
    path: str
    label_at: float
    dots: tuple[tuple[float, float], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class LineChart:
    """Lines on common axes; ``zero`` is where nothing differs, ``marked`` an x that decided."""

    width: float
    height: float
    left: float
    right: float
    top: float
    bottom: float
    lines: tuple[LineDrawn, ...]
    x_ticks: tuple[Tick, ...]
    x_labels: tuple[Tick, ...]
    y_ticks: tuple[Tick, ...]
    y_places: int
    zero: float | None
    marked: float | None


def line_chart(
    lines: Sequence[Line],
    *,
    ticks: Sequence[float] | None = None,
    difference: bool = False,
    from_zero: bool = True,
    least: float = 0.0,
    height: float = 260.0,
    right: float = 412.0,
    dots: bool = False,
    marked: float | None = None,
) -> LineChart:
    """Lay out lines that share their axes.

    ``ticks`` are the x values to mark, else round ones; ``difference`` draws a line at zero and
    puts signs on the y axis; ``least`` is the smallest span of the y axis, so that noise does
    not fill the drawing.
    """
    xs = [x for line in lines for x in line.xs] + list(ticks or ())
    ys = [y for line in lines for y in line.ys] + ([0.0] if from_zero or difference else [])
    across = _Axis(
        min(xs), max(xs), LEFT + (22.0 if ticks else 8.0), right - (18.0 if ticks else 8.0)
    )
    bottom = height - 52.0
    low, high = _widened(min(ys), max(ys), least)
    margin = 0.06 * (high - low)
    floor = low if from_zero and low == 0 and not difference else low - margin
    up = _Axis(floor, high + margin, bottom, TOP)
    spacing, places = tick_spacing((high - low) / 2.5)
    values = ticks if ticks is not None else _round_values(min(xs), max(xs))
    drawn = [
        [(across.at(x), up.at(y)) for x, y in zip(line.xs, line.ys, strict=True)] for line in lines
    ]
    ends = _apart([points[-1][1] for points in drawn], TOP, bottom)
    x_ticks = tuple(Tick(at=across.at(x), value=x) for x in values)
    return LineChart(
        width=WIDTH,
        height=height,
        left=LEFT,
        right=right,
        top=TOP,
        bottom=bottom,
        lines=tuple(
            LineDrawn(
                name=line.name,
                stroke=line.stroke,
                path="M" + "L".join(f"{x:g},{y:g}" for x, y in points),
                label_at=end,
                dots=tuple(points) if dots else (),
            )
            for line, points, end in zip(lines, drawn, ends, strict=True)
        ),
        x_ticks=x_ticks,
        x_labels=tuple(legible(x_ticks, marked)),
        y_ticks=tuple(
            Tick(at=up.at(v), value=v) for v in _multiples(floor, high + margin, spacing)
        ),
        y_places=places,
        zero=up.at(0.0) if difference else None,
        marked=across.at(marked) if marked is not None else None,
    )


def legible(ticks: Sequence[Tick], first: float | None = None) -> list[Tick]:
    """The ticks whose letters do not run into each other, ``first`` before all others."""
    kept: list[Tick] = []
    for tick in sorted(ticks, key=lambda tick: tick.value != first):
        if all(abs(tick.at - other.at) >= (_width(tick) + _width(other)) / 2 + 3 for other in kept):
            kept.append(tick)
    return sorted(kept, key=lambda tick: tick.at)


def _width(tick: Tick) -> float:
    """About how wide an axis number is where letters are set largest."""
    return 9.0 * len(f"{abs(tick.value):g}") + (9.0 if tick.value < 0 else 0.0)


class _Axis:
    """Values onto positions."""

    def __init__(self, low: float, high: float, start: float, end: float) -> None:
        self.low, self.start = low, start
        self.scale = (end - start) / (high - low) if high > low else 0.0
        self.only = (start + end) / 2 if high <= low else None

    def at(self, value: float) -> float:
        if self.only is not None:
            return self.only
        return round(self.start + self.scale * (value - self.low), 2)


def _widened(low: float, high: float, least: float) -> tuple[float, float]:
    lacking = max(least - (high - low), 0.0) or (0.0 if high > low else 1.0)
    if low >= 0 and low < lacking:
        return low, high + lacking
    return low - lacking / 2, high + lacking / 2


def _multiples(low: float, high: float, spacing: float) -> list[float]:
    first, last = math.ceil(low / spacing - 1e-9), math.floor(high / spacing + 1e-9)
    return [index * spacing for index in range(first, last + 1)]


def _round_values(low: float, high: float) -> list[float]:
    spacing, _ = tick_spacing(max(high - low, 1.0) / 3)
    return _multiples(low, high, spacing)


def _apart(ends: Sequence[float], top: float, bottom: float) -> list[float]:
    """Heights for the names at the ends, pushed apart where they would cover each other."""
    order = sorted(range(len(ends)), key=lambda index: ends[index])
    placed = list(ends)
    for before, index in _pairs(order):
        placed[index] = max(placed[index], placed[before] + LETTER)
    over = max((placed[index] - bottom for index in order), default=0.0)
    if over > 0 and order:
        placed[order[-1]] -= over
        for after, index in _pairs(order[::-1]):
            placed[index] = min(placed[index], placed[after] - LETTER)
    return [round(max(top, at), 2) for at in placed]


def _pairs(order: Sequence[int]) -> Iterable[tuple[int, int]]:
    return zip(order, order[1:], strict=False)
