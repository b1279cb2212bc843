"""The one place that wires the program together; nothing heavy is imported before it is needed."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from service.cli.frame import CommandPorts
    from service.exchange.readings import ReadingsFile


def main() -> None:
    """Run the command line."""
    from service.cli import cli

    cli(obj=command_ports())


def command_ports() -> CommandPorts:
    """What the command line is given of the rest of the program."""
    from service.cli.frame import CommandPorts

    return CommandPorts(read_readings=_read_readings)


def _read_readings(data: bytes) -> ReadingsFile:
    from service.exchange.reading_files import read_readings

    return read_readings(data)
