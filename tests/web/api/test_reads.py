"""The GET routes: their answers as OpenAPI describes them, pages, searches and secrets."""

import csv
import io
import re
from itertools import pairwise

import pytest

from service.domain.card_code import check_card_code
from service.domain.terms import Role
from service.web.access import READS
from tests.web.api.shapes import Shapes
from tests.web_shop import PASSWORD_HASH

CONDITIONS = "illuminant=D65&observer=10&geometry=d:8"


@pytest.fixture
def black_cards(hand):
    """Codes of three near blacks, each read: a plain, a bluer and a redder one."""
    codes = []
    for lab in ((12.0, 0.0, 0.0), (12.0, 0.0, -2.0), (12.5, 1.5, 0.0)):
        body = hand.card_body(hand.batch())
        hand.did("log-card", **body)
        hand.did("log-reading", **hand.reading_body(body["id"], lab))
        codes.append(body["code"])
    return codes


def test_every_read_answers_as_openapi_says(manager, hand, black_cards):
    shapes = Shapes(manager.get("/openapi.json").json())
    card = manager.get(f"/api/cards/{black_cards[0]}").json()
    of_job, of_card = f"/api/jobs/{hand.job}", card["readings"][0]["id"]
    addresses = {
        "/api/jobs/by-work-order/{work_order}": "/api/jobs/by-work-order/"
        + manager.get(f"/api/jobs/{hand.job}").json()["job"]["work_order"],
        "/api/jobs/{job_id}": f"/api/jobs/{hand.job}",
        "/api/jobs/{job_id}/batches/{batch_id}": f"{of_job}/batches/{card['batch']['id']}",
        "/api/jobs/{job_id}/readings/{reading_id}": f"{of_job}/readings/{of_card}",
        "/api/cards/{code}": f"/api/cards/{black_cards[0]}",
        "/api/values/{field}": "/api/values/slot",
        "/api/journal/{chain}": "/api/journal/shop",
        "/api/nearest": f"/api/nearest?lab=12,0,0&{CONDITIONS},%20specular%20included",
        "/api/compare": f"/api/compare?codes={black_cards[0]}&codes={black_cards[1]}",
    }
    for path in READS:
        if path in ("/api/photos/{sha256}", "/api/audit.csv", "/api/due.csv"):
            continue
        answer = manager.get(addresses.get(path, path))
        assert answer.status_code == 200, f"{path}: {answer.text}"
        shapes.check(answer.json(), shapes.of_answer("get", path, 200), path)


def test_a_whole_job_holds_every_record_by_its_table(manager, hand, black_cards):
    job = manager.get(f"/api/jobs/{hand.job}").json()
    counts = {table: len(rows) for table, rows in job["records"].items() if rows}
    assert counts == {
        "jobs": 1,
        "finishes": 1,
        "policies": 1,
        "batches": 3,
        "cards": 3,
        "coats": 9,
        "readings": 3,
    }
    assert job["findings"][0]["code"] == "finish_without_master"


def test_a_job_is_found_by_its_work_order(manager, hand):
    work_order = manager.get(f"/api/jobs/{hand.job}").json()["job"]["work_order"]
    found = manager.get(f"/api/jobs/by-work-order/{work_order}").json()
    assert found["job"]["id"] == hand.job
    missing = manager.get("/api/jobs/by-work-order/nowhere")
    assert missing.status_code == 404
    assert "There is no work order nowhere" in missing.json()["detail"]


def test_a_list_is_paged_by_key_and_holds_everything_once(manager, hand, black_cards):
    seen, after = [], None
    while True:
        page = manager.get("/api/cards", params={"limit": 2, **({"after": after} if after else {})})
        seen += [line["code"] for line in page.json()["lines"]]
        after = page.json()["after"]
        if after is None:
            break
    assert sorted(seen) == sorted(black_cards)


@pytest.mark.parametrize("as_typed", [str.lower, lambda code: f" {code[:4]} {code[4:]}"])
def test_a_card_is_found_however_its_code_is_typed(manager, black_cards, as_typed):
    code = black_cards[0]
    answer = manager.get(f"/api/cards/{as_typed(code)}")
    assert answer.json()["card"]["code"] == code
    assert answer.json()["whereabouts"] == {
        "place": "in",
        "slot": "",
        "holder_id": None,
        "holder": None,
    }


def test_a_card_that_is_out_says_who_has_it(manager, hand, black_cards):
    card = manager.get(f"/api/cards/{black_cards[0]}").json()["card"]
    hand.did("pull-card", job_id=hand.job, card_id=card["id"], why="a chip on the door")
    place = manager.get(f"/api/cards/{black_cards[0]}").json()["whereabouts"]
    assert (place["place"], place["holder"]) == ("out", "First Manager")


def test_a_mistyped_code_is_told_from_an_unknown_one(manager, black_cards):
    code = black_cards[0]
    swapped = code[1] + code[0] + code[2:]
    if swapped != code:
        assert "letter by letter" in manager.get(f"/api/cards/{swapped}").json()["detail"]
    fresh = manager.get("/api/card-codes").json()["codes"][0]
    assert manager.get(f"/api/cards/{fresh}").status_code == 404


def test_cards_laid_side_by_side_say_which_is_bluer_and_which_redder(manager, black_cards):
    """Differences against coloraide's CIEDE2000, a library outside the project."""
    from coloraide import Color

    plain, bluer, redder = black_cards
    laid = manager.get("/api/compare", params={"codes": [plain, bluer, redder]}).json()
    extremes = {card["code"]: card["extremes"] for card in laid["cards"]}
    assert "bluest" in extremes[bluer]
    assert {"reddest", "lightest"} <= set(extremes[redder])
    assert not {"bluest", "reddest"} & set(extremes[plain])
    labs = {card["code"]: [card["line"][axis] for axis in "lab"] for card in laid["cards"]}
    assert len(laid["pairs"]) == 3
    for pair in laid["pairs"]:
        first, second = (Color("lab-d65", labs[pair[name]]) for name in ("first", "second"))
        assert pair["delta_e_2000"] == pytest.approx(first.delta_e(second, method="2000"), abs=1e-6)
    words = {(pair["first"], pair["second"]): pair["words"] for pair in laid["pairs"]}
    assert words[plain, bluer] == "bluer"
    assert words[plain, redder].startswith("redder")


def test_cards_read_unlike_are_not_compared(manager, hand, black_cards):
    body = hand.card_body(hand.batch())
    hand.did("log-card", **body)
    reading = hand.reading_body(body["id"], (12.0, 0.0, 0.0))
    reading["reading"]["illuminant"] = "A"
    hand.did("log-reading", **reading)
    pair = manager.get("/api/compare", params={"codes": [black_cards[0], body["code"]]}).json()[
        "pairs"
    ][0]
    assert pair["delta_e_2000"] is None
    assert "Read both alike" in pair["why"]


def test_a_single_card_cannot_be_compared(manager, black_cards):
    answer = manager.get("/api/compare", params={"codes": [black_cards[0], black_cards[0]]})
    assert answer.status_code == 422
    assert "Name from 2 to" in answer.json()["detail"]


def test_the_nearest_cards_come_nearest_first(manager, black_cards):
    near = manager.get(f"/api/nearest?lab=12,0,-1.9&{CONDITIONS}&count=3").json()
    assert near[0]["line"]["code"] == black_cards[1]
    assert all(one["delta_e_2000"] <= two["delta_e_2000"] for one, two in pairwise(near))


@pytest.mark.parametrize("lab", ["12,0", "a,b,c", "nan,0,0", "12,0,900", ""])
def test_a_colour_that_is_none_is_refused(manager, lab):
    answer = manager.get(f"/api/nearest?{CONDITIONS}", params={"lab": lab})
    assert answer.status_code == 422


def test_a_misspelt_filter_is_refused_and_the_known_ones_are_named(manager):
    answer = manager.get("/api/batches?painter=Pat")
    assert answer.status_code == 422
    assert "'painter' is no parameter" in answer.json()["detail"]
    assert "painter_id" in answer.json()["detail"]


@pytest.mark.parametrize("limit", ["0", "201", "ten", "-1"])
def test_a_page_has_from_one_line_to_two_hundred(manager, limit):
    answer = manager.get(f"/api/cards?limit={limit}")
    assert answer.status_code == 422
    assert answer.json()["field"] == "limit"


def test_fresh_codes_carry_their_check_character(manager):
    codes = manager.get("/api/card-codes?count=50").json()["codes"]
    assert len(set(codes)) == 50
    for code in codes:
        check_card_code(code)


def test_the_audits_file_has_a_row_for_every_batch(manager, hand):
    for _ in range(3):
        hand.batch()
    answer = manager.get("/api/audit.csv")
    assert answer.headers["content-type"] == "text/csv; charset=utf-8"
    assert answer.headers["content-disposition"].startswith("attachment")
    rows = list(csv.DictReader(io.StringIO(answer.text, newline="")))
    assert sorted(row["number"] for row in rows) == ["1", "2", "3"]


def test_the_audits_file_runs_nothing_in_a_spreadsheet(manager, hand):
    """OWASP ASVS 5.0, 1.2.10: a cell that begins like a formula is guarded."""
    hand.batch(components=[{"product": "Base", "role": "base", "lot": "=1+1"}])
    row = next(csv.DictReader(io.StringIO(manager.get("/api/audit.csv").text)))
    assert row["lots"] == "'=1+1"


def test_no_answer_ever_holds_a_hash_or_a_token(web_shop, manager, hand):
    token = manager.headers["Authorization"].partition(" ")[2]
    for path in READS:
        if "{" not in path and path not in ("/api/nearest", "/api/compare"):
            text = manager.get(path).text
            assert "$argon2" not in text and PASSWORD_HASH not in text, path
            assert token not in text, path
            assert not re.search(r"(password|token)_hash", text), path


def test_who_i_am_names_person_and_roles(web_shop):
    me = web_shop.program(Role.REFINISHER).get("/api/me").json()
    assert (me["person"]["name"], me["roles"]) == ("Ray", ["refinisher"])


def test_health_needs_nobody_and_tells_nothing_but_the_shop(web_shop):
    answer = web_shop.stranger().get("/healthz")
    assert answer.status_code == 200
    assert answer.json() == {"status": "ok", "version": "test", "shop": "Test shop"}


def test_cards_due_to_be_read_again_are_counted_listed_and_filed(manager, hand, black_cards):
    """Read just now, so not due; what the numbers are is asked of storage."""
    answer = manager.get("/api/due?months=1&order=slot").json()
    assert answer["counts"] == {"masters": 0, "last": 0, "others": 0}
    assert answer["cards"] == {"lines": [], "after": None}
    assert manager.get("/api/moved").json() == {"lines": [], "after": None}
    head = manager.get("/api/due.csv").text.splitlines()
    assert len(head) == 1 and {"code", "slot", "read_at", "days_over"} <= set(head[0].split(","))


@pytest.mark.parametrize(
    "query", ["due?months=0", "due?months=121", "due?order=age", "moved?at_least=-1"]
)
def test_a_due_list_that_cannot_be_is_refused(manager, query):
    assert manager.get(f"/api/{query}").status_code == 422
