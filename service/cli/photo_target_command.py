"""``keepcard photo-target``: the sheet that lies in the frame of a photograph, to print or read."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import click

from service.cli.frame import Refusal, ports, print_json, read_file

if TYPE_CHECKING:
    from colour.photo.target import Target
    from service.cli.ports import SampleRead

FIRST_WORDS = """\
The photo sheet goes under the cards when they are photographed: its patches have known colours
and tell what the camera and the light did. It has {windows} windows, for the cards and their
master, and {patches} patches.

1. Print it in colour at 100 %:     keepcard photo-target --pdf sheet.pdf
   and check that its bar is 100 mm long.
2. Lay master and card in their windows and photograph them from above in soft, even light.
3. Read the photograph:             keepcard photo-target --json > sheet.json
                                    keepcard measure PHOTO --target sheet.json

Its colours are nominal: each printer strays from them, so what is read is less certain. With an
instrument, print one with a code of its own (--print-code), read its patches once each, name the
readings by column and row (as {first}), and give them by --measured."""


@click.command(epilog="Example: keepcard photo-target --paper letter --pdf sheet.pdf")
@click.option(
    "--paper", type=click.Choice(["a4", "letter"]), default="a4", show_default=True, help="Size."
)
@click.option(
    "--print-code",
    metavar="CODE",
    help="Four letters or digits that tell this print from others, to register it by.",
)
@click.option(
    "--measured",
    metavar="READINGS",
    help="Readings of this print's patches, each named by column and row, as C4; one of each "
    "printed colour will do.",
)
@click.option(
    "--chart", metavar="TARGET", help="Target file of a bought chart to lay in the third window."
)
@click.option(
    "--chart-only", is_flag=True, help="Take colours from that chart alone, not from the sheet."
)
@click.option("--pdf", type=click.Path(dir_okay=False, path_type=Path), help="Write it to print.")
@click.option("--png", type=click.Path(dir_okay=False, path_type=Path), help="Write a picture.")
@click.option("--svg", type=click.Path(dir_okay=False, path_type=Path), help="Write a drawing.")
@click.option("--json", "as_json", is_flag=True, help="Print the target file and nothing else.")
def photo_target(
    paper: str,
    print_code: str | None,
    measured: str | None,
    chart: str | None,
    chart_only: bool,
    pdf: Path | None,
    png: Path | None,
    svg: Path | None,
    as_json: bool,
) -> None:
    """Make the sheet that lies under the cards in a photograph: to print, and as numbers.

    The numbers are the target file that `keepcard measure --target` takes.
    """
    from colour.photo.target import BadTarget

    if chart_only and chart is None:
        raise Refusal("--chart-only needs a chart. Name its target file by --chart.")
    try:
        target = _target(paper, print_code, measured, chart, chart_only)
        files = [(form, file) for form, file in (("pdf", pdf), ("png", png), ("svg", svg)) if file]
        for form, file in files:
            _write(file, ports().photo_sheet_as(form, target))
    except BadTarget as error:
        raise Refusal(str(error)) from None
    if as_json:
        print_json(target.as_json())
        return
    for _, file in files:
        click.echo(f"{file} holds the sheet. Print it at 100 % and check its 100 mm bar.")
    if measured is not None or chart is not None:
        for line in _said(target):
            click.echo(line)
    elif not files:
        click.echo(
            FIRST_WORDS.format(
                windows=len(target.windows),
                patches=len(target.patches),
                first=target.patches[0].name,
            )
        )


def _target(
    paper: str, print_code: str | None, measured: str | None, chart: str | None, chart_only: bool
) -> Target:
    from colour.photo.sheet import NO_PRINT, sheet_target
    from colour.photo.sheet_changes import with_chart

    if print_code is None:
        print_code = NO_PRINT
    else:
        from service.domain.records.shop import check_print_code

        print_code = print_code.strip().upper()
        check_print_code(print_code)
    target = sheet_target(paper, print_code)
    if measured is not None:
        target = _measured(target, ports().read_readings(read_file(measured)).samples)
    if chart is not None:
        target = with_chart(target, _target_in(chart), chart_only=chart_only)
    return target


def _measured(sheet: Target, samples: Sequence[SampleRead]) -> Target:
    from colour.photo.sheet_changes import with_measured
    from colour.photo.target import Measurement
    from service.use_cases.photo_targets import measured_target

    names = {patch.name.casefold() for patch in sheet.patches}
    read = {(sample.name or "").strip().casefold() for sample in samples}
    _refuse_unknown(sorted(read - names))
    stated = measured_target(
        replace(sheet, patches=tuple(p for p in sheet.patches if p.name.casefold() in read)),
        samples,
    )
    return with_measured(
        sheet,
        {patch["name"]: tuple(patch["lab"]) for patch in stated["patches"]},
        Measurement(**stated["measurement"]),
        {patch["name"]: patch["standard_uncertainty"] for patch in stated["patches"]},
    )


def _refuse_unknown(names: Sequence[str]) -> None:
    if names:
        shown = ", ".join(name.upper() or "(no name)" for name in names[:8])
        raise Refusal(
            f"The readings name what is no patch of the sheet: {shown}. Name each by its column "
            "and row on the paper, as C4."
        )


def _target_in(path: str) -> Target:
    import json

    from colour.photo.target import Target

    try:
        data = json.loads(read_file(path))
    except ValueError as error:
        raise Refusal(
            f"'{path}' is no JSON ({error}). Give a target file in the form of "
            "`keepcard photo-target --json`."
        ) from None
    return Target.from_json(data)


def _write(file: Path, content: bytes) -> None:
    try:
        file.write_bytes(content)
    except OSError as error:
        reason = (error.strerror or str(error)).lower()
        raise Refusal(f"{file} cannot be written: {reason}. Name another place.") from None


def _said(target: Target) -> Iterable[str]:
    conditions = f"{target.measurement.illuminant}/{target.measurement.observer}°"
    yield (
        f"{target.name}: {len(target.patches)} patches, {target.values} for {conditions}. "
        "Add --json for its target file."
    )
    chart = target.extra.get("chart")
    if isinstance(chart, dict):
        turned = "with its top edge to the right" if chart["turned"] else "upright"
        yield f"Lay {chart['name']} {turned} in the middle of the third window."
        if len(target.patches) and all(p.name.startswith("chart ") for p in target.patches):
            yield (
                "Colours are taken from the chart alone, so uneven light over the cards is not "
                "seen: turn the sheet round and photograph it again, and compare."
            )
