"""``keepcard import``: readings from an instrument's file, all of them or none."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any
from uuid import NAMESPACE_URL, uuid5

import click

from service.cli.frame import Refusal, ports, print_json, read_file
from service.cli.import_spectra import about_spectra, labs_of
from service.cli.opening import data_options, opened
from service.cli.writing import as_option, write

if TYPE_CHECKING:
    from service.cli.ports import FileRead, RecordStore, SampleRead
    from service.use_cases.measuring import JobReading


@dataclass(frozen=True, slots=True, kw_only=True)
class Stated:
    """What the file does not say, said by the person who imports it."""

    stage: str | None
    illuminant: str | None
    observer: int | None
    geometry: str | None
    specular: str | None
    instrument: str | None
    temperature_c: float | None


@click.command("import")
@click.argument("file")
@data_options
@as_option
@click.option("--stage", type=click.Choice(["base_dry", "cleared", "baked", "polished"]))
@click.option("--illuminant", help="As D65, where the file does not say.")
@click.option("--observer", type=click.Choice(["2", "10"]), help="Degrees.")
@click.option("--geometry", help="As 45:0, d:8 or multi-angle; else the instrument's own.")
@click.option("--specular", type=click.Choice(["included", "excluded"]))
@click.option("--instrument", help="Name of a registered instrument.")
@click.option("--temperature", type=float, help="Surface temperature in °C.")
@click.option("--card", help="Code of the one card the file is of, where it names none.")
@click.option("--dry-run", is_flag=True, help="Show what would be stored and store nothing.")
@click.option("--json", "as_json", is_flag=True, help="One JSON object on standard output.")
def import_readings(
    file: str,
    data: Path,
    database: str | None,
    shop: str | None,
    person: str | None,
    stage: str | None,
    illuminant: str | None,
    observer: str | None,
    geometry: str | None,
    specular: str | None,
    instrument: str | None,
    temperature: float | None,
    card: str | None,
    dry_run: bool,
    as_json: bool,
) -> None:
    """Import readings from FILE: each sample goes to the card whose code is its name.

    FILE may be CSV, CGATS.17 or CxF3. Conditions come from the file; what it leaves open must
    be stated here and is never guessed. Everything is stored and judged, or nothing is.
    Importing a file twice stores it once. The export of a whole job is taken in by
    `keepcard restore`.

    Example: keepcard import monday.csv --data /srv/keepcard --as "Pat Painter" --stage baked
    """
    content = read_file(file)
    read = ports().read_readings(content)
    stated = Stated(
        stage=stage,
        illuminant=illuminant,
        observer=int(observer) if observer else None,
        geometry=geometry,
        specular=specular,
        instrument=instrument,
        temperature_c=temperature,
    )
    warnings = [{"code": w.code, "message": w.message} for w in read.warnings]
    warnings += about_spectra(read)
    with opened(data, database, shop) as store:
        found = matched(store, read, stated, card, Path(file).name)
    result: Mapping[str, Any] = {}
    if not dry_run:
        from service.use_cases.measuring import LogReadings

        # The same readings under the same name are the same import.
        key = str(uuid5(NAMESPACE_URL, f"keepcard import {content.hex()} {stated} {card}"))
        result = write(
            LogReadings(id=key, readings=tuple(r for _, r in found)), data, database, shop, person
        )
        with opened(data, database, shop) as store:
            said = _verdicts(store, [reading for _, reading in found])
    else:
        said = []
    if as_json:
        print_json(
            {
                "file": file,
                "stored": not dry_run,
                "readings": [_as_json(code, reading) for code, reading in found],
                "warnings": warnings,
                "verdicts": said,
                "receipt": result.get("receipt"),
            }
        )
        return
    for warning in warnings:
        click.echo(f"Note: {warning['message']}", err=True)
    for code, reading in found:
        click.echo(f"{code}  {_summary(reading)}")
    click.echo("Nothing was stored (--dry-run)." if dry_run else f"{len(found)} readings stored.")
    for sentence in said:
        click.echo(sentence)


def matched(
    store: RecordStore, read: FileRead, stated: Stated, card: str | None, source: str
) -> list[tuple[str, JobReading]]:
    """Each sample with the card it is of.

    Raises
    ------
    Refusal
        Naming every sample that has no card or lacks a condition, with what to state.
    """
    found: list[tuple[str, JobReading]] = []
    wrong: list[str] = []
    if card is not None and len(read.samples) > 1:
        raise Refusal(
            f"The file holds {len(read.samples)} samples, so --card cannot stand for all. "
            "Name the samples by their cards' codes."
        )
    for number, sample in enumerate(read.samples, 1):
        name = card or sample.name
        try:
            found.append(_matched(store, sample, stated, name, source))
        except Refusal as refusal:
            wrong.append(f"Sample {number} ({sample.name or 'no name'}): {refusal.message}")
    if wrong:
        raise Refusal("Nothing was stored.\n" + "\n".join(wrong))
    if not found:
        raise Refusal("The file holds no reading. Nothing was stored.")
    return found


def _matched(
    store: RecordStore, sample: SampleRead, stated: Stated, name: str | None, source: str
) -> tuple[str, JobReading]:
    from service.domain.card_code import grouped, read_card_code
    from service.domain.records.measuring import AngleReading
    from service.domain.records.shop import Instrument
    from service.domain.refused import Refused
    from service.domain.terms import Specular, Stage
    from service.use_cases.measuring import JobReading, Measured

    if not name:
        raise Refusal("it names no card. Name it by the card's code, or give --card.")
    try:
        code = read_card_code(name)
    except Refused as refused:
        raise Refusal(str(refused)) from None
    place = store.card_by_code(code)
    if place is None:
        raise Refusal(f"no card here has the code {grouped(code)}. Log the card first.")
    said = _conditions(sample, stated)
    instrument = None
    if said.instrument is not None:
        named = [i for i in store.shop().all(Instrument) if _same(i.name, said.instrument)]
        if not named:
            raise Refusal(
                f"no instrument is registered as {said.instrument}. "
                "Register it, or name a registered one by --instrument."
            )
        instrument = named[0]
    missing = [
        f"--{field}"
        for field in ("stage", "illuminant", "observer", "geometry")
        if getattr(said, field) is None
        and not (field == "geometry" and instrument is not None and instrument.geometry)
    ]
    if missing:
        raise Refusal(f"the file does not say everything. State {', '.join(missing)}.")
    angles = tuple(
        AngleReading(angle=angle, repeats=tuple(labs))
        for angle, labs in labs_of(sample, said.illuminant, said.observer).items()
    )
    temperatures = sample.temperatures_c()
    temperature = sum(temperatures) / len(temperatures) if temperatures else said.temperature_c
    reading = Measured(
        stage=Stage(str(said.stage)),
        illuminant=str(said.illuminant),
        observer=int(said.observer or 0),
        geometry=said.geometry,
        specular=Specular(said.specular) if said.specular else None,
        angles=angles,
        card_id=place[1],
        instrument_id=instrument.root if instrument else None,
        surface_temperature_c=temperature,
        source=source,
    )
    return grouped(code), JobReading(job_id=place[0], reading=reading)


def _conditions(sample: SampleRead, stated: Stated) -> Stated:
    """The file's own word first; where both speak and differ, neither is guessed to be right."""
    conditions = sample.conditions
    # A file names the instrument as its maker does, the shop as it likes: here the shop's word
    # holds, where everywhere else two different words are a contradiction.
    in_file: dict[str, Any] = {
        "stage": sample.stage,
        "illuminant": conditions.illuminant,
        "observer": conditions.observer,
        "geometry": conditions.geometry,
        "specular": conditions.specular,
        "instrument": stated.instrument or sample.instrument,
    }
    for name, value in in_file.items():
        other = getattr(stated, name)
        if value is not None and other is not None and not _same(str(value), str(other)):
            raise Refusal(f"the file says {name} {value}, --{name} says {other}. Leave one out.")
    return replace(stated, **{n: v for n, v in in_file.items() if v is not None})


def _same(one: str, other: str) -> bool:
    return one.strip().casefold() == other.strip().casefold()


def _summary(reading: JobReading) -> str:
    measured = reading.reading
    repeats = {len(angle.repeats) for angle in measured.angles}
    angles = [f"{angle.angle}°" for angle in measured.angles if angle.angle is not None]
    at = f" at {', '.join(angles)}" if angles else ""
    return (
        f"{measured.stage}, {measured.illuminant}/{measured.observer}°, {max(repeats)} repeats{at}"
    )


def _as_json(code: str, reading: JobReading) -> dict[str, object]:
    measured = reading.reading
    return {
        "card": code,
        "job_id": reading.job_id,
        "stage": measured.stage,
        "illuminant": measured.illuminant,
        "observer": measured.observer,
        "geometry": measured.geometry,
        "specular": measured.specular,
        "angles": {
            str(angle.angle) if angle.angle is not None else "": [list(r) for r in angle.repeats]
            for angle in measured.angles
        },
    }


def _verdicts(store: RecordStore, readings: list[JobReading]) -> list[str]:
    """What is said now of each batch whose card was read."""
    from service.domain.lookups import verdict_on_batch
    from service.domain.records.cards import Card

    said: dict[str, str] = {}
    for item in readings:
        file = store.job(item.job_id)
        card = file.find(Card, item.reading.card_id)
        verdict = verdict_on_batch(file, card.batch_id) if card else None
        if card is not None and verdict is not None:
            said[card.batch_id] = verdict.sentence
    return list(said.values())
