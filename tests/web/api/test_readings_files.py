"""Readings files over the API: looked at without a trace, stored once, refused in words."""

from __future__ import annotations

import pytest

from service.domain.card_code import grouped
from service.domain.moment import as_text
from service.domain.records.cards import Card
from service.domain.records.measuring import Reading
from service.domain.terms import Role
from service.web.files_taken import MOST_BYTES
from tests.web.api.shapes import Shapes

PATH = "/api/readings-files"
STATED = {"stage": "baked", "illuminant": "D65", "observer": "10", "geometry": "d:8"}


class Taken:
    """A card that was never read, and a file of it."""

    def __init__(self, shop, hand) -> None:
        card = hand.card(hand.batch())
        self.file = lambda: shop.store.job(hand.job)
        self.code = grouped(self.file().get(Card, card).code)
        self.content = f"name,L,a,b\n{self.code},25,-12,6\n{self.code},25.1,-12,6\n".encode()

    @property
    def readings(self) -> list[Reading]:
        return self.file().all(Reading)


@pytest.fixture
def taken(web_shop, hand):
    return Taken(web_shop, hand)


def test_a_dry_run_tells_everything_and_stores_nothing(web_shop, manager, taken):
    before = len(web_shop.store.entries)
    answer = manager.post(PATH, content=taken.content, params={**STATED, "dry_run": "true"})
    assert answer.status_code == 200, answer.text
    told = answer.json()
    (reading,) = told["readings"]
    assert (reading["card"], reading["stage"], reading["batch"]) == (taken.code, "baked", 1)
    assert reading["angles"] == {"": [[25, -12, 6], [25.1, -12, 6]]}
    assert (told["stored"], told["receipt"], told["problems"]) == (0, None, [])
    assert len(web_shop.store.entries) == before
    Shapes(manager.get("/openapi.json").json()).check(
        told, Shapes(manager.get("/openapi.json").json()).of_answer("post", PATH, 200), PATH
    )


def test_what_the_file_leaves_open_is_told_under_problems(manager, taken):
    told = manager.post(PATH, content=taken.content, params={"dry_run": "true"}).json()
    assert told["unsaid"] == ["stage", "illuminant", "observer", "geometry"]
    assert told["problems"][0]["missing"] == told["unsaid"]


def test_a_file_is_stored_once_for_any_role(web_shop, taken):
    painter = web_shop.program(Role.PAINTER)
    first = painter.post(PATH, content=taken.content, params={**STATED, "name": "C:\\x\\mo.csv"})
    assert first.status_code == 201, first.text
    assert first.json()["stored"] == 1
    (reading,) = taken.readings
    assert reading.source == "mo.csv"
    assert reading.author_id == web_shop.people[Role.PAINTER]
    again = painter.post(PATH, content=taken.content, params={**STATED, "name": "mo.csv"})
    assert again.status_code == 200
    assert again.json()["stored"] == 0
    assert again.json()["receipt"] == first.json()["receipt"]
    copy = painter.post(PATH, content=taken.content, params={**STATED, "name": "copy.csv"})
    assert (copy.status_code, copy.json()["receipt"]) == (200, None)
    assert copy.json()["readings"][0]["on_record"] == reading.root
    assert len(taken.readings) == 1


def test_every_problem_comes_with_the_refusal(manager, taken):
    content = taken.content + b"white tile,95,0,0\n"
    answer = manager.post(PATH, content=content, params=STATED)
    assert answer.status_code == 422
    problem = answer.json()
    assert problem["detail"].startswith("Nothing was stored.\nSample 2 (white tile)")
    assert [error["field"] for error in problem["errors"]] == ["file"]
    left_out = {**STATED, "leave_out_unknown": "true"}
    assert manager.post(PATH, content=content, params=left_out).status_code == 201


@pytest.mark.parametrize(
    ("content", "why"),
    [
        (b"", "The file is empty"),
        (b"name,L,a,b\nx,1,two,3\n", "Line 2"),
        (b"\x89PNG\r\n", "not text"),
    ],
)
def test_a_file_that_cannot_be_read_says_why(manager, content, why):
    answer = manager.post(PATH, content=content, params=STATED)
    assert answer.status_code == 422
    assert why.casefold() in answer.json()["detail"].casefold()


def test_a_word_the_query_does_not_take_is_refused(manager, taken):
    answer = manager.post(PATH, content=taken.content, params={**STATED, "stage": "burnt"})
    assert answer.status_code == 422
    assert "base_dry" in answer.json()["detail"]


def test_a_file_over_the_limit_is_refused(manager):
    answer = manager.post(PATH, content=b"x" * (MOST_BYTES + 2), params=STATED)
    assert answer.status_code == 413


def test_an_xml_file_that_defines_entities_is_refused_unread(manager):
    entities = "".join(f'<!ENTITY e{n + 1} "{f"&e{n};" * 10}">' for n in range(20))
    content = f'<!DOCTYPE CxF [<!ENTITY e0 "x">{entities}]><CxF>&e20;</CxF>'
    answer = manager.post(PATH, content=content.encode(), params=STATED)
    assert answer.status_code == 422
    assert "entit" in answer.json()["detail"].casefold() or "DTD" in answer.json()["detail"]


def test_when_they_were_read_is_said_by_the_query_with_its_zone(manager, taken):
    given = {**STATED, "read_at": "2026-01-02T03:04:05+01:00"}
    answer = manager.post(PATH, content=taken.content, params=given)
    assert answer.status_code == 201, answer.text
    assert as_text(taken.readings[0].observed_at) == "2026-01-02T02:04:05.000000Z"
    bare = {**STATED, "read_at": "2026-01-02T03:04:05"}
    other = taken.content.replace(b",25,", b",26,")
    refused = manager.post(PATH, content=other, params=bare)
    assert refused.status_code == 422 and "has no zone" in refused.text
