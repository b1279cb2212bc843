"""Codes that were nearly typed right: whether a text was meant as one, and what it may have been.

The check character tells that a code was mistyped, not where. The few codes that one wrong
character or one swap away would have made it are tried instead, and those that exist are shown.
"""

from __future__ import annotations

from service.domain.card_code import CARD_ALPHABET, LENGTH, check_card_code, read_card_code
from service.domain.refused import Invalid


def as_a_code(typed: str) -> str | None:
    """A text as the nine characters of a code, right or not; None when it cannot be meant as one.

    A word of nine letters is a word: a code without a single digit is too rare to ask about.
    """
    try:
        return read_card_code(typed)
    except Invalid:
        plain = "".join(c for c in typed.upper() if c not in "- ")
        plain = plain.replace("O", "0").replace("I", "1").replace("L", "1")
    fits = len(plain) == LENGTH and all(c in CARD_ALPHABET for c in plain)
    return plain if fits and any(c.isdigit() for c in typed) else None


def one_slip_away(code: str) -> tuple[str, ...]:
    """The valid codes from which one wrong character, or a swap of two neighbours, gives this."""
    tried = [
        code[:place] + character + code[place + 1 :]
        for place in range(len(code))
        for character in CARD_ALPHABET
        if character != code[place]
    ]
    tried += [
        code[:place] + code[place + 1] + code[place] + code[place + 2 :]
        for place in range(len(code) - 1)
        if code[place] != code[place + 1]
    ]
    return tuple(dict.fromkeys(one for one in tried if _is_valid(one)))


def _is_valid(code: str) -> bool:
    try:
        check_card_code(code)
    except Invalid:
        return False
    return True
