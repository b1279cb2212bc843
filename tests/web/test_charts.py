"""The charts put points where the numbers say; ΔE00 is checked against another library's."""

import math

import pytest
from coloraide import Color
from hypothesis import given, settings
from hypothesis import strategies as st

from service.web.charts import (
    FARTHEST_IN_LIMITS,
    ChartCard,
    bands_alone,
    limit_contour,
    scatter,
    strip_chart,
)

MASTERS = {
    "silver": (72.0, -0.6, -1.9),
    "black": (4.0, 0.1, -0.3),
    "white": (95.0, -0.8, 2.1),
    "red": (38.0, 56.0, 34.0),
    "blue": (28.0, 14.0, -46.0),  # where the rotation term tilts the contour
    "neutral": (50.0, 0.0, 0.0),
}


def coloraide_difference(first, second):
    """CIEDE2000 by coloraide, an implementation that shares nothing with ours."""
    return Color("lab-d65", first).delta_e(Color("lab-d65", second), method="2000")


def cards(*colours, word="blends"):
    return [
        ChartCard(label=f"Batch {n}", href=f"/b/{n}", colour=colour, word=word)
        for n, colour in enumerate(colours, 1)
    ]


@pytest.mark.parametrize("limit", [0.3, 0.8, 2.25])
@pytest.mark.parametrize("master", MASTERS.values(), ids=MASTERS)
def test_every_point_of_the_contour_lies_at_the_limit(master, limit):
    contour = limit_contour(master, limit)
    assert len(contour) == 72
    for a, b in contour:
        assert coloraide_difference(master, (master[0], a, b)) == pytest.approx(limit, abs=1e-6)


def test_the_contour_is_the_true_shape_and_not_a_circle():
    radii = [math.hypot(a - 14.0, b + 46.0) for a, b in limit_contour(MASTERS["blue"], 0.8)]
    assert max(radii) > 1.5 * min(radii)


@pytest.mark.parametrize("master", MASTERS.values(), ids=MASTERS)
def test_each_band_ends_where_that_coordinate_alone_reaches_the_limit(master):
    for axis, (low, high) in enumerate(bands_alone(master, 0.8)):
        assert low < 0 < high
        for edge in (low, high):
            moved = tuple(part + edge * (index == axis) for index, part in enumerate(master))
            assert coloraide_difference(master, moved) == pytest.approx(0.8, abs=1e-6)


@pytest.mark.parametrize("limit", [0, -1, math.nan, math.inf])
def test_a_limit_that_bounds_nothing_is_refused(limit):
    with pytest.raises(ValueError, match="limit must be positive and finite"):
        limit_contour((50.0, 0.0, 0.0), limit)


def test_the_strip_keeps_the_order_and_the_place_of_a_card_without_a_reading():
    chart = strip_chart(
        cards((50.5, 0, 0), (49.0, 0, 0), None, (50.2, 0, 0), (50.1, 0, 0)), master=(50.0, 0.0, 0.0)
    )
    lightness = chart.rows[0]
    xs = [point.x for point in lightness.points]
    step = xs[1] - xs[0]
    assert [point.label for point in lightness.points] == [f"Batch {n}" for n in (1, 2, 4, 5)]
    assert xs[2] - xs[1] == pytest.approx(2 * step)
    assert len(lightness.lines) == 2  # broken where the reading is missing
    assert [point.values[0] for point in lightness.points] == pytest.approx([0.5, -1.0, 0.2, 0.1])


def test_up_is_lighter_redder_and_yellower_on_one_scale():
    chart = strip_chart(cards((51, 1, 1), (49, -1, -1)), master=(50.0, 0.0, 0.0))
    heights = set()
    for row in chart.rows:
        up, down = row.points
        assert up.y < row.zero < down.y
        assert row.top <= up.y and down.y <= row.bottom
        heights.add((round(row.zero - up.y, 6), round(down.y - row.zero, 6)))
    assert len(heights) == 1


def test_a_band_is_drawn_on_the_same_scale_as_the_points():
    chart = strip_chart(
        cards((50.6, 0, 0)), master=(50.0, 0.0, 0.0), bands=((-0.6, 0.6), (-0.4, 0.5), None)
    )
    lightness, red, yellow = chart.rows
    assert lightness.band[0] == pytest.approx(lightness.points[0].y)
    assert (red.zero - red.band[0]) / (red.band[1] - red.zero) == pytest.approx(1.25, rel=0.01)
    assert yellow.band is None


def test_a_far_card_is_put_at_the_edge_and_leaves_the_others_their_room():
    near, far = (50.4, 0, 0), (80.0, 0, 0)
    bands = bands_alone((50.0, 0.0, 0.0), 0.8)
    chart = strip_chart(cards(near, far), master=(50.0, 0.0, 0.0), bands=bands)
    row = chart.rows[0]
    assert [point.beyond for point in row.points] == [False, True]
    assert row.points[1].y == row.top
    assert row.points[1].values == (30.0,)
    widest = max(edge for band in bands for edge in band)
    half = (row.bottom - row.top) / 2
    assert row.zero - row.points[0].y >= half * 0.4 / (1.2 * FARTHEST_IN_LIMITS * widest)
    assert not row.lines


def test_many_batches_scroll_and_show_only_names_that_fit():
    chart = strip_chart(cards(*[(50, 0, 0)] * 200), master=(50.0, 0.0, 0.0))
    places = [x for x, _ in chart.names]
    assert chart.long and chart.width > 200 * 15
    assert min(after - before for before, after in zip(places, places[1:], strict=False)) >= 50
    assert not strip_chart(cards((50, 0, 0)), master=(50.0, 0.0, 0.0)).long


def test_a_chart_without_any_reading_still_has_its_axes():
    chart = strip_chart(cards(None), master=(50.0, 0.0, 0.0))
    assert all(not row.points and len(row.ticks) == 3 for row in chart.rows)
    assert scatter(cards(None), master=(50.0, 0.0, 0.0), limit=0.8).points == ()


def test_the_scatter_has_one_scale_for_both_axes():
    chart = scatter(cards((50, 1, 0), (50, 0, 1)), master=(50.0, 0.0, 0.0), limit=0.8)
    right, up = chart.points
    x, y = chart.master
    assert right.x - x == pytest.approx(y - up.y) and right.y == y and up.x == x
    assert chart.right - chart.left == chart.bottom - chart.top


def test_a_far_card_in_the_scatter_keeps_its_direction():
    chart = scatter(cards((50, 30, 40), (50, 0.1, 0)), master=(50.0, 0.0, 0.0), limit=0.8)
    far, near = chart.points
    x, y = chart.master
    assert far.beyond and not near.beyond
    assert (y - far.y) / (far.x - x) == pytest.approx(4 / 3, rel=1e-3)
    assert chart.left <= far.x <= chart.right and chart.top <= far.y <= chart.bottom


def test_ticks_stand_at_their_values():
    master = (46.0, -2.1, -8.4)
    chart = scatter(cards((46, -1.1, -8.4), (46, -2.1, -7.4)), master=master, limit=0.8)
    unit = chart.points[0].x - chart.master[0]
    for tick in chart.a_ticks:
        assert (tick.at - chart.master[0]) / unit == pytest.approx(tick.value + 2.1, abs=1e-3)
    for tick in chart.b_ticks:
        assert (chart.master[1] - tick.at) / unit == pytest.approx(tick.value + 8.4, abs=1e-3)
    assert 3 <= len(chart.a_ticks) <= 11


coordinate = st.floats(-60, 60)
colour = st.tuples(st.floats(0, 100), coordinate, coordinate)


@settings(max_examples=60, deadline=None)
@given(colour, st.lists(st.none() | colour, max_size=8))
def test_no_point_ever_leaves_its_chart(master, colours):
    strip = strip_chart(cards(*colours), master=master, bands=bands_alone(master, 0.8))
    for row in strip.rows:
        for point in row.points:
            assert strip.left <= point.x <= strip.right
            assert row.top - 0.01 <= point.y <= row.bottom + 0.01
    plane = scatter(cards(*colours), master=master, limit=0.8)
    for point in plane.points:
        assert plane.left - 0.01 <= point.x <= plane.right + 0.01
        assert plane.top - 0.01 <= point.y <= plane.bottom + 0.01
