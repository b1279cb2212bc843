"""What more readings would do for a verdict that cannot be given yet."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from colour.arrays import Floats
from colour.least_favourable import (
    Noise,
    largest_that_blends,
    smallest_that_shows,
    truths_on_axes,
)
from colour.quadratic_form import local_form
from colour.uncertain_difference import UncertainDifference
from colour.weighing import LEAST_POWER, is_judgeable
from colour.weighted_chi_square import length_distribution

# Nobody reads a card more often than twelve times more.
_TRIED = (1, 2, 3, 4, 6, 8, 12)
_WANTED_CHANCE = 0.8
# Repeats a side that can judge their own noise, with one to spare for the degrees of freedom.
_ENOUGH_A_SIDE = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class Outlook:
    """How likely further readings are to end in `blends` or `shows`.

    The chance supposes that the true difference is the one seen and that the noise stays alike.
    """

    chance: float | None  # None when the noise is not known well enough to say
    more_of_master: int
    more_of_card: int
    more_of_both: int  # whole measurements of the pair, when the sides were not read apart
    settles: bool  # whether the chance is 0.8 at least

    @property
    def words(self) -> str:
        """The advice in plain words."""
        if self.chance is None:
            return self._until_noise_is_known()
        if not self.settles:
            return "More readings will not settle this."
        if self.more_of_both:
            number, what = self.more_of_both, "measurement"
            of = " like this one"
        else:
            number, what = self.more_of_card, "reading"
            of = " of each" if self.more_of_master else " of the card"
        # Rounded down, and no chance is called certain.
        tenths = min(int(self.chance * 10 + 1e-9), 9)
        plural, verb = ("s", "settle") if number > 1 else ("", "settles")
        return (
            f"{number} more {what}{plural}{of} {verb} this in {tenths} of 10 cases, "
            "if the difference is what it seems."
        )

    def _until_noise_is_known(self) -> str:
        wanted = [
            f"{number} more of the {side}"
            for number, side in ((self.more_of_master, "master"), (self.more_of_card, "card"))
            if number
        ]
        if not wanted:
            return "State the uncertainty of one reading, or measure again with repeats."
        return (
            f"Take {' and '.join(wanted)}, lifting the instrument each time: "
            f"{_ENOUGH_A_SIDE} readings a side can judge their own noise. "
            "Or state the uncertainty of one reading."
        )


def outlook(
    difference: UncertainDifference, *, limit: float, blends_risk: float, shows_risk: float
) -> Outlook:
    """The least number of further readings that settles a verdict in 8 of 10 cases.

    More readings of the card are tried first, then as many more of each side: 1, 2, 3, 4, 6, 8
    or 12. A difference whose sides were not read apart (a frame, a joint through a master) is
    repeated as a whole.
    """
    sides = difference.sides
    if not is_judgeable(difference):
        master, card = (max(0, _ENOUGH_A_SIDE - side.n) for side in sides) if sides else (0, 0)
        if sides and not (master or card):
            # Repeats enough, yet one side scatters far more than the other: ν = n − 1 there.
            master = card = 2
        return Outlook(
            chance=None, more_of_master=master, more_of_card=card, more_of_both=0, settles=False
        )
    if sides is None:
        plans = [(0, 0, count) for count in _TRIED]
    else:
        plans = [(0, count, 0) for count in _TRIED]
    best = _first_that_settles(difference, plans, limit, blends_risk, shows_risk)
    if sides is not None and not best.settles:
        plans = [(count, count, 0) for count in _TRIED]
        best = _first_that_settles(difference, plans, limit, blends_risk, shows_risk)
    return best


def _first_that_settles(
    difference: UncertainDifference,
    plans: list[tuple[int, int, int]],
    limit: float,
    blends_risk: float,
    shows_risk: float,
) -> Outlook:
    futures = [_future(difference, *plan) for plan in plans]
    chances = _chances(difference, futures, limit, blends_risk, shows_risk)
    enough = np.flatnonzero(chances >= _WANTED_CHANCE)
    at = int(enough[0]) if len(enough) else len(plans) - 1
    master, card, both = plans[at]
    return Outlook(
        chance=round(float(chances[at]), 6),
        more_of_master=master,
        more_of_card=card,
        more_of_both=both,
        settles=bool(len(enough)),
    )


def _future(
    difference: UncertainDifference, master: int, card: int, both: int
) -> tuple[UncertainDifference, Floats]:
    """The difference after more readings, and how far its mean may move from the present one."""
    if difference.sides is None:
        share = 1 / (1 + both)
        after = UncertainDifference(
            reference=difference.reference,
            mean=difference.mean,
            known=difference.known * share,
            scatter=difference.scatter * share,
            degrees_of_freedom=difference.degrees_of_freedom,
            fixed=difference.fixed,
            stated=difference.stated,
        )
        return after, (difference.known + difference.scatter) * share * (1 - share)
    moves = np.zeros((3, 3))
    more = []
    for side, readings in zip(difference.sides, (master, card), strict=True):
        # The mean of n and k more readings, about the mean of the n: k/(n + k)² of one's noise.
        moves = moves + side.covariance * (side.n * readings / (side.n + readings) ** 2)
        more.append(side.after_more(readings))
    return UncertainDifference.between(*more), moves


def _chances(
    difference: UncertainDifference,
    futures: list[tuple[UncertainDifference, Floats]],
    limit: float,
    blends_risk: float,
    shows_risk: float,
) -> Floats:
    count = len(futures)
    noise = Noise.of(
        np.array([after.known + difference.fixed for after, _ in futures]),
        np.array([after.scatter for after, _ in futures]),
        np.array([float(after.degrees_of_freedom) for after, _ in futures]),
    )
    form = local_form(difference.reference + difference.mean / 2)
    factor = np.linalg.cholesky(form).T
    truths = truths_on_axes(np.repeat(form[None], count, axis=0), noise, np.full(count, limit))
    lowest = largest_that_blends(truths, np.full(count, blends_risk))
    highest = smallest_that_shows(truths, np.full(count, shows_risk))
    variances = truths.variances[:, 0]
    lengths = np.broadcast_to(lowest[:, None], variances.shape[:-1])
    at_zero, _ = length_distribution(lengths, variances, np.zeros_like(variances))
    can_blend = (at_zero * noise.weights).sum(axis=1) >= LEAST_POWER
    moves = factor @ np.array([move for _, move in futures]) @ factor.T
    variances, vectors = np.linalg.eigh(moves)
    centre = np.square((factor @ difference.mean) @ vectors)
    # Identical repeats leave no movement at all; the method wants a little.
    variances = np.maximum(variances, 1e-12)
    blends, _ = length_distribution(lowest, variances, centre)
    not_shows, _ = length_distribution(highest, variances, centre)
    result: Floats = np.where(can_blend, blends, 0.0) + 1.0 - not_shows
    return result
