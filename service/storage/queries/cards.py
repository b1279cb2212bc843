"""The search for cards: by what is written on them, by where they hang, by when they were made."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

from service.domain.card_code import read_card_code
from service.domain.lines import CardLine
from service.domain.refused import Invalid
from service.storage.chains import find_card
from service.storage.queries.scan import CARDS, by_id, in_order, page, rare
from service.storage.queries.statement import (
    Conditions,
    Key,
    check_length,
    check_limit,
    columns_of,
    lines_from,
    one_of,
    storable,
)
from service.storage.sql import Sql
from service.use_cases.queries import CardSearch, Page

Fits = Callable[[CardLine], bool]

MOST_IDS = 512
PLACES = ("in", "out", "missing")


def search_cards(
    sql: Sql, shop_id: str, search: CardSearch, after: str | None, limit: int
) -> Page[CardLine]:
    """One page of the cards that fit."""
    check_limit(limit)
    key = Key.from_text(after)
    conditions, fits = _conditions(shop_id, search)
    found = _by_code(sql, shop_id, search)
    if found is not None:
        conditions, _ = _conditions(shop_id, replace(search, text=""))
        conditions.equal(id=found)
        index: str | None = "sqlite_autoindex_card_lines_1"
    else:
        index = _index(search)
    if index is None and (search.text.split() or search.panel.strip() or search.colour.strip()):
        period = Conditions(shop_id)
        period.sprayed(search.sprayed_from, search.sprayed_to)
        lines = rare(sql, CARDS, conditions, period, key, limit + 1)
    else:
        lines = in_order(sql, CARDS, conditions, key, limit + 1, index)
    return page(CARDS, lines, limit, fits)


def card_by_code(sql: Sql, shop_id: str, code: str) -> CardLine | None:
    """The card under a code, however it is typed, also one it had before a correction."""
    found = find_card(sql, shop_id, read_card_code(code))
    return next(iter(cards_by_id(sql, shop_id, [found[1]])), None) if found else None


def cards_by_id(sql: Sql, shop_id: str, ids: Sequence[str]) -> tuple[CardLine, ...]:
    """The cards with those ids, in that order."""
    found: dict[str, CardLine] = {}
    wanted = [id for id in dict.fromkeys(ids) if storable(id)]
    for start in range(0, len(wanted), MOST_IDS):
        marks, values = one_of(wanted[start : start + MOST_IDS])
        conditions = Conditions(shop_id)
        conditions.add(f"id IN {marks}", *values)
        rows = sql.rows(
            f"SELECT {columns_of(CardLine)} FROM {by_id(sql, 'card_lines')} WHERE {conditions.sql}",
            conditions.values,
        )
        found.update((line.id, line) for line in lines_from(sql, CardLine, rows))
    return tuple(found[id] for id in ids if id in found)


def _conditions(shop_id: str, search: CardSearch) -> tuple[Conditions, Fits]:
    """What the database can decide, and what is left to look at line by line."""
    conditions = Conditions(shop_id)
    conditions.equal(painter_id=search.painter_id, job_id=search.job_id)
    conditions.of_finish(search.finish_id)
    if search.batch_id:
        conditions.equal(batch_id=search.batch_id)
        conditions.add("job_id = (SELECT job_id FROM batch_lines WHERE id = ?)", search.batch_id)
    if search.slot.strip():
        slot = search.slot.strip()
        conditions.add("slot IN (?, ?)", slot, slot.upper())
    if search.whereabouts:
        if search.whereabouts not in PLACES:
            raise Invalid(
                "whereabouts",
                f"{search.whereabouts!r} is no place of a card. Use {', '.join(PLACES)}.",
            )
        if search.whereabouts != "in":
            # Word for word the condition of the partial index, or SQLite would not use it.
            conditions.add("whereabouts <> 'in'")
        conditions.equal(whereabouts=search.whereabouts)
    conditions.sprayed(search.sprayed_from, search.sprayed_to)
    check_length("panel", "The panel", search.panel)
    check_length("colour", "The colour", search.colour)
    panel, colour = search.panel.strip().casefold(), search.colour.strip().casefold()
    # Panels and colours stand in the folded text too, but not alone: what the database lets
    # through is looked at again.
    for part in (panel, colour):
        if part:
            conditions.contains(part)
    conditions.words(search.text)

    def fits(line: CardLine) -> bool:
        return panel in line.panels.casefold() and (
            colour in line.colour_code.casefold() or colour in line.colour_name.casefold()
        )

    return conditions, fits


def _by_code(sql: Sql, shop_id: str, search: CardSearch) -> str | None:
    """Id of the card whose code the text is.

    Nine characters with a check character that fits are a label being read, and are found by
    the index; also when they were typed with O for 0, or when the label was corrected since.
    """
    try:
        code = read_card_code(search.text)
    except Invalid:
        return None
    found = find_card(sql, shop_id, code)
    return found[1] if found else None


def _index(search: CardSearch) -> str | None:
    """The index that leads to few cards, or to those that fit in the order of the list."""
    if search.job_id or search.finish_id or search.batch_id:
        return "ix_card_lines_shop_id_job_id_sprayed_at_id"
    if search.slot.strip():
        return "ix_card_lines_shop_id_slot"
    if search.whereabouts in PLACES[1:]:
        return "ix_card_lines_away"
    if search.painter_id:
        return "ix_card_lines_shop_id_painter_id_sprayed_at_id"
    return None
