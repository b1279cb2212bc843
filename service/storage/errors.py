"""What the engines' errors mean to a person."""

from __future__ import annotations

import re

from service.domain.refused import AlreadyThere, Invalid, Refused


class NotStored(Refused):
    """The disk or the database did not take a change; nothing of it is stored."""


def explained(error: Exception) -> Exception:
    """The refusal a person can act on, or the error itself when it is none of the known ones."""
    kind = type(error).__name__
    text = str(error).strip()
    if kind in ("IntegrityError", "UniqueViolation") and re.search(r"UNIQUE|unique", text):
        return AlreadyThere(
            f"An id, code or work order in this entry is already taken ({_first_line(text)}). "
            "Take another, or look at the earlier entry."
        )
    if kind in ("IntegrityError", "ForeignKeyViolation") and re.search(r"FOREIGN|foreign", text):
        return Invalid(
            "id",
            f"The entry names something that is not in this shop ({_first_line(text)}). "
            "Check its ids.",
        )
    if re.search(r"disk is full|No space left|could not extend file", text):
        return NotStored(
            "The disk is full, so nothing of this entry was stored. "
            "Free some space, then send it again; what was acknowledged is safe."
        )
    if kind in ("OperationalError", "DatabaseError", "InterfaceError"):
        return NotStored(
            f"The database did not take this entry ({_first_line(text)}). "
            "Nothing of it is stored. Try again; if it stays so, look at the disk and the server."
        )
    return error


def _first_line(text: str) -> str:
    return text.splitlines()[0] if text else "no reason given"
