"""``keepcard due``: the cards in the rack that are due to be read again."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import asdict
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

import click

from service.cli.frame import ports, print_json
from service.cli.layout import table
from service.cli.opening import data_options, opened

if TYPE_CHECKING:
    from service.domain.lines import CardLine
    from service.use_cases.queries import Queries

PAGE = 200
KEPT_FOR = {"master": "master of", "last": "last card of", "": ""}


@click.command()
@data_options
@click.option("--months", type=int, default=12, show_default=True, help="Due after so many months.")
@click.option("--by-slot", is_flag=True, help="In the order of the slots, for a walk.")
@click.option("--json", "as_json", is_flag=True, help="One JSON object on standard output.")
def due(
    data: Path, database: str | None, shop: str | None, months: int, by_slot: bool, as_json: bool
) -> None:
    """List the cards in the rack that are due for their yearly reading.

    Masters come first, then the last cards of their batches, each the longest due first. A card
    that was never read is not listed.

    Example: keepcard due --data /srv/keepcard --by-slot
    """
    from service.domain.ageing import months_before
    from service.domain.card_code import grouped
    from service.domain.moment import from_text

    before = months_before(datetime.now(UTC), months)
    with opened(data, database, shop) as store:
        lines = list(_lines(ports().queries(store), before, by_slot))
    over = [(before - from_text(line.read_at or "")).days for line in lines]
    if as_json:
        print_json(
            {
                "months": months,
                "cards": [
                    {**asdict(line), "days_over": days}
                    for line, days in zip(lines, over, strict=True)
                ],
            }
        )
        return
    if not lines:
        click.echo(f"No card in the rack was read last more than {months} months ago.")
        return
    rows = [
        (line.slot, grouped(line.code), (line.read_at or "")[:10], str(days), _kept_for(line))
        for line, days in zip(lines, over, strict=True)
    ]
    click.echo(table(("slot", "card", "read last", "days over", "kept for"), rows))


def _lines(queries: Queries, before: datetime, by_slot: bool) -> Iterator[CardLine]:
    from service.use_cases.queries import DueOrder

    order = DueOrder.SLOT if by_slot else DueOrder.NEED
    after = None
    while True:
        page = queries.due_cards(read_before=before, order=order, after=after, limit=PAGE)
        yield from page.lines
        after = page.after
        if after is None:
            return


def _kept_for(line: CardLine) -> str:
    what = f"{line.finish_name}, batch {line.batch_number}, {line.work_order}"
    return f"{KEPT_FOR[line.held_back]} {what}".strip()
