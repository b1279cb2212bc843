"""A job's file as a value: what stands now, and what a correction changes."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.domain.record_file import RecordFile
from service.domain.records.cards import Card
from service.domain.records.spraying import Batch
from service.domain.refused import Unknown
from tests.builders import JobBuilder, make_id


def corrected(record, **changes):
    return replace(
        record,
        id=make_id(f"{record.id} {changes} {record.revision}"),
        corrects=record.root,
        revision=record.revision + 1,
        reason="It was wrong",
        **changes,
    )


@pytest.fixture
def job():
    return JobBuilder()


def test_a_correction_takes_the_place_of_what_it_corrects_under_the_first_id(job):
    card = job.card(job.batch(1), slot="A1")
    later = job.file.with_records([corrected(card, slot="B2")])
    assert later.get(Card, card.id).slot == "B2"
    assert job.file.get(Card, card.id).slot == "A1"
    assert len(later.all(Card)) == 1


def test_a_withdrawn_record_is_gone_from_every_question_but_not_from_the_record(job):
    card = job.card(job.batch(1))
    assert job.file.by(Card, "batch_id", card.batch_id) == [card]
    later = job.file.with_records([corrected(card, withdrawn=True)])
    assert later.all(Card) == later.by(Card, "batch_id", card.batch_id) == []
    assert later.find(Card, card.id) is None
    assert later.latest_revision(Card, card.id).withdrawn
    with pytest.raises(Unknown, match="There is no card"):
        later.get(Card, card.id)


def test_a_correction_that_moves_a_record_is_found_at_its_new_place(job):
    first, second = job.batch(1), job.batch(2)
    card = job.card(first)
    assert job.file.by(Card, "batch_id", first.id) == [card]
    later = job.file.with_records([corrected(card, batch_id=second.id)])
    assert later.by(Card, "batch_id", first.id) == []
    assert [c.root for c in later.by(Card, "batch_id", second.id)] == [card.id]


@given(st.lists(st.tuples(st.integers(1, 4), st.booleans()), min_size=1, max_size=12))
def test_adding_one_by_one_is_the_same_as_adding_all_at_once(steps):
    """Whatever was asked between, an index never differs from one made anew."""
    job = JobBuilder()
    batches = [job.batch(number) for number in range(1, 5)]
    start = job.file
    records = []
    for place, (number, again) in enumerate(steps):
        card = job.card(batches[number - 1], name=str(place))
        records.append(card)
        if again:
            records.append(corrected(card, batch_id=batches[number % 4].id))
    slowly = start
    for record in records:
        slowly = slowly.with_records([record])
        slowly.by(Card, "batch_id", batches[0].id)
    at_once = start.with_records(records)
    for batch in batches:
        asked = [[c.id for c in f.by(Card, "batch_id", batch.id)] for f in (slowly, at_once)]
        assert asked[0] == asked[1]
    assert slowly.all(Card) == at_once.all(Card)
    assert slowly.all(Batch) == batches


def test_an_empty_file_answers_everything_with_nothing():
    file = RecordFile("x")
    assert file.all(Card) == file.by(Card, "batch_id", "y") == []
    assert file.find(Card, None) is None
