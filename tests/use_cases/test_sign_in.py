"""Passwords and who signs in by them."""

import re
from datetime import timedelta

import pytest
from argon2 import PasswordHasher, extract_parameters
from argon2.low_level import Type
from argon2.profiles import RFC_9106_LOW_MEMORY
from hypothesis import example, given
from hypothesis import strategies as st

from service.domain.refused import Invalid
from service.domain.terms import Role
from service.use_cases import passwords
from service.use_cases.command import perform
from service.use_cases.passwords import check_password, fits, hash_password
from service.use_cases.shop import AddPerson, GiveToken, SetPassword
from service.use_cases.sign_in import (
    TooManyTries,
    WrongSignIn,
    hash_of_token,
    new_token,
    sign_in,
    visitor_by_session,
    visitor_by_token,
)
from tests.fakes import FakeAttempts, FakeKeys, FakeSessions, FakeStore
from tests.web_shop import PASSWORD, PASSWORD_HASH, new_id


class Door:
    """A shop with one manager, whose password is known."""

    def __init__(self):
        self.store = FakeStore()
        self.keys = FakeKeys(self.store)
        self.sessions = FakeSessions()
        self.attempts = FakeAttempts()
        self.do(SetPassword, person_id=self.store.manager_id, password_hash=PASSWORD_HASH)

    def do(self, kind, **fields):
        command = kind(id=new_id(), **fields)
        perform(self.store, self.store.manager_id, command)
        return command.id

    def knock(self, name="First Manager", password=PASSWORD, address="10.0.0.7"):
        return sign_in(
            self.store.shop(),
            self.keys,
            self.sessions,
            self.attempts,
            name=name,
            password=password,
            address=address,
        )


@pytest.fixture
def door():
    return Door()


def test_name_and_password_begin_a_session(door):
    signed_in = door.knock()
    visitor = visitor_by_session(door.store.shop(), door.sessions, signed_in.token)
    assert visitor.person.name == "First Manager"
    assert visitor.acting_as is None
    assert visitor.roles == {Role.MANAGER}


@pytest.mark.parametrize("name", ["first manager", " First Manager ", "FIRST MANAGER"])
def test_a_name_is_read_however_it_is_typed(door, name):
    assert door.knock(name)


@pytest.mark.parametrize(
    ("name", "password"),
    [("First Manager", PASSWORD + " "), ("First Manager", ""), ("Nobody", PASSWORD), ("", "")],
)
def test_anything_else_is_refused_with_one_text(door, name, password):
    with pytest.raises(WrongSignIn) as refused:
        door.knock(name, password)
    assert str(refused.value) == str(WrongSignIn())
    assert not door.sessions.kept


def test_somebody_without_a_password_cannot_sign_in(door):
    door.do(AddPerson, name="Pat", roles=(Role.PAINTER,))
    with pytest.raises(WrongSignIn):
        door.knock("Pat", "")


def test_after_five_tries_one_has_to_wait(door):
    for _ in range(5):
        with pytest.raises(WrongSignIn):
            door.knock(password="wrong")
    with pytest.raises(TooManyTries, match="Wait 8 seconds"):
        door.knock()


def test_a_session_counts_for_as_long_as_it_is_used(door):
    token = door.knock().token
    door.sessions.clock += timedelta(hours=11)
    assert visitor_by_session(door.store.shop(), door.sessions, token)
    door.sessions.clock += timedelta(hours=13)
    assert visitor_by_session(door.store.shop(), door.sessions, token) is None


def test_a_token_acts_in_one_role_only(door):
    token = new_token()
    door.do(
        GiveToken,
        person_id=door.store.manager_id,
        role=Role.MANAGER,
        label="till",
        token_hash=hash_of_token(token),
    )
    visitor = visitor_by_token(door.store.shop(), door.keys, token)
    assert (visitor.acting_as, visitor.roles) == (Role.MANAGER, {Role.MANAGER})
    assert visitor_by_token(door.store.shop(), door.keys, token + "x") is None


def test_tokens_are_256_random_bits_that_say_what_they_are():
    tokens = {new_token() for _ in range(100)}
    assert len(tokens) == 100
    # 32 bytes in base 64 (RFC 4648, 5) without padding are 43 characters.
    assert all(re.fullmatch(r"keepcard_[\w-]{43}", token) for token in tokens)


def test_the_hash_is_argon2id_by_the_second_choice_of_rfc_9106():
    """RFC 9106, 4: 64 MiB, 3 passes, 4 lanes, a salt of 128 and a tag of 256 bits."""
    for hash in (PASSWORD_HASH, passwords.NOBODYS):
        found = extract_parameters(hash)
        assert found == RFC_9106_LOW_MEMORY
        assert (found.type, found.memory_cost, found.time_cost) == (Type.ID, 65536, 3)
        assert (found.parallelism, found.salt_len, found.hash_len) == (4, 16, 32)


def test_another_implementation_reads_our_hash():
    """argon2-cffi's own hasher with other settings reads the parameters from the hash."""
    assert PasswordHasher(time_cost=1, memory_cost=1024).verify(PASSWORD_HASH, PASSWORD)


def test_two_ways_to_type_one_letter_are_one_password():
    """Unicode Standard Annex 15: NFKC makes one of é and e with an accent."""
    assert fits(hash_password("caf\u00e9 and nine more words"), "cafe\u0301 and nine more words")


def test_a_hash_that_is_none_fits_nothing():
    assert not fits(None, PASSWORD)
    assert not fits("", PASSWORD)
    assert not fits("$argon2id$nonsense", PASSWORD)


@pytest.mark.parametrize(
    "good",
    [
        PASSWORD,
        "correct horse battery staple",
        "το λευκό αυτοκίνητο",
        "V7 x!!q  3fq2 -- 9z",
        "x" * 3 + "many different letters" * 4,
    ],
)
def test_a_long_password_of_any_characters_is_good(good):
    """NIST SP 800-63B-4, 3.1.1.2: no rules on which characters; 64 and more are taken."""
    check_password(good, known=("Ira Quell", "Northside Refinish"))


@pytest.mark.parametrize(
    ("bad", "why"),
    [
        ("", "has 0 characters"),
        ("fourteen chars", "has 14 characters"),
        ("x" * 129, "has 129 characters"),
        ("aaaaaaaaaaaaaaaaaa", "1 different characters"),
        ("ab12ab12ab12ab12ab12", "4 different characters"),
        ("passwordpassword", "repeats itself"),
        ("12345678901234567", "runs along"),
        ("abcdefghijklmnopq", "runs along"),
        ("qwertyuiopasdfghjkl", "runs along"),
        ("Password-Password1", "tried first"),
        ("keepcard manager 1", "tried first"),
        ("iraquell2026ira!!", "tried first"),
        ("NorthsideRefinish1", "tried first"),
    ],
)
def test_a_short_or_common_password_is_refused(bad, why):
    """The same clause: at least 15 characters, and a list of what is tried first."""
    with pytest.raises(Invalid, match=why) as refused:
        check_password(bad, known=("Ira Quell", "Northside Refinish"))
    assert refused.value.field == "password"


@given(st.text(max_size=200), st.lists(st.text(max_size=20), max_size=2))
@example("\x00" * 20, [""])
def test_whatever_is_typed_is_either_good_or_refused_in_words(password, known):
    try:
        check_password(password, known=known)
    except Invalid as refused:
        assert str(refused).endswith(".")
    else:
        assert len(password) >= 8  # NFKC may lengthen what was typed, never below half of 15
