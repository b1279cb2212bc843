"""A bought chart on the sheet, and values measured on a print."""

import math
from dataclasses import replace

import pytest

from colour.photo.sheet import printed_colours, sheet_target
from colour.photo.sheet_changes import PRINT_UNEVENNESS, one_of_each, with_chart, with_measured
from colour.photo.target import BadTarget, Measurement, Patch, Target

D65, D50 = Measurement(illuminant="D65", observer="2"), Measurement(illuminant="D50", observer="2")
SHEET = sheet_target("a4")


def chart(width=50.0, height=80.0, measurement=D65, values="nominal"):
    patches = tuple(
        Patch(
            name=f"A{i + 1}",
            x_mm=2.0,
            y_mm=2.0 + 8 * i,
            width_mm=6.0,
            height_mm=7.0,
            lab=(10.0 * i, 1.0, 2.0),
        )
        for i in range(6)
    )
    return Target(
        name="invented chart",
        width_mm=width,
        height_mm=height,
        measurement=measurement,
        patches=patches,
        windows=(),
        values=values,
    )


def test_a_chart_takes_the_third_windows_place():
    both = with_chart(SHEET, chart())
    assert [w.name for w in both.windows] == ["card", "master"]
    assert [label.name for label in both.labels] == ["card", "master"]
    assert len(both.patches) == len(SHEET.patches) + 6
    assert both.markers == SHEET.markers and both.measurement == D65
    window = SHEET.window("card 2")
    first = next(p for p in both.patches if p.name == "chart A1")
    assert first.x_mm == pytest.approx(window.centre[0] - 25 + 2)
    assert first.y_mm == pytest.approx(window.centre[1] - 40 + 2)
    assert (first.width_mm, first.height_mm) == (6.0, 7.0)
    assert both.extra["chart"]["turned"] is False
    assert Target.from_json(both.as_json()) == both


def test_a_chart_that_fits_only_on_its_side_lies_turned_clockwise():
    both = with_chart(SHEET, chart(width=80.0, height=50.0))
    window = SHEET.window("card 2")
    moved = {p.name: p for p in both.patches}
    first, last = moved["chart A1"], moved["chart A6"]
    # A clockwise quarter turn takes the top left corner to the top right.
    assert first.x_mm + first.width_mm == pytest.approx(window.centre[0] + 25 - 2)
    assert first.y_mm == pytest.approx(window.centre[1] - 40 + 2)
    assert (first.width_mm, first.height_mm) == (7.0, 6.0)
    assert last.x_mm < first.x_mm and last.y_mm == first.y_mm
    assert both.extra["chart"]["turned"] is True


def test_a_chart_stated_for_other_conditions_is_refused_or_taken_alone():
    other = chart(measurement=D50, values="measured")
    with pytest.raises(BadTarget, match="for D50/2°, the sheet for D65/2°.*cannot be mixed"):
        with_chart(SHEET, other)
    alone = with_chart(SHEET, other, chart_only=True)
    assert alone.measurement == D50 and alone.values == "measured"
    assert {p.name for p in alone.patches} == {f"chart A{i}" for i in range(1, 7)}
    assert alone.markers == SHEET.markers


def test_a_sheet_with_nominal_and_measured_patches_is_called_nominal():
    assert with_chart(SHEET, chart(values="measured")).values == "nominal"
    measured = replace(SHEET, values="measured")
    assert with_chart(measured, chart(values="measured")).values == "measured"


def test_a_chart_too_large_or_a_window_that_is_not_there_is_refused():
    with pytest.raises(BadTarget, match="100 by 70 mm and the window card 2 63 by 84 mm"):
        with_chart(SHEET, chart(width=100.0, height=70.0))
    with pytest.raises(BadTarget, match="no window 'card 3'. Its windows are: card, master, car"):
        with_chart(SHEET, chart(), "card 3")


def test_measured_values_take_the_place_of_nominal_ones():
    values = {p.name: (p.lab[0] * 0.9 + 5, p.lab[1], p.lab[2]) for p in SHEET.patches}
    measured = with_measured(SHEET, values, D50, 0.3)
    assert measured.values == "measured" and measured.measurement == D50
    assert {p.name: p.lab for p in measured.patches} == values
    assert {p.standard_uncertainty for p in measured.patches} == {0.3}
    assert Target.from_json(measured.as_json()) == measured


def test_one_reading_of_each_printed_colour_fills_the_rest_and_says_it_is_less_certain():
    names = one_of_each(SHEET)
    assert len(names) == len(set(printed_colours().values())) < len(SHEET.patches) / 2 + 1
    measured = with_measured(
        SHEET, {n: (50.0, float(i), 0.0) for i, n in enumerate(names)}, D65, 0.4
    )
    assert [p.name for p in measured.patches] == [p.name for p in SHEET.patches]
    printed = printed_colours()
    read = {printed[n]: float(i) for i, n in enumerate(names)}
    for patch in measured.patches:
        assert patch.lab == (50.0, read[printed[patch.name]], 0.0)
        own = 0.4 if patch.name in names else math.hypot(0.4, PRINT_UNEVENNESS)
        assert patch.standard_uncertainty == pytest.approx(own)


def test_a_colour_never_read_and_a_name_of_no_patch_are_refused_by_name():
    names = one_of_each(SHEET)
    with pytest.raises(BadTarget, match=f"Nothing was read of the colour printed at {names[3]}."):
        with_measured(SHEET, dict.fromkeys(set(names) - {names[3]}, (50.0, 0.0, 0.0)), D65, 0.3)
    with pytest.raises(BadTarget, match="The sheet has no patch Z99."):
        with_measured(SHEET, {"Z99": (50.0, 0.0, 0.0)}, D65, 0.3)
