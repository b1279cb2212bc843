"""Looking again spends risk: how one risk is shared among the looks at a comparison."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True, slots=True, kw_only=True)
class LookPlan:
    """A risk for a whole comparison, shared among the looks planned for it.

    Each look may err with its own share at most, and the shares add up to no more than the
    risk. So the chance of a wrong word at any look stays below it, however the looks depend on
    each other (they share readings) and whatever made the shop look again.
    """

    risk: float = 0.05
    planned: int = 3
    shares: tuple[float, ...] | None = None  # of the risk, look by look; equal when None

    def __post_init__(self) -> None:
        check_risk(self.risk)
        if self.planned < 1:
            raise ValueError(f"planned must be one look at least, got {self.planned}")
        if self.shares is None:
            return
        if len(self.shares) != self.planned:
            raise ValueError(
                f"shares must name a share for each of the {self.planned} planned looks, "
                f"got {len(self.shares)}"
            )
        if min(self.shares) <= 0 or sum(self.shares) > 1 + 1e-12:
            raise ValueError(
                f"shares must each be above 0 and add up to 1 at most, got {self.shares}"
            )

    def risk_of_look(self, look: int) -> float:
        """What look number `look`, from 1, may spend; 0 once the planned looks are spent."""
        if look < 1:
            raise ValueError(f"look counts from 1, got {look}")
        if look > self.planned:
            return 0.0
        share = 1 / self.planned if self.shares is None else self.shares[look - 1]
        return self.risk * share


def check_risk(risk: float) -> None:
    """Refuse a risk that is none or a toss-up."""
    if not (np.isfinite(risk) and 0 < risk < 0.5):
        raise ValueError(f"risk must lie between 0 and 0.5, got {risk}; 0.05 is usual")
