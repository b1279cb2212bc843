"""Commands about the record as a whole: verify it, back it up, restore it."""

from __future__ import annotations

from pathlib import Path

import click

from service.cli.frame import CHECK_FAILED, ports, print_json
from service.cli.opening import data_options, opened


@click.command()
@data_options
@click.option("--json", "as_json", is_flag=True, help="One JSON object on standard output.")
@click.pass_context
def verify(
    context: click.Context, data: Path, database: str | None, shop: str | None, as_json: bool
) -> None:
    """Check the whole record against its journal; exit code 1 when anything was changed.

    Every entry is hashed again, every record rebuilt from the journal and compared column by
    column, every photograph hashed. Works beside a running server.

    Example: keepcard verify --data /srv/keepcard
    """
    with opened(data, database, shop) as store:
        report = ports().verify(store)
    first = report.first_bad
    if as_json:
        print_json(
            {
                "ok": report.ok,
                "first_bad": first and {"where": first.where, "what": first.what},
                "problems": [{"where": p.where, "what": p.what} for p in report.problems],
                "counts": dict(report.counts),
                "not_proved": report.not_proved,
            }
        )
    elif first is None:
        counted = ", ".join(f"{number} {what}" for what, number in report.counts.items())
        click.echo(f"Nothing was changed: {counted}.")
        click.echo(report.not_proved)
    else:
        click.echo(f"The record was changed. First bad place: {first.where}: {first.what}")
        for problem in report.problems[1:]:
            click.echo(f"  {problem.where}: {problem.what}")
    if not report.ok:
        context.exit(CHECK_FAILED)


@click.command()
@click.argument("file", type=click.Path(dir_okay=False, path_type=Path))
@data_options
@click.option("--json", "as_json", is_flag=True, help="One JSON object on standard output.")
def backup(file: Path, data: Path, database: str | None, shop: str | None, as_json: bool) -> None:
    """Write the whole record, with its photographs, into one new FILE and verify it.

    Works while the server runs. The file holds password hashes: keep it where only you can.

    Example: keepcard backup monday.keepcard --data /srv/keepcard
    """
    with opened(data, database, shop) as store:
        manifest = ports().backup(store, file, None)
    if as_json:
        print_json({"file": str(file), "manifest": manifest.as_json()})
    else:
        click.echo(f"{file} holds {len(manifest.heads)} chains and was verified.")


@click.command()
@click.argument("file", type=click.Path(exists=True, dir_okay=False, path_type=Path))
@click.option(
    "--data",
    required=True,
    type=click.Path(file_okay=False, path_type=Path),
    metavar="NEWDIR",
    help="Empty or new folder.",
)
@click.option("--database", metavar="URL", help="Empty PostgreSQL database; else SQLite.")
@click.option("--json", "as_json", is_flag=True, help="One JSON object on standard output.")
def restore(file: Path, data: Path, database: str | None, as_json: bool) -> None:
    """Restore a backup, or the export of a job, into an empty folder, and verify it.

    The journal ends at the same heads as in the file.

    Example: keepcard restore monday.keepcard --data /srv/keepcard-new
    """
    restored = ports().restore(file, data, database)
    if as_json:
        print_json(
            {
                "shop_id": restored.shop_id,
                "heads": [
                    {"chain": head.chain, "position": head.position, "hash": head.hash}
                    for head in restored.heads
                ],
                "ok": restored.report.ok,
            }
        )
    else:
        click.echo(f"{data} holds {len(restored.heads)} chains, verified.")
