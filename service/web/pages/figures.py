"""A comparison drawn: angle by angle, and where its second colour lies from its first.

Everything here is read off a verdict's evidence and the readings it rests on; nothing is judged.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import lru_cache

from service.domain.comparability import required_angles
from service.domain.flop import Flop, flop_of, flop_words
from service.domain.lookups import mean_lab
from service.domain.pooling import repeats_at
from service.domain.record_file import RecordFile
from service.domain.records.cards import Card
from service.domain.records.job import Finish, Joint, Panel, Policy
from service.domain.records.measuring import AngleReading, Lab, Reading, Verdict
from service.domain.records.spraying import Batch
from service.domain.terms import JointKind, Subject
from service.web.charts_angles import AngleChart, AngleMark, angle_chart
from service.web.charts_lines import Line, LineChart, line_chart
from service.web.charts_place import Place, place_charts
from service.web.context import PageContext
from service.web.pages.evidence import AngleJudged, angles_of
from service.web.pages.figures_spectra import Side, SpectraShown, spectra_shown

SAME = 5e-4
"""CIELAB units. A difference that the readings do not give has no one colour to start from."""

FACE_TO, MIDDLE_TO = 30, 60
"""Aspecular degrees up to which one looks at the face and at the middle; common practice, no
source. ASTM E2539 and DIN 6175-2 give the angles, not the words."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SideShown:
    """One of the two that were compared: its whole name, inside a sentence, at a line's end."""

    name: str
    said: str
    short: str
    href: str


@dataclass(frozen=True, slots=True, kw_only=True)
class AngleRow:
    """One angle of a comparison; without a difference it was not read on both sides."""

    angle: int | None
    seen_at: str
    limit: float
    word: str
    difference: float | None
    bounds: tuple[float, float] | None
    delta: Lab | None
    words: str
    first: Lab | None
    second: Lab | None
    decides: bool


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
    first, second = _sides(here, file, verdict)
    of_first = [reading for reading in readings if _is_first(verdict, reading)]
    of_second = [reading for reading in readings if not _is_first(verdict, reading)]
    bounds = _all_bounds(verdict, angles, of_first)
    rows = [
        AngleRow(
            angle=one.angle,
            seen_at=seen_at(one.angle),
            limit=one.limit,
            word=one.word,
            difference=one.delta_e_2000,
            bounds=bounds.get(one.angle),
            delta=one.delta,
            words=_direction(_mean(of_first, one.angle), one.delta),
            first=_mean(of_first, one.angle),
            second=_mean(of_second, one.angle),
            decides=one.decides,
        )
        for one in angles
    ]
    missing = _missing(file, verdict, {row.angle for row in rows})
    rows += [_not_read(angle, limit, of_first, of_second) for angle, limit in missing]
    rows.sort(key=lambda row: -999 if row.angle is None else row.angle)
    judged = [row for row in rows if row.difference is not None]
    chosen = next((row for row in judged if asked and str(row.angle) == asked), None)
    chosen = chosen or next((row for row in judged if row.decides), judged[0])
    working = next(one for one in angles if one.angle == chosen.angle)
    return Figures(
        first=first,
        second=second,
        angles=tuple(rows),
        missing=tuple(angle for angle, _ in missing),
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
    """The same, the evidence and readings taken from the job's own file."""
    if verdict is None:
        return None
    rows = (file.latest_revision(Reading, id) for id in verdict.reading_ids)
    readings = [row for row in rows if row is not None]
    return figures_of(here, file, verdict, angles_of(verdict), readings, asked, address)


def seen_at(angle: int | None) -> str:
    """What one looks at from an angle, in the trade's words."""
    if angle is None:
        return ""
    if angle < 0:
        return "behind the gloss"
    return "face" if angle <= FACE_TO else "middle" if angle <= MIDDLE_TO else "flop"


def _is_first(verdict: Verdict, reading: Reading) -> bool:
    """Whether a reading is of the side that the other's difference was taken from."""
    if verdict.subject is Subject.CAR:
        return reading.card_id is not None
    first = verdict.card_id if verdict.subject is Subject.JOINT else verdict.other_card_id
    return reading.card_id == first


def _sides(here: PageContext, file: RecordFile, verdict: Verdict) -> tuple[SideShown, SideShown]:
    if verdict.subject is Subject.CAR:
        return (
            SideShown(name="The stored card", said="the stored card", short="card", href=""),
            SideShown(name="The car", said="the car", short="car", href=""),
        )
    own = _side(here, file, verdict.card_id)
    other = _side(here, file, verdict.other_card_id)
    if verdict.subject is Subject.JOINT:
        if own.said != other.said:
            return own, other
        return (
            SideShown(name="One side", said="one side", short="one side", href=own.href),
            SideShown(name="The other side", said="the other", short="the other", href=other.href),
        )
    master = SideShown(name="The master", said="the master", short="master", href=other.href)
    return master, own


def _side(here: PageContext, file: RecordFile, card_id: str | None) -> SideShown:
    card = file.latest_revision(Card, card_id or "")
    batch = file.latest_revision(Batch, card.batch_id) if card is not None else None
    href = here.link("card", code=card.code) if card is not None and not card.withdrawn else ""
    if batch is None:
        return SideShown(name="The card", said="the card", short="card", href=href)
    name = f"batch {batch.number}"
    return SideShown(name=name.capitalize(), said=name, short=name, href=href)


def _mean(readings: Sequence[Reading], angle: int | None) -> Lab | None:
    """The mean of every repeat of one side, as it was judged."""
    repeats = repeats_at(readings, angle)
    return mean_lab(AngleReading(repeats=tuple(repeats), angle=angle)) if repeats else None


def _direction(first: Lab | None, delta: Lab) -> str:
    if first is None:
        return ""
    from colour.words import directions, words

    second = [a + d for a, d in zip(first, delta, strict=True)]
    return words(first, second) if directions(first, second) else ""


def _missing(
    file: RecordFile, verdict: Verdict, judged: set[int | None]
) -> list[tuple[int, float]]:
    """The angles that the policy of the time asked for and that were not judged, with limits."""
    finish_id, joint = _held_to(file, verdict)
    finish = file.latest_revision(Finish, finish_id)
    policies = file.by(Policy, "finish_id", finish_id)
    then = [policy for policy in policies if policy.received_at <= verdict.received_at]
    if finish is None or not then or None in judged:
        return []
    asked = required_angles(finish, then[-1])
    return [(a, then[-1].limit_at(joint, a)) for a in asked if a not in judged]


def _held_to(file: RecordFile, verdict: Verdict) -> tuple[str, JointKind | None]:
    """The finish a verdict is of, and the kind of joint whose limits held."""
    if verdict.subject is Subject.JOINT:
        joint = file.latest_revision(Joint, verdict.joint_id or "")
        panel = file.latest_revision(Panel, joint.panel_a) if joint is not None else None
        kind = joint.kind if joint is not None else None
        return (panel.finish_id if panel is not None else ""), kind
    batch = file.latest_revision(Batch, verdict.batch_id or "")
    return (batch.finish_id if batch is not None else ""), None


def _not_read(
    angle: int, limit: float, first: Sequence[Reading], second: Sequence[Reading]
) -> AngleRow:
    return AngleRow(
        angle=angle,
        seen_at=seen_at(angle),
        limit=limit,
        word="",
        difference=None,
        bounds=None,
        delta=None,
        words="",
        first=_mean(first, angle),
        second=_mean(second, angle),
        decides=False,
    )


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


Bounds = tuple[float, float]


def _all_bounds(
    verdict: Verdict, angles: Sequence[AngleJudged], first: Sequence[Reading]
) -> dict[int | None, Bounds]:
    """The 95 % range of every angle: that of the angle that decided is on record."""
    found: dict[int | None, Bounds] = {}
    if verdict.low is not None and verdict.high is not None:
        found[verdict.angle] = verdict.low, verdict.high
    open_ones = [one for one in angles if one.angle not in found and one.p_blends is not None]
    colours = [_mean(first, one.angle) for one in open_ones]
    starts = [colour for colour in colours if colour is not None]
    if not starts or len(starts) < len(open_ones):
        return found
    ranges = _ranges(
        tuple(starts),
        tuple(one.delta for one in open_ones),
        tuple(one.covariance for one in open_ones),
        tuple(one.degrees_of_freedom for one in open_ones),
    )
    return found | {one.angle: found for one, found in zip(open_ones, ranges, strict=True)}


@lru_cache(maxsize=128)
def _ranges(
    starts: tuple[Lab, ...],
    deltas: tuple[Lab, ...],
    covariances: tuple[tuple[Lab, ...], ...],
    degrees: tuple[float | None, ...],
) -> tuple[Bounds, ...]:
    """The ranges, worked out as the verdict's own is, by the noise on record."""
    from colour.ranges import ranges_of

    scatter = [math.inf if of is None else of for of in degrees]
    found = ranges_of(starts, deltas, covariances, scatter)
    return tuple((low, high) for low, high in found.tolist())
