"""Whether reflectance stands as a share of 1 or in percent: stated, asked for, never guessed."""

from __future__ import annotations

from collections.abc import Sequence

from service.exchange.readings import FileWarning, ReadingsRefused

# A share of 1 seldom passes this, save near the specular angle of effect paint; percent of a
# black may stay below the other. Between them the file must say which it means.
_SURELY_A_SHARE, _SURELY_PERCENT = 1.2, 10.0
_LOWEST, _HIGHEST = -0.05, 20.0
# Of so many surfaces one at least reflects more than 3 %, so such numbers are shares of 1: those
# of fluorescent paper and paint pass 1 (ISO 17972-1 allows 3).
_FEW, _FLUORESCENT = 8, 3.0

Cell = tuple[float, int, str]  # value, line, column


class Extremes:
    """The least and greatest reflectance of a file, with the cells they stand in."""

    def __init__(self) -> None:
        self.least: Cell | None = None
        self.greatest: Cell | None = None
        self.signed: Cell | None = None  # the first cell with a percent sign
        self.unsigned: Cell | None = None  # the first without
        self.spectra = 0

    def see(self, values: Sequence[float], line: int, columns: Sequence[str], signed: bool) -> None:
        """Take one row into account."""
        self.spectra += 1
        low, high = min(values), max(values)
        if self.least is None or low < self.least[0]:
            self.least = low, line, columns[values.index(low)]
        if self.greatest is None or high > self.greatest[0]:
            self.greatest = high, line, columns[values.index(high)]
        first = values[0], line, columns[0]
        if signed:
            self.signed = self.signed or first
        else:
            self.unsigned = self.unsigned or first


def divisor_of(seen: Extremes, stated: int | None) -> tuple[int, list[FileWarning]]:
    """What to divide by to get shares of 1, and what was taken for granted."""
    if seen.greatest is None or seen.least is None:
        return 1, []
    if seen.signed and seen.unsigned:
        value, line, column = seen.unsigned
        raise ReadingsRefused(
            f"{value:g} has no % sign, but line {seen.signed[1]} has. Mark all cells or none.",
            line=line,
            column=column,
            value=f"{value:g}",
        )
    if seen.signed:
        if stated == 1:
            raise ReadingsRefused(
                "the cells carry % signs, but the file states a share of 1. Keep one.",
                line=seen.signed[1],
                column=seen.signed[2],
            )
        stated = 100
    divisor, warnings = (stated, []) if stated is not None else _taken_for_granted(seen)
    for value, line, column in (seen.least, seen.greatest):
        if not _LOWEST <= value / divisor <= _HIGHEST:
            unit = "" if divisor == 1 else " %"
            raise ReadingsRefused(
                f"a reflectance cannot be {value:g}{unit}. Check it, or state the scale as "
                "'# reflectance: percent' or '# reflectance: fraction'.",
                line=line,
                column=column,
                value=f"{value:g}",
            )
    return divisor, warnings


def _taken_for_granted(seen: Extremes) -> tuple[int, list[FileWarning]]:
    assert seen.greatest is not None
    value, line, column = seen.greatest
    surely_a_share = _FLUORESCENT if seen.spectra >= _FEW else _SURELY_A_SHARE
    if surely_a_share < value <= _SURELY_PERCENT:
        raise ReadingsRefused(
            f"the greatest reflectance is {value:g}, which may be a share of 1 or percent. "
            "State it above the header: '# reflectance: percent' or '# reflectance: fraction'.",
            line=line,
            column=column,
            value=f"{value:g}",
        )
    percent = value > _SURELY_PERCENT
    as_what = "percent" if percent else "a share of 1"
    other = "fraction" if percent else "percent"
    return (100 if percent else 1), [
        FileWarning(
            code="reflectance_scale_not_stated",
            message=f"The reflectance was taken as {as_what} (its greatest value is {value:g}). "
            f"If it is not, state '# reflectance: {other}' above the header.",
        )
    ]
