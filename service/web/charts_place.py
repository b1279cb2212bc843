"""Where a card lies from its master: two flat cuts through the body of equal ΔE00, on one scale.

The body of all colours nearer to the master than the limit is no ball: CIEDE2000 makes it long
in chroma and, in the blues, turns it. A flat drawing of it is true only in its own plane, so
both cuts here pass through the card: one level at the card's own lightness (beside it the one at
the master's), one upright through master and card. In both the card lies inside the line if and
only if its ΔE00 is below the limit.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING

from service.web.charts import (
    FARTHEST_IN_LIMITS,
    ChartPoint,
    Lab,
    Tick,
    reach,
    steps,
    tick_spacing,
)

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

Point = tuple[float, float]
Covariance = Sequence[Sequence[float]]

RAYS = 96
OFF_BY = 1e-4  # ΔE00; a ray that ends in a jump of the formula meets the limit nowhere
NO_DIRECTION = 0.02  # CIELAB units; a step in a*b* below this points nowhere
SEEN_APART = 1.5  # units of the view box; lines nearer than this are one line
UNDER_POINT = 8.0  # units of the view box; what reaches no further is hidden by the point


@dataclass(frozen=True, slots=True, kw_only=True)
class Cuts:
    """Points at the limit, as differences from the master, in CIELAB units.

    ``level`` and ``own`` are (Δa*, Δb*) at the master's and the card's lightness; ``own`` is
    empty where the lightness alone is over the limit. ``upright`` is (step along ``towards``,
    ΔL*). ``alone`` says at which ΔL*, Δa*, Δb* that coordinate alone would reach the limit,
    ``along`` after how many units straight towards the card.
    """

    level: tuple[Point, ...]
    own: tuple[Point, ...]
    upright: tuple[Point, ...]
    towards: Point
    alone: tuple[Point, Point, Point]
    along: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Plane:
    """One cut as it is drawn; both axes have one scale, so shapes are true.

    ``inside`` is the line of the plane that the card lies in, ``level`` that of the master's
    lightness where it is another; ``region`` an ellipse (centre, half axes, turn in degrees),
    left out where the point would hide it.
    """

    width: float
    height: float
    left: float
    right: float
    top: float
    bottom: float
    master: Point
    inside: str
    level: str
    card: ChartPoint
    region: tuple[float, float, float, float, float] | None
    region_hidden: bool
    x_ticks: tuple[Tick, ...]
    y_ticks: tuple[Tick, ...]
    places: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """Both cuts of one card, and what they were drawn from."""

    level: Plane
    upright: Plane
    cuts: Cuts
    limit: float
    lightness: float  # ΔL* of the card
    apart: float  # ΔE*ab of the card
    two_lines: bool  # the card's own level is drawn beside the master's


@lru_cache(maxsize=256)
def cuts(master: Lab, difference: Lab, limit: float) -> Cuts:
    """Search along rays in all cuts at once for where ΔE00 equals the limit."""
    import numpy as np

    from colour.difference import delta_e_2000

    lightness, step_a, step_b = difference
    towards = _towards(master, step_a, step_b)
    origin = np.asarray(master, dtype=float)
    own_start = origin + (lightness, 0.0, 0.0)
    a_and_b = np.eye(3)[1:]
    side = np.array([(0.0, *towards), (1.0, 0.0, 0.0)])
    flat, steep = _rays(origin, a_and_b), _rays(origin, side)
    length = math.hypot(*difference)
    straight = np.array([difference]) / length if length else np.array([[1.0, 0.0, 0.0]])
    directions = np.concatenate([flat, steep, -np.eye(3), np.eye(3), straight])
    start = np.broadcast_to(origin, directions.shape)
    within = delta_e_2000(tuple(origin.tolist()), tuple(own_start.tolist())) < limit
    if within:
        directions = np.concatenate([directions, flat])
        start = np.concatenate([start, np.broadcast_to(own_start, flat.shape)])
    radii = reach(master, directions, limit, start)
    found = start + radii[:, None] * directions
    met = np.abs(delta_e_2000(origin, found) - limit) < OFF_BY
    away = found - origin

    def points(first: int, axes: NDArray[np.float64]) -> tuple[Point, ...]:
        rows = slice(first, first + RAYS)
        pair = away[rows][met[rows]] @ axes.T
        return tuple((float(x), float(y)) for x, y in pair)

    single = radii[2 * RAYS : 2 * RAYS + 6].tolist()
    return Cuts(
        level=points(0, a_and_b),
        own=points(2 * RAYS + 7, a_and_b) if within else (),
        upright=points(RAYS, side),
        towards=towards,
        alone=(
            (-single[0], single[3]),
            (-single[1], single[4]),
            (-single[2], single[5]),
        ),
        along=float(radii[2 * RAYS + 6]) if length else None,
    )


def _rays(master: NDArray[np.float64], axes: NDArray[np.float64]) -> NDArray[np.float64]:
    """Directions in the plane of two axes that end about evenly along the contour.

    The local quadratic form only spreads the rays, so that the tips of a long contour are not
    drawn with corners; how far each goes is the formula's own answer.
    """
    import numpy as np

    from colour.quadratic_form import local_form

    turn = 2 * np.pi * np.arange(RAYS) / RAYS
    circle = np.stack([np.cos(turn), np.sin(turn)])
    factor = np.linalg.cholesky(axes @ local_form(master) @ axes.T)
    spread = np.linalg.solve(factor.T, circle).T
    rays = spread / np.linalg.norm(spread, axis=1)[:, None]
    return np.asarray(rays @ axes)


def _towards(master: Lab, step_a: float, step_b: float) -> Point:
    """The direction in a*b* from the master to the card.

    A card without one is looked at across the master's own hue: along it the plane would hold
    the hues exactly opposite, where the formula has no one answer.
    """
    for a, b in ((step_a, step_b), (-master[2], master[1])):
        if math.hypot(a, b) >= NO_DIRECTION:
            return a / math.hypot(a, b), b / math.hypot(a, b)
    return 0.0, 1.0


def place_charts(
    master: Lab,
    difference: Lab,
    limit: float,
    *,
    label: str,
    href: str,
    word: str,
    covariance: Covariance | None = None,
    degrees_of_freedom: float | None = None,
) -> Place:
    """Both cuts of a card that lies ``difference`` from its master.

    ``covariance`` (3 by 3) is of the difference; with ``degrees_of_freedom`` it was estimated
    from so much scatter, else it is known.
    """
    found = cuts(master, difference, limit)
    lightness, step_a, step_b = difference
    cos, sin = found.towards
    flat_at, steep_at = (step_a, step_b), (cos * step_a + sin * step_b, lightness)
    flat_region = _region(covariance, ((0, 1, 0), (0, 0, 1)), degrees_of_freedom)
    steep_region = _region(covariance, ((0, cos, sin), (1, 0, 0)), degrees_of_freedom)
    size = _largest((*found.level, *found.own, *found.upright))
    away = max(
        _largest([at]) + (region[0] if region else 0.0)
        for at, region in ((flat_at, flat_region), (steep_at, steep_region))
    )
    half = 1.12 * max(size, min(away, FARTHEST_IN_LIMITS * size))
    canvas = _Canvas(half)
    two_lines = abs(lightness) > 0 and (
        not found.own or canvas.apart(found.level, found.own) > SEEN_APART
    )
    own = found.own if two_lines else found.level

    def plane(inside: Sequence[Point], level: str, at: Point, region: Region | None) -> Plane:
        card = canvas.point(at, label=label, href=href, word=word, values=difference)
        ticks = canvas.ticks()
        drawn = None if region is None or card.beyond else canvas.ellipse(at, region)
        hidden = drawn is not None and drawn[2] <= UNDER_POINT
        return Plane(
            width=canvas.width,
            height=canvas.height,
            left=canvas.left,
            right=canvas.right,
            top=canvas.top,
            bottom=canvas.bottom,
            master=canvas.place(0, 0),
            inside=canvas.path(inside),
            level=level,
            card=card,
            region=None if hidden else drawn,
            region_hidden=hidden,
            x_ticks=tuple(Tick(at=canvas.place(v, 0)[0], value=v) for v in ticks),
            y_ticks=tuple(Tick(at=canvas.place(0, v)[1], value=v) for v in ticks),
            places=canvas.places,
        )

    return Place(
        level=plane(own, canvas.path(found.level) if two_lines else "", flat_at, flat_region),
        upright=plane(found.upright, "", steep_at, steep_region),
        cuts=found,
        limit=limit,
        lightness=lightness,
        apart=math.hypot(*difference),
        two_lines=two_lines,
    )


Region = tuple[float, float, float]
"""Half axes of an ellipse, the larger first, and its turn from the x axis in degrees."""


def region_factor(degrees_of_freedom: float | None) -> float:
    """Square of the half axes of a plane 95 % region, in variances.

    −2 ln 0.05 = 5.99 (χ² with 2 degrees of freedom) for a known covariance; for one estimated
    with ν, 2 F(0.95; 2, ν), which has the closed form ν (0.05^(−2/ν) − 1).
    """
    if degrees_of_freedom is None:
        return -2 * math.log(0.05)
    return degrees_of_freedom * (float(0.05 ** (-2 / degrees_of_freedom)) - 1)


def _region(
    covariance: Covariance | None,
    axes: tuple[Sequence[float], Sequence[float]],
    degrees_of_freedom: float | None,
) -> Region | None:
    """The ellipse of both coordinates together; None where nothing is known of the noise."""
    if covariance is None or degrees_of_freedom == 0:
        return None

    def of(one: Sequence[float], other: Sequence[float]) -> float:
        return math.fsum(one[i] * covariance[i][j] * other[j] for i in range(3) for j in range(3))

    xx, xy, yy = of(axes[0], axes[0]), of(axes[0], axes[1]), of(axes[1], axes[1])
    middle, swing = (xx + yy) / 2, math.hypot((xx - yy) / 2, xy)
    if middle - swing <= 0:
        return None
    factor = region_factor(degrees_of_freedom)
    turn = math.degrees(math.atan2(2 * xy, xx - yy)) / 2
    return math.sqrt(factor * (middle + swing)), math.sqrt(factor * (middle - swing)), turn


def _largest(points: Iterable[Point]) -> float:
    return max(max(abs(x), abs(y)) for x, y in points)


class _Canvas:
    """A square of the view box with the master in its middle."""

    left, right, top, bottom = 62.0, 470.0, 26.0, 434.0
    width, height = 484.0, 484.0

    def __init__(self, half: float) -> None:
        self.half = half
        self.scale = (self.right - self.left) / (2 * half)
        self.middle = (self.left + self.right) / 2, (self.top + self.bottom) / 2
        self.spacing, self.places = tick_spacing(half / 2)

    def place(self, x: float, y: float) -> Point:
        return (
            round(self.middle[0] + self.scale * x, 2),
            round(self.middle[1] - self.scale * y, 2),
        )

    def ticks(self) -> list[float]:
        return steps(0.0, self.half, self.spacing)

    def path(self, points: Sequence[Point]) -> str:
        if not points:
            return ""
        placed = (self.place(x, y) for x, y in points)
        return "M" + "L".join(f"{x:g},{y:g}" for x, y in placed) + "Z"

    def apart(self, one: Sequence[Point], other: Sequence[Point]) -> float:
        """How far two lines about the master are from each other at most, where both have rays."""
        if len(one) != len(other):
            return math.inf
        return self.scale * max(math.dist(p, q) for p, q in zip(one, other, strict=True))

    def point(
        self, at: Point, *, label: str, href: str, word: str, values: tuple[float, ...]
    ) -> ChartPoint:
        # A point beyond the edge keeps its direction, not just the nearest edge.
        shrink = min(1.0, self.half / max(_largest([at]), 1e-12))
        x, y = self.place(shrink * at[0], shrink * at[1])
        return ChartPoint(
            x=x, y=y, label=label, href=href, word=word, values=values, beyond=shrink < 1.0
        )

    def ellipse(self, at: Point, region: Region) -> tuple[float, float, float, float, float]:
        long, short, turn = region
        x, y = self.place(*at)
        return x, y, round(self.scale * long, 2), round(self.scale * short, 2), round(-turn, 2)
