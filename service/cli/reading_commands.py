"""Commands on readings files that store nothing: read."""

from __future__ import annotations

from collections.abc import Iterator

import click

from service.cli.frame import ports, read_file
from service.cli.layout import table
from service.cli.ports import FileRead, SampleRead

_SAMPLES_AT_ONCE = 500


@click.command(epilog='Example: keepcard read readings.csv --json   ("-" reads standard input)')
@click.argument("file", type=click.Path())
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object and nothing else.")
def read(file: str, as_json: bool) -> None:
    """Show what a readings FILE holds: samples, conditions, and what it leaves open.

    The format is told by the content, not by the name. Nothing is stored.
    """
    found = ports().read_readings(read_file(file))
    if as_json:
        _print_json(found)
        return
    click.echo(f"{file}: {_counted(len(found.samples), 'sample')} ({found.format})\n")
    click.echo(table(("sample", "angle", "n", "L*", "a*", "b*", "measured under"), _rows(found)))
    if found.warnings:
        click.echo("\nTo know about this file:")
        for warning in found.warnings:
            click.echo(f"- {warning.message}")


def _print_json(found: FileRead) -> None:
    """One JSON object, written sample by sample, so that a large file is never held twice."""
    import json

    def compact(value: object) -> str:
        return json.dumps(value, allow_nan=False)

    click.echo(f'{{"format": {compact(found.format)}, "samples": [', nl=False)
    for start in range(0, len(found.samples), _SAMPLES_AT_ONCE):
        some = found.samples[start : start + _SAMPLES_AT_ONCE]
        text = ", ".join([compact(sample.as_json()) for sample in some])
        click.echo((", " if start else "") + text, nl=False)
    warnings = [{"code": w.code, "message": w.message} for w in found.warnings]
    click.echo(f'], "warnings": {compact(warnings)}}}')


def _rows(found: FileRead) -> Iterator[tuple[str, ...]]:
    for sample in found.samples:
        name = sample.name or "(no name)"
        labs = sample.labs_by_angle()
        for angle, repeats in labs.items():
            mean = [sum(axis) / len(repeats) for axis in zip(*repeats, strict=True)]
            shown = "" if angle is None else f"{angle}°"
            numbers = [f"{value:.2f}" for value in mean]
            yield (name, shown, str(len(repeats)), *numbers, _conditions(sample))
        if not labs:
            yield (name, "", "", "", "", "", f"{_conditions(sample)}, no L*, a*, b*")


def _conditions(sample: SampleRead) -> str:
    """D65/10°, d:8, specular included; what the file leaves open is said to be so."""
    known = sample.conditions
    parts = [
        f"{known.illuminant or 'light?'}/{'?' if known.observer is None else known.observer}°",
        known.geometry or "geometry?",
    ]
    if known.specular is not None:
        parts.append(f"specular {known.specular}")
    return ", ".join(parts)


def _counted(count: int, what: str) -> str:
    return f"{count} {what}" if count == 1 else f"{count:,} {what}s"
