"""The bridge to the colour science: from repeats at each angle to one of three words."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from service.domain.comparability import Reason
from service.domain.records.measuring import Lab, Matrix
from service.domain.terms import Word

if TYPE_CHECKING:
    from colour.uncertain_difference import UncertainDifference

SMALL_DIFFERENCE = 5.0
"""ΔE*ab up to which CIEDE2000 is recommended (ASTM D2244); beyond it no figure is given."""


@dataclass(frozen=True, slots=True, kw_only=True)
class AngleQuestion:
    """Two sets of repeats at one angle, and the limit that holds there, in CIEDE2000 units.

    ``*_uncertainty`` is the standard uncertainty of one repeat, per channel, where known;
    ``joint_covariance`` (3 by 3) that of the difference itself, where the two were read in one
    frame; ``added_variance`` is per channel, for what the shop allows beyond the readings, and
    ``to_panel`` says that its card-to-panel figure is in it.
    """

    angle: int | None
    master: Sequence[Lab]
    card: Sequence[Lab]
    limit: float
    master_uncertainty: float | None = None
    card_uncertainty: float | None = None
    joint_covariance: Matrix | None = None
    added_variance: float = 0.0
    to_panel: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Decision:
    """What the numbers say; the figures are of the angle that decides, the worst one.

    ``difference`` is card less master (ΔL*, Δa*, Δb*); ``low`` and ``high`` bound 95 % of
    where ΔE00 lies; ``angles`` holds the working of every angle as plain data.
    """

    word: Word
    angle: int | None
    limit: float
    difference: Lab
    delta_e_2000: float
    low: float | None
    high: float | None
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
    """What came of laying two specimens side by side.

    ``note`` says what the answer holds under, where that is not a matter of course.
    """

    word: Word
    reasons: tuple[Reason, ...]
    decision: Decision | None
    look: int
    reading_ids: tuple[str, ...]
    next_step: str
    note: str = ""

    def limit(self, otherwise: float) -> float:
        """The limit at the angle that decided, or the other where nothing was decided."""
        return otherwise if self.decision is None else self.decision.limit


def decide(
    questions: Sequence[AngleQuestion],
    *,
    risk: float,
    look: int = 1,
    planned_looks: int = 3,
) -> Decision:
    """Answer every angle by itself; the worst decides.

    `blends` needs every angle at the full risk of the look; `shows` from any of k angles uses
    the k-th part of it.
    """
    from colour.decision import LookPlan, judge_angles

    share = LookPlan(risk=risk, planned=planned_looks).risk_of_look(look)
    named = {_name(question): question for question in questions}
    judged = judge_angles(
        {name: _difference(question) for name, question in named.items()},
        required=list(named),
        limit={name: question.limit for name, question in named.items()},
        # Past the planned looks nothing is left to spend, and the answer says so.
        risk=share or risk / planned_looks,
        look=look,
        planned_looks=planned_looks,
    )
    worst, one = named[str(judged.worst)], judged.angles[judged.worst]
    delta = one.difference.mean
    reach = one.interval
    next_step = (one.next_step if worst.angle is None else judged.next_step) or ""
    return Decision(
        word=Word(judged.verdict.value),
        angle=worst.angle,
        limit=worst.limit,
        difference=(float(delta[0]), float(delta[1]), float(delta[2])),
        delta_e_2000=one.delta_e_2000,
        low=reach.low if reach else None,
        high=reach.high if reach else None,
        standard_uncertainty=one.standard_uncertainty,
        p_blends=one.p_blends,
        p_shows=one.p_shows,
        power_at_zero=one.power_at_zero,
        over_five=one.delta_e_ab > SMALL_DIFFERENCE,
        words=_words(one.difference),
        why=(one.explanation or "") if judged.verdict.value == Word.CANNOT_TELL else "",
        next_step=next_step,
        risk_spent=share,
        angles=tuple(
            {"angle": question.angle, **judged.angles[name].as_dict(complete=False)}
            for name, question in named.items()
        ),
    )


def _name(question: AngleQuestion) -> str:
    return "the only angle" if question.angle is None else f"{question.angle}°"


def _difference(question: AngleQuestion) -> UncertainDifference:
    from colour.uncertain_difference import UncertainDifference
    from colour.uncertainty import UncertainColour

    master, card = (
        UncertainColour.from_repeats(repeats, standard_uncertainty=figure)
        for repeats, figure in (
            (question.master, question.master_uncertainty),
            (question.card, question.card_uncertainty),
        )
    )
    between = UncertainDifference.between(master, card)
    if question.joint_covariance is not None:
        between = UncertainDifference.of(master.mean, between.mean, question.joint_covariance)
    if question.added_variance:
        between = between.widened(
            standard_uncertainty=question.added_variance**0.5, to_panel=question.to_panel
        )
    return between


def _words(difference: UncertainDifference) -> str:
    """The direction in words, empty when none stands out."""
    from colour.words import directions, words

    master = difference.reference.tolist()
    card = (difference.reference + difference.mean).tolist()
    return words(master, card) if directions(master, card) else ""
