"""Where a colour lies along the steps of a let-down panel, and how surely."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from colour.arrays import Floats, as_lab, check_finite
from colour.difference import delta_e_2000
from colour.quadratic_form import local_form

_FINE = 200
"""Places tried between two steps; the best is then refined."""


@dataclass(frozen=True, kw_only=True)
class AlongSteps:
    """Where a colour lies: ``coats`` mid-coats, a number between the first and the last step.

    ``standard_uncertainty`` is of ``coats``, None where nothing is known of the noise or the
    steps do not differ there. ``delta_e_2000``, shape (angles,), is what is left between the
    colour and the steps' own line at that place, which no number of coats takes away;
    ``difference``, shape (angles, 3), is the colour less the line. ``before`` and ``after`` say
    that the line would have to go on past its first or last step to come nearer.
    """

    coats: float
    standard_uncertainty: float | None
    delta_e_2000: Floats
    difference: Floats
    before: bool
    after: bool


def along_steps(
    coats: ArrayLike,
    steps: ArrayLike,
    colour: ArrayLike,
    *,
    step_uncertainty: ArrayLike | None = None,
    colour_uncertainty: ArrayLike | None = None,
) -> AlongSteps:
    """Find the number of mid-coats whose colour comes nearest, over all angles at once.

    Between two steps the colour is taken to lie on the straight line in CIELAB, at every angle
    at the same share of the way; nearest is the smallest sum of ΔE00² over the angles. The
    uncertainty is that of the place along the line, to first order, in the metric of ΔE00.

    Parameters
    ----------
    coats : array_like, shape (n,)
        Mid-coats of each step, ascending; two steps at least.
    steps : array_like, shape (n, angles, 3)
        Mean CIELAB of each step at each angle.
    colour : array_like, shape (angles, 3)
        What is looked for, at the same angles.
    step_uncertainty, colour_uncertainty : array_like, shapes (n, angles) and (angles,), optional
        Standard uncertainty of each mean, per channel.

    Raises
    ------
    ValueError
        When shapes do not go together, or the steps do not ascend.
    """
    numbers = np.asarray(coats, dtype=np.float64)
    line, wanted = as_lab(steps, "steps"), as_lab(colour, "colour")
    if numbers.ndim != 1 or len(numbers) < 2 or (np.diff(numbers) <= 0).any():
        raise ValueError(f"coats must ascend and be two at least, got {numbers.tolist()}")
    if line.ndim != 3 or len(line) != len(numbers) or wanted.shape != line.shape[1:]:
        raise ValueError(
            f"steps must have shape ({len(numbers)}, angles, 3) and colour (angles, 3), got "
            f"{line.shape} and {wanted.shape}"
        )
    check_finite(line, "steps")
    check_finite(wanted, "colour")
    place = _nearest(line, wanted)
    at = _on_line(line, place)
    segment = min(int(place), len(numbers) - 2)
    share = place - segment
    tangent = (line[segment + 1] - line[segment]) / (numbers[segment + 1] - numbers[segment])
    return AlongSteps(
        coats=float(np.interp(place, np.arange(len(numbers)), numbers)),
        standard_uncertainty=_uncertainty(
            tangent, at, segment, share, step_uncertainty, colour_uncertainty
        ),
        delta_e_2000=np.asarray(delta_e_2000(at, wanted)),
        difference=wanted - at,
        before=place == 0 and _would_go_on(line[0], line[0] - line[1], wanted),
        after=place == len(numbers) - 1 and _would_go_on(line[-1], line[-1] - line[-2], wanted),
    )


def _on_line(line: Floats, places: ArrayLike) -> Floats:
    """Colours at places counted in steps from 0; shape of the places, then (angles, 3)."""
    at = np.asarray(places, dtype=np.float64)
    low = np.minimum(at.astype(int), len(line) - 2)
    share = (at - low)[..., None, None]
    return np.asarray((1 - share) * line[low] + share * line[low + 1])


def _nearest(line: Floats, wanted: Floats) -> float:
    """The place, counted in steps from 0, of the smallest sum of squares."""
    last = len(line) - 1
    low, high, tried = 0.0, float(last), _FINE * last + 1
    best = 0.0
    for _ in range(3):  # each round 100 times finer: to a millionth of a step
        places = np.linspace(low, high, tried)
        sums = (np.asarray(delta_e_2000(_on_line(line, places), wanted)) ** 2).sum(axis=-1)
        best = float(places[int(sums.argmin())])
        reach = (high - low) / (tried - 1)
        low, high, tried = max(0.0, best - reach), min(float(last), best + reach), _FINE + 1
    return best


def _would_go_on(end: Floats, outwards: Floats, wanted: Floats) -> bool:
    """Whether the line past its end comes nearer than the end itself, by more than nothing."""
    here = float((np.asarray(delta_e_2000(end, wanted)) ** 2).sum())
    beyond = float((np.asarray(delta_e_2000(end + 0.02 * outwards, wanted)) ** 2).sum())
    return beyond < here - 1e-12


def _uncertainty(
    tangent: Floats,
    at: Floats,
    segment: int,
    share: float,
    step_uncertainty: ArrayLike | None,
    colour_uncertainty: ArrayLike | None,
) -> float | None:
    if step_uncertainty is None or colour_uncertainty is None:
        return None
    of_steps = np.asarray(step_uncertainty, dtype=np.float64)
    of_colour = np.asarray(colour_uncertainty, dtype=np.float64)
    variance = (
        of_colour**2 + ((1 - share) * of_steps[segment]) ** 2 + (share * of_steps[segment + 1]) ** 2
    )
    forms = local_form(at)
    weighted = np.einsum("aij,aj->ai", forms, tangent)
    steepness = float(np.einsum("ai,ai->", weighted, tangent))
    if steepness < 1e-12 or not np.isfinite(variance).all():
        return None
    spread = float(np.einsum("a,ai,ai->", variance, weighted, weighted))
    return float(np.sqrt(spread) / steepness)
