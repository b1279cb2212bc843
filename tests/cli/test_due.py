"""Cards that are due to be read again, from the command line."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta

import pytest

from service.domain.card_code import grouped
from service.domain.records.cards import Card
from service.storage.database import open_database
from tests.shop_hand import ShopHand

YEAR = timedelta(days=365)


@pytest.fixture
def shop(tmp_path):
    """A job of three years ago with a master and another card; the folder and their codes."""
    folder = tmp_path / "shop"
    folder.mkdir()
    with open_database(folder) as database:
        hand = ShopHand(database.create_shop("Test shop", manager="First Manager"))
        hand.clock = datetime.now(UTC) - 3 * YEAR
        hand.open()
        master, card = (hand.card(hand.batch(), slot=slot) for slot in ("B2", "A1"))
        hand.bake(master, card)
        hand.read(card, (50.0, 1.0, 1.0))
        hand.clock += YEAR
        hand.master(master, hand.read(master, (50.0, 1.0, 1.0)))
        codes = [hand.file.get(Card, id).code for id in (master, card)]
    return folder, codes


def test_masters_come_first_and_each_says_by_how_much_it_is_over(keepcard, shop):
    folder, (master, card) = shop
    done = keepcard("due", "--data", str(folder))
    assert done.exit_code == 0, done.output
    first, second = done.stdout.splitlines()[1:]
    assert first.split()[:2] == ["B2", grouped(master)] and "master of Body, batch 1" in first
    assert second.split()[:2] == ["A1", grouped(card)] and "last card of Body" in second
    # A year and two years over, give or take the day of a leap year and the minutes of the story.
    assert 362 <= int(first.split()[3]) <= 366 and 727 <= int(second.split()[3]) <= 731


def test_a_walk_goes_along_the_slots(keepcard, shop):
    done = keepcard("due", "--data", str(shop[0]), "--by-slot")
    assert [line.split()[0] for line in done.stdout.splitlines()[1:]] == ["A1", "B2"]


def test_the_same_as_one_json_object(keepcard, shop):
    folder, (master, card) = shop
    found = json.loads(keepcard("due", "--data", str(folder), "--json").stdout)
    assert [one["code"] for one in found["cards"]] == [master, card]
    assert found["months"] == 12 and all(one["days_over"] > 300 for one in found["cards"])


def test_none_is_due_after_longer(keepcard, shop):
    done = keepcard("due", "--data", str(shop[0]), "--months", "60")
    assert done.stdout == "No card in the rack was read last more than 60 months ago.\n"


@pytest.mark.parametrize("months", ["0", "121", "-1"])
def test_months_that_cannot_be_are_refused(keepcard, shop, months):
    done = keepcard("due", "--data", str(shop[0]), "--months", months)
    assert done.exit_code == 2
    assert f"{months} months cannot be asked for. Enter 1 to 120." in done.stderr
