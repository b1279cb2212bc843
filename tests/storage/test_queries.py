"""Reads over many jobs against the same questions asked of every line in plain Python."""

from __future__ import annotations

import random
from dataclasses import asdict, replace
from uuid import uuid4

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.domain.card_code import new_card_code
from service.domain.line_making import all_lines
from service.domain.lines import BatchLine, CardLine, JobLine, JointLine
from service.domain.records.cards import Card
from service.domain.records.job import Finish
from service.domain.records.measuring import Reading
from service.domain.refused import Invalid
from service.domain.terms import FinishKind, Role
from service.storage.queries import in_use, scan
from service.storage.queries.sql_queries import SqlQueries
from service.storage.queries.statement import Key
from service.storage.store import ShopStore
from service.use_cases import cards, correcting, job, shop
from service.use_cases.ports import Unit
from service.use_cases.queries import BatchFilter, CardSearch, FinishSpread, Queries
from tests.shop_hand import ShopHand
from tests.storage.query_lines import (
    LOTS,
    NAMES,
    PANELS,
    PRODUCTS,
    WORDS,
    Lines,
    all_pages,
    counted,
    fitting_batches,
    fitting_cards,
    later,
    newest,
    put,
    put_more,
    random_lines,
    spread_of,
)
from tests.storage.samples import write


@pytest.fixture
def rng() -> random.Random:
    return random.Random(20261125)


@pytest.fixture
def lines(store: ShopStore, rng: random.Random) -> Lines:
    return put(store, random_lines(rng, store.shop_id, jobs=30))


@pytest.fixture
def queries(store: ShopStore) -> Queries:
    return SqlQueries(store)


def some_search(rng: random.Random, lines: Lines) -> CardSearch:
    """A search for what some card has, or for what none has; one to three things."""
    card = rng.choice(lines.cards)
    words = [*card.search.split(), *card.job_title.split(), "%", "_", "\\", "[", "*", "nothing"]
    day = card.sprayed_at[:10]
    given = {
        "text": " ".join(rng.sample(words, rng.randrange(1, 3))),
        "slot": rng.choice([card.slot, card.slot.lower(), "Z9"]),
        "panel": rng.choice([*PANELS, "DOOR", "%", "_", ", ", "batch"]),
        "colour": rng.choice([*NAMES, card.colour_code, "silver", "%", "strasse", "batch"]),
        "painter_id": card.painter_id,
        "job_id": rng.choice([card.job_id, str(uuid4())]),
        "finish_id": card.finish_id,
        "batch_id": card.batch_id,
        "whereabouts": rng.choice(["in", "out", "missing"]),
        "sprayed_from": day,
        "sprayed_to": rng.choice([day, "9999-12-31"]),
    }
    return CardSearch(
        **{name: given[name] for name in rng.sample(sorted(given), rng.randrange(1, 4))}
    )


def some_filter(rng: random.Random, lines: Lines) -> BatchFilter:
    batch = rng.choice(lines.batches)
    given = {
        "job_id": batch.job_id,
        "finish_id": batch.finish_id,
        "product": rng.choice([*PRODUCTS, "Base", "%", "100, Base 10"]),
        "lot": rng.choice([*LOTS, "L", "%"]),
        "painter_id": batch.painter_id,
        "booth": rng.choice(["Booth 1", "booth 1", "Booth 2"]),
        "gun": rng.choice(["Gun A", "Gun_B", "GunXB"]),
        "word": rng.choice(WORDS),
        "gap": rng.choice(["no_card", "no_reading", "no_master", "no_verdict"]),
        "sprayed_from": batch.sprayed_at[:10],
        "sprayed_to": batch.sprayed_at[:10],
    }
    return BatchFilter(**{n: given[n] for n in rng.sample(sorted(given), rng.randrange(1, 4))})


@pytest.mark.parametrize("windows", [None, (3, 9, 40), (1, 2, 2)], ids=["usual", "small", "tiny"])
def test_cards_that_fit_are_found_newest_first(
    lines: Lines,
    queries: Queries,
    rng: random.Random,
    windows: tuple[int, ...] | None,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    if windows is not None:
        monkeypatch.setattr(scan, "WINDOWS", windows[:2])
        monkeypatch.setattr(scan, "LAST_WINDOW", windows[2])
        monkeypatch.setattr(scan, "CHUNK", 2)
    searches = [CardSearch(), *(some_search(rng, lines) for _ in range(150))]
    hits = 0
    for search in searches:
        expected = fitting_cards(lines, search)
        limit = rng.choice([1, 3, 50])
        page = queries.cards(search, limit=limit)
        assert page.lines == tuple(expected[:limit]), search
        assert (page.after is None) == (len(expected) <= limit), search
        hits += bool(expected)
    assert 50 < hits < 150


@pytest.mark.parametrize("limit", [1, 7, 1000])
def test_pages_of_cards_show_each_fitting_card_once(
    lines: Lines, queries: Queries, rng: random.Random, limit: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(scan, "WINDOWS", (5, 11))
    monkeypatch.setattr(scan, "LAST_WINDOW", 19)
    for search in (
        CardSearch(),
        CardSearch(text="batch"),
        CardSearch(panel="door"),
        CardSearch(colour="mist", sprayed_to="2025-12-20"),
        CardSearch(painter_id=lines.cards[0].painter_id, text="1"),
    ):
        expected = fitting_cards(lines, search)
        assert len(expected) > 7
        found = all_pages(
            lambda after, search=search: queries.cards(search, after=after, limit=limit)
        )
        assert found == expected


def test_cards_logged_between_pages_neither_hide_nor_repeat_another(
    store: ShopStore, lines: Lines, queries: Queries, rng: random.Random
) -> None:
    before = newest(lines.cards)
    late = iter(rng.sample(lines.cards, 40))

    def read(after: str | None):
        page = queries.cards(CardSearch(), after=after, limit=5)
        one, other = next(late), next(late)
        put_more(
            store,
            [later(one, rng, "2030-01-01T00:00:00.000000Z"), later(other, rng, other.sprayed_at)],
        )
        return page

    found = []
    after = None
    for _ in range(len(before)):
        page = read(after) if len(found) < 90 else queries.cards(CardSearch(), after=after)
        found += page.lines
        after = page.after
        if after is None:
            break
    ids = [card.id for card in found]
    assert len(set(ids)) == len(ids)
    old = {card.id for card in before}
    assert [id for id in ids if id in old] == [card.id for card in before]


@pytest.mark.parametrize("windows", [(2_048, 16_384, 65_536), (1, 2, 2)], ids=["usual", "tiny"])
def test_batches_that_fit_are_found_in_spray_order(
    lines: Lines,
    queries: Queries,
    rng: random.Random,
    windows: tuple[int, ...],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(scan, "WINDOWS", windows[:2])
    monkeypatch.setattr(scan, "LAST_WINDOW", windows[2])
    hits = 0
    for filter in [BatchFilter(), *(some_filter(rng, lines) for _ in range(150))]:
        expected = fitting_batches(lines, filter)
        found = all_pages(
            lambda after, filter=filter: queries.batches(filter, after=after, limit=6)
        )
        assert found == expected, filter
        hits += bool(expected)
    assert hits > 50


def test_batches_of_a_finish_and_joints_of_a_job_are_whole(lines: Lines, queries: Queries) -> None:
    for finish_id in lines.finishes:
        expected = newest(b for b in lines.batches if b.finish_id == finish_id)[::-1]
        assert queries.batches_of_finish(finish_id) == tuple(expected)
    for line in lines.jobs:
        expected_joints = sorted(
            (j for j in lines.joints if j.job_id == line.id), key=lambda j: j.id
        )
        assert queries.joints_of_job(line.id) == tuple(expected_joints)
    assert queries.batches_of_finish(str(uuid4())) == ()
    assert queries.batches_of_finish("") == ()
    assert queries.joints_of_job(str(uuid4())) == ()


def test_jobs_come_with_the_counts_of_their_own_batches_and_joints(
    lines: Lines, queries: Queries
) -> None:
    for text, open_only in (
        ("", False),
        ("", True),
        ("silver", False),
        ("%", False),
        ("W- mist", True),
    ):
        expected = [
            line
            for line in newest(lines.jobs, "opened_at")
            if all(word in line.search for word in text.casefold().split())
            and not (open_only and line.released_at)
        ]
        found = all_pages(
            lambda after, text=text, open_only=open_only: queries.jobs(
                text=text, open_only=open_only, after=after, limit=4
            )
        )
        assert [summary.line for summary in found] == expected
        for summary in found:
            batches = [b for b in lines.batches if b.job_id == summary.line.id]
            joints = [j for j in lines.joints if j.job_id == summary.line.id]
            assert {k: v for k, v in asdict(summary).items() if k != "line"} == {
                "batches": len(batches),
                "gaps": sum(batch.gap != "" for batch in batches),
                "joints": len(joints),
                "joints_blend": sum(joint.word == "blends" for joint in joints),
                "joints_show": sum(joint.word == "shows" for joint in joints),
                **{word: sum(batch.word == word for batch in batches) for word in WORDS},
            }


def test_an_audit_counts_what_fits_and_puts_the_worst_finish_first(
    lines: Lines, queries: Queries, rng: random.Random
) -> None:
    for filter in [BatchFilter(), *(some_filter(rng, lines) for _ in range(60))]:
        batches = fitting_batches(lines, filter)
        jobs = {batch.job_id for batch in batches}
        ids = {batch.id for batch in batches}
        cards_of = [card for card in lines.cards if card.batch_id in ids]
        audit = queries.audit(filter)
        assert asdict(audit.batches) == counted(batches)
        assert asdict(audit.joints) == counted([j for j in lines.joints if j.job_id in jobs])
        assert audit.cards_out == sum(card.whereabouts == "out" for card in cards_of)
        assert audit.cards_missing == sum(card.whereabouts == "missing" for card in cards_of)
        spreads = [
            spread_of(lines, [b for b in batches if b.finish_id == finish_id])
            for finish_id in {batch.finish_id for batch in batches}
        ]
        worst_first = sorted(
            spreads,
            key=lambda s: (
                -s["shows"],
                -1 if s["largest"] is None else -s["largest"] - 2,
                s["finish_id"],
            ),
        )
        assert [f.finish_id for f in audit.finishes] == [s["finish_id"] for s in worst_first]
        for found, expected in zip(audit.finishes, worst_first, strict=True):
            # Where all deviations are equal the database is left with some 1e-8 of rounding.
            for name, value in asdict(found).items():
                wanted = expected[name]
                if isinstance(wanted, float):
                    wanted = pytest.approx(wanted, rel=1e-9, abs=1e-7)
                assert value == wanted, name
        few = queries.audit(filter, finishes=2)
        assert [f.finish_id for f in few.finishes] == [s["finish_id"] for s in worst_first[:2]]
        assert few.batches == audit.batches


def test_a_spread_loses_no_digits_that_a_shop_could_read(
    store: ShopStore, queries: Queries, rng: random.Random
) -> None:
    lines = random_lines(rng, store.shop_id, jobs=3)
    finish_id = next(iter(lines.finishes))
    first = next(b for b in lines.batches if b.finish_id == finish_id)
    # Far from the master and close together: what sums of squares are worst at.
    lines.batches = [
        replace(first, id=str(uuid4()), delta_l=40 + rng.gauss(0, 0.01), word="shows")
        for _ in range(200)
    ]
    put(store, lines)
    (found,) = queries.audit(BatchFilter()).finishes
    assert found.sd_delta_l == pytest.approx(
        spread_of(lines, lines.batches)["sd_delta_l"], rel=1e-7
    )


def test_values_in_use_are_each_named_once(lines: Lines, queries: Queries) -> None:
    columns = {"product": "product", "lot": "lots", "booth": "booth", "gun": "gun"}
    for name, column in columns.items():
        joined = [getattr(batch, column) for batch in newest(lines.batches)]
        values = [
            v
            for held in joined
            for v in (held.split(", ") if name in ("product", "lot") else [held])
        ]
        expected = list(dict.fromkeys(value for value in values if value))
        assert len(expected) > 1
        assert list(queries.values(name)) == expected
        assert list(queries.values(name, limit=2)) == expected[:2]
    slots = sorted({card.slot for card in lines.cards if card.slot})
    assert list(queries.values("slot")) == slots
    assert list(queries.values("slot", limit=2)) == slots[:2]
    with pytest.raises(ValueError, match="field must be slot or one of"):
        queries.values("price")


def test_a_booth_of_an_earlier_month_is_still_named(
    store: ShopStore, queries: Queries, rng: random.Random, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(in_use, "PER_MONTH", 2)
    lines = random_lines(rng, store.shop_id, jobs=2)
    some = lines.batches[0]
    put(store, lines)
    put_more(
        store,
        [
            later(replace(some, booth="New"), rng, f"2026-06-0{d}T08:00:00.000000Z")
            for d in range(1, 8)
        ],
    )
    put_more(store, [later(replace(some, booth="Old"), rng, "2019-02-28T23:59:59.999999Z")])
    assert queries.values("booth")[0] == "New"
    assert queries.values("booth")[-1] == "Old"


def test_a_shop_sees_nothing_of_another_shop_in_the_same_database(
    store: ShopStore, lines: Lines, queries: Queries, rng: random.Random
) -> None:
    other = store.database.create_shop("Other shop", manager="Other Manager")
    theirs = put(other, random_lines(rng, other.shop_id, jobs=30))
    for search in (CardSearch(), CardSearch(text="batch"), CardSearch(whereabouts="out")):
        assert queries.cards(search, limit=1000).lines == tuple(fitting_cards(lines, search))
        found = SqlQueries(other).cards(search, limit=1000).lines
        assert found == tuple(fitting_cards(theirs, search))
    card = theirs.cards[0]
    for search in (
        CardSearch(job_id=card.job_id),
        CardSearch(finish_id=card.finish_id),
        CardSearch(batch_id=card.batch_id),
        CardSearch(text=card.code),
    ):
        assert queries.cards(search).lines == ()
    mine = lines.cards[0]
    assert queries.cards_by_id([card.id, mine.id]) == (mine,)
    assert queries.batches(BatchFilter(), limit=1000).lines == tuple(newest(lines.batches))
    assert queries.batches_of_finish(card.finish_id) == ()
    assert queries.joints_of_job(theirs.joints[0].job_id) == ()
    assert len(queries.jobs(limit=1000).lines) == len(lines.jobs)
    audit = queries.audit(BatchFilter(), finishes=1000)
    assert asdict(audit.batches) == counted(lines.batches)
    assert {f.finish_id for f in audit.finishes} == {b.finish_id for b in lines.batches}
    assert queries.audit(BatchFilter(job_id=card.job_id)).finishes == ()
    near = queries.nearest_cards(
        (50, 0, 0), illuminant="D65", observer=10, geometry="d:8", count=500
    )
    assert near
    assert {found.line.shop_id for found in near} == {store.shop_id}
    assert queries.journal(other.shop_id) == ()
    assert queries.journal(store.shop_id) != ()


def test_cards_come_in_the_order_of_the_ids_asked_for(
    lines: Lines, queries: Queries, rng: random.Random
) -> None:
    wanted = rng.sample(lines.cards, 20)
    ids = [card.id for card in wanted]
    assert queries.cards_by_id(ids) == tuple(wanted)
    assert queries.cards_by_id([ids[3], "nothing", "a\0b", "\ud800", ids[0], ids[3]]) == (
        wanted[3],
        wanted[0],
        wanted[3],
    )
    assert queries.cards_by_id([]) == ()


def test_text_no_record_can_hold_finds_nothing(lines: Lines, queries: Queries) -> None:
    for odd in ("a\0b", "\ud800"):
        assert queries.cards(CardSearch(text=odd)).lines == ()
        assert queries.cards(CardSearch(panel=odd)).lines == ()
        assert queries.cards(CardSearch(slot=odd)).lines == ()
        assert queries.jobs(text=odd).lines == ()
        assert queries.batches(BatchFilter(lot=odd)).lines == ()
        assert queries.audit(BatchFilter(booth=odd)).finishes == ()
        assert queries.batches_of_finish(odd) == ()
        assert queries.joints_of_job(odd) == ()
        assert queries.journal(odd) == ()
        assert queries.nearest_cards((50, 0, 0), illuminant=odd, observer=10, geometry="d:8") == ()


def test_what_cannot_be_searched_for_is_said_plainly(queries: Queries) -> None:
    with pytest.raises(Invalid, match="'x' is not the mark of a page. Start the list again"):
        queries.cards(CardSearch(), after="x")
    with pytest.raises(Invalid, match="is not the mark of a page"):
        queries.jobs(after=Key("2026-11-25", "1").as_text())
    with pytest.raises(Invalid, match="is not the mark of a page"):
        queries.batches(BatchFilter(), after="é" * 200)
    with pytest.raises(Invalid, match="'last week' is not a date. Write it like 2026-11-25."):
        queries.cards(CardSearch(sprayed_from="last week"))
    with pytest.raises(Invalid, match="'2026-13-01' is not a date"):
        queries.audit(BatchFilter(sprayed_to="2026-13-01"))
    with pytest.raises(Invalid, match="'lost' is no place of a card. Use in, out, missing."):
        queries.cards(CardSearch(whereabouts="lost"))
    with pytest.raises(Invalid, match="'good' is no word of a batch. Use blends, shows"):
        queries.batches(BatchFilter(word="good"))
    with pytest.raises(Invalid, match="'no_paint' is no gap of a batch. Use no_card"):
        queries.audit(BatchFilter(gap="no_paint"))
    with pytest.raises(Invalid, match="The search has 201 characters. Keep it to 200."):
        queries.cards(CardSearch(text="a" * 201))
    with pytest.raises(Invalid, match="The search has 21 words. Keep it to 20."):
        queries.jobs(text=" ".join(map(str, range(21))))
    with pytest.raises(Invalid, match="The colour has 201 characters. Keep it to 200."):
        queries.cards(CardSearch(colour="a" * 201))
    with pytest.raises(ValueError, match="limit must be 1 or more, got 0"):
        queries.cards(CardSearch(), limit=0)


@given(st.datetimes(), st.uuids())
def test_a_mark_of_a_page_is_read_back_as_it_was_given(at, id) -> None:
    key = Key(at.isoformat(timespec="microseconds") + "Z", str(id))
    assert Key.from_text(key.as_text()) == key
    assert key.as_text().isascii()


@given(st.text(max_size=120))
def test_no_text_breaks_the_reading_of_a_mark(text) -> None:
    try:
        key = Key.from_text(text)
    except Invalid:
        return
    assert key is not None
    assert Key.from_text(key.as_text()) == key


def test_the_journal_is_read_newest_first(store: ShopStore, queries: Queries) -> None:
    hand = ShopHand(store)
    names = ["Ann", "Ben", "Cem"]
    for name in names:
        hand.do(shop.AddPerson, name=name, roles=(Role.PAINTER,))
    chain = store.shop_id
    first = queries.journal(chain, limit=2)
    rest = queries.journal(chain, before=first[-1].position)
    entries = [*first, *rest]
    (head,) = store.heads()
    assert [entry.position for entry in entries] == list(range(head.position, 0, -1))
    assert entries[0].hash == head.hash
    assert [name for name in names if f'"name":"{name}"' in entries[0].payload] == ["Cem"]
    assert entries[0].person_id == hand.manager
    assert entries[0].received_at.tzinfo is not None
    assert all(entry.chain == chain for entry in entries)
    assert queries.journal(chain, before=1) == ()


def test_a_job_that_was_worked_on_is_listed_as_its_file_says(
    store: ShopStore, queries: Queries
) -> None:
    hand = ShopHand(store)
    hand.open(FinishKind.SOLID, colour_name="Deep green", colour_code="G 1")
    door, wing, roof = (hand.panel(name) for name in ("Left door", "Left wing", "Roof"))
    hand.on_job(job.AddJoint, kind="gap", panel_a=door, panel_b=wing)
    labs = [(25.0, -12.0, 6.0), (25.0, -12.0, 4.0), (25.1, -12.0, 6.0)]
    made = []
    for lab, panel in zip(labs, (door, wing, roof), strict=True):
        batch = hand.batch()
        card = hand.card(batch, slot="a7" if not made else "")
        hand.spray(batch, panel_ids=(panel,))
        hand.bake(card)
        made.append((batch, card, hand.read(card, lab)))
        if len(made) == 1:
            hand.master(card, made[0][2])
    hand.on_job(cards.PullCard, card_id=made[1][1], why="compare")
    expected = all_lines(hand.file)

    def kept(kind):
        return [line for line in expected if type(line) is kind]

    assert queries.cards(CardSearch()).lines == tuple(newest(kept(CardLine)))
    assert queries.batches(BatchFilter()).lines == tuple(newest(kept(BatchLine)))
    assert list(queries.joints_of_job(hand.job_id)) == kept(JointLine)
    (summary,) = queries.jobs(open_only=True).lines
    assert [summary.line] == kept(JobLine)
    assert (summary.batches, summary.shows, summary.joints) == (3, 1, 1)
    audit = queries.audit(BatchFilter())
    assert (audit.cards_out, audit.cards_missing, audit.batches.shows) == (1, 0, 1)
    (spread,) = audit.finishes
    assert isinstance(spread, FinishSpread)
    assert (spread.finish_name, spread.work_order) == ("Body", summary.line.work_order)
    assert [line.id for line in queries.cards(CardSearch(slot="a7")).lines] == [made[0][1]]
    assert [
        line.id
        for line in queries.cards(CardSearch(colour="deep GREEN", panel="roof", text="w-")).lines
    ] == [made[2][1]]
    assert [line.id for line in queries.batches_of_finish(hand.finish)] == [
        batch for batch, _, _ in made
    ]
    reading = hand.file.get(Reading, made[1][2])
    near = queries.nearest_cards(
        labs[1],
        illuminant=reading.illuminant,
        observer=reading.observer,
        geometry=reading.geometry,
        specular=reading.specular,
        count=2,
    )
    assert near[0].line.id == made[1][1]
    assert near[0].delta_e_2000 < 0.1 < near[1].delta_e_2000


def test_a_label_is_found_as_it_was_typed_and_after_its_correction(
    store: ShopStore, queries: Queries
) -> None:
    hand = ShopHand(store)
    hand.open()
    batch = hand.batch()
    card, other = hand.card(batch), hand.card(batch)
    line = queries.cards_by_id([card])[0]
    code = line.code
    typed = f" {code[:4].lower()}-{code[4:8]} {code[8:]} ".replace("0", "o")
    assert queries.card_by_code(typed) == line
    assert queries.cards(CardSearch(text=typed)).lines == (line,)
    assert queries.cards(CardSearch(text=typed, whereabouts="out")).lines == ()
    assert [c.id for c in queries.cards(CardSearch(text=code[:8].lower())).lines] == [card]
    with pytest.raises(Invalid, match="is not a card code"):
        queries.card_by_code("door")
    new = new_card_code()
    assert queries.card_by_code(new) is None
    assert queries.cards(CardSearch(text=new)).lines == ()

    def correct(unit: Unit) -> None:
        held = unit.job(hand.job_id).get(Card, card)
        unit.add(
            replace(
                held,
                id=str(uuid4()),
                code=new,
                corrects=card,
                revision=held.revision + 1,
                reason="The label was read wrongly.",
                received_at=unit.now,
            )
        )

    write(store, correct)
    for label in (code, new):
        found = queries.card_by_code(label)
        assert found is not None
        assert (found.id, found.code) == (card, new)
        assert queries.cards(CardSearch(text=label)).lines == (found,)
    assert other != card


def test_a_finish_is_named_as_it_was_corrected(store: ShopStore, queries: Queries) -> None:
    hand = ShopHand(store)
    hand.open()
    hand.batch()
    hand.on_job(
        correcting.Correct,
        table="finishes",
        record_id=hand.finish,
        changes={"name": "Lower body"},
        why="It is two-tone.",
    )
    (spread,) = queries.audit(BatchFilter()).finishes
    assert spread.finish_name == "Lower body"
    assert hand.file.get(Finish, hand.finish).name == "Lower body"
