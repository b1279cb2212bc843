"""What every command shares: late loading, errors in plain words, one JSON object and no more."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable, Mapping, Sequence
from importlib import import_module
from typing import TYPE_CHECKING, Any, NamedTuple

import click

if TYPE_CHECKING:
    from contextlib import AbstractContextManager
    from pathlib import Path

    from colour.photo.target import Target
    from service.cli.ports import (
        FileRead,
        ManifestWritten,
        RecordRestored,
        RecordStore,
        VerifyReport,
    )
    from service.domain.record_file import RecordFile
    from service.use_cases.papers import PaperPress
    from service.use_cases.ports import PhotoReader
    from service.use_cases.queries import Queries

CHECK_FAILED = 1
CANNOT_BE_MET = 2
_STOPPED_BY_HAND = 130  # as a shell reports an interrupt


class Refusal(click.ClickException):
    """A request that cannot be met: what is wrong, then what to do; exit code 2."""

    exit_code = CANNOT_BE_MET


class Entry(NamedTuple):
    """Where a command is found, and the line that lists it."""

    path: str  # module:name
    summary: str

    def load(self) -> click.Command:
        """The command itself."""
        module, name = self.path.split(":")
        command: click.Command = getattr(import_module(module), name)
        return command


class CommandPorts(NamedTuple):
    """What commands need from the rest of the program: factories that import when called."""

    read_readings: Callable[[bytes], FileRead]
    open_store: Callable[[Path, str | None, str | None, bool], RecordStore]
    queries: Callable[[RecordStore], Queries]
    """Searches over many jobs of an opened record."""
    holder_of: Callable[[Path], str]
    """Address of the server that holds a folder, empty when none does."""
    serve: Callable[[Mapping[str, Any], Callable[[str], None]], None]
    verify: Callable[[RecordStore], VerifyReport]
    backup: Callable[[RecordStore, Path, Sequence[str] | None], ManifestWritten]
    restore: Callable[[Path, Path, str | None], RecordRestored]
    job_as: Callable[[str, RecordFile], bytes]
    """A whole job as ``json``, or its readings as ``csv``, ``cgats`` or ``cxf``."""
    photo_sheet_as: Callable[[str, Target], bytes]
    """The photo sheet to print, as ``pdf``, ``png`` or ``svg``."""
    press: Callable[[], PaperPress]
    """What makes PDF of every other paper."""
    photo_desk: Callable[[], AbstractContextManager[PhotoReader]]
    """What reads photographs, closed afterwards."""


def ports() -> CommandPorts:
    """Those that service.app gave to the running command line."""
    found = click.get_current_context().find_object(CommandPorts)
    if found is None:
        raise TypeError("the command line needs its ports: call cli(obj=CommandPorts(...))")
    return found


class KeepcardGroup(click.Group):
    """Loads a command when it is asked for, and turns what goes wrong into words and a code."""

    def __init__(self, *args: Any, entries: Mapping[str, Entry] | None = None, **kwargs: Any):
        super().__init__(*args, **kwargs)
        self.entries = dict(entries or {})

    def list_commands(self, ctx: click.Context) -> list[str]:
        return sorted({*self.entries, *super().list_commands(ctx)})

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        if cmd_name in self.entries:
            return self.entries[cmd_name].load()
        return super().get_command(ctx, cmd_name)

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """List the commands by their stored summaries, loading none of them."""
        with formatter.section("Commands"):
            formatter.write_dl([(name, self.entries[name].summary) for name in self.entries])

    def invoke(self, ctx: click.Context) -> Any:
        """Run a command; whatever it raises ends in plain words and never in exit code 1."""
        _tolerate_narrow_output()
        try:
            return super().invoke(ctx)
        except (click.ClickException, click.exceptions.Exit, click.Abort):
            raise
        except KeyboardInterrupt:
            click.echo("\nStopped.", err=True)
            ctx.exit(_STOPPED_BY_HAND)
        except BrokenPipeError:
            # Whoever read our output left; Python would complain once more at its own exit.
            os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
            ctx.exit(CANNOT_BE_MET)
        except Exception as error:
            raise _in_words(error) from error


def _in_words(error: Exception) -> click.ClickException:
    from service.domain.refused import Refused

    if isinstance(error, Refused):
        return Refusal(str(error))
    import traceback

    click.echo(traceback.format_exc(), err=True)
    return Refusal(
        "This is a fault in Keepcard, not in what you asked for. Nothing more was done. "
        "Keep the lines above and report them."
    )


def _tolerate_narrow_output() -> None:
    """Let a terminal that has no ° or Δ show a question mark instead of ending the program."""
    for stream in (sys.stdout, sys.stderr):
        reconfigure = getattr(stream, "reconfigure", None)
        if reconfigure is not None:
            reconfigure(errors="replace")


def print_json(values: Mapping[str, object]) -> None:
    """One JSON object on standard output; what is not finite is null."""
    import json

    click.echo(json.dumps(_finite(values), allow_nan=False))


def _finite(value: object) -> object:
    if isinstance(value, float):
        return value if abs(value) != float("inf") and value == value else None
    if isinstance(value, Mapping):
        return {key: _finite(inner) for key, inner in value.items()}
    if isinstance(value, (list, tuple)):
        return [_finite(inner) for inner in value]
    return value


def read_file(path: str) -> bytes:
    """All bytes of a file; ``-`` is standard input."""
    if path == "-":
        return sys.stdin.buffer.read()
    try:
        with open(path, "rb") as file:
            return file.read()
    except OSError as error:
        reason = (error.strerror or str(error)).lower()
        raise Refusal(f"'{path}' cannot be read: {reason}. Check the name.") from None
