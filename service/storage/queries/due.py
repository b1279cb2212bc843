"""Cards that are due to be read again, and those whose colour moved since they were first read."""

from __future__ import annotations

import base64
import binascii
import json
from collections.abc import Sequence
from datetime import datetime
from typing import Any, NamedTuple

from service.domain.keeping import HeldBack
from service.domain.lines import CardLine
from service.domain.moment import as_text
from service.domain.refused import Invalid
from service.storage.queries.scan import along
from service.storage.queries.statement import (
    Conditions,
    check_limit,
    columns_of,
    lines_from,
    storable,
)
from service.storage.sql import Sql
from service.use_cases.queries import DueCounts, DueOrder, Page

BY_NEED, BY_SLOT, MOVED = "ix_card_lines_due", "ix_card_lines_walk", "ix_card_lines_moved"
# Word for word the condition of the partial indexes, or SQLite would not use them.
IN_RACK = "whereabouts = 'in'"
NEEDS = (HeldBack.MASTER, HeldBack.LAST, "")


class Mark(NamedTuple):
    """Where such a list was left: in which part of it, at which value, at which card."""

    part: int
    value: str | float
    id: str

    def as_text(self) -> str:
        """The mark as it goes to whoever asks for the next page."""
        packed = json.dumps(list(self), ensure_ascii=False, separators=(",", ":")).encode()
        return base64.urlsafe_b64encode(packed).decode().rstrip("=")

    @classmethod
    def from_text(cls, text: str | None, kind: type) -> Mark | None:
        """Read what ``as_text`` wrote of values of a kind; None stands for the first page."""
        if text is None:
            return None
        try:
            packed = base64.b64decode(text + "=" * (-len(text) % 4), altchars=b"-_", validate=True)
            found = json.loads(packed)
        except (binascii.Error, ValueError, RecursionError):
            found = None
        if isinstance(found, list) and [type(one) for one in found] == [int, kind, str]:
            part, value, id = found
            if part in range(len(NEEDS)) and all(map(storable, (str(value), id))):
                return cls(part, value, id)
        shown = text if len(text) <= 80 else f"{text[:77]}..."
        raise Invalid(
            "after",
            f"{shown!r} is not the mark of a page. Start the list again from its first page.",
        )


def due_counts(sql: Sql, shop_id: str, read_before: datetime) -> DueCounts:
    """How many cards of each need are due; reads the index only."""
    # A count for each need, for one over all of them would read the whole index.
    one = (
        f"(SELECT COUNT(*) FROM {along(sql, 'card_lines', BY_NEED)} "
        f"WHERE shop_id = ? AND {IN_RACK} AND held_back = ? AND read_at < ?)"
    )
    at = as_text(read_before)
    row = sql.row(
        f"SELECT {', '.join([one] * len(NEEDS))}",
        [value for need in NEEDS for value in (shop_id, str(need), at)],
    )
    masters, last, others = row or (0, 0, 0)
    return DueCounts(masters=masters, last=last, others=others)


def due_cards(
    sql: Sql,
    shop_id: str,
    read_before: datetime,
    order: DueOrder,
    after: str | None,
    limit: int,
) -> Page[CardLine]:
    """One page of the cards that are due."""
    check_limit(limit)
    mark = Mark.from_text(after, str)
    column, index = ("slot", BY_SLOT) if order is DueOrder.SLOT else ("read_at", BY_NEED)
    found: list[tuple[int, CardLine]] = []
    for part in range(2 if order is DueOrder.SLOT else len(NEEDS)):
        if mark is not None and part < mark.part:
            continue
        conditions = Conditions(shop_id)
        conditions.add(IN_RACK)
        if order is DueOrder.SLOT:
            conditions.add("slot > ''" if part == 0 else "slot = ''")
        else:
            conditions.add("held_back = ?", str(NEEDS[part]))
        conditions.add("read_at < ?", as_text(read_before))
        if mark is not None and part == mark.part:
            conditions.add(f"({column}, id) > (?, ?)", mark.value, mark.id)
        lines = _lines(sql, conditions, index, f"{column}, id", limit + 1 - len(found))
        found += [(part, line) for line in lines]
        if len(found) > limit:
            break
    return _page(found, column, limit)


def moved_cards(
    sql: Sql, shop_id: str, at_least: float, after: str | None, limit: int
) -> Page[CardLine]:
    """One page of the cards that moved so far, those that moved most first."""
    check_limit(limit)
    mark = Mark.from_text(after, float)
    conditions = Conditions(shop_id)
    conditions.add("moved_by IS NOT NULL")
    conditions.add("moved_by >= ?", float(at_least))
    if mark is not None:
        conditions.add("(moved_by, id) < (?, ?)", mark.value, mark.id)
    lines = _lines(sql, conditions, MOVED, "moved_by DESC, id DESC", limit + 1)
    return _page([(0, line) for line in lines], "moved_by", limit)


def _lines(
    sql: Sql, conditions: Conditions, index: str, order: str, limit: int
) -> Sequence[CardLine]:
    rows = sql.rows(
        f"SELECT {columns_of(CardLine)} FROM {along(sql, 'card_lines', index)} "
        f"WHERE {conditions.sql} ORDER BY {order} LIMIT ?",
        [*conditions.values, limit],
    )
    return lines_from(sql, CardLine, rows)


def _page(found: Sequence[tuple[int, CardLine]], column: str, limit: int) -> Page[CardLine]:
    after = None
    if len(found) > limit:
        part, last = found[limit - 1]
        value: Any = getattr(last, column)
        after = Mark(part, value, last.id).as_text()
    return Page(lines=tuple(line for _, line in found[:limit]), after=after)
