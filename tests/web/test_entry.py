"""Coming in: set-up of a new shop, signing in, one's own page."""

from html.parser import HTMLParser
from pathlib import Path

import pytest
from starlette.testclient import TestClient

from service.domain.records.shop import Person, Shop
from service.domain.terms import Role
from service.exchange.csv_out import csv_lines
from service.exchange.reading_files import read_readings
from service.paper.press import Press
from service.settings import Settings
from service.use_cases.command import perform
from service.use_cases.shop import SetPassword
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
from tests.web_shop import NAMES, PASSWORD, SAME_ORIGIN, new_id

SET_UP = {"shop": "Northside Refinish", "name": "Ira Quell", "password": PASSWORD}


class Reader(HTMLParser):
    """Labels, fields and headings of a page."""

    def __init__(self, text):
        super().__init__()
        self.labels, self.fields, self.headings, self.scripts = [], {}, [], []
        self._inside = None
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        given = dict(attrs)
        if tag == "label" and "for" in given:
            self.labels.append(given["for"])
        if tag in ("input", "textarea", "select"):
            self.fields[given.get("name")] = given
        if tag == "script" or "style" in given or any(name.startswith("on") for name in given):
            self.scripts.append((tag, attrs))
        self._inside = tag

    def handle_data(self, data):
        if self._inside == "h1" and data.strip():
            self.headings.append(data.strip())


def services_without_shop():
    made = []

    def set_up(shop_name, manager, password_hash):
        store = FakeStore(shop_name, manager)
        command = SetPassword(id=new_id(), person_id=store.manager_id, password_hash=password_hash)
        perform(store, store.manager_id, command)
        made.append(store)
        return ShopServices(
            store=store,
            queries=FakeQueries(store),
            photos=FakePhotos(),
            waiting=FakeWaitingFiles(),
            sessions=FakeSessions(),
            attempts=FakeAttempts(),
            keys=FakeKeys(store),
        )

    services = Services(
        settings=Settings(data_dir=Path(".")),
        version="test",
        csv_lines=csv_lines,
        desk=DeskOfTests(),
        sheets=PrintedSheets(),
        press=Press(),
        read_readings=read_readings,
        set_up=set_up,
        set_up_token="the-secret-part",
    )
    return services, made


@pytest.fixture
def unborn():
    services, made = services_without_shop()
    client = TestClient(web_app(services), follow_redirects=False, headers=SAME_ORIGIN)
    return client, services, made


def test_the_printed_link_makes_the_shop_and_its_first_manager(unborn):
    client, _, made = unborn
    page = client.get("/set-up/the-secret-part")
    assert page.status_code == 200
    assert set(Reader(page.text).fields) == {"shop", "name", "password"}
    answer = client.post("/set-up/the-secret-part", data=SET_UP)
    assert (answer.status_code, answer.headers["location"]) == (303, "/sign-in")
    (store,) = made
    assert store.shop().all(Shop)[0].name == "Northside Refinish"
    assert store.shop().all(Person)[0].roles == (Role.MANAGER,)
    signed_in = client.post("/sign-in", data={"name": "ira quell", "password": PASSWORD})
    assert signed_in.status_code == 303
    assert client.get("/person").status_code == 200
    assert "Northside Refinish" in client.get("/person").text


def test_the_link_works_once(unborn):
    client, _, made = unborn
    client.post("/set-up/the-secret-part", data=SET_UP)
    for answer in (
        client.get("/set-up/the-secret-part"),
        client.post("/set-up/the-secret-part", data={**SET_UP, "name": "Somebody Else"}),
    ):
        assert answer.status_code == 422
        assert "does not work" in answer.text
    assert len(made) == 1


@pytest.mark.parametrize("token", ["wrong", "the-secret-par", "THE-SECRET-PART", "%F0%9F%8E%A8"])
def test_another_link_makes_nothing(unborn, token):
    client, _, made = unborn
    assert client.post(f"/set-up/{token}", data=SET_UP).status_code == 422
    assert made == []


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"password": "short"}, "at least 15 characters"),
        ({"password": "northsiderefinish"}, "tried first"),
        ({"shop": ""}, "The shop is missing"),
        ({"name": " "}, "The name is missing"),
    ],
)
def test_a_refused_set_up_keeps_what_was_typed_but_no_password(unborn, change, words):
    client, services, made = unborn
    sent = {**SET_UP, **change}
    answer = client.post("/set-up/the-secret-part", data=sent)
    assert answer.status_code == 422
    assert words in answer.text
    page = Reader(answer.text)
    assert page.fields["shop"]["value"] == sent["shop"].strip()
    assert page.fields["password"]["value"] == ""
    assert made == []
    assert services.set_up_token == "the-secret-part", "the link can be used again"


def test_before_the_set_up_everything_says_where_the_link_is(unborn):
    client, _, _ = unborn
    assert client.get("/healthz").json() == {"status": "ok", "version": "test", "shop": None}
    client.cookies.set("keepcard", "x")
    for path in ("/sign-in", "/api/jobs", "/person"):
        answer = client.get(path)
        assert answer.status_code == 503
        assert "set-up link" in answer.text


def test_the_sign_in_page_can_be_filled_by_a_password_manager(web_shop):
    """HTML Living Standard, 4.10.18.7: the autocomplete tokens."""
    page = Reader(web_shop.stranger().get("/sign-in").text)
    assert page.fields["name"]["autocomplete"] == "username"
    assert page.fields["password"]["autocomplete"] == "current-password"
    assert page.fields["password"]["type"] == "password"
    assert {"f-name", "f-password"} <= set(page.labels)
    assert page.headings == ["Sign in to Test shop"]
    assert page.scripts == [], "no inline script or style: the policy would block it"


def test_a_refused_sign_in_keeps_the_name(web_shop):
    answer = web_shop.stranger().post("/sign-in", data={"name": "Pat", "password": "wrong"})
    assert answer.status_code == 401
    page = Reader(answer.text)
    assert page.fields["name"]["value"] == "Pat"
    assert page.fields["password"]["value"] == ""
    assert "do not go together" in answer.text


def test_names_are_shown_as_text_and_never_as_markup(web_shop):
    answer = web_shop.stranger().post(
        "/sign-in", data={"name": "<script>alert(1)</script>", "password": "wrong"}
    )
    assert "<script>" not in answer.text
    assert "&lt;script&gt;" in answer.text


def test_ones_own_page_changes_the_password_and_ends_the_other_sessions(web_shop):
    here, elsewhere = web_shop.browser(Role.PAINTER), web_shop.browser(Role.PAINTER)
    new = "nine wet stones in a row"
    wrong = here.post(
        "/person/password", data={"current_password": "not this one", "password": new}
    )
    assert wrong.status_code == 422
    assert "not the password in force" in wrong.text
    answer = here.post("/person/password", data={"current_password": PASSWORD, "password": new})
    assert answer.status_code == 200
    assert here.get("/api/me").status_code == 200
    assert elsewhere.get("/api/me").status_code == 401
    stranger = web_shop.stranger()
    assert (
        stranger.post("/sign-in", data={"name": NAMES[Role.PAINTER], "password": new}).headers[
            "location"
        ]
        == "/"
    )


@pytest.mark.parametrize(
    ("role", "entrance"),
    [(Role.PAINTER, "/bench"), (Role.REFINISHER, "/rack"), (Role.MANAGER, "/audit")],
)
def test_the_front_page_leads_each_to_their_own_entrance(web_shop, role, entrance):
    assert web_shop.browser(role).get("/").headers["location"] == entrance


def test_a_page_that_is_not_there_says_so(web_shop):
    answer = web_shop.stranger().get("/no/such/page")
    assert answer.status_code == 404
    assert "text/html" in answer.headers["content-type"]
    assert "nothing at this address" in answer.text
