"""Signing in: sessions kept on the server, waits after wrong passwords, and the secrets.

None of this is part of the record: it is written in the same database but not in the journal,
and a backup leaves it out.
"""

from __future__ import annotations

import secrets
from dataclasses import dataclass
from datetime import datetime, timedelta
from hashlib import sha256

from service.domain.moment import as_text, from_text
from service.domain.records.shop import ApiToken
from service.storage.codec import digest
from service.storage.sql import Sql, upsert_into
from service.storage.store import ShopStore

FREE_FAILURES = 5
LONGEST_WAIT_SECONDS = 300
FORGET_AFTER = timedelta(days=1)
TOUCH_AFTER = timedelta(seconds=60)
"""How stale the time a session was last seen may get before it is written again."""

_SESSION_COLUMNS = (
    "token_digest",
    "shop_id",
    "person_id",
    "started_at",
    "seen_at",
    "idle_seconds",
    "ends_at",
    "revoked_at",
)
_SESSIONS = f"SELECT {', '.join(_SESSION_COLUMNS)} FROM sessions"
_ATTEMPT_COLUMNS = ("shop_id", "subject", "failures", "last_at", "wait_until")


@dataclass(frozen=True, slots=True, kw_only=True)
class Session:
    """Somebody signed in; ``id`` is the digest of the token, which nobody else knows."""

    id: str
    person_id: str
    started_at: datetime
    seen_at: datetime
    idle: timedelta
    ends_at: datetime
    revoked_at: datetime | None

    def holds_at(self, now: datetime) -> bool:
        """Whether it is still good."""
        return self.revoked_at is None and now < self.ends_at and now < self.seen_at + self.idle


class Sessions:
    """The sign-in sessions of one shop."""

    def __init__(self, store: ShopStore) -> None:
        self._store = store

    def start(self, person_id: str, *, idle: timedelta, longest: timedelta) -> str:
        """Begin a session and return its token, 256 random bits; it is shown only here.

        It ends after ``idle`` without a request, and after ``longest`` in any case.
        """
        token = secrets.token_urlsafe(32)
        now = self._store.database.clock()
        row = (
            _token_digest(token),
            self._store.shop_id,
            person_id,
            as_text(now),
            as_text(now),
            int(idle.total_seconds()),
            as_text(now + longest),
            None,
        )
        long_ago = as_text(now - timedelta(days=30))

        def write(sql: Sql) -> None:
            sql.run("DELETE FROM sessions WHERE ends_at < ?", (long_ago,))
            sql.run(upsert_into("sessions", _SESSION_COLUMNS, "token_digest"), row)

        self._store.database.writer().run(write)
        return token

    def find(self, token: str) -> Session | None:
        """The session of a token, None when it has none that is still good."""
        now = self._store.database.clock()
        with self._store.reading() as sql:
            row = sql.row(
                f"{_SESSIONS} WHERE token_digest = ? AND shop_id = ?",
                (_token_digest(token), self._store.shop_id),
            )
        session = None if row is None else _session(row)
        if session is None or not session.holds_at(now):
            return None
        if now - session.seen_at >= TOUCH_AFTER and not self._store.database.read_only:
            self._store.database.writer().run(
                lambda sql: sql.run(
                    "UPDATE sessions SET seen_at = ? WHERE token_digest = ? AND seen_at < ?",
                    (as_text(now), session.id, as_text(now)),
                )
            )
        return session

    def of_person(self, person_id: str) -> list[Session]:
        """A person's sessions that are still good, the newest first."""
        now = self._store.database.clock()
        with self._store.reading() as sql:
            rows = sql.rows(
                f"{_SESSIONS} WHERE shop_id = ? AND person_id = ? ORDER BY started_at DESC",
                (self._store.shop_id, person_id),
            )
        return [session for session in map(_session, rows) if session.holds_at(now)]

    def end(self, token: str) -> None:
        """Sign out."""
        self.revoke(_token_digest(token))

    def revoke(self, session_id: str) -> None:
        """End a session by its id."""
        self._revoke("token_digest = ?", session_id)

    def revoke_all(self, person_id: str) -> None:
        """End all sessions of a person, as after a new password."""
        self._revoke("person_id = ?", person_id)

    def _revoke(self, condition: str, value: str) -> None:
        now = as_text(self._store.database.clock())
        self._store.database.writer().run(
            lambda sql: sql.run(
                "UPDATE sessions SET revoked_at = ? "
                f"WHERE shop_id = ? AND revoked_at IS NULL AND {condition}",
                (now, self._store.shop_id, value),
            )
        )


class SignInAttempts:
    """Who tried a password how often: five are free, then each failure doubles the wait."""

    def __init__(self, store: ShopStore) -> None:
        self._store = store

    def begin(self, account: str, address: str) -> float:
        """Count an attempt before its password is looked at; seconds still to wait, or 0.

        Counted first, many attempts at once are as slow as one after another. When the answer
        is not 0 the password must not be looked at.
        """
        now = self._store.database.clock()

        def count(sql: Sql) -> float:
            sql.run(
                "DELETE FROM sign_in_attempts WHERE shop_id = ? AND last_at < ?",
                (self._store.shop_id, as_text(now - FORGET_AFTER)),
            )
            # Ordered, so that two attempts never wait for each other's row.
            subjects = sorted(_subjects(account, address))
            lock = " FOR UPDATE" if sql.postgresql else ""
            held = [
                sql.row(
                    "SELECT failures, wait_until FROM sign_in_attempts "
                    f"WHERE shop_id = ? AND subject = ?{lock}",
                    (self._store.shop_id, subject),
                )
                for subject in subjects
            ]
            waits = [(from_text(row[1]) - now).total_seconds() for row in held if row]
            if max(waits, default=0.0) > 0:
                return max(waits)
            for subject, row in zip(subjects, held, strict=True):
                failures = (row[0] if row else 0) + 1
                until = now + timedelta(seconds=wait_seconds(failures))
                sql.run(
                    "INSERT INTO sign_in_attempts "
                    f"({', '.join(_ATTEMPT_COLUMNS)}) VALUES (?, ?, ?, ?, ?) "
                    "ON CONFLICT (shop_id, subject) DO UPDATE SET failures = "
                    "sign_in_attempts.failures + 1, last_at = excluded.last_at, "
                    "wait_until = excluded.wait_until",
                    (self._store.shop_id, subject, failures, as_text(now), as_text(until)),
                )
            return 0.0

        return self._store.database.writer().run(count)

    def succeeded(self, account: str, address: str) -> None:
        """Forget the failures of an account and an address after the right password."""

        def forget(sql: Sql) -> None:
            for subject in sorted(_subjects(account, address)):
                sql.run(
                    "DELETE FROM sign_in_attempts WHERE shop_id = ? AND subject = ?",
                    (self._store.shop_id, subject),
                )

        self._store.database.writer().run(forget)


def wait_seconds(failures: int) -> int:
    """How long after so many failures in a row the next attempt has to wait."""
    if failures < FREE_FAILURES:
        return 0
    return min(LONGEST_WAIT_SECONDS, 1 << min(failures - FREE_FAILURES, 20))


def password_hash_of(store: ShopStore, person_id: str) -> str | None:
    """The password hash in force of a person, from its table; None when there is none."""
    with store.reading() as sql:
        row = sql.row(
            "SELECT password_hash, withdrawn FROM credentials "
            "WHERE shop_id = ? AND person_id = ? ORDER BY position DESC, ordinal DESC",
            (store.shop_id, person_id),
        )
    return None if row is None or row[1] else str(row[0])


def token_by_hash(store: ShopStore, token_hash: str) -> ApiToken | None:
    """The API token whose hash that is, None when it is unknown, revoked or past its end.

    The record it gives holds the digest that stands in the journal, not the hash.
    """
    now = store.database.clock()
    for token in store.shop().by(ApiToken, "token_hash", digest(token_hash)):
        if token.expires_at is None or now < token.expires_at:
            return token
    return None


def _subjects(account: str, address: str) -> tuple[str, str]:
    return f"account {account}", f"address {address}"


def _token_digest(token: str) -> str:
    return sha256(token.encode()).hexdigest()


def _session(row: tuple[object, ...]) -> Session:
    id, _, person_id, started_at, seen_at, idle_seconds, ends_at, revoked_at = map(str, row)
    return Session(
        id=id,
        person_id=person_id,
        started_at=from_text(started_at),
        seen_at=from_text(seen_at),
        idle=timedelta(seconds=int(idle_seconds)),
        ends_at=from_text(ends_at),
        revoked_at=None if row[7] is None else from_text(revoked_at),
    )
