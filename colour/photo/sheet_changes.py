"""The sheet made fit for one shop: with a bought chart in a window, or measured after printing."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import replace

from colour.photo.sheet import printed_colours
from colour.photo.target import BadTarget, Lab, Measurement, Patch, Place, Target

# Standard uncertainty, per channel in Lab units, that a patch nobody read adds to the mean of
# those printed alike: how evenly a printer prints over a page; common practice, no source.
PRINT_UNEVENNESS = 0.5
_SLACK_MM = 0.5  # a chart may be this much larger than the window it lies on


def with_chart(
    sheet: Target, chart: Target, window: str = "card 2", *, chart_only: bool = False
) -> Target:
    """The sheet with a bought chart lying centred on one of its windows, which is then none.

    A chart that fits only on its side lies turned a quarter clockwise; where and how it lies is
    in ``extra["chart"]``. Its patches are named after it, as "chart A1".

    Parameters
    ----------
    chart_only : bool, optional
        Take colours from the chart's patches alone, under the chart's own conditions.

    Raises
    ------
    BadTarget
        When the window is missing or too small, or when the two state their colours under unlike
        conditions: such values cannot stand in one fit, and are not converted by guesswork.
    """
    place = sheet.window(window)
    if place is None:
        names = ", ".join(known.name for known in sheet.windows)
        raise BadTarget(f"The sheet has no window {window!r}. Its windows are: {names}.")
    if not chart_only and not _agree(sheet.measurement, chart.measurement):
        raise BadTarget(
            f"{chart.name} states its colours for {_in_words(chart.measurement)}, the sheet for "
            f"{_in_words(sheet.measurement)}, and the two cannot be mixed. Take the chart's "
            "patches alone, or a sheet that was measured under the chart's conditions."
        )
    lies, turned = _lay(chart, place)
    on_chart = tuple(_moved(patch, chart, lies, turned) for patch in chart.patches)
    # Two unlike origins make one target; it is only as good as the weaker.
    kinds = {chart.values} if chart_only else {chart.values, sheet.values}
    return replace(
        sheet,
        name=f"{sheet.name}, with {chart.name}",
        measurement=chart.measurement if chart_only else sheet.measurement,
        values="measured" if kinds == {"measured"} else "nominal",
        patches=on_chart if chart_only else sheet.patches + on_chart,
        windows=tuple(other for other in sheet.windows if other.name != window),
        labels=tuple(other for other in sheet.labels if other.name != window),
        extra={
            **sheet.extra,
            "chart": {
                "name": chart.name,
                "x_mm": lies.x_mm,
                "y_mm": lies.y_mm,
                "width_mm": lies.width_mm,
                "height_mm": lies.height_mm,
                "turned": turned,
            },
        },
    )


def with_measured(
    sheet: Target,
    values: Mapping[str, Lab],
    measurement: Measurement,
    standard_uncertainty: float | Mapping[str, float],
) -> Target:
    """The sheet with what an instrument read of the patches of that very print.

    A patch that was not read takes the mean of those printed in the same colour, with a larger
    uncertainty; so each printed colour must be read at least once.

    Parameters
    ----------
    values : mapping of a patch's name to L*, a*, b*
    standard_uncertainty : float or mapping by name
        Of those values, per channel in Lab units.

    Raises
    ------
    BadTarget
        Naming values of no patch, or patches whose colour was not read anywhere.
    """
    unknown = sorted(set(values) - {patch.name for patch in sheet.patches})
    if unknown:
        raise BadTarget(
            f"The sheet has no patch {_listed(unknown)}. Patches are named by column and row, "
            "A3 to U12."
        )
    own = (
        dict(standard_uncertainty)
        if isinstance(standard_uncertainty, Mapping)
        else dict.fromkeys(values, standard_uncertainty)
    )
    printed = printed_colours()
    alike: defaultdict[object, list[str]] = defaultdict(list)
    for name in values:
        alike[printed.get(name, name)].append(name)
    patches: list[Patch] = []
    unread: dict[object, str] = {}
    for patch in sheet.patches:
        ink = printed.get(patch.name, patch.name)
        if patch.name in values:
            lab, uncertainty = values[patch.name], own[patch.name]
        elif ink in alike:
            lab, uncertainty = _mean_of_alike([(values[name], own[name]) for name in alike[ink]])
        else:
            unread.setdefault(ink, patch.name)
            continue
        patches.append(replace(patch, lab=lab, standard_uncertainty=uncertainty))
    if unread:
        raise BadTarget(
            f"Nothing was read of the colour printed at {_listed(list(unread.values()))}. "
            "Read each printed colour at least once, named by the patch's column and row."
        )
    return replace(sheet, patches=tuple(patches), measurement=measurement, values="measured")


def one_of_each(sheet: Target) -> tuple[str, ...]:
    """The first patch of each printed colour: the fewest to read of a print."""
    printed = printed_colours()
    first: dict[object, str] = {}
    for patch in sheet.patches:
        first.setdefault(printed.get(patch.name, patch.name), patch.name)
    return tuple(first.values())


def _agree(one: Measurement, other: Measurement) -> bool:
    return (
        one.illuminant.casefold() == other.illuminant.casefold() and one.observer == other.observer
    )


def _in_words(measurement: Measurement) -> str:
    return f"{measurement.illuminant}/{measurement.observer}°"


def _lay(chart: Target, window: Place) -> tuple[Place, bool]:
    for turned in (False, True):
        width, height = chart.width_mm, chart.height_mm
        if turned:
            width, height = height, width
        if width <= window.width_mm + _SLACK_MM and height <= window.height_mm + _SLACK_MM:
            x, y = window.centre
            return (
                Place(
                    name=chart.name,
                    x_mm=x - width / 2,
                    y_mm=y - height / 2,
                    width_mm=width,
                    height_mm=height,
                ),
                turned,
            )
    raise BadTarget(
        f"{chart.name} measures {chart.width_mm:g} by {chart.height_mm:g} mm and the window "
        f"{window.name} {window.width_mm:g} by {window.height_mm:g} mm, so it does not fit. "
        "Photograph it beside the cards without the sheet, with a target file of its own."
    )


def _moved(patch: Patch, chart: Target, lies: Place, turned: bool) -> Patch:
    x, y, width, height = patch.x_mm, patch.y_mm, patch.width_mm, patch.height_mm
    if turned:  # clockwise: what was the bottom edge is the left one
        x, y, width, height = chart.height_mm - y - height, x, height, width
    return replace(
        patch,
        name=f"chart {patch.name}",
        x_mm=lies.x_mm + x,
        y_mm=lies.y_mm + y,
        width_mm=width,
        height_mm=height,
    )


def _mean_of_alike(read: Sequence[tuple[Lab, float]]) -> tuple[Lab, float]:
    count = len(read)
    lightness, a, b = (math.fsum(lab[axis] for lab, _ in read) / count for axis in range(3))
    instrument = math.sqrt(math.fsum(uncertainty**2 for _, uncertainty in read) / count)
    return (lightness, a, b), math.hypot(instrument, PRINT_UNEVENNESS)


def _listed(names: Sequence[str], at_most: int = 8) -> str:
    shown = ", ".join(names[:at_most])
    return shown if len(names) <= at_most else f"{shown} and {len(names) - at_most} more"
