"""Cards that are due to be read again, against the same asked of every line in plain Python."""

from __future__ import annotations

import random
from datetime import UTC, datetime, timedelta
from functools import partial

import pytest

from service.domain.lines import CardLine
from service.domain.moment import as_text
from service.domain.refused import Invalid
from service.storage.database import FILE
from service.storage.engine import choose_sqlite, connect_sqlite
from service.storage.line_renewal import renew_lines
from service.storage.migrate import upgrade
from service.storage.queries.due import BY_NEED, BY_SLOT, MOVED, Mark
from service.storage.queries.sql_queries import SqlQueries
from service.storage.sql import Sql, quoted
from service.storage.store import ShopStore
from service.storage.verify import verify
from service.storage.verify_tables import _column_names
from service.use_cases import cards
from service.use_cases.queries import CardSearch, DueCounts, DueOrder, Queries
from tests.conftest import Place
from tests.shop_hand import ShopHand
from tests.storage.query_lines import START, Lines, all_pages, put, random_lines

NEEDS = ["master", "last", ""]
MIDDLE = START + timedelta(days=25)
YEAR = timedelta(days=365)


@pytest.fixture
def lines(store: ShopStore) -> Lines:
    return put(store, random_lines(random.Random(4), store.shop_id, jobs=30))


@pytest.fixture
def queries(store: ShopStore) -> Queries:
    return SqlQueries(store)


def every_card(queries: Queries) -> list[CardLine]:
    return all_pages(lambda after: queries.cards(CardSearch(), after=after))


def due_among(lines: list[CardLine], before: datetime) -> list[CardLine]:
    return [
        line
        for line in lines
        if line.whereabouts == "in" and line.read_at and line.read_at < as_text(before)
    ]


@pytest.mark.parametrize("limit", [1, 7, 500])
@pytest.mark.parametrize("before", [START, MIDDLE, START + YEAR], ids=["none", "some", "all"])
def test_masters_come_first_then_last_cards_then_the_longest_due(lines, queries, before, limit):
    expected = sorted(
        due_among(every_card(queries), before),
        key=lambda line: (NEEDS.index(line.held_back), line.read_at, line.id),
    )
    found = all_pages(lambda after: queries.due_cards(read_before=before, after=after, limit=limit))
    assert found == expected
    assert bool(expected) is (before > START)


@pytest.mark.parametrize("limit", [1, 7, 500])
def test_a_walk_goes_along_the_slots_and_ends_with_cards_that_have_none(lines, queries, limit):
    expected = sorted(
        due_among(every_card(queries), MIDDLE),
        key=lambda line: (line.slot == "", line.slot, line.id),
    )
    assert {line.slot for line in expected} > {""}
    found = all_pages(
        lambda after: queries.due_cards(
            read_before=MIDDLE, order=DueOrder.SLOT, after=after, limit=limit
        )
    )
    assert found == expected


def test_the_counts_are_those_of_the_list(lines, queries):
    held = [line.held_back for line in due_among(every_card(queries), MIDDLE)]
    found = queries.due_counts(read_before=MIDDLE)
    masters, last, others = map(held.count, NEEDS)
    assert found == DueCounts(masters=masters, last=last, others=others)
    assert found.all == len(held) and found.masters and found.last and found.others


@pytest.mark.parametrize("limit", [1, 7, 500])
def test_those_that_moved_most_come_first(lines, queries, limit):
    expected = sorted(
        (line for line in every_card(queries) if line.moved_by and line.moved_by >= 0.25),
        key=lambda line: (line.moved_by, line.id),
        reverse=True,
    )
    found = all_pages(lambda after: queries.moved_cards(at_least=0.25, after=after, limit=limit))
    assert found == expected
    assert len({line.moved_by for line in found}) < len(found)


def test_another_shop_s_cards_are_nobody_s_business(lines, store):
    other = SqlQueries(store.database.create_shop("Other", manager="B"))
    assert other.due_counts(read_before=START + YEAR) == DueCounts()
    assert other.due_cards(read_before=START + YEAR).lines == ()
    assert other.moved_cards().lines == ()


@pytest.mark.parametrize(
    "mark",
    ["", "x", "?", "WzEsMl0", "bnVsbA", Mark(9, "a", "b").as_text(), Mark(0, 1.5, "b").as_text()]
    + [Mark(0, "a\0", "b").as_text(), "W1tbW1tbW1tb" * 2000],
)
def test_what_is_no_mark_of_a_page_is_refused(queries, mark):
    with pytest.raises(Invalid, match="is not the mark of a page"):
        queries.due_cards(read_before=MIDDLE, after=mark)


@pytest.mark.parametrize("engine_name", ["sqlite"])
def test_each_is_read_along_its_own_index_on_sqlite(store: ShopStore, queries) -> None:
    # PostgreSQL plans by itself.
    for index, column in ((BY_NEED, "read_at"), (BY_SLOT, "slot"), (MOVED, "moved_by DESC")):
        where = "moved_by IS NOT NULL" if index == MOVED else "whereabouts = 'in'"
        held = " AND held_back = ''" if index == BY_NEED else ""
        with store.reading() as sql:
            (plan,) = sql.rows(
                f"EXPLAIN QUERY PLAN SELECT id FROM card_lines INDEXED BY {index} "
                f"WHERE shop_id = 's' AND {where}{held} ORDER BY {column}, id"
                + (" DESC" if index == MOVED else "")
            )
        assert index in plan[3] and "TEMP B-TREE" not in plan[3]


def told(store: ShopStore) -> tuple[ShopHand, str, str]:
    """A job of three years ago: a master, a batch with a spare card, one read again since."""
    hand = ShopHand(store)
    hand.clock = datetime.now(UTC) - 3 * YEAR
    hand.open()
    master = hand.card(hand.batch(), slot="A1")
    batch = hand.batch()
    card, spare = hand.card(batch, slot="A10"), hand.card(batch, slot="A2")
    hand.bake(master, card, spare)
    hand.master(master, hand.read(master, (50.0, 1.0, 1.0)))
    hand.read(card, (50.0, 1.0, 1.0))
    hand.clock += 2 * YEAR
    hand.read(card, (51.0, 1.0, 1.0))
    return hand, card, spare


def test_lines_follow_what_is_done_to_the_cards(store: ShopStore, queries) -> None:
    hand, card, spare = told(store)
    now = datetime.now(UTC)
    (due,) = queries.due_cards(read_before=now - 2 * YEAR).lines
    assert (due.held_back, due.slot) == ("master", "A1")
    assert queries.due_counts(read_before=now) == DueCounts(masters=1, others=1)
    (moved,) = queries.moved_cards(at_least=0.1).lines
    assert moved.id == card
    hand.on_job(cards.PullCard, card_id=spare, why="compare")
    assert queries.due_counts(read_before=now) == DueCounts(masters=1, last=1)
    hand.on_job(cards.PullCard, card_id=card, why="compare")
    assert queries.due_counts(read_before=now) == DueCounts(masters=1)
    assert verify(store).ok


def test_lines_made_before_the_columns_are_worked_out_again(store: ShopStore, queries) -> None:
    told(store)
    before = every_card(queries)
    writer = store.database.writer()
    forget = "UPDATE card_lines SET read_at = NULL, moved_by = NULL, held_back = ''"
    writer.run(partial(Sql.run, statement=forget))
    assert not verify(store).ok
    assert writer.run(renew_lines) == 1
    assert every_card(queries) == before
    assert verify(store).ok


@pytest.mark.parametrize("engine_name", ["sqlite"])
def test_a_record_of_the_schema_before_is_brought_up_and_verifies(
    place: Place, store: ShopStore, tmp_path
) -> None:
    # Two files side by side are what SQLite has; the migration itself is the same on both.
    told(store)
    expected = every_card(SqlQueries(store))
    shop_id = store.shop_id
    store.database.close()
    old = tmp_path / "old"
    old.mkdir()
    sql = Sql(connect_sqlite(choose_sqlite(), old / FILE, writing=True), postgresql=False)
    upgrade(sql, "0002")
    sql.run("PRAGMA foreign_keys = OFF")
    sql.run("ATTACH ? AS newer", (str(place.folder / FILE),))
    for (table,) in sql.rows("SELECT name FROM main.sqlite_schema WHERE type = 'table'"):
        if table.startswith(("sqlite_", "alembic_")):
            continue
        names = ", ".join(map(quoted, _column_names(sql, table)))
        sql.run(f'INSERT INTO main."{table}" ({names}) SELECT {names} FROM newer."{table}"')
    sql.run("DETACH newer")
    assert "read_at" not in _column_names(sql, "card_lines")
    sql.connection.close()
    again = Place(old, None)
    try:
        brought_up = again.open().store(shop_id)
        assert every_card(SqlQueries(brought_up)) == expected
        assert verify(brought_up).ok
    finally:
        again.close()
