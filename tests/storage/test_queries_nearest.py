"""The nearest stored cards against comparing every card, by this program and by scikit-image."""

from __future__ import annotations

import random
from dataclasses import replace
from uuid import uuid4

import numpy as np
import pytest
from skimage.color import deltaE_ciede2000

from colour.difference import delta_e_2000
from service.domain.line_making import conditions_text
from service.domain.lines import CardLine
from service.domain.records.measuring import Reading
from service.domain.refused import Invalid
from service.domain.terms import Specular
from service.storage.queries import nearest
from service.storage.queries.sql_queries import SqlQueries
from service.storage.store import ShopStore
from tests.builders import JobBuilder
from tests.storage.query_lines import put_more, random_lines

Lab = tuple[float, float, float]
LIKE = {"illuminant": "D65", "observer": 10, "geometry": "d:8"}
WITH_SPECULAR = "D65/10°, d:8, specular included"


@pytest.fixture
def rng() -> random.Random:
    return random.Random(6)


def cards_at(
    store: ShopStore, rng: random.Random, labs: list[Lab], **fields: object
) -> list[CardLine]:
    """A card of each colour, all read alike unless told otherwise."""
    first = random_lines(rng, store.shop_id, jobs=9).cards[0]
    given = {"conditions": WITH_SPECULAR, "angle": None, **fields}
    cards = [replace(first, id=str(uuid4()), l=lab[0], a=lab[1], b=lab[2], **given) for lab in labs]
    put_more(store, cards)
    return cards


def uniform(rng: random.Random, count: int) -> list[Lab]:
    """Colours all over the solid, sparse."""
    return [(rng.uniform(5, 98), rng.uniform(-60, 70), rng.uniform(-60, 80)) for _ in range(count)]


def clustered(rng: random.Random, standards: int, each: int) -> list[Lab]:
    """Batches around standards, as a shop has them."""
    return [
        tuple(value + rng.gauss(0, sd) for value, sd in zip(standard, (0.4, 0.3, 0.4), strict=True))
        for standard in [*uniform(rng, standards - 2), (3.0, 0.0, 0.0), (35.0, 15.0, -55.0)]
        for _ in range(each)
    ]  # type: ignore[return-value]


@pytest.mark.parametrize("spread", ["uniform", "clustered"])
@pytest.mark.parametrize("count", [1, 8])
def test_the_nearest_cards_are_those_that_comparing_each_would_give(
    store: ShopStore, rng: random.Random, spread: str, count: int
) -> None:
    labs = uniform(rng, 2000) if spread == "uniform" else clustered(rng, 25, 80)
    cards = cards_at(store, rng, labs)
    queries = SqlQueries(store)
    far = [(0.0, 0.0, 0.0), (100.0, 0.0, 0.0), (50.0, 120.0, -120.0), (50.0, -128.0, 127.0)]
    far += [(1000.0, 1000.0, -1000.0), (-1000.0, 0.0, 1000.0)]
    for query in [*uniform(rng, 40), *(rng.choice(labs) for _ in range(20)), *far]:
        everyone = np.asarray(delta_e_2000(np.array(query), np.array(labs)))
        best = sorted(zip(everyone.tolist(), (card.id for card in cards), strict=True))[:count]
        found = queries.nearest_cards(query, **LIKE, count=count)
        assert [near.line.id for near in found] == [id for _, id in best]
        # scikit-image (BSD licence) is the outside check; it follows Sharma, Wu, Dalal 2005.
        theirs = np.sort(deltaE_ciede2000(np.tile(query, (len(labs), 1)), np.array(labs)))[:count]
        # At two hues the standard itself jumps by up to 1.8e-4; everywhere else they agree.
        assert [near.delta_e_2000 for near in found] == pytest.approx(theirs, abs=2e-4)


def test_only_cards_read_under_like_conditions_are_near(
    store: ShopStore, rng: random.Random
) -> None:
    lab = (40.0, 5.0, 5.0)
    place = {
        "with": cards_at(store, rng, [lab]),
        "without": cards_at(store, rng, [lab], conditions="D65/10°, d:8, specular excluded"),
        "plain": cards_at(store, rng, [lab], conditions="D65/10°, d:8"),
        "angle": cards_at(store, rng, [lab], angle=45),
        "observer": cards_at(store, rng, [lab], conditions="D65/2°, d:8, specular included"),
        "illuminant": cards_at(store, rng, [lab], conditions="D50/10°, d:8, specular included"),
        "geometry": cards_at(store, rng, [lab], conditions="D65/10°, d:80, specular included"),
        "unread": cards_at(store, rng, [(None, None, None)], conditions=""),  # type: ignore[list-item]
    }
    queries = SqlQueries(store)

    def named(**asked: object) -> set[str]:
        found = queries.nearest_cards(lab, **{**LIKE, **asked})  # type: ignore[arg-type]
        ids = {near.line.id for near in found}
        return {name for name, cards in place.items() if cards[0].id in ids}

    assert named() == {"with", "without", "plain"}
    assert named(specular="included") == {"with"}
    assert named(specular="excluded") == {"without"}
    assert named(angle=45) == {"angle"}
    assert named(angle=15) == set()
    assert named(observer=2) == {"observer"}
    assert named(illuminant="D50") == {"illuminant"}
    assert named(geometry="d:80") == {"geometry"}


def test_conditions_are_worded_as_the_lines_word_them() -> None:
    job = JobBuilder()
    card = job.card(job.batch(1))
    for specular in (None, *Specular):
        reading = job.reading(card, specular=specular)
        assert isinstance(reading, Reading)
        like = nearest.read_like("shop", "D65", 10, "d:8", specular, None)
        assert conditions_text(reading) in like.values
        assert (
            conditions_text(reading)
            in nearest.read_like("shop", "D65", 10, "d:8", None, None).values
        )


def test_equal_cards_come_in_order_of_their_ids_and_few_cards_all_come(
    store: ShopStore, rng: random.Random
) -> None:
    queries = SqlQueries(store)
    query = (20.0, 1.0, 1.0)
    assert queries.nearest_cards(query, **LIKE) == ()
    same = cards_at(store, rng, [(20.0, 1.0, 1.5)] * 30)
    far = cards_at(store, rng, [(95.0, 60.0, 60.0)])
    found = queries.nearest_cards(query, **LIKE, count=8)
    assert [near.line.id for near in found] == sorted(card.id for card in same)[:8]
    everyone = queries.nearest_cards(query, **LIKE, count=50)
    assert [near.line.id for near in everyone] == [*sorted(card.id for card in same), far[0].id]


def test_what_is_no_colour_is_said_plainly(store: ShopStore) -> None:
    queries = SqlQueries(store)
    with pytest.raises(Invalid, match="is no colour. Give L\\*, a\\* and b\\* as three numbers"):
        queries.nearest_cards((50.0, float("nan"), 0.0), **LIKE)
    with pytest.raises(Invalid, match="is no colour.*none beyond 1000"):
        queries.nearest_cards((50.0, 1e200, 0.0), **LIKE)
    with pytest.raises(Invalid, match="is no colour"):
        queries.nearest_cards((50.0, 0.0), **LIKE)  # type: ignore[arg-type]
    with pytest.raises(ValueError, match="limit must be 1 or more"):
        queries.nearest_cards((50.0, 0.0, 0.0), **LIKE, count=0)
