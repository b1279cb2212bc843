"""A flat drawing in linear channels: rectangles and codes with their exact share of every pixel.

Light mixes by area, so an edge pixel is the area-weighted mean of the channels on both sides.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from colour.photo.target import Place

Plane = NDArray[np.float32]
Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class Span:
    """A run of pixels, each with its share, and where it begins in parts of a pixel."""

    cells: slice
    share: Plane
    start: float


@dataclass(slots=True, eq=False)
class Canvas:
    """Planar channels, the share of each pixel that is covered, and its scale."""

    channels: Plane  # (3, height, width)
    cover: Plane  # (height, width)
    dots_per_mm: float
    margin_mm: float

    def spans(self, place: Place, grown_mm: float = 0.0) -> tuple[Span, Span]:
        left, top = place.x_mm - grown_mm, place.y_mm - grown_mm
        height, width = self.cover.shape
        return (
            self._span(top, place.height_mm + 2 * grown_mm, height),
            self._span(left, place.width_mm + 2 * grown_mm, width),
        )

    def _span(self, start_mm: float, length_mm: float, size: int) -> Span:
        start = (start_mm + self.margin_mm) * self.dots_per_mm
        end = start + length_mm * self.dots_per_mm
        first, last = max(0, int(np.floor(start))), min(size, int(np.ceil(end)))
        cells = np.arange(first, last)
        share = np.clip(np.minimum(end, cells + 1) - np.maximum(start, cells), 0.0, 1.0)
        return Span(slice(first, last), share.astype(np.float32), start)

    def paint(self, place: Place, colour: Array, grown_mm: float = 0.0) -> None:
        rows, columns = self.spans(place, grown_mm)
        self.blend(rows, columns, np.outer(rows.share, columns.share), colour)

    def blend(self, rows: Span, columns: Span, share: Plane, colour: Array) -> None:
        block = self.channels[:, rows.cells, columns.cells]
        block += share * (colour.astype(np.float32)[:, None, None] - block)


def draw_code(canvas: Canvas, place: Place, text: str, ink: Array) -> None:
    """A QR code that fills a place (no quiet zone inside it)."""
    import segno

    code = segno.make(text, error="m", micro=False, boost_error=False)
    modules = np.array([list(row) for row in code.matrix], np.float32)
    rows, columns = canvas.spans(place)
    count = len(modules)
    share = (
        _shares(rows, place.height_mm * canvas.dots_per_mm, count)
        @ modules
        @ _shares(columns, place.width_mm * canvas.dots_per_mm, count).T
    )
    canvas.blend(rows, columns, np.asarray(share, np.float32), ink)


def _shares(span: Span, length: float, count: int) -> Plane:
    """(pixels, modules): how much of each pixel lies in each module."""
    edges = span.start + np.arange(count + 1) * (length / count)
    cells = np.arange(span.cells.start, span.cells.stop)[:, None]
    overlap = np.minimum(cells + 1, edges[1:]) - np.maximum(cells, edges[:-1])
    return np.asarray(np.clip(overlap, 0.0, 1.0), np.float32)
