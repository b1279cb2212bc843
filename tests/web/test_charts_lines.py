"""Lines and angles stand where their numbers say, and their letters keep apart."""

import pytest

from service.web.charts_angles import AngleMark, angle_chart
from service.web.charts_lines import Line, legible, line_chart


def value_at(at, ticks):
    low, high = ticks[0], ticks[-1]
    return low.value + (at - low.at) * (high.value - low.value) / (high.at - low.at)


def points_of(line):
    return [tuple(map(float, pair.split(","))) for pair in line.path[1:].split("L")]


NM = [400.0 + 10 * n for n in range(31)]


def test_every_measured_value_is_drawn_at_its_place_and_nothing_between():
    values = [5.0 + (n % 7) for n in range(31)]
    chart = line_chart([Line(name="master", stroke="solid", xs=NM, ys=values)])
    points = points_of(chart.lines[0])
    assert len(points) == 31
    assert [value_at(x, chart.x_ticks) for x, _ in points] == pytest.approx(NM, abs=0.05)
    assert [value_at(y, chart.y_ticks) for _, y in points] == pytest.approx(values, abs=0.01)
    assert chart.y_ticks[0].value == 0 and chart.y_ticks[0].at == chart.bottom
    assert chart.zero is None


def test_a_difference_has_a_line_at_zero_and_room_on_both_sides():
    chart = line_chart(
        [Line(name="", stroke="solid", xs=NM, ys=[-0.4] * 30 + [0.2])], difference=True
    )
    assert chart.top < chart.zero < chart.bottom
    assert value_at(chart.zero, chart.y_ticks) == pytest.approx(0, abs=1e-3)


def test_a_spectrum_s_noise_does_not_fill_the_drawing():
    chart = line_chart(
        [Line(name="", stroke="solid", xs=NM, ys=[0.001 * (-1) ** n for n in range(31)])],
        difference=True,
        least=1.0,
    )
    heights = [y for _, y in points_of(chart.lines[0])]
    assert max(heights) - min(heights) < 0.01 * (chart.bottom - chart.top)


def test_names_at_the_ends_never_cover_each_other():
    lines = [
        Line(name=str(n), stroke="solid", xs=[0, 1], ys=[0.0, y])
        for n, y in enumerate((1.0, 1.01, 1.02, 0.0))
    ]
    chart = line_chart(lines)
    at = sorted(line.label_at for line in chart.lines)
    assert min(b - a for a, b in zip(at, at[1:], strict=False)) >= 16.9
    assert chart.top <= at[0] and at[-1] <= chart.bottom + 0.1


@pytest.mark.parametrize("value", [0.0, 3.0, -3.0])
def test_a_flat_line_still_has_axes(value):
    chart = line_chart([Line(name="x", stroke="solid", xs=[1, 2], ys=[value, value])])
    assert len(chart.y_ticks) >= 2
    assert all(chart.top - 0.1 <= y <= chart.bottom + 0.1 for _, y in points_of(chart.lines[0]))


def marks(**more):
    return [
        AngleMark(angle=15, limit=1.4, difference=0.2, bounds=(0.0, 0.4), word="blends"),
        AngleMark(angle=45, limit=0.8),
        AngleMark(
            angle=110, limit=0.8, difference=1.5, bounds=(1.3, 1.7), word="shows", decides=True
        ),
    ]


def test_each_angle_stands_over_its_own_limit():
    chart = angle_chart(marks(), label="Batch 2", href="/c/2")
    face, middle, flop = chart.bars
    assert value_at(face.limit, chart.y_ticks) == pytest.approx(1.4, abs=0.01)
    assert value_at(flop.limit, chart.y_ticks) == pytest.approx(0.8, abs=0.01)
    assert value_at(face.point.y, chart.y_ticks) == pytest.approx(0.2, abs=0.01)
    assert value_at(flop.range[0], chart.y_ticks) == pytest.approx(1.7, abs=0.01)
    assert middle.point is None and middle.range is None
    assert flop.decides and not face.decides
    assert flop.point.y < flop.limit and face.point.y > face.limit
    assert face.point.href == "/c/2" and face.point.label == "Batch 2 at 15°"


def test_angles_are_as_far_apart_as_their_degrees():
    chart = angle_chart(marks(), label="x", href="")
    at = [bar.at for bar in chart.bars]
    assert (at[1] - at[0]) / (at[2] - at[1]) == pytest.approx(30 / 65, rel=1e-3)


def test_a_far_angle_is_put_at_the_edge_and_said_to_be_beyond():
    far = AngleMark(angle=75, limit=0.8, difference=9.0, bounds=(8.5, 9.5), word="shows")
    chart = angle_chart([*marks(), far], label="x", href="")
    bar = chart.bars[2]
    assert bar.point.beyond and bar.point.y == chart.top
    assert chart.bars[0].limit < chart.bottom - 20


def test_bands_of_near_angles_do_not_touch():
    near = [
        AngleMark(angle=a, limit=0.8, difference=0.1, word="blends") for a in (-15, 15, 25, 110)
    ]
    chart = angle_chart(near, label="x", href="")
    for before, after in zip(chart.bars, chart.bars[1:], strict=False):
        assert before.right < after.left


def test_all_six_usual_angles_are_lettered_and_crowded_ones_keep_the_one_that_decided():
    usual = [AngleMark(angle=a, limit=0.8, word="blends") for a in (-15, 15, 25, 45, 75, 110)]
    assert len(angle_chart(usual, label="x", href="").x_labels) == 6
    crowded = [
        AngleMark(angle=a, limit=0.8, word="blends", difference=0.1, decides=a == 17)
        for a in (15, 16, 17, 18, 110)
    ]
    shown = [tick.value for tick in angle_chart(crowded, label="x", href="").x_labels]
    assert 17 in shown and len(shown) < 5
    assert legible([]) == []


def test_one_angle_alone_is_drawn():
    chart = angle_chart(marks()[:1], label="x", href="")
    assert chart.left < chart.bars[0].at < chart.right
