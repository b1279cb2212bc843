"""The vehicle as a graph: where its panels stand and how the joints run between them.

``draw`` turns panels at given places and the joints between them into positions and path data
for ``templates/kit/vehicle.html``.  Places are grid units, x across the vehicle from its left
side to its right and y from front to rear, so that the map is as narrow as a phone.  Fractions
are welcome (a roof between two doors).  Nothing here knows what a car looks like.
"""

from __future__ import annotations

import math
import textwrap
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

PITCH_X, GAP_X, GAP_Y, MARGIN = 142.0, 54.0, 46.0, 10.0
BOX_WIDTH = PITCH_X - GAP_X
LINE_HEIGHT, BOX_PADDING = 16.0, 8.0
NAME_LETTERS = 10  # what fits into a box at the size of its letters
BREAK = 4.0  # half the step by which the line of a joint that shows is broken
LABEL_LETTER, LABEL_HEIGHT = 7.6, 16.0

SQUARE = 32.0
# Sideways bends to try, in widths of the grid, when a straight line would cross a third panel.
BENDS = (0.0, 0.5, -0.5, 0.9, -0.9, 1.3, -1.3)

Point = tuple[float, float]
Route = tuple[Point, ...]
Rectangle = tuple[float, float, float, float]  # left, top, right, bottom


@dataclass(frozen=True, slots=True, kw_only=True)
class MapPanel:
    """A panel to be placed, in grid units."""

    key: str
    name: str
    x: float
    y: float
    note: str = ""  # one short line under the name, such as "batch 3"
    href: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class MapJoint:
    """A joint to be drawn; both ends are the same panel for an edge inside it."""

    first: str
    second: str
    kind: str  # butt, gap, fade, within
    word: str  # blends, shows, cannot_tell, not_comparable
    label: str  # the number beside the line, formatted; may be empty
    title: str  # the whole sentence, for pointers that can hover
    href: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Box:
    """A panel on the map."""

    x: float
    y: float
    width: float
    height: float
    centre: float
    lines: tuple[tuple[float, str], ...]  # baseline and text of each line of the name
    note: tuple[float, str] | None
    href: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Seam:
    """A joint on the map: the line as drawn, the wide line that takes the pointer, the number."""

    path: str
    touch: str
    x: float
    y: float
    anchor: str  # start, middle or end
    kind: str
    word: str
    label: str
    title: str
    href: str


@dataclass(frozen=True, slots=True, kw_only=True)
class VehicleMap:
    """Everything the template draws, in view-box units."""

    left: float
    top: float
    width: float
    height: float
    boxes: tuple[Box, ...]
    seams: tuple[Seam, ...]


def draw(panels: Sequence[MapPanel], joints: Sequence[MapJoint]) -> VehicleMap:
    """Lay out the map; a joint of a panel that is not on it is refused."""
    rectangles, boxes = _place(panels, joints)
    routes = _routes(rectangles, joints)
    labels = _Labels(rectangles.values(), routes)
    seams: list[Seam] = []
    for joint, route in zip(joints, routes, strict=True):
        inner = joint.first == joint.second
        x, y = (route[-1][0] + 6, route[-1][1]) if inner else labels.place(route, joint.label)
        seams.append(
            Seam(
                path=_drawn(route, joint.word),
                touch=_path(route),
                x=round(x, 1),
                y=round(y + 4.5, 1),  # from the middle of the figures to their baseline
                anchor="start" if inner else "middle",
                kind=joint.kind,
                word=joint.word,
                label=joint.label,
                title=joint.title,
                href=joint.href,
            )
        )
    edges = [*labels.taken, *((x - 6, y - 6, x + 6, y + 6) for route in routes for x, y in route)]
    left = min((edge[0] for edge in edges), default=0.0) - MARGIN
    top = min((edge[1] for edge in edges), default=0.0) - MARGIN
    return VehicleMap(
        left=round(left, 1),
        top=round(top, 1),
        width=round(max((edge[2] for edge in edges), default=0.0) + MARGIN - left, 1),
        height=round(max((edge[3] for edge in edges), default=0.0) + MARGIN - top, 1),
        boxes=tuple(boxes),
        seams=tuple(seams),
    )


def _place(
    panels: Sequence[MapPanel], joints: Iterable[MapJoint]
) -> tuple[dict[str, Rectangle], list[Box]]:
    names = {panel.key: textwrap.wrap(panel.name, NAME_LETTERS) or [""] for panel in panels}
    inner = dict.fromkeys(names, 0)
    for joint in joints:
        for key in (joint.first, joint.second):
            if key not in names:
                raise ValueError(f"joint {joint.title!r} names panel {key!r}, not on the map")
        if joint.first == joint.second:
            inner[joint.first] += 1
    heights = {
        panel.key: 2 * BOX_PADDING
        + LINE_HEIGHT * (len(names[panel.key]) + bool(panel.note))
        + (LABEL_HEIGHT + 4) * inner[panel.key]
        for panel in panels
    }
    pitch_y = max(heights.values(), default=0.0) + GAP_Y
    rectangles, boxes = {}, []
    for panel in panels:
        centre_x, centre_y = panel.x * PITCH_X, panel.y * pitch_y
        height = heights[panel.key]
        left, top = centre_x - BOX_WIDTH / 2, centre_y - height / 2
        rectangles[panel.key] = (left, top, left + BOX_WIDTH, top + height)
        baseline = top + BOX_PADDING + 12
        lines = [(baseline + LINE_HEIGHT * i, text) for i, text in enumerate(names[panel.key])]
        boxes.append(
            Box(
                x=left,
                y=top,
                width=BOX_WIDTH,
                height=height,
                centre=centre_x,
                lines=tuple(lines),
                note=(baseline + LINE_HEIGHT * len(lines), panel.note) if panel.note else None,
                href=panel.href,
            )
        )
    return rectangles, boxes


def _routes(rectangles: dict[str, Rectangle], joints: Iterable[MapJoint]) -> list[Route]:
    """Each joint's line, from edge to edge of its panels; a second one between them is bent."""
    routes: list[Route] = []
    seen: dict[tuple[str, ...], int] = {}
    for joint in joints:
        ends = tuple(sorted((joint.first, joint.second)))
        before = seen[ends] = seen.get(ends, -1) + 1
        first, second = rectangles[joint.first], rectangles[joint.second]
        if joint.first == joint.second:
            bottom = first[3] - BOX_PADDING - LABEL_HEIGHT / 2 - before * (LABEL_HEIGHT + 4)
            routes.append(((first[0] + 8, bottom), (first[0] + 40, bottom)))
            continue
        others = [r for r in rectangles.values() if r is not first and r is not second]
        # A second joint between the same two panels starts with a bend of its own.
        bends = BENDS[2 * before :] + BENDS[: 2 * before] if before else BENDS
        clearest: tuple[int, Route] | None = None
        for bend in bends:
            route = _curve(first, second, bend * PITCH_X)
            hits = _hits(route, others)
            if clearest is None or hits < clearest[0]:
                clearest = hits, route
            if not hits:
                break
        assert clearest is not None
        routes.append(clearest[1])
    return routes


def _hits(route: Route, boxes: Iterable[Rectangle]) -> int:
    """How many points of the line lie in or right beside boxes that are none of its ends."""
    across, down = [x for x, _ in route], [y for _, y in route]
    extent = (min(across) - 4, min(down) - 4, max(across) + 4, max(down) + 4)
    near = [box for box in boxes if _overlap(extent, box)]
    return sum(_inside(p, box, 4) for p in _along(route) for box in near) if near else 0


def _curve(first: Rectangle, second: Rectangle, bend: float) -> Route:
    """From the middle of one box to the other's, bent aside in its midst, cut at both edges."""
    (x0, y0), (x1, y1) = _middle(first), _middle(second)
    dx, dy = x1 - x0, y1 - y0
    if not bend:
        before, after = _share_within(first, dx, dy), 1 - _share_within(second, dx, dy)
        if before >= after:
            return ((x0, y0), (x1, y1))
        return ((x0 + before * dx, y0 + before * dy), (x0 + after * dx, y0 + after * dy))
    length = math.hypot(dx, dy) or 1.0
    # The curve passes its control point at half the distance, hence twice the bend.
    cx, cy = (x0 + x1) / 2 - dy / length * 2 * bend, (y0 + y1) / 2 + dx / length * 2 * bend
    points = []
    for index in range(49):
        t = index / 48
        a, b, c = (1 - t) ** 2, 2 * t * (1 - t), t * t
        point = (a * x0 + b * cx + c * x1, a * y0 + b * cy + c * y1)
        if not _inside(point, first, 0) and not _inside(point, second, 0):
            points.append(point)
    return tuple(points) if len(points) > 1 else ((x0, y0), (x1, y1))


def _share_within(box: Rectangle, dx: float, dy: float) -> float:
    """The share of the way (dx, dy) from the middle of a box that still lies inside it."""
    half_width, half_height = (box[2] - box[0]) / 2, (box[3] - box[1]) / 2
    return min(
        half_width / abs(dx) if dx else math.inf, half_height / abs(dy) if dy else math.inf, 1.0
    )


def _drawn(route: Sequence[Point], word: str) -> str:
    """The line as the seam mark has it: whole, broken by a step, or parted with a slash."""
    if word == "shows":
        before, after = _halves(route, 0.0)
        return _path([*_shifted(before, BREAK), *_shifted(after, -BREAK)])
    if word == "not_comparable":
        before, after = _halves(route, 7.0)
        x, y = _at(route, 0.5)[0]
        ux, uy = _at(route, 0.5)[1]
        slash = [
            (x - 8 * uy + 3 * ux, y + 8 * ux + 3 * uy),
            (x + 8 * uy - 3 * ux, y - 8 * ux - 3 * uy),
        ]
        return _path(before) + _path(after) + _path(slash)
    return _path(route)


def _halves(route: Sequence[Point], gap: float) -> tuple[list[Point], list[Point]]:
    """The route before and after its middle, with a gap of that half width between them."""
    length = _length(route)
    share = min(0.45, gap / length) if length else 0.0
    before, after = 0.5 - share, 0.5 + share
    walked, first, second = 0.0, [route[0]], []
    for start, end in zip(route, route[1:], strict=False):
        walked += math.dist(start, end)
        if walked < before * length:
            first.append(end)
        elif walked > after * length:
            second.append(end)
    return [*first, _at(route, before)[0]], [_at(route, after)[0], *(second or [route[-1]])]


def _shifted(points: Sequence[Point], by: float) -> list[Point]:
    """The points moved sideways, each at a right angle to where the line goes."""
    moved = []
    for index, (x, y) in enumerate(points):
        start, end = points[max(0, index - 1)], points[min(len(points) - 1, index + 1)]
        length = math.dist(start, end) or 1.0
        moved.append((x - by * (end[1] - start[1]) / length, y + by * (end[0] - start[0]) / length))
    return moved


class _Labels:
    """Finds each number the place beside its line that meets the fewest boxes, numbers, lines."""

    def __init__(self, boxes: Iterable[Rectangle], routes: Iterable[Route]) -> None:
        self.taken = list(boxes)
        # Points of all lines by square, so that a label asks only about those near it.
        self.squares: dict[tuple[int, int], list[Point]] = {}
        for route in routes:
            for point in _along(route):
                square = int(point[0] // SQUARE), int(point[1] // SQUARE)
                self.squares.setdefault(square, []).append(point)

    def place(self, route: Route, label: str) -> Point:
        """The middle of the label; its place is taken from then on."""
        width = LABEL_LETTER * len(label) + 4
        best: tuple[float, Point, Rectangle] | None = None
        for share in (0.5, 0.4, 0.6, 0.3, 0.7):
            (x, y), (ux, uy) = _at(route, share)
            for nx, ny in ((-uy, ux), (uy, -ux)):
                # A number needs room across the line by its half size in that direction.
                away = 7 + abs(nx) * width / 2 + abs(ny) * LABEL_HEIGHT / 2
                cx, cy = x + nx * away, y + ny * away
                half = (width / 2, LABEL_HEIGHT / 2)
                area = (cx - half[0], cy - half[1], cx + half[0], cy + half[1])
                cost = self._cost(area)
                if best is None or cost < best[0]:
                    best = cost, (cx, cy), area
            if best is not None and not best[0]:
                break
        assert best is not None
        self.taken.append(best[2])
        return best[1]

    def _cost(self, area: Rectangle) -> float:
        cost = 3.0 * sum(_overlap(area, other) for other in self.taken)
        left, top, right, bottom = (int(edge // SQUARE) for edge in area)
        for across in range(left, right + 1):
            for down in range(top, bottom + 1):
                for point in self.squares.get((across, down), ()):
                    cost += _inside(point, area, 2)
        return cost


def _at(route: Sequence[Point], share: float) -> tuple[Point, Point]:
    """The point at that share of the line's length, and the direction of the line there."""
    left = share * _length(route)
    for start, end in zip(route, route[1:], strict=False):
        step = math.dist(start, end)
        if step and left <= step:
            t = left / step
            ux, uy = (end[0] - start[0]) / step, (end[1] - start[1]) / step
            return (start[0] + t * (end[0] - start[0]), start[1] + t * (end[1] - start[1])), (
                ux,
                uy,
            )
        left -= step
    return route[-1], (1.0, 0.0)


def _along(route: Route) -> Iterable[Point]:
    """Points along the line, at most 8 units from each other."""
    for (x0, y0), (x1, y1) in zip(route, route[1:], strict=False):
        count = 1 + int(math.hypot(x1 - x0, y1 - y0) / 8)
        for index in range(count):
            yield x0 + (x1 - x0) * index / count, y0 + (y1 - y0) * index / count
    yield route[-1]


def _length(route: Sequence[Point]) -> float:
    return sum(math.dist(start, end) for start, end in zip(route, route[1:], strict=False))


def _path(points: Iterable[Point]) -> str:
    return "M" + "L".join(f"{x:.1f},{y:.1f}" for x, y in points)


def _middle(rectangle: Rectangle) -> Point:
    return (rectangle[0] + rectangle[2]) / 2, (rectangle[1] + rectangle[3]) / 2


def _inside(point: Point, rectangle: Rectangle, margin: float) -> bool:
    left, top, right, bottom = rectangle
    return left - margin < point[0] < right + margin and top - margin < point[1] < bottom + margin


def _overlap(one: Rectangle, other: Rectangle) -> bool:
    return one[0] < other[2] and other[0] < one[2] and one[1] < other[3] and other[1] < one[3]
