"""The stored cards nearest to a colour, exactly: a proved box in SQL, then CIEDE2000 itself."""

from __future__ import annotations

import heapq
import math
from collections.abc import Sequence

from colour.difference import Lab, delta_e_2000
from colour.search_box import LabBox, lab_box
from service.domain.refused import Invalid
from service.domain.terms import Specular
from service.storage.queries.cards import cards_by_id
from service.storage.queries.scan import along
from service.storage.queries.statement import Conditions, check_limit
from service.storage.sql import Row, Sql
from service.use_cases.queries import NearCard

INDEX = "ix_card_lines_shop_id_conditions_angle_l_a_b"
# The first box is small, for in a well-filled rack it holds enough; each further one is this
# many times as wide, until there are cards in it. So many more than asked for are looked at, so
# that those that seem the nearest tell well how near the nearest are.
FIRST_RADIUS = 0.25
WIDER = 2.0
FURTHER = 24
# No surface is anywhere near; beyond it the squares of the formula would overflow in the end.
FARTHEST = 1_000
# From about here on the array formula takes less time than one call for each card.
MANY = 48


def read_like(
    shop_id: str,
    illuminant: str,
    observer: int,
    geometry: str,
    specular: str | None,
    angle: int | None,
) -> Conditions:
    """Cards that were read under these conditions, with or without the specular reflection.

    The words are those of ``line_making.conditions_text``; a test holds the two together.
    """
    plain = f"{illuminant}/{observer}°, {geometry}"
    modes = (specular,) if specular is not None else tuple(Specular)
    kinds = [f"{plain}, specular {mode}" for mode in modes]
    if specular is None:
        kinds.append(plain)
    conditions = Conditions(shop_id)
    conditions.add(f"conditions IN ({', '.join('?' * len(kinds))})", *kinds)
    if angle is None:
        conditions.add("angle IS NULL")
    else:
        conditions.add("angle = ?", angle)
    return conditions


def nearest_cards(sql: Sql, lab: Lab, like: Conditions, count: int) -> tuple[NearCard, ...]:
    """The nearest of the cards that fulfil the conditions, equal ones in order of their ids.

    ``sql`` must see one moment, for the cards are read more than once.
    """
    check_limit(count)
    if len(lab) != 3 or not all(abs(value) <= FARTHEST for value in lab):
        raise Invalid(
            "lab",
            f"{lab!r} is no colour. Give L*, a* and b* as three numbers, none beyond {FARTHEST}.",
        )
    if like.impossible:
        return ()
    labs = _nearest_labs(sql, lab, like, count)
    found: list[tuple[float, str]] = []
    for difference, at in labs:
        exactly = like.copy()
        exactly.add("l = ? AND a = ? AND b = ?", *at)
        rows = sql.rows(
            f"SELECT id FROM {along(sql, 'card_lines', INDEX)} WHERE {exactly.sql} "
            "ORDER BY id LIMIT ?",
            [*exactly.values, count],
        )
        found += [(difference, str(row[0])) for row in rows]
    ranked = sorted(found)[:count]
    lines = cards_by_id(sql, like.shop_id, [id for _, id in ranked])
    return tuple(
        NearCard(line=line, delta_e_2000=difference)
        for (difference, _), line in zip(ranked, lines, strict=True)
    )


def _nearest_labs(sql: Sql, lab: Lab, like: Conditions, count: int) -> list[tuple[float, Row]]:
    """The colours of the nearest cards, each once, with their differences.

    Reads nothing but the index, which holds the colours themselves.
    """
    radius = FIRST_RADIUS
    while True:
        box = lab_box(lab, radius)
        looked = _inside(sql, lab, box, like, count + FURTHER)
        differences = _differences(lab, looked)
        farthest = _of_rank(differences, count)
        everything = all(map(math.isinf, box))
        if everything or (len(looked) >= count and farthest <= WIDER * radius):
            break
        radius *= WIDER
    within = everything or farthest <= radius
    if len(looked) == count + FURTHER or not within:
        # Some in the box were not looked at, or some beyond it may be nearer. But as many cards
        # as asked for lie within this difference, so none further off can be among the nearest.
        looked = _inside(sql, lab, lab_box(lab, farthest), like)
        differences = _differences(lab, looked)
        farthest = _of_rank(differences, count)
    near = {(d, at) for d, at in zip(differences, looked, strict=True) if d <= farthest}
    return sorted(near)


def _of_rank(differences: list[float], count: int) -> float:
    """The largest of the smallest so many; zero when there is none."""
    return max(heapq.nsmallest(count, differences), default=0.0)


def _inside(
    sql: Sql, lab: Lab, box: LabBox, like: Conditions, limit: int | None = None
) -> list[Row]:
    """Colours in a box; with a limit those that seem the nearest, by the metric around it."""
    inside = like.copy()
    for column, value, half in zip(("l", "a", "b"), lab, box, strict=True):
        inside.add(f"{column} BETWEEN ? AND ?", value - half, value + half)
    first, values = "", inside.values
    if limit is not None:
        l, a, b = lab  # noqa: E741
        ll, aa, bb, ab = _metric(lab)
        first = (
            " ORDER BY ? * (l - ?) * (l - ?) + ? * (a - ?) * (a - ?) + ? * (b - ?) * (b - ?)"
            " + ? * (a - ?) * (b - ?) LIMIT ?"
        )
        values = [*values, ll, l, l, aa, a, a, bb, b, b, 2 * ab, a, b, limit]
    table = along(sql, "card_lines", INDEX)
    return sql.rows(f"SELECT l, a, b FROM {table} WHERE {inside.sql}{first}", values)


def _metric(lab: Lab) -> tuple[float, float, float, float]:
    """The square of CIEDE2000 for a small step from a colour: of ΔL*², Δa*², Δb*² and Δa*Δb*.

    L* keeps to itself. Only the order of what is looked at first depends on it, no answer.
    """
    step = 0.1
    l, a, b = lab  # noqa: E741
    steps = ((step, 0.0, 0.0), (0.0, step, 0.0), (0.0, 0.0, step), (0.0, step, step))
    ll, aa, bb, both = (
        (delta_e_2000(lab, (l + dl, a + da, b + db)) / step) ** 2 for dl, da, db in steps
    )
    return ll, aa, bb, (both - aa - bb) / 2


def _differences(lab: Lab, labs: Sequence[Row]) -> list[float]:
    if len(labs) < MANY:
        return [delta_e_2000(lab, other) for other in labs]
    import numpy as np

    differences: list[float] = delta_e_2000(np.array(lab), np.array(labs)).tolist()
    return differences
