"""What is running on a job: flash, pot life, cooling, and the wait before wax or film.

Times are the coat's own or the product sheet's, as logged; what is common practice alone says so.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from enum import StrEnum

from service.domain.comparability import COOLING, MEASURING_TEMPERATURE_C
from service.domain.mixing import pot_life_ends
from service.domain.record_file import RecordFile
from service.domain.records.cards import Card
from service.domain.records.job import Panel, Release
from service.domain.records.shop import Product
from service.domain.records.spraying import Bake, Batch, Coat
from service.domain.terms import CoatRole

SHOWN_AFTER = timedelta(minutes=30)
"""How long a clock that ran out goes on being shown."""
USUAL_WAX_WAIT = (
    "common practice, no source: 60 to 90 days, about 7 where it was baked and sanded repeatedly; "
    "no sheet on record gives a figure"
)
USUAL_WAX_DAYS = 60


class ClockKind(StrEnum):
    """What a clock counts."""

    FLASH = "flash"
    POT_LIFE = "pot_life"
    COOLING = "cooling"
    WAX_WAIT = "wax_wait"


@dataclass(frozen=True, slots=True, kw_only=True)
class Clock:
    """One thing that takes its time.

    ``what`` names it with what it is of, ``origin`` whose figure it is, and ``then`` says what
    may be done, or no longer be done, once it has ended.
    """

    kind: ClockKind
    what: str
    ends: datetime
    origin: str
    then: str


def running_clocks(file: RecordFile, shop: RecordFile, now: datetime) -> list[Clock]:
    """The clocks of a job that run, or ran out within half an hour, next to end first."""
    found: list[Clock] = []
    if not file.all(Release):
        at_work = [*_flash(file, shop), *_pots(file), *_cooling(file)]
        found = [clock for clock in at_work if now < clock.ends + SHOWN_AFTER]
    found += [clock for clock in _wax(file, shop) if now < clock.ends]
    return sorted(found, key=lambda clock: clock.ends)


def _product(shop: RecordFile, batch: Batch) -> Product | None:
    return shop.find(Product, batch.product_id) if batch.product_id else None


def _flash(file: RecordFile, shop: RecordFile) -> Iterator[Clock]:
    """One for each coat that is the last on what it was sprayed on, where its flash is known."""
    last: dict[str, Coat] = {}
    for coat in sorted(file.all(Coat), key=lambda coat: coat.observed_at):
        last[coat.card_id or f"{coat.panel_id} {coat.area_id}"] = coat
    grouped: dict[tuple[str, CoatRole, int, datetime], list[Coat]] = {}
    for coat in last.values():
        key = (coat.batch_id, coat.role, coat.number, coat.observed_at)
        grouped.setdefault(key, []).append(coat)
    for (batch_id, role, number, at), coats in grouped.items():
        batch = file.get(Batch, batch_id)
        product = _product(shop, batch)
        minutes, origin = coats[0].flash_minutes, "as logged with the coat"
        if minutes is None and product is not None and product.flash_minutes is not None:
            minutes, origin = product.flash_minutes, f"by the sheet of {product.name}"
        if minutes is None:
            continue
        places = [p.name for p in (file.find(Panel, c.panel_id) for c in coats) if p is not None]
        places += ["card" for coat in coats if file.find(Card, coat.card_id) is not None]
        on = ", ".join(dict.fromkeys(places))
        yield Clock(
            kind=ClockKind.FLASH,
            what=f"Flash of {role} coat {number}, batch {batch.number}"
            + (f" ({on})" if on else ""),
            ends=at + timedelta(minutes=minutes),
            origin=origin,
            then="The next coat may go on.",
        )


def _pots(file: RecordFile) -> Iterator[Clock]:
    for batch in file.all(Batch):
        ends = pot_life_ends(batch)
        if ends is not None:
            yield Clock(
                kind=ClockKind.POT_LIFE,
                what=f"Pot life of batch {batch.number}",
                ends=ends,
                origin="by its product’s sheet",
                then="Do not spray from it; mix a new pot, which is a new batch.",
            )


def _cooling(file: RecordFile) -> Iterator[Clock]:
    """Until the cards of the last bake can be read."""
    ends = [bake.observed_at for bake in file.all(Bake) if bake.card_id is not None]
    if ends:
        yield Clock(
            kind=ClockKind.COOLING,
            what="Cooling after the last bake",
            ends=max(ends) + COOLING,
            origin=f"common practice, no source; down to about {MEASURING_TEMPERATURE_C:g} °C",
            then="Cards can be read and the next coat may go on.",
        )


def _wax(file: RecordFile, shop: RecordFile) -> Iterator[Clock]:
    """From the last clear, or the bake after it, to wax or film; the longest sheet counts."""
    clears = [c for c in file.all(Coat) if c.role is CoatRole.CLEAR and c.panel_id is not None]
    if not clears:
        return
    panels = {coat.panel_id for coat in clears}
    bakes = [bake.observed_at for bake in file.all(Bake) if bake.panel_id in panels]
    start = max([coat.observed_at for coat in clears] + bakes)
    batches = (file.get(Batch, batch_id) for batch_id in {coat.batch_id for coat in clears})
    sheets = [p for p in (_product(shop, batch) for batch in batches) if p is not None]
    waits = [(p.wax_wait_days, p.name) for p in sheets if p.wax_wait_days is not None]
    days, name = max(waits, default=(USUAL_WAX_DAYS, ""))
    yield Clock(
        kind=ClockKind.WAX_WAIT,
        what="Wait before wax or film",
        ends=start + timedelta(days=days),
        origin=f"by the sheet of {name}" if name else USUAL_WAX_WAIT,
        then="Wax or film may go on.",
    )
