"""Cards as lists of the rack show them: the drawing, where it is, and what was last said."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from service.domain.lines import CardLine
from service.domain.moment import from_text
from service.domain.record_file import RecordFile
from service.web.context import PageContext
from service.web.pages.bench_swatches import SwatchShown
from service.web.pages.bench_views import person_name
from service.web.pages.rack_swatches import swatch_of_line


@dataclass(frozen=True, slots=True, kw_only=True)
class CardHit:
    """One card of a list; ``slot`` is empty when it does not hang there now."""

    line: CardLine
    href: str
    slot: str
    where: str
    painter: str
    sprayed_at: datetime
    read_at: datetime | None
    swatch: SwatchShown | None


def card_hit(here: PageContext, shop: RecordFile, line: CardLine) -> CardHit:
    """A card as it is listed."""
    return CardHit(
        line=line,
        href=here.link("card", code=line.code),
        slot=line.slot if line.whereabouts == "in" else "",
        where=where_it_is(shop, line.whereabouts, line.slot, line.holder_id),
        painter=person_name(shop, line.painter_id),
        sprayed_at=from_text(line.sprayed_at),
        read_at=from_text(line.read_at) if line.read_at else None,
        swatch=swatch_of_line(line),
    )


def card_hits(here: PageContext, lines: Iterable[CardLine]) -> tuple[CardHit, ...]:
    """Cards as they are listed."""
    shop = here.store.shop()
    return tuple(card_hit(here, shop, line) for line in lines)


def where_it_is(shop: RecordFile, place: str, slot: str, holder_id: str | None) -> str:
    """Where a card is, in words; empty when it hangs in the slot its drawing names."""
    home = f", belongs in slot {slot}" if slot else ""
    if place == "out":
        return f"Out with {person_name(shop, holder_id)}{home}"
    if place == "missing":
        return f"Missing{home}"
    return "" if slot else "In the rack, no slot noted"
