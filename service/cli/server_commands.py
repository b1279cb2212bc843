"""``keepcard serve``: the service itself."""

from __future__ import annotations

from pathlib import Path

import click

from service.cli.frame import ports
from service.cli.opening import data_options


@click.command()
@data_options
@click.option("--host", help="Address to listen on; 127.0.0.1 unless given.")
@click.option("--port", type=click.IntRange(1, 65535), help="Port; 8470 unless given.")
@click.option("--zone", help="Time zone of the pages, like Europe/Lisbon; else the machine's.")
def serve(
    data: Path,
    database: str | None,
    shop: str | None,
    host: str | None,
    port: int | None,
    zone: str | None,
) -> None:
    """Serve the pages and the API over the record in a folder.

    The first start prints a link by which the shop and its first manager are set up.

    Example: keepcard serve --data /srv/keepcard --port 8470
    """
    ports().serve(
        {
            "data_dir": data,
            "database_url": database,
            "shop_id": shop,
            "host": host,
            "port": port,
            "zone": zone,
        },
        click.echo,
    )
