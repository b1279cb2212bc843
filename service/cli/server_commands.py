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
@click.option(
    "--https",
    is_flag=True,
    default=None,
    help="Serve over HTTPS by an authority of the shop's own, made in the data folder.",
)
@click.option("--certificate", type=click.Path(path_type=Path), help="The shop's own, as PEM.")
@click.option("--key", type=click.Path(path_type=Path), help="The certificate's key, as PEM.")
@click.option(
    "--name",
    "names",
    multiple=True,
    help="A name or address devices reach it by; may be repeated, the first is printed.",
)
def serve(
    data: Path,
    database: str | None,
    shop: str | None,
    host: str | None,
    port: int | None,
    zone: str | None,
    https: bool | None,
    certificate: Path | None,
    key: Path | None,
    names: tuple[str, ...],
) -> None:
    """Serve the pages and the API over the record in a folder.

    The first start prints a link by which the shop and its first manager are set up.

    With --https, open the address it prints on each device and trust the shop's authority once.

    Example: keepcard serve --data /srv/keepcard --host 0.0.0.0 --https --name bench.local
    """
    ports().serve(
        {
            "data_dir": data,
            "database_url": database,
            "shop_id": shop,
            "host": host,
            "port": port,
            "zone": zone,
            "https": https,
            "certificate": certificate,
            "certificate_key": key,
            "names": ",".join(names) or None,
        },
        click.echo,
    )
