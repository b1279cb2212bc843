"""Uncertain differences: between two colours, within a frame, or across a joint."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Self

import numpy as np
from numpy.typing import ArrayLike

from colour.arrays import Floats, as_lab, check_finite
from colour.scatter import (
    DISTRUST,
    Flags,
    as_covariance,
    as_matrix,
    effective_channels,
    is_large_ratio,
    raised,
    satterthwaite,
    spread_of,
    stated_variance,
)
from colour.uncertainty import UncertainColour, pool_history

SCATTER_UNLIKE = "scatter_unlike"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class UncertainDifference:
    """A Lab difference from a reference colour, with the covariance of its noise in three parts."""

    reference: Floats  # (..., 3): the colour it starts from
    mean: Floats  # (..., 3)
    known: Floats  # (..., 3, 3): known noise of the readings
    scatter: Floats  # (..., 3, 3): noise of the readings estimated from repeats
    degrees_of_freedom: Floats  # (...): of the scatter; 0 when nothing is known of the noise
    fixed: Floats  # (..., 3, 3): known, and not lessened by further readings
    stated: bool  # whether the noise of the readings was stated, not estimated from them
    sides: tuple[UncertainColour, UncertainColour] | None = None
    of_panel: bool = False  # whether a card-to-panel figure is in `fixed`
    notes: tuple[str, ...] = ()

    @classmethod
    def between(
        cls,
        master: UncertainColour,
        card: UncertainColour,
        *,
        cross_covariance: ArrayLike | None = None,
    ) -> Self:
        """The card's difference from the master, read separately.

        Scatters estimated on both sides are one instrument's and are pooled, ν = n₁ + n₂ − 2
        and what the history adds. When one side scatters clearly more (F test at 1 %) each
        keeps its own, and ν is Welch's and Satterthwaite's.

        Parameters
        ----------
        master, card : UncertainColour
            The two sides.
        cross_covariance : array_like, shape (3, 3), optional
            Known covariance of the errors of the two means, which the difference loses: rows
            belong to the master.
        """
        known = master.known / master.n + card.known / card.n
        scatter, degrees, notes = _scatter_of_difference(master, card)
        if cross_covariance is not None:
            shared = as_matrix(cross_covariance, "cross_covariance")
            known = known - shared - shared.T
            if np.linalg.eigvalsh(known + scatter).min() < 0:
                raise ValueError(
                    "cross_covariance is larger than the covariances of the two colours allow; "
                    "give the joint covariance as it was fitted"
                )
        return cls(
            reference=master.mean,
            mean=card.mean - master.mean,
            known=known,
            scatter=scatter,
            degrees_of_freedom=degrees,
            fixed=np.zeros((3, 3)),
            stated=master.is_stated and card.is_stated,
            sides=(master, card),
            notes=tuple(dict.fromkeys((*master.notes, *card.notes, *notes))),
        )

    @classmethod
    def in_frame(
        cls,
        master: ArrayLike,
        card: ArrayLike,
        joint_covariance: ArrayLike,
        *,
        degrees_of_freedom: float = np.inf,
    ) -> Self:
        """Difference of two colours of one frame, from their joint covariance (6, 6).

        The first three rows belong to the master. With finite `degrees_of_freedom` the
        covariance was estimated and enters as a t scale.
        """
        joint = as_matrix(joint_covariance, "joint_covariance", 6)
        contrast = np.hstack([-np.eye(3), np.eye(3)])
        start = as_lab(master, "master")
        return cls.of(
            start,
            as_lab(card, "card") - start,
            contrast @ joint @ contrast.T,
            degrees_of_freedom=degrees_of_freedom,
        )

    @classmethod
    def of(
        cls,
        reference: ArrayLike,
        difference: ArrayLike,
        covariance: ArrayLike,
        *,
        degrees_of_freedom: float = np.inf,
    ) -> Self:
        """A difference (3,) from a reference colour (3,), with its covariance (3, 3)."""
        start, mean = as_lab(reference, "reference"), as_lab(difference, "difference")
        check_finite(start, "reference")
        check_finite(mean, "difference")
        noise = as_covariance(covariance, "covariance")
        estimated = np.isfinite(degrees_of_freedom)
        return cls(
            reference=start,
            mean=mean,
            known=np.zeros_like(noise) if estimated else noise,
            scatter=noise if estimated else np.zeros_like(noise),
            degrees_of_freedom=np.asarray(float(degrees_of_freedom)),
            fixed=np.zeros((3, 3)),
            stated=not estimated,
        )

    def through_shared_master(self, other: Self) -> Self:
        """From this difference's colour to the other's, both taken from one physical master.

        Lab vectors are subtracted and covariances added, as for readings of different days. The
        same readings of the master in both would make the true noise smaller, never larger.
        """
        degrees = satterthwaite(
            (self.scatter, self.degrees_of_freedom), (other.scatter, other.degrees_of_freedom)
        )
        return replace(
            self,
            reference=self.reference + self.mean,
            mean=other.mean - self.mean,
            known=self.known + other.known,
            scatter=self.scatter + other.scatter,
            degrees_of_freedom=degrees,
            fixed=self.fixed + other.fixed,
            stated=self.stated and other.stated,
            sides=None,
            of_panel=self.of_panel and other.of_panel,
            notes=tuple(dict.fromkeys((*self.notes, *other.notes))),
        )

    def widened(
        self,
        *,
        covariance: ArrayLike | None = None,
        standard_uncertainty: ArrayLike | None = None,
        to_panel: bool = False,
    ) -> Self:
        """Add a known uncertainty that further readings do not lessen.

        Parameters
        ----------
        covariance : array_like, shape (3, 3), optional
            Of the difference, in squared CIELAB units.
        standard_uncertainty : float or array_like of shape (3,), optional
            The same as independent channels: a shop's allowance, or two instruments' disagreement.
        to_panel : bool
            Whether this is how far a card may stand from its panel, so that the risk is about
            the panel from now on.
        """
        added = np.zeros((3, 3))
        if covariance is not None:
            added = added + as_covariance(covariance, "covariance")
        if standard_uncertainty is not None:
            added = added + np.diag(stated_variance(standard_uncertainty))
        return replace(self, fixed=self.fixed + added, of_panel=self.of_panel or to_panel)

    @property
    def covariance(self) -> Floats:
        """Best estimate of the covariance of the difference, (..., 3, 3)."""
        return self.fixed + self.known + self.scatter


def _scatter_of_difference(
    master: UncertainColour, card: UncertainColour
) -> tuple[Floats, Floats, tuple[str, ...]]:
    rounding = (master.rounding + card.rounding) * np.eye(3)
    if master.is_stated or card.is_stated:
        parts: list[tuple[Floats, Floats]] = []
        notes: tuple[str, ...] = ()
        for side in (master, card):
            scatter, degrees, more = pool_history(
                side.scatter, side.degrees_of_freedom, side.history
            )
            parts.append((raised(scatter / side.n, side.rounding * np.eye(3)), degrees))
            notes = (*notes, *more)
        return parts[0][0] + parts[1][0], satterthwaite(*parts), notes

    degrees = master.degrees_of_freedom + card.degrees_of_freedom
    pooled = (
        master.scatter * master.degrees_of_freedom[..., None, None]
        + card.scatter * card.degrees_of_freedom[..., None, None]
    ) / np.maximum(degrees, 1.0)[..., None, None]
    unlike = np.zeros(degrees.shape, dtype=bool)
    if master.n > 1 and card.n > 1:
        # The rounding keeps two displays that hardly move from being called unlike.
        unlike = _exceeds(master, card, pooled) | _exceeds(card, master, pooled)
    notes = (SCATTER_UNLIKE,) if unlike.any() else ()
    for history in dict.fromkeys((master.history, card.history)):
        pooled, degrees, more = pool_history(pooled, degrees, history)
        notes = (*notes, *more)
    together = raised(pooled * (1 / master.n + 1 / card.n), rounding)
    own = [(side.scatter / side.n, side.degrees_of_freedom) for side in (master, card)]
    apart = own[0][0] + own[1][0]
    if master.history is None and card.history is None:
        # A quiet side read often must not vouch for a restless one read seldom.
        together = raised(apart, together)
    scatter = np.where(unlike[..., None, None], raised(apart, rounding), together)
    return scatter, np.where(unlike, satterthwaite(*own), degrees), notes


def _exceeds(one: UncertainColour, other: UncertainColour, pooled: Floats) -> Flags:
    channels = effective_channels(pooled)
    return is_large_ratio(
        spread_of(one.scatter) + 3 * one.rounding,
        spread_of(other.scatter) + 3 * other.rounding,
        one.degrees_of_freedom * channels,
        other.degrees_of_freedom * channels,
        chance=DISTRUST / 2,
    )
