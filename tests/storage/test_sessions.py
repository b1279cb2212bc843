"""Signing in: sessions that end, waits that grow, and secrets that stay in their tables."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime, timedelta
from hashlib import sha256
from uuid import uuid4

import pytest

from service.domain.records.shop import ApiToken, Credential, Person
from service.domain.terms import Role
from service.storage.sessions import (
    Sessions,
    SignInAttempts,
    password_hash_of,
    token_by_hash,
    wait_seconds,
)
from service.storage.store import ShopStore
from service.use_cases.ports import Unit
from tests.conftest import Place
from tests.storage.samples import usual, write

HOUR = timedelta(hours=1)


class Clock:
    """A clock that a test moves."""

    def __init__(self) -> None:
        self.now = datetime(2026, 5, 6, 7, 8, 9, tzinfo=UTC)

    def __call__(self) -> datetime:
        return self.now

    def pass_by(self, time: timedelta) -> None:
        """Let time pass."""
        self.now += time


@pytest.fixture
def clock() -> Clock:
    """The clock of the store."""
    return Clock()


@pytest.fixture
def timed(place: Place, clock: Clock) -> ShopStore:
    """A store on that clock."""
    return place.open(clock=clock).create_shop("Shop", manager="A", password_hash="argon2 one")


def manager(store: ShopStore) -> str:
    """Id of the first manager."""
    return store.shop().all(Person)[0].root


def test_a_session_is_found_by_its_token_and_by_nothing_in_the_database(timed: ShopStore) -> None:
    sessions = Sessions(timed)
    token = sessions.start(manager(timed), idle=HOUR, longest=8 * HOUR)
    found = sessions.find(token)
    assert found is not None and found.person_id == manager(timed)
    with timed.reading() as sql:
        (row,) = sql.rows("SELECT * FROM sessions")
    assert token not in row
    assert sessions.find(str(row[0])) is None
    assert sessions.find(token[:-1]) is None


def test_a_session_ends_without_a_request_for_too_long(timed: ShopStore, clock: Clock) -> None:
    sessions = Sessions(timed)
    token = sessions.start(manager(timed), idle=HOUR, longest=8 * HOUR)
    for _ in range(4):
        clock.pass_by(0.9 * HOUR)
        assert sessions.find(token) is not None, "each request begins the hour anew"
    clock.pass_by(1.1 * HOUR)
    assert sessions.find(token) is None


def test_a_session_ends_in_any_case(timed: ShopStore, clock: Clock) -> None:
    sessions = Sessions(timed)
    token = sessions.start(manager(timed), idle=HOUR, longest=2 * HOUR)
    for _ in range(3):
        clock.pass_by(0.6 * HOUR)
        assert sessions.find(token) is not None
    clock.pass_by(0.6 * HOUR)
    assert sessions.find(token) is None


def test_a_session_can_be_ended_alone_or_all_of_a_person(timed: ShopStore) -> None:
    sessions = Sessions(timed)
    one, two, three = (sessions.start(manager(timed), idle=HOUR, longest=HOUR) for _ in range(3))
    sessions.end(one)
    assert sessions.find(one) is None and sessions.find(two) is not None
    assert len(sessions.of_person(manager(timed))) == 2
    sessions.revoke_all(manager(timed))
    assert sessions.find(two) is None and sessions.find(three) is None
    assert sessions.of_person(manager(timed)) == []


def test_a_session_of_another_shop_is_none_here(timed: ShopStore) -> None:
    other = timed.database.create_shop("Other", manager="B")
    token = Sessions(other).start(manager(other), idle=HOUR, longest=HOUR)
    assert Sessions(other).find(token) is not None
    assert Sessions(timed).find(token) is None


def test_five_failures_are_free_then_each_doubles_the_wait(timed: ShopStore, clock: Clock) -> None:
    attempts = SignInAttempts(timed)
    waits = []
    for _ in range(18):
        assert attempts.begin("ann", "10.0.0.9") == 0
        waits.append(attempts.begin("ann", "10.0.0.9") if len(waits) >= 4 else 0)
        clock.pass_by(timedelta(seconds=waits[-1]))
    assert waits == [0, 0, 0, 0, 1, 2, 4, 8, 16, 32, 64, 128, 256, 300, 300, 300, 300, 300]
    assert [wait_seconds(n) for n in (0, 4, 5, 6, 10_000)] == [0, 0, 1, 2, 300]


def test_an_account_waits_from_any_address_and_an_address_for_any_account(
    timed: ShopStore,
) -> None:
    attempts = SignInAttempts(timed)
    for number in range(5):
        assert attempts.begin("ann", f"10.0.0.{number}") == 0
    assert attempts.begin("ann", "10.9.9.9") > 0
    assert attempts.begin("ben", "10.9.9.9") == 0

    for number in range(5):
        assert attempts.begin(f"name {number}", "192.0.2.1") == 0
    assert attempts.begin("cleo", "192.0.2.1") > 0
    assert attempts.begin("cleo", "192.0.2.2") == 0


def test_the_right_password_ends_the_waiting(timed: ShopStore, clock: Clock) -> None:
    attempts = SignInAttempts(timed)
    for _ in range(5):
        attempts.begin("ann", "10.0.0.9")
    clock.pass_by(timedelta(seconds=1))
    assert attempts.begin("ann", "10.0.0.9") == 0
    attempts.succeeded("ann", "10.0.0.9")
    assert attempts.begin("ann", "10.0.0.9") == 0


def test_a_restart_does_not_end_the_waiting(timed: ShopStore, place: Place, clock: Clock) -> None:
    for _ in range(5):
        SignInAttempts(timed).begin("ann", "10.0.0.9")
    timed.database.close()
    again = place.open(clock=clock).store()
    assert SignInAttempts(again).begin("ann", "10.0.0.9") > 0


def test_many_attempts_at_once_are_counted_each(timed: ShopStore) -> None:
    attempts = SignInAttempts(timed)
    with ThreadPoolExecutor(8) as pool:
        answers = list(pool.map(lambda _: attempts.begin("ann", "10.0.0.9"), range(32)))
    assert sum(answer == 0 for answer in answers) == 5


def test_failures_are_forgotten_after_a_day(timed: ShopStore, clock: Clock) -> None:
    attempts = SignInAttempts(timed)
    for _ in range(5):
        attempts.begin("ann", "10.0.0.9")
    clock.pass_by(timedelta(hours=25))
    for _ in range(4):
        assert attempts.begin("ann", "10.0.0.9") == 0


def test_the_newest_password_is_in_force(timed: ShopStore) -> None:
    person_id = manager(timed)
    assert password_hash_of(timed, person_id) == "argon2 one"
    write(
        timed,
        lambda unit: unit.add(
            Credential(**usual(unit), person_id=person_id, password_hash="argon2 two")
        ),
    )
    assert password_hash_of(timed, person_id) == "argon2 two"
    assert password_hash_of(timed, str(uuid4())) is None


def test_a_token_is_found_by_its_hash_until_it_ends(timed: ShopStore, clock: Clock) -> None:
    hash = sha256(b"token").hexdigest()

    def give(unit: Unit) -> None:
        unit.add(
            ApiToken(
                **usual(unit),
                person_id=manager(timed),
                role=Role.MANAGER,
                label="script",
                token_hash=hash,
                expires_at=clock.now + HOUR,
            )
        )

    write(timed, give)
    found = token_by_hash(timed, hash)
    assert found is not None and found.label == "script"
    assert token_by_hash(timed, found.token_hash) is None, "the digest opens nothing"
    clock.pass_by(HOUR)
    assert token_by_hash(timed, hash) is None
