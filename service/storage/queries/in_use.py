"""What values the record's fields hold, for the choices of a filter."""

from __future__ import annotations

from collections.abc import Iterator

from service.storage.queries.scan import BATCHES, along
from service.storage.queries.statement import Conditions, check_limit
from service.storage.sql import Sql

OF_BATCHES = {"product": "product", "lot": "lots", "booth": "booth", "gun": "gun"}
PER_MONTH = 100


def values_in_use(sql: Sql, shop_id: str, field: str, limit: int) -> tuple[str, ...]:
    """Values of a field: slots in alphabetical order, the others by when they were used last."""
    check_limit(limit)
    if field == "slot":
        return _slots(sql, shop_id, limit)
    if field not in OF_BATCHES:
        raise ValueError(f"field must be slot or one of {sorted(OF_BATCHES)}, got {field!r}")
    column = OF_BATCHES[field]
    joined = column in ("product", "lots")
    found: dict[str, None] = {}
    for held in _newest_of_months(sql, shop_id, column):
        for value in held.split(", ") if joined else (held,):
            if value:
                found.setdefault(value)
        if len(found) >= limit:
            break
    return tuple(found)[:limit]


def _slots(sql: Sql, shop_id: str, limit: int) -> tuple[str, ...]:
    """Jumps from one slot to the next in the index, whatever lies between."""
    cards = along(sql, "card_lines", "ix_card_lines_shop_id_slot")
    rows = sql.rows(
        "WITH RECURSIVE found(slot) AS ("
        f"SELECT MIN(slot) FROM {cards} WHERE shop_id = ? AND slot > '' UNION ALL "
        f"SELECT (SELECT MIN(slot) FROM {cards} WHERE shop_id = ? AND slot > found.slot) "
        "FROM found WHERE found.slot IS NOT NULL) "
        "SELECT slot FROM found WHERE slot IS NOT NULL LIMIT ?",
        (shop_id, shop_id, limit),
    )
    return tuple(str(row[0]) for row in rows)


def _newest_of_months(sql: Sql, shop_id: str, column: str) -> Iterator[str]:
    """The column in the newest batches of each month, back to the first.

    So a booth that was pulled down years ago is found without an index of its own, which every
    card logged would pay for; only what came up in none of a month's last hundred batches is not.
    """
    batches = along(sql, "batch_lines", BATCHES.index)
    before = "~"
    while True:
        conditions = Conditions(shop_id)
        conditions.add("sprayed_at < ?", before)
        month = sql.row(
            f"SELECT SUBSTR(MAX(sprayed_at), 1, 7) FROM {batches} WHERE {conditions.sql}",
            conditions.values,
        )
        if month is None or month[0] is None:
            return
        conditions.add("sprayed_at >= ?", month[0])
        rows = sql.rows(
            f"SELECT {column} FROM {batches} WHERE {conditions.sql} "
            "ORDER BY sprayed_at DESC, id DESC LIMIT ?",
            [*conditions.values, PER_MONTH],
        )
        yield from dict.fromkeys(str(row[0]) for row in rows)
        before = month[0]
