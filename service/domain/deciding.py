"""The bridge to the colour science: from repeats at each angle to one of three words."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import Any

from service.domain.comparability import Reason
from service.domain.records.measuring import Lab, Matrix
from service.domain.terms import Word


@dataclass(frozen=True, slots=True, kw_only=True)
class AngleQuestion:
    """Two sets of repeats at one angle.

    ``*_uncertainty`` is the standard uncertainty of one repeat, per channel, where known;
    ``joint_covariance`` (3 by 3) that of the difference itself, where the two were read in one
    frame; ``added_variance`` is per channel, for what the shop says a card stands away from its
    panel by.
    """

    angle: int | None
    master: Sequence[Lab]
    card: Sequence[Lab]
    master_uncertainty: float | None = None
    card_uncertainty: float | None = None
    joint_covariance: Matrix | None = None
    added_variance: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Decision:
    """What the numbers say; the figures are of the angle that decides, the worst one.

    ``difference`` is card less master (ΔL*, Δa*, Δb*); ``low`` and ``high`` bound 95 % of
    where ΔE00 lies; ``angles`` holds the working of every angle as plain data.
    """

    word: Word
    angle: int | None
    difference: Lab
    delta_e_2000: float
    low: float
    high: float
    standard_uncertainty: float | None
    p_blends: float | None
    p_shows: float | None
    power_at_zero: float | None
    over_five: bool
    words: str
    why: str
    next_step: str
    risk_spent: float
    angles: tuple[Mapping[str, Any], ...]


@dataclass(frozen=True, slots=True)
class SideBySide:
    """What came of laying two specimens side by side."""

    word: Word
    reasons: tuple[Reason, ...]
    decision: Decision | None
    look: int
    reading_ids: tuple[str, ...]
    next_step: str


def decide(
    questions: Sequence[AngleQuestion],
    *,
    limit: float,
    risk: float,
    look: int = 1,
    planned_looks: int = 3,
) -> Decision:
    """Answer every angle by itself; the worst decides.

    `blends` needs every angle at the full risk of the look; `shows` from any of k angles uses
    the k-th part of it.
    """
    from colour.looks import LookPlan

    share = LookPlan(risk=risk, planned=planned_looks).risk_of_look(look)
    answers = [_answer(question, limit, share) for question in questions]
    showing = [a for a in answers if a.p_shows is not None and a.p_shows < share / len(answers)]
    open_ones = [a for a in answers if a.why]
    if showing:
        word, deciding = Word.SHOWS, showing
    elif open_ones:
        word, deciding = Word.CANNOT_TELL, open_ones
    else:
        word, deciding = Word.BLENDS, answers
    worst = max(deciding, key=lambda answer: answer.delta_e_2000)
    return Decision(
        word=word,
        angle=worst.angle,
        difference=worst.difference,
        delta_e_2000=worst.delta_e_2000,
        low=worst.low,
        high=worst.high,
        standard_uncertainty=worst.standard_uncertainty,
        p_blends=worst.p_blends,
        p_shows=worst.p_shows,
        power_at_zero=worst.power_at_zero,
        over_five=worst.over_five,
        words=worst.words,
        why=worst.why if word is Word.CANNOT_TELL else "",
        next_step="",
        risk_spent=share,
        angles=tuple(asdict(answer) for answer in answers),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Answer:
    angle: int | None
    difference: Lab
    delta_e_2000: float
    low: float
    high: float
    standard_uncertainty: float | None
    p_blends: float | None
    p_shows: float | None
    power_at_zero: float | None
    over_five: bool
    words: str
    why: str


def _answer(question: AngleQuestion, limit: float, share: float) -> _Answer:
    from colour.difference import delta_e_2000
    from colour.uncertainty import UncertainColour, UncertainDifference
    from colour.weighing import LEAST_POWER, is_judgeable, standard_uncertainty, weigh
    from colour.words import directions
    from colour.words import words as direction_words

    sides = [
        UncertainColour.from_repeats(repeats, standard_uncertainty=figure)
        for repeats, figure in (
            (question.master, question.master_uncertainty),
            (question.card, question.card_uncertainty),
        )
    ]
    between = UncertainDifference.between(*sides)
    if question.joint_covariance is not None:
        between = UncertainDifference.of(sides[0].mean, between.mean, question.joint_covariance)
    if question.added_variance:
        between = between.widened(standard_uncertainty=question.added_variance**0.5)
    means = [tuple(side.mean.tolist()) for side in sides]
    seen = float(delta_e_2000(means[0], means[1]))
    p_blends = p_shows = power = uncertainty = None
    why = "Two single readings of unknown uncertainty cannot be judged."
    if bool(is_judgeable(between)) and share > 0:
        figures = weigh(between, limit=limit, risk=share)
        p_blends, p_shows = float(figures.p_blends[0]), float(figures.p_shows[0])
        power = float(figures.power_at_zero[0])
        uncertainty = standard_uncertainty(between)
        why = ""
        if power < LEAST_POWER:
            why = f"This measurement is too coarse for a limit of {limit:g}."
        elif p_blends >= share:
            why = "More readings are needed."
    delta = between.mean
    return _Answer(
        angle=question.angle,
        difference=(float(delta[0]), float(delta[1]), float(delta[2])),
        delta_e_2000=seen,
        low=max(0.0, seen - 1.96 * (uncertainty or 0.0)),
        high=seen + 1.96 * (uncertainty or 0.0),
        standard_uncertainty=uncertainty,
        p_blends=p_blends,
        p_shows=p_shows,
        power_at_zero=power,
        over_five=bool((delta**2).sum() > 25),
        words=direction_words(*means) if directions(*means) else "",
        why=why,
    )
