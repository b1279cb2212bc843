"""``keepcard demo``: an invented shop to walk about in."""

from __future__ import annotations

import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import click

DEFAULT_PORT = 8470


@click.command()
@click.option(
    "--data",
    type=click.Path(path_type=Path),
    help="Folder for the demo: new, empty, or of an earlier demo. "
    "Without it the demo's folder goes when you stop the server.",
)
@click.option("--port", type=click.IntRange(1, 65535), default=DEFAULT_PORT, show_default=True)
@click.option("--no-serve", is_flag=True, help="Make the data and stop.")
def demo(data: Path | None, port: int, no_serve: bool) -> None:
    """Make an invented shop with its cards, and serve it on this machine only.

    A folder that holds a real shop is refused.

    Example: keepcard demo --data demo-shop --port 8470
    """
    from demo_cards.folder import make_ready
    from demo_cards.load import load

    with _folder(data, keep=no_serve) as folder:
        make_ready(folder)
        entries = load(folder)
        click.echo(_welcome(folder, entries))
        if not no_serve:
            stays = "" if data else " The folder goes then; give --data DIR to keep it."
            click.echo(f"Ctrl+C stops the server.{stays}")
            from service.app import serve
            from service.settings import Settings

            # It says the address once the record is open and the address is known to be good.
            serve(Settings(data_dir=folder, host="127.0.0.1", port=port), say=click.echo)


@contextmanager
def _folder(data: Path | None, keep: bool) -> Iterator[Path]:
    if data is not None:
        yield data
    elif keep:
        yield Path(tempfile.mkdtemp(prefix="keepcard-demo-"))
    else:
        with tempfile.TemporaryDirectory(prefix="keepcard-demo-") as made:
            yield Path(made)


def _welcome(folder: Path, entries: int) -> str:
    from demo_cards.load import people

    width = max(len(person.name) for person in people())
    lines = [
        "This is a demo: shop, people, van, colours and readings are all invented.",
        f"{entries} entries were made in {folder}",
        "",
        "Sign in as:",
        *(
            f"  {person.name.ljust(width)}  {', '.join(person.roles).ljust(10)}  {person.password}"
            for person in people()
        ),
        "",
    ]
    return "\n".join(lines)
