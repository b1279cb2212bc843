"""The three-way decision: whether a difference blends, shows, or cannot be told.

`blends` and `shows` each have a stated chance of being wrong, held against the least favourable
truth at the limit; `blends` moreover needs a measurement that could have told.
"""

from __future__ import annotations

from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from colour.difference import delta_e_2000, delta_e_ab
from colour.judgement import Interval, Judgement, Reason, Verdict
from colour.looks import LookPlan, check_risk
from colour.next_step import Outlook
from colour.uncertain_difference import UncertainDifference
from colour.uncertainty import History, UncertainColour
from colour.weighing import LEAST_POWER, is_judgeable, standard_uncertainty, weigh

__all__ = [
    "AnglesJudgement",
    "History",
    "Interval",
    "Judgement",
    "LookPlan",
    "Outlook",
    "Reason",
    "UncertainColour",
    "UncertainDifference",
    "Verdict",
    "judge",
    "judge_angles",
    "judge_difference",
]

# The formula is meant for small differences; ASTM D2244 gives it up to 5 ΔE*ab.
SMALL_DIFFERENCE = 5.0


def judge(
    master: ArrayLike,
    card: ArrayLike,
    *,
    limit: float,
    risk: float = 0.05,
    standard_uncertainty: ArrayLike | None = None,
    history: History | None = None,
    added_covariance: ArrayLike | None = None,
    display_step: float | None = None,
    look: int = 1,
    planned_looks: int = 1,
) -> Judgement:
    """Judge a card's repeat readings against a master's.

    Parameters
    ----------
    master, card : array_like, shape (n, 3) and (m, 3)
        CIELAB readings, a row each; one reading may be (3,).
    limit : float
        ΔE00 at which a difference begins to show.
    risk : float
        What this one judgement may spend: the largest chance of a wrong `blends`, and of a
        wrong `shows`. A look takes its share from `LookPlan.risk_of_look`.
    standard_uncertainty : float or array_like of shape (3,), optional
        Independent standard uncertainty, per channel, of one reading; see
        `UncertainColour.from_repeats`. Without it the scatter of the repeats is all there is.
    history : History, optional
        Earlier scatter of this instrument on this finish.
    added_covariance : array_like, shape (3, 3), optional
        Known covariance that readings do not lessen.
    display_step : float, optional
        Step of the instrument's display, where it is not 0.01.
    look, planned_looks : int
        Which look at this comparison this is, and how many were planned.
    """
    from_repeats = UncertainColour.from_repeats
    sides = [
        from_repeats(
            readings,
            standard_uncertainty=standard_uncertainty,
            history=history,
            display_step=display_step,
            name=name,
        )
        for readings, name in ((master, "master"), (card, "card"))
    ]
    for side, name in zip(sides, ("master", "card"), strict=True):
        if side.mean.ndim != 1:
            raise ValueError(
                f"{name} must be rows of L*, a*, b* of one surface, shape (n, 3), got "
                f"{np.shape(master if name == 'master' else card)}; judge surfaces one by one"
            )
    difference = UncertainDifference.between(*sides)
    if added_covariance is not None:
        difference = difference.widened(covariance=added_covariance)
    return judge_difference(
        difference, limit=limit, risk=risk, look=look, planned_looks=planned_looks
    )


def judge_difference(
    difference: UncertainDifference,
    *,
    limit: float,
    risk: float = 0.05,
    shows_risk: float | None = None,
    look: int = 1,
    planned_looks: int = 1,
) -> Judgement:
    """Judge one uncertain difference: of readings, of a frame, or across a joint.

    `blends` when the largest chance, over all truths at the limit, of a difference as small as
    the one seen is below the risk, and a measurement as good as this would have said so for no
    difference in half of all cases at least. `shows` when the largest chance of one as large is
    below `shows_risk` (the same risk unless given). Else it cannot be told.
    """
    if not (np.isfinite(limit) and limit > 0):
        raise ValueError(f"limit must be finite and above 0, got {limit}; 0.8 is the default")
    check_risk(risk)
    shows_risk = risk if shows_risk is None else shows_risk
    check_risk(shows_risk)
    if look < 1 or planned_looks < 1:
        raise ValueError(f"looks count from 1, got look {look} of {planned_looks}")
    if difference.mean.shape != (3,):
        raise ValueError(
            f"difference must be one difference of shape (3,), got {difference.mean.shape}; "
            "judge them one by one"
        )
    # Plain numbers take the short path of one pair.
    pair = difference.reference.tolist(), (difference.reference + difference.mean).tolist()
    seen, plain = float(delta_e_2000(*pair)), float(delta_e_ab(*pair))
    degrees = float(difference.degrees_of_freedom)
    some_noise = bool(difference.covariance.any())
    p_blends = p_shows = power = None
    if is_judgeable(difference):
        if not some_noise:
            raise ValueError(
                "the covariance is zero, and no measurement is exact; state its uncertainty"
            )
        weighed = weigh(difference, limit=limit, risk=risk, seen=np.array([seen]))
        # Processors differ in the last bits; nine decimals are the same on all.
        p_blends, p_shows, power = (
            round(float(figure[0]), 9)
            for figure in (weighed.p_blends, weighed.p_shows, weighed.power_at_zero)
        )
    verdict, reasons = _decide(p_blends, p_shows, power, risk, shows_risk)
    if look > planned_looks:
        verdict, reasons = Verdict.CANNOT_TELL, (Reason.LOOKS_SPENT,)
    return Judgement(
        verdict=verdict,
        reasons=reasons,
        delta_e_2000=seen,
        delta_e_ab=plain,
        standard_uncertainty=standard_uncertainty(difference) if degrees and some_noise else None,
        limit=float(limit),
        risk=float(risk),
        shows_risk=float(shows_risk),
        p_blends=p_blends,
        p_shows=p_shows,
        power_at_zero=power,
        degrees_of_freedom=round(degrees, 6) if np.isfinite(degrees) else None,
        different_colour=verdict is Verdict.SHOWS and plain > SMALL_DIFFERENCE,
        look=look,
        planned_looks=planned_looks,
        notes=difference.notes,
        difference=difference,
    )


def _decide(
    p_blends: float | None,
    p_shows: float | None,
    power: float | None,
    risk: float,
    shows_risk: float,
) -> tuple[Verdict, tuple[Reason, ...]]:
    if p_blends is None or p_shows is None or power is None:
        return Verdict.CANNOT_TELL, (Reason.TOO_FEW_READINGS,)
    if p_shows < shows_risk:
        return Verdict.SHOWS, ()
    if power < LEAST_POWER:
        return Verdict.CANNOT_TELL, (Reason.TOO_COARSE,)
    if p_blends < risk:
        return Verdict.BLENDS, ()
    return Verdict.CANNOT_TELL, (Reason.UNDECIDED,)


@dataclass(frozen=True, kw_only=True)
class AnglesJudgement:
    """A verdict over all required angles, with each angle's own."""

    verdict: Verdict
    reasons: tuple[Reason, ...]
    angles: dict[Hashable, Judgement]
    missing: tuple[Hashable, ...]
    worst: Hashable | None  # the angle that decided; None when none was measured

    @property
    def next_step(self) -> str | None:
        """What to do about a verdict that cannot be given, in words; None when it is given."""
        if self.verdict is not Verdict.CANNOT_TELL:
            return None
        if self.missing:
            names = ", ".join(str(angle) for angle in self.missing)
            return f"Measure the missing angle{'s' if len(self.missing) > 1 else ''}: {names}."
        assert self.worst is not None
        step = f"At {self.worst}: {self.angles[self.worst].next_step}"
        # What settles the worst angle need not settle the others that are open.
        others = [
            str(angle)
            for angle, one in self.angles.items()
            if angle != self.worst and one.verdict is Verdict.CANNOT_TELL
        ]
        return f"{step} Not settled at {' and '.join(others)} either." if others else step

    def as_dict(self, *, complete: bool = True) -> dict[str, Any]:
        """Plain data for a record or JSON; angles become text."""
        return {
            "verdict": self.verdict.value,
            "reasons": [reason.value for reason in self.reasons],
            "worst": None if self.worst is None else str(self.worst),
            "missing": [str(angle) for angle in self.missing],
            "next_step": self.next_step if complete else None,
            "angles": {
                str(angle): one.as_dict(complete=complete) for angle, one in self.angles.items()
            },
        }


def judge_angles(
    differences: Mapping[Any, UncertainDifference | None],
    *,
    required: Sequence[Hashable],
    limit: float | Mapping[Any, float],
    risk: float = 0.05,
    look: int = 1,
    planned_looks: int = 1,
) -> AnglesJudgement:
    """Judge every required angle by itself; the worst decides.

    `blends` needs every one of the k angles at the full risk: a wrong word then needs a wrong
    one at the angle that differs. `shows` at any of them uses risk/k, for there are k chances of
    it. With an angle missing it cannot be told, but a different colour at any angle is one.
    ``limit`` is one ΔE00 for all angles, or one for each; the worst is the angle furthest towards
    `shows`, a different colour before all, and among equal words the one with the largest
    difference for its limit.
    """
    if not required:
        raise ValueError("required must name one angle at least, got none")
    limits = limit if isinstance(limit, Mapping) else dict.fromkeys(required, limit)
    without = [angle for angle in required if angle not in limits]
    if without:
        raise ValueError(f"limit must name every required angle, and {without[0]} is not there")
    measured: dict[Hashable, Judgement] = {}
    for angle in dict.fromkeys(required):
        difference = differences.get(angle)
        if difference is not None:
            measured[angle] = judge_difference(
                difference,
                limit=limits[angle],
                risk=risk,
                shows_risk=risk / len(set(required)),
                look=look,
                planned_looks=planned_looks,
            )
    missing = tuple(angle for angle in dict.fromkeys(required) if angle not in measured)
    severity = [Verdict.BLENDS, Verdict.CANNOT_TELL, Verdict.SHOWS]
    worst = max(
        measured,
        key=lambda angle: (
            severity.index(measured[angle].verdict),
            measured[angle].different_colour,
            measured[angle].delta_e_2000 / measured[angle].limit,
        ),
        default=None,
    )
    verdict: Verdict = Verdict.CANNOT_TELL
    reasons: tuple[Reason, ...] = (Reason.ANGLE_MISSING,)
    if worst is not None and (not missing or measured[worst].different_colour):
        verdict, reasons = measured[worst].verdict, measured[worst].reasons
    elif worst is not None:
        others = (reason for one in measured.values() for reason in one.reasons)
        reasons = tuple(dict.fromkeys((*reasons, *others)))
    return AnglesJudgement(
        verdict=verdict, reasons=reasons, angles=measured, missing=missing, worst=worst
    )
