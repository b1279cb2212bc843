"""Signing in: people by name and password, programs by token."""

from __future__ import annotations

import secrets
from dataclasses import dataclass
from datetime import datetime, timedelta
from hashlib import sha256
from math import ceil
from typing import Protocol

from service.domain.record_file import RecordFile
from service.domain.records.shop import ApiToken, Person
from service.domain.refused import Invalid, Refused
from service.domain.terms import Role
from service.use_cases import passwords

IDLE = timedelta(hours=12)
LONGEST = timedelta(days=7)
TOKEN_PREFIX = "keepcard_"
"""Begins every API token, so that one left in a file is recognised for what it is."""


class NotSignedIn(Refused):
    """The request comes from nobody the shop knows."""

    def __init__(self, why: str = "") -> None:
        super().__init__(why or "Nobody is signed in. Sign in, or send a token.")


class WrongSignIn(Refused):
    """One text for an unknown name and for a wrong password, so that names cannot be tried out."""

    def __init__(self) -> None:
        super().__init__(
            "The name and the password do not go together. "
            "Try again, or ask a manager for a new password."
        )


class TooManyTries(Refused):
    """Wrong passwords in a row, for one name or from one address."""

    def __init__(self, seconds: float) -> None:
        self.wait_seconds = max(1, ceil(seconds))
        super().__init__(
            f"Too many wrong passwords in a row. Wait {self.wait_seconds} "
            f"second{'s' * (self.wait_seconds != 1)}, then try again."
        )


class Session(Protocol):
    """Somebody signed in; ``id`` is the digest of the token."""

    @property
    def id(self) -> str: ...
    @property
    def person_id(self) -> str: ...
    @property
    def started_at(self) -> datetime: ...
    @property
    def seen_at(self) -> datetime: ...
    @property
    def ends_at(self) -> datetime: ...


class Sessions(Protocol):
    """The sign-in sessions of a shop, kept on the server under the digest of their token."""

    def start(self, person_id: str, *, idle: timedelta, longest: timedelta) -> str:
        """Begin a session and return its token, 256 random bits."""

    def find(self, token: str) -> Session | None:
        """The session of a token, None when it has none that is still good."""

    def end(self, token: str) -> None:
        """Sign out."""

    def revoke_all(self, person_id: str) -> None:
        """End all sessions of a person, as after a new password."""


class Attempts(Protocol):
    """Counts who tries passwords, by name and by address."""

    def begin(self, account: str, address: str) -> float:
        """Count an attempt before its password is looked at; seconds to wait instead, or 0."""

    def succeeded(self, account: str, address: str) -> None:
        """Forget the failures of both."""


class Keys(Protocol):
    """What proves who somebody is; kept out of the record's files."""

    def password_hash_of(self, person_id: str) -> str | None:
        """The password hash in force of a person."""

    def token_by_hash(self, token_hash: str) -> ApiToken | None:
        """The API token with that SHA-256, None when it is unknown, revoked or past its end."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Visitor:
    """Who a request comes from.

    ``acting_as`` narrows the person to one role (a token does); ``session`` is the token of a
    person's session, empty for a program.
    """

    person: Person
    acting_as: Role | None = None
    session: str = ""

    @property
    def roles(self) -> frozenset[Role]:
        """The roles held in this request."""
        held = self.person.roles
        return frozenset(held if self.acting_as is None else {self.acting_as}.intersection(held))


@dataclass(frozen=True, slots=True, kw_only=True)
class SignedIn:
    """A session just begun; the token is known to nobody else."""

    person: Person
    token: str


def sign_in(
    shop: RecordFile,
    keys: Keys,
    sessions: Sessions,
    attempts: Attempts,
    *,
    name: str,
    password: str,
    address: str,
) -> SignedIn:
    """Begin a session for a person who gives name and password.

    Raises
    ------
    TooManyTries
        Before the password is looked at, when the last ones were wrong.
    WrongSignIn
        When there is no such person, or it is another password; after the same time.
    """
    account = name.strip().casefold()[:80]
    wait = attempts.begin(account, address)
    if wait > 0:
        raise TooManyTries(wait)
    person = next((p for p in shop.all(Person) if p.name.casefold() == account), None)
    hash = keys.password_hash_of(person.root) if person is not None else None
    right = passwords.fits(hash, password)
    if person is None or not right:
        raise WrongSignIn
    attempts.succeeded(account, address)
    return SignedIn(person=person, token=sessions.start(person.root, idle=IDLE, longest=LONGEST))


def confirm_password(
    keys: Keys, attempts: Attempts, person: Person, password: str, address: str
) -> None:
    """Refuse a password that is not the person's own; somebody may have left their tablet.

    Raises
    ------
    TooManyTries
        Before the password is looked at, when the last ones were wrong.
    Invalid
        When it is another one.
    """
    hash = keys.password_hash_of(person.root)
    if hash is None:
        return
    account = person.name.casefold()
    wait = attempts.begin(account, address)
    if wait > 0:
        raise TooManyTries(wait)
    if not passwords.fits(hash, password):
        raise Invalid("current_password", "This is not the password in force. Type it again.")
    attempts.succeeded(account, address)


def visitor_by_session(shop: RecordFile, sessions: Sessions, token: str) -> Visitor | None:
    """The person whose session has that token; None when it ended or they have left."""
    session = sessions.find(token)
    person = shop.find(Person, session.person_id) if session is not None else None
    return None if person is None else Visitor(person=person, session=token)


def visitor_by_token(shop: RecordFile, keys: Keys, token: str) -> Visitor | None:
    """The person an API token acts as, in its role; None when it no longer holds."""
    found = keys.token_by_hash(hash_of_token(token))
    person = shop.find(Person, found.person_id) if found is not None else None
    if found is None or person is None or found.role not in person.roles:
        return None
    return Visitor(person=person, acting_as=found.role)


def new_token() -> str:
    """A new API token: 256 random bits."""
    return TOKEN_PREFIX + secrets.token_urlsafe(32)


def hash_of_token(token: str) -> str:
    """What is stored of a token; a random 256-bit secret needs no slow hash."""
    return sha256(token.encode()).hexdigest()
