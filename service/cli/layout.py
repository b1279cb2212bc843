"""Plain text for a terminal: tables in columns."""

from __future__ import annotations

from collections.abc import Iterable, Sequence


def table(headings: Sequence[str], rows: Iterable[Sequence[str]], gap: str = "  ") -> str:
    """Columns under their headings; those that hold only numbers are set to the right."""
    body = [list(row) for row in rows]
    columns = list(zip(headings, *body, strict=True))
    widths = [max(map(len, column)) for column in columns]
    right = [all(_numeric(cell) for cell in column[1:]) for column in columns]
    lines = []
    for row in (list(headings), *body):
        cells = [
            cell.rjust(width) if to_right else cell.ljust(width)
            for cell, width, to_right in zip(row, widths, right, strict=True)
        ]
        lines.append(gap.join(cells).rstrip())
    return "\n".join(lines)


def _numeric(cell: str) -> bool:
    return not cell or cell.lstrip("+-−").rstrip("°").replace(".", "", 1).isdigit()


def signed(value: float, decimals: int = 2) -> str:
    """A difference with its sign; what rounds to nothing has none."""
    text = f"{value:+.{decimals}f}"
    return text if float(text) else f"{0:.{decimals}f}"
