"""The photo sheet as numbers: its colours, its layout, and how its patches are strewn."""

import json
import subprocess
import sys

import numpy as np
import pytest
from coloraide import Color
from skimage.color import rgb2lab

from colour.photo.sheet import WINDOWS, nominal_uncertainty, printed_colours, sheet_target
from colour.photo.srgb import lab_of_srgb
from colour.photo.target import BadTarget, Target

PAPERS = {"a4": (297.0, 210.0), "letter": (279.4, 215.9)}  # ISO 216; ANSI/ASME Y14.1
QUIET_MODULES, MODULES = 4, 21  # ISO/IEC 18004, version 1
NEIGHBOURHOOD_MM = 45.0


@pytest.fixture(params=PAPERS)
def sheet(request):
    return sheet_target(request.param)


def centres(places):
    return np.array([place.centre for place in places])


def labs(sheet):
    return np.array([patch.lab for patch in sheet.patches])


def greys(sheet):
    """Masks over the patches: white, middle, dark."""
    lab = labs(sheet)
    neutral = np.hypot(lab[:, 1], lab[:, 2]) < 0.01
    lightness = lab[:, 0]
    return {
        "white": neutral & (lightness > 99.9),
        "middle": neutral & (lightness > 30) & (lightness < 70),
        "dark": neutral & (lightness < 15),
    }


def test_colours_are_what_coloraide_and_scikit_image_make_of_them():
    # coloraide: IEC 61966-2-1 with unrounded matrices; scikit-image: rounded ones, hence 0.02.
    for rgb in printed_colours().values():
        share = [value / 255 for value in rgb]
        lab = lab_of_srgb(rgb)
        assert lab == pytest.approx(Color("srgb", share).convert("lab-d65").coords(), abs=1e-6)
        assert lab == pytest.approx(rgb2lab(share), abs=0.02)


def test_patches_state_the_colours_they_are_printed_in(sheet):
    printed = printed_colours()
    assert {patch.name for patch in sheet.patches} == set(printed)
    assert all(patch.lab == lab_of_srgb(printed[patch.name]) for patch in sheet.patches)
    assert (sheet.measurement.illuminant, sheet.measurement.observer) == ("D65", "2")
    assert sheet.values == "nominal"


@pytest.mark.parametrize(("paper", "size"), PAPERS.items())
def test_the_sheet_has_the_papers_size_and_comes_back_from_its_file(paper, size):
    sheet = sheet_target(paper, "7K3Q")
    assert (sheet.width_mm, sheet.height_mm) == size
    assert Target.from_json(json.loads(json.dumps(sheet.as_json()))) == sheet


def test_codes_stand_at_the_corners_and_name_design_corner_and_print():
    for paper, design in (("a4", "A4"), ("letter", "LT")):
        sheet = sheet_target(paper, "7K3Q")
        middle = sheet.width_mm / 2, sheet.height_mm / 2
        for marker in sheet.markers:
            x, y = marker.centre
            corner = ("B" if y > middle[1] else "T") + ("R" if x > middle[0] else "L")
            assert marker.text == f"KC/{design}/{corner}/7K3Q"
            assert marker.width_mm == marker.height_mm == 18
        assert len({marker.text for marker in sheet.markers}) == 4


def test_nothing_touches_anything_and_the_paper_has_a_margin(sheet):
    quiet = 18 / MODULES * QUIET_MODULES
    boxes = []
    for places, grown in (
        (sheet.patches, 0.0),
        (sheet.windows, 0.0),
        (sheet.labels, 0.0),
        (sheet.markers, quiet),
    ):
        for place in places:
            boxes.append(
                (
                    place.x_mm - grown,
                    place.y_mm - grown,
                    place.x_mm + place.width_mm + grown,
                    place.y_mm + place.height_mm + grown,
                )
            )
            assert min(place.x_mm, place.y_mm) >= 8
            assert place.x_mm + place.width_mm <= sheet.width_mm - 8 + 1e-9
            assert place.y_mm + place.height_mm <= sheet.height_mm - 8 + 1e-9
    for i, (left, top, right, bottom) in enumerate(boxes):
        assert left >= 0 and top >= 0
        for other in boxes[i + 1 :]:
            apart = right <= other[0] or other[2] <= left or bottom <= other[1] or other[3] <= top
            assert apart, (boxes[i], other)


def test_windows_lie_side_by_side_with_the_master_in_the_middle(sheet):
    assert tuple(window.name for window in sheet.windows) == WINDOWS
    card, master, second = sheet.windows
    assert card.x_mm < master.x_mm < second.x_mm
    assert {(w.y_mm, w.width_mm, w.height_mm) for w in sheet.windows} == {
        (card.y_mm, card.width_mm, card.height_mm)
    }
    assert card.width_mm >= 60 - 1e-9 and card.height_mm == 84
    for window, label in zip(sheet.windows, sheet.labels, strict=True):
        assert label.name == window.name and label.height_mm == 14
        assert label.x_mm == window.x_mm and label.width_mm == window.width_mm
        assert 0 < label.y_mm - window.y_mm - window.height_mm < 10


def test_patches_are_large_enough_and_both_papers_have_the_same(sheet):
    assert min(min(patch.width_mm, patch.height_mm) for patch in sheet.patches) >= 10
    assert {p.name: p.lab for p in sheet.patches} == {
        p.name: p.lab for p in sheet_target("a4").patches
    }


def test_grey_steps_reach_from_paper_to_black_and_the_dark_ones_come_often(sheet):
    lab = labs(sheet)
    steps = lab[np.hypot(lab[:, 1], lab[:, 2]) < 0.01, 0]
    for lightness, times in (
        *((step, 3) for step in (90, 80, 65, 50, 38, 28, 20)),
        *((step, 6) for step in (14, 9, 5, 2.5)),
        (100, 12),
    ):
        assert np.sum(np.abs(steps - lightness) < 0.6) >= times, lightness


def test_colours_cover_what_cars_are_painted_in(sheet):
    lab = labs(sheet)
    lightness, chroma = lab[:, 0], np.hypot(lab[:, 1], lab[:, 2])
    hue = np.degrees(np.arctan2(lab[:, 2], lab[:, 1])) % 360
    for start in range(0, 360, 45):
        sector = (hue >= start) & (hue < start + 45) & (chroma > 1)
        assert np.any(sector & (chroma > 25)), f"no strong colour at hue {start}"
        assert np.any(sector & (chroma < 6.5) & (lightness > 29)), f"no tint at hue {start}"
    dark = (lightness < 23) & (chroma > 2.5)
    assert dark.sum() >= 15
    assert set(hue[dark] // 90) == {0, 1, 2, 3}


def test_white_middle_and_dark_are_near_every_patch_and_every_place_of_a_window(sheet):
    at = centres(sheet.patches)
    inside = [
        (w.x_mm + u * w.width_mm, w.y_mm + v * w.height_mm)
        for w in sheet.windows
        for u in np.linspace(0, 1, 7)
        for v in np.linspace(0, 1, 9)
    ]
    for place in (*at, *inside):
        for name, mask in greys(sheet).items():
            nearest = np.hypot(*(at[mask] - place).T).min()
            assert nearest <= NEIGHBOURHOOD_MM, (name, place, nearest)


def test_every_window_has_greys_along_all_four_sides(sheet):
    at = centres(sheet.patches)
    frame_mm = 20.0  # reaches the patches that touch a window and its label, and no others
    for window, label in zip(sheet.windows, sheet.labels, strict=True):
        left, right = window.x_mm, window.x_mm + window.width_mm
        top, bottom = window.y_mm, label.y_mm + label.height_mm
        in_rows = (at[:, 1] > top) & (at[:, 1] < bottom)
        in_columns = (at[:, 0] > left) & (at[:, 0] < right)
        sides = {
            "left": in_rows & (at[:, 0] < left) & (at[:, 0] > left - frame_mm + 8),
            "right": in_rows & (at[:, 0] > right) & (at[:, 0] < right + frame_mm - 8),
            "above": in_columns & (at[:, 1] < top) & (at[:, 1] > top - frame_mm + 8),
            "below": in_columns & (at[:, 1] > bottom) & (at[:, 1] < bottom + frame_mm - 8),
        }
        for side, near in sides.items():
            assert near.sum() >= 5
            for name, mask in greys(sheet).items():
                assert np.any(near & mask), (window.name, side, name)
            neutral = np.logical_or.reduce(list(greys(sheet).values()))
            assert np.mean(neutral[near]) > 0.5, (window.name, side)


def test_a_gradient_or_a_bow_of_the_light_looks_like_no_colour(sheet):
    at = centres(sheet.patches)
    x, y = ((at - at.mean(axis=0)) / at.std(axis=0)).T
    for name, channel in zip(("L*", "a*", "b*"), labs(sheet).T, strict=True):
        for shape in (x, y, x * x, y * y, x * y):
            assert abs(np.corrcoef(channel, shape)[0, 1]) < 0.05, name


def test_no_hue_and_no_grey_step_is_one_sided(sheet):
    lab, at = labs(sheet), centres(sheet.patches)
    middle = np.array([sheet.width_mm, sheet.height_mm]) / 2
    chroma = np.hypot(lab[:, 1], lab[:, 2])
    hue = np.degrees(np.arctan2(lab[:, 2], lab[:, 1])) % 360
    families = {
        f"hue {start}": (chroma > 1) & ((hue - start) % 360 < 90) for start in range(0, 360, 90)
    }
    families |= {f"L* {step}": (chroma < 0.01) & (np.abs(lab[:, 0] - step) < 0.6)
                 for step in (100, 65, 50, 38, 28, 20, 14, 9, 5, 2.5)}  # fmt: skip
    families["dark tints"] = (chroma > 1) & (lab[:, 0] < 23)
    families["tints"] = (chroma > 1) & (chroma < 6.5) & (lab[:, 0] > 29)
    for name, mask in families.items():
        offset = (at[mask].mean(axis=0) - middle) / middle
        assert mask.sum() >= 4 and np.abs(offset).max() < 0.2, (name, offset)
        # And it stands on both halves, left and right as above and below.
        for axis in (0, 1):
            assert np.any(at[mask, axis] < middle[axis]), name
            assert np.any(at[mask, axis] > middle[axis]), name


def test_a_nominal_value_is_less_certain_where_printers_clip():
    plain = nominal_uncertainty((60.0, 0.0, 0.0))
    assert plain == 2.0
    assert nominal_uncertainty((5.0, 0.0, 0.0)) > nominal_uncertainty((14.0, 0.0, 0.0)) > plain
    assert nominal_uncertainty((60.0, 60.0, 0.0)) > plain


def test_another_paper_and_a_bad_print_code_are_refused_in_words():
    with pytest.raises(BadTarget, match='no sheet for the paper \'a3\'. Take "a4" or "letter"'):
        sheet_target("a3")
    for code in ("", "7K3", "7K3QX", "7k3q", "OILU", "7K3\n"):
        with pytest.raises(BadTarget, match="is not a print code"):
            sheet_target("a4", code)


def test_the_sheet_is_made_without_numpy():
    code = (
        "import sys, colour.photo.sheet, colour.photo.sheet_changes\n"
        "colour.photo.sheet.sheet_target('a4'); sys.exit('numpy' in sys.modules)"
    )
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0
