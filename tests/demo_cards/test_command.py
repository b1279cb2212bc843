"""``keepcard demo`` as a person meets it."""

from __future__ import annotations

import json
import os
import signal
import socket
import subprocess
import sys
import time
from dataclasses import fields
from pathlib import Path
from urllib.error import URLError
from urllib.request import urlopen

import pytest
from click.testing import CliRunner, Result

from demo_cards import command
from demo_cards.load import people
from service.cli.frame import Entry, KeepcardGroup
from service.settings import Settings
from service.storage.database import open_database

PATIENCE_SECONDS = 120  # only ever waited out by a server that does not come up


def run(*arguments: str) -> Result:
    """The command in a group of the program's own kind, which turns refusals into words."""
    group = KeepcardGroup("keepcard", entries={"demo": Entry("demo_cards.command:demo", "")})
    return CliRunner().invoke(group, ["demo", *arguments])


@pytest.fixture
def loaded(monkeypatch: pytest.MonkeyPatch) -> list[Path]:
    """Folders the command asked to be filled, without the seconds that takes."""
    folders: list[Path] = []

    def load(folder: Path) -> int:
        folders.append(folder)
        return 7

    monkeypatch.setattr("demo_cards.load.load", load)
    return folders


def test_it_fills_the_folder_and_says_demo_people_and_passwords(tmp_path: Path, loaded: list[Path]):
    result = run("--data", str(tmp_path / "new"), "--no-serve")
    assert result.exit_code == 0, result.output
    assert loaded == [tmp_path / "new"]
    assert "This is a demo" in result.output and "invented" in result.output
    for person in people():
        assert person.name in result.output and person.password in result.output
        assert all(role in result.output for role in person.roles)
    assert "http" not in result.output


def test_it_refuses_a_real_shop_in_plain_words(tmp_path: Path, loaded: list[Path]):
    with open_database(tmp_path) as database:
        database.create_shop("Harbour Road Paint", manager="First Manager")
    result = run("--data", str(tmp_path), "--no-serve")
    assert result.exit_code == 2
    assert "holds the real shop Harbour Road Paint" in result.stderr
    assert "Traceback" not in result.stderr and result.stdout == ""
    assert loaded == []


def test_without_a_folder_it_makes_one_and_serves_it_here_only(
    loaded: list[Path], monkeypatch: pytest.MonkeyPatch
):
    served: list[Settings] = []

    def serve(settings: Settings, say: object) -> None:
        assert settings.data_dir.is_dir()
        served.append(settings)

    monkeypatch.setattr("service.app.serve", serve)
    result = run("--port", "8999")
    assert result.exit_code == 0, result.output
    (settings,) = served
    assert (settings.host, settings.port, settings.data_dir) == ("127.0.0.1", 8999, loaded[0])
    assert "Ctrl+C stops the server. The folder goes then" in result.output
    assert not settings.data_dir.exists()


def test_its_usual_port_is_the_services_own():
    (port,) = (field.default for field in fields(Settings) if field.name == "port")
    assert command.DEFAULT_PORT == port


def test_it_serves_the_demo_until_it_is_stopped(tmp_path: Path):
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    server = subprocess.Popen(
        [
            sys.executable,
            "-c",
            "from demo_cards.command import demo; demo()",
            *("--data", str(tmp_path / "demo"), "--port", str(port)),
        ],
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        env={**os.environ, "PYTHONUNBUFFERED": "1"},
        text=True,
    )
    try:
        answer = _first_answer(server, f"http://127.0.0.1:{port}/healthz")
    finally:
        server.send_signal(signal.SIGINT)
        said, _ = server.communicate(timeout=PATIENCE_SECONDS)
    assert json.loads(answer)["status"] == "ok"
    assert f"http://127.0.0.1:{port}" in said
    assert "Traceback" not in said


def _first_answer(server: subprocess.Popen[str], address: str) -> bytes:
    deadline = time.monotonic() + PATIENCE_SECONDS
    while time.monotonic() < deadline and server.poll() is None:
        try:
            with urlopen(address, timeout=5) as response:
                content: bytes = response.read()
                return content
        except URLError:
            time.sleep(0.1)
    raise AssertionError(f"{address} never answered")
