"""``keepcard labels`` and ``keepcard report``: papers of the shop as PDF files."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

import click

from service.cli.frame import Refusal, ports
from service.cli.opening import data_options, opened

if TYPE_CHECKING:
    from service.cli.ports import RecordStore
    from service.domain.record_file import RecordFile
    from service.settings import Settings
    from service.use_cases.label_papers import LabelPaper
    from service.use_cases.papers import JournalHead, PaperHead


@click.command()
@click.argument("file", type=click.Path(dir_okay=False, path_type=Path))
@data_options
@click.option("--fresh", type=int, metavar="N", help="Blank labels with so many fresh codes.")
@click.option("--job", "order", metavar="ORDER", help="The cards of the job of that work order.")
@click.option("--slot", metavar="SLOT", help="The card of a slot.")
@click.option("--code", "codes", multiple=True, metavar="CODE", help="A card; may be repeated.")
@click.option("--stock", metavar="NAME", help="What they are printed on; `list` shows all.")
@click.option("--start", type=int, default=1, show_default=True, help="First free place.")
@click.option("--public-address", metavar="URL", help="Where phones open the shop.")
@click.option("--zone", help="Time zone of the dates, like Europe/Lisbon; else the machine's.")
def labels(
    file: Path,
    data: Path,
    database: str | None,
    shop: str | None,
    fresh: int | None,
    order: str | None,
    slot: str | None,
    codes: tuple[str, ...],
    stock: str | None,
    start: int,
    public_address: str | None,
    zone: str | None,
) -> None:
    """Write labels with QR codes into a new PDF FILE.

    Blank ones are stuck on cards before they are sprayed. The code opens the card's page where
    the shop has a public address, else it is the card's code for the search box of the rack.

    Example: keepcard labels blank.pdf --data /srv/keepcard --fresh 21 --stock a4-21
    """
    from service.use_cases.label_stock import FIRST_STOCK, STOCKS, stock_named

    if stock == "list":
        for one in STOCKS:
            click.echo(f"{one.name:<12} {one.described}")
        return
    chosen = [fresh is not None, order is not None, slot is not None, bool(codes)]
    if sum(chosen) != 1:
        raise Refusal("Say which labels to print: one of --fresh N, --job, --slot or --code.")
    settings = _settings(data, zone=zone, public_address=public_address)
    found = stock_named(stock or FIRST_STOCK[settings.paper])
    _refuse_to_overwrite(file)
    with opened(data, database, shop) as store:
        made = _labels(store, settings, fresh, order, slot, codes)
        file.write_bytes(ports().press().labels(made, found, start))
    count = "1 label" if len(made) == 1 else f"{len(made)} labels"
    click.echo(f"{file} holds {count}, {found.described}. Print at 100 %.")


@click.command()
@click.argument("file", type=click.Path(dir_okay=False, path_type=Path))
@data_options
@click.option("--job", "order", metavar="ORDER", help="The job of that work order.")
@click.option("--card", "code", metavar="CODE", help="The sheet of one card instead.")
@click.option("--repair", is_flag=True, help="The repair sheet of the job instead.")
@click.option("--paper", type=click.Choice(["a4", "letter"]), help="a4 unless given.")
@click.option("--zone", help="Time zone of the times, like Europe/Lisbon; else the machine's.")
@click.option("--public-address", metavar="URL", help="Where phones open the shop.")
def report(
    file: Path,
    data: Path,
    database: str | None,
    shop: str | None,
    order: str | None,
    code: str | None,
    repair: bool,
    paper: str | None,
    zone: str | None,
    public_address: str | None,
) -> None:
    """Write the report of a job, its repair sheet, or a card's sheet into a new PDF FILE.

    The report of a job names the newest entries of the journal, by which changes show later.

    Example: keepcard report W-1042.pdf --data /srv/keepcard --job W-1042
    """
    if (order is None) == (code is None) or (repair and order is None):
        raise Refusal(
            "Say what to report: either --job ORDER, with --repair or not, or --card CODE."
        )
    settings = _settings(data, zone=zone, paper=paper, public_address=public_address)
    _refuse_to_overwrite(file)
    with opened(data, database, shop) as store:
        if code is not None:
            pdf, of = _card(store, settings, code)
        else:
            pdf, of = _job(store, settings, order or "", repair)
        file.write_bytes(pdf)
    click.echo(f"{file} holds {of}.")


def _settings(data: Path, **given: str | None) -> Settings:
    from service.settings import settings_from

    return settings_from({"data_dir": data, **given})


def _refuse_to_overwrite(file: Path) -> None:
    if file.exists():
        raise Refusal(f"{file} is already there. Name a new file.")


def _labels(
    store: RecordStore,
    settings: Settings,
    fresh: int | None,
    order: str | None,
    slot: str | None,
    codes: tuple[str, ...],
) -> tuple[LabelPaper, ...]:
    from service.domain.records.shop import Shop
    from service.use_cases import label_papers
    from service.use_cases.queries import CardSearch

    demo = store.shop().all(Shop)[0].is_demo
    address = settings.label_address
    queries = ports().queries(store)
    if fresh is not None:
        return label_papers.fresh_labels(fresh, public_address=address, is_demo=demo)
    if order is not None:
        job_id = label_papers.job_of_order(queries, order.strip())
        lines = label_papers.cards_to_label(
            queries, CardSearch(job_id=job_id), "order", f"on the job {order}"
        )
    elif slot is not None:
        lines = label_papers.cards_to_label(
            queries, CardSearch(slot=slot), "slot", f"in slot {slot}"
        )
    else:
        lines = label_papers.cards_of_codes(queries, " ".join(codes))
    return tuple(
        label_papers.label_of(line, public_address=address, zone=settings.shown_zone, is_demo=demo)
        for line in lines
    )


def _card(store: RecordStore, settings: Settings, code: str) -> tuple[bytes, str]:
    from service.domain.card_code import grouped
    from service.domain.records.cards import Card
    from service.use_cases.card_paper import card_paper
    from service.use_cases.label_papers import cards_of_codes
    from service.use_cases.under_lights import lights_of_batch

    line = cards_of_codes(ports().queries(store), code)[0]
    file = store.job(line.job_id)
    head = _head(store, settings, file)
    card = file.get(Card, line.id)
    lights = lights_of_batch(store, file, line.batch_id)
    paper = card_paper(file, store.shop(), card, head, settings.label_address, lights)
    return ports().press().card(paper), f"the sheet of the card {grouped(line.code)}"


def _job(store: RecordStore, settings: Settings, order: str, repair: bool) -> tuple[bytes, str]:
    from service.use_cases.job_paper import job_paper
    from service.use_cases.label_papers import job_of_order
    from service.use_cases.papers import journal_heads
    from service.use_cases.repair_paper import (
        near_the_car,
        reading_shown,
        repair_on_file,
        repair_paper,
    )

    queries = ports().queries(store)
    file = store.job(job_of_order(queries, order.strip()))
    if repair:
        sheet = repair_paper(
            file,
            store.job(repair_on_file(file).stored_job_id),
            store.shop(),
            _head(store, settings, file),
            near=near_the_car(queries, file, reading_shown(file)),
            public_address=settings.label_address,
        )
        return ports().press().repair(sheet), f"the repair sheet of the job {order}"
    heads = journal_heads(queries, file, store.shop_id)
    made = job_paper(file, store.shop(), _head(store, settings, file, heads))
    return ports().press().job(made), f"the report of the job {order}"


def _head(
    store: RecordStore,
    settings: Settings,
    file: RecordFile,
    heads: tuple[JournalHead, ...] = (),
) -> PaperHead:
    from service.use_cases.papers import paper_head

    return paper_head(
        file,
        store.shop(),
        printed_at=datetime.now(UTC),
        zone=settings.shown_zone,
        paper=settings.paper,
        heads=heads,
    )
