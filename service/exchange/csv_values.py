"""Cells to numbers and texts; numbers with one decimal mark in the whole file."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import TypeVar

from service.exchange.csv_out import unguard_text
from service.exchange.readings import ReadingsRefused

T = TypeVar("T")
LONGEST_TEXT = 200
NUMBER = re.compile(r"[+-]?(?:\d+(?:[.,]\d*)?|[.,]\d+)(?:[eE][+-]?\d{1,3})?")


def translated(do: Callable[[str], T], text: str, line: int, column: str) -> T:
    """What ``do`` makes of a cell; its ValueError becomes a refusal that names the place."""
    try:
        return do(text)
    except ValueError as error:
        raise ReadingsRefused(str(error), line=line, column=column, value=text) from None


class Numbers:
    """Reads numbers and holds the whole file to the decimal mark it used first."""

    def __init__(self) -> None:
        self.mark: str | None = None
        self._first: tuple[int, str] = (0, "")

    def read(self, cell: str, line: int, column: str) -> float:
        """The finite number in a cell."""
        text = cell.replace("\u2212", "-")
        if not NUMBER.fullmatch(text):
            raise ReadingsRefused(_why_no_number(cell), line=line, column=column, value=cell)
        mark = "," if "," in text else "." if "." in text else None
        if mark is not None and mark != self.mark:
            if self.mark is not None:
                where, what = self._first
                raise ReadingsRefused(
                    f"'{cell}' has another decimal mark than '{what}' on line {where}. "
                    "Use one mark in the whole file.",
                    line=line,
                    column=column,
                    value=cell,
                )
            self.mark, self._first = mark, (line, cell)
        return float(text.replace(",", "."))


def _why_no_number(cell: str) -> str:
    if not cell:
        return "the value is missing. Enter it, or leave the whole reading out."
    if re.fullmatch(r"[+-]?\d+([.,]\d+){2,}", cell):
        return f"'{cell}' has more than one decimal mark. Write it without thousands marks."
    return f"'{cell}' is not a number. Write it as 12.3 or 12,3."


def read_text(cell: str, line: int, column: str) -> str | None:
    """A name or another text, without what a spreadsheet guard put before it; None if empty."""
    text = " ".join(unguard_text(cell).split())
    if len(text) > LONGEST_TEXT:
        raise ReadingsRefused(
            f"the text has {len(text)} characters. Keep it to {LONGEST_TEXT}.",
            line=line,
            column=column,
            value=cell,
        )
    if not text.isprintable():
        raise ReadingsRefused(
            f"{text!a} holds a character that cannot be shown. Remove it.",
            line=line,
            column=column,
            value=cell,
        )
    return text or None
