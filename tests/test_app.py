"""The program wired together: over a real record, and as a process that is started and stopped."""

from __future__ import annotations

import json
import re
import signal
import socket
import ssl
import subprocess
import sys
import time
import urllib.error
import urllib.parse
import urllib.request
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing
from hashlib import sha256

import pytest
from click.testing import CliRunner
from starlette.testclient import TestClient

from service.app import _certified, _listening, command_ports, create_app, serve
from service.cli import cli
from service.domain.records.job import Job
from service.domain.records.shop import ApiToken, Person
from service.domain.refused import Invalid
from service.domain.terms import Role
from service.settings import Settings
from service.storage.database import open_database
from service.storage.folder import FolderInUse
from service.use_cases.command import perform
from service.use_cases.shop import AddPerson, GiveToken, SetPassword
from service.use_cases.sign_in import hash_of_token, new_token
from tests.web_shop import PASSWORD, PASSWORD_HASH, SAME_ORIGIN, ApiHand, new_id

START = """
import sys
from service.app import serve
from service.settings import settings_from
more = dict(pair.split("=") for pair in sys.argv[3:])
serve(settings_from({"data_dir": sys.argv[1], "port": sys.argv[2], **more}))
"""


@pytest.fixture
def real(place):
    """The application over a real record on each engine, with a manager's token."""
    with place.open() as database:
        store = database.create_shop("Test shop", manager="First Manager")
        manager = store.shop().all(Person)[0].root
        token = new_token()
        for command in (
            SetPassword(id=new_id(), person_id=manager, password_hash=PASSWORD_HASH),
            GiveToken(
                id=new_id(),
                person_id=manager,
                role=Role.MANAGER,
                label="tests",
                token_hash=hash_of_token(token),
            ),
            AddPerson(id=new_id(), name="Pat", roles=(Role.PAINTER,)),
        ):
            perform(store, manager, command)
    app = create_app(Settings(data_dir=place.folder, database_url=place.url))
    with TestClient(app, follow_redirects=False) as client:
        client.headers["Authorization"] = f"Bearer {token}"
        yield client


def test_the_main_job_over_a_real_record(real):
    hand = ApiHand(real)
    batch = hand.batch()
    body = hand.card_body(batch)
    hand.did("log-card", **body)
    reading = hand.reading_body(body["id"], (25.0, -12.0, 6.0))
    hand.did("log-reading", **reading)
    answer = hand.send(
        "approve-master", job_id=hand.job, card_id=body["id"], reading_ids=[reading["id"]]
    )
    assert answer.status_code == 201, answer.text
    second = hand.card_body(hand.batch())
    hand.did("log-card", **second)
    judged = hand.send("log-reading", **hand.reading_body(second["id"], (25.0, -12.0, 2.0)))
    assert [verdict["word"] for verdict in judged.json()["verdicts"]] == ["shows"]
    found = real.get(f"/api/cards/{second['code']}").json()
    assert found["line"]["word"] == "shows"
    listed = real.get("/api/cards", params={"text": second["code"]}).json()
    assert [line["code"] for line in listed["lines"]] == [second["code"]]
    journal = real.get(f"/api/journal/{hand.job}").json()
    assert journal[0]["hash"] == judged.json()["receipt"]["hash"]


def test_a_card_sent_by_sixteen_connections_at_once_is_logged_once(real):
    hand = ApiHand(real)
    body = hand.card_body(hand.batch())
    with ThreadPoolExecutor(16) as pool:
        answers = list(pool.map(lambda _: hand.send("log-card", **body), range(32)))
    assert sorted({answer.status_code for answer in answers}) == [200, 201]
    assert sum(answer.status_code == 201 for answer in answers) == 1
    assert len({answer.json()["receipt"]["hash"] for answer in answers}) == 1


def test_people_sign_in_and_out_over_a_real_record(real):
    del real.headers["Authorization"]
    real.headers.update(SAME_ORIGIN)
    wrong = real.post("/sign-in", data={"name": "First Manager", "password": "wrong"})
    assert wrong.status_code == 401
    right = real.post("/sign-in", data={"name": "First Manager", "password": PASSWORD})
    assert right.status_code == 303
    assert real.get("/person").status_code == 200
    real.post("/sign-out")
    assert real.get("/person").status_code == 303


def test_a_repeated_token_request_shows_no_token(real):
    people = {p["name"]: p["id"] for p in real.get("/api/people").json()["people"]}
    body = {"id": new_id(), "person_id": people["Pat"], "role": "painter", "label": "bench"}
    first, again = (real.post("/api/give-token", json=body) for _ in range(2))
    assert again.json()["token"] is None
    given = {"Authorization": f"Bearer {first.json()['token']}"}
    assert real.get("/api/me", headers=given).json()["acting_as"] == "painter"


def test_an_opened_record_is_closed_when_the_application_ends(tmp_path):
    app = create_app(Settings(data_dir=tmp_path))
    with pytest.raises(FolderInUse, match="is in use by a server at http"):
        create_app(Settings(data_dir=tmp_path))
    with TestClient(app) as client:
        assert client.get("/healthz").json()["shop"] is None
    open_database(tmp_path).close()


def test_an_address_that_is_taken_is_refused_in_words_and_the_folder_let_go(tmp_path):
    with closing(socket.socket()) as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]
        with pytest.raises(Invalid, match=f"Nothing can listen at 127.0.0.1, port {port} "):
            serve(Settings(data_dir=tmp_path, port=port))
    open_database(tmp_path).close()


def test_answers_are_sent_without_waiting_for_an_acknowledgement():
    """asyncio sets TCP_NODELAY (RFC 9293, 3.7.4) only on sockets that say they are TCP."""
    for host in ("127.0.0.1", "localhost"):
        with closing(_listening(host, 0)) as listener:
            assert listener.proto == socket.IPPROTO_TCP


def free_port():
    with closing(socket.socket()) as listener:
        listener.bind(("127.0.0.1", 0))
        return listener.getsockname()[1]


class Server:
    """The service as a process of its own."""

    def __init__(self, folder, *more):
        self.port = free_port()
        self.base = f"http://127.0.0.1:{self.port}"
        self.process = subprocess.Popen(
            [sys.executable, "-u", "-c", START, str(folder), str(self.port), *more],
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
        )

    def wait(self, trusting=None):
        """Until it answers."""
        for _ in range(600):
            try:
                asked = urllib.request.urlopen(f"{self.base}/healthz", timeout=5, context=trusting)
                return json.load(asked)
            except (urllib.error.URLError, ConnectionError):
                assert self.process.poll() is None, self.process.stdout.read()
                time.sleep(0.05)
        raise AssertionError("the service never answered")

    def stop(self):
        """End it as a service manager does; its exit code and what it printed."""
        self.process.send_signal(signal.SIGTERM)
        printed, _ = self.process.communicate(timeout=60)
        return self.process.returncode, printed


def post(url, body, token=None, **headers):
    data = json.dumps(body).encode() if token else urllib.parse.urlencode(body).encode()
    if token:
        headers |= {"Authorization": f"Bearer {token}", "Content-Type": "application/json"}
    request = urllib.request.Request(url, data, headers)
    return urllib.request.urlopen(request, timeout=30)


@pytest.fixture
def server(tmp_path):
    running = Server(tmp_path)
    try:
        yield running
    finally:
        if running.process.poll() is None:
            running.process.kill()
        running.process.communicate()


def test_the_service_is_started_set_up_used_and_stopped(server, tmp_path):
    assert server.wait()["shop"] is None
    second = Server(tmp_path)
    refused, _ = second.process.communicate(timeout=60)
    assert second.process.returncode != 0
    assert f"is in use by a server at {server.base}" in refused

    lines = iter(server.process.stdout.readline, "")
    link = next(m.group() for line in lines if (m := re.search(r"http://\S+/set-up/\S+", line)))
    set_up = {"shop": "Northside", "name": "Ira", "password": PASSWORD}
    post(link, set_up, Origin=server.base)
    assert server.wait()["shop"] == "Northside"

    code, printed = server.stop()
    assert code == 0, printed
    assert "Traceback" not in printed
    with open_database(tmp_path) as database:
        store = database.store()
        manager = store.shop().all(Person)[0].root
        token = new_token()
        given = GiveToken(
            id=new_id(),
            person_id=manager,
            role=Role.MANAGER,
            label="tests",
            token_hash=hash_of_token(token),
        )
        perform(store, manager, given)

    again = Server(tmp_path)
    try:
        assert again.wait()["shop"] == "Northside"
        job = {"id": new_id(), "work_order": "W-1", "title": "Invented van"}
        receipt = json.load(post(f"{again.base}/api/open-job", job, token))["receipt"]
        again.process.kill()  # what was answered is on disk already
        again.process.communicate()
    finally:
        again.process.kill()
    with open_database(tmp_path, read_only=True) as database:
        store = database.store()
        assert store.job(job["id"]).all(Job)[0].work_order == "W-1"
        assert store.receipt(job["id"]).hash == receipt["hash"]


@pytest.mark.parametrize("name", ["", "nobody-resolves-this.local"])
def test_over_https_a_device_trusts_it_and_a_command_writes_through_it(tmp_path, monkeypatch, name):
    with open_database(tmp_path / "data") as database:
        store = database.create_shop("Northside", manager="Ira")
        manager, token = store.shop().all(Person)[0].root, new_token()
        given = GiveToken(
            id=new_id(),
            person_id=manager,
            role=Role.MANAGER,
            label="tests",
            token_hash=hash_of_token(token),
        )
        perform(store, manager, given)
    running = Server(tmp_path / "data", "https=yes", f"names={name}")
    try:
        printed = "".join(running.process.stdout.readline() for _ in range(5))
        assert f"is served at https://{name or '127.0.0.1'}:{running.port}" in printed
        authority = tmp_path / "data" / "https" / "authority.pem"
        trusting = ssl.create_default_context(cafile=authority)
        base = running.base = f"https://127.0.0.1:{running.port}"
        assert running.wait(trusting)["shop"] == "Northside"
        page = urllib.request.urlopen(f"{base}/trust", context=trusting, timeout=30)
        said = page.read().decode()
        fingerprint = ssl.PEM_cert_to_DER_cert(authority.read_text())
        pairs = sha256(fingerprint).digest().hex(":").upper().split(":")
        assert " ".join(pairs[:4]) in said and " ".join(pairs[-4:]) in said
        assert " ".join(pairs[:4]).replace(" ", ":") in printed
        taken = urllib.request.urlopen(f"{base}/trust/authority.crt", context=trusting, timeout=30)
        assert taken.read() == authority.read_bytes()
        with pytest.raises(urllib.error.URLError, match="CERTIFICATE_VERIFY_FAILED"):
            urllib.request.urlopen(f"{base}/healthz", timeout=30)

        monkeypatch.setenv("KEEPCARD_TOKEN", token)
        done = CliRunner().invoke(
            cli,
            ["token", "--data", str(tmp_path / "data"), "--as", "Ira", "--role", "manager",
             "--label", "through the server", "--json"],
            obj=command_ports(),
        )  # fmt: skip
        assert done.exit_code == 0, done.stderr
        code, printed = running.stop()
        assert code == 0 and "Traceback" not in printed
    finally:
        running.process.kill()
        running.process.communicate()
    with open_database(tmp_path / "data", read_only=True) as database:
        labels = {token.label for token in database.store().shop().all(ApiToken)}
    assert labels == {"tests", "through the server"}


def test_served_on_this_machine_alone_labels_carry_no_address(tmp_path):
    alone, _ = _certified(Settings(data_dir=tmp_path, https=True))
    assert (alone.label_address, alone.address) == ("", "https://127.0.0.1:8470")
    named, _ = _certified(Settings(data_dir=tmp_path, https=True, names="bench.local"))
    assert named.label_address == "https://bench.local:8470"
    wide, found = _certified(Settings(data_dir=tmp_path, https=True, host="0.0.0.0"))
    assert wide.label_address == f"https://{found.names[0]}:8470"
    assert wide.own_address == "https://127.0.0.1:8470"


def test_without_an_authority_of_its_own_there_is_nothing_to_trust(tmp_path):
    with TestClient(create_app(Settings(data_dir=tmp_path))) as client:
        answer = client.get("/trust")
    assert answer.status_code == 404 and "--https" in answer.text
