"""``keepcard demo`` as a person meets it."""

from __future__ import annotations

from dataclasses import fields
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from demo_cards import command
from demo_cards.load import people
from service.cli.frame import Entry, KeepcardGroup
from service.settings import Settings
from service.storage.database import open_database


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
    assert "http://127.0.0.1:8999" in result.output
    assert "goes when you stop" in result.output
    assert not settings.data_dir.exists()


def test_its_usual_port_is_the_services_own():
    (port,) = (field.default for field in fields(Settings) if field.name == "port")
    assert command.DEFAULT_PORT == port
