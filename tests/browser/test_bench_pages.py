"""The painter's work in a real browser: taps counted, targets measured, axe finding nothing.

The budget of taps is design.md's: a repeat card in 6, a new batch with its digits in 24.
"""

from __future__ import annotations

import socket
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from threading import Thread
from time import monotonic, sleep
from typing import Any

import pytest

from service.domain.card_code import grouped, new_card_code
from service.domain.records.cards import Card
from service.domain.records.measuring import Reading
from service.domain.records.spraying import Batch, Component
from service.domain.terms import FinishKind
from service.use_cases.closing import ApproveMaster
from service.use_cases.sign_in import IDLE, LONGEST
from service.use_cases.spraying import SprayCoat
from service.web.security import COOKIE
from tests.browser.conftest import axe_findings, kept_picture
from tests.browser.test_kit_axe import TARGETS, TEXT_SIZES
from tests.web.pages.bench_shop import COMPONENTS, DARK_RED, BenchShop

pytestmark = pytest.mark.browser

REPEAT_CARD_TAPS = 6
NEW_BATCH_TAPS = 24


@contextmanager
def served(app: Any) -> Iterator[str]:
    """The application on a free port of this machine."""
    import uvicorn

    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    config = uvicorn.Config(app, host="127.0.0.1", port=port, log_level="warning", lifespan="off")
    server = uvicorn.Server(config)
    thread = Thread(target=server.run, daemon=True)
    thread.start()
    give_up = monotonic() + 30
    while not server.started and monotonic() < give_up:
        sleep(0.02)
    try:
        yield f"http://127.0.0.1:{port}"
    finally:
        server.should_exit = True
        thread.join(timeout=30)


@dataclass
class Bench:
    """A served shop, and what is in it."""

    shop: BenchShop
    address: str
    pages: dict[str, str]

    def signed_in(self, person: str | None = None) -> dict[str, Any]:
        """What a browser keeps once somebody signed in, for ``open_page``."""
        sessions = self.shop.app.state.services.shop.sessions
        token = sessions.start(person or self.shop.painter, idle=IDLE, longest=LONGEST)
        host = self.address.removeprefix("http://").partition(":")[0]
        cookie = {
            "name": COOKIE,
            "value": token,
            "domain": host,
            "path": "/",
            "expires": -1,
            "httpOnly": True,
            "secure": False,
            "sameSite": "Lax",
        }
        return {"storage_state": {"cookies": [cookie], "origins": []}}


@pytest.fixture(scope="module")
def bench(tmp_path_factory) -> Iterator[Bench]:
    """A job with a joint that shows, one that waits, and everything a form can start with."""
    shop = BenchShop(tmp_path_factory.mktemp("bench"))
    hand = shop.hand
    shop.product(bake_minutes=30.0, bake_temperature_c=60.0)
    shop.instrument()
    shop.job(colour_code="X-7", colour_name="Deep red")
    roof = hand.panel("Roof", x=1.0, y=0.5, areas=("Front half", "Rear half"))
    first = shop.batch_with_card(shop.wing, DARK_RED)
    hand.master(first.card, first.reading)
    shop.batch_with_card(shop.door, (33.4, 38.0, 20.0))
    third = shop.batch_with_card(roof, (32.05, 38.0, 20.1))
    hand.batch(components=COMPONENTS, role="clear")
    hand.batch(components=COMPONENTS, by=shop.painter)
    batches = {b.number: b.root for b in shop.file.all(Batch)}
    job, shows = f"/jobs/{hand.job_id}", f"/jobs/{hand.job_id}/batches/{batches[2]}"
    pages = {
        "bench": "/bench",
        "bench-label": f"/bench?code={new_card_code()}",
        "job": job,
        "batch-shows": shows,
        "batch-without-card": f"{job}/batches/{batches[5]}",
        "batch-new": f"{job}/batches/new",
        "coat": f"{shows}/coats/new",
        "card": f"{shows}/cards/new",
        "reading": f"/c/{third.code}/readings/new",
        "bake": f"{job}/bakes/new",
        "finishing": f"{job}/finishings/new",
        "job-new": "/jobs/new",
        "finish-new": f"{job}/finishes/new",
        "panel-new": f"{job}/panels/new",
        "area-new": f"{job}/areas/new",
        "joint-new": f"{job}/joints/new",
    }
    with served(shop.app) as address:
        yield Bench(shop, address, pages)
    shop.close()


NAMES = (
    "bench bench-label job batch-shows batch-without-card batch-new coat card reading bake "
    "finishing job-new finish-new panel-new area-new joint-new"
).split()


class Finger:
    """Counts what a painter taps: links, buttons, fields, and every digit of a keypad."""

    def __init__(self, page: Any) -> None:
        self.page = page
        self.taps = 0

    def tap(self, role: str, name: str, **more: Any) -> None:
        self.taps += 1
        self.page.get_by_role(role, name=name, **more).first.click()

    def box(self, label: str) -> None:
        self.taps += 1
        self.page.get_by_label(label).first.check()

    def keys(self, label: str, text: str) -> None:
        """A tap into the field, one on each key, and what stood there replaced."""
        self.taps += 1 + len(text)
        self.page.get_by_label(label, exact=True).first.fill(text)

    @property
    def heading(self) -> str:
        return str(self.page.locator("h1").inner_text())


@pytest.mark.parametrize(("width", "scheme"), [(390, "light"), (820, "dark"), (1280, "light")])
@pytest.mark.parametrize("name", NAMES)
def test_axe_finds_nothing(open_page, bench, name, width, scheme):
    page = open_page(
        bench.address + bench.pages[name], width=width, scheme=scheme, **bench.signed_in()
    )
    with kept_picture(page, "bench", f"{name}-{width}-{scheme}"):
        assert axe_findings(page) == []
        assert page.evaluate("document.documentElement.scrollWidth") <= width


def test_axe_finds_nothing_on_the_limits(open_page, bench):
    path = f"/jobs/{bench.shop.hand.job_id}/finishes/{bench.shop.hand.finish}/limits"
    page = open_page(bench.address + path, **bench.signed_in(bench.shop.manager))
    page.get_by_text("Like with like").click()
    with kept_picture(page, "bench", "limits-390"):
        assert axe_findings(page) == []


def test_a_refused_form_takes_the_eye_to_what_is_wrong(chromium, bench):
    # Not by open_page: a browser notes the answer 422 as trouble of its own.
    context = chromium.new_context(viewport={"width": 390, "height": 844}, **bench.signed_in())
    try:
        page = context.new_page()
        page.goto(bench.address + bench.pages["card"])
        page.get_by_role("button", name="Save the card").click()
        with kept_picture(page, "bench", "card-refused-390"):
            assert "The card has no code yet" in page.locator("#errors").inner_text()
            assert page.evaluate("document.activeElement.id") == "errors"
            assert axe_findings(page) == []
    finally:
        context.close()


@pytest.mark.parametrize("name", NAMES)
def test_whatever_a_glove_presses_is_large_enough(open_page, bench, name):
    page = open_page(bench.address + bench.pages[name], **bench.signed_in())
    for fold in page.locator("summary").all():
        fold.click()
    targets = page.evaluate(TARGETS)
    assert targets
    in_sentences = page.evaluate(
        "() => [...document.querySelectorAll('main p a')]"
        ".filter(a => getComputedStyle(a, '::after').position !== 'absolute')"
        ".map(a => a.outerHTML.slice(0, 90))"
    )
    small = [
        target
        for target in targets
        if target["height"] < 71.5
        and target["what"] not in in_sentences
        and 'class="table-view"' not in target["what"]
    ]
    assert small == []
    assert [text for size, text in page.evaluate(TEXT_SIZES) if size < 18] == []


def test_a_repeat_card_takes_at_most_six_taps(open_page, bench):
    page = open_page(bench.address + "/bench", **bench.signed_in())
    finger = Finger(page)
    before = len(bench.shop.file.all(Card))
    finger.tap("link", "Card from batch 5")
    finger.box("No label at hand")
    finger.tap("button", "Save the card")
    assert "The card of batch 5 was not read yet" in finger.heading
    assert finger.taps <= REPEAT_CARD_TAPS
    cards = bench.shop.file.all(Card)
    assert len(cards) == before + 1
    # Everything but its label is as on the last card, its slot the next one.
    assert (cards[-1].slot, cards[-1].hung, cards[-1].kind) == (
        "A-4",
        cards[-2].hung,
        cards[-2].kind,
    )


def test_a_scanned_label_takes_two_taps(open_page, bench):
    code = new_card_code()
    page = open_page(f"{bench.address}/bench?code={code}", **bench.signed_in())
    finger = Finger(page)
    assert grouped(code) in finger.heading
    finger.tap("link", "Card from batch 5")
    finger.tap("button", "Save the card")
    assert finger.taps <= REPEAT_CARD_TAPS
    assert bench.shop.file.all(Card)[-1].code == code


def test_a_new_batch_takes_at_most_twenty_four_taps_with_its_digits(open_page, bench):
    page = open_page(bench.address + "/bench", **bench.signed_in())
    finger = Finger(page)
    finger.tap("link", "Mix the next pot like it")
    page.get_by_label("Lot if known", exact=True)
    finger.keys("Lot if known", "B-81")
    finger.keys("Amount if known", "350")
    page.get_by_label("Amount if known", exact=True).nth(1).fill("175")
    finger.taps += 1 + 3
    finger.tap("button", "Save batch")
    assert finger.taps <= NEW_BATCH_TAPS
    assert "has no card yet" in finger.heading
    assert "keeps to the sheet of Deep basecoat" in page.locator("main").inner_text()
    newest = max(bench.shop.file.all(Batch), key=lambda b: b.number)
    poured = bench.shop.file.by(Component, "batch_id", newest.root)
    assert [(c.lot, c.amount) for c in poured] == [("B-81", 350.0), ("R-3", 175.0)]


def test_a_second_coat_takes_two_taps(open_page, bench):
    hand = bench.shop.hand
    batch = hand.batch(components=COMPONENTS, by=bench.shop.painter)
    hand.on_job(
        SprayCoat,
        batch_id=batch,
        panel_ids=(bench.shop.wing, bench.shop.door),
        by=bench.shop.painter,
    )
    page = open_page(f"{bench.address}/jobs/{hand.job_id}/batches/{batch}", **bench.signed_in())
    finger = Finger(page)
    finger.tap("link", "Log a coat")
    finger.tap("button", "Save the coat")
    assert finger.taps == 2
    assert "Base coat 5 on Left wing and Left door" in page.locator("main").inner_text()


@pytest.mark.parametrize("width", [390, 1280])
def test_from_a_new_job_to_a_verdict_without_script(open_page, bench, width):
    shop = bench.shop
    page = open_page(bench.address + "/bench", width=width, script=False, **bench.signed_in())
    tap, fill = Finger(page).tap, page.fill
    tap("link", "Open a job")
    fill("[name=work_order]", f"W-{width}")
    fill("[name=title]", "Invented coupe")
    tap("button", "Open the job")
    fill("[name=name]", "Body")
    page.check("[name=kind][value=solid]")
    fill("[name=coats_to_hide]", "2")
    tap("button", "Add the finish")
    page.check("[name=common][value='Left front wing']")
    page.check("[name=common][value='Left front door']")
    tap("button", "Add the panels")
    page.locator("[name=likely]").first.check()
    tap("button", "Add the joints")
    for number, colour in ((1, (40.0, 20.0, 10.0)), (2, (41.6, 20.0, 10.0))):
        tap("link", "Mix a batch")
        fill("[name='components.0.product']", "Deep basecoat")
        fill("[name='components.0.amount']", "200")
        fill("[name='components.1.product']", "Thin reducer")
        fill("[name='components.1.amount']", "100")
        tap("button", f"Save batch {number}")
        tap("link", "Spray a card with it")
        page.check("[name=take_fresh]")
        fill("[name='coats.0.coats']", "2")
        page.check("[name=hiding_mark][value=covered]")
        tap("button", "Save the card")
        tap("link", "Log a coat")
        page.locator("[name=panel_ids]").nth(number - 1).check()
        page.check("[name='set_up.hides'][value=yes]")
        tap("button", "Save the coat")
        tap("link", "Read card")
        for repeat in range(3):
            for axis, value in zip("Lab", colour, strict=True):
                fill(f"[name='lab.only.{repeat}.{axis}']", f"{value + repeat * 0.01:.2f}")
        fill("[name='reading.surface_temperature_c']", "23")
        page.select_option("[name='reading.illuminant']", "D65")
        page.select_option("[name='reading.observer']", "10")
        page.locator("[name='reading.instrument_id']").first.check()
        tap("button", "Save and judge")
        if number == 1:
            assert page.locator("h1").inner_text() == "Batch 1 is read, and waits for a master"
            job_id = page.url.split("/")[4]
            file = shop.store.job(job_id)
            shop.hand.do(
                ApproveMaster,
                job_id=job_id,
                card_id=file.all(Card)[0].root,
                reading_ids=(file.all(Reading)[0].root,),
            )
            page.goto(f"{bench.address}/jobs/{job_id}")
    with kept_picture(page, "bench", f"verdict-{width}"):
        assert page.locator("h1").inner_text() == "Batch 2 would show against the master"
        hero = page.locator(".verdict-hero").inner_text()
        assert hero.startswith("Shows 1.") and "limit 0.80" in hero and "lighter" in hero
    page.goto(f"{bench.address}/jobs/{job_id}")
    with kept_picture(page, "bench", f"job-shows-{width}"):
        assert page.locator("h1").inner_text() == "One joint on this job would show"


def test_an_effect_finish_is_read_at_three_angles(open_page, bench):
    shop, hand = bench.shop, bench.shop.hand
    kept = hand.job_id, hand.finish
    shop.job(FinishKind.METALLIC)
    sprayed = shop.batch_with_card(shop.wing)
    page = open_page(f"{bench.address}/c/{sprayed.code}/readings/new", **bench.signed_in())
    with kept_picture(page, "bench", "reading-three-angles"):
        assert page.locator(".labs").count() == 3
        assert axe_findings(page) == []
    hand.job_id, hand.finish = kept


def test_a_clock_counts_on_while_the_page_stays_open(bench, open_page, tmp_path_factory):
    """The browser's own clock is moved on; nothing is sent meanwhile."""
    shop = BenchShop(tmp_path_factory.mktemp("clocks"))
    product = shop.product(flash_minutes=15.0, pot_life_minutes=240.0)
    shop.job()
    shop.hand.clock = datetime.now(UTC) - timedelta(minutes=3)
    batch = shop.hand.batch(components=COMPONENTS, product_id=product, by=shop.painter)
    shop.hand.spray(batch, coats=1, panel_ids=(shop.wing,))
    with served(shop.app) as address:
        signed_in = Bench(shop, address, {}).signed_in()
        page = open_page(f"{address}/bench", **signed_in)
        page.clock.install(time=datetime.now(UTC))
        page.reload()
        flash = page.locator(".clock").first
        assert "left" in flash.inner_text() and not flash.locator(".clock-then").is_visible()
        with kept_picture(page, "bench", "clocks-390"):
            assert axe_findings(page) == []
        page.clock.run_for("15:00")
        assert "over since" in flash.inner_text()
        assert flash.locator(".clock-then").inner_text() == "The next coat may go on."
        with kept_picture(page, "bench", "clocks-over-390"):
            assert axe_findings(page) == []
    shop.close()
