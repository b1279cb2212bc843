"""A large set of cards in leaves of about 200 that lie close together, for exact search.

The set is halved again and again across its widest side. For each leaf the table keeps how far
its cards reach in L*, a*, b* and chroma, which bounds from below what any of them can differ
from a query by. A search has three steps:

1. One good card near the query gives a first radius.
2. The box of ``search_box`` for that radius picks the leaves that can hold anything nearer.
3. Of those the exact differences are computed. Where they are many (a query far from every
   card has a wide box), each leaf's own bound puts them in order: the most promising are computed
   first, and the radius they give drops most of the others.

No step leaves out a card that could matter, so the result is that of comparing every card.
"""

from math import cos, radians, sin, sqrt

import numpy as np
from numpy.typing import NDArray

from colour import ciede2000_bulk, one_pair
from colour.arrays import Floats
from colour.leaf_bound import Extent, least_differences
from colour.one_pair import Lab
from colour.search_box import lab_box

Indices = NDArray[np.intp]

LEAF = 256  # cards at most
BATCH = 8  # leaves computed first in step 3 (2,000 pairs); each later time twice as many
# In the cutting and in the first guess L* counts double: in saturated colours a unit of it weighs
# two to seven times a unit of a* or b*, in greys about as much.
LIGHTNESS_SCALE = 2.0


class CardLeaves:
    """``labs`` of shape (n, 3), finite and n ≥ 2, cut into leaves."""

    def __init__(self, labs: Floats) -> None:
        leaves = _cut(labs)
        size = max(len(leaf) for leaf in leaves)
        self._filled = np.array([len(leaf) for leaf in leaves])
        # Leaves differ by one card at most; the short ones end in a card that is NaN, so that
        # no comparison ever takes it.
        self._rows = np.full((len(leaves), size), -1, dtype=np.intp)
        self._cards = np.full((len(leaves), size, 3), np.nan)
        for i, leaf in enumerate(leaves):
            self._rows[i, : len(leaf)] = leaf
        real = self._rows >= 0
        self._cards[real] = labs[self._rows[real]]
        self._extent = Extent.of(self._cards)

    def __len__(self) -> int:
        return int(self._filled.sum())

    def nearest(self, query: Floats, count: int) -> tuple[Indices, Floats]:
        """Rows of the ``count`` nearest cards and their ΔE00, the nearest first."""
        gaps = self._extent.gaps(query)
        radius = self._first_radius(query, gaps, count)
        waiting = self._touched(query, gaps, radius)
        rows = np.empty(0, dtype=np.intp)
        differences = np.empty(0)
        if len(waiting) > 2 * BATCH:
            least = least_differences(query, self._extent, gaps, waiting)
            order = np.argsort(least)
            waiting, least = waiting[order], least[order]
            size = BATCH
            while True:
                # `least` ascends: all from the first that lies too far off do.
                kept = int(np.searchsorted(least, radius, side="right"))
                waiting, least = waiting[:kept], least[:kept]
                if len(waiting) <= 2 * BATCH:
                    break
                more = self._differences(query, waiting[:size])
                rows, differences = _best(rows, differences, *more, count)
                waiting, least = waiting[size:], least[size:]
                size *= 2
                if len(differences) == count:
                    radius = min(radius, float(differences[-1]))
        more = self._differences(query, waiting)
        return _best(rows, differences, *more, count)

    def within(self, query: Floats, limit: float) -> Indices:
        """Rows of the cards at most ``limit`` away, ascending."""
        gaps = self._extent.gaps(query)
        waiting = self._touched(query, gaps, limit)
        if len(waiting) > 2 * BATCH:
            least = least_differences(query, self._extent, gaps, waiting)
            waiting = waiting[least <= limit]
        rows, differences = self._differences(query, waiting)
        return np.sort(rows[differences <= limit])

    def _first_radius(self, query: Floats, gaps: Floats, count: int) -> float:
        """A difference that at least ``count`` cards keep to, from those near by plain distance."""
        away = (LIGHTNESS_SCALE * gaps[0]) ** 2 + gaps[1] ** 2 + gaps[2] ** 2
        if count == 1:
            leaf = int(away.argmin())
            cards = self._cards[leaf, : self._filled[leaf]]
            best = cards[int(_rough_sizes(query, cards).argmin())]
            return one_pair.delta_e_2000(_tuple(query), _tuple(best))
        leaves = min(-(-count // int(self._filled.min())), len(away))
        chosen = np.argpartition(away, leaves - 1)[:leaves]
        _, differences = self._differences(query, chosen)
        return float(np.partition(differences, count - 1)[count - 1])

    def _touched(self, query: Floats, gaps: Floats, radius: float) -> Indices:
        """The leaves that reach into the box of a radius."""
        box = lab_box(_tuple(query), radius)
        plane = gaps[1] ** 2 + gaps[2] ** 2
        return np.flatnonzero((gaps[0] <= box.half_l) & (plane <= box.half_b**2))

    def _differences(self, query: Floats, leaves: Indices) -> tuple[Indices, Floats]:
        """Rows and exact differences of all cards in some leaves."""
        rows = self._rows[leaves].ravel()
        cards = self._cards[leaves].reshape(-1, 3)
        out = np.empty(len(cards))
        ciede2000_bulk.fill(np.broadcast_to(query, cards.shape), cards, out)
        real = rows >= 0
        return rows[real], out[real]


def nearest_of(rows: Indices, differences: Floats, count: int) -> tuple[Indices, Floats]:
    """The ``count`` smallest differences, equal ones in row order."""
    if count < len(rows):
        # All that tie with the last one stay in, for row order to decide.
        last = np.partition(differences, count - 1)[count - 1]
        near = np.flatnonzero(differences <= last)
        rows, differences = rows[near], differences[near]
    order = np.lexsort((rows, differences))[:count]
    return rows[order], differences[order]


def _best(
    rows: Indices, differences: Floats, more: Indices, others: Floats, count: int
) -> tuple[Indices, Floats]:
    if len(rows):
        more, others = np.concatenate((rows, more)), np.concatenate((differences, others))
    return nearest_of(more, others, count)


def _cut(labs: Floats) -> list[Indices]:
    """Rows of each leaf: halved across the widest side until small enough, all equally deep."""
    scaled = labs * (LIGHTNESS_SCALE, 1.0, 1.0)
    depth = max(int(np.ceil(np.log2(len(labs) / LEAF))), 0)
    leaves = [np.arange(len(labs))]
    for _ in range(depth):
        halves = []
        for rows in leaves:
            points = scaled[rows]
            side = int(np.ptp(points, axis=0).argmax())
            middle = len(rows) // 2
            order = np.argpartition(points[:, side], middle)
            halves += [rows[order[:middle]], rows[order[middle:]]]
        leaves = halves
    return leaves


def _rough_sizes(query: Floats, cards: Floats) -> Floats:
    """ΔE00² as it would be if its weights at the query held everywhere."""
    centre = _tuple(query)
    steps = one_pair.steps_2000(centre, centre)
    hue = radians(steps.mean_hue_deg)
    # x² + y² + R_T·x·y = (x + R_T·y/2)² + (1 − R_T²/4)·y², with x and y the chroma and hue terms.
    x = np.array([0.0, cos(hue) * (1 + steps.g), sin(hue)]) / steps.s_c
    y = np.array([0.0, -sin(hue) * (1 + steps.g), cos(hue)]) / steps.s_h
    form = np.stack(
        [
            np.array([1 / steps.s_l, 0.0, 0.0]),
            x + steps.r_t / 2 * y,
            sqrt(1 - steps.r_t**2 / 4) * y,
        ],
        axis=1,
    )
    parts = (cards - query) @ form
    sizes: Floats = np.vecdot(parts, parts)
    return sizes


def _tuple(lab: Floats) -> Lab:
    lightness, a, b = lab.tolist()
    return lightness, a, b
