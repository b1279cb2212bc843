"""The command that draws up a control chart of the columns of a file, rows in time order."""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any, NamedTuple

import click

from service.cli.arguments import NumberType, number_from
from service.cli.frame import Refusal, print_json, read_file
from service.cli.layout import table

if TYPE_CHECKING:
    from colour.control import ControlChart

_MOST_ROWS = 100_000


class Columns(NamedTuple):
    """The variables of a file, rows in time order; texts in a column name the rows."""

    names: list[str]
    rows: list[list[float]]
    labels: list[str] | None


@click.command(
    epilog="Example: keepcard control batches.csv --chart t2 --phase 1   "
    "One column: keepcard control batches.csv --chart ewma --column dL --target 0 --json"
)
@click.argument("file", type=click.Path())
@click.option(
    "--chart",
    type=click.Choice(["individuals", "ewma", "t2"]),
    required=True,
    help="Single values, their weighted average, or several variables at once.",
)
@click.option("--column", "chosen", multiple=True, help="Take this column only; may be repeated.")
@click.option(
    "--lambda",
    "weight",
    type=NumberType(0.001, 1),
    default=0.3,
    show_default=True,
    help="Weight of the newest value (ewma).",
)
@click.option(
    "--sigma",
    type=NumberType(0.1, 10),
    default=3.0,
    show_default=True,
    help="Width of the limits in standard deviations (individuals, ewma).",
)
@click.option(
    "--alpha",
    type=NumberType(1e-6, 0.5),
    default=0.0027,
    show_default=True,
    help="Chance of a false signal at each point (t2).",
)
@click.option(
    "--phase",
    type=click.Choice(["1", "2"]),
    default="1",
    show_default=True,
    help="1: do these rows hold together? 2: do they hold to the baseline (t2)?",
)
@click.option(
    "--baseline", type=click.Path(), help="File of the rows that held together (t2, phase 2)."
)
@click.option("--target", type=NumberType(-1e6, 1e6), help="The centre, where it is known.")
@click.option(
    "--standard-deviation", type=NumberType(1e-9, 1e6), help="The spread, where it is known."
)
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object and nothing else.")
def control(
    file: str,
    chart: str,
    chosen: tuple[str, ...],
    weight: float,
    sigma: float,
    alpha: float,
    phase: str,
    baseline: str | None,
    target: float | None,
    standard_deviation: float | None,
    as_json: bool,
) -> None:
    """Draw up a control chart of FILE: its columns are variables, its rows in time order.

    Chart the signed differences from the master, ΔL*, Δa*, Δb*; ΔE00 itself has no place on
    one. A column of words names the rows.
    """
    from colour import control as charts

    read = columns_of(file, chosen)
    try:
        if chart == "t2":
            _refuse_together(
                t2=True,
                target=target is not None,
                standard_deviation=standard_deviation is not None,
            )
            held = None
            if baseline is not None:
                if phase != "2":
                    raise Refusal("A baseline is for phase 2. Add --phase 2, or leave it out.")
                held = charts.baseline_of(columns_of(baseline, chosen or tuple(read.names)).rows)
            made = charts.t_squared(read.rows, alpha=alpha, baseline=held, phase=int(phase))
        else:
            _refuse_together(t2=False, baseline=baseline is not None)
            series = _one_variable(read, chart)
            known: dict[str, Any] = {"target": target, "standard_deviation": standard_deviation}
            if chart == "ewma":
                made = charts.ewma(series, weight=weight, sigma=sigma, **known)
            else:
                made = charts.individuals(series, sigma=sigma, **known)
    except ValueError as error:
        raise Refusal(f"'{file}' gives no chart: {error}.") from None
    notes = _notes(read, chart, standard_deviation, phase, baseline)
    if as_json:
        print_json({**_as_values(made, chart), "columns": read.names, "notes": notes})
    else:
        click.echo(_as_text(file, read, made, chart))
        for note in notes:
            click.echo(f"\n{note}")


def columns_of(file: str, chosen: Sequence[str]) -> Columns:
    """The columns of a file that hold numbers, or those that were chosen.

    Raises
    ------
    Refusal
        Naming the first cell that cannot be taken, with what to do.
    """
    lines = _cells(file)
    first = lines[0]
    headed = any(
        number_from(cell) is None and (len(lines) == 1 or (number_from(below) is not None))
        for cell, below in zip(first, lines[min(1, len(lines) - 1)], strict=False)
    )
    names = [cell or f"column {n}" for n, cell in enumerate(first, 1)] if headed else []
    names = names or [f"column {n}" for n in range(1, len(first) + 1)]
    body = lines[1:] if headed else lines
    start = 2 if headed else 1
    if not body:
        raise Refusal(f"'{file}' holds a heading and no rows. Give it a row for each batch.")
    for number, cells in enumerate(body, start):
        if len(cells) != len(names):
            raise Refusal(
                f"Row {number} of '{file}' has {len(cells)} values and the first has "
                f"{len(names)}. Make them alike."
            )
    worded = [
        place
        for place in range(len(names))
        if all(number_from(cells[place]) is None and cells[place] for cells in body)
    ]
    taken = [place for place in range(len(names)) if place not in worded]
    if chosen:
        by_name = {name.casefold(): place for place, name in enumerate(names)}
        unknown = [name for name in chosen if name.strip().casefold() not in by_name]
        if unknown:
            raise Refusal(
                f"'{file}' has no column {unknown[0]!r}. It has {', '.join(names)}; name one."
            )
        taken = [by_name[name.strip().casefold()] for name in chosen]
    rows = []
    for number, cells in enumerate(body, start):
        values = [number_from(cells[place]) for place in taken]
        for place, value in zip(taken, values, strict=True):
            if value is None:
                raise Refusal(
                    f"Row {number} of '{file}', column {names[place]!r}: {cells[place]!r} is no "
                    "number. Correct it, or leave the row out."
                )
        rows.append([float(value) for value in values if value is not None])
    if not taken:
        raise Refusal(f"'{file}' holds no column of numbers. Give it one for each variable.")
    labels = [cells[worded[0]] for cells in body] if worded else None
    return Columns([names[place] for place in taken], rows, labels)


def _cells(file: str) -> list[list[str]]:
    try:
        text = read_file(file).decode("utf-8-sig")
    except UnicodeDecodeError:
        raise Refusal(f"'{file}' is no text. Export it as CSV.") from None
    lines = [line for line in text.splitlines() if line.strip() and not line.startswith("#")]
    if not lines:
        raise Refusal(f"'{file}' is empty. Give it a row for each batch.")
    if len(lines) > _MOST_ROWS:
        raise Refusal(f"'{file}' has {len(lines)} rows. Chart {_MOST_ROWS} at most.")
    # With semicolons or tabs about, a comma is the decimal mark.
    separator = next((sign for sign in "\t;" if sign in lines[0]), ",")
    return [
        [cell.strip() for cell in row]
        for row in csv.reader(io.StringIO("\n".join(lines)), delimiter=separator)
        if row
    ]


def _one_variable(read: Columns, chart: str) -> list[float]:
    if len(read.names) != 1:
        raise Refusal(
            f"The chart {chart} is of one variable and the file has {len(read.names)}: "
            f"{', '.join(read.names)}. Choose one by --column, or chart all by --chart t2."
        )
    return [row[0] for row in read.rows]


def _refuse_together(*, t2: bool, **given: bool) -> None:
    for name, is_given in given.items():
        if is_given:
            option = "--" + name.replace("_", "-")
            raise Refusal(
                f"The chart t2 takes its centre and spread from the rows, so {option} has no "
                "place. Give the rows that held together by --baseline with --phase 2."
                if t2
                else f"{option} is for the chart t2. Leave it out, or add --chart t2."
            )


def _notes(
    read: Columns, chart: str, stated: float | None, phase: str, baseline: str | None
) -> list[str]:
    from colour.control import ENOUGH

    notes = []
    if stated is None and baseline is None and len(read.rows) < ENOUGH:
        notes.append(
            f"Not enough batches: {len(read.rows)} rows make these limits, and {ENOUGH} at least "
            "are wanted. Take them as a first look."
        )
    if chart == "t2" and phase == "2" and baseline is None:
        notes.append("The limit is for the next row, with all rows of the file as its baseline.")
    return notes


def _as_values(made: ControlChart, chart: str) -> dict[str, Any]:
    """As the contract has it: a line that does not change with time is one number."""
    steady = chart != "ewma"

    def line(values: Any) -> Any:
        if values is None:
            return None
        return float(values[0]) if steady else values.tolist()

    return {
        "centre": made.centre.tolist(),
        "lower": line(made.lower),
        "upper": line(made.upper),
        "points": made.points.tolist(),
        "signals": [place + 1 for place in made.signals],
        "runs": [place + 1 for place in made.runs],
        "standard_deviation": made.standard_deviation,
    }


def _as_text(file: str, read: Columns, made: ControlChart, chart: str) -> str:
    """The answer first, then the points with their limits."""
    names = [label for label in read.labels or []] or [str(n + 1) for n in range(len(read.rows))]
    outside = [names[place] for place in made.signals]
    runs = [names[place] for place in made.runs]
    said = f"Outside the limits: {', '.join(outside)}." if outside else "No row lies outside."
    if runs:
        said += f" Eight or more in a row on one side of the centre, at {', '.join(runs)}."
    rows = []
    for place, name in enumerate(names):
        low = "" if made.lower is None else f"{made.lower[place]:.4f}"
        marks = ["outside"] * (place in made.signals) + ["run"] * (place in made.runs)
        rows.append(
            [name, f"{made.points[place]:.4f}", low, f"{made.upper[place]:.4f}", " ".join(marks)]
        )
    what = {"individuals": "value", "ewma": "average", "t2": "T²"}[chart]
    centre = ", ".join(f"{n} {v:.4f}" for n, v in zip(read.names, made.centre.ravel(), strict=True))
    return f"{said}\n\n{file}: centre {centre}\n\n" + table(
        ["row", what, "lower", "upper", ""], rows
    )
