"""Rows of numbers as an instrument shows them: an angle and its L*, a*, b*, or all in one row."""

from __future__ import annotations

import re
from collections.abc import Sequence

from service.domain.records.measuring import Lab
from service.domain.refused import Invalid
from service.web.filters import MINUS

MOST_ROWS = 400
Row = tuple[int | None, Lab]


def rows_of(field: str, text: str, angles: Sequence[int | None]) -> list[Row]:
    """The colours in some rows, each with its angle; an angle that comes again is a repeat.

    A row is an angle and three numbers; or three for each of the angles asked for, in their order,
    in one row or a row each. By spaces, tabs, semicolons or commas; a comma inside a number is a
    point.

    Raises
    ------
    Invalid
        At the field, naming the row.
    """
    lines = [(n, line) for n, line in enumerate(text.splitlines(), 1) if line.strip()]
    if len(lines) > MOST_ROWS:
        raise Invalid(field, f"{len(lines)} rows were typed. Enter {MOST_ROWS} at most.")
    found: list[Row] = []
    split = [(number, _words(line)) for number, line in lines]
    lengths = [len(words) for _, words in split]
    # Three numbers may be a colour, or an angle of whose colour one was forgotten.
    whole = 4 not in lengths and lengths.count(3) % len(angles) == 0
    unnamed = 0
    for number, words in split:
        values = words[1:] if len(words) == 4 else words
        if len(words) == 4:
            found.append((_angle(field, number, words[0]), _lab(field, number, values)))
        elif len(words) == 3 and whole:
            found.append((angles[unnamed % len(angles)], _lab(field, number, values)))
            unnamed += 1
        elif len(words) == 3 * len(angles):
            found += [
                (angle, _lab(field, number, values[3 * i : 3 * i + 3]))
                for i, angle in enumerate(angles)
            ]
        else:
            raise Invalid(field, f"Row {number} has {_counted(len(words))}. {_wanted(angles)}")
    return found


def _words(line: str) -> list[str]:
    words = [word.strip(",:") for word in re.split(r"[\s;|]+", line)]
    words = [word for word in words if word and word != "°"]
    if len(words) == 1:
        # Nothing but commas stands between, so they are no points.
        words = [word for word in words[0].split(",") if word]
    return words


def _angle(field: str, number: int, word: str) -> int:
    from colour.angles import aspecular_degrees

    try:
        return aspecular_degrees(word)
    except ValueError as error:
        raise Invalid(field, f"Row {number}: {error}") from error


def _lab(field: str, number: int, words: Sequence[str]) -> Lab:
    values = []
    for word in words:
        plain = word.replace(",", ".").replace(MINUS, "-").replace("\N{EN DASH}", "-")
        # No sign of exponent, for no instrument shows a colour in it.
        if not re.fullmatch(r"[+-]?(\d{1,6}(\.\d*)?|\.\d+)", plain):
            raise Invalid(
                field, f"Row {number}: {word!r} is no number. Enter one, like 12.5 or 12,5."
            )
        values.append(float(plain))
    return (values[0], values[1], values[2])


def _counted(n: int) -> str:
    return "one number" if n == 1 else f"{n} numbers"


def _wanted(angles: Sequence[int | None]) -> str:
    named = [f"{angle}°".replace("-", MINUS) for angle in angles if angle is not None]
    if len(named) < 2:
        return "Write L*, a*, b*, with the angle before them if there is one."
    return (
        f"Write an angle, L*, a*, b*; or {3 * len(named)} numbers in the order {', '.join(named)}."
    )
