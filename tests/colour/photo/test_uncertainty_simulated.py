"""The stated covariances against chance: patches and windows drawn again and again, and fitted.

Channels come from the simulator's cameras, light from a gradient, values of the patches from their
true ones with a stated scatter; the fit knows neither the camera nor the gradient. Bounds leave
room for the count of draws: three standard errors of a share or of a mean square.
"""

import numpy as np
import pytest

from colour.photo import camera_model as model
from colour.photo.fitting import fit
from colour.photo.most_probable import Patches
from colour.photo.sheet import sheet_target
from demo_cards.photographing.chances import (
    any_matrix_camera,
    any_pigments,
    any_spectral_camera,
    car_colour,
)
from demo_cards.photographing.lights import Light
from demo_cards.photographing.spectra import Surface, possible
from tests.photo_trials import CHI_SQUARE_95

SHEET = sheet_target()
DRAWS = 120  # of each family of cameras
PATCH_SCATTER = 0.5  # Lab units per channel
LIGHT_NOISE = 0.002  # relative, of a place's mean light
WINDOWS = np.array([[-0.4, 0.0], [0.0, 0.0]])  # master, card


def encoded_light(camera, light, surfaces, position, gradient, dice):
    """Linear light as a decoder would hand it out, with noise, and its covariance."""
    seen = camera.seen(surfaces, light, np.zeros(len(surfaces)), SHEET.measurement)
    linear = 0.8 * seen @ camera.matrix(light).T * np.exp(position @ gradient)[:, None]
    tone = camera.rendering.tone
    codes = np.stack([tone.codes(linear[:, c], c) for c in range(3)], axis=-1)
    # IEC 61966-2-1.
    light_seen = np.where(codes <= 0.04045, codes / 12.92, ((codes + 0.055) / 1.055) ** 2.4)
    spread = LIGHT_NOISE * light_seen + 2e-5
    noisy = np.maximum(light_seen + spread * dice.standard_normal(light_seen.shape), 0)
    return noisy, spread[:, :, None] ** 2 * np.eye(3)


def drawn(family, seed):
    """Error (6,) of master and card, and their joint covariance (6, 6)."""
    dice = np.random.default_rng([seed, len(family)])
    camera = any_matrix_camera(dice) if family == "matrix" else any_spectral_camera(dice)
    pigments = [any_pigments(dice, strength) for strength in (0.25, 0.35)]
    light = Light(spectrum="daylight 5500")
    gradient = dice.uniform(-0.1, 0.1, 2)
    labs = np.array([patch.lab for patch in SHEET.patches])
    middle = np.array([SHEET.width_mm, SHEET.height_mm]) / 2
    position = (np.array([patch.centre for patch in SHEET.patches]) - middle) / middle.max()
    surfaces = [Surface(patch.lab, pigments[0]) for patch in SHEET.patches]
    seen, covariance = encoded_light(camera, light, surfaces, position, gradient, dice)
    camera_fit = fit(
        Patches(
            lab=labs + dice.normal(0, PATCH_SCATTER, labs.shape),
            uncertainty=np.full(len(labs), PATCH_SCATTER),
            seen=model.seen(seen, position),
            light_covariance=covariance,
            white=float(np.quantile(seen.max(axis=-1), 0.97)),
            primaries=np.eye(3),
        )
    )
    master = np.array(car_colour(dice, (15, 85)))
    truth = np.array([master, possible(master + dice.normal(0, 0.8, 3))])
    cards = [Surface(tuple(lab), pigments[1]) for lab in truth]
    seen, covariance = encoded_light(camera, light, cards, WINDOWS, gradient, dice)
    lab, joint = camera_fit.read(model.seen(seen, WINDOWS), covariance)
    return (lab - truth).ravel(), joint


@pytest.fixture(scope="module", params=["matrix", "spectral"])
def draws(request):
    return [drawn(request.param, seed) for seed in range(DRAWS)]


CONTRAST = np.hstack([-np.eye(3), np.eye(3)])


def squares(draws, contrast):
    return np.array(
        [
            contrast @ error @ np.linalg.solve(contrast @ joint @ contrast.T, contrast @ error)
            for error, joint in draws
        ]
    )


def test_the_region_of_the_difference_covers_the_truth(draws):
    covered = np.mean(squares(draws, CONTRAST) <= CHI_SQUARE_95)
    assert covered >= 0.90 - 3 * np.sqrt(0.9 * 0.1 / DRAWS)


def test_the_region_of_a_windows_own_colour_covers_the_truth(draws):
    for own in (np.eye(6)[:3], np.eye(6)[3:]):
        covered = np.mean(squares(draws, own) <= CHI_SQUARE_95)
        assert covered >= 0.90 - 3 * np.sqrt(0.9 * 0.1 / DRAWS)


def test_the_spread_of_the_difference_is_stated_neither_far_too_small_nor_far_too_large(draws):
    """The mean of the squares is 3 if it is just right, with √(6 / draws) for chance."""
    mean = np.mean(squares(draws, CONTRAST))
    assert mean <= 3 + 3 * np.sqrt(6 / DRAWS)
    # Stating twice the spread or more would leave a quarter of that.
    assert mean >= 3 / 4 - 3 * np.sqrt(6 / DRAWS) / 4


def test_what_errs_alike_in_both_windows_cancels_in_their_difference(draws):
    errors = np.array([error for error, _ in draws])
    own = np.mean(errors**2) * 2  # of a difference, were the two windows read apart
    together = np.mean((errors @ CONTRAST.T) ** 2)
    stated_own = np.mean([np.trace(joint) / 3 for _, joint in draws])
    stated = np.mean([np.trace(CONTRAST @ joint @ CONTRAST.T) / 3 for _, joint in draws])
    assert together < 0.5 * own
    assert stated < 0.5 * stated_own
