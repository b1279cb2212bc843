"""How commands are run: in this process through click, and as a stranger's shell would."""

from __future__ import annotations

import os
import subprocess
import sys

import click.testing
import pytest

from service.app import command_ports
from service.cli import cli


@pytest.fixture
def keepcard():
    """Run the command line in this process; standard output and error are kept apart."""

    def run(*arguments: str, input: str | bytes | None = None) -> click.testing.Result:
        return click.testing.CliRunner().invoke(cli, arguments, obj=command_ports(), input=input)

    return run


@pytest.fixture
def shell_keepcard():
    """Run the command line in a process of its own, as installed."""

    def run(
        *arguments: str, environment: dict[str, str] | None = None
    ) -> subprocess.CompletedProcess[bytes]:
        code = "from service.app import main; main()"
        return subprocess.run(
            [sys.executable, "-c", code, *arguments],
            capture_output=True,
            timeout=60,
            check=False,
            env={**os.environ, **(environment or {})},
        )

    return run
