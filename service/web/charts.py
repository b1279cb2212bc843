"""Geometry of the charts, ready to be written as SVG by ``templates/kit/chart.html``.

Nothing here draws or formats: a chart is plain dataclasses of positions in the units of its own
view box, and values that the template puts through the number filters.  The page that shows a
chart shows its table too, so a chart may leave out what would not be legible.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

Lab = tuple[float, float, float]

# A point further out than this many limits is drawn at the edge and marked as beyond the chart:
# one wrong tin must not press every other batch into a line.
FARTHEST_IN_LIMITS = 2.5

STRIP_NAMES = (
    ("ΔL*", "lighter", "darker"),
    ("Δa*", "redder", "greener"),
    ("Δb*", "yellower", "bluer"),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class ChartCard:
    """One card to be drawn: where its point leads, what it is called and what was decided."""

    label: str
    href: str
    colour: Lab | None  # CIELAB under the master's conditions; None draws nothing but keeps a place
    word: str  # blends, shows, cannot_tell, not_comparable


@dataclass(frozen=True, slots=True, kw_only=True)
class ChartPoint:
    """A card's place; ``values`` are what the template writes beside it."""

    x: float
    y: float
    label: str
    href: str
    word: str
    values: tuple[float, ...]
    beyond: bool  # drawn at the edge, for it lies outside the chart


@dataclass(frozen=True, slots=True, kw_only=True)
class Tick:
    """A mark on an axis, at a position in view-box units."""

    at: float
    value: float


@dataclass(frozen=True, slots=True, kw_only=True)
class StripRow:
    """One coordinate of all batches, one above the other with its two sisters."""

    name: str
    up: str  # the word for a positive deviation
    down: str
    top: float
    bottom: float
    zero: float
    band: tuple[float, float] | None  # top and bottom of the limit band
    ticks: tuple[Tick, ...]
    points: tuple[ChartPoint, ...]
    lines: tuple[str, ...]  # path data between neighbours that both lie on the chart


@dataclass(frozen=True, slots=True, kw_only=True)
class StripChart:
    """ΔL*, Δa*, Δb* against the master, batches from left to right in spray order."""

    width: float
    height: float
    left: float
    right: float
    rows: tuple[StripRow, ...]
    names: tuple[tuple[float, str], ...]  # where on the x axis each shown label stands
    places: int  # decimals the ticks need
    long: bool  # wider than a phone: keeps its size and scrolls


@dataclass(frozen=True, slots=True, kw_only=True)
class Scatter:
    """Cards in the a*b* plane around their master, with the contour of equal ΔE00."""

    width: float
    height: float
    left: float
    right: float
    top: float
    bottom: float
    master: tuple[float, float]
    contour: str  # path data
    limit: float  # ΔE00
    a_ticks: tuple[Tick, ...]
    b_ticks: tuple[Tick, ...]
    places: int
    points: tuple[ChartPoint, ...]


def reach(
    master: Lab,
    directions: NDArray[np.float64],
    limit: float,
    start: NDArray[np.float64] | None = None,
) -> NDArray[np.float64]:
    """How far one may go in each Lab direction until ΔE00 from the master equals the limit.

    From the master itself, or from a ``start`` (one colour, or one a direction) within the
    limit. Bisection, not a division by the slope: ΔE00 jumps a little where the hue turns by
    exactly 180°, which happens within reach of a near-neutral master.
    """
    import numpy as np

    from colour.difference import delta_e_2000

    if not (limit > 0 and math.isfinite(limit)):
        raise ValueError(f"limit must be positive and finite, got {limit!r}")
    origin = np.asarray(master, dtype=float)
    begin = origin if start is None else start
    low = np.zeros(len(directions))
    high = np.full(len(directions), float(limit))
    while np.any(short := delta_e_2000(origin, begin + high[:, None] * directions) < limit):
        low = np.where(short, high, low)
        high = np.where(short, 2 * high, high)
    for _ in range(30):  # leaves less than 1e-8 of the first bracket
        middle = (low + high) / 2
        short = delta_e_2000(origin, begin + middle[:, None] * directions) < limit
        low, high = np.where(short, middle, low), np.where(short, high, middle)
    result: NDArray[np.float64] = (low + high) / 2
    return result


def limit_contour(master: Lab, limit: float, count: int = 72) -> tuple[tuple[float, float], ...]:
    """The (a*, b*) points, at the master's own L*, whose ΔE00 from the master is the limit."""
    import numpy as np

    turn = 2 * np.pi * np.arange(count) / count
    directions = np.stack([np.zeros(count), np.cos(turn), np.sin(turn)], axis=-1)
    along = reach(master, directions, limit)[:, None] * directions
    return tuple((float(master[1] + a), float(master[2] + b)) for _, a, b in along)


def bands_alone(master: Lab, limit: float) -> tuple[tuple[float, float], ...]:
    """For L*, a* and b* the deviations at which that coordinate alone would reach the limit."""
    import numpy as np

    axes = np.concatenate([-np.eye(3), np.eye(3)])
    radii = [float(radius) for radius in reach(master, axes, limit)]
    return tuple((-radii[axis], radii[axis + 3]) for axis in range(3))


def strip_chart(
    cards: Sequence[ChartCard],
    *,
    master: Lab,
    bands: Sequence[tuple[float, float] | None] = (None, None, None),
) -> StripChart:
    """Place the cards, given in spray order, as three rows that share one scale."""
    left, gap, row_height, head = 58.0, 28.0, 104.0, 20.0
    step = max(16.0, min(60.0, 410.0 / max(len(cards), 1)))
    width = max(480.0, left + step * len(cards) + 12.0)
    right = width - 12.0
    deviations = [card.colour and _minus(card.colour, master) for card in cards]
    span, spacing, places = _symmetric_scale(deviations, bands)

    rows = []
    for axis, (name, up, down) in enumerate(STRIP_NAMES):
        top = head + axis * (row_height + gap)
        zero, scale = top + row_height / 2, row_height / 2 / span
        points = []
        for index, (card, deviation) in enumerate(zip(cards, deviations, strict=True)):
            if deviation is None:
                continue
            value = deviation[axis]
            points.append(
                ChartPoint(
                    x=round(left + step * (index + 0.5), 2),
                    y=round(zero - scale * max(-span, min(span, value)), 2),
                    label=card.label,
                    href=card.href,
                    word=card.word,
                    values=(value,),
                    beyond=abs(value) > span,
                )
            )
        band = bands[axis]
        rows.append(
            StripRow(
                name=name,
                up=up,
                down=down,
                top=top,
                bottom=top + row_height,
                zero=zero,
                band=band and (round(zero - scale * band[1], 2), round(zero - scale * band[0], 2)),
                ticks=tuple(
                    Tick(at=round(zero - scale * value, 2), value=value)
                    for value in (-spacing, 0.0, spacing)
                ),
                points=tuple(points),
                lines=tuple(_lines(points, step)),
            )
        )
    every = max(1, math.ceil(52.0 / step))
    return StripChart(
        width=width,
        height=rows[-1].bottom + 48.0,
        left=left,
        right=right,
        rows=tuple(rows),
        names=tuple(
            (round(left + step * (index + 0.5), 2), card.label)
            for index, card in enumerate(cards)
            if index % every == 0
        ),
        places=places,
        long=width > 480.0,
    )


def scatter(cards: Iterable[ChartCard], *, master: Lab, limit: float) -> Scatter:
    """Place the cards in the a*b* plane; both axes have one scale, so shapes are true."""
    left, right, top, bottom = 62.0, 470.0, 14.0, 422.0
    contour = limit_contour(master, limit)
    _, master_a, master_b = master
    shown = [(card, card.colour) for card in cards if card.colour is not None]
    size = max(max(abs(a - master_a), abs(b - master_b)) for a, b in contour)
    away = [max(abs(c[1] - master_a), abs(c[2] - master_b)) for _, c in shown]
    half = 1.15 * max(size, min(max(away, default=0.0), FARTHEST_IN_LIMITS * size))
    scale = (right - left) / (2 * half)
    middle_x, middle_y = (left + right) / 2, (top + bottom) / 2

    def place(a: float, b: float) -> tuple[float, float]:
        return round(middle_x + scale * (a - master_a), 2), round(
            middle_y - scale * (b - master_b), 2
        )

    points = []
    for card, colour in shown:
        offset_a, offset_b = colour[1] - master_a, colour[2] - master_b
        # A point beyond the edge keeps its direction, not just the nearest edge.
        shrink = min(1.0, half / max(abs(offset_a), abs(offset_b), 1e-12))
        x, y = place(master_a + shrink * offset_a, master_b + shrink * offset_b)
        points.append(
            ChartPoint(
                x=x,
                y=y,
                label=card.label,
                href=card.href,
                word=card.word,
                values=(colour[1], colour[2]),
                beyond=shrink < 1.0,
            )
        )
    spacing, places = tick_spacing(half / 2)
    corners = [place(a, b) for a, b in contour]
    return Scatter(
        width=484.0,
        height=476.0,
        left=left,
        right=right,
        top=top,
        bottom=bottom,
        master=place(master_a, master_b),
        contour="M" + "L".join(f"{x:g},{y:g}" for x, y in corners) + "Z",
        limit=limit,
        a_ticks=tuple(Tick(at=place(v, 0)[0], value=v) for v in steps(master_a, half, spacing)),
        b_ticks=tuple(Tick(at=place(0, v)[1], value=v) for v in steps(master_b, half, spacing)),
        places=places,
        points=tuple(points),
    )


def _minus(colour: Lab, master: Lab) -> Lab:
    return (colour[0] - master[0], colour[1] - master[1], colour[2] - master[2])


def _symmetric_scale(
    deviations: Iterable[Lab | None], bands: Sequence[tuple[float, float] | None]
) -> tuple[float, float, int]:
    """Half height of a row, spacing of its ticks and the decimals they need."""
    largest = max((abs(part) for dev in deviations if dev for part in dev), default=0.0)
    widest = max((abs(edge) for band in bands if band for edge in band), default=0.0)
    span = max(widest, min(largest, FARTHEST_IN_LIMITS * widest) if widest else largest)
    span = 1.12 * span or 1.0
    spacing, places = tick_spacing(span)
    return span, spacing, places


def tick_spacing(room: float) -> tuple[float, int]:
    """The largest of 1, 2 or 5 times a power of ten that fits, and the decimals it needs."""
    power = math.floor(math.log10(room))
    digit = max(step for step in (1, 2, 5) if step * 10.0**power <= room * (1 + 1e-9))
    return digit * 10.0**power, max(0, -power)


def steps(centre: float, half: float, spacing: float) -> list[float]:
    first, last = math.ceil((centre - half) / spacing), math.floor((centre + half) / spacing)
    return [index * spacing for index in range(first, last + 1)]


def _lines(points: Iterable[ChartPoint], step: float) -> Iterable[str]:
    """Lines from batch to batch, broken at a batch without a reading or beyond the chart."""
    runs: list[list[ChartPoint]] = [[]]
    for point in points:
        if runs[-1] and point.x - runs[-1][-1].x > 1.5 * step:
            runs.append([])
        if point.beyond:
            runs.append([])
        else:
            runs[-1].append(point)
    for run in runs:
        if len(run) > 1:
            yield "M" + "L".join(f"{point.x:g},{point.y:g}" for point in run)
