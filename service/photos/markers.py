"""The codes in a photograph: the sheet's own, which find it, and whatever labels lie on it.

What the first look over the whole picture misses is looked for again: where the codes already
found say it must lie, seen from straight above there and sharpened; or, while there is none, all
over, sharpened and enlarged.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from colour.arrays import Floats
from colour.photo.picture import Picture
from colour.photo.placing import Placement
from colour.photo.sheet import sheet_target
from colour.photo.target import Marker, Target
from service.photos.corner_fit import area, fitted_corners, sampled

Grey = NDArray[np.uint8]

SHEET_TEXT = re.compile(r"KC/([A-Z0-9]+)/(TL|TR|BR|BL)/([0-9A-Z]{4})")
PAPERS = {"A4": "a4", "LT": "letter"}  # by the design that the codes name

# A code that is looked for again is seen from straight above at so many pixels a module (of a
# version 1 code), with so many modules around it, for its place is a guess.
CLOSE_UP, AROUND, MODULES = 7, 6, 21
SHARPER = (0, 150, 400)  # per cent of unsharp masking; each brings back codes that others do not
SHARP_RADIUS = 3.0
LABEL_DOTS = 9.0  # for each millimetre of a label looked at closely
BLANK = 14.0  # codes of standard deviation: a label's code covers a good part of its place
FEWEST_MARKERS = 3
MOST_TO_ENLARGE = 6_000_000  # pixels


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Found:
    """Codes by their texts, each with its four corners clockwise from the code's own top left.

    Positions are pixels of the whole upright photograph, (0, 0) the middle of its top left one.
    """

    markers: Mapping[str, Floats]  # the sheet's own
    codes: Sequence[tuple[str, Floats]]  # all others, as they were met
    twice: tuple[str, ...] = ()  # texts of markers met more than once: several sheets


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetSeen:
    """Which sheet the codes of a photograph belong to."""

    design: str
    print_code: str

    def target(self) -> Target:
        """With nominal values."""
        return _sheet_target(PAPERS[self.design], self.print_code)


@lru_cache(maxsize=8)
def _sheet_target(paper: str, print_code: str) -> Target:
    return sheet_target(paper, print_code)


def sheets_seen(texts: Mapping[str, object]) -> tuple[SheetSeen, ...]:
    """The sheets whose codes are in the frame, the one with most codes first."""
    seen: dict[SheetSeen, int] = {}
    for text in texts:
        match = SHEET_TEXT.fullmatch(text)
        if match is not None and match[1] in PAPERS:
            sheet = SheetSeen(design=match[1], print_code=match[3])
            seen[sheet] = seen.get(sheet, 0) + 1
    return tuple(sorted(seen, key=lambda sheet: (-seen[sheet], sheet.design, sheet.print_code)))


def find_codes(picture: Picture, target: Target | None = None, *, thorough: bool = True) -> Found:
    """Every code in a picture.

    ``target`` is what lies in the frame, if that is known; by default the sheet its codes tell.
    ``thorough`` looks again for markers that were missed.
    """
    search = _Search(picture, target)
    search.look(search.grey, 1.0)
    if thorough and (target is None or target.markers):
        search.look_again()
        search.look_at_labels()
    return search.found()


def is_mirrored(found: Found, markers: Sequence[Marker]) -> bool:
    """Whether the markers go round the wrong way, as in a picture taken in a mirror."""
    centres = [
        found.markers[marker.text].mean(axis=0)
        for marker in markers
        if marker.text in found.markers
    ]
    plane = [marker.centre for marker in markers if marker.text in found.markers]
    if len(centres) < 3:
        return False
    return bool(area(np.array(centres[:3])) * area(np.array(plane[:3])) < 0)


@dataclass(slots=True)
class _Search:
    """What has been met so far; positions are pixels of the array."""

    picture: Picture
    target: Target | None
    grey: Grey = field(init=False)
    markers: dict[str, Floats] = field(default_factory=dict)
    others: list[tuple[str, Floats]] = field(default_factory=list)
    twice: list[str] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.grey = _grey(self.picture)

    def found(self) -> Found:
        def whole(points: Floats) -> Floats:
            return (points + 0.5) / self.picture.scale - 0.5

        return Found(
            markers={text: whole(corners) for text, corners in self.markers.items()},
            codes=[(text, whole(corners)) for text, corners in self.others],
            twice=tuple(self.twice),
        )

    def look(self, grey: Grey, scale: float) -> None:
        for text, corners in _read(grey):
            self.meet(text, (corners + 0.5) / scale - 0.5)

    def meet(self, text: str, corners: Floats) -> None:
        if any(known == text and _same_place(corners, other) for known, other in self.others):
            return
        if not self._is_marker(text):
            self.others.append((text, corners))
        elif text not in self.markers:
            # Green has the sharpest edges (the others are often subsampled) and needs no sum.
            light = self.picture.light[1]
            fitted = fitted_corners(self.picture.pixels, light, corners)
            self.markers[text] = corners if fitted is None else fitted
        elif not _same_place(corners, self.markers[text]):
            self.twice.append(text)

    def look_again(self) -> None:
        tries = self._sharpened()
        while not self.markers and (sharper := next(tries, None)) is not None:
            self.look(*sharper)
        looking = bool(self.markers)
        while looking:
            # Each code more says better where the others lie.
            looking = any([self._look_where(marker) for marker in self._missing()])

    def look_at_labels(self) -> None:
        """Look closely where cards' labels lie and no code was met: theirs are small."""
        if len(self.markers) < FEWEST_MARKERS:
            return
        placement = self._placement()
        for place in self._target().labels:
            middles = [placement.to_target(corners.mean(axis=0)) for _, corners in self.others]
            if any(place.holds(float(x), float(y)) for x, y in middles):
                continue
            across, down = (round(side * LABEL_DOTS) for side in (place.width_mm, place.height_mm))
            at = np.stack(np.meshgrid(np.arange(across) + 0.5, np.arange(down) + 0.5), axis=-1)
            origin = np.array([place.x_mm, place.y_mm])
            above = sampled(self.grey, placement.to_photo(at / LABEL_DOTS + origin))
            if above.std() < BLANK:
                continue
            for close in _sharper(above.astype(np.uint8)):
                codes = _read(close)
                for text, corners in codes:
                    self.meet(text, placement.to_photo((corners + 0.5) / LABEL_DOTS + origin))
                if codes:
                    break

    def _is_marker(self, text: str) -> bool:
        if self.target is not None and self.target.markers:
            return any(marker.text == text for marker in self.target.markers)
        match = SHEET_TEXT.fullmatch(text)
        return match is not None and match[1] in PAPERS

    def _target(self) -> Target:
        """What lies in the frame; asked only when a marker says so."""
        return self.target or sheets_seen(self.markers)[0].target()

    def _plan(self) -> tuple[Marker, ...]:
        """The markers of what lies in the frame."""
        if self.target is None and not self.markers:
            return ()
        return self._target().markers

    def _missing(self) -> list[Marker]:
        return [marker for marker in self._plan() if marker.text not in self.markers]

    def _look_where(self, marker: Marker) -> bool:
        """Look where a marker must lie; whether it was there."""
        height, width = self.grey.shape
        placement = self._placement()
        modules = np.arange((MODULES + 2 * AROUND) * CLOSE_UP)
        axis = ((modules + 0.5) / CLOSE_UP - AROUND) / MODULES
        at = np.stack(np.meshgrid(axis * marker.width_mm, axis * marker.height_mm), axis=-1)
        pixels = placement.to_photo(at + (marker.x_mm, marker.y_mm))
        if (pixels < 0).all(axis=(0, 1)).any() or (pixels > (width, height)).all(axis=(0, 1)).any():
            return False
        above = sampled(self.grey, pixels).astype(np.uint8)
        for text, corners in (code for close in _sharper(above) for code in _read(close)):
            if text == marker.text:
                share = ((corners + 0.5) / CLOSE_UP - AROUND) / MODULES
                place = share * (marker.width_mm, marker.height_mm) + (marker.x_mm, marker.y_mm)
                self.meet(text, placement.to_photo(place))
                return True
        return False

    def _placement(self) -> Placement:
        """Where the target lies by the markers met so far, in pixels of the array."""
        known = [other for other in self._plan() if other.text in self.markers]
        height, width = self.grey.shape
        return Placement.from_points(
            np.concatenate([_outline(other) for other in known]),
            np.concatenate([self.markers[other.text] for other in known]),
            (width, height),
            fit_bend=False,
        )

    def _sharpened(self) -> Iterator[tuple[Grey, float]]:
        from PIL import Image

        for sharper in _sharper(self.grey)[1:]:
            yield sharper, 1.0
        height, width = self.grey.shape
        if min(height, width) > 32 and height * width <= MOST_TO_ENLARGE:
            larger = Image.fromarray(self.grey).resize((width * 3 // 2, height * 3 // 2))
            yield _sharper(np.asarray(larger))[1], 1.5


def _same_place(one: Floats, other: Floats) -> bool:
    apart = np.linalg.norm(one.mean(axis=0) - other.mean(axis=0))
    return bool(apart < np.linalg.norm(one[0] - one[2]) / 2)


def _outline(marker: Marker) -> Floats:
    x, y, w, h = marker.x_mm, marker.y_mm, marker.width_mm, marker.height_mm
    return np.array([(x, y), (x + w, y), (x + w, y + h), (x, y + h)])


def _grey(picture: Picture) -> Grey:
    green = picture.pixels[:, :, 1]
    if picture.pixels.dtype == np.uint8 and not picture.linear:
        return np.ascontiguousarray(green)
    codes = (np.sqrt(picture.light[1]) * 255).round().astype(np.uint8)
    return np.asarray(codes[green])


def _sharper(grey: Grey) -> list[Grey]:
    from PIL import Image, ImageFilter

    plain = Image.fromarray(grey)
    return [
        np.asarray(
            plain.filter(ImageFilter.UnsharpMask(SHARP_RADIUS, percent, 0)) if percent else plain
        )
        for percent in SHARPER
    ]


def _read(grey: Grey) -> list[tuple[str, Floats]]:
    import zxingcpp

    qr = zxingcpp.BarcodeFormats([zxingcpp.BarcodeFormat.QRCode])
    codes: Any = zxingcpp.read_barcodes(grey, formats=qr, try_invert=False)
    found = []
    for code in codes:
        at = code.position
        corners = [
            (point.x, point.y)
            for point in (at.top_left, at.top_right, at.bottom_right, at.bottom_left)
        ]
        # Its positions count from the edge of the first pixel, ours from the middle.
        found.append((code.text, np.array(corners, dtype=float) - 0.5))
    return found
