"""How a set of colours lies: all pairs, the widest, the nearest to a colour, all within a limit.

Everything here is exact. A search narrows the set by the proved box of ``search_box`` and then
computes the CIEDE2000 difference of what is left, so it returns what comparing every card would.
"""

from math import inf
from typing import TYPE_CHECKING, NamedTuple, Union

import numpy as np

from colour import ciede2000_bulk
from colour.arrays import Floats, as_lab, as_lab_rows, check_finite
from colour.card_leaves import CardLeaves, Indices, nearest_of
from colour.ciede2000_bulk import CHUNK

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

Cards = Union["ArrayLike", "NearestCards"]

LEAVES_FROM = 2_048  # cards; below this comparing every card is as quick as any search
MIRROR_TILE = 256


class Pair(NamedTuple):
    """Two rows of a set and their difference."""

    first: int
    second: int
    difference: float  # CIEDE2000 units


def pairwise(labs: "ArrayLike", *, threads: int | None = None) -> Floats:
    """ΔE00 between every two colours of a set.

    Parameters
    ----------
    labs : array_like, shape (n, 3)
        CIELAB colours. NaN in gives NaN out.
    threads : int, optional
        As in ``colour.difference.delta_e_2000``.

    Returns
    -------
    ndarray, shape (n, n)
        Symmetric to the last bit, zero on the diagonal.
    """
    colours = _rows(labs)
    n = len(colours)
    out = np.empty((n, n))
    first, second = _table(colours)
    ciede2000_bulk.fill_blocks(first, second, out, _upper_blocks(n), threads=threads)
    # The lower half is the upper one turned over, tile by tile: copied whole, numpy would keep
    # a second copy in case the two overlap.
    for row in range(0, n, MIRROR_TILE):
        rows = slice(row, row + MIRROR_TILE)
        for column in range(0, row, MIRROR_TILE):
            columns = slice(column, column + MIRROR_TILE)
            out[rows, columns] = out[columns, rows].T
        tile = out[rows, rows]
        below = np.tril_indices(len(tile), -1)
        tile[below] = tile.T[below]
    return out


def widest(labs: "ArrayLike") -> Pair:
    """The two colours of a set that differ most.

    Parameters
    ----------
    labs : array_like, shape (n, 3)
        At least two finite CIELAB colours.

    Returns
    -------
    Pair
        Of equally wide pairs the first in row order; ``first < second``.
    """
    colours = as_lab_rows(labs, "labs")
    n = len(colours)
    if n < 2:
        raise ValueError(f"labs holds {n} colours; a widest pair needs two")
    best = Pair(0, 1, -1.0)
    first, second = _table(colours)
    # A strip of rows at a time: the whole table of 100,000 cards would take 75 GiB.
    height = max(1, 8 * CHUNK // n)
    for row in range(0, n - 1, height):
        end = min(row + height, n - 1)
        strip = np.empty((end - row, n - row))
        ciede2000_bulk.fill(first[row:end, row:], second[row:end, row:], strip)
        strip[np.tril_indices(end - row, m=n - row)] = -1.0  # pairs already seen, and itself
        i, j = divmod(int(strip.argmax()), n - row)
        if strip[i, j] > best.difference:
            best = Pair(row + i, row + j, float(strip[i, j]))
    return best


def nearest(query: "ArrayLike", labs: Cards, count: int = 1) -> tuple[Indices, Floats]:
    """The cards nearest to a colour by ΔE00.

    Parameters
    ----------
    query : array_like, shape (..., 3)
        One colour or several.
    labs : array_like, shape (n, 3), or NearestCards
        The cards. For many searches of one large set, prepare it once with ``NearestCards``.
    count : int
        How many; all of them when there are fewer.

    Returns
    -------
    indices, differences : ndarray, shape (..., min(count, n))
        Rows of ``labs`` and their ΔE00, the nearest first, equal ones in row order.
    """
    queries = as_lab(query, "query")
    check_finite(queries, "query")
    search = _search_of(labs, queries.size // 3)
    count = min(_whole(count), len(search))
    shape = (*queries.shape[:-1], count)
    indices = np.empty(shape, dtype=np.intp)
    differences = np.empty(shape)
    for place in np.ndindex(shape[:-1]):
        indices[place], differences[place] = search.nearest(queries[place], count)
    return indices, differences


def within(query: "ArrayLike", labs: Cards, limit: float) -> Indices:
    """The cards whose ΔE00 from a colour is at most ``limit``.

    Parameters
    ----------
    query : array_like, shape (3,)
        One colour.
    labs : array_like, shape (n, 3), or NearestCards
        The cards.
    limit : float
        CIEDE2000 units.

    Returns
    -------
    ndarray of int, shape (m,)
        Rows of ``labs`` in ascending order.
    """
    one = as_lab(query, "query")
    if one.ndim != 1:
        raise ValueError(f"query must be one colour, shape (3,), got shape {one.shape}")
    check_finite(one, "query")
    if not 0 <= limit < inf:
        raise ValueError(f"limit must be finite and not negative, got {limit!r}")
    return _search_of(labs, 1).within(one, float(limit))


class NearestCards:
    """A set of cards prepared for many searches.

    The cards are copied: changing the array afterwards changes nothing here. A large set is also
    cut into leaves (``card_leaves``), a million cards in about two seconds.

    Parameters
    ----------
    labs : array_like, shape (n, 3)
        Finite CIELAB colours, at least one.
    """

    def __init__(self, labs: "ArrayLike") -> None:
        cards = _cards(labs)
        self._search = _Scan(cards.copy()) if len(cards) < LEAVES_FROM else CardLeaves(cards)

    def __len__(self) -> int:
        return len(self._search)

    def nearest(self, query: "ArrayLike", count: int = 1) -> tuple[Indices, Floats]:
        """``colour.spread.nearest`` among these cards."""
        return nearest(query, self, count)

    def within(self, query: "ArrayLike", limit: float) -> Indices:
        """``colour.spread.within`` among these cards."""
        return within(query, self, limit)


class _Scan:
    """Searches by comparing every card."""

    def __init__(self, labs: Floats) -> None:
        self._labs = labs

    def __len__(self) -> int:
        return len(self._labs)

    def nearest(self, query: Floats, count: int) -> tuple[Indices, Floats]:
        differences = _differences(query, self._labs)
        return nearest_of(np.arange(len(differences)), differences, count)

    def within(self, query: Floats, limit: float) -> Indices:
        return np.flatnonzero(_differences(query, self._labs) <= limit)


def _differences(query: Floats, labs: Floats) -> Floats:
    out = np.empty(len(labs))
    ciede2000_bulk.fill(np.broadcast_to(query, labs.shape), labs, out)
    return out


def _rows(labs: "ArrayLike") -> Floats:
    colours = as_lab(labs, "labs")
    if colours.ndim != 2:
        raise ValueError(
            f"labs must be rows of L*, a*, b*, shape (n, 3), got shape {colours.shape}"
        )
    return colours


def _cards(labs: "ArrayLike") -> Floats:
    colours = as_lab_rows(labs, "labs")
    if not len(colours):
        raise ValueError("labs holds no colours; there is nothing to search")
    return colours


def _search_of(labs: Cards, queries: int) -> _Scan | CardLeaves:
    if isinstance(labs, NearestCards):
        return labs._search
    cards = _cards(labs)
    # Cutting a set into leaves takes about as long as comparing it with 20 colours.
    if queries > 20 and len(cards) >= LEAVES_FROM:
        return CardLeaves(cards)
    return _Scan(cards)


def _whole(count: int) -> int:
    if not isinstance(count, (int, np.integer)) or count < 1:
        raise ValueError(f"count must be a whole number from 1, got {count!r}")
    return int(count)


def _table(colours: Floats) -> tuple[Floats, Floats]:
    """Both colours of every pair as views of shape (n, n, 3)."""
    shape = (len(colours), *colours.shape)
    return np.broadcast_to(colours[:, None], shape), np.broadcast_to(colours[None], shape)


def _upper_blocks(n: int) -> list[ciede2000_bulk.Block]:
    """Blocks that cover the diagonal and all above it, and little below."""
    found: list[ciede2000_bulk.Block] = []
    row = 0
    while row < n:
        end = min(row + max(1, CHUNK // (n - row)), n)
        found.extend(ciede2000_bulk.blocks(end, n, row, row))
        row = end
    return found
