"""``keepcard import``: readings from an instrument's file, all of them or none."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from service.cli.frame import Refusal, ports, print_json, read_file
from service.cli.opening import data_options, opened, person_named
from service.cli.writing import as_option, send_file

if TYPE_CHECKING:
    from service.use_cases.importing import ImportPlan, Planned, Stated


@click.command("import")
@click.argument("file")
@data_options
@as_option
@click.option("--stage", type=click.Choice(["base_dry", "cleared", "baked", "polished"]))
@click.option("--illuminant", help="As D65, where the file does not say.")
@click.option("--observer", type=click.Choice(["2", "10"]), help="Degrees.")
@click.option("--geometry", help="As 45:0, d:8 or multi-angle; else the instrument's own.")
@click.option("--specular", type=click.Choice(["included", "excluded"]))
@click.option("--instrument", help="Name of a registered instrument; '' for one that is not.")
@click.option("--temperature", type=float, help="Surface temperature in °C.")
@click.option(
    "--read-at", help="When it was read, as 2026-11-20T14:30; just now where it is not given."
)
@click.option("--card", help="Code of the one card the file is of, where it names none.")
@click.option("--leave-out-unknown", is_flag=True, help="Pass over samples that name no card here.")
@click.option("--dry-run", is_flag=True, help="Show what would be stored and store nothing.")
@click.option("--json", "as_json", is_flag=True, help="One JSON object on standard output.")
def import_readings(
    file: str,
    data: Path,
    database: str | None,
    shop: str | None,
    person: str | None,
    stage: str | None,
    illuminant: str | None,
    observer: str | None,
    geometry: str | None,
    specular: str | None,
    instrument: str | None,
    temperature: float | None,
    read_at: str | None,
    card: str | None,
    leave_out_unknown: bool,
    dry_run: bool,
    as_json: bool,
) -> None:
    """Import readings from FILE: each sample goes to the card whose code is its name.

    FILE may be CSV, CGATS.17 or CxF3. A stage, a zone of the card or a repeat number may stand
    beside the code. Conditions come from the file; what it leaves open must be stated here and is
    never guessed. Spectra are kept with the colours. Everything is stored and judged, or nothing
    is. Importing a file twice stores it once. The export of a whole job is taken in by
    `keepcard restore`.

    Example: keepcard import monday.csv --data /srv/keepcard --as "Pat Painter" --stage baked
    """
    from service.use_cases.import_plan import plan_import
    from service.use_cases.importing import ImportRefused, Stated

    content = read_file(file)
    read = ports().read_readings(content)
    stated = Stated(
        stage=stage,
        illuminant=illuminant,
        observer=int(observer) if observer else None,
        geometry=geometry,
        specular=specular,
        instrument=instrument,
        temperature_c=temperature,
    )
    source, moment = Path(file).name, _moment(read_at)
    with opened(data, database, shop) as store:
        plan = plan_import(
            read,
            stated,
            store=store,
            place_of_code=store.card_by_code,
            source=source,
            card=card,
            leave_out_unknown=leave_out_unknown,
            option="--",
            read_at=moment,
        )
    if plan.problems:
        raise Refusal(str(ImportRefused(plan.problems)))
    result: Mapping[str, Any] = {}
    said: list[str] = []
    if not dry_run:
        holder = ports().holder_of(data)
        if holder:
            result = send_file(
                holder, _address(stated, card, source, leave_out_unknown, moment), content
            )
        else:
            result = _stored(plan, data, database, shop, person)
        said = _verdicts(plan, data, database, shop)
    if as_json:
        _print_json(file, plan, result, said, dry_run)
    else:
        _print(plan, said, dry_run)


def _stored(
    plan: ImportPlan, data: Path, database: str | None, shop: str | None, person: str | None
) -> Mapping[str, Any]:
    from dataclasses import asdict

    from service.domain.moment import as_text
    from service.use_cases.importing import store_import

    with opened(data, database, shop, read_only=False) as store:
        receipt = store_import(store, person_named(store, person).root, plan)
    if receipt is None:
        return {}
    return {"receipt": {**asdict(receipt), "received_at": as_text(receipt.received_at)}}


def _moment(text: str | None) -> datetime | None:
    """A moment as people write it; without a zone, by this machine's clock."""
    if text is None:
        return None
    try:
        return datetime.fromisoformat(text.strip()).astimezone(UTC)
    except ValueError:
        raise Refusal(
            f"'{text}' is no time. Write --read-at as 2026-11-20T14:30, with +01:00 or Z behind it "
            "where this machine's clock shows another zone."
        ) from None


def _address(
    stated: Stated, card: str | None, source: str, leave_out_unknown: bool, moment: datetime | None
) -> str:
    from dataclasses import asdict
    from urllib.parse import urlencode

    said = {**asdict(stated), "card": card, "name": source}
    if moment is not None:
        said["read_at"] = moment.isoformat()
    given = {name: value for name, value in said.items() if value is not None}
    if leave_out_unknown:
        given["leave_out_unknown"] = "true"
    return f"readings-files?{urlencode(given)}"


def _verdicts(plan: ImportPlan, data: Path, database: str | None, shop: str | None) -> list[str]:
    """What is said now of each batch whose card was read."""
    from service.use_cases.importing import verdicts_after

    with opened(data, database, shop) as store:
        return [verdict.sentence for verdict in verdicts_after(store, plan)]


def _print_json(
    file: str, plan: ImportPlan, result: Mapping[str, Any], said: list[str], dry_run: bool
) -> None:
    from service.use_cases.importing import as_json

    told = as_json(plan)
    print_json(
        {
            "file": file,
            "stored": not dry_run,
            "readings": told["readings"],
            "warnings": told["warnings"],
            "verdicts": said,
            "receipt": result.get("receipt"),
        }
    )


def _print(plan: ImportPlan, said: list[str], dry_run: bool) -> None:
    for note in plan.notes:
        click.echo(f"Note: {note.message}", err=True)
    for planned in plan.readings:
        click.echo(_summary(planned))
    known = len(plan.readings) - len(plan.fresh)
    if dry_run:
        click.echo("Nothing was stored (--dry-run).")
    elif known:
        click.echo(f"{len(plan.fresh)} readings stored, {known} were on record already.")
    else:
        click.echo(f"{len(plan.fresh)} readings stored.")
    for sentence in said:
        click.echo(sentence)


def _summary(planned: Planned) -> str:
    from service.use_cases.importing import summary

    zone = f"{planned.zone}, " if planned.zone else ""
    known = ""
    if planned.on_record is not None:
        since = f"{planned.on_record.since:%Y-%m-%d %H:%M} UTC"
        known = f" (on record since {since})"
        if planned.on_record.dropped:
            known = f" (dropped: {planned.on_record.why}; not stored again)"
    return f"{planned.code}  {zone}{summary(planned.reading.reading)}{known}"
