"""What every command keeps to: late loading, plain errors, exit codes, one JSON object."""

from __future__ import annotations

import json
import subprocess
import sys

import click
import pytest
from click.testing import CliRunner

from service.cli import COMMANDS
from service.cli.frame import Entry, KeepcardGroup, Refusal, print_json
from service.domain.refused import Refused

HEAVY = ("numpy", "scipy", "sqlalchemy", "fastapi", "pydantic", "PIL", "jinja2", "alembic")


def modules_after(*arguments: str) -> set[str]:
    """Names of all modules in a fresh process once a command has run."""
    code = (
        "import sys\n"
        "from service.app import main\n"
        "try: main()\n"
        "except SystemExit: pass\n"
        "print(*sorted(sys.modules), file=sys.stderr)"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, *arguments], capture_output=True, text=True, check=True
    )
    return set(done.stderr.splitlines()[-1].split())


@pytest.mark.parametrize(
    "arguments", [["--help"], ["difference", "50,1,2", "50,1,3"], ["difference", "--help"]]
)
def test_help_and_a_colour_command_import_nothing_heavy(arguments):
    loaded = {name.partition(".")[0] for name in modules_after(*arguments)}
    assert "click" in loaded  # the list is what it seems
    assert not loaded & set(HEAVY)


def test_judging_loads_numpy_but_neither_the_statistics_package_nor_the_service(tmp_path):
    file = tmp_path / "readings.csv"
    file.write_text("L,a,b\n50,1,2\n50.1,1,2\n49.9,1,2\n")
    loaded = modules_after("judge", "--master", str(file), "--card", str(file), "--limit", "0.8")
    assert "numpy" in loaded
    assert "scipy.stats" not in loaded
    assert not {name.partition(".")[0] for name in loaded} & {"sqlalchemy", "fastapi", "pydantic"}


def test_listing_the_commands_loads_none_of_them():
    loaded = modules_after("--help")
    assert not {entry.path.partition(":")[0] for entry in COMMANDS.values()} & loaded


@pytest.mark.parametrize("name", COMMANDS)
def test_each_command_is_where_the_list_says_and_has_an_example(keepcard, name):
    command = COMMANDS[name].load()
    assert command.name == name
    result = keepcard(name, "--help")
    assert result.exit_code == 0
    assert "Example" in result.stdout
    assert f"keepcard {name}" in result.stdout
    assert COMMANDS[name].summary in keepcard("--help").stdout


def test_an_unknown_command_and_an_unknown_option_are_refused(keepcard):
    for arguments, words in (
        (["diference"], "No such command 'diference'"),
        (["difference", "--k-x", "1", "50,1,2", "50,1,2"], "No such option '--k-x'"),
        (["difference", "50,1,2"], "Missing argument"),
    ):
        result = keepcard(*arguments)
        assert result.exit_code == 2
        assert words in result.stderr
        assert result.stdout == ""


def group_of(action) -> KeepcardGroup:
    command = click.command("run")(action)
    group = KeepcardGroup("test")
    group.add_command(command)
    return group


def raising(error: BaseException):
    def action():
        raise error

    return action


def test_a_refusal_of_the_shop_s_rules_is_shown_as_it_stands():
    result = CliRunner().invoke(group_of(raising(Refused("No master yet. Measure one."))), ["run"])
    assert (result.exit_code, result.stdout) == (2, "")
    assert result.stderr == "Error: No master yet. Measure one.\n"


def test_a_refusal_of_the_command_line_exits_with_2():
    result = CliRunner().invoke(group_of(raising(Refusal("No."))), ["run"])
    assert (result.exit_code, result.stderr) == (2, "Error: No.\n")


def test_a_fault_of_the_program_is_no_failed_check_and_keeps_its_traceback():
    result = CliRunner().invoke(group_of(raising(ZeroDivisionError("oh"))), ["run"])
    assert result.exit_code == 2
    assert "ZeroDivisionError: oh" in result.stderr
    assert "a fault in Keepcard" in result.stderr
    assert result.stdout == ""


def test_an_interrupt_is_no_failed_check():
    result = CliRunner().invoke(group_of(raising(KeyboardInterrupt())), ["run"])
    assert result.exit_code == 130
    assert "Stopped." in result.stderr


def test_what_is_not_finite_is_null_in_json(capsys):
    print_json({"a": float("nan"), "b": [float("-inf"), 1.5], "c": {"d": float("inf")}, "e": None})
    assert json.loads(capsys.readouterr().out) == {
        "a": None,
        "b": [None, 1.5],
        "c": {"d": None},
        "e": None,
    }


def test_a_reader_that_leaves_early_makes_no_noise():
    code = "from service.app import main; main()"
    process = subprocess.Popen(
        [sys.executable, "-c", code, "difference", "50,1,2", "50,1,3"],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
    )
    assert process.stdout is not None and process.stderr is not None
    process.stdout.close()
    noise = process.stderr.read()
    process.stderr.close()
    assert process.wait() == 2
    assert noise == b""


def test_a_terminal_without_greek_letters_gets_the_answer_all_the_same(shell_keepcard):
    done = shell_keepcard(
        "difference", "50,1,2", "50,1,3", environment={"PYTHONIOENCODING": "latin-1"}
    )
    assert done.returncode == 0
    assert done.stderr == b""
    assert b"?E00" in done.stdout


def test_an_entry_that_points_nowhere_is_a_fault_and_not_silence():
    with pytest.raises(AttributeError):
        Entry("service.cli.colour_commands:nothing", "").load()


def test_the_version_is_that_of_the_package(keepcard):
    from importlib.metadata import version

    assert keepcard("--version").stdout == f"keepcard, version {version('keepcard')}\n"


def test_the_commands_of_the_contract_on_colours_and_files_are_there():
    assert {"difference", "judge", "read"} <= set(COMMANDS)
