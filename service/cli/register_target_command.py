"""``keepcard register-target``: a print of the sheet, or a bought chart, into the shop's book."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any
from uuid import NAMESPACE_URL, uuid5

import click

from service.cli.frame import Refusal, print_json, read_file
from service.cli.opening import data_options, opened
from service.cli.writing import as_option, write

if TYPE_CHECKING:
    from service.cli.ports import RecordStore


@click.command(
    "register-target",
    epilog="Example: keepcard photo-target --print-code 7K3Q --measured patches.csv --json > "
    'bench.json; keepcard register-target bench.json --name "Bench sheet" --data DIR --as NAME',
)
@click.argument("file")
@data_options
@as_option
@click.option("--name", required=True, help="What it is called in this shop.")
@click.option("--print-code", metavar="CODE", help="Where the file's own codes do not say.")
@click.option("--instrument", metavar="NAME", help="The instrument its patches were read with.")
@click.option(
    "--measured-at",
    type=click.DateTime(formats=["%Y-%m-%d", "%Y-%m-%dT%H:%M"]),
    help="When its patches were read, UTC.",
)
@click.option("--note", default="", help="Anything else about it.")
@click.option("--json", "as_json", is_flag=True, help="One JSON object on standard output.")
def register_target(
    file: str,
    data: Path,
    database: str | None,
    shop: str | None,
    person: str | None,
    name: str,
    print_code: str | None,
    instrument: str | None,
    measured_at: datetime | None,
    note: str,
    as_json: bool,
) -> None:
    """Register the target in FILE (JSON), so that photographs on it go by its own colours.

    A print of the sheet is then known by the code it carries, a chart by its name.
    """
    from service.use_cases.shop import RegisterPhotoTarget

    content = read_file(file)
    target = _object(file, content)
    instrument_id = None
    if instrument is not None:
        with opened(data, database, shop) as store:
            instrument_id = _instrument(store, instrument)
    command = RegisterPhotoTarget(
        # The same file under the same name is the same entry.
        id=str(uuid5(NAMESPACE_URL, f"keepcard register-target {name} {content.hex()}")),
        name=name,
        target=target,
        print_code=print_code,
        measured_at=measured_at.replace(tzinfo=UTC) if measured_at else None,
        instrument_id=instrument_id,
        note=note,
    )
    result = write(command, data, database, shop, person)
    if as_json:
        print_json({"registered": name, "receipt": result.get("receipt")})
        return
    patches = len(target.get("patches", ()))
    click.echo(f"{name} is registered with {patches} patches, {target.get('values', 'nominal')}.")


def _object(file: str, content: bytes) -> dict[str, Any]:
    try:
        found = json.loads(content)
    except (ValueError, RecursionError) as error:
        raise Refusal(
            f"'{file}' is not JSON ({error}). Make one with keepcard photo-target --json."
        ) from None
    if not isinstance(found, dict):
        raise Refusal(f"'{file}' is not a target file. Make one with keepcard photo-target --json.")
    return found


def _instrument(store: RecordStore, name: str) -> str:
    from service.domain.records.shop import Instrument

    instruments = store.shop().all(Instrument)
    for one in instruments:
        if one.name.casefold() == name.strip().casefold():
            return one.root
    listed = ", ".join(one.name for one in instruments) or "none"
    raise Refusal(f"No instrument is registered as {name}. Registered are: {listed}.")
