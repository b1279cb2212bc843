"""What a judgement says: the verdict, its reasons, and the figures it rests on."""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import Enum
from functools import cached_property
from typing import Any

import numpy as np

from colour.least_favourable import range_of_difference
from colour.next_step import Outlook, outlook
from colour.uncertain_difference import UncertainDifference
from colour.weighing import flat_parts

_INTERVAL_TAIL = 0.025


class Verdict(Enum):
    """The answer, as the shop reads it."""

    BLENDS = "blends"
    SHOWS = "shows"
    CANNOT_TELL = "cannot_tell"


class Reason(Enum):
    """Why it cannot be told."""

    TOO_FEW_READINGS = "too_few_readings"
    TOO_COARSE = "too_coarse"
    UNDECIDED = "undecided"
    LOOKS_SPENT = "looks_spent"
    ANGLE_MISSING = "angle_missing"


@dataclass(frozen=True, slots=True, kw_only=True)
class Interval:
    """The true ΔE00 that the readings do not speak against, at 95 %."""

    low: float
    high: float


@dataclass(frozen=True, kw_only=True)
class Judgement:
    """A verdict on one difference, with the figures it rests on."""

    verdict: Verdict
    reasons: tuple[Reason, ...]  # why it cannot be told; empty otherwise
    delta_e_2000: float
    delta_e_ab: float
    standard_uncertainty: float | None  # of the ΔE00; None when nothing is known of the noise
    limit: float
    risk: float  # of a wrong `blends`
    shows_risk: float  # of a wrong `shows`; a share of the risk where angles are judged together
    p_blends: float | None  # largest chance, over truths at the limit, of so small a difference
    p_shows: float | None  # the same of one as large
    power_at_zero: float | None  # chance of answering `blends` when nothing differs
    degrees_of_freedom: float | None  # of the scatter; None when the noise was stated
    different_colour: bool  # shows, and beyond the differences the formula is meant for
    look: int
    planned_looks: int
    notes: tuple[str, ...]
    difference: UncertainDifference = field(repr=False, compare=False)

    @cached_property
    def interval(self) -> Interval | None:
        """95 % interval of the true ΔE00, by inversion of the same tests; worked out when asked."""
        if self.p_blends is None:
            return None
        reference, mean, noise = flat_parts(self.difference)
        seen = np.array([self.delta_e_2000])
        low, high = range_of_difference(reference, noise, mean, seen, _INTERVAL_TAIL)
        return Interval(low=round(float(low[0]), 6), high=round(float(high[0]), 6))

    @cached_property
    def outlook(self) -> Outlook | None:
        """What more readings would do; None when it is settled or no look is left."""
        if self.verdict is not Verdict.CANNOT_TELL or self._no_look_left:
            return None
        return outlook(
            self.difference,
            limit=self.limit,
            blends_risk=self.risk,
            shows_risk=self.shows_risk,
        )

    @property
    def next_step(self) -> str | None:
        """What to do about a verdict that cannot be given, in words; None when it is given."""
        if self.verdict is not Verdict.CANNOT_TELL:
            return None
        if self._no_look_left:
            return (
                f"More readings will not settle this: all {self.planned_looks} planned looks "
                "are taken."
            )
        found = self.outlook
        return found.words if found else None

    @property
    def _no_look_left(self) -> bool:
        # A single judgement on its own plans no looks; its risk is the caller's affair.
        return self.look >= self.planned_looks > 1

    @property
    def explanation(self) -> str | None:
        """Why it cannot be told, or that it is a different colour, in words."""
        if self.different_colour:
            return "A different colour."
        said = [_IN_WORDS[reason].format(judgement=self) for reason in self.reasons]
        return " ".join(said) or None

    def as_dict(self, *, complete: bool = True) -> dict[str, Any]:
        """Plain data for a record or JSON; without `complete` what takes longer is left out."""
        evidence: dict[str, Any] = {
            "verdict": self.verdict.value,
            "reasons": [reason.value for reason in self.reasons],
            "delta_e_2000": self.delta_e_2000,
            "delta_e_ab": self.delta_e_ab,
            "standard_uncertainty": self.standard_uncertainty,
            "limit": self.limit,
            "risk": self.risk,
            "shows_risk": self.shows_risk,
            "p_blends": self.p_blends,
            "p_shows": self.p_shows,
            "power_at_zero": self.power_at_zero,
            "degrees_of_freedom": self.degrees_of_freedom,
            "different_colour": self.different_colour,
            "look": self.look,
            "planned_looks": self.planned_looks,
            "risk_is_about": "panel" if self.difference.of_panel else "card",
            "difference": self.difference.mean.tolist(),
            "covariance": self.difference.covariance.tolist(),
            "notes": list(self.notes),
            "explanation": self.explanation,
        }
        if complete:
            reach, ahead = self.interval, self.outlook
            evidence["interval"] = [reach.low, reach.high] if reach else None
            evidence["next_step"] = self.next_step
            evidence["outlook"] = ahead and {
                "chance": ahead.chance,
                "settles": ahead.settles,
                "more_of_master": ahead.more_of_master,
                "more_of_card": ahead.more_of_card,
                "more_of_both": ahead.more_of_both,
            }
        return evidence


_IN_WORDS = {
    Reason.TOO_FEW_READINGS: "Too few readings to judge their own noise.",
    Reason.TOO_COARSE: "This measurement is too coarse for a limit of {judgement.limit:g}.",
    Reason.UNDECIDED: "The difference is too near the limit of {judgement.limit:g} for its noise.",
    Reason.LOOKS_SPENT: "The {judgement.planned_looks} planned looks are spent.",
}
