"""The bench: the jobs in hand, the last batch, and a card by its label."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from service.domain.card_code import grouped, new_card_code
from service.domain.records.spraying import Batch
from service.use_cases.closing import Accept
from tests.web.pages.bench_shop import COMPONENTS, DARK_RED, BenchShop


@pytest.fixture
def shop(tmp_path):
    made = BenchShop(tmp_path)
    yield made
    made.close()


def test_an_empty_shop_is_told_what_comes_first(shop):
    page = shop.browser().open("/bench")
    assert page.heading == "No job is open"
    assert "Open a job for the vehicle" in page.main.text
    assert page.follow("Open a job").heading == "Open a job for one vehicle or object"


def test_what_would_show_stands_first(shop):
    shop.job()
    good = shop.file.chain
    shop.batch_with_card(shop.wing, DARK_RED)
    shop.job()
    bad = shop.file.chain
    first = shop.batch_with_card(shop.wing, DARK_RED)
    shop.hand.master(first.card, first.reading)
    shop.batch_with_card(shop.door, (33.4, 38.0, 20.0))
    shop.job()
    page = shop.browser().open("/bench")
    assert page.heading == "One job in hand would show"
    jobs = next(s for s in page.main.all("section") if s.text.startswith("Jobs in hand"))
    leads_to = [a.attributes["href"] for a in jobs.all("a") if a.attributes["href"] != "/jobs/new"]
    assert leads_to[0] == f"/jobs/{bad}" and f"/jobs/{good}" in leads_to
    assert "One joint would show." in jobs.all("li")[0].text
    assert len(jobs.all("li")[0].all("svg", class_="mark-shows")) == 1
    assert any("Nothing is sprayed yet." in item.text for item in jobs.all("li"))


def test_what_was_accepted_no_longer_heads_the_bench(shop):
    shop.job()
    first = shop.batch_with_card(shop.wing, DARK_RED)
    shop.hand.master(first.card, first.reading)
    second = shop.batch_with_card(shop.door, (33.4, 38.0, 20.0))
    shop.hand.on_job(Accept, why="Hidden by the handle.", joint_id=shop.gap)
    page = shop.browser().open("/bench")
    assert page.heading == "One job in hand would show"
    assert "One batch would show against the master." in page.main.text
    shop.hand.on_job(Accept, why="Inside the door.", batch_id=second.batch)
    assert shop.browser().open("/bench").heading == "Nothing in hand would show so far"


def test_a_painter_goes_on_from_their_own_last_batch_of_colour(shop):
    shop.job()
    shop.hand.batch(components=COMPONENTS, by=shop.painter)
    shop.hand.batch(components=COMPONENTS, role="clear", by=shop.painter)
    shop.hand.batch(components=COMPONENTS)
    mine = next(b for b in shop.file.all(Batch) if b.number == 1)
    page = shop.browser().open("/bench")
    assert page.link("Card from batch 1") == shop.at(f"/batches/{mine.root}/cards/new")
    assert page.follow("Mix the next pot like it").heading == "Batch 4: what goes into the pot"
    # Somebody who mixed nothing goes on from the shop's last.
    assert shop.browser(shop.hand.refinisher).open("/bench").link("Card from batch 3")


def test_a_label_that_hangs_opens_its_card(shop):
    shop.job()
    sprayed = shop.batch_with_card()
    browser = shop.browser()
    browser.client.follow_redirects = False
    answer = browser.client.get("/bench", params={"code": grouped(sprayed.code).lower()})
    assert answer.status_code == 303
    assert answer.headers["location"] == f"/c/{sprayed.code}"


def test_a_fresh_label_is_offered_the_last_batches(shop):
    shop.job()
    shop.hand.batch(components=COMPONENTS)
    shop.hand.batch(components=COMPONENTS)
    code = new_card_code()
    page = shop.browser().open(f"/bench?code={grouped(code)}")
    assert page.heading == f"No card has the label {grouped(code)} yet"
    form = page.follow("Card from batch 2")
    assert form.fields()["code"] == [grouped(code)]
    assert any(a.text.startswith("Batch 1, ") for a in page.main.all("a"))


def test_a_mistyped_label_is_said_and_stays_in_its_field(shop):
    shop.job()
    code = new_card_code()
    wrong = code[:-1] + ("A" if code[-1] != "A" else "B")
    page = shop.browser().open(f"/bench?code={wrong}")
    assert page.status == 422
    assert "has a wrong character, or two swapped" in page.errors[0]
    assert page.main.one("input", id="f-code").attributes["value"] == wrong


def test_nobody_gets_in_without_signing_in(shop):
    browser = shop.browser()
    browser.client.cookies.clear()
    browser.client.follow_redirects = False
    for path in ("/bench", "/jobs/new"):
        answer = browser.client.get(path)
        assert answer.status_code == 303 and answer.headers["location"].startswith("/sign-in")


def test_no_link_of_the_bench_leads_nowhere(shop):
    shop.product()
    shop.instrument()
    shop.job()
    first = shop.batch_with_card(shop.wing, DARK_RED)
    shop.hand.master(first.card, first.reading)
    second = shop.batch_with_card(shop.door, (33.4, 38.0, 20.0))
    browser = shop.browser(shop.manager)
    starts = ["/bench", f"/bench?code={new_card_code()}", shop.at(), shop.at("?show=all")]
    starts += [shop.at(f"/batches/{one.batch}") for one in (first, second)]
    starts.append(f"/c/{second.code}/readings/new")
    seen: dict[str, int] = {}
    for start in starts:
        page = browser.open(start)
        assert page.status == 200, start
        for link in page.document.all("a"):
            href = link.attributes["href"].partition("#")[0]
            if href and href not in seen:
                seen[href] = browser.open(href).status
    assert len(seen) > 25
    assert {href: status for href, status in seen.items() if status != 200} == {}


def test_what_runs_on_the_jobs_in_hand_is_counted_at_the_bench(shop):
    product = shop.product(flash_minutes=15.0, pot_life_minutes=240.0)
    shop.job()
    shop.hand.clock = datetime.now(UTC) - timedelta(minutes=5)
    batch = shop.hand.batch(components=COMPONENTS, product_id=product, by=shop.painter)
    shop.hand.spray(batch, coats=1, panel_ids=(shop.wing,))
    page = shop.browser().open("/bench")
    said = page.main.text.replace("\u202f", " ")
    assert "Running now" in said
    assert "Flash of base coat 1, batch 1 (Left wing)" in said
    assert "Pot life of batch 1" in said and "3 h 56 min left" in said
    assert said.index("Flash of base") < said.index("Pot life"), "next to end stands first"
    assert "Running now" not in shop.browser().open(f"/bench?code={new_card_code()}").main.text
