"""A card is logged with little more than its label: all else is as on the last one."""

from __future__ import annotations

import pytest

from service.domain.card_code import grouped, new_card_code
from service.domain.records.cards import Card, Zone
from service.domain.records.spraying import Coat
from service.domain.terms import CardKind, FinishKind, HidingMark, Hung
from service.use_cases.cards import CardCoats, CardZone, LogCard
from service.use_cases.spraying import GunSetUp
from tests.web.pages.bench_shop import COMPONENTS, BenchShop


@pytest.fixture
def shop(tmp_path):
    made = BenchShop(tmp_path)
    yield made
    made.close()


def card_page(shop, batch, **query):
    path = shop.at(f"/batches/{batch}/cards/new")
    return shop.browser().open(path + "".join(f"?{k}={v}" for k, v in query.items()))


def a_card_before(shop, **fields):
    """A batch with a card that has everything on record."""
    batch = shop.hand.batch(components=COMPONENTS)
    coats = CardCoats(
        batch_id=batch, coats=3, set_up=GunSetUp(gun="Gun 3", tip_mm=1.3, pressure_bar=2.0)
    )
    given = {
        "coats": (coats,),
        "slot": "A-09",
        "substrate": "Steel, primed",
        "hung": Hung.FLAT,
        "hiding_mark": HidingMark.COVERED,
    }
    log(shop, batch, **{**given, **fields})
    return batch


def log(shop, batch, **fields):
    """Log a card with a fresh code."""
    shop.hand.on_job(LogCard, batch_id=batch, code=new_card_code(), **fields)


def test_a_repeat_card_needs_its_label_and_nothing_else(shop):
    shop.job()
    a_card_before(shop)
    batch = shop.hand.batch(components=COMPONENTS)
    page = card_page(shop, batch)
    page = page.send(take_fresh="yes")
    assert "The card is on record." in page.main.text
    assert page.heading == "The card of batch 2 was not read yet"
    card = shop.file.by(Card, "batch_id", batch)[0]
    assert (card.slot, card.substrate, card.hung) == ("A-10", "Steel, primed", Hung.FLAT)
    assert (card.hiding_mark, card.kind) == (HidingMark.COVERED, CardKind.RETENTION)
    coats = shop.file.by(Coat, "card_id", card.root)
    assert [(c.number, c.batch_id, c.gun, c.tip_mm) for c in coats] == [
        (n, batch, "Gun 3", 1.3) for n in (1, 2, 3)
    ]


def test_a_slot_that_is_taken_is_passed_over(shop):
    shop.job()
    a_card_before(shop)
    shop.hand.card(shop.hand.batch(), slot="A-10")
    batch = shop.hand.batch()
    # The last card hangs in A-10 now, and another in A-11.
    shop.hand.card(shop.hand.batch(), slot="A-11")
    assert card_page(shop, batch).fields()["slot"] == ["A-12"]


def test_the_code_of_a_label_is_taken_as_it_is_typed(shop):
    shop.job()
    batch = shop.hand.batch()
    code = new_card_code()
    page = card_page(shop, batch, code=code)
    assert page.heading == f"Card {grouped(code)}, from batch 1"
    page.send(code=grouped(code).lower())
    assert [card.code for card in shop.file.all(Card)] == [code]


def test_a_mistyped_label_is_refused_and_nothing_typed_is_lost(shop):
    shop.job()
    batch = shop.hand.batch()
    code = new_card_code()
    wrong = ("1" if code[0] != "1" else "2") + code[1:]
    page = card_page(shop, batch).send(code=wrong, slot="B-4", coats__0__coats="two")
    assert page.status == 422
    assert "has a wrong character, or two swapped" in page.errors[0]
    assert "'two' is no number" in page.errors[1]
    assert page.fields()["slot"] == ["B-4"]
    assert shop.file.all(Card) == []


def test_a_card_without_a_code_says_both_ways_out(shop):
    shop.job()
    page = card_page(shop, shop.hand.batch()).send(coats__0__coats="3")
    assert page.errors == [
        "The card has no code yet. Type the one on its label, or tick that it gets the new one."
    ]


def test_the_fresh_code_stays_the_same_when_the_form_comes_back(shop):
    shop.job()
    page = card_page(shop, shop.hand.batch())
    fresh = page.fields()["fresh"]
    back = page.send(coats__0__coats="no")
    assert back.fields()["fresh"] == fresh
    back.send(coats__0__coats="2", take_fresh="yes")
    assert [card.code for card in shop.file.all(Card)] == fresh


def test_a_label_that_hangs_already_is_refused(shop):
    shop.job()
    sprayed = shop.batch_with_card()
    page = card_page(shop, sprayed.batch).send(code=sprayed.code)
    assert page.status == 409
    assert "is already on another card" in page.errors[0]


def test_zones_and_let_down_steps_become_zones_of_the_card(shop):
    shop.job(FinishKind.TRI_COAT)
    batch = shop.hand.batch()
    page = card_page(shop, batch)
    page.send(take_fresh="yes", zone_states=["bare_base", "cleared"], steps="5")
    zones = shop.file.all(Zone)
    assert [z.name for z in zones[:2]] == ["Bare base", "Cleared"]
    steps = [(z.mid_coats, z.cleared) for z in zones[2:]]
    assert steps == [(n, cleared) for n in range(6) for cleared in (False, True)]


def test_coats_from_another_pot_are_repeated_with_the_new_one_on_top(shop):
    shop.job()
    ground = shop.hand.batch(role="ground")
    first = shop.hand.batch()
    under = CardCoats(batch_id=ground, coats=1)
    log(shop, first, coats=(under, CardCoats(batch_id=first, coats=2)))
    refill = shop.hand.batch()
    card_page(shop, refill).send(take_fresh="yes")
    card = shop.file.by(Card, "batch_id", refill)[0]
    stack = [(c.role.value, c.batch_id) for c in shop.file.by(Coat, "card_id", card.root)]
    assert sorted(stack) == sorted([("ground", ground), ("base", refill), ("base", refill)])


def test_a_zone_name_follows_the_next_card(shop):
    shop.job()
    bare = CardZone(name="Bare base", state="bare_base", cleared=False)
    a_card_before(shop, zones=(bare,))
    batch = shop.hand.batch()
    assert card_page(shop, batch).fields()["zone_states"] == ["bare_base"]
