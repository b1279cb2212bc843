"""Panels a vehicle commonly has and where they stand on the map; common names, no source.

The map is a graph: x runs across from the left side to the right, y from front to rear. A shop
takes from these what its vehicle has, and names whatever else there is itself.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from math import dist

from service.domain.records.job import Joint, Panel


@dataclass(frozen=True, slots=True)
class Place:
    """A panel by its common name, at its common place."""

    name: str
    x: float
    y: float


COMMON = (
    Place("Front bumper", 1, 0),
    Place("Left front wing", 0, 1),
    Place("Bonnet", 1, 1),
    Place("Right front wing", 2, 1),
    Place("Left front door", 0, 2),
    Place("Roof", 1, 2.5),
    Place("Right front door", 2, 2),
    Place("Left rear door", 0, 3),
    Place("Right rear door", 2, 3),
    Place("Left rear wing", 0, 4),
    Place("Boot lid", 1, 4),
    Place("Right rear wing", 2, 4),
    Place("Rear bumper", 1, 5),
    Place("Left mirror", -1, 2),
    Place("Right mirror", 3, 2),
    Place("Left sill", -1, 3),
    Place("Right sill", 3, 3),
)

ACROSS = (("-1", "Far left"), ("0", "Left"), ("1", "Middle"), ("2", "Right"), ("3", "Far right"))
ALONG = tuple((str(row), f"Row {row + 1}") for row in range(12))

NEIGHBOURS_WITHIN = 1.5
"""Panels at most so far apart on the map may meet in a joint; a person says whether they do."""


def likely_joints(panels: Iterable[Panel], joints: Iterable[Joint]) -> list[tuple[Panel, Panel]]:
    """Pairs of neighbours of one finish that no joint is named for yet, the nearest first."""
    known = {frozenset((joint.panel_a, joint.panel_b)) for joint in joints}
    placed = list(panels)
    pairs = [
        (dist((one.x, one.y), (other.x, other.y)), place, one, other)
        for place, one in enumerate(placed)
        for other in placed[place + 1 :]
        if one.finish_id == other.finish_id and {one.root, other.root} not in known
    ]
    near = sorted((p for p in pairs if 0 < p[0] <= NEIGHBOURS_WITHIN), key=lambda p: p[:2])
    return [(one, other) for _, _, one, other in near]


def free_place(panels: Iterable[Panel]) -> tuple[float, float]:
    """A place on the map where no panel stands yet: the middle of the next row."""
    rows = [panel.y for panel in panels]
    return 1.0, float(int(max(rows, default=-1.0)) + 1)
