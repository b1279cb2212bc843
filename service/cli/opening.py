"""Opening the record a command is about: to read it beside a server, or to write in it."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, TypeVar

import click

from service.cli.frame import Refusal, ports
from service.cli.ports import RecordStore
from service.domain.records.shop import Person

F = TypeVar("F", bound=Callable[..., Any])


def data_options(command: F) -> F:
    """The options that say where the record lies."""
    return _with_options(command, required=True)


def data_options_if_any(command: F) -> F:
    """The same for a command that needs no record."""
    return _with_options(command, required=False)


def _with_options(command: F, *, required: bool) -> F:
    command = click.option(
        "--shop",
        envvar="KEEPCARD_SHOP_ID",
        help="Id of the shop, where a database holds several.",
    )(command)
    command = click.option(
        "--database",
        envvar="KEEPCARD_DATABASE_URL",
        metavar="URL",
        help="PostgreSQL, as postgresql://user@host/name; without it SQLite in the folder.",
    )(command)
    return click.option(
        "--data",
        envvar="KEEPCARD_DATA_DIR",
        required=required,
        type=click.Path(file_okay=False, path_type=Path),
        metavar="DIR",
        help="Folder of the record.",
    )(command)


@contextmanager
def opened(
    data: Path, database: str | None, shop: str | None, *, read_only: bool = True
) -> Iterator[RecordStore]:
    """The store of the shop, closed afterwards; the folder must be there already."""
    if not data.is_dir():
        raise Refusal(f"There is no folder {data}. Name the folder the service was started with.")
    store = ports().open_store(data, database, shop, read_only)
    try:
        yield store
    finally:
        store.database.close()


def person_named(store: RecordStore, name: str | None) -> Person:
    """Who a command writes as."""
    if not name:
        raise Refusal("Say who does this: --as NAME.")
    people = store.shop().all(Person)
    for person in people:
        if person.name.casefold() == name.strip().casefold():
            return person
    listed = ", ".join(person.name for person in people)
    raise Refusal(f"Nobody here is called {name}. People are: {listed}.")
