"""The place of a colour along a let-down panel: found again, with a true uncertainty."""

from __future__ import annotations

import numpy as np
import pytest
from skimage.color import deltaE_ciede2000

from colour.let_down import along_steps

# An invented white pearl over a light ground, 0 to 5 mid-coats, at 15, 45 and 110 degrees.
COATS = np.arange(6)
STEPS = np.stack(
    [
        [[98 - 2.2 * k + 0.1 * k * k, -1.5 + 0.6 * k, 3 + 2.4 * k],
         [88 - 1.0 * k, -1.2 + 0.2 * k, 4 + 1.1 * k],
         [80 - 0.4 * k, -1.0 + 0.1 * k, 5 + 0.6 * k]]
        for k in COATS
    ]
)  # fmt: skip


@pytest.mark.parametrize("coats", [0.0, 0.35, 1.0, 2.5, 2.71, 4.999, 5.0])
def test_a_colour_on_the_line_is_found_again(coats):
    low = min(int(coats), 4)
    colour = STEPS[low] + (coats - low) * (STEPS[low + 1] - STEPS[low])
    found = along_steps(COATS, STEPS, colour)
    assert found.coats == pytest.approx(coats, abs=1e-4)
    assert found.delta_e_2000 == pytest.approx(0, abs=1e-3)
    assert not found.before and not found.after


def test_what_no_number_of_coats_takes_away_is_left_and_is_the_least_there_is():
    colour = STEPS[2] + [0.0, 1.5, 0.0]
    found = along_steps(COATS, STEPS, colour)
    assert found.delta_e_2000.max() > 1
    # scikit-image's CIEDE2000 over a fine grid of its own finds nothing smaller.
    shares = np.linspace(0, 5, 5001)
    low = np.minimum(shares.astype(int), 4)
    line = STEPS[low] + (shares - low)[:, None, None] * (STEPS[low + 1] - STEPS[low])
    sums = (deltaE_ciede2000(line, np.broadcast_to(colour, line.shape)) ** 2).sum(axis=-1)
    assert (found.delta_e_2000**2).sum() <= sums.min() + 1e-6
    assert found.coats == pytest.approx(shares[sums.argmin()], abs=1e-3)


def test_past_the_ends_of_the_line_it_is_said():
    before = along_steps(COATS, STEPS, STEPS[0] - (STEPS[1] - STEPS[0]))
    after = along_steps(COATS, STEPS, STEPS[5] + (STEPS[5] - STEPS[4]))
    assert (before.coats, before.before, before.after) == (0, True, False)
    assert (after.coats, after.before, after.after) == (5, False, True)


def test_steps_that_were_not_all_read_keep_their_numbers():
    kept = [0, 2, 5]
    colour = (STEPS[2] + STEPS[5]) / 2
    found = along_steps(COATS[kept], STEPS[kept], colour)
    assert found.coats == pytest.approx(3.5, abs=1e-4)


@pytest.mark.parametrize("angles", [[0, 1, 2], [1]])
def test_the_uncertainty_is_the_scatter_of_repeated_trials(angles):
    """Monte Carlo: read everything anew 800 times and look how the answer scatters."""
    generator = np.random.default_rng(3)
    steps = STEPS[:, angles]
    colour = steps[2] + 0.4 * (steps[3] - steps[2])
    u = 0.08
    stated = along_steps(
        COATS,
        steps,
        colour,
        step_uncertainty=np.full(steps.shape[:2], u),
        colour_uncertainty=np.full(len(angles), u),
    ).standard_uncertainty
    found = [
        along_steps(
            COATS,
            steps + generator.normal(scale=u, size=steps.shape),
            colour + generator.normal(scale=u, size=colour.shape),
        ).coats
        for _ in range(800)
    ]
    assert stated == pytest.approx(np.std(found), rel=0.12)


def test_steps_that_look_alike_give_no_place_to_trust():
    flat = np.repeat(STEPS[:1], 3, axis=0)
    found = along_steps(
        [0, 1, 2],
        flat,
        STEPS[0],
        step_uncertainty=np.full((3, 3), 0.1),
        colour_uncertainty=np.full(3, 0.1),
    )
    assert found.standard_uncertainty is None


@pytest.mark.parametrize(
    ("coats", "steps", "colour", "said"),
    [
        ([0], STEPS[:1], STEPS[0], "two at least"),
        ([1, 0], STEPS[:2], STEPS[0], "ascend"),
        ([0, 1], STEPS[:3], STEPS[0], r"\(2, angles, 3\)"),
        ([0, 1], STEPS[:2], STEPS[0, :2], r"\(angles, 3\)"),
        ([0, 1], STEPS[:2] * np.nan, STEPS[0], "finite"),
    ],
)
def test_what_does_not_go_together_is_refused(coats, steps, colour, said):
    with pytest.raises(ValueError, match=said):
        along_steps(coats, steps, colour)
