"""Labels and reports from the command line, read back from the files they write."""

from __future__ import annotations

import os
from datetime import UTC, datetime

import pytest
import zxingcpp

from service.domain.card_code import grouped, read_card_code
from service.domain.records.cards import Card
from service.domain.terms import FinishKind
from service.storage.database import open_database
from service.use_cases import job
from service.use_cases.label_stock import STOCKS
from tests.paper_pages import Pages
from tests.shop_hand import ShopHand


@pytest.fixture(scope="module")
def shop(tmp_path_factory):
    """A job with one card in a slot, and a repair of it; the folder, its orders and the code."""
    folder = tmp_path_factory.mktemp("papers")
    with open_database(folder) as database:
        hand = ShopHand(database.create_shop("Test shop", manager="First Manager"))
        hand.clock = datetime(2024, 5, 1, 8, tzinfo=UTC)
        hand.job_id = hand.do(job.OpenJob, work_order="W-7/b", title="Invented van")
        hand.finish = hand.on_job(job.AddFinish, name="Body", kind=FinishKind.SOLID)
        hand.panel("Wing")
        card = hand.card(hand.batch(), slot="A-1")
        hand.bake(card)
        hand.master(card, hand.read(card, (50.0, 1.0, 1.0)))
        code = hand.file.get(Card, card).code
        hand.do(
            job.OpenJob,
            work_order="R-8",
            title="Invented van, again",
            repairs_job_id=hand.job_id,
            repairs_finish_id=hand.finish,
            damage="Stone chip",
        )
    return folder, code


@pytest.fixture
def run(keepcard, shop, tmp_path, monkeypatch):
    """Run a command over the shop; gives what it said and the pages it wrote."""
    for name in [name for name in os.environ if name.startswith("KEEPCARD_")]:
        monkeypatch.delenv(name)

    def paper(command, *arguments):
        file = tmp_path / "made.pdf"
        done = keepcard(command, str(file), "--data", str(shop[0]), *arguments)
        return done, Pages(file.read_bytes()) if file.exists() else None

    return paper


def codes_on(pages):
    return [
        code.text
        for page in range(len(pages))
        for code in zxingcpp.read_barcodes(pages.picture(page, 300))
    ]


def test_blank_labels_with_fresh_codes(run):
    done, pages = run("labels", "--fresh", "4", "--stock", "a4-21", "--start", "20")
    assert done.exit_code == 0, done.output
    assert "holds 4 labels, 63.5 × 38.1 mm, 21 on A4. Print at 100 %." in done.stdout
    assert len(pages) == 2
    assert len({read_card_code(code) for code in codes_on(pages)}) == 4


@pytest.mark.parametrize("which", ["job", "slot", "code"])
def test_labels_of_cards_open_their_pages(run, shop, which):
    given = {"job": "W-7/b", "slot": "A-1", "code": grouped(shop[1]).lower()}[which]
    address = ("--public-address", "https://cards.example")
    done, pages = run("labels", f"--{which}", given, "--stock", "roll-62x29", *address)
    assert done.exit_code == 0, done.output
    assert "holds 1 label, 62 × 29 mm, roll." in done.stdout
    assert codes_on(pages) == [f"HTTPS://CARDS.EXAMPLE/C/{shop[1]}"]
    assert "Slot A-1" in pages.text()


def test_every_stock_is_listed(run):
    done, pages = run("labels", "--stock", "list")
    assert done.exit_code == 0 and pages is None
    assert [line.split()[0] for line in done.stdout.splitlines()] == [s.name for s in STOCKS]


def test_the_report_of_a_job_with_its_journals(run, shop):
    done, pages = run("report", "--job", "W-7/b", "--paper", "letter", "--zone", "Asia/Tokyo")
    assert done.exit_code == 0, done.output
    assert done.stdout.rstrip().endswith("holds the report of the job W-7/b.")
    assert pages.size_mm() == pytest.approx((215.9, 279.4), abs=0.1)
    shown = pages.text()
    assert "Work order W-7/b" in shown and "times of Asia/Tokyo" in shown
    with open_database(shop[0], read_only=True) as database:
        heads = {head.chain: head for head in database.store().heads()}
        job_id = database.store().job_by_work_order("W-7/b")
        shop_id = database.store().shop_id
    for chain in (job_id, shop_id):
        assert heads[chain].hash in shown.replace(" ", "")


def test_the_sheet_of_a_card_and_of_a_repair(run, shop, tmp_path):
    done, pages = run("report", "--card", shop[1])
    assert f"holds the sheet of the card {grouped(shop[1])}." in done.stdout
    assert "The master of Body" in pages.text()
    (tmp_path / "made.pdf").unlink()
    done, pages = run("report", "--job", "R-8", "--repair")
    assert "holds the repair sheet of the job R-8." in done.stdout
    assert "Stone chip" in pages.text()


@pytest.mark.parametrize(
    ("command", "arguments", "said"),
    [
        ("labels", (), "Say which labels to print: one of --fresh N, --job, --slot or --code."),
        ("labels", ("--fresh", "2", "--slot", "A-1"), "Say which labels to print"),
        ("labels", ("--fresh", "0"), "There cannot be 0 labels. Print 1 to 500 at once."),
        ("labels", ("--fresh", "1", "--stock", "a9"), "There is no stock 'a9'. Choose one of"),
        ("labels", ("--fresh", "1", "--start", "40"), "The sheet has no place 40."),
        ("labels", ("--job", "W-none"), "No job has the work order W-none."),
        ("labels", ("--slot", "Z-9"), "There is no card in slot Z-9"),
        ("labels", ("--code", "7K3Q"), "'7K3Q' is not a card code."),
        ("labels", ("--fresh", "1", "--public-address", "cards/x"), "not an address"),
        ("report", (), "either --job ORDER, with --repair or not, or --card CODE."),
        ("report", ("--card", "x", "--repair"), "either --job ORDER"),
        ("report", ("--job", "W-7/b", "--repair"), "W-7/b is no repair of a stored finish."),
        ("report", ("--job", "W-7/b", "--zone", "Nowhere"), "The time zone 'Nowhere' is unknown."),
    ],
)
def test_what_cannot_be_printed_is_said_and_nothing_is_written(run, command, arguments, said):
    done, pages = run(command, *arguments)
    assert done.exit_code == 2
    assert said in done.stderr
    assert pages is None


@pytest.mark.parametrize("arguments", [("labels", "--fresh", "1"), ("report", "--job", "W-7/b")])
def test_a_file_that_is_there_already_is_left_alone(keepcard, shop, tmp_path, arguments):
    file = tmp_path / "made.pdf"
    file.write_bytes(b"mine")
    command, *rest = arguments
    done = keepcard(command, str(file), "--data", str(shop[0]), *rest)
    assert done.exit_code == 2 and "is already there. Name a new file." in done.stderr
    assert file.read_bytes() == b"mine"
