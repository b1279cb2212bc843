"""Lines of a CGATS.17 text to its tables: headers, field names and rows, all still text.

ISO 28178 (CGATS.17) separates by white space and quotes what holds some. Exporters leave out
counts and marks, separate by tabs with empty cells between, and wrap rows; each such thing is
taken and remembered under a code.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field

from service.exchange.readings import ReadingsRefused

MOST_FIELDS = 5_000
MOST_ROWS = 600_000
MOST_TABLES = 2_000
MOST_HEADER_LINES = 20_000  # of the whole file
_MOST_MARKS = 8  # in one line
_TOKEN = re.compile(r'"((?:[^"]|"")*)"?|\'([^\']*)\'(?=\s|$)|(\S+)')
_MARK = re.compile(r"\s*(BEGIN|END)_DATA(_FORMAT)?\b", re.I)
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
        words = tokens(_without_comment(line))
        if len(words) >= 3 and not self._table.fields and self._is_format(words):
            self._table.note("begin_of_format_missing", number)
            self._add_fields(number, line, words)
            return None
        names = len(self._table.fields)
        if names and len(words) >= names and sum(map(_is_number, words)) >= min(3, names):
            self._table.note("begin_of_data_missing", number)
            self._part = self._data
            return line
        found = _KEY.match(line)
        if found is None:
            self._table.note("lines_skipped", number)
            return None
        value = " ".join(tokens(_without_comment(found[2]))).strip(" ;")
        self._table.keywords.append((number, found[1].upper(), value[:1_000]))
        return None

    def _format(self, number: int, line: str) -> str | None:
        if (rest := self._mark(number, line)) is not None:
            return rest
        if line.lstrip().startswith("#"):
            return None
        ended = re.search(r"\bEND_DATA_FORMAT\b", line, re.I)
        names = line[: ended.start()] if ended else line
        words = tokens(_without_comment(names))
        if words and words[0].upper() in ("NUMBER_OF_SETS", "NUMBER_OF_FIELDS"):
            self._table.note("end_of_format_missing", number)
            self._part = self._header
            return line
        self._add_fields(number, names, words)
        return line[ended.start() :] if ended else None

    def _add_fields(self, number: int, line: str, words: list[str]) -> None:
        for separator in ("\t", ";", ","):
            parts = [part.strip().strip('"') for part in line.split(separator)]
            while parts and not parts[-1]:
                parts.pop()
            # Tabs and blanks may be mixed; then only one way of splitting gives colours.
            mixed = self._is_format(words) and not self._is_format(parts)
            if len(parts) > 1 and (len(parts) > len(words) or (separator == "\t" and not mixed)):
                words = parts
                self._table.tabbed |= separator == "\t"
                break
        self._table.fields_line = self._table.fields_line or number
        self._table.fields += words
        if len(self._table.fields) > MOST_FIELDS:
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
            words = tokens(line)
            if self._is_format(words):
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


def _without_comment(line: str) -> str:
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


def _is_number(word: str) -> bool:
    return _NUMBER_LIKE.fullmatch(word) is not None


class CellReader:
    """Splits the rows of one table into as many cells as it has fields."""

    def __init__(self, table: CgatsTable, name_place: int | None) -> None:
        self._table = table
        self._count = len(table.fields)
        self._name_place = name_place

    def rows(self) -> Iterator[tuple[int, list[str]]]:
        """Line number and cells of each row; rows wrapped over lines are put together.

        Each text is let go once it is read, so that a large file is not held twice.
        """
        count, tabbed = self._count, self._table.tabbed
        begun: list[str] = []
        begun_on = 0
        texts = self._table.rows
        for place, line in enumerate(self._table.row_lines):
            text, texts[place] = texts[place], ""
            if not begun and '"' not in text and "'" not in text:
                cells = text.split("\t") if tabbed else text.split()
                if len(cells) == count:
                    yield line, cells
                    continue
            found = None if begun else self._split(line, text)
            if found is not None:
                yield line, found
                continue
            words = tokens(_without_comment(text))
            begun_on = begun_on if begun else line
            begun += words
            if len(begun) == count:
                self._table.note("row_over_lines", begun_on)
                yield begun_on, begun
                begun = []
            elif len(begun) > count:
                self._refuse(begun_on, len(begun))
        if begun:
            self._refuse(begun_on, len(begun))

    def _split(self, line: int, text: str) -> list[str] | None:
        """The cells of one row by the first way that gives the right number; None if too few."""
        count = self._count
        if "\t" in text:
            cells = [_bare(cell) for cell in text.split("\t")]
            if _fits(cells, count):
                return cells[:count]
        words = tokens(text)
        if len(words) == count:
            return words
        words = tokens(_without_comment(text))
        if len(words) == count:
            return words
        for separator in (";", ","):
            cells = [_bare(cell) for cell in text.split(separator)]
            if _fits(cells, count):
                self._table.note("unusual_separator", line)
                return cells[:count]
        if "\t" in text:
            cells = [_bare(cell) for cell in text.split("\t")]
            if len(cells) < count and len(words) < count and len(cells) > count / 2:
                self._table.note("row_short", line)
                return cells + [""] * (count - len(cells))
        if len(words) > count and self._name_place is not None:
            before, after = self._name_place, count - self._name_place - 1
            rest = words[len(words) - after :] if after else []
            middle = words[before : len(words) - after]
            # A decimal number in the middle is rather a value too many than a part of a name.
            is_name = not any(_is_number(word) and not word.isdigit() for word in middle[1:])
            if is_name and all(_is_number(word) for word in rest):
                self._table.note("name_not_quoted", line)
                return [*words[:before], " ".join(middle), *rest]
        if len(words) > count:
            self._refuse(line, len(words))
        return None

    def _refuse(self, line: int, found: int) -> None:
        raise ReadingsRefused(
            f"the row has {found} values under {self._count} field names. Check the row and "
            "the names between BEGIN_DATA_FORMAT and END_DATA_FORMAT.",
            line=line,
        )


def _bare(cell: str) -> str:
    cell = cell.strip()
    if len(cell) > 1 and cell[0] == cell[-1] and cell[0] in "\"'":
        return cell[1:-1].replace('""', '"')
    return cell


def _fits(cells: list[str], count: int) -> bool:
    return len(cells) >= count and not any(cells[count:])
