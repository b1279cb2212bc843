"""Every field of every record goes to its column, to the journal, and back unchanged."""

from __future__ import annotations

import json
import math
from dataclasses import dataclass, fields
from datetime import UTC, datetime, timedelta, timezone
from typing import Any, ClassVar

import pytest
import rfc8785
from hypothesis import given
from hypothesis import strategies as st

from service.domain.records.base import Record
from service.domain.records.job import Panel, Policy
from service.domain.records.measuring import Reading, Verdict
from service.domain.records.shop import Credential
from service.domain.refused import Invalid
from service.domain.terms import Stage, Subject, Word
from service.storage.canonical import canonical
from service.storage.codec import SECRETS, codec_of, decimal_text, digest
from service.storage.schema import CODECS, LINE_CODECS, PLACE, RECORDS
from tests.storage.samples import sample


@pytest.mark.parametrize("kind", RECORDS, ids=lambda kind: kind.table)
def test_a_record_comes_back_as_it_went(kind: type[Record]) -> None:
    record = sample(kind)
    row, plain, exact = CODECS[kind.table].encode(record)
    again = CODECS[kind.table].decode(json.loads(canonical(plain)))
    secret = any(table == kind.table for table, _ in SECRETS)
    assert exact is not secret
    for field in fields(kind):
        held, found = getattr(record, field.name), getattr(again, field.name)
        if (kind.table, field.name) in SECRETS:
            held = digest(held)
        assert found == held and type(found) is type(held), field.name
    assert len(row) == len(fields(kind))
    assert all(value is None or type(value) in (str, int, float, bool) for value in row)


@pytest.mark.parametrize("kind", RECORDS, ids=lambda kind: kind.table)
def test_the_journal_row_is_canonical_json_by_another_library(kind: type[Record]) -> None:
    _, plain, _ = CODECS[kind.table].encode(sample(kind))
    assert canonical(plain).encode() == rfc8785.dumps(plain)


@given(
    st.recursive(
        st.none()
        | st.booleans()
        | st.integers(-(2**53) + 1, 2**53 - 1)
        | st.text(st.characters(exclude_categories=["Cs"])),
        lambda inner: (
            st.lists(inner, max_size=4)
            | st.dictionaries(st.text("abz_09éß漢", max_size=5), inner, max_size=4)
        ),
        max_leaves=12,
    )
)
def test_canonical_json_agrees_with_rfc8785(value: Any) -> None:
    assert canonical(value).encode() == rfc8785.dumps(value)


def test_tables_have_the_columns_of_their_dataclass_one_to_one() -> None:
    from service.storage.tables import metadata

    for kind in RECORDS:
        columns = [column.name for column in metadata.tables[kind.table].columns]
        assert columns == [*(f.name for f in fields(kind)), *PLACE]
    for codec in LINE_CODECS.values():
        columns = [column.name for column in metadata.tables[codec.table].columns]
        assert columns == [field.name for field in fields(codec.kind)]


def test_every_constraint_has_a_name() -> None:
    from service.storage.tables import metadata

    for table in metadata.tables.values():
        for constraint in (*table.constraints, *table.indexes):
            assert constraint.name, f"{table.name}: {constraint!r}"
            assert len(str(constraint.name)) <= 63, "PostgreSQL cuts longer names"


@given(st.floats(allow_nan=False, allow_infinity=False))
def test_a_float_is_exact_as_decimal_text(number: float) -> None:
    assert float(decimal_text(number)) == number
    assert math.copysign(1, float(decimal_text(-0.0))) == 1


@pytest.mark.parametrize("bad", [math.nan, math.inf, "1.5 mm", None.__class__])
def test_what_is_no_finite_number_is_refused(bad: Any) -> None:
    panel = sample(Panel)
    object.__setattr__(panel, "x", bad)
    with pytest.raises(Invalid, match="x cannot be stored"):
        CODECS["panels"].encode(panel)


def test_values_of_a_near_type_are_stored_as_declared() -> None:
    loose = sample(Panel, x=3)
    row, plain, exact = CODECS["panels"].encode(loose)
    assert (
        not exact and plain["x"] == "3.0" and type(row[CODECS["panels"].names.index("x")]) is float
    )
    again = CODECS["panels"].decode(plain)
    assert type(getattr(again, "x")) is float  # noqa: B009  the type is what is tested

    word = sample(Verdict, subject="joint", stage="baked", word=Word.SHOWS, words=Stage.BAKED)
    plain = CODECS["verdicts"].encode(word)[1]
    again = CODECS["verdicts"].decode(plain)
    assert isinstance(again, Verdict)
    assert again.subject is Subject.JOINT and again.stage is Stage.BAKED
    assert type(again.words) is str

    listed = sample(Policy, required_angles=[15.0, 45])
    plain = CODECS["policies"].encode(listed)[1]
    assert plain["required_angles"] == [15, 45]
    assert CODECS["policies"].decode(plain).required_angles == (15, 45)  # type: ignore[attr-defined]


def test_a_value_outside_its_set_is_refused() -> None:
    reading = sample(Reading)
    object.__setattr__(reading, "stage", "varnished")
    with pytest.raises(Invalid, match="not one of wet, base_dry"):
        CODECS["readings"].encode(reading)
    object.__setattr__(reading, "stage", None)
    with pytest.raises(Invalid, match="stage is missing"):
        CODECS["readings"].encode(reading)


def test_a_time_in_another_zone_is_stored_in_utc() -> None:
    at = datetime(2026, 3, 4, 12, 0, tzinfo=timezone(timedelta(hours=2)))
    panel = sample(Panel)
    object.__setattr__(panel, "observed_at", at)
    plain = CODECS["panels"].encode(panel)[1]
    assert plain["observed_at"] == "2026-03-04T10:00:00.000000Z"
    assert CODECS["panels"].decode(plain).observed_at.tzinfo is UTC


def test_a_secret_goes_to_its_column_and_only_its_digest_to_the_journal() -> None:
    row, plain, _ = CODECS["credentials"].encode(sample(Credential, password_hash="argon2 text"))
    assert "argon2 text" in row
    assert plain["password_hash"] == digest("argon2 text")
    assert "argon2 text" not in canonical(plain)


@dataclass(frozen=True, slots=True, kw_only=True)
class Later:
    """A class that got a field after its first rows were written."""

    table: ClassVar[str] = "later"
    id: str
    added: int = 7
    needed: str


def test_an_old_row_is_read_with_the_default_of_a_later_field() -> None:
    assert codec_of(Later).decode({"id": "a", "needed": "b"}) == Later(id="a", needed="b")
    with pytest.raises(ValueError, match="later lacks needed"):
        codec_of(Later).decode({"id": "a"})
