"""The record from the command line: import, export, verify, back up, restore, tokens, serving."""

from __future__ import annotations

import json
import signal
import socket
import sqlite3
import subprocess
import sys
import time
from contextlib import closing
from pathlib import Path
from urllib.request import urlopen

import pytest

from service.cli.writing import TOKEN
from service.domain.card_code import grouped
from service.domain.lookups import verdict_on_batch
from service.domain.records.cards import Card
from service.domain.records.job import Job
from service.domain.records.measuring import Reading
from service.domain.records.shop import ApiToken
from service.domain.terms import Word
from service.storage.database import FILE, open_database, open_store
from tests.shop_hand import ShopHand

MANAGER = "First Manager"


class Shop:
    """A shop in a folder, with one solid finish, its master, and a second card never read."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        folder.mkdir()
        with open_database(folder) as database:
            store = database.create_shop("Test shop", manager=MANAGER)
            hand = ShopHand(store)
            hand.open()
            master = hand.card(hand.batch())
            self.batch = hand.batch()
            card = hand.card(self.batch)
            hand.bake(master, card)
            hand.master(master, hand.read(master, (25.0, -12.0, 6.0)))
            self.job_id = hand.job_id
            self.code = hand.file.get(Card, card).code
            self.work_order = store.job(hand.job_id).get(Job, hand.job_id).work_order

    def file(self):
        store = open_store(self.folder, read_only=True)
        with store.database:
            return store.job(self.job_id)

    def heads(self, folder=None):
        store = open_store(folder or self.folder, read_only=True)
        with store.database:
            return {head.chain: (head.position, head.hash) for head in store.heads()}


@pytest.fixture
def shop(tmp_path):
    return Shop(tmp_path / "shop")


@pytest.fixture
def readings(tmp_path, shop):
    """As a spreadsheet in much of Europe writes it: semicolons, decimal commas, a mark before."""
    path = tmp_path / "readings.csv"
    rows = ""
    for n, d in enumerate((0.02, -0.03, 0.01, 0.03), 1):
        lightness = f"{25 + d:.2f}".replace(".", ",")
        lab = f"{lightness};-12,0{n};6,0{n}"
        rows += f"{grouped(shop.code)};{n};{lab};D65;10;d:8;included;22,5\r\n"
    head = "card;repeat;L*;a*;b*;illuminant;observer;geometry;specular;temperature_c\r\n"
    path.write_bytes(b"\xef\xbb\xbf" + (head + rows).encode())
    return path


def imported(keepcard, shop, readings, *more):
    return keepcard(
        "import",
        str(readings),
        "--data",
        str(shop.folder),
        "--as",
        MANAGER,
        "--stage",
        "baked",
        *more,
    )


def test_a_file_of_an_instruments_software_is_stored_and_judged(keepcard, shop, readings):
    result = imported(keepcard, shop, readings)
    assert result.exit_code == 0, result.output
    assert "1 readings stored" in result.output
    file = shop.file()
    reading = file.all(Reading)[-1]
    assert reading.angles[0].repeats[1] == (24.97, -12.02, 6.02)
    assert reading.surface_temperature_c == 22.5
    assert verdict_on_batch(file, shop.batch) is not None


def test_importing_a_file_twice_stores_it_once(keepcard, shop, readings):
    assert imported(keepcard, shop, readings).exit_code == 0
    before = shop.heads()
    assert imported(keepcard, shop, readings).exit_code == 0
    assert shop.heads() == before


def test_a_dry_run_shows_what_would_be_stored_and_stores_nothing(keepcard, shop, readings):
    before = shop.heads()
    result = imported(keepcard, shop, readings, "--dry-run", "--json")
    told = json.loads(result.stdout)
    assert told["stored"] is False
    assert told["readings"][0]["card"] == grouped(shop.code)
    assert len(told["readings"][0]["angles"][""]) == 4
    assert shop.heads() == before


def test_what_the_file_does_not_say_is_asked_for_not_guessed(keepcard, shop, tmp_path):
    bare = tmp_path / "bare.csv"
    bare.write_text(f"name,L,a,b\n{shop.code},25,-12,6\n")
    result = keepcard("import", str(bare), "--data", str(shop.folder), "--as", MANAGER)
    assert result.exit_code == 2
    assert "--stage, --illuminant, --observer, --geometry" in result.stderr


def test_a_condition_stated_twice_and_differently_is_refused(keepcard, shop, readings):
    result = imported(keepcard, shop, readings, "--illuminant", "D50")
    assert result.exit_code == 2
    assert "the file says illuminant D65, --illuminant says D50" in result.stderr


def test_one_unknown_card_keeps_the_whole_file_out(keepcard, shop, readings):
    with readings.open("ab") as file:
        file.write(b"ZZZZZZZZZ;1;20;1;1;D65;10;d:8;included;22\r\n")
    before = shop.heads()
    result = imported(keepcard, shop, readings)
    assert result.exit_code == 2
    assert "Sample 2 (ZZZZZZZZZ)" in result.stderr and "Nothing was stored" in result.stderr
    assert shop.heads() == before


def test_somebody_unknown_cannot_write(keepcard, shop, readings):
    result = keepcard(
        "import", str(readings), "--data", str(shop.folder), "--as", "Nobody", "--stage", "baked"
    )
    assert result.exit_code == 2
    assert "Nobody here is called Nobody. People are: First Manager" in result.stderr


def test_an_exported_job_is_taken_in_elsewhere_with_the_same_head(
    keepcard, shop, readings, tmp_path
):
    imported(keepcard, shop, readings)
    out = tmp_path / "job.keepcard"
    result = keepcard("export", str(out), "--data", str(shop.folder), "--job", shop.work_order)
    assert result.exit_code == 0, result.output
    result = keepcard("restore", str(out), "--data", str(tmp_path / "elsewhere"), "--json")
    assert result.exit_code == 0, result.output
    assert json.loads(result.stdout)["ok"] is True
    assert shop.heads(tmp_path / "elsewhere")[shop.job_id] == shop.heads()[shop.job_id]


def test_readings_exported_as_csv_are_read_back_as_they_were(keepcard, shop, readings, tmp_path):
    imported(keepcard, shop, readings)
    out = tmp_path / "job.csv"
    keepcard(
        "export", str(out), "--data", str(shop.folder), "--job", shop.work_order, "--form", "csv"
    )
    told = json.loads(keepcard("read", str(out), "--json").stdout)
    by_name = {sample["name"]: sample for sample in told["samples"]}
    kept = shop.file().all(Reading)[-1].angles[0].repeats
    sample = by_name[grouped(shop.code)]
    assert [tuple(repeat["lab"]) for repeat in sample["repeats"]] == list(kept)
    assert sample["conditions"] == {
        "illuminant": "D65",
        "observer": 10,
        "geometry": "d:8",
        "specular": "included",
    }


def test_a_job_exported_as_json_holds_every_record(keepcard, shop, tmp_path):
    out = tmp_path / "job.json"
    keepcard(
        "export", str(out), "--data", str(shop.folder), "--job", shop.work_order, "--form", "json"
    )
    told = json.loads(out.read_bytes())
    assert told["job"]["work_order"] == shop.work_order
    assert len(told["records"]["cards"]) == 2
    assert "password" not in out.read_text()


def test_a_backup_restores_to_the_same_heads(keepcard, shop, tmp_path):
    file = tmp_path / "monday.keepcard"
    assert keepcard("backup", str(file), "--data", str(shop.folder)).exit_code == 0
    again = keepcard("backup", str(file), "--data", str(shop.folder))
    assert again.exit_code == 2 and "already there" in again.stderr
    new = tmp_path / "new"
    assert keepcard("restore", str(file), "--data", str(new)).exit_code == 0
    assert shop.heads(new) == shop.heads()
    full = keepcard("restore", str(file), "--data", str(new))
    assert full.exit_code == 2 and "not empty" in full.stderr


def test_verify_exits_1_and_names_the_first_bad_place(keepcard, shop):
    good = keepcard("verify", "--data", str(shop.folder), "--json")
    assert good.exit_code == 0 and json.loads(good.stdout)["ok"] is True
    with closing(sqlite3.connect(shop.folder / FILE)) as connection:
        triggers = connection.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'")
        for (name,) in triggers.fetchall():
            connection.execute(f"DROP TRIGGER {name}")
        connection.execute("UPDATE cards SET slot = 'Z9'")
        connection.commit()
    bad = keepcard("verify", "--data", str(shop.folder), "--json")
    told = json.loads(bad.stdout)
    assert bad.exit_code == 1 and told["ok"] is False
    assert "cards" in json.dumps(told["problems"])


def test_a_token_is_shown_once_and_kept_as_its_hash(keepcard, shop):
    result = keepcard(
        "token", "--data", str(shop.folder), "--as", MANAGER, "--for", "Pat",
        "--role", "painter", "--label", "bench instrument", "--json",
    )  # fmt: skip
    assert result.exit_code == 0, result.output
    token = json.loads(result.stdout)["token"]
    store = open_store(shop.folder, read_only=True)
    with store.database:
        (kept,) = store.shop().all(ApiToken)
    assert kept.role == "painter" and token not in repr(kept)
    wrong = keepcard(
        "token", "--data", str(shop.folder), "--as", MANAGER, "--for", "Pat",
        "--role", "manager", "--label", "x",
    )  # fmt: skip
    assert wrong.exit_code == 2 and "Pat is no manager" in wrong.stderr


@pytest.mark.parametrize("command", ["verify", "backup", "export", "import", "token"])
def test_a_folder_that_is_not_there_is_named(keepcard, tmp_path, readings, command):
    arguments = {
        "backup": ["x.keepcard"],
        "export": ["x.keepcard", "--job", "W"],
        "import": [str(readings)],
        "token": ["--role", "painter", "--label", "x", "--as", "y"],
    }.get(command, [])
    result = keepcard(command, *arguments, "--data", str(tmp_path / "nowhere"))
    assert result.exit_code == 2
    assert "nowhere" in result.stderr


@pytest.fixture
def served(shop):
    """The shop's folder, served by a process of its own; gives the address."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    process = subprocess.Popen(
        [sys.executable, "-c", "from service.app import main; main()"]
        + ["serve", "--data", str(shop.folder), "--port", str(port)],
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
    )
    address = f"http://127.0.0.1:{port}"
    for _ in range(200):
        try:
            with urlopen(f"{address}/healthz", timeout=1) as answer:
                assert json.load(answer)["status"] == "ok"
            break
        except OSError:
            time.sleep(0.05)
    yield address
    process.send_signal(signal.SIGTERM)
    assert process.wait(20) == 0, process.stdout.read()
    process.stdout.close()


def test_a_served_folder_is_written_through_its_server_and_by_no_second_one(
    keepcard, shop, readings, request, monkeypatch
):
    made = keepcard(
        "token", "--data", str(shop.folder), "--as", MANAGER, "--role", "manager",
        "--label", "import", "--json",
    )  # fmt: skip
    token = json.loads(made.stdout)["token"]
    address = request.getfixturevalue("served")
    refused = imported(keepcard, shop, readings)
    assert refused.exit_code == 2
    assert address in refused.stderr and TOKEN in refused.stderr
    second = keepcard("serve", "--data", str(shop.folder), "--port", "1")
    assert second.exit_code == 2 and f"in use by a server at {address}" in second.stderr
    monkeypatch.setenv(TOKEN, token)
    result = imported(keepcard, shop, readings)
    assert result.exit_code == 0, result.output
    assert verdict_on_batch(shop.file(), shop.batch).word in list(Word)
    assert keepcard("verify", "--data", str(shop.folder)).exit_code == 0
