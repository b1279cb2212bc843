"""Cards laid side by side: how they lie to each other, and which goes furthest in what."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Annotated
from urllib.parse import urlencode

from fastapi import APIRouter, Query
from starlette.responses import Response

from service.domain.card_code import read_card_code
from service.domain.flop import Flop
from service.domain.lines import CardLine
from service.domain.nearness import doubts_of_differences, in_noise
from service.domain.records.measuring import Lab
from service.domain.refused import Invalid, Refused
from service.use_cases.angles_side_by_side import AtAngles, PairAtAngles, lay_at_angles
from service.use_cases.side_by_side import MOST_CARDS, Pair, SideBySide, lab_of, lay_side_by_side
from service.web.access import ANYBODY_HERE, page_rules
from service.web.context import Frame, Here, PageContext
from service.web.forms import Form
from service.web.pages.bench_forms import Filled
from service.web.pages.rack_hits import CardHit, card_hits

router = APIRouter()
page_rules({("GET", "/rack/compare"): ANYBODY_HERE})

AXES = (
    ("lightest", "deepest"),
    ("reddest", "greenest"),
    ("yellowest", "bluest"),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class LaidCard:
    """One of the cards, with how it lies beside the first."""

    hit: CardHit
    lab: Lab | None
    extremes: tuple[str, ...]
    words: str
    why: str
    flop: Flop | None
    at_angles: PairAtAngles | None
    first_href: str
    without_href: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Gap:
    """One cell of the table of pairs; empty on the card itself and where it was said already."""

    delta_e_2000: float | None
    doubt: float | None
    why: str
    itself: bool
    angle: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Extreme:
    """Which card goes furthest one way, and which the other; by how much in CIELAB units."""

    word: str
    code: str
    other_word: str
    other_code: str
    apart: float
    in_noise: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class ComparePage:
    """Everything about the cards that were named."""

    frame: Frame
    form: Filled
    codes: tuple[str, ...]
    cards: tuple[LaidCard, ...]
    rows: tuple[tuple[Gap, ...], ...]
    extremes: tuple[Extreme, ...]
    angles: tuple[int, ...]
    several: bool
    widest: float | None
    widest_at: int | None
    room: bool


@router.get("/rack/compare", name="compare")
def compare(here: Here, codes: Annotated[list[str] | None, Query()] = None) -> Response:
    """Any cards side by side; the first is what the others are told against."""
    typed = codes or []
    form = Form({"codes": typed} if typed else None)
    try:
        lines = [here.card(code) for code in codes_typed(typed)]
        if len(lines) > MOST_CARDS:
            lay_side_by_side(lines)
    except Refused as refusal:
        found = [line for line in map(here.queries.card_by_code, _readable(typed)) if line]
        invalid = Invalid("codes", str(refusal))
        return here.refused(
            form,
            invalid,
            "compare.html",
            lambda frame: _page(here, frame, form, found[:MOST_CARDS]),
            "rack",
        )
    return here.render("compare.html", _page(here, here.frame("rack"), Form(), lines))


def codes_typed(typed: Iterable[str]) -> list[str]:
    """The codes in some fields, each once; a field may hold several, one a line or by commas."""
    pieces = (piece.strip() for text in typed for piece in re.split(r"[,;\n]", text))
    return list(dict.fromkeys(read_card_code(piece) for piece in pieces if piece))


def _readable(typed: Iterable[str]) -> Iterable[str]:
    for text in typed:
        for piece in re.split(r"[,;\n]", text):
            try:
                yield read_card_code(piece)
            except Invalid:
                continue


def _page(here: PageContext, frame: Frame, form: Form, lines: Sequence[CardLine]) -> ComparePage:
    laid = lay_side_by_side(lines) if len(lines) > 1 else SideBySide(cards=(), pairs=())
    # What was read at one geometry is told by the lists alone, and opens no job's file.
    angled = len(lines) > 1 and any(line.angle is not None for line in lines)
    at_angles = lay_at_angles(here.store, lines) if angled else AtAngles()
    gaps = _gaps(laid.pairs, lines) | _gaps_at_angles(at_angles)
    codes = tuple(line.code for line in lines)
    widest = max(gaps.values(), key=lambda gap: gap.delta_e_2000 or 0.0, default=ITSELF)
    compared = any(gap.delta_e_2000 is not None for gap in gaps.values())
    return ComparePage(
        frame=frame,
        form=Filled(form=form),
        codes=codes,
        cards=tuple(_cards(here, lines, laid, at_angles)),
        rows=tuple(_row(code, codes, gaps) for code in codes) if compared else (),
        extremes=tuple(_extremes(laid, lines)),
        angles=tuple(sorted({line.angle for line in lines if line.angle is not None})),
        several=any(len(pair.angles) > 1 for pair in at_angles.pairs),
        widest=widest.delta_e_2000 if compared else None,
        widest_at=widest.angle,
        room=len(lines) < MOST_CARDS,
    )


def _cards(
    here: PageContext, lines: Sequence[CardLine], laid: SideBySide, at_angles: AtAngles
) -> Iterable[LaidCard]:
    codes = [line.code for line in lines]
    extremes = {one.code: one.extremes for one in laid.cards}
    pairs = {pair.second: pair for pair in laid.pairs if pair.first == codes[0]}
    for hit in card_hits(here, lines):
        code = hit.line.code
        pair = pairs.get(code)
        several = at_angles.pair(codes[0], code) if code != codes[0] else None
        others = [other for other in codes if other != code]
        yield LaidCard(
            hit=hit,
            lab=lab_of(hit.line),
            extremes=extremes.get(code, ()),
            words=pair.words if pair else "",
            why=pair.why if pair and several is None else "",
            flop=(at_angles.flops or {}).get(code),
            at_angles=several,
            first_href=address(here, [code, *others]),
            without_href=address(here, others),
        )


def address(here: PageContext, codes: Iterable[str]) -> str:
    """The address of the page with these cards on it."""
    query = urlencode([("codes", code) for code in codes])
    return f"{here.link('compare')}?{query}" if query else here.link("compare")


ITSELF = Gap(delta_e_2000=None, doubt=None, why="", itself=True)


def _row(code: str, codes: Sequence[str], gaps: dict[frozenset[str], Gap]) -> tuple[Gap, ...]:
    return tuple(gaps.get(frozenset((code, other)), ITSELF) for other in codes)


def _gaps(pairs: Sequence[Pair], lines: Sequence[CardLine]) -> dict[frozenset[str], Gap]:
    """Every pair by its two codes, with how well its difference is known."""
    by_code = {line.code: line for line in lines}
    compared = (pair for pair in pairs if pair.delta_e_2000 is not None)
    doubts = iter(
        doubts_of_differences(
            [(*_known(by_code[pair.first]), *_known(by_code[pair.second])) for pair in compared]
        )
    )
    return {
        frozenset((pair.first, pair.second)): Gap(
            delta_e_2000=pair.delta_e_2000,
            doubt=next(doubts) if pair.delta_e_2000 is not None else None,
            why=pair.why,
            itself=False,
        )
        for pair in pairs
    }


def _gaps_at_angles(at_angles: AtAngles) -> dict[frozenset[str], Gap]:
    """The same of cards read at angles, by the angle at which the two differ most."""
    return {
        frozenset((pair.first, pair.second)): Gap(
            delta_e_2000=pair.worst.delta_e_2000,
            doubt=pair.worst.doubt,
            why="",
            itself=False,
            angle=pair.worst.angle if len(pair.angles) > 1 else None,
        )
        for pair in at_angles.pairs
    }


def _known(line: CardLine) -> tuple[Lab, float | None]:
    """The colour of a card that was read, and how well it is known."""
    return lab_of(line) or (0.0, 0.0, 0.0), line.standard_uncertainty


def _extremes(laid: SideBySide, lines: Sequence[CardLine]) -> Iterable[Extreme]:
    """The two ends of each axis, where one card alone stands at each."""
    labs = {line.code: lab_of(line) for line in lines}
    doubts = {line.code: line.standard_uncertainty for line in lines}
    for axis, (most, least) in enumerate(AXES):
        ends = [[one.code for one in laid.cards if end in one.extremes] for end in (most, least)]
        # Cards read in unlike ways have ends of their own, and no one answer for all.
        if len(ends[0]) != 1 or len(ends[1]) != 1:
            continue
        high, low = labs[ends[0][0]], labs[ends[1][0]]
        if high is not None and low is not None:
            yield Extreme(
                word=most,
                code=ends[0][0],
                other_word=least,
                other_code=ends[1][0],
                apart=high[axis] - low[axis],
                in_noise=in_noise(high[axis] - low[axis], *(doubts[e[0]] for e in ends)),
            )
