"""Uncertain colours: what repeat readings say, and how well they say it.

Two kinds of covariance are kept apart. A *known* one was stated or certified; the noise is
normal. A *scatter* was estimated from repeats with ν degrees of freedom, and enters every later
chance as a t scale.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Self

import numpy as np
from numpy.typing import ArrayLike

from colour.arrays import Floats, as_lab, check_finite
from colour.scatter import (
    as_covariance,
    contradicts,
    effective_channels,
    is_large_ratio,
    raised,
    spread_of,
    stated_variance,
)

# Lab is displayed to 0.01 at best; a coarser display is recognised from the readings.
_DISPLAY_STEPS = (0.1, 0.01)

SCATTER_EXCEEDS_STATED = "scatter_exceeds_stated"
SCATTER_EXCEEDS_HISTORY = "scatter_exceeds_history"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class History:
    """Scatter of single readings seen earlier with this instrument on this finish.

    Give both sides of a difference the same object; it is pooled once.
    """

    covariance: Floats  # (3, 3), of one reading
    degrees_of_freedom: float

    def __post_init__(self) -> None:
        object.__setattr__(self, "covariance", as_covariance(self.covariance, "history"))
        if not self.degrees_of_freedom > 0:
            raise ValueError(
                "degrees_of_freedom of a history must be above 0, "
                f"got {self.degrees_of_freedom}; leave the history out"
            )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class UncertainColour:
    """The mean of repeat readings of one colour, with what is known of their noise.

    Leading axes of the arrays, where there are any, are separate colours.
    """

    mean: Floats  # (..., 3), CIELAB
    n: int
    known: Floats  # (..., 3, 3), of one reading
    scatter: Floats  # (..., 3, 3), of one reading
    degrees_of_freedom: Floats  # (...), of the scatter; 0 when nothing is known of the noise
    rounding: float = 0.0  # variance, per channel, that averaging does not lessen
    history: History | None = None
    notes: tuple[str, ...] = ()

    @classmethod
    def from_repeats(
        cls,
        readings: ArrayLike,
        *,
        standard_uncertainty: ArrayLike | None = None,
        history: History | None = None,
        display_step: float | None = None,
        name: str = "readings",
    ) -> Self:
        """Average repeat readings and keep their scatter.

        Parameters
        ----------
        readings : array_like, shape (..., n, 3)
            CIELAB readings of one surface, taken after lifting the instrument.
        standard_uncertainty : float or array_like of shape (3,), optional
            Independent standard uncertainty of one reading, per channel. With it the covariance
            of one reading is the larger of the scatter and U² in every direction: along the
            principal axes of the scatter, in units of U, whatever lies below 1 is raised to 1.
            (Channel by channel would leave false certainty in slanting directions, of which few
            repeats have one at least.) The result counts as known, unless the scatter
            contradicts U (chi-square at 1 %); then what exceeds U counts as scatter.
        history : History, optional
            Earlier scatter, pooled with the one seen unless that is larger (F test at 1 %).
        display_step : float, optional
            Step of the instrument's display, above 0. Without a stated uncertainty no mean is
            taken to be better than the rounding of one reading, step/√12, however alike the
            repeats. Default: 0.1 when every reading is a multiple of it, else 0.01.
        name : str
            What the caller calls the readings, for messages.
        """
        readings = as_lab(readings, name)
        if readings.ndim == 1:
            readings = readings[None]
        n = readings.shape[-2]
        if readings.size == 0:
            raise ValueError(f"{name} must hold one reading at least, got none")
        check_finite(readings, name)
        mean = readings.mean(axis=-2)
        deviation = readings - mean[..., None, :]
        scatter = deviation.swapaxes(-1, -2) @ deviation / max(n - 1, 1)
        degrees = np.full(mean.shape[:-1], n - 1.0)
        if standard_uncertainty is None:
            step = _display_step(readings) if display_step is None else display_step
            if not (np.isfinite(step) and step > 0):
                raise ValueError(
                    f"display_step must be finite and above 0, got {step}; 0.01 is usual"
                )
            return cls(
                mean=mean,
                n=n,
                known=np.zeros_like(scatter),
                scatter=scatter,
                degrees_of_freedom=degrees,
                rounding=step**2 / 12,
                history=history,
            )
        stated = np.diag(stated_variance(standard_uncertainty))
        scatter, degrees, notes = pool_history(scatter, degrees, history)
        whole = raised(scatter, stated)
        contradicted = contradicts(scatter, degrees, stated)
        excess = np.where(contradicted[..., None, None], whole - stated, 0.0)
        if contradicted.any():
            notes = (*notes, SCATTER_EXCEEDS_STATED)
        return cls(
            mean=mean,
            n=n,
            known=whole - excess,
            scatter=excess,
            degrees_of_freedom=np.where(contradicted, degrees, np.inf),
            notes=notes,
        )

    @classmethod
    def from_mean(cls, mean: ArrayLike, covariance: ArrayLike, *, n: int = 1) -> Self:
        """A colour whose mean of `n` readings has a known covariance, (3, 3)."""
        lab = as_lab(mean, "mean")
        check_finite(lab, "mean")
        of_one = as_covariance(covariance, "covariance") * n
        return cls(
            mean=lab,
            n=n,
            known=of_one,
            scatter=np.zeros_like(of_one),
            degrees_of_freedom=np.full(lab.shape[:-1], np.inf),
        )

    @property
    def is_stated(self) -> bool:
        """Whether the noise was stated rather than estimated from these readings."""
        return bool(self.known.any() or np.isinf(self.degrees_of_freedom).all())

    @property
    def covariance(self) -> Floats:
        """Best estimate of the covariance of the mean, (..., 3, 3)."""
        scatter, _, _ = pool_history(self.scatter, self.degrees_of_freedom, self.history)
        return raised((self.known + scatter) / self.n, self.rounding * np.eye(3))

    def after_more(self, readings: int) -> Self:
        """The same colour as so many further readings would leave it, if they scatter alike."""
        estimated = np.isfinite(self.degrees_of_freedom)
        return replace(
            self,
            n=self.n + readings,
            degrees_of_freedom=self.degrees_of_freedom + np.where(estimated, readings, 0),
        )


def pooled_history(sets: Iterable[ArrayLike]) -> History:
    """The scatter of single readings over sets of repeats, each of one surface, (n, 3)."""
    squares, degrees = np.zeros((3, 3)), 0.0
    for number, readings in enumerate(sets, 1):
        lab = np.atleast_2d(as_lab(readings, f"set {number}"))
        check_finite(lab, f"set {number}")
        deviation = lab - lab.mean(axis=0)
        squares += deviation.T @ deviation
        degrees += len(lab) - 1
    if not degrees:
        raise ValueError("a history needs repeats, got single readings only; leave it out")
    return History(covariance=squares / degrees, degrees_of_freedom=degrees)


def pool_history(
    scatter: Floats, degrees: Floats, history: History | None
) -> tuple[Floats, Floats, tuple[str, ...]]:
    """Scatter and degrees of freedom with the history's, where the two agree."""
    if history is None:
        return scatter, degrees, ()
    earlier = history.degrees_of_freedom
    total = degrees + earlier
    pooled = scatter * degrees[..., None, None] + history.covariance * earlier
    pooled = pooled / total[..., None, None]
    larger = (degrees > 0) & is_large_ratio(
        spread_of(scatter),
        spread_of(history.covariance),
        degrees * effective_channels(scatter + history.covariance),
        earlier * effective_channels(history.covariance),
    )
    if not larger.any():
        return pooled, total, ()
    return (
        np.where(larger[..., None, None], scatter, pooled),
        np.where(larger, degrees, total),
        (SCATTER_EXCEEDS_HISTORY,),
    )


def _display_step(readings: Floats) -> float:
    for step in _DISPLAY_STEPS:
        steps = readings / step
        if (np.abs(steps - np.round(steps)) < 1e-6).all():
            return step
    return _DISPLAY_STEPS[-1]
