"""The photo sheet to print: PDF, PNG and SVG from one typst source.

Fonts are the typesetter's own and system fonts are ignored, so that every machine prints the same.
"""

from __future__ import annotations

import struct
import zlib
from collections.abc import Iterable
from typing import Literal

from colour.photo.sheet import printed_colours
from colour.photo.target import BadTarget, Marker, Place, Target

DOTS_PER_MM = 10.0
FEWEST_DOTS_PER_MM, MOST_DOTS_PER_MM = 2.0, 24.0
_FONT = "DejaVu Sans Mono"
_MM_PER_INCH = 25.4
_MARGIN_MM = 8.0
_BESIDE_CODES_MM = 31.0  # from the edge: past a code and its quiet zone
_RULER_MM = 100.0

ADVICE = (
    "Lay a test card in each window and its label below it; or cut the windows out and lay the "
    "sheet on the cards.",
    "Photograph from straight above with all four codes in the picture, in soft even light: "
    "no flash, no shadow, no shine.",
)
PRINTING = (
    "This bar is 100 mm. If yours is not, print again at 100 %, without fitting to the page.",
    "Print in colour at best quality on matt white paper, photo paper if there is any.",
)


def sheet_pdf(target: Target) -> bytes:
    """One page of PDF, its colours tagged as sRGB."""
    return _compile(sheet_source(target), "pdf")


def sheet_svg(target: Target) -> bytes:
    """The sheet as SVG, its text drawn as outlines."""
    return _compile(sheet_source(target), "svg")


def sheet_png(target: Target, dots_per_mm: float = DOTS_PER_MM) -> bytes:
    """The sheet as PNG that states its scale and that its colours are sRGB."""
    if not FEWEST_DOTS_PER_MM <= dots_per_mm <= MOST_DOTS_PER_MM:
        raise BadTarget(
            f"{dots_per_mm:g} dots per mm cannot be drawn. "
            f"Take {FEWEST_DOTS_PER_MM:g} to {MOST_DOTS_PER_MM:g}."
        )
    png = _compile(sheet_source(target), "png", dots_per_mm * _MM_PER_INCH)
    return _with_scale(png, dots_per_mm)


def sheet_source(target: Target) -> str:
    """The typst source of a target that is our sheet.

    Raises
    ------
    BadTarget
        When it is another target, which is bought or printed elsewhere.
    """
    printed = printed_colours()
    # A chart lies on the print and is not printed.
    patches = [patch for patch in target.patches if patch.name in printed]
    if len(target.markers) != 4 or not patches:
        raise BadTarget(
            f"{target.name} is not the photo sheet, so it cannot be printed from here. "
            "Only the sheet can; a chart is bought."
        )
    lines = [
        f"#set page(width: {_mm(target.width_mm)}, height: {_mm(target.height_mm)}, margin: 0mm, "
        "fill: white)",
        f"#set document(title: {_quoted(target.name)}, date: none)",
        f"#set text(font: {_quoted(_FONT)}, size: 5.6pt, fill: black, hyphenate: false, "
        'top-edge: "cap-height", bottom-edge: "baseline", lang: "en")',
    ]
    for patch in patches:
        red, green, blue = printed[patch.name]
        lines.append(_rectangle(patch, f"fill: rgb({red}, {green}, {blue})"))
    lines.extend(_code(marker) for marker in target.markers)
    labels = {label.name: label for label in target.labels}
    for window in target.windows:
        lines.extend(_window(window, labels.get(window.name)))
    lines.extend(_chart(target))
    lines.extend(_names(patches))
    lines.extend(_words(target, patches))
    return "\n".join(lines) + "\n"


def _window(window: Place, label: Place | None) -> Iterable[str]:
    yield _rectangle(window, "stroke: 0.15mm + black")
    below = window.y_mm + window.height_mm + 1.2
    yield _text(window.x_mm, below, window.name, size=7, weight="bold")
    yield _text(
        window.x_mm + window.width_mm, below + 0.2, "cut out, or lay the card here", right=True
    )
    if label is not None:
        yield _rectangle(
            label, 'stroke: (paint: black, thickness: 0.1mm, dash: (1mm, 1mm), cap: "butt")'
        )
        yield _text(label.x_mm + 1.5, label.y_mm + 1.5, f"label of {window.name}")


def _chart(target: Target) -> Iterable[str]:
    chart = target.extra.get("chart")
    if not isinstance(chart, dict):
        return
    sides = ("x_mm", "y_mm", "width_mm", "height_mm")
    place = Place(name="", **{side: float(chart[side]) for side in sides})
    yield _rectangle(place, "stroke: 0.15mm + black")
    x, y = place.centre
    words = f"lay {chart['name']} here"
    if chart["turned"]:
        words += ", its top edge to the right"
    yield _text(place.x_mm, y - 2, words, width_mm=place.width_mm)


def _names(patches: Iterable[Place]) -> Iterable[str]:
    """A column's letter over its first patch and a row's number left of its first."""
    heads: dict[str, Place] = {}
    starts: dict[str, Place] = {}
    for patch in patches:
        column, row = patch.name[0], patch.name[1:]
        if column not in heads or patch.y_mm < heads[column].y_mm:
            heads[column] = patch
        if row not in starts or patch.x_mm < starts[row].x_mm:
            starts[row] = patch
    for column, patch in heads.items():
        yield _text(patch.x_mm, patch.y_mm - 1.9, column, size=4.6, width_mm=patch.width_mm)
    for row, patch in starts.items():
        middle = patch.y_mm + patch.height_mm / 2 - 0.6
        yield _text(patch.x_mm - 0.7, middle, row, size=4.6, right=True)


def _words(target: Target, patches: Iterable[Place]) -> Iterable[str]:
    left, right = _BESIDE_CODES_MM, target.width_mm - _BESIDE_CODES_MM
    yield _text(right, _MARGIN_MM, "Photo sheet for test cards", size=9, weight="bold", right=True)
    for row, line in enumerate(ADVICE):
        yield _text(left, _MARGIN_MM + 2.5 * row, line)
    top = max(patch.y_mm + patch.height_mm for patch in patches) + 1.6
    yield (
        f"#place(top + left, dx: {_mm(left)}, dy: {_mm(top)}, "
        f"rect(width: {_mm(_RULER_MM)}, height: 0.9mm, fill: black))"
    )
    for step in range(11):
        height = 2.4 if step % 5 == 0 else 1.7
        x = left + step * _RULER_MM / 10 - (0.0 if step == 0 else 0.2 if step == 10 else 0.1)
        yield (
            f"#place(top + left, dx: {_mm(x)}, dy: {_mm(top)}, "
            f"rect(width: 0.2mm, height: {_mm(height)}, fill: black))"
        )
    code = target.markers[0].text.rpartition("/")[2]
    for row, line in enumerate(PRINTING):
        yield _text(left, top + 3.4 + 2.4 * row, line)
    yield _text(right, top, f"{_paper(target)}   print {code}", size=9, weight="bold", right=True)
    conditions = f"{target.measurement.illuminant}/{target.measurement.observer}°"
    yield _text(right, top + 3.4, f"colours stated for {conditions}", right=True)


def _paper(target: Target) -> str:
    return {"A4": "A4", "LT": "Letter"}.get(target.markers[0].text.split("/")[1], "")


def _code(marker: Marker) -> str:
    """A QR code filling the marker; one curve, for neighbours drawn apart show hairlines."""
    import segno

    code = segno.make(marker.text, version=1, error="m", micro=False, boost_error=False)
    rows = [bytes(row) for row in code.matrix]
    module = marker.width_mm / len(rows)
    parts: list[str] = []
    for y, row in enumerate(rows):
        x = 0
        while x < len(row):
            end = x
            while end < len(row) and row[end]:
                end += 1
            if end > x:
                corners = [(x, y), (end, y), (end, y + 1), (x, y + 1)]
                points = [f"({_mm(cx * module)}, {_mm(cy * module)})" for cx, cy in corners]
                parts.append(f"curve.move({points[0]})")
                parts.extend(f"curve.line({point})" for point in points[1:])
                parts.append("curve.close()")
            x = end + 1
    drawn = ", ".join(parts)
    return (
        f"#place(top + left, dx: {_mm(marker.x_mm)}, dy: {_mm(marker.y_mm)}, "
        f'curve(fill: black, fill-rule: "non-zero", {drawn}))'
    )


def _rectangle(place: Place, style: str) -> str:
    return (
        f"#place(top + left, dx: {_mm(place.x_mm)}, dy: {_mm(place.y_mm)}, "
        f"rect(width: {_mm(place.width_mm)}, height: {_mm(place.height_mm)}, {style}))"
    )


def _text(
    x_mm: float,
    y_mm: float,
    words: str,
    *,
    size: float = 5.6,
    weight: str = "regular",
    right: bool = False,
    width_mm: float | None = None,
) -> str:
    """Words from x rightwards; ``right``: ending at x; ``width_mm``: centred in that width."""
    body = f'text(size: {size:g}pt, weight: "{weight}", {_quoted(words)})'
    if width_mm is not None:
        body = f"box(width: {_mm(width_mm)}, align(center, {body}))"
    if right:
        body, x_mm = f"box(width: {_mm(x_mm)}, align(right, {body}))", 0.0
    return f"#place(top + left, dx: {_mm(x_mm)}, dy: {_mm(y_mm)}, {body})"


def _quoted(words: str) -> str:
    return '"' + words.replace("\\", "\\\\").replace('"', '\\"').replace("\n", " ") + '"'


def _mm(value: float) -> str:
    return f"{value:.4f}".rstrip("0").rstrip(".") + "mm"


def _compile(source: str, form: Literal["pdf", "png", "svg"], ppi: float | None = None) -> bytes:
    import typst

    drawn: bytes = typst.compile(source.encode(), format=form, ppi=ppi, ignore_system_fonts=True)
    return drawn


def _with_scale(png: bytes, dots_per_mm: float) -> bytes:
    """Put the pixel size (pHYs) and the meaning of the colours (sRGB) behind the PNG's header."""
    after_header = 8 + 25  # signature; IHDR with its length, name and checksum
    dots_per_metre = round(dots_per_mm * 1000)
    return (
        png[:after_header]
        + _chunk(b"sRGB", b"\x01")  # relative colorimetric
        + _chunk(b"pHYs", struct.pack(">IIB", dots_per_metre, dots_per_metre, 1))
        + png[after_header:]
    )


def _chunk(name: bytes, body: bytes) -> bytes:
    return struct.pack(">I", len(body)) + name + body + struct.pack(">I", zlib.crc32(name + body))
