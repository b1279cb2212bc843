"""The POST routes: the main job over the API, sending twice, and every way to send it wrong."""

import json

import pytest

from service.domain.terms import Role
from service.use_cases.all_verbs import VERBS
from tests.web_shop import PASSWORD, ApiHand, new_id

GREEN = (25.0, -12.0, 6.0)
BLUER = (25.0, -12.0, 4.0)


def read_and_baked(hand, batch, lab):
    card = hand.card(batch)
    hand.did(
        "bake-them",
        job_id=hand.job,
        minutes=40,
        temperature_c=60,
        temperature_of="air",
        card_ids=[card],
    )
    answer = hand.send("log-reading", **hand.reading_body(card, lab))
    assert answer.status_code == 201, answer.text
    return card, answer.json()


def test_the_main_job_is_done_with_nothing_but_the_api(hand):
    master_card, logged = read_and_baked(hand, hand.batch(), GREEN)
    hand.did(
        "approve-master",
        job_id=hand.job,
        card_id=master_card,
        reading_ids=[logged["receipt"]["id"]],
    )
    _, judged = read_and_baked(hand, hand.batch(), BLUER)
    (verdict,) = judged["verdicts"]
    assert verdict["word"] == "shows"
    assert "bluer" in verdict["words"]
    assert verdict["evidence"]["angles"], "the working of every angle is an object, not a text"
    assert judged["findings"][0]["weight"] == "shows"
    assert judged["findings"][0]["stands_against_release"] is True
    refused = hand.send("release-job", job_id=hand.job)
    assert refused.status_code == 409
    assert "still stand" in refused.json()["detail"]


def test_each_verb_has_a_route_of_its_name(web_shop, manager):
    for verb in VERBS.values():
        answer = manager.post(f"/api/{verb.name.replace('_', '-')}", json={})
        assert answer.status_code == 422, verb.name
        assert answer.json()["errors"][0]["field"] == "id", verb.name


def test_a_change_sent_twice_is_made_once_and_answered_alike(hand, web_shop):
    body = hand.card_body(hand.batch())
    first = hand.send("log-card", **body)
    works = web_shop.store.works
    again = hand.send("log-card", **body)
    assert (first.status_code, again.status_code) == (201, 200)
    assert again.json() == first.json()
    assert web_shop.store.works == works


def test_an_id_used_for_something_else_is_refused(hand):
    body = hand.card_body(hand.batch())
    hand.did("log-card", **body)
    other = hand.send("log-card", **{**body, "slot": "B-2"})
    assert other.status_code == 422
    assert "already used" in other.json()["detail"]


def test_at_most_twenty_findings_come_back_the_worst_first(hand):
    batches = [hand.batch() for _ in range(24)]
    for batch in batches:
        hand.card(batch)
    answer = hand.send("log-card", **hand.card_body(batches[0]))
    assert len(answer.json()["findings"]) == 20


def test_a_minimal_answer_holds_the_receipt_alone(hand):
    """RFC 7240, 4.2: return=minimal, and Preference-Applied says it was heard."""
    answer = hand.client.post(
        "/api/log-card", json=hand.card_body(hand.batch()), headers={"Prefer": "return=minimal"}
    )
    assert answer.status_code == 201
    assert list(answer.json()) == ["receipt"]
    assert answer.headers["preference-applied"] == "return=minimal"


WRONG = {
    "no id": ({"id": None}, "id", "Send a UUID"),
    "an id that is no UUID": ({"id": "7"}, "id", "must be a UUID"),
    "an unknown field": ({"wrok_order": "1"}, "wrok_order", "no field of this request"),
    "a number for a text": ({"title": 5}, "title", "cannot be 5. Send a text"),
    "a time without a zone": ({"observed_at": "2026-01-01T08:00:00"}, "observed_at", "no zone"),
    "a day for a time": ({"observed_at": "2026-01-01"}, "observed_at", "Send a time"),
    "a number for a time": ({"observed_at": 5}, "observed_at", "Send a time"),
    "a time of the year 1": (
        {"observed_at": "0001-01-01T00:00:00+14:00"},
        "observed_at",
        "out of range",
    ),
    "a time to come": ({"observed_at": "2999-01-01T08:00:00Z"}, "observed_at", "in the future"),
    "an empty title": ({"title": " "}, "title", "is missing. Fill it in"),
}


@pytest.mark.parametrize(("change", "field", "words"), WRONG.values(), ids=WRONG)
def test_what_is_wrong_is_said_with_its_field(manager, change, field, words):
    body = {"id": new_id(), "work_order": "W-1", "title": "Van", **change}
    body = {name: value for name, value in body.items() if value is not None}
    answer = manager.post("/api/open-job", json=body)
    assert answer.status_code == 422
    assert answer.json()["field"] == field
    assert words in answer.json()["detail"]


NESTED = {
    "no repeats": ("angles", [{"repeats": []}], "angles", "No reading was given"),
    "two numbers": ("angles", [{"repeats": [[1, 2]]}], "", "repeats[0] is too short"),
    "a number as text": ("observer", "10", "reading.observer", "Send a whole number"),
    "an unknown stage": ("stage", "cooked", "reading.stage", "Send one of: wet, base_dry, "),
    "a number too far": ("angles", [{"repeats": [[50, 0, 900]]}], "angles", "from -200 to 200"),
    "an observer of 5": ("observer", 5, "observer", "It is 2 or 10"),
}


@pytest.mark.parametrize(("name", "value", "field", "words"), NESTED.values(), ids=NESTED)
def test_a_value_deep_inside_is_named_by_its_path(hand, name, value, field, words):
    body = hand.reading_body(hand.card(hand.batch()), GREEN)
    body["reading"][name] = value
    answer = hand.send("log-reading", **body)
    assert answer.status_code == 422
    assert words in answer.json()["detail"]
    assert field in answer.json()["field"]


BODIES = {
    "nothing": b"",
    "half an object": b'{"id": ',
    "a list": b"[]",
    "null": b"null",
    "no UTF-8": b"\xff\xfe",
    "half a character": b'{"id": "\\ud800"}',
    "a deep nest": b"[" * 100_000,
}


@pytest.mark.parametrize("body", BODIES.values(), ids=BODIES)
def test_a_body_that_is_no_object_is_refused_in_words(manager, body):
    answer = manager.post(
        "/api/open-job", content=body, headers={"Content-Type": "application/json"}
    )
    assert answer.status_code == 422
    assert answer.json()["detail"].startswith("The body is no JSON")


@pytest.mark.parametrize("text", ["NaN", "Infinity", "-Infinity", "1e999"])
def test_a_number_that_is_not_finite_is_refused(hand, text):
    body = json.dumps(
        {
            "id": new_id(),
            "job_id": hand.job,
            "finish_id": hand.finish,
            "name": "Door",
            "x": "X",
        }
    ).replace('"X"', text)
    answer = hand.client.post(
        "/api/add-panel", content=body, headers={"Content-Type": "application/json"}
    )
    assert answer.status_code == 422
    assert "x cannot be" in answer.json()["detail"]


def test_a_number_beyond_all_measure_is_refused(hand):
    answer = hand.send(
        "mix-batch", job_id=hand.job, finish_id=hand.finish, boxed_tins=10**400, amount_ml=5
    )
    assert answer.status_code == 422
    assert "number" in answer.json()["detail"]


@pytest.mark.parametrize("kind", ["", "text/plain", "application/x-www-form-urlencoded"])
def test_a_body_that_does_not_say_it_is_json_is_refused(manager, kind):
    """A form of another site can send these three and no JSON (WHATWG Fetch, CORS-safelisted)."""
    answer = manager.post("/api/open-job", content=b"{}", headers={"Content-Type": kind})
    assert answer.status_code == 415
    assert "Content-Type: application/json" in answer.json()["detail"]


def test_a_body_over_the_limit_is_refused(manager):
    answer = manager.post("/api/open-job", json={"id": new_id(), "title": "x" * 3_000_000})
    assert answer.status_code == 413


def test_a_strangers_body_is_not_even_read(web_shop):
    answer = web_shop.stranger().post("/api/open-job", content=b"{")
    assert answer.status_code == 401


def test_a_times_zone_is_kept_as_the_same_moment(manager):
    id = new_id()
    answer = manager.post(
        "/api/open-job",
        json={
            "id": id,
            "work_order": "W-9",
            "title": "Van",
            "observed_at": "2026-03-01T09:00:00+01:00",
        },
    )
    assert answer.status_code == 201
    job = manager.get(f"/api/jobs/{id}").json()["job"]
    assert job["observed_at"] == "2026-03-01T08:00:00.000000Z"


def test_an_instruments_calibration_needs_a_zone(manager):
    """Compared with a reading's time later on, a time without a zone would break there."""
    answer = manager.post(
        "/api/register-instrument",
        json={"id": new_id(), "name": "Sphere", "calibration_due": "2027-01-01T00:00:00"},
    )
    assert answer.status_code == 422
    assert answer.json()["field"] == "calibration_due"


def test_a_person_is_added_with_a_password_that_signs_in(web_shop, manager):
    secret = "four lamps on a wet pier"
    answer = manager.post(
        "/api/add-person",
        json={"id": new_id(), "name": "Nell", "roles": ["painter"], "password": secret},
    )
    assert answer.status_code == 201
    assert secret not in answer.text
    signed_in = web_shop.stranger().post("/sign-in", data={"name": "Nell", "password": secret})
    assert signed_in.status_code == 303


def test_a_short_password_is_refused_with_the_rule(manager):
    """NIST SP 800-63B-4, 3.1.1.2: at least 15 characters where it is the only factor."""
    answer = manager.post(
        "/api/add-person",
        json={"id": new_id(), "name": "Nell", "roles": ["painter"], "password": "x4!Kq9#z"},
    )
    assert answer.status_code == 422
    assert answer.json()["field"] == "password"
    assert "at least 15 characters" in answer.json()["detail"]


def test_ones_own_password_changes_only_with_the_one_in_force(web_shop):
    painter = web_shop.program(Role.PAINTER)
    body = {"person_id": web_shop.people[Role.PAINTER], "password": "six grey geese at noon"}
    for wrong in ({}, {"current_password": "something else entirely"}):
        answer = painter.post("/api/set-password", json={"id": new_id(), **body, **wrong})
        assert (answer.status_code, answer.json()["field"]) == (422, "current_password")
    right = {"id": new_id(), **body, "current_password": PASSWORD}
    assert painter.post("/api/set-password", json=right).status_code == 201


def test_a_new_password_ends_the_persons_sessions(web_shop, manager):
    """OWASP ASVS 5.0, 7.4.3: other sessions end when a password is changed."""
    browser = web_shop.browser(Role.PAINTER)
    assert browser.get("/api/me").status_code == 200
    answer = manager.post(
        "/api/set-password",
        json={
            "id": new_id(),
            "person_id": web_shop.people[Role.PAINTER],
            "password": "six grey geese at noon",
        },
    )
    assert answer.status_code == 201
    assert browser.get("/api/me").status_code == 401


def test_a_painter_cannot_set_anothers_password(web_shop):
    answer = web_shop.program(Role.PAINTER).post(
        "/api/set-password",
        json={
            "id": new_id(),
            "person_id": web_shop.people[Role.MANAGER],
            "password": "six grey geese at noon",
        },
    )
    assert answer.status_code == 422
    assert "your own password only" in answer.json()["detail"]


def test_a_token_is_shown_once_and_works_in_its_role(web_shop, manager):
    body = {
        "id": new_id(),
        "person_id": web_shop.people[Role.PAINTER],
        "role": "painter",
        "label": "bench tablet",
    }
    first, again = (manager.post("/api/give-token", json=body) for _ in range(2))
    assert (first.status_code, again.status_code) == (201, 200)
    assert again.json()["token"] is None
    stranger = web_shop.stranger()
    stranger.headers["Authorization"] = f"Bearer {first.json()['token']}"
    me = stranger.get("/api/me").json()
    assert (me["person"]["name"], me["acting_as"], me["roles"]) == ("Pat", "painter", ["painter"])


def test_a_token_narrows_a_manager_to_its_role(web_shop, manager):
    person = manager.post(
        "/api/correct-shop",
        json={
            "id": new_id(),
            "table": "people",
            "record_id": web_shop.people[Role.MANAGER],
            "why": "sprays on Fridays",
            "changes": {"roles": ["manager", "painter"]},
        },
    )
    assert person.status_code == 201
    as_painter = web_shop.program(Role.PAINTER, person=Role.MANAGER)
    refused = as_painter.post(
        "/api/add-person", json={"id": new_id(), "name": "Nell", "roles": ["painter"]}
    )
    assert refused.status_code == 403
    assert ApiHand(as_painter).job
