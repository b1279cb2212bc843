"""The command line: what each command is called, and where it is found when it is asked for."""

from __future__ import annotations

import click

from service.cli.frame import Entry, KeepcardGroup

# Nothing but click is imported to list these; a command's module is loaded when it is run.
COMMANDS = {
    "demo": Entry("demo_cards.command:demo", "Make an invented shop and serve it here."),
    "serve": Entry("service.cli.server_commands:serve", "Serve the record in a folder."),
    "import": Entry(
        "service.cli.import_command:import_readings", "Store and judge the readings in a file."
    ),
    "export": Entry("service.cli.export_command:export", "Write a whole job into a file."),
    "due": Entry("service.cli.due_command:due", "List the cards that are due to be read again."),
    "verify": Entry("service.cli.record_commands:verify", "Check the record for any change."),
    "backup": Entry("service.cli.record_commands:backup", "Write the record into one file."),
    "restore": Entry("service.cli.record_commands:restore", "Restore a backup or an export."),
    "token": Entry("service.cli.token_command:token", "Make an API token for a program."),
    "difference": Entry(
        "service.cli.colour_commands:difference", "Colour difference between two L*, a*, b*."
    ),
    "judge": Entry("service.cli.judge_command:judge", "Say whether a card blends with its master."),
    "control": Entry(
        "service.cli.control_command:control", "Control chart of the columns of a file."
    ),
    "photo-target": Entry(
        "service.cli.photo_target_command:photo_target", "Make the sheet for photographs of cards."
    ),
    "measure": Entry(
        "service.cli.measure_command:measure", "Read the cards in a photograph of a sheet."
    ),
    "register-target": Entry(
        "service.cli.register_target_command:register_target",
        "Register a print of the photo sheet, or a chart.",
    ),
    "spectrum": Entry(
        "service.cli.spectrum_command:spectrum", "Colour of the spectra in a file, by light."
    ),
    "labels": Entry("service.cli.paper_command:labels", "Print labels with codes for cards."),
    "report": Entry(
        "service.cli.paper_command:report", "Print the report of a job, or a card's sheet."
    ),
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
