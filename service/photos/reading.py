"""A photograph's bytes to what its windows say; runs in the worker."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

from colour.arrays import Floats
from colour.photo.checks import refuse_without_target
from colour.photo.measuring import read_picture
from colour.photo.outcome import PhotoRead, Point, Remark
from colour.photo.picture import Picture
from colour.photo.sheet import NO_PRINT
from colour.photo.target import Target
from service.photos.decode import decode
from service.photos.kinds import refused
from service.photos.markers import Found, find_codes, is_mirrored, sheets_seen


def read(
    content: bytes,
    target: Target | None,
    corners: Sequence[Point] | None,
    registered: Callable[[str], Target | None],
    decoded_safely: Callable[[], None] = lambda: None,
) -> PhotoRead:
    """Decode, find the codes, choose the target by them when none is given, and read.

    ``registered`` knows the targets of registered prints by their print codes.
    ``decoded_safely`` is told when what hostile bytes can make dear is over.

    Raises
    ------
    PhotoRefused
        With every reason.
    """
    decoded = decode(content)
    found = find_codes(decoded.plain, target, thorough=corners is None)
    decoded_safely()
    remarks = list(decoded.warnings)
    if target is None:
        target, remark = _sheet(decoded.plain, found, registered)
        if remark is not None:
            remarks.append(remark)
    if corners is None and is_mirrored(found, target.markers):
        raise refused(
            "mirrored",
            "The sheet is seen as in a mirror. Switch mirroring off in the camera, or use the "
            "camera on its back, and shoot again.",
        )
    try:
        read = read_picture(
            decoded.picture,
            target,
            markers={text: _points(points) for text, points in found.markers.items()},
            corners=corners,
            codes=[(text, _points(points)) for text, points in found.codes],
        )
    except ValueError as error:
        if corners is None:
            raise
        raise refused(
            "bad_corners",
            f"The corners cannot be those of the target ({error}). Give its top left, top right, "
            "bottom right and bottom left in the upright photograph.",
        ) from error
    return replace(read, warnings=(*remarks, *read.warnings))


def _sheet(
    picture: Picture, found: Found, registered: Callable[[str], Target | None]
) -> tuple[Target, Remark | None]:
    """The sheet whose codes are in the frame, with the values of that very print if known."""
    sheets = sheets_seen(found.markers)
    if not sheets:
        raise refuse_without_target(picture, 0)
    if len(sheets) > 1 or found.twice:
        raise refused(
            "several_targets",
            f"The photograph shows codes of more than one sheet "
            f"({', '.join(sorted({*found.markers, *found.twice}))}). "
            "Take the other sheets out of the frame and shoot again.",
        )
    sheet = sheets[0]
    if sheet.print_code == NO_PRINT:
        return sheet.target(), None
    known = registered(sheet.print_code)
    if known is not None:
        return known, None
    remark = Remark(
        code="print_not_registered",
        message=f"The sheet's print {sheet.print_code} is not registered here, so its patches "
        "were taken at their nominal colours. Register its measured values for surer readings.",
    )
    return sheet.target(), remark


def _points(corners: Floats) -> tuple[Point, ...]:
    return tuple((float(x), float(y)) for x, y in corners)
