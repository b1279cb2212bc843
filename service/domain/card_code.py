"""Card codes: eight characters that are hard to misread, and one that catches a typo.

The eight come from Crockford's base 32 (no I, L, O, U). The ninth is the check character of
ISO/IEC 7064 MOD 37-2, which catches every single wrong character and every swap of two
neighbours. Codes whose check character would be I, L, O, U or * are never given out, so what
is typed can be read with O as 0 and I or L as 1.
"""

from __future__ import annotations

import secrets
from collections.abc import Callable

from service.domain.refused import Invalid

CARD_ALPHABET = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"
CHECK_ALPHABET = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ*"
LENGTH = 9
_MISREAD = str.maketrans({"O": "0", "I": "1", "L": "1", "-": "", " ": ""})


def check_character(characters: str) -> str:
    """Check character of ISO/IEC 7064 MOD 37-2 for characters 0-9 and A-Z."""
    total = 0
    for character in characters:
        total = (total + CHECK_ALPHABET.index(character)) * 2 % 37
    return CHECK_ALPHABET[(1 - total) % 37]


def new_card_code(choose: Callable[[str], str] = secrets.choice) -> str:
    """Make a code nobody had before (32 to the 8th are there; the store refuses a repeat)."""
    while True:
        body = "".join(choose(CARD_ALPHABET) for _ in range(LENGTH - 1))
        check = check_character(body)
        if check in CARD_ALPHABET:
            return body + check


def read_card_code(typed: str) -> str:
    """Read a code as a person typed it: any case, hyphens and spaces, O for 0, I or L for 1.

    A scanner types what its label carries, which may be the address of the card's page.

    Raises
    ------
    Invalid
        When it has the wrong length or characters, or the check character does not fit.
    """
    code = typed.strip().upper()
    if code.startswith(("HTTP://", "HTTPS://")):
        code = code.rpartition("/C/")[2]
    code = code.translate(_MISREAD)
    check_card_code(code, typed)
    return code


def check_card_code(code: str, typed: str | None = None) -> None:
    """Refuse what cannot be a card code."""
    shown = typed if typed is not None else code
    if len(code) != LENGTH or any(c not in CARD_ALPHABET for c in code):
        raise Invalid(
            "code",
            f"{shown!r} is not a card code. A code has 9 letters and digits, like 7K3Q-X9WD-4.",
        )
    if check_character(code[:-1]) != code[-1]:
        raise Invalid(
            "code",
            f"The code {shown!r} has a wrong character, or two swapped. "
            "Compare it with the label letter by letter.",
        )


def grouped(code: str) -> str:
    """Write a code as the label shows it: 7K3Q-X9WD-4."""
    return f"{code[:4]}-{code[4:8]}-{code[8:]}"
