"""The bridge to the colour science: from repeats at each angle to one of three words."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
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
    """Answer every angle by itself; the worst decides."""
    raise NotImplementedError
