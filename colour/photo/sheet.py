"""The photo sheet as numbers: what is printed, where, and the colour each patch should have.

Landscape; 21 columns and 14 rows of patches, named as a chessboard's squares, A1 at the top left.
Three windows for cards stand side by side, the master's in the middle, where it neighbours both
others. Patches touch every window on all sides, most of them neutral, so that the light over a
window is interpolated and never extrapolated. A code stands at each corner.
"""

from __future__ import annotations

import math
import re

from colour.photo.sheet_patches import GRID, SWATCHES
from colour.photo.srgb import Rgb, lab_of_srgb
from colour.photo.target import BadTarget, Lab, Marker, Measurement, Patch, Place, Target

WINDOWS = ("card", "master", "card 2")
NO_PRINT = "0000"
MEASURED_AS = Measurement(illuminant="D65", observer="2")

# The characters of card codes: nothing that reads as another.
_PRINT_CODE = re.compile(r"[0-9A-HJKMNP-TV-Z]{4}")

_ROWS = tuple(tuple(line.split()) for line in GRID.split("\n") if line)
_PITCH_DOWN_MM = 13.0
_GAP_MM = 2.0
_MARGIN_MM = 8.0  # more than printers leave white, and more than the codes' quiet zone
MARKER_MM = 18.0
WINDOW_HEIGHT_MM = 84.0
LABEL_HEIGHT_MM = 14.0
# Where the windows stand in the grid: first column of each, columns and rows they take.
_WINDOW_COLUMNS, _WINDOW_ROW, _WINDOW_SPAN, _WINDOW_ROWS = (2, 8, 14), 3, 5, 8


class _Sheet:
    """The measures that differ between the two papers."""

    def __init__(self, design: str, name: str, width_mm: float, height_mm: float, pitch_mm: float):
        self.design, self.name = design, name
        self.width_mm, self.height_mm, self.pitch_mm = width_mm, height_mm, pitch_mm
        self.left_mm = round((width_mm - len(_ROWS[0]) * pitch_mm + _GAP_MM) / 2, 2)
        self.top_mm = round((height_mm - len(_ROWS) * _PITCH_DOWN_MM + _GAP_MM) / 2, 2)

    def x_mm(self, column: int) -> float:
        return round(self.left_mm + column * self.pitch_mm, 2)

    def y_mm(self, row: int) -> float:
        return round(self.top_mm + row * _PITCH_DOWN_MM, 2)


_SHEETS = {
    "a4": _Sheet("A4", "A4", 297.0, 210.0, 13.0),
    # Narrower paper: the columns draw together, patches are 10.4 mm wide and windows 60.
    "letter": _Sheet("LT", "Letter", 279.4, 215.9, 12.4),
}


def sheet_target(paper: str = "a4", print_code: str = NO_PRINT) -> Target:
    """The sheet with nominal values, landscape on A4 or Letter.

    Parameters
    ----------
    paper : "a4" or "letter"
    print_code : str, optional
        Four characters that tell one print from others, in the codes at its corners.

    Raises
    ------
    BadTarget
        For another paper, or a code that cannot be one.
    """
    sheet = _SHEETS.get(paper)
    if sheet is None:
        raise BadTarget(f'There is no sheet for the paper {paper!r}. Take "a4" or "letter".')
    if not _PRINT_CODE.fullmatch(print_code):
        raise BadTarget(
            f"{print_code!r} is not a print code. It has four capitals or digits, without I, L, O "
            "and U, like 7K3Q."
        )
    across, down = sheet.pitch_mm - _GAP_MM, _PITCH_DOWN_MM - _GAP_MM
    patches = []
    for row, column, swatch in _cells():
        lab = lab_of_srgb(_rgb(SWATCHES[swatch]))
        patches.append(
            Patch(
                name=_cell_name(row, column),
                x_mm=sheet.x_mm(column),
                y_mm=sheet.y_mm(row),
                width_mm=across,
                height_mm=down,
                lab=lab,
                standard_uncertainty=nominal_uncertainty(lab),
            )
        )
    width = _WINDOW_SPAN * sheet.pitch_mm - _GAP_MM
    top = sheet.y_mm(_WINDOW_ROW)
    label_top = round(sheet.y_mm(_WINDOW_ROW + _WINDOW_ROWS) - _GAP_MM - LABEL_HEIGHT_MM, 2)
    places = [
        (name, sheet.x_mm(column)) for name, column in zip(WINDOWS, _WINDOW_COLUMNS, strict=True)
    ]
    right, bottom = (
        sheet.width_mm - _MARGIN_MM - MARKER_MM,
        sheet.height_mm - _MARGIN_MM - MARKER_MM,
    )
    corners = {
        "TL": (_MARGIN_MM, _MARGIN_MM),
        "TR": (right, _MARGIN_MM),
        "BR": (right, bottom),
        "BL": (_MARGIN_MM, bottom),
    }
    return Target(
        name=f"Photo sheet {sheet.name}" + (f", print {print_code}" * (print_code != NO_PRINT)),
        width_mm=sheet.width_mm,
        height_mm=sheet.height_mm,
        measurement=MEASURED_AS,
        patches=tuple(patches),
        windows=tuple(
            Place(name=name, x_mm=x, y_mm=top, width_mm=width, height_mm=WINDOW_HEIGHT_MM)
            for name, x in places
        ),
        markers=tuple(
            Marker(
                name=corner,
                x_mm=round(x, 2),
                y_mm=round(y, 2),
                width_mm=MARKER_MM,
                height_mm=MARKER_MM,
                text=f"KC/{sheet.design}/{corner}/{print_code}",
            )
            for corner, (x, y) in corners.items()
        ),
        labels=tuple(
            Place(name=name, x_mm=x, y_mm=label_top, width_mm=width, height_mm=LABEL_HEIGHT_MM)
            for name, x in places
        ),
    )


def printed_colours() -> dict[str, Rgb]:
    """What each patch of the sheet is printed in, sRGB, by the patch's name."""
    return {_cell_name(row, column): _rgb(SWATCHES[swatch]) for row, column, swatch in _cells()}


# How far an uncalibrated print may stray from the sRGB it was given. The figures are common
# practice from memory, no source: near 2 units per channel where any printer prints well; black
# ends anywhere from L* 3 (photo paper) to 20 (plain paper), so below 20 a value may be off by the
# whole way up to it, taken as rectangular; strong colours lose up to a tenth of their chroma.
_PRINT_UNCERTAINTY = 2.0
_PLAIN_PAPER_BLACK = 20.0
_CHROMA_LOST = 0.1


def nominal_uncertainty(lab: Lab) -> float:
    """Standard uncertainty, per channel in Lab units, of a nominal value on a shop's own print."""
    lightness, a, b = lab
    clipped = max(0.0, _PLAIN_PAPER_BLACK - lightness) / math.sqrt(3)
    faded = _CHROMA_LOST * math.hypot(a, b) / math.sqrt(3)
    return round(math.hypot(_PRINT_UNCERTAINTY, clipped, faded), 2)


def _cells() -> list[tuple[int, int, str]]:
    return [
        (row, column, swatch)
        for row, line in enumerate(_ROWS)
        for column, swatch in enumerate(line)
        if swatch in SWATCHES
    ]


def _cell_name(row: int, column: int) -> str:
    """A letter for the column and a number for the row, as beside the patches on the paper."""
    return f"{chr(ord('A') + column)}{row + 1}"


def _rgb(packed: int) -> Rgb:
    return packed >> 16, packed >> 8 & 0xFF, packed & 0xFF
