"""Taking in a readings file on a page: chosen, looked at, stored; and whatever can go wrong."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import UTC, datetime

import pytest
from click.testing import CliRunner

from service.app import command_ports
from service.cli import cli
from service.domain.card_code import grouped
from service.domain.lookups import verdict_on_batch
from service.domain.moment import as_text
from service.domain.records.measuring import Reading
from service.domain.terms import Stage
from service.storage.database import open_store
from service.use_cases.measuring import DropReading
from service.web.files_taken import MOST_BYTES
from tests.web.pages.bench_shop import DARK_RED, BenchShop, Browser, Sheet, Sprayed

HEAD = "card,repeat,L*,a*,b*,illuminant,observer,geometry,specular,temperature_c,stage,instrument\n"
SAID = "D65,10,d:8,included,22.5,baked,Bench sphere"


def csv(*codes: str, said: str = SAID, head: str = HEAD, start: float = 32.0) -> bytes:
    """Three repeats of each card, a little apart."""
    rows = [
        f"{grouped(code)},{n},{start + place + 0.02 * n:.2f},38.0{n},20.0{n},{said}\n"
        for place, code in enumerate(codes)
        for n in (1, 2, 3)
    ]
    return (head + "".join(rows)).encode()


BARE_HEAD = "card,repeat,L*,a*,b*\n"


def bare(*codes: str, start: float = 32.0) -> bytes:
    """The same without a word of the conditions."""
    return re.sub(rb",D65.*\n", b"\n", csv(*codes, head=BARE_HEAD, start=start))


@dataclass
class Taking:
    """A shop whose master is read and whose other cards are not, and somebody at the bench."""

    shop: BenchShop
    browser: Browser
    master: Sprayed
    cards: tuple[Sprayed, ...]

    def choose(self, content: bytes, name: str = "monday.csv", **query: str) -> Sheet:
        """Send a file and see what the page says of it."""
        form = self.browser.open("/readings/new" + (f"?card={query['card']}" if query else ""))
        action = form.main.one("form").attributes["action"]
        answer = self.browser.client.post(action, files={"file": (name, content)})
        return self.browser._sheet(answer)

    def readings(self) -> list[Reading]:
        return self.shop.file.all(Reading)


@pytest.fixture
def taking(tmp_path):
    shop = BenchShop(tmp_path)
    shop.instrument()
    shop.job()
    master = shop.batch_with_card(shop.wing, DARK_RED)
    shop.hand.master(master.card, master.reading)
    cards = (shop.batch_with_card(shop.door), shop.batch_with_card())
    yield Taking(shop, shop.browser(), master, cards)
    shop.close()


def said(sheet: Sheet) -> str:
    return re.sub(r"\s+", " ", sheet.main.text)


def test_a_file_that_says_everything_is_seen_then_stored_and_judged(taking):
    first, second = taking.cards
    before = len(taking.readings())
    page = taking.choose(csv(first.code, second.code))
    assert page.heading == "Two readings of two cards, not stored yet"
    assert f"{grouped(first.code)}, batch 2" in said(page)
    assert "Baked: D65/10°, d:8, specular included, Bench sphere, 22.5 °C 3 repeats" in said(page)
    assert len(taking.readings()) == before
    done = page.send()
    assert done.status == 200
    assert done.heading == "Two readings of two cards are on record"
    assert "The readings are on record, and what they bear on was judged." in done.html
    new = taking.readings()[before:]
    assert [one.card_id for one in new] == [first.card, second.card]
    assert new[0].source == "monday.csv"
    assert new[0].author_id == taking.shop.painter
    for card in taking.cards:
        verdict = verdict_on_batch(taking.shop.file, card.batch)
        assert verdict.sentence in said(done)
        assert f"/batches/{card.batch}" in done.html
    assert len(done.main.all("svg", class_="mark mark-blends")) + done.html.count("mark-shows") > 0


def test_when_it_was_read_is_said_on_the_page_by_the_shops_clock(taking):
    first, _ = taking.cards
    page = taking.choose(csv(first.code))
    address = page.address + "&read_at=2026-01-02T03:04"
    page = taking.browser.open(address)
    assert page.main.one("input", name="read_at").attributes["value"] == "2026-01-02T03:04"
    assert page.send().status == 200
    # Lisbon keeps UTC in winter.
    assert as_text(taking.readings()[-1].observed_at).startswith("2026-01-02T03:04")
    wrong = taking.browser.open(taking.choose(csv(first.code, start=40.0)).address + "&read_at=x")
    assert wrong.status == 422 and "'x' is no time" in wrong.main.text


def test_the_same_file_again_is_said_to_be_on_record_and_offers_no_store(taking):
    content = csv(taking.cards[0].code)
    taking.choose(content).send()
    count = len(taking.readings())
    again = taking.choose(content, name="copy of monday.csv")
    assert again.heading == "One reading of one card is on record"
    assert "Store" not in said(again)
    assert not [f for f in again.main.all("form") if f.attributes["method"] == "post"]
    assert len(taking.readings()) == count


def test_what_a_page_stored_is_on_record_for_the_command_line(taking, tmp_path):
    content = csv(taking.cards[0].code)
    taking.choose(content).send()
    count = len(taking.readings())
    heads = taking.shop.store.heads()
    taking.shop.close()
    path = tmp_path / "by hand.csv"
    path.write_bytes(content)
    said = ["import", str(path), "--data", str(tmp_path), "--as", "First Manager"]
    result = CliRunner().invoke(cli, said, obj=command_ports())
    assert result.exit_code == 0, result.output
    assert "0 readings stored, 1 were on record already." in result.stdout
    store = open_store(tmp_path, read_only=True)
    with store.database:
        assert store.heads() == heads
        assert len(store.job(taking.shop.hand.job_id).all(Reading)) == count


def test_a_form_sent_twice_stores_once(taking):
    page = taking.choose(csv(taking.cards[0].code))
    assert page.send().status == page.send().status == 200
    assert len(taking.readings()) == 2


def test_only_what_the_file_leaves_open_is_asked(taking):
    page = taking.choose(csv(taking.cards[0].code, said="D65,10,d:8,,,,", head=HEAD))
    assert page.heading == "Say what the file does not"
    asked = {e.attributes.get("name") for t in ("input", "select") for e in page.main.all(t)}
    assert {"stage", "instrument", "specular", "temperature_c"} <= asked
    assert not {"illuminant", "observer", "geometry"} & asked
    whole = taking.choose(bare(taking.cards[0].code))
    assert f"It is of the card {grouped(taking.cards[0].code)}." in said(whole)
    asked = {e.attributes.get("name") for t in ("input", "select") for e in whole.main.all(t)}
    assert {"stage", "illuminant", "observer", "geometry"} <= asked


def test_what_is_stated_is_kept_by_the_address_and_stored(taking):
    page = taking.choose(bare(taking.cards[0].code))
    (form,) = page.main.all("form")
    hidden = {
        e.attributes["name"]: e.attributes["value"]
        for e in form.all("input")
        if e.attributes.get("type") == "hidden"
    }
    stated = {**hidden, "stage": "polished", "illuminant": "D65", "observer": "10"}
    stated |= {"geometry": "45:0", "temperature_c": "72,5", "temperature_c.unit": "F"}
    answer = taking.browser.client.get(form.attributes["action"], params=stated)
    page = taking.browser._sheet(answer)
    assert page.heading == "One reading of one card, not stored yet"
    page.send()
    reading = taking.readings()[-1]
    assert (reading.stage, reading.geometry, reading.illuminant) == ("polished", "45:0", "D65")
    assert reading.surface_temperature_c == pytest.approx(22.5)
    assert reading.source == "monday.csv"


def test_an_instrument_nobody_registered_is_asked_about(taking):
    words = SAID.replace("Bench sphere", "Other maker 7")
    page = taking.choose(csv(taking.cards[0].code, said=words))
    assert page.heading == "Say what the file does not"
    assert "No instrument is registered as Other maker 7." in said(page)
    page = taking.browser.open(page.address + "&instrument=none")
    assert page.heading == "One reading of one card, not stored yet"
    page.send()
    assert taking.readings()[-1].instrument_id is None


def test_every_problem_is_told_at_once_and_nothing_is_stored(taking):
    first = taking.cards[0]
    content = csv(first.code) + b"White tile,1,95,0,0,D65,10,d:8,included,22,baked,Bench sphere\n"
    content += f"{first.code} back,1,30,1,1,{SAID}\n".encode()
    page = taking.choose(content)
    assert page.heading == "Nothing of this file can be stored yet"
    told = [item.text for box in page.main.all("ul", class_="reasons") for item in box.all("li")]
    assert len(told) == 2
    assert told[0].startswith("Sample 2 (White tile): 'White tile' names no card.")
    assert "'back' beside the code is no stage, zone or repeat number" in told[1]
    assert "Store" not in said(page)


def test_samples_of_no_card_are_left_out_only_when_somebody_says_so(taking):
    content = csv(taking.cards[0].code)
    content += b"White tile,1,95,0,0,D65,10,d:8,included,22,baked,Bench sphere\n"
    page = taking.choose(content).follow("Leave out one sample that names no card here")
    assert page.heading == "One reading of one card, not stored yet"
    assert "left out: White tile." in said(page)
    page.send()
    assert len(taking.readings()) == 2


def test_a_file_for_one_card_takes_numbered_samples_as_its_repeats(taking):
    card = taking.cards[0]
    rows = "".join(f"{n},32.0{n},38,20,{SAID}\n" for n in (1, 2, 3))
    page = taking.choose((HEAD.replace("card,repeat", "name") + rows).encode(), card=card.code)
    assert page.heading == "One reading of one card, not stored yet"
    page.send()
    reading = taking.readings()[-1]
    assert reading.card_id == card.card
    assert [lab[0] for lab in reading.angles[0].repeats] == [32.01, 32.02, 32.03]


def test_a_file_for_one_card_whose_sample_names_another_is_refused(taking):
    first, second = taking.cards
    page = taking.choose(csv(second.code), card=first.code)
    assert page.heading == "Nothing of this file can be stored yet"
    assert f"named by the card {grouped(second.code)}, not {grouped(first.code)}" in said(page)


def test_a_dropped_reading_is_not_stored_again(taking):
    content = csv(taking.cards[0].code)
    taking.choose(content).send()
    reading = taking.readings()[-1]
    taking.shop.hand.on_job(DropReading, reading_id=reading.root, why="a fingerprint on it")
    page = taking.choose(content)
    assert "It was dropped: a fingerprint on it. It is not stored again." in said(page)
    assert reading.root not in {one.root for one in taking.readings()}


def test_a_reading_typed_by_hand_is_known_again(taking):
    card = taking.cards[0]
    rows = [(32.02, 38.01, 20.01), (32.04, 38.02, 20.02), (32.06, 38.03, 20.03)]
    zero = tuple(rows)
    taking.shop.hand.read(card.card, (0.0, 0.0, 0.0), repeats=zero, stage=Stage.BAKED)
    assert taking.choose(csv(card.code)).heading == "One reading of one card is on record"


def test_a_file_that_cannot_be_read_says_where_and_keeps_nothing(taking):
    page = taking.choose(b"card,L*,a*,b*\nX,25,twelve,6\n")
    assert page.status == 422
    assert "Line 2" in page.errors[0] and "twelve" in page.errors[0]
    assert taking.browser.open("/readings/new").status == 200
    empty = taking.browser._sheet(taking.browser.client.post("/readings/new", data={"x": "1"}))
    assert empty.errors == ["No file was chosen. Pick the one the instrument exported."]


def test_a_file_over_the_limit_is_refused(taking):
    content = b"x" * (MOST_BYTES + 1)
    answer = taking.browser.client.post("/readings/new", files={"file": ("big.csv", content)})
    assert answer.status_code == 413


def test_a_file_that_waits_no_longer_is_asked_for_again(taking, monkeypatch):
    page = taking.choose(csv(taking.cards[0].code))
    waiting = taking.shop.app.state.services.shop.waiting
    monkeypatch.setattr(waiting, "get", lambda sha: None)
    assert "Choose it again." in page.send().errors[0]
    assert len(taking.readings()) == 1


def test_what_has_changed_since_it_was_looked_at_is_shown_again(taking):
    page = taking.choose(csv(taking.cards[0].code))
    again = page.send(id="0" * 8)
    assert again.status == 422
    assert "has changed since you looked at it" in again.errors[0]
    assert len(taking.readings()) == 1
    assert again.send().status == 200
    assert len(taking.readings()) == 2


def test_a_word_that_is_not_offered_is_refused_at_its_field(taking):
    page = taking.choose(bare(taking.cards[0].code))
    wrong = taking.browser.open(page.address + "&stage=burnt&instrument=nobody")
    assert wrong.status == 422
    assert "'burnt' is unknown here" in wrong.errors[0]
    assert len(wrong.errors) == 2


def test_an_instrument_past_its_calibration_is_told_of(taking):
    taking.shop.instrument(name="Old sphere", calibration_due=datetime(2020, 1, 1, tzinfo=UTC))
    page = taking.choose(csv(taking.cards[0].code, said=SAID.replace("Bench sphere", "Old sphere")))
    assert "Old sphere is past its calibration" in said(page)


def test_the_bench_and_a_card_lead_to_it(taking):
    assert taking.browser.open("/bench").follow("Take in a readings file").heading == (
        "Take in a readings file"
    )
    card = taking.cards[0]
    page = taking.browser.open(f"/c/{card.code}").follow("Take readings from a file")
    assert page.heading == f"Take in a readings file of card {grouped(card.code)}"
