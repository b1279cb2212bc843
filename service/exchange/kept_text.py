"""Texts of exchange files as they are kept: one line, printable, not endless."""

from __future__ import annotations

LONGEST_TEXT = 200


def kept_text(text: str | None) -> str | None:
    """White space squeezed, signs that cannot be shown left out, cut; None if nothing is left."""
    if text is None:
        return None
    if len(text) <= LONGEST_TEXT and text.isalnum():
        return text
    if not text.isprintable():
        text = "".join(sign if sign.isprintable() else " " for sign in text)
    return " ".join(text.split())[:LONGEST_TEXT].rstrip() or None


def is_kept_whole(text: str) -> bool:
    """Whether nothing but white space would be lost."""
    if len(text) > LONGEST_TEXT:
        return False
    return text.isprintable() or all(sign.isprintable() or sign.isspace() for sign in text)
