"""``keepcard export``: a whole job, to be kept, read by a spreadsheet, or taken in elsewhere."""

from __future__ import annotations

from pathlib import Path

import click

from service.cli.frame import Refusal, ports
from service.cli.opening import data_options, opened


@click.command()
@click.argument("file", type=click.Path(dir_okay=False, path_type=Path))
@data_options
@click.option("--job", "work_order", required=True, metavar="ORDER", help="Work order of the job.")
@click.option(
    "--form",
    type=click.Choice(["journal", "json", "csv", "cgats", "cxf"]),
    default="journal",
    show_default=True,
    help="journal: entries and photographs, for `keepcard restore`. json: every record as it "
    "stands. csv: the colours of every reading. cgats (CGATS.17, ISO 28178) and cxf (CxF3, "
    "ISO 17972-1): every reading by instrument with its spectra, as `keepcard import` reads it.",
)
def export(
    file: Path, data: Path, database: str | None, shop: str | None, work_order: str, form: str
) -> None:
    """Export a whole job into a new FILE.

    Restored into an empty folder, the journal ends at the same head. No password or token is
    in it.

    Example: keepcard export W-1042.keepcard --data /srv/keepcard --job W-1042
    """
    if file.exists():
        raise Refusal(f"{file} is already there. Name a new file.")
    with opened(data, database, shop) as store:
        job_id = store.job_by_work_order(work_order.strip())
        if job_id is None:
            raise Refusal(f"No job has the work order {work_order}. Check it on the bench page.")
        if form == "journal":
            ports().backup(store, file, [job_id])
        else:
            content = ports().job_as(form, store.job(job_id))
            file.write_bytes(content)
    click.echo(f"{file} holds the job {work_order}.")
