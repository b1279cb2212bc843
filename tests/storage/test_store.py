"""What a store promises: the whole change or nothing, once for each key, in a chain."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from uuid import uuid4

import pytest

from service.domain.records.job import Finish, Job, Panel
from service.domain.records.shop import Person
from service.domain.refused import AlreadyThere, Invalid, KeyReused, Unknown
from service.domain.terms import FinishKind
from service.storage.database import NoShop
from service.storage.journal import Head
from service.storage.store import ReadOnly, ShopStore
from service.use_cases.ports import Unit
from tests.conftest import Place, only_postgresql
from tests.storage.samples import fill, open_job, usual, write


def finish_of(store: ShopStore, job_id: str) -> str:
    """Add a finish to a job; its id."""
    id = str(uuid4())

    def work(unit: Unit) -> None:
        every = usual(unit) | {"id": id}
        unit.add(Finish(**every, job_id=job_id, name="Body", kind=FinishKind.SOLID))

    write(store, work)
    return id


def panel(unit: Unit, job_id: str, finish_id: str, name: str = "Door") -> Panel:
    """A panel ready to add."""
    return Panel(**usual(unit), job_id=job_id, finish_id=finish_id, name=name)


def test_what_was_written_is_read_back_after_reopening(store: ShopStore, place: Place) -> None:
    made = fill(store)
    store.database.close()

    again = place.open(read_only=True).store()
    for kind, first in made.items():
        file = again.shop() if first.root in _shop_ids(again) else again.job(made[Job].root)
        found = file.latest_revision(kind, first.root)
        assert found is not None
        as_first = replace(
            found,
            id=first.id,
            corrects=None,
            revision=1,
            reason=None,
            received_at=first.received_at,
        )
        if kind.table not in ("credentials", "api_tokens"):
            assert as_first == first


def _shop_ids(store: ShopStore) -> set[str]:
    from service.domain.records.shop import SHOP_RECORDS

    return {record.root for kind in SHOP_RECORDS for record in store.shop().all(kind)}


def test_a_refused_change_leaves_nothing(store: ShopStore) -> None:
    job_id = open_job(store)
    finish_id = finish_of(store, job_id)
    before = store.heads()

    def work(unit: Unit) -> None:
        unit.add(panel(unit, job_id, finish_id))
        assert [p.name for p in unit.job(job_id).all(Panel)] == ["Door"]
        raise Invalid("name", "Not this one.")

    with pytest.raises(Invalid, match="Not this one"):
        write(store, work)
    assert store.heads() == before
    assert store.job(job_id).all(Panel) == []


def test_the_same_key_gives_the_first_receipt(store: ShopStore) -> None:
    job_id = open_job(store)
    finish_id = finish_of(store, job_id)
    key = str(uuid4())

    def work(unit: Unit) -> None:
        unit.add(panel(unit, job_id, finish_id))

    first = write(store, work, change_id=key, fingerprint="one")
    assert write(store, work, change_id=key, fingerprint="one") == first
    assert len(store.job(job_id).all(Panel)) == 1
    assert store.receipt(key) == first
    with pytest.raises(KeyReused, match=key):
        write(store, work, change_id=key, fingerprint="other")


def test_one_key_sent_by_many_at_once_is_written_once(store: ShopStore) -> None:
    job_id = open_job(store)
    finish_id = finish_of(store, job_id)
    key = str(uuid4())

    def send(_: int) -> object:
        return write(store, lambda u: u.add(panel(u, job_id, finish_id)), change_id=key)

    with ThreadPoolExecutor(8) as pool:
        receipts = list(pool.map(send, range(24)))
    assert len(set(receipts)) == 1
    assert len(store.job(job_id).all(Panel)) == 1


def test_writers_at_once_make_one_unbroken_chain(store: ShopStore) -> None:
    job_id = open_job(store)
    finish_id = finish_of(store, job_id)
    start = len(store.job(job_id).all(Panel))

    def send(number: int) -> int:
        def work(unit: Unit) -> None:
            seen = len(unit.job(job_id).all(Panel))
            unit.add(panel(unit, job_id, finish_id, f"Panel {seen}"))

        return write(store, work).position

    with ThreadPoolExecutor(8) as pool:
        positions = sorted(pool.map(send, range(60)))
    assert positions == list(range(3, 63))
    names = [p.name for p in store.job(job_id).all(Panel)]
    # Nobody counted the panels while another was adding one.
    assert names == [f"Panel {n}" for n in range(start, start + 60)]


def test_opening_a_job_is_noted_in_the_chain_of_the_shop(store: ShopStore) -> None:
    job_id = open_job(store)
    heads = {head.chain: head for head in store.heads()}
    assert heads[store.shop_id].position == 2
    assert heads[job_id].position == 1
    with store.reading() as sql:
        row = sql.row(
            "SELECT payload FROM journal WHERE chain = ? AND position = 2", (store.shop_id,)
        )
    assert row is not None and heads[job_id].hash in row[0]


def test_a_person_who_left_writes_nothing(store: ShopStore) -> None:
    with pytest.raises(Unknown, match="no person"):
        write(store, lambda unit: None, person_id=str(uuid4()))


def test_an_unknown_job_is_refused(store: ShopStore) -> None:
    missing = str(uuid4())
    with pytest.raises(Unknown, match=missing):
        store.job(missing)
    with pytest.raises(Unknown, match=missing):
        write(store, lambda unit: unit.add(panel(unit, missing, missing)))
    with pytest.raises(Unknown):
        store.job(store.shop_id)


def test_an_id_that_names_nothing_is_refused_and_harms_no_other(store: ShopStore) -> None:
    job_id = open_job(store)
    finish_id = finish_of(store, job_id)

    def send(number: int) -> str:
        target = str(uuid4()) if number % 5 == 0 else finish_id
        try:
            write(store, lambda unit: unit.add(panel(unit, job_id, target)))
        except Invalid as error:
            return str(error)
        return ""

    with ThreadPoolExecutor(8) as pool:
        answers = list(pool.map(send, range(40)))
    assert sum("not in this shop" in answer for answer in answers) == 8
    assert len(store.job(job_id).all(Panel)) == 32


def test_a_work_order_belongs_to_one_job(store: ShopStore) -> None:
    job_id = open_job(store, "W-7")
    found: list[str | None] = []

    def look(unit: Unit) -> None:
        found.extend([unit.job_by_work_order("W-7"), unit.job_by_work_order("W-8")])
        raise Invalid("", "only looking")

    with pytest.raises(Invalid):
        write(store, look)
    assert found == [job_id, None]
    with pytest.raises(AlreadyThere):
        open_job(store, "W-7")


def test_a_change_must_add_something(store: ShopStore) -> None:
    with pytest.raises(ValueError, match="adds no record"):
        write(store, lambda unit: None)


def test_a_key_must_be_a_uuid(store: ShopStore) -> None:
    with pytest.raises(Invalid, match="change_id"):
        write(store, lambda unit: None, change_id="17")


def test_reading_only_refuses_to_write(store: ShopStore, place: Place) -> None:
    reader = place.open(read_only=True).store()
    assert reader.shop().all(Person) == store.shop().all(Person)
    with pytest.raises(ReadOnly):
        open_job(reader)
    with pytest.raises(Exception, match="(?i)read"), reader.reading() as sql:
        sql.run("DELETE FROM sessions")


def test_a_reader_elsewhere_sees_what_was_added_since(store: ShopStore, place: Place) -> None:
    job_id = open_job(store)
    finish_id = finish_of(store, job_id)
    reader = place.open(read_only=True).store()
    assert reader.job(job_id).all(Panel) == []
    write(store, lambda unit: unit.add(panel(unit, job_id, finish_id)))
    assert reader.job(job_id).all(Panel) == store.job(job_id).all(Panel)


def test_which_shop_must_be_said_when_there_are_several(place: Place) -> None:
    database = place.open()
    with pytest.raises(NoShop, match="no shop"):
        database.store()
    one = database.create_shop("One", manager="A")
    assert database.store().shop_id == one.shop_id
    two = database.create_shop("Two", manager="B")
    with pytest.raises(NoShop, match="One .*Two"):
        database.store()
    assert database.store(two.shop_id).shop().all(Person)[0].name == "B"
    with pytest.raises(Unknown):
        database.store(str(uuid4()))
    with pytest.raises(Unknown):
        job = open_job(one)
        database.store(two.shop_id).job(job)


def test_submit_gives_the_receipt_when_it_is_on_disk(store: ShopStore) -> None:
    job_id = open_job(store)
    finish_id = finish_of(store, job_id)
    person_id = store.shop().all(Person)[0].root
    waiting = [
        store.submit(
            change_id=str(uuid4()),
            kind="add_panel",
            fingerprint="",
            person_id=person_id,
            work=lambda unit: unit.add(panel(unit, job_id, finish_id)),
        )
        for _ in range(20)
    ]
    heads = [Head(r.chain, r.position, r.hash) for r in (f.result() for f in waiting)]
    assert max(heads, key=lambda head: head.position) in store.heads()


@pytest.mark.parametrize(
    "text", ["nul \0 inside", "half \ud83d a character"], ids=["nul", "surrogate"]
)
def test_text_that_cannot_be_kept_is_refused(store: ShopStore, text: str) -> None:
    job_id = open_job(store)
    finish_id = finish_of(store, job_id)
    with pytest.raises(Invalid):
        write(store, lambda unit: unit.add(panel(unit, job_id, finish_id, text)))
    write(store, lambda unit: unit.add(panel(unit, job_id, finish_id, r"a \u0000 in words")))
    assert [p.name for p in store.job(job_id).all(Panel)] == [r"a \u0000 in words"]


@only_postgresql
def test_stores_on_two_machines_catch_up_with_each_other(place: Place) -> None:
    one = place.open().create_shop("Shop", manager="A")
    two = Place(place.folder, place.url).open().store()
    job_id = open_job(one)
    finish_id = finish_of(two, job_id)

    def send(number: int) -> None:
        store = (one, two)[number % 2]

        def work(unit: Unit) -> None:
            seen = len(unit.job(job_id).all(Panel))
            unit.add(panel(unit, job_id, finish_id, f"Panel {seen}"))

        write(store, work)

    with ThreadPoolExecutor(6) as pool:
        list(pool.map(send, range(40)))
    assert [p.name for p in one.job(job_id).all(Panel)] == [f"Panel {n}" for n in range(40)]
    assert two.job(job_id).all(Panel) == one.job(job_id).all(Panel)
    two.database.close()
