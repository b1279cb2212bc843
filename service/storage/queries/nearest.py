"""The stored cards nearest to a colour, exactly: a proved box in SQL, then CIEDE2000 itself."""

from __future__ import annotations

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
# many times as wide, until there are cards in it.
FIRST_RADIUS = 0.25
WIDER = 2.0
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
    if len(lab) != 3 or not all(math.isfinite(value) for value in lab):
        raise Invalid("lab", f"{lab!r} is no colour. Give L*, a* and b* as three numbers.")
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
        labs = _inside(sql, lab, box, like)
        ranked = sorted(zip(_differences(lab, labs), labs, strict=True))
        if len(ranked) >= count:
            # That many lie within the last one's difference, so none beyond it is nearer.
            farthest = ranked[count - 1][0]
            if farthest <= radius:
                return list(dict.fromkeys(near for near in ranked if near[0] <= farthest))
            radius = farthest
        elif all(map(math.isinf, box)):
            return list(dict.fromkeys(ranked))
        else:
            radius *= WIDER


def _inside(sql: Sql, lab: Lab, box: LabBox, like: Conditions) -> list[Row]:
    inside = like.copy()
    for column, value, half in zip(("l", "a", "b"), lab, box, strict=True):
        inside.add(f"{column} BETWEEN ? AND ?", value - half, value + half)
    return sql.rows(
        f"SELECT l, a, b FROM {along(sql, 'card_lines', INDEX)} WHERE {inside.sql}", inside.values
    )


def _differences(lab: Lab, labs: Sequence[Row]) -> list[float]:
    if len(labs) < MANY:
        return [delta_e_2000(lab, other) for other in labs]
    import numpy as np

    differences: list[float] = delta_e_2000(np.array(lab), np.array(labs)).tolist()
    return differences
