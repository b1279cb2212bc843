"""What the README tells a newcomer to type works as it stands."""

from __future__ import annotations

import re
import socket
import subprocess
import sys
import time
from pathlib import Path
from urllib.request import urlopen

import pytest

from service.cli import COMMANDS
from service.domain.findings import findings_of
from service.domain.records.shop import Person
from service.domain.terms import Role
from service.storage.database import open_database, open_store
from service.use_cases import shop
from service.use_cases.command import perform
from service.use_cases.sign_in import hash_of_token, new_token
from tests.builders import make_id

ROOT = Path(__file__).parents[1]
README = (ROOT / "README.md").read_text(encoding="utf-8")


@pytest.fixture
def served(tmp_path):
    """A new shop, served; gives its address and a manager's token."""
    token = new_token()
    with open_database(tmp_path) as database:
        store = database.create_shop("Test shop", manager="Manager")
        manager = store.shop().all(Person)[0].root
        given = shop.GiveToken(
            id=make_id("token"),
            person_id=manager,
            role=Role.MANAGER,
            label="readme",
            token_hash=hash_of_token(token),
        )
        perform(store, manager, given)
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    code = "from service.app import main; main()"
    arguments = ["serve", "--data", str(tmp_path), "--port", str(port)]
    with subprocess.Popen([sys.executable, "-c", code, *arguments], cwd=ROOT) as process:
        for _ in range(200):
            try:
                urlopen(f"http://127.0.0.1:{port}/healthz", timeout=1).close()
                break
            except OSError:
                time.sleep(0.05)
        yield f"http://127.0.0.1:{port}", token, tmp_path
        process.terminate()


def test_the_walk_with_curl_does_the_whole_main_job(served):
    address, token, folder = served
    (walk,) = re.findall(r"```bash\n(.*?)```", README, re.DOTALL)
    done = subprocess.run(
        ["bash", "-euo", "pipefail", "-c", walk],
        env={
            "BASE": address,
            "TOKEN": token,
            "PATH": f"{Path(sys.executable).parent}:/usr/bin:/bin",
        },
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )
    assert done.returncode == 0, done.stdout + done.stderr
    lines = done.stdout.splitlines()
    assert "Batch 2 would show against the master" in done.stdout
    assert any(line.startswith("id,job_id,finish_id") for line in lines)
    store = open_store(folder, read_only=True)
    with store.database:
        file = store.job(store.job_by_work_order("W-77"))
    assert [f.code for f in findings_of(file)] == ["joint_shows", "batch_shows"]


def test_the_job_is_stated_in_the_first_paragraph():
    heading, _, rest = README.partition("\n\n")
    assert heading == "# Keepcard"
    paragraph = rest.split("\n\n")[0]
    assert "test cards" in paragraph and "CIEDE2000" in paragraph and "\n" not in paragraph


@pytest.mark.parametrize("command", COMMANDS)
def test_every_command_is_named(command):
    assert f"keepcard {command}" in README


@pytest.mark.parametrize("target", re.findall(r"\]\(([^)]+)\)", README))
def test_every_link_and_picture_is_there(target):
    assert (ROOT / target).exists()
