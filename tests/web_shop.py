"""A shop behind the web application, for tests: people of each role, and clients that are them."""

from __future__ import annotations

from pathlib import Path
from typing import Any
from uuid import uuid4

from starlette.testclient import TestClient

from service.domain.terms import Role
from service.exchange.csv_out import csv_lines
from service.exchange.reading_files import read_readings
from service.paper.press import Press
from service.settings import Settings
from service.use_cases.all_verbs import VERBS  # noqa: F401  reads every verb
from service.use_cases.command import perform
from service.use_cases.passwords import hash_password
from service.use_cases.shop import AddPerson, GiveToken, SetPassword
from service.use_cases.sign_in import hash_of_token, new_token
from service.web.application import web_app
from service.web.services import Services, ShopServices
from tests.fakes import (
    FakeAttempts,
    FakeKeys,
    FakePhotos,
    FakeQueries,
    FakeSessions,
    FakeStore,
    FakeWaitingFiles,
)
from tests.photographs import DeskOfTests, PrintedSheets

PASSWORD = "brass kettle under nine elms"
PASSWORD_HASH = hash_password(PASSWORD)
NAMES = {Role.MANAGER: "First Manager", Role.PAINTER: "Pat", Role.REFINISHER: "Ray"}
SAME_ORIGIN = {"Sec-Fetch-Site": "same-origin"}


def new_id() -> str:
    """A UUID as a client makes it."""
    return str(uuid4())


class WebShop:
    """The application over stores in memory, with a manager, a painter and a refinisher."""

    def __init__(self) -> None:
        self.store = FakeStore()
        self.sessions = FakeSessions()
        self.attempts = FakeAttempts()
        self.photos = FakePhotos()
        self.waiting = FakeWaitingFiles()
        self.desk = DeskOfTests()
        self.services = Services(
            settings=Settings(data_dir=Path("."), zone="Europe/Lisbon"),
            version="test",
            csv_lines=csv_lines,
            desk=self.desk,
            sheets=PrintedSheets(),
            press=Press(),
            read_readings=read_readings,
            shop=ShopServices(
                store=self.store,
                queries=FakeQueries(self.store),
                photos=self.photos,
                waiting=self.waiting,
                sessions=self.sessions,
                attempts=self.attempts,
                keys=FakeKeys(self.store),
            ),
        )
        self.people = {Role.MANAGER: self.store.manager_id}
        self._do(SetPassword, person_id=self.store.manager_id, password_hash=PASSWORD_HASH)
        for role in (Role.PAINTER, Role.REFINISHER):
            self.people[role] = self._do(
                AddPerson, name=NAMES[role], roles=(role,), password_hash=PASSWORD_HASH
            )
        self.app = web_app(self.services)

    def stranger(self, **options: Any) -> TestClient:
        """A client nobody knows."""
        options.setdefault("follow_redirects", False)
        return TestClient(self.app, **options)

    def program(self, role: Role = Role.MANAGER, person: Role | None = None) -> TestClient:
        """A client with a token for a role (of the person of that role, or of another)."""
        token = new_token()
        self._do(
            GiveToken,
            person_id=self.people[person or role],
            role=role,
            label="a program",
            token_hash=hash_of_token(token),
        )
        client = self.stranger()
        client.headers["Authorization"] = f"Bearer {token}"
        return client

    def browser(self, role: Role = Role.MANAGER, **options: Any) -> TestClient:
        """A browser in which a person of that role is signed in."""
        client = self.stranger(**options)
        client.headers.update(SAME_ORIGIN)
        answer = client.post("/sign-in", data={"name": NAMES[role], "password": PASSWORD})
        assert answer.status_code == 303, answer.text
        return client

    def _do(self, kind: type[Any], **fields: Any) -> str:
        command = kind(id=new_id(), **fields)
        perform(self.store, self.store.manager_id, command)
        return str(command.id)


class ApiHand:
    """Does the work of a job over the API."""

    def __init__(self, client: TestClient) -> None:
        self.client = client
        self.job = self.did("open-job", work_order=f"W-{new_id()[:6]}", title="Invented van")
        self.finish = self.did("add-finish", job_id=self.job, name="Body", kind="solid")

    def send(self, verb: str, **body: Any) -> Any:
        """Send a verb and give the whole answer."""
        body.setdefault("id", new_id())
        return self.client.post(f"/api/{verb}", json=body)

    def did(self, verb: str, **body: Any) -> str:
        """Send a verb, make sure it was taken, and give the id."""
        body.setdefault("id", new_id())
        answer = self.send(verb, **body)
        assert answer.status_code == 201, answer.text
        return str(body["id"])

    def code(self) -> str:
        """A fresh card code."""
        return str(self.client.get("/api/card-codes").json()["codes"][0])

    def batch(self, **fields: Any) -> str:
        return self.did("mix-batch", job_id=self.job, finish_id=self.finish, **fields)

    def card_body(self, batch: str, **fields: Any) -> dict[str, Any]:
        """The body of log-card."""
        body = {
            "id": new_id(),
            "job_id": self.job,
            "batch_id": batch,
            "code": self.code(),
            "coats": [{"batch_id": batch, "coats": 3}],
        }
        return {**body, **fields}

    def card(self, batch: str, **fields: Any) -> str:
        return self.did("log-card", **self.card_body(batch, **fields))

    def reading_body(self, card: str, lab: tuple[float, float, float]) -> dict[str, Any]:
        """The body of log-reading: three repeats about a colour."""
        l, a, b = lab  # noqa: E741
        repeats = [[l + 0.03, a - 0.02, b], [l - 0.02, a + 0.03, b], [l - 0.01, a - 0.01, b]]
        return {
            "id": new_id(),
            "job_id": self.job,
            "reading": {
                "card_id": card,
                "stage": "baked",
                "illuminant": "D65",
                "observer": 10,
                "geometry": "d:8",
                "specular": "included",
                "standard_uncertainty": 0.05,
                "surface_temperature_c": 22.0,
                "angles": [{"repeats": repeats}],
            },
        }
