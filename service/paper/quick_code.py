"""QR codes as pictures for the typesetter: one path of black modules, quiet zone included."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

from service.domain.refused import Invalid

QUIET_MODULES = 4
"""On each side (ISO/IEC 18004)."""
LEAST_MODULE_MM = 0.33
"""Smallest module printed; a phone's camera reads it at arm's length (common practice)."""
DOT_MM = 25.4 / 203
"""A dot of the usual label printer; a module of whole dots is printed with even edges."""


@dataclass(frozen=True, slots=True)
class QuickCode:
    """A code; ``modules`` counts one side with the quiet zone."""

    svg: str
    modules: int

    def side_mm(self, room_mm: float) -> float:
        """The largest side of whole printer dots that fits into the room.

        Refuses where a module would come out smaller than can be read.
        """
        dots = int(room_mm / self.modules / DOT_MM + 1e-9)
        if dots * DOT_MM < LEAST_MODULE_MM:
            raise Invalid(
                "stock",
                f"A code of {self.modules} modules does not fit into {room_mm:.0f} mm. "
                "Choose a larger label, or a shorter public address.",
            )
        return dots * DOT_MM * self.modules


@lru_cache(maxsize=2048)
def quick_code(text: str) -> QuickCode:
    """The code of a text, at least of error level M, higher where it costs no module."""
    import segno

    matrix = segno.make(text, error="m", micro=False, boost_error=True).matrix
    modules = len(matrix) + 2 * QUIET_MODULES
    steps: list[str] = []
    for y, row in enumerate(matrix):
        x = 0
        while x < len(row):
            end = x
            while end < len(row) and row[end]:
                end += 1
            if end > x:
                steps.append(f"M{x + QUIET_MODULES} {y + QUIET_MODULES}h{end - x}v1h{x - end}z")
            x = end + 1
    # One path, for neighbours drawn apart show hairlines between them.
    svg = (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {modules} {modules}" '
        f'width="{modules}" height="{modules}"><path fill="#000" d="{"".join(steps)}"/></svg>'
    )
    return QuickCode(svg, modules)
