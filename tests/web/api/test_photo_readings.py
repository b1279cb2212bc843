"""Reading photographs over the API, and logging them; the reader is a stand-in."""

from hashlib import sha256

import pytest

from service.domain.terms import Role
from tests.photographs import photo_read, target_file
from tests.web_shop import new_id

MASTER, NEAR = (42.0, 3.0, -18.0), (42.1, 3.0, -18.0)
CONTENT = b"a photograph of two cards"
SHA = sha256(CONTENT).hexdigest()


@pytest.fixture
def taken(web_shop):
    """A photograph of two cards the reader knows, already stored."""
    web_shop.desk.says[CONTENT] = photo_read({"master": MASTER, "card": NEAR})
    web_shop.photos.put(CONTENT)
    return web_shop.desk


def test_bytes_are_read_and_nothing_is_stored(web_shop, manager):
    web_shop.desk.says[CONTENT] = photo_read({"master": MASTER, "card": NEAR})
    before = len(web_shop.store.entries)
    answer = manager.post("/api/photo-readings?limit=0.5&corners=1,2 3,4 5,6 7,8", content=CONTENT)
    assert answer.status_code == 200, answer.text
    read = answer.json()
    assert read["windows"]["card"]["lab"] == list(NEAR)
    assert read["order"] == ["master", "card"]
    assert read["difference"]["verdict"] == "blends"
    assert read["difference"]["limit"] == 0.5
    assert read["fit"]["left_out_mean_delta_e_2000"] == 0.8
    assert read["warnings"][0]["code"] == "nominal_values"
    assert web_shop.desk.asked[-1]["corners"] == ((1, 2), (3, 4), (5, 6), (7, 8))
    assert len(web_shop.store.entries) == before
    assert not web_shop.photos.content


def test_a_stored_photograph_is_read_by_any_target(taken, manager):
    body = {"photo_sha256": SHA, "target": target_file(name="A bought chart"), "limit": 1.2}
    answer = manager.post("/api/photo-readings", json=body)
    assert answer.status_code == 200, answer.text
    assert taken.asked[-1]["target"].name == "A bought chart"
    assert answer.json()["difference"]["limit"] == 1.2


def test_every_reason_against_a_photograph_is_given(manager):
    answer = manager.post("/api/photo-readings", content=b"GIF89a")
    assert answer.status_code == 422
    assert answer.headers["content-type"] == "application/problem+json"
    (reason,) = answer.json()["refused"]
    assert reason["code"] == "not_an_image" and "GIF" in reason["message"]


@pytest.mark.parametrize(
    ("body", "why"),
    [
        ({"photo_sha256": "0" * 64}, "Send the file first"),
        ({"photo_sha256": SHA, "target": {}}, "width_mm"),
        ({"photo_sha256": SHA, "corners": [[0, 0], [1, 1]]}, "Give all four"),
        ({"photo_sha256": SHA, "limit": -1}, "limit cannot be -1"),
        ({"photo_sha256": SHA, "risk": 0.5}, "risk cannot be 0.5"),
    ],
)
def test_a_question_that_cannot_be_met_says_why(taken, manager, body, why):
    answer = manager.post("/api/photo-readings", json=body)
    assert answer.status_code == 422
    assert why in answer.text


def test_a_question_as_long_as_a_photograph_is_not_read(manager):
    body = b'{"photo_sha256": "' + b"0" * (3 * 2**20) + b'"}'
    answer = manager.post(
        "/api/photo-readings", content=body, headers={"Content-Type": "application/json"}
    )
    assert answer.status_code == 413


def test_corners_that_are_none_are_refused(taken, manager):
    answer = manager.post("/api/photo-readings?corners=1,2 3,4", content=CONTENT)
    assert answer.status_code == 422
    assert answer.json()["field"] == "corners"


def logged(hand, cards, **more):
    lying = [
        {"window": window, "card_id": card, "stage": "baked"} for window, card in cards.items()
    ]
    return {"job_id": hand.job, "photo_sha256": SHA, "lying": lying, **more}


def test_a_photograph_is_logged_from_its_stored_bytes(taken, hand):
    cards = {"master": hand.card(hand.batch()), "card": hand.card(hand.batch())}
    body = {"id": new_id(), **logged(hand, cards)}
    answers = [hand.client.post("/api/log-photograph", json=body) for _ in range(2)]
    assert [answer.status_code for answer in answers] == [201, 200]
    records = hand.client.get(f"/api/jobs/{hand.job}").json()["records"]
    (frame,) = records["frames"]
    assert frame["photo_sha256"] == SHA
    assert frame["evidence"]["fit"]["mean_delta_e_2000"] == 0.5
    assert [r["method"] for r in records["readings"]] == ["photograph"] * 2
    assert len(records["photos"]) == 2


def test_no_number_of_a_photograph_is_taken_from_a_client(taken, hand):
    body = {"id": new_id(), **logged(hand, {"card": hand.card(hand.batch())}), "read": {}}
    answer = hand.client.post("/api/log-photograph", json=body)
    assert answer.status_code == 422
    assert "read" in answer.text


def test_a_photograph_that_cannot_be_trusted_is_not_logged(web_shop, hand):
    sha = web_shop.photos.put(b"%PDF-1.7")
    body = logged(hand, {"card": hand.card(hand.batch())})
    answer = hand.send("log-photograph", **{**body, "photo_sha256": sha})
    assert answer.status_code == 422
    assert answer.json()["refused"][0]["code"] == "not_an_image"


def test_registered_sheets_are_listed_with_their_numbers(web_shop, manager):
    body = {"id": new_id(), "name": "Bench sheet", "target": target_file(), "print_code": "7K3Q"}
    assert manager.post("/api/register-photo-target", json=body).status_code == 201
    (sheet,) = manager.get("/api/photo-targets").json()["photo_targets"]
    assert (sheet["name"], sheet["print_code"]) == ("Bench sheet", "7K3Q")
    assert sheet["target"]["windows"][0]["name"] == "master"
    refused = web_shop.program(Role.PAINTER).post(
        "/api/register-photo-target", json={**body, "id": new_id(), "name": "Another"}
    )
    assert refused.status_code == 403


def test_a_label_in_the_frame_is_offered_as_a_card(web_shop, hand):
    card = hand.card(hand.batch())
    code = hand.client.get(f"/api/jobs/{hand.job}").json()["records"]["cards"][0]["code"]
    web_shop.desk.says[CONTENT] = photo_read({"card": NEAR}, codes=[(code, "card")])
    answer = hand.client.post("/api/photo-readings", content=CONTENT).json()
    assert answer["offered"] == [
        {"window": "card", "code": code, "job_id": hand.job, "card_id": card}
    ]
    assert answer["difference"] is None
