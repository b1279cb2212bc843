"""Photographs of cards on a sheet, read without storing anything: what lies in each window."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass
from math import isfinite
from typing import TYPE_CHECKING, Any

from service.domain.card_code import read_card_code
from service.domain.photographed import NEXT, ONE_FRAME
from service.domain.record_file import RecordFile
from service.domain.records.measuring import Matrix
from service.domain.records.shop import PLAIN_PRINT, PhotoTarget, check_print_code
from service.domain.refused import Invalid, Refused
from service.use_cases.ports import PhotoReader

if TYPE_CHECKING:
    from colour.judgement import Judgement
    from colour.photo.outcome import PhotoRead, PhotoRefused, Point, Remark
    from colour.photo.target import Target

MASTER_WINDOW, CARD_WINDOW = "master", "card"


class PhotographRefused(Refused):
    """A photograph that cannot be trusted; ``reasons`` are all that stand against it."""

    def __init__(self, refused: PhotoRefused) -> None:
        super().__init__(str(refused))
        self.reasons: tuple[Remark, ...] = refused.reasons

    def as_json(self) -> list[dict[str, str]]:
        """The reasons as commands and the API give them."""
        return [{"code": one.code, "message": one.message} for one in self.reasons]


def read_photograph(
    shop: RecordFile,
    reader: PhotoReader,
    content: bytes,
    *,
    photo_target_id: str | None = None,
    paper: str | None = None,
    target: Target | None = None,
    corners: Sequence[Point] | None = None,
) -> PhotoRead:
    """Read a photograph by the target given or registered, else by the sheet its codes tell.

    ``paper`` ("a4" or "letter") stands for the plain sheet, where its codes cannot be read.

    Raises
    ------
    PhotographRefused
        With every reason it cannot be trusted.
    """
    from colour.photo.outcome import PhotoRefused

    if photo_target_id is not None:
        target = shop.get(PhotoTarget, photo_target_id).as_target()
    elif paper is not None:
        target = printed_sheet(paper)
    if corners is not None and len(corners) != 4:
        raise Invalid("corners", f"{len(corners)} corners were given. Give all four.")
    try:
        return reader.read(content, target=target, targets=known_prints(shop), corners=corners)
    except PhotoRefused as refused:
        raise PhotographRefused(refused) from refused


def printed_sheet(paper: str, print_code: str = PLAIN_PRINT) -> Target:
    """The sheet as it is printed, with nominal values; plain without a code of its own."""
    from colour.photo.sheet import sheet_target
    from colour.photo.target import BadTarget

    if print_code != PLAIN_PRINT:
        check_print_code(print_code)
    try:
        return sheet_target(paper, print_code)
    except BadTarget as error:
        raise Invalid("paper", str(error)) from error


def corners_from(text: str) -> tuple[Point, ...]:
    """Four corners as `x,y x,y x,y x,y`, in pixels."""
    try:
        pairs = [pair.split(",") for pair in text.split()]
        found = tuple((float(x), float(y)) for x, y in pairs)
    except ValueError:
        found = ()
    if len(found) != 4 or not all(isfinite(value) for point in found for value in point):
        raise Invalid(
            "corners", f"{text!r} is not four corners. Write them as x,y x,y x,y x,y in pixels."
        )
    return found


def known_prints(shop: RecordFile) -> dict[str, Target]:
    """The registered prints of the sheet, by the print code their codes carry."""
    return {
        sheet.print_code: sheet.as_target()
        for sheet in shop.all(PhotoTarget)
        if sheet.print_code is not None
    }


def judge_windows(read: PhotoRead, *, limit: float, risk: float) -> Judgement | None:
    """Judge the difference of the windows ``card`` and ``master``; None unless both are there.

    Its covariance is the photograph's own, in which what errs alike in both windows cancels.
    """
    from colour.decision import UncertainDifference, judge_difference

    master, card = read.window(MASTER_WINDOW), read.window(CARD_WINDOW)
    if master is None or card is None:
        return None
    joint = part_of(read, (MASTER_WINDOW, CARD_WINDOW))
    difference = UncertainDifference.in_frame(master.lab, card.lab, joint)
    return judge_difference(difference, limit=limit, risk=risk)


def judgement_as_json(read: PhotoRead, judgement: Judgement | None) -> dict[str, Any] | None:
    """The difference as the command and the API give it."""
    from colour.words import words

    master, card = read.window(MASTER_WINDOW), read.window(CARD_WINDOW)
    if judgement is None or master is None or card is None:
        return None
    reach = judgement.interval
    return {
        "delta_e_2000": judgement.delta_e_2000,
        "standard_uncertainty": judgement.standard_uncertainty,
        "verdict": judgement.verdict.value,
        "words": words(master.lab, card.lab),
        "limit": judgement.limit,
        "risk": judgement.risk,
        "range_95": [reach.low, reach.high] if reach else None,
        "p_blends": judgement.p_blends,
        "p_shows": judgement.p_shows,
        "power_at_zero": judgement.power_at_zero,
        "explanation": judgement.explanation,
        # Photographs err alike, so a count of more of them would promise too much.
        "next_step": NEXT[ONE_FRAME] if judgement.next_step else None,
        "different_colour": judgement.different_colour,
    }


def read_as_json(read: PhotoRead, judgement: Judgement | None) -> dict[str, Any]:
    """A photograph read, as the command and the API give it."""
    return {
        "target": read.target,
        "values": read.values,
        "measurement": {"illuminant": read.illuminant, "observer": read.observer},
        "size": list(read.size),
        "outline": [list(point) for point in read.outline],
        "windows": {
            window.name: {
                "lab": list(window.lab),
                "covariance": [list(row) for row in window.covariance],
                "pixels": window.pixels,
                "share_used": window.share_used,
                "texture": window.texture,
                "outline": [list(point) for point in window.outline],
            }
            for window in read.windows
        },
        "order": [window.name for window in read.windows],
        "covariance": [list(row) for row in read.covariance],
        "fit": asdict(read.fit),
        "difference": judgement_as_json(read, judgement),
        "warnings": [asdict(one) for one in read.warnings],
        "codes": [asdict(code) for code in read.codes],
    }


def part_of(read: PhotoRead, windows: Sequence[str]) -> Matrix:
    """The joint covariance of these windows, in this order."""
    names = [window.name for window in read.windows]
    rows = [3 * names.index(name) + channel for name in windows for channel in range(3)]
    return tuple(tuple(read.covariance[r][c] for c in rows) for r in rows)


@dataclass(frozen=True, slots=True, kw_only=True)
class Offered:
    """A card whose label lies in or under a window; offered to a person, never taken."""

    window: str | None
    code: str
    job_id: str
    card_id: str


def cards_offered(
    card_by_code: Callable[[str], tuple[str, str] | None], read: PhotoRead
) -> tuple[Offered, ...]:
    """The shop's cards whose codes are in the frame, by window.

    ``card_by_code`` gives the job's and the card's id of a code, or None.
    """
    found = []
    for seen in read.codes:
        try:
            code = read_card_code(seen.text.rstrip("/").rpartition("/")[2])
        except Refused:
            continue
        place = card_by_code(code)
        if place is not None:
            found.append(Offered(window=seen.window, code=code, job_id=place[0], card_id=place[1]))
    return tuple(found)
