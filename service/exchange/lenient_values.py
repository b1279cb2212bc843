"""Numbers of exchange files: finite, with either decimal mark; and what stands for none."""

from __future__ import annotations

import math
from collections.abc import Sequence

from service.exchange.csv_values import NUMBER
from service.exchange.readings import ReadingsRefused, Triple

_MISSING = {
    *("", "-", "--", "---", "----", "n/a", "na", "nan", "null", "none", "#n/a", "?", "*", "."),
    *("nil", "missing", "undefined", "-nan", "inf", "-inf", "+inf", "1.#qnan", "-1.#ind"),
}
# An exporter's own conversion may leave a little beyond what a surface can have; a number far
# beyond is no colour.
_LIGHTNESS, _SIDEWAYS, _TRISTIMULUS = (-20.0, 400.0), (-400.0, 400.0), (-50.0, 100_000.0)


class LenientNumbers:
    """Reads cells to numbers and remembers where it had to be lenient."""

    def __init__(self) -> None:
        self.notes: dict[str, int] = {}  # code to the first line it holds for

    def read(self, cells: Sequence[str], line: int, names: Sequence[str]) -> list[float] | None:
        """All numbers; None where one is missing. ``names`` say whose cells they are."""
        try:
            values = list(map(float, cells))
            if math.isfinite(sum(values)) and "_" not in "".join(cells):
                return values
        except ValueError:
            pass
        return self._one_by_one(cells, line, names)

    def _one_by_one(
        self, cells: Sequence[str], line: int, names: Sequence[str]
    ) -> list[float] | None:
        found: list[float | None] = [
            self._one(cell.strip(), line, name) for cell, name in zip(cells, names, strict=True)
        ]
        values = [value for value in found if value is not None]
        if len(values) == len(found):
            return values
        self.notes.setdefault("value_missing", line)
        return None

    def _one(self, cell: str, line: int, name: str) -> float | None:
        text = cell.replace("\u2212", "-")
        if text.endswith("%"):
            text = text[:-1].rstrip()
        if NUMBER.fullmatch(text):
            if "," in text:
                self.notes.setdefault("decimal_comma", line)
            value = float(text.replace(",", "."))
            if math.isfinite(value):
                return value
        if cell.lower() in _MISSING:
            return None
        shown = cell if len(cell) <= 40 else cell[:40] + "…"
        shown = shown if shown.isprintable() else ascii(shown)
        raise ReadingsRefused(
            f"'{shown}' is not a number. Write it as 12.3 or 12,3.",
            line=line,
            column=name,
            value=cell[:200],
        )

    def lab(self, cells: Sequence[str], line: int, names: Sequence[str]) -> Triple | None:
        """L*, a*, b*."""
        return self._triple(cells, line, names, (_LIGHTNESS, _SIDEWAYS, _SIDEWAYS))

    def xyz(self, cells: Sequence[str], line: int, names: Sequence[str]) -> Triple | None:
        """X, Y, Z on the file's own scale."""
        return self._triple(cells, line, names, (_TRISTIMULUS,) * 3)

    def polar(self, cells: Sequence[str], line: int, names: Sequence[str]) -> Triple | None:
        """L*, a*, b* from lightness, chroma and hue angle in degrees."""
        polar = self._triple(cells, line, names, (_LIGHTNESS, (0, _SIDEWAYS[1]), (-360, 720)))
        if polar is None:
            return None
        lightness, chroma, hue = polar
        self.notes.setdefault("lab_from_lch", line)
        angle = math.radians(hue)
        return lightness, chroma * math.cos(angle), chroma * math.sin(angle)

    def _triple(
        self,
        cells: Sequence[str],
        line: int,
        names: Sequence[str],
        ranges: Sequence[tuple[float, float]],
    ) -> Triple | None:
        values = self.read(cells, line, names)
        if values is None:
            return None
        for value, name, (lowest, highest) in zip(values, names, ranges, strict=True):
            if not lowest <= value <= highest:
                raise ReadingsRefused(
                    f"the value cannot be {value:g}. Export the readings again, or correct it.",
                    line=line,
                    column=name,
                    value=f"{value:g}",
                )
        return values[0], values[1], values[2]
