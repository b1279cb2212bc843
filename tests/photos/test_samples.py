"""Real photographs of bought charts, with patches held out, where the samples are at hand.

Every patch is held out once, four at a time. The charts' values are their makers' printed ones,
about 1 ΔE00 from the physical charts.
"""

import json
import os
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pytest

from colour.difference import delta_e_2000
from colour.photo.camera_model import RELATIVE_XYZ_FROM_SRGB, lab_with_slope, relative_xyz
from colour.photo.measuring import read_picture
from colour.photo.outcome import PhotoRefused
from colour.photo.placing import Placement
from colour.photo.sampling import PATCH_POINTS, PATCH_SHARE, means
from colour.photo.sampling import sample as take
from colour.photo.target import Target
from service.photos.decode import decode
from tests.photo_trials import CHI_SQUARE_95

# Of the chart's corners in the upright photograph, from the samples' own list.
CORNERS = {
    "window_sun_mixed": "234.5,278.0 532.7,278.8 541.4,466.5 233.9,478.9",
    "chamber_led_soft": "1496.9,961.1 1482.9,1740.1 967.8,1729.1 980.7,952.8",
    "phone_mini": "40.0,406.5 40.2,63.8 268.8,61.9 268.5,407.2",
    "chamber_led_clipped": "1517.6,983.0 1513.5,1762.2 998.3,1763.9 993.6,982.2",
}
UNCLIPPED = ("window_sun_mixed", "chamber_led_soft", "phone_mini")
FOLDS = 6


@dataclass(frozen=True)
class Held:
    """A patch that was read as if its value were unknown."""

    error: float  # ΔE00
    squares: float  # of the Lab error in its stated covariance


def sample(name):
    folder = os.environ.get("KEEPCARD_SAMPLES")
    if not folder:
        pytest.skip("unproved: KEEPCARD_SAMPLES names no folder of sample files")
    target = Target.from_json(json.loads((Path(folder) / f"{name}.target.json").read_text()))
    corners = [tuple(map(float, point.split(","))) for point in CORNERS[name].split()]
    return decode((Path(folder) / f"{name}.jpg").read_bytes()).picture, target, corners


def held_out(picture, target, corners, patches):
    """The patches read as windows; PhotoRefused as the reader raises it."""
    names = {patch.name for patch in patches}
    rest = tuple(patch for patch in target.patches if patch.name not in names)
    read = read_picture(
        picture, replace(target, patches=rest, windows=tuple(patches)), corners=corners
    )
    for patch in patches:
        window = read.window(patch.name)
        off = np.array(window.lab) - patch.lab
        squares = float(off @ np.linalg.solve(np.array(window.covariance), off))
        yield Held(float(delta_e_2000(patch.lab, window.lab)), squares)


def folds_of(target):
    return [target.patches[fold::FOLDS] for fold in range(FOLDS)]


def every_patch_held_out(picture, target, corners):
    """What was read, and the reasons by the patches that by themselves are refused as windows."""
    read, refused = [], {}
    for fold in folds_of(target):
        try:
            read += held_out(picture, target, corners, fold)
        except PhotoRefused:
            for patch in fold:
                try:
                    read += held_out(picture, target, corners, [patch])
                except PhotoRefused as refusal:
                    refused[patch.name] = {reason.code for reason in refusal.reasons}
    return read, refused


@pytest.fixture(scope="module")
def unclipped():
    return {name: every_patch_held_out(*sample(name)) for name in UNCLIPPED}


def test_held_out_patches_of_real_photographs_are_read_nearly_right(unclipped):
    errors = [held.error for read, _ in unclipped.values() for held in read]
    assert np.median(errors) <= 2.5
    assert np.mean(errors) <= 3.3


def test_their_stated_regions_cover_the_printed_values(unclipped):
    covered = [held.squares <= CHI_SQUARE_95 for read, _ in unclipped.values() for held in read]
    assert np.mean(covered) >= 0.85


def test_few_patches_are_refused_as_windows_and_for_what_lies_on_them(unclipped):
    """A hand's shadow lies over the first patch of one; the white of another is at its top."""
    refused = {(name, patch) for name, (_, some) in unclipped.items() for patch in some}
    assert len(refused) <= 4, refused
    for _, some in unclipped.values():
        for codes in some.values():
            assert codes <= {"overexposed", "uneven_light", "glare", "covered"}


def test_the_clipped_photograph_is_refused_or_warned_of():
    picture, target, corners = sample("chamber_led_clipped")
    for fold in folds_of(target):
        names = {patch.name for patch in fold}
        rest = tuple(patch for patch in target.patches if patch.name not in names)
        try:
            read = read_picture(
                picture, replace(target, patches=rest, windows=tuple(fold)), corners=corners
            )
        except PhotoRefused as refusal:
            said = {reason.code for reason in refusal.reasons}
        else:
            said = {remark.code for remark in read.warnings}
        assert "overexposed" in said


def test_the_phones_wide_colours_are_honoured():
    """By white balance alone, strong colours have the chroma the maker printed.

    Taken as sRGB the same codes are dull. A fit of the camera would hide either from the readings.
    """
    picture, target, corners = sample("phone_mini")
    placement = Placement.from_corners(corners, target.width_mm, target.height_mm)
    seen = means(take(picture, placement, target.patches, share=PATCH_SHARE, points=PATCH_POINTS))
    lab = np.array([patch.lab for patch in target.patches])
    chroma = np.hypot(lab[:, 1], lab[:, 2])
    greys, strong = (chroma < 4) & (lab[:, 0] > 40) & (lab[:, 0] < 90), chroma > 25

    def chroma_kept(primaries):
        rgb = seen.light @ primaries.T
        balanced = rgb * relative_xyz(lab)[greys].mean() / rgb[greys].mean(axis=0)
        found, _ = lab_with_slope(balanced @ RELATIVE_XYZ_FROM_SRGB.T)
        return float(np.mean(np.hypot(found[:, 1], found[:, 2])[strong] / chroma[strong]))

    assert chroma_kept(picture.primaries) == pytest.approx(1.0, abs=0.05)
    assert chroma_kept(np.eye(3)) < 0.9
