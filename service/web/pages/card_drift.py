"""How a card's colour moved since it was first read, stage by stage."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import groupby

from service.domain.ageing import moved_words
from service.domain.drift import Course, Drift, course_of, drifts_of, since_when
from service.domain.records.cards import Card
from service.domain.records.measuring import Reading
from service.domain.terms import Stage


@dataclass(frozen=True, slots=True, kw_only=True)
class CardDrift:
    """A stage of the card that was read alike more than once: the newest beside the first.

    ``said`` answers whether it moved, ``since`` between when and whether it was still curing.
    ``courses`` are the readings between as well, where there are any, angle by angle.
    """

    stage: Stage
    first_at: datetime
    newest_at: datetime
    said: str
    since: str
    drifts: tuple[Drift, ...]
    courses: tuple[Course, ...]


def card_drifts(card: Card, readings: Sequence[Reading]) -> tuple[CardDrift, ...]:
    """The drift of every stage and zone of a card, in the order they were first read."""
    courses = course_of(readings)
    return tuple(
        _shown(card, list(drifts), [c for c in courses if c.first.root == first])
        for first, drifts in groupby(drifts_of(readings), lambda drift: drift.first.root)
    )


def _shown(card: Card, drifts: Sequence[Drift], courses: Sequence[Course]) -> CardDrift:
    one = drifts[0]
    return CardDrift(
        stage=one.first.stage,
        first_at=one.first.observed_at,
        newest_at=one.newest.observed_at,
        said=_said(drifts),
        since=since_when(one, card.observed_at),
        drifts=tuple(drifts),
        courses=tuple(course for course in courses if len(course.points) > 2),
    )


def _said(drifts: Sequence[Drift]) -> str:
    moved = [drift for drift in drifts if drift.moved]
    if moved:
        most = max(moved, key=lambda drift: drift.delta_e_2000)
        return f"It reads otherwise by more than noise explains: {moved_words(most)}."
    if all(drift.moved is None for drift in drifts):
        return "The readings are too few to tell whether it moved: take three each time."
    return "Noise may explain what lies between the two readings."
