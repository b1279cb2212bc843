"""Passwords: what makes one good enough, and their argon2id hashes.

The rules follow NIST SP 800-63B-4 for a password that is the only factor: at least 15
characters, no rules on which, no forced change, long ones and every character allowed, and a
list of what everybody would try first.
"""

from __future__ import annotations

import threading
import unicodedata
from collections.abc import Iterable
from typing import TYPE_CHECKING

from service.domain.refused import Invalid

if TYPE_CHECKING:
    from argon2 import PasswordHasher

SHORTEST = 15
LONGEST = 128

RULE = (
    f"Take at least {SHORTEST} characters, for instance four or five words that have nothing to "
    "do with each other. Any characters will do, spaces too."
)

# Each hash takes 64 MiB; more than two at a time would be a lever to take the memory away.
GATE = threading.BoundedSemaphore(2)

# Of a random password nobody knows, with the parameters in use: a stranger's name takes as long
# to refuse as a wrong password does.
NOBODYS = (
    "$argon2id$v=19$m=65536,t=3,p=4$ZW53jQEQni5ogJ0KUFl46g"
    "$pgpb+4PHFKZRybWwr1UX9d+Kom+uYTBBb/qG6huallA"
)

_ROWS = ("abcdefghijklmnopqrstuvwxyz", "01234567890", "qwertyuiop", "asdfghjkl", "zxcvbnm")
_FIRST_TRIED = (
    "password", "passwort", "passphrase", "keepcard", "welcome", "letmein", "iloveyou", "sunshine",
    "princess", "football", "baseball", "manager", "painter", "refinisher", "sprayer", "admin",
    "secret", "master", "monkey", "dragon", "qwertz", "paint", "spray", "card", "shop", "login",
    "changeme", "default", "test", "demo",
)  # fmt: skip


def hash_password(password: str) -> str:
    """The argon2id hash of a password, by the second choice of RFC 9106 (64 MiB, 3 passes)."""
    with GATE:
        return _hasher().hash(_normal(password))


def fits(password_hash: str | None, password: str) -> bool:
    """Whether a password has that hash; without a hash it takes as long and is False."""
    from argon2.exceptions import InvalidHashError, VerificationError

    with GATE:
        try:
            _hasher().verify(password_hash or NOBODYS, _normal(password)[: 8 * LONGEST])
        except (VerificationError, InvalidHashError):
            return False
    return password_hash is not None


def check_password(password: str, *, known: Iterable[str] = ()) -> None:
    """Refuse a password that is short or easily guessed.

    ``known`` are words a guesser would have: the person's name, the shop's.

    Raises
    ------
    Invalid
        With what is wrong and what to take instead.
    """
    length = len(_normal(password))
    if length < SHORTEST:
        raise Invalid("password", f"The password has {length} characters. {RULE}")
    if length > LONGEST:
        raise Invalid(
            "password", f"The password has {length} characters. Keep it to {LONGEST} at most."
        )
    why = _easily_guessed(_normal(password), known)
    if why is not None:
        raise Invalid("password", f"The password {why}, so it is easily guessed. {RULE}")


def _easily_guessed(password: str, known: Iterable[str]) -> str | None:
    folded = password.casefold()
    if len(set(folded)) < 5:
        return f"is made of {len(set(folded))} different characters only"
    if any(
        folded == (folded[:n] * len(folded))[: len(folded)] for n in range(1, 1 + len(folded) // 2)
    ):
        return "repeats itself"
    steps = [one + other for one, other in zip(folded, folded[1:], strict=False)]
    if sum(_is_a_run(step) for step in steps) >= 0.7 * len(steps):
        return "runs along the alphabet or the keyboard"
    words = sorted({*_FIRST_TRIED, *_parts(known)}, key=len, reverse=True)
    rest = folded
    for word in words:
        rest = rest.replace(word, " ")
    if sum(character.isalpha() for character in rest) < 5 and rest != folded:
        return "is made of words that are tried first"
    return None


def _is_a_run(step: str) -> bool:
    return any(step in row or step[::-1] in row for row in _ROWS)


def _parts(names: Iterable[str]) -> list[str]:
    return [part for name in names for part in _normal(name).casefold().split() if len(part) > 2]


def _normal(password: str) -> str:
    """One form for one look: two keyboards may send an accented letter in two ways."""
    return unicodedata.normalize("NFKC", password)


def _hasher() -> PasswordHasher:
    from argon2 import PasswordHasher
    from argon2.profiles import RFC_9106_LOW_MEMORY

    return PasswordHasher.from_parameters(RFC_9106_LOW_MEMORY)
