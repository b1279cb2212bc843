"""The drawn lines lie where ΔE00 is the limit, by coloraide and by scikit-image, not by us."""

import math

import numpy as np
import pytest
from coloraide import Color
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from scipy import stats
from skimage.color import deltaE_ciede2000

from service.web.charts import FARTHEST_IN_LIMITS
from service.web.charts_place import cuts, place_charts, region_factor

MASTERS = {
    "silver": (72.0, -0.6, -1.9),
    "black": (4.0, 0.1, -0.3),
    "white": (95.0, -0.8, 2.1),
    "red": (38.0, 56.0, 34.0),
    "saturated yellow": (80.0, 5.0, 85.0),
    "blue": (28.0, 14.0, -46.0),  # where the rotation term tilts the contour
    "deep blue": (32.6, 13.3, -46.6),
    "neutral": (50.0, 0.0, 0.0),
    "nearly neutral": (50.0, 0.3, 0.2),  # the hue turns by 180° within the limit
    "face of a flake": (124.0, -1.2, -5.0),
}
STEPS = [(0.0, 0.9, -0.4), (-0.5, 0.3, -0.4), (0.3, 0.0, 0.0), (2.5, -1.0, 1.0)]


def coloraide_difference(first, second):
    return Color("lab-d65", first).delta_e(Color("lab-d65", second), method="2000")


def by_both(master, points):
    """ΔE00 of Lab points by scikit-image, after coloraide agreed on some of them."""
    found = deltaE_ciede2000(np.tile(master, (len(points), 1)), np.array(points))
    some = [coloraide_difference(master, point) for point in points[::9]]
    np.testing.assert_allclose(found[::9], some, atol=1e-6)
    return found


def colours_of(master, step, found):
    """Every point of the three lines as a colour."""
    lightness, a, b = master
    cos, sin = found.towards
    level = [(lightness, a + x, b + y) for x, y in found.level]
    own = [(lightness + step[0], a + x, b + y) for x, y in found.own]
    upright = [(lightness + y, a + cos * x, b + sin * x) for x, y in found.upright]
    return level, own, upright


@pytest.mark.parametrize("limit", [0.3, 0.8, 2.25])
@pytest.mark.parametrize("step", STEPS, ids=str)
@pytest.mark.parametrize("master", MASTERS.values(), ids=MASTERS)
def test_every_point_of_every_line_lies_at_the_limit(master, step, limit):
    found = cuts(master, step, limit)
    level, own, upright = colours_of(master, step, found)
    # Where the formula jumps, at hues exactly opposite, a few rays meet the limit nowhere.
    assert len(level) >= 90 and len(upright) >= 90
    assert by_both(master, level + own + upright) == pytest.approx(limit, abs=1e-3)
    straight = np.array(step) / math.hypot(*step)
    far = [tuple(np.add(master, found.along * straight))]
    assert by_both(master, far) == pytest.approx(limit, abs=1e-3)


@pytest.mark.parametrize("master", MASTERS.values(), ids=MASTERS)
def test_the_line_at_its_own_lightness_vanishes_only_when_lightness_alone_is_over_the_limit(master):
    for lightness in (0.2, 0.6, 0.9, 1.4, 3.0):
        alone = coloraide_difference(master, (master[0] + lightness, *master[1:]))
        assert bool(cuts(master, (lightness, 0.4, 0.1), 0.8).own) == (alone < 0.8)


@pytest.mark.parametrize("master", MASTERS.values(), ids=MASTERS)
def test_each_coordinate_alone_reaches_the_limit_where_the_table_says(master):
    for axis, ends in enumerate(cuts(master, (0.1, 0.2, 0.3), 0.8).alone):
        assert ends[0] < 0 < ends[1]
        for end in ends:
            moved = tuple(part + end * (index == axis) for index, part in enumerate(master))
            assert coloraide_difference(master, moved) == pytest.approx(0.8, abs=1e-6)


def test_the_contour_of_a_blue_is_long_tilted_and_drawn_without_corners():
    found = cuts(MASTERS["deep blue"], (0.0, 1.0, 1.0), 0.8)
    radii = [math.hypot(*point) for point in found.level]
    assert max(radii) > 3 * min(radii)
    x, y = max(found.level, key=lambda point: math.hypot(*point))
    assert x * y < 0  # from green and yellow to red and blue: the rotation term
    turns = []
    for before, at, after in zip(
        found.level, found.level[1:], (*found.level[2:], found.level[0]), strict=False
    ):
        ways = [math.atan2(q[1] - p[1], q[0] - p[0]) for p, q in ((before, at), (at, after))]
        turns.append(abs(math.remainder(ways[1] - ways[0], 2 * math.pi)))
    assert max(turns) < math.radians(20)


def inside(point, polygon):
    """Whether a point lies inside a polygon, by counting crossings."""
    x, y = point
    found = False
    for (x1, y1), (x2, y2) in zip(polygon, polygon[1:] + polygon[:1], strict=True):
        if (y1 > y) != (y2 > y) and x < x1 + (y - y1) * (x2 - x1) / (y2 - y1):
            found = not found
    return found


part = st.floats(-1.5, 1.5)


@settings(max_examples=120, deadline=None)
@given(st.sampled_from(list(MASTERS.values())), st.tuples(part, part, part))
def test_in_both_drawings_a_card_is_inside_exactly_when_it_is_below_the_limit(master, step):
    seen = coloraide_difference(master, tuple(np.add(master, step)))
    assume(abs(seen - 0.8) > 0.02 and math.hypot(*step[1:]) > 0.05)
    found = cuts(master, step, 0.8)
    cos, sin = found.towards
    assert inside(step[1:], list(found.own)) == (seen < 0.8)
    assert inside((cos * step[1] + sin * step[2], step[0]), list(found.upright)) == (seen < 0.8)


def drawn(step=(0.3, 0.9, -0.4), master=MASTERS["blue"], **more):
    return place_charts(master, step, 0.8, label="Batch 2", href="/c/2", word="shows", **more)


def path_points(path):
    return [tuple(map(float, pair.split(","))) for pair in path[1:-1].split("L")]


@pytest.mark.parametrize("master", MASTERS.values(), ids=MASTERS)
def test_what_is_drawn_read_off_its_own_axes_lies_at_the_limit(master):
    step = (0.3, 0.9, -0.4)
    place = drawn(step, master)
    plane = place.level

    def value_of(at, ticks):
        low, high = ticks[0], ticks[-1]
        return low.value + (at - low.at) * (high.value - low.value) / (high.at - low.at)

    lines = [(plane.inside, step[0])] + ([(plane.level, 0.0)] if plane.level else [])
    for path, lightness in lines:
        if not path:
            continue
        points = [
            (
                master[0] + (lightness if place.two_lines else 0.0),
                master[1] + value_of(x, plane.x_ticks),
                master[2] + value_of(y, plane.y_ticks),
            )
            for x, y in path_points(path)
        ]
        assert by_both(master, points) == pytest.approx(0.8, abs=1e-3)


def test_both_drawings_have_one_scale_and_the_master_in_the_middle():
    place = drawn()
    scales = set()
    for plane in (place.level, place.upright):
        x_unit = plane.x_ticks[1].at - plane.x_ticks[0].at
        y_unit = plane.y_ticks[0].at - plane.y_ticks[1].at
        scales |= {round(x_unit, 1), round(y_unit, 1)}
        zero = (
            next(t for t in plane.x_ticks if t.value == 0),
            next(t for t in plane.y_ticks if t.value == 0),
        )
        assert (zero[0].at, zero[1].at) == plane.master
    assert len(scales) == 1


def test_a_card_as_light_as_the_master_has_one_line_and_a_lighter_one_two():
    one = drawn((0.0, 0.9, -0.4))
    assert not one.two_lines and one.level.inside and not one.level.level
    two = drawn((0.5, 0.9, -0.4))
    assert two.two_lines and two.level.inside and two.level.level
    gone = drawn((1.9, 0.1, 0.1))
    assert gone.two_lines and not gone.level.inside and gone.level.level


def test_a_far_card_is_ringed_at_the_edge_in_its_own_direction():
    place = drawn((0.0, 30.0, 40.0), MASTERS["neutral"], covariance=np.eye(3).tolist())
    card, (x, y) = place.level.card, place.level.master
    assert card.beyond and place.level.region is None
    assert (y - card.y) / (card.x - x) == pytest.approx(4 / 3, rel=1e-3)
    near = drawn((0.0, 0.3, 0.4), MASTERS["neutral"]).level
    size = max(map(abs, np.subtract(path_points(place.level.inside), (x, y)).ravel()))
    usual = max(map(abs, np.subtract(path_points(near.inside), near.master).ravel()))
    assert size > usual / FARTHEST_IN_LIMITS / 1.2  # the contour keeps its room


@pytest.mark.parametrize("degrees", [1.0, 2.5, 4.0, 12.0, 400.0])
def test_an_estimated_region_is_as_wide_as_f_says(degrees):
    expected = 2 * stats.f.ppf(0.95, 2, degrees)
    assert region_factor(degrees) == pytest.approx(expected, rel=1e-9)


def test_a_known_region_is_as_wide_as_chi_square_says():
    assert region_factor(None) == pytest.approx(stats.chi2.ppf(0.95, 2), rel=1e-12)


def test_the_region_holds_95_of_100_draws_of_its_covariance():
    rng = np.random.default_rng(5)
    root = rng.normal(size=(3, 3)) * 0.12
    covariance = root @ root.T + 0.002 * np.eye(3)
    step = (0.3, 0.9, -0.4)
    place = drawn(step, covariance=covariance.tolist())
    draws = rng.multivariate_normal(step, covariance, size=40_000)
    cos, sin = place.cuts.towards
    for plane, points in (
        (place.level, draws[:, 1:]),
        (place.upright, np.stack([draws[:, 1:] @ (cos, sin), draws[:, 0]], axis=1)),
    ):
        scale = (plane.x_ticks[1].at - plane.x_ticks[0].at) / (
            plane.x_ticks[1].value - plane.x_ticks[0].value
        )
        x, y, long, short, turn = plane.region
        away = np.stack(
            [
                plane.master[0] + scale * points[:, 0] - x,
                plane.master[1] - scale * points[:, 1] - y,
            ]
        )
        c, s = math.cos(math.radians(turn)), math.sin(math.radians(turn))
        along, across = c * away[0] + s * away[1], -s * away[0] + c * away[1]
        held = np.mean((along / long) ** 2 + (across / short) ** 2 <= 1)
        assert held == pytest.approx(0.95, abs=0.005)  # 4.6 standard errors of 40,000 draws


def test_nothing_is_drawn_of_a_noise_nobody_knows():
    zeros = [[0.0] * 3] * 3
    assert drawn(covariance=zeros, degrees_of_freedom=0.0).level.region is None
    assert not drawn(covariance=zeros).level.region_hidden
    tiny = (np.eye(3) * 1e-6).tolist()
    assert drawn(covariance=tiny).level.region is None
    assert drawn(covariance=tiny).level.region_hidden


def test_a_card_exactly_on_the_master_is_drawn_there():
    place = drawn((0.0, 0.0, 0.0))
    assert (place.level.card.x, place.level.card.y) == place.level.master
    assert place.cuts.along is None and place.apart == 0
