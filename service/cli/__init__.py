"""The command line: what each command is called, and where it is found when it is asked for."""

from __future__ import annotations

import click

from service.cli.frame import Entry, KeepcardGroup

# Nothing but click is imported to list these; a command's module is loaded when it is run.
COMMANDS = {
    "difference": Entry(
        "service.cli.colour_commands:difference", "Colour difference between two L*, a*, b*."
    ),
    "judge": Entry("service.cli.judge_command:judge", "Say whether a card blends with its master."),
    "read": Entry("service.cli.reading_commands:read", "Show what a readings file holds."),
}


@click.group(
    cls=KeepcardGroup,
    entries=COMMANDS,
    epilog="Exit code 0: done. 1: a check failed. 2: the request cannot be met, and why.",
)
@click.version_option(package_name="keepcard", prog_name="keepcard")
def cli() -> None:
    """Keep the record of a paint shop's spray-out cards, and say which batches blend."""
