"""Rows of a CGATS.17 table to cells, as many as the table has fields."""

from __future__ import annotations

import re
from collections.abc import Iterator

from service.exchange.cgats_lines import CgatsTable, is_number, tokens, without_comment
from service.exchange.readings import ReadingsRefused

_LONGEST_ROW = 2_000_000  # characters
_MOST_ON_ONE_LINE = 100_000  # cells
_ODD = re.compile("[\"'#]")


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
        plain = self._table.separator is None
        for place, line in enumerate(self._table.row_lines):
            text, texts[place] = texts[place], ""
            if len(text) > _LONGEST_ROW:
                raise ReadingsRefused(
                    f"the row is {len(text):,} characters long and has far too many values under "
                    f"{count} field names. Export the readings again.",
                    line=line,
                )
            if plain and not begun and not _ODD.search(text):
                cells = text.split("\t") if tabbed else text.split()
                if len(cells) == count:
                    yield line, cells
                    continue
            found = None if begun else self._split(line, text)
            if found is not None:
                yield line, found
                continue
            words = tokens(without_comment(text))
            if not begun and (several := self._several(words)):
                self._table.note("rows_on_one_line", line)
                for cells in several:
                    yield line, cells
                continue
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

    def _several(self, words: list[str]) -> list[list[str]]:
        """Whole rows that stand on one line; none where it is not sure that they are whole."""
        count = self._count
        if count < 2 or not 2 * count <= len(words) <= _MOST_ON_ONE_LINE or len(words) % count:
            return []
        rows = [words[at : at + count] for at in range(0, len(words), count)]
        alike = [
            [is_number(word) for at, word in enumerate(row) if at != self._name_place]
            for row in rows
        ]
        return rows if alike.count(alike[0]) == len(rows) and any(alike[0]) else []

    def _split(self, line: int, text: str) -> list[str] | None:
        """The cells of one row by the first way that gives the right number; None if too few."""
        count = self._count
        if self._table.separator is not None:
            cells = [_bare(cell) for cell in text.split(self._table.separator)]
            if _fits(cells, count):
                self._table.note("unusual_separator", line)
                return cells[:count]
        if "\t" in text:
            cells = [_bare(cell) for cell in text.split("\t")]
            if _fits(cells, count):
                return _without_remark(cells[:count])
        words = tokens(text)
        if len(words) == count:
            return words
        words = tokens(without_comment(text))
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
        if len(words) > count and self._several(words):
            return None
        if len(words) > count and self._name_place is not None:
            before, after = self._name_place, count - self._name_place - 1
            rest = words[len(words) - after :] if after else []
            middle = words[before : len(words) - after]
            # A decimal number in the middle is rather a value too many than a part of a name.
            is_name = not any(is_number(word) and not word.isdigit() for word in middle[1:])
            if is_name and all(is_number(word) for word in rest):
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


def drop_empty_fields(table: CgatsTable) -> None:
    """A tab too many between two names makes an empty field, which the rows may not have."""
    named = [name for name in table.fields if name]
    if len(named) == len(table.fields) or not table.rows:
        return
    cells = table.rows[0].rstrip("\t ").split("\t")
    if len(named) in (len(cells), len(tokens(table.rows[0]))) and len(cells) < len(table.fields):
        table.fields = named


def _without_remark(cells: list[str]) -> list[str]:
    """The last cell without a comment behind its number."""
    before, sign, _ = cells[-1].partition("#")
    return [*cells[:-1], before.strip()] if sign and is_number(before.strip()) else cells


def _bare(cell: str) -> str:
    cell = cell.strip()
    if len(cell) > 1 and cell[0] == cell[-1] and cell[0] in "\"'":
        return cell[1:-1].replace('""', '"')
    return cell


def _fits(cells: list[str], count: int) -> bool:
    return len(cells) >= count and not any(cells[count:])
