"""CSV that a spreadsheet opens without running any of it (RFC 4180, ASVS 5.0 item 1.2.10)."""

from __future__ import annotations

import csv
import math
import re
from collections.abc import Iterable, Iterator, Sequence
from datetime import date, datetime

Cell = str | int | float | datetime | date | None

# A spreadsheet takes a cell that begins so for a formula; ASVS 1.2.10 names all but CR and LF.
_RISKY = "=+\\-@\t\r\n\0"
_MUST_GUARD = re.compile(f"'*[{_RISKY}]")
_WAS_GUARDED = re.compile(f"'+[{_RISKY}]")


def guard_text(text: str) -> str:
    """Put an apostrophe before text that a spreadsheet would run; `unguard_text` undoes it.

    Text that already looks guarded gets one more, so that nothing is lost on the way back.
    """
    return "'" + text if _MUST_GUARD.match(text) else text


def unguard_text(text: str) -> str:
    """Take away the apostrophe `guard_text` put there."""
    return text[1:] if _WAS_GUARDED.match(text) else text


def csv_lines(headings: Sequence[str], rows: Iterable[Sequence[Cell]]) -> Iterator[str]:
    """Each line of the file with its CR LF, so that a long table can be sent as it is made.

    Text is guarded; numbers stay numbers, also negative ones; None is an empty cell; a time is
    written in ISO 8601.
    """
    out: list[str] = []
    writer = csv.writer(_Collector(out), lineterminator="\r\n")
    writer.writerow([guard_text(heading) for heading in headings])
    yield out.pop()
    for row in rows:
        if len(row) != len(headings):
            raise ValueError(f"a row must have {len(headings)} cells, got {len(row)}: {row!r}")
        writer.writerow([_cell(value) for value in row])
        yield out.pop()


def csv_bytes(
    headings: Sequence[str], rows: Iterable[Sequence[Cell]], *, for_spreadsheet: bool = False
) -> bytes:
    """The whole file in UTF-8; with ``for_spreadsheet`` behind a byte order mark."""
    text = "".join(csv_lines(headings, rows))
    return text.encode("utf-8-sig" if for_spreadsheet else "utf-8")


class _Collector:
    """The one method of a file that csv.writer calls."""

    def __init__(self, out: list[str]) -> None:
        self._out = out

    def write(self, line: str) -> int:
        self._out.append(line)
        return len(line)


def _cell(value: Cell) -> str:
    if value is None:
        return ""
    if isinstance(value, str):
        return guard_text(value)
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        if not math.isfinite(value):
            raise ValueError(f"a number in a CSV file must be finite, got {value}")
        return repr(float(value))  # float() because a numpy number prints with its type
    if isinstance(value, int):
        return str(value)
    if isinstance(value, (datetime, date)):
        return value.isoformat()
    raise TypeError(f"a CSV cell must be text, a number, a time or None, got {value!r}")
