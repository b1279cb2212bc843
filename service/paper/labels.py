"""Labels: where code, drawing and words lie on each, and the labels on their sheets.

A label is the drawing of a card with its code beside it. Everything has a box of its own, so
nothing can run into anything else; words are set in the largest size that fits their box.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from service.paper.quick_code import quick_code
from service.paper.typesetting import typeset
from service.paper.written import code as grouped_code
from service.paper.written import day
from service.use_cases.label_papers import LabelPaper
from service.use_cases.label_stock import LabelStock, check_start

_MM_PER_POINT = 25.4 / 72
_ADVANCE = 0.602
"""Width of a letter of DejaVu Sans Mono, in ems."""
_CAP = 0.73
"""Height of its capitals, in ems."""
_MOST_FOR_CODE = 0.47
"""Share of a label's width that the QR code may take."""
_FRAME_INSET_MM = 1.0
_BESIDE_CODE_MM = 0.4
_ONE_LINE_POINTS = 11.0
"""Below this size the code is written in two lines, and larger."""
_LARGEST_POINTS = 26.0
_SMALLEST_POINTS = 4.5
_BLANKS = ("Batch", "Date")


def labels_pdf(labels: Sequence[LabelPaper], stock: LabelStock, start: int = 1) -> bytes:
    """The labels as PDF, the first at place ``start`` of the first sheet, counted from 1.

    Refuses a start the sheet does not have, and a code that cannot be read at the label's size.
    """
    return typeset("labels", labels_values(labels, stock, start))


def labels_values(
    labels: Sequence[LabelPaper], stock: LabelStock, start: int = 1
) -> Mapping[str, Any]:
    """Where everything lies, in mm, as the template takes it."""
    check_start(stock, start)
    codes = [quick_code(label.opens) for label in labels]
    largest = max(codes, key=lambda one: one.modules)
    inset_x, inset_y = stock.inset_mm
    width, height = stock.width_mm, stock.height_mm
    high = height - 2 * inset_y
    side = largest.side_mm(min(high, (width - 2 * inset_x) * _MOST_FOR_CODE))
    frame = {
        # The frame's line must not reach into the quiet zone.
        "x": inset_x + side + _BESIDE_CODE_MM,
        "y": inset_y,
        "w": width - 2 * inset_x - side - _BESIDE_CODE_MM,
        "h": high,
    }
    return {
        "title": "Card labels",
        "width_mm": stock.page_mm[0],
        "height_mm": stock.page_mm[1],
        "label": {"w": width, "h": height},
        "quick": {"x": inset_x, "y": (height - side) / 2, "side": side},
        "frame": frame,
        **_in_frame(frame),
        "pages": list(_pages(labels, stock, start, _in_frame(frame)["code"]["count"])),
    }


def _in_frame(frame: Mapping[str, float]) -> dict[str, Any]:
    """The hole, the code, and the boxes of the words under it."""
    top, high = frame["y"], frame["h"]
    text_w = frame["w"] - 2 * _FRAME_INSET_MM
    radius = max(0.7, min(2.0, high * 0.05))
    hole_y = top + max(0.6, high * 0.035)
    below = hole_y + 2 * radius + max(0.6, high * 0.04)

    def size(letters: int, share: float) -> float:
        by_width = text_w / (letters * _ADVANCE) / _MM_PER_POINT
        return min(by_width, high * share / _CAP / _MM_PER_POINT, _LARGEST_POINTS)

    one = size(11, 0.3)
    count, points = (1, one) if one >= _ONE_LINE_POINTS else (2, size(6, 0.15))
    cap = points * _CAP * _MM_PER_POINT
    step = cap * 1.28
    lines = [below + step * row for row in range(count)]
    free = lines[-1] + cap + max(0.8, high * 0.05)
    end = top + high - max(0.6, high * 0.03)
    return {
        "text_x": frame["x"] + _FRAME_INSET_MM,
        "text_w": text_w,
        "hole": {"y": hole_y, "radius": radius},
        "demo": {
            "y": hole_y,
            "h": 2 * radius,
            "w": text_w / 2 - radius - 0.4,
            "sizes": [min(7.0, 2 * radius / _MM_PER_POINT), 5.5, 4.5, 3.5],
        },
        "code": {"count": count, "size": points, "lines": lines},
        "words": _boxes(free, end),
        "blanks": _blanks(free, end),
    }


def _boxes(top: float, end: float) -> list[dict[str, Any]]:
    """Boxes for slot, finish, job and date: the slot largest, for it is looked for."""
    shares = (0.32, 0.26, 0.21, 0.21) if end - top >= 8.5 else (0.38, 0.33, 0.29)
    gap = 0.35
    room = end - top - gap * (len(shares) - 1)
    boxes = []
    for place, share in enumerate(shares):
        high = room * share
        largest = min(high / _MM_PER_POINT * 1.25, 16.0 if place == 0 else 12.0)
        boxes.append(
            {
                "y": top,
                "h": high,
                "weight": "bold" if place == 0 else "regular",
                "sizes": [
                    round(max(largest * factor, _SMALLEST_POINTS), 2)
                    for factor in (1, 0.85, 0.7, 0.6, 0.5, 0.42)
                ],
            }
        )
        top += high + gap
    return boxes


def _blanks(top: float, end: float) -> dict[str, Any]:
    """Lines to write on, with the name of what is written at their start."""
    size = min(8.0, (end - top) / len(_BLANKS) / _MM_PER_POINT * 0.6)
    step = (end - top) / len(_BLANKS)
    return {
        "names": _BLANKS,
        "size": size,
        "lines": [top + step * (row + 1) - 0.4 for row in range(len(_BLANKS))],
    }


def _pages(
    labels: Sequence[LabelPaper], stock: LabelStock, start: int, lines: int
) -> Iterable[list[dict[str, Any]]]:
    page: list[dict[str, Any]] = []
    place = start - 1
    for label in labels:
        if place == stock.each_page:
            yield page
            page, place = [], 0
        x, y = (0.0, 0.0) if stock.is_roll else stock.corner_mm(place)
        page.append({"x": x, "y": y, **_label(label, lines)})
        place += 1
    yield page


def _label(label: LabelPaper, lines: int) -> dict[str, Any]:
    shown = grouped_code(label.code)
    words: tuple[str, ...] = ()
    if not label.is_blank:
        words = (
            f"Slot {label.slot}" if label.slot else "No slot noted",
            f"{label.finish}, {label.colour}" if label.colour else label.finish,
            label.of,
            day(label.sprayed_at, label.zone),
        )
    return {
        "svg": quick_code(label.opens).svg,
        # The blank keeps the two lines of a code under each other, letter below letter.
        "code": [shown] if lines == 1 else [f"{shown[:5]}\u00a0", shown[5:]],
        "words": words,
        "blank": label.is_blank,
        "demo": ["invented", "demo"] if label.is_demo else [],
    }
