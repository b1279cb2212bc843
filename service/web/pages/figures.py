"""A comparison drawn: angle by angle, and where its second colour lies from its first.

Everything here is read off a verdict's evidence and the readings it rests on; nothing is judged.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import lru_cache

from service.domain.flop import Flop, flop_of, flop_words
from service.domain.record_file import RecordFile
from service.domain.records.measuring import Lab, Reading, Verdict
from service.web.charts_angles import AngleChart, AngleMark, angle_chart
from service.web.charts_lines import Line, LineChart, line_chart
from service.web.charts_place import Place, place_charts
from service.web.context import PageContext
from service.web.pages.evidence import AngleJudged, angles_of
from service.web.pages.figures_rows import AngleRow, angle_rows
from service.web.pages.figures_sides import SideShown, is_first, readings_of, sides_of
from service.web.pages.figures_spectra import Side, SpectraShown, spectra_shown

SAME = 5e-4
"""CIELAB units. A difference that the readings do not give has no one colour to start from."""


@dataclass(frozen=True, slots=True, kw_only=True)
class AngleChoice:
    """An angle that can be looked at."""

    angle: int | None
    href: str


@dataclass(frozen=True, slots=True, kw_only=True)
class OverAngles:
    """The drawings of several angles: ΔE00 over its limit, ΔL*a*b*, and L* of both."""

    judged: AngleChart
    deltas: LineChart
    lightness: LineChart | None


@dataclass(frozen=True, slots=True, kw_only=True)
class FlopShown:
    """The flop of both sides, and how the second's lies beside the first's; no words, no news."""

    first: Flop
    second: Flop
    words: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Figures:
    """What is drawn of a comparison; ``chosen`` is the angle the place and spectra are of."""

    first: SideShown
    second: SideShown
    angles: tuple[AngleRow, ...]
    missing: tuple[int, ...]
    over: OverAngles | None
    flop: FlopShown | None
    choices: tuple[AngleChoice, ...]
    chosen: AngleRow
    place: Place | None
    spectra: SpectraShown | None


def figures_of(
    here: PageContext,
    file: RecordFile,
    verdict: Verdict,
    angles: Sequence[AngleJudged],
    readings: Sequence[Reading],
    asked: str,
    address: Callable[[str], str],
) -> Figures | None:
    """Everything that is drawn of a verdict; None where it has no figures.

    ``asked`` is the angle in the address as it stands there; ``address`` makes the page's own
    address for another.
    """
    if not angles:
        return None
    first, second = sides_of(here, file, verdict)
    of_first = [reading for reading in readings if is_first(verdict, reading)]
    of_second = [reading for reading in readings if not is_first(verdict, reading)]
    rows = angle_rows(file, verdict, angles, of_first, of_second)
    judged = [row for row in rows if row.difference is not None]
    chosen = next((row for row in judged if asked and str(row.angle) == asked), None)
    chosen = chosen or next((row for row in judged if row.decides), judged[0])
    working = next(one for one in angles if one.angle == chosen.angle)
    return Figures(
        first=first,
        second=second,
        angles=tuple(rows),
        missing=tuple(
            row.angle for row in rows if row.difference is None and row.angle is not None
        ),
        over=_over(rows, first, second) if len(rows) > 1 else None,
        flop=_flop(of_first, of_second),
        choices=tuple(
            AngleChoice(angle=row.angle, href=address(str(row.angle)))
            for row in judged
            if len(judged) > 1
        ),
        chosen=chosen,
        place=_place(chosen, working, second),
        spectra=spectra_shown(
            Side(first.short, first.said, of_first),
            Side(second.short, second.said, of_second),
            chosen.angle,
        ),
    )


def figures_on_record(
    here: PageContext,
    file: RecordFile,
    verdict: Verdict | None,
    asked: str,
    address: Callable[[str], str],
) -> Figures | None:
    """The same, the evidence and readings taken from the record."""
    if verdict is None:
        return None
    readings = readings_of(here, file, verdict)
    return figures_of(here, file, verdict, angles_of(verdict), readings, asked, address)


def _over(rows: Sequence[AngleRow], first: SideShown, second: SideShown) -> OverAngles:
    """The drawings of all angles."""
    marks = [
        AngleMark(
            angle=row.angle,
            limit=row.limit,
            difference=row.difference,
            bounds=row.bounds,
            word=row.word,
            decides=row.decides,
        )
        for row in rows
        if row.angle is not None
    ]
    ticks = [float(mark.angle) for mark in marks]
    decides = next((float(mark.angle) for mark in marks if mark.decides), None)
    judged = [(float(row.angle or 0), row.delta) for row in rows if row.delta is not None]
    deltas = [
        Line(
            name=name,
            stroke=stroke,
            xs=[angle for angle, _ in judged],
            ys=[delta[axis] for _, delta in judged],
        )
        for axis, (name, stroke) in enumerate(
            (("ΔL*", "solid"), ("Δa*", "dashed"), ("Δb*", "dotted"))
        )
    ]
    read = [(float(r.angle or 0), r.first, r.second) for r in rows if r.first and r.second]
    lightness = [
        Line(name="", stroke="solid", xs=[x for x, *_ in read], ys=[lab[0] for _, lab, _ in read]),
        Line(name="", stroke="dashed", xs=[x for x, *_ in read], ys=[lab[0] for *_, lab in read]),
    ]
    return OverAngles(
        judged=angle_chart(marks, label=second.name, href=second.href),
        deltas=line_chart(
            deltas,
            ticks=ticks,
            difference=True,
            least=1.0,
            right=440.0,
            dots=True,
            marked=decides,
        ),
        lightness=line_chart(lightness, ticks=ticks, right=440.0, dots=True, marked=decides)
        if len(read) > 1
        else None,
    )


def _flop(first: Sequence[Reading], second: Sequence[Reading]) -> FlopShown | None:
    """Flop of the newest reading of each side, where both were read at the angles it takes."""
    if not first or not second:
        return None
    of_first, of_second = flop_of(first[-1]), flop_of(second[-1])
    if of_first is None or of_second is None:
        return None
    words = flop_words(first[-1], second[-1])
    return FlopShown(first=of_first, second=of_second, words=words)


def _place(row: AngleRow, working: AngleJudged, second: SideShown) -> Place | None:
    """Where the second lies from the first; None where the readings do not give it."""
    if row.first is None or row.second is None or row.delta is None:
        return None
    now = (b - a for a, b in zip(row.first, row.second, strict=True))
    if any(abs(seen - then) > SAME for seen, then in zip(now, row.delta, strict=True)):
        return None
    return _laid_out(
        row.first,
        row.delta,
        row.limit,
        second.name,
        second.href,
        row.word,
        working.covariance,
        working.degrees_of_freedom,
    )


# A verdict never changes, so its drawings are laid out once.
@lru_cache(maxsize=128)
def _laid_out(
    first: Lab,
    delta: Lab,
    limit: float,
    label: str,
    href: str,
    word: str,
    covariance: tuple[Lab, ...],
    degrees_of_freedom: float | None,
) -> Place:
    return place_charts(
        first,
        delta,
        limit,
        label=label,
        href=href,
        word=word,
        covariance=covariance,
        degrees_of_freedom=degrees_of_freedom,
    )
