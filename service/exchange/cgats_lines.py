"""Lines of a CGATS.17 text to its tables: headers, field names and rows, all still text.

ISO 28178 (CGATS.17) separates by white space and quotes what holds some. Exporters leave out
counts and marks, separate by tabs with empty cells between, and wrap rows; each such thing is
taken and remembered under a code.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass, field

from service.exchange.readings import ReadingsRefused

MOST_FIELDS = 5_000
MOST_ROWS = 600_000
MOST_TABLES = 2_000
MOST_HEADER_LINES = 20_000  # of the whole file
_LONGEST_HEADER_LINE = 1_000_000  # characters that are looked at
_MOST_MARKS = 8  # in one line
_TOKEN = re.compile(r'"((?:[^"]|"")*)"?|\'([^\']*)\'(?=\s|$)|(\S+)')
_MARK = re.compile(r"\s*(BEGIN|END)_DATA(_FORMAT)?\b", re.I)
_MARK_BEHIND = re.compile(r"(?<=\s)BEGIN_DATA(_FORMAT)?\b")
_KEY = re.compile(r'\s*"?([A-Za-z][A-Za-z0-9_./:*-]*)"?[\s=:;,]*(.*)', re.S)
_NUMBER_LIKE = re.compile(r"[+-]?[\d.,]+(?:[eE][+-]?\d+)?%?")


@dataclass(slots=True)
class CgatsTable:
    """One table, its own header, and what was lenient about its frame."""

    number: int  # in the file, from 1
    keywords: list[tuple[int, str, str]] = field(default_factory=list)  # line, key, value
    fields: list[str] = field(default_factory=list)
    fields_line: int = 0
    tabbed: bool = False  # the field names are separated by tabs
    separator: str | None = None  # what they are separated by, if by no white space
    rows: list[str] = field(default_factory=list)
    row_lines: list[int] = field(default_factory=list)
    notes: dict[str, int] = field(default_factory=dict)  # code to the first line it holds for
    remarks: list[tuple[int, str]] = field(default_factory=list)  # comments above the rows

    def note(self, code: str, line: int) -> None:
        """Remember the first place of a leniency."""
        self.notes.setdefault(code, line)

    def stated(self, key: str) -> tuple[int, str] | None:
        """Line and text of a keyword's last value."""
        found = [(line, value) for line, name, value in self.keywords if name == key]
        return found[-1] if found else None


def tokens(text: str) -> list[str]:
    """What white space separates, save inside quotation marks."""
    if '"' not in text and "'" not in text:
        return text.split()
    return [
        match[1].replace('""', '"')
        if match[1] is not None
        else match[2]
        if match[2] is not None
        else match[3]
        for match in _TOKEN.finditer(text)
    ]


def find_tables(text: str, is_format: Callable[[list[str]], bool]) -> tuple[str, list[CgatsTable]]:
    """The first word of the file and its tables; ``is_format`` knows a line of field names."""
    if "\r" in text:
        text = text.replace("\r\n", "\n").replace("\r", "\n")
    lines = text.split("\n")
    return _first_word(lines), _Finder(is_format).tables(lines)


def _first_word(lines: list[str]) -> str:
    for line in lines:
        if line.strip():
            return (tokens(line) or [""])[0]
    return ""


class _Finder:
    """Goes through the lines once; which part of a table it stands in is its state."""

    def __init__(self, is_format: Callable[[list[str]], bool]) -> None:
        self._is_format = is_format
        self._found: list[CgatsTable] = []
        self._table = CgatsTable(1)
        self._part: Callable[[int, str], str | None] = self._header
        self._header_lines = 0

    def tables(self, lines: list[str]) -> list[CgatsTable]:
        for number, line in enumerate(lines, 1):
            rest: str | None = line
            marks = 0
            while rest and not rest.isspace():
                rest = self._part(number, rest)
                marks += 1
                if marks > _MOST_MARKS:
                    raise ReadingsRefused(
                        "the line holds more marks such as BEGIN_DATA than any table has. Export "
                        "the readings again.",
                        line=number,
                    )
        if self._part == self._data:
            self._table.note("end_of_data_missing", len(lines))
        if self._table.rows or self._part == self._data:
            self._close()
        return self._found

    def _close(self) -> None:
        self._found.append(self._table)
        if len(self._found) > MOST_TABLES:
            raise ReadingsRefused(
                f"The file holds more than {MOST_TABLES:,} tables. Split it into smaller files."
            )
        self._table = CgatsTable(len(self._found) + 1)
        self._part = self._header

    def _mark(self, number: int, line: str) -> str | None:
        """What stands behind a mark that begins or ends a part; None where there is no mark."""
        found = _MARK.match(line)
        if found is None:
            return None
        begins, of_format = found[1].upper() == "BEGIN", bool(found[2])
        if begins and of_format:
            self._table.fields, self._table.fields_line = [], number
            self._part = self._format
        elif begins:
            if not self._table.fields:
                self._take_format_over(number)
            self._part = self._data
        elif of_format:
            if self._part == self._header:
                self._table.note("begin_of_format_missing", number)
            self._part = self._header
        elif self._part == self._data:
            self._close()
        return line[found.end() :]

    def _take_format_over(self, number: int) -> None:
        if self._found:
            before = self._found[-1]
            self._table.fields, self._table.tabbed = list(before.fields), before.tabbed
            self._table.fields_line = before.fields_line
            self._table.note("format_of_table_before", number)

    def _header(self, number: int, line: str) -> str | None:
        if (rest := self._mark(number, line)) is not None:
            return rest
        self._header_lines += 1
        if self._header_lines > MOST_HEADER_LINES:
            raise ReadingsRefused(
                f"the headers have more than {MOST_HEADER_LINES:,} lines. Export the readings "
                "again.",
                line=number,
            )
        if line.lstrip().startswith("#"):
            self._table.remarks.append((number, line.strip()[:1_000]))
            return None
        behind = _MARK_BEHIND.search(line)
        if behind is not None and '"' not in line[: behind.start()]:
            self._header(number, line[: behind.start()])
            return line[behind.start() :]
        line = line[:_LONGEST_HEADER_LINE]
        words = tokens(without_comment(line))
        if 3 <= len(words) <= MOST_FIELDS and not self._table.fields and self._is_format(words):
            self._table.note("begin_of_format_missing", number)
            self._add_fields(number, line, words)
            return None
        names = len(self._table.fields)
        if names and len(words) >= names and sum(map(is_number, words)) >= min(3, names):
            self._table.note("begin_of_data_missing", number)
            self._part = self._data
            return line
        found = _KEY.match(line)
        if found is None:
            self._table.note("lines_skipped", number)
            return None
        value = " ".join(tokens(without_comment(found[2]))).strip(" ;")
        self._table.keywords.append((number, found[1].rstrip(":.-").upper(), value[:1_000]))
        return None

    def _format(self, number: int, line: str) -> str | None:
        if (rest := self._mark(number, line)) is not None:
            return rest
        if line.lstrip().startswith("#"):
            return None
        ended = re.search(r"\bEND_DATA_FORMAT\b", line, re.I)
        names = line[: ended.start()] if ended else line
        words = tokens(without_comment(names))
        if words and words[0].upper() in ("NUMBER_OF_SETS", "NUMBER_OF_FIELDS"):
            self._table.note("end_of_format_missing", number)
            self._part = self._header
            return line
        self._add_fields(number, names, words)
        return line[ended.start() :] if ended else None

    def _add_fields(self, number: int, line: str, words: list[str]) -> None:
        self._check_count(number, words)
        for separator in ("\t", ";", ","):
            parts = [part.strip().strip('"') for part in line.split(separator)]
            while parts and not parts[-1]:
                parts.pop()
            # Tabs and blanks may be mixed; then only one way of splitting gives colours.
            mixed = self._is_format(words) and not self._is_format(parts)
            tabs = separator == "\t" and not mixed
            behind = len(words) > 1 and all(word.endswith(separator) for word in words[:-1])
            if len(parts) > 1 and (len(parts) > len(words) or tabs or behind):
                words = parts
                self._table.tabbed |= separator == "\t"
                self._table.separator = None if separator == "\t" else separator
                break
        self._table.fields_line = self._table.fields_line or number
        self._table.fields += words
        self._check_count(number, self._table.fields)

    def _check_count(self, number: int, names: list[str]) -> None:
        if len(names) > MOST_FIELDS:
            raise ReadingsRefused(
                f"the table has more than {MOST_FIELDS:,} columns. Export the readings again.",
                line=number,
            )

    def _data(self, number: int, line: str) -> str | None:
        start = line.lstrip()
        first = start[0]
        if first == "#":
            return None
        if first in "EeBb" and (rest := self._mark(number, start)) is not None:
            return rest
        if not self._table.fields:
            words = tokens(line[:_LONGEST_HEADER_LINE])
            if len(words) <= MOST_FIELDS and self._is_format(words):
                self._table.note("begin_of_format_missing", number)
                self._add_fields(number, line, words)
                return None
        if line.rstrip()[-9:].upper().endswith(" END_DATA"):
            self._table.rows.append(line.rstrip()[:-9])
            self._table.row_lines.append(number)
            self._close()
            return None
        self._table.rows.append(line)
        self._table.row_lines.append(number)
        if len(self._table.rows) > MOST_ROWS:
            raise ReadingsRefused(
                f"the table has more than {MOST_ROWS:,} rows. Split it into smaller files.",
                line=number,
            )
        return None


def without_comment(line: str) -> str:
    """The line up to a # that stands outside quotation marks and begins a word."""
    if "#" not in line:
        return line
    quoted = False
    for place, sign in enumerate(line):
        if sign == '"':
            quoted = not quoted
        elif sign == "#" and not quoted and (place == 0 or line[place - 1].isspace()):
            return line[:place]
    return line


def is_number(word: str) -> bool:
    """Whether a word looks like a number, with either decimal mark."""
    return _NUMBER_LIKE.fullmatch(word) is not None
