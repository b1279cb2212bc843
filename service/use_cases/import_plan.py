"""Matching the samples of a readings file to cards: what would be stored, or all that is wrong."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, fields, replace
from datetime import datetime

from service.domain.card_code import grouped
from service.domain.from_spectra import FROM_SPECTRA
from service.domain.lookups import the_job
from service.domain.records.base import check_range, check_text
from service.domain.records.shop import Instrument
from service.domain.records.spraying import Batch
from service.domain.refused import Invalid
from service.domain.terms import Specular, Stage
from service.use_cases.import_cards import CardFinder, Found
from service.use_cases.import_colours import Colours, are_two_halves, colours_of, said_of
from service.use_cases.import_conditions import Conditions
from service.use_cases.import_ports import FileRead, SampleRead
from service.use_cases.import_trouble import Trouble
from service.use_cases.importing import (
    MOST_READINGS,
    MOST_SAMPLES,
    ImportPlan,
    Note,
    PlaceOfCode,
    Planned,
    Stated,
    on_record,
)
from service.use_cases.measuring import JobReading, Measured
from service.use_cases.ports import Store

MOST_NAMED = 10


def plan_import(
    file: FileRead,
    stated: Stated,
    *,
    store: Store,
    place_of_code: PlaceOfCode,
    source: str,
    card: str | None = None,
    fill_gaps: bool = False,
    leave_out_unknown: bool = False,
    option: str = "",
    read_at: datetime | None = None,
) -> ImportPlan:
    """What importing a file would store, sample by sample, with every problem at once.

    Parameters
    ----------
    file : FileRead
    stated : Stated
        What the file does not say. What it does say must not be stated otherwise, unless
        ``fill_gaps``: then what is stated holds for the samples that do not say it themselves.
    source : str
        The file's name, kept with each reading.
    card : str, optional
        Code of the one card the file is of, where its samples name none.
    leave_out_unknown : bool
        Samples that name no card of this shop are passed over instead of refused.
    read_at : datetime, optional
        When the readings were taken, with its zone; just now where it is not given.
    option : str
        What stands before the name of a field where it is stated, for the sentences.
    """
    trouble = Trouble(option)
    finder = CardFinder(store, place_of_code, trouble, leave_out_unknown)
    conditions = Conditions(stated, store.shop().all(Instrument), fill_gaps, trouble)
    planned = _Planning(finder, conditions, trouble, source).plan(file, card)
    return replace(planned, read_at=read_at)


@dataclass(slots=True)
class _Placed:
    """A sample with the card, the zone and the conditions it was read under."""

    number: int
    sample: SampleRead
    found: Found
    said: Stated
    instrument: Instrument | None

    @property
    def surface(self) -> tuple[object, ...]:
        """Samples alike in this are of one surface under one set of conditions."""
        said = replace(self.said, temperature_c=None)
        instrument = self.instrument.root if self.instrument else None
        zone = self.found.zone.root if self.found.zone else None
        return self.found.card.root, zone, said, instrument

    @property
    def repeat(self) -> int | None:
        """The repeat number its name ends in."""
        return self.found.beside.repeat


@dataclass(slots=True)
class _Planning:
    finder: CardFinder
    conditions: Conditions
    trouble: Trouble
    source: str

    def plan(self, file: FileRead, card: str | None) -> ImportPlan:
        notes = [Note(code=w.code, message=w.message) for w in file.warnings]
        if not file.samples:
            self.trouble.wrong("empty", 0, None, "The file holds no reading.")
        lamps = [w.message for w in file.warnings if w.code == "spectrum_no_reflectance"]
        if lamps:
            self.trouble.wrong(
                "no_reflectance",
                0,
                None,
                " ".join(lamps),
                "Export the readings of the cards alone.",
            )
        samples = () if lamps else file.samples
        if len(samples) > MOST_SAMPLES:
            self.trouble.wrong(
                "too_many",
                0,
                None,
                f"The file holds {len(samples)} samples; at most {MOST_SAMPLES} are taken at once.",
                "Split it, or export less of the instrument's memory.",
            )
            samples = ()
        whole = self.finder.one_card(samples, card) if card else None
        placed = [self._placed(n, s, card, whole) for n, s in enumerate(samples, 1)]
        planned: list[Planned] = []
        colours: list[tuple[str, str, Colours]] = []
        for group in self._groups(one for one in placed if one is not None):
            made = self._made(group)
            if made is not None:
                planned.append(made[0])
                light = f"{group[0].said.illuminant}/{group[0].said.observer}°"
                colours.append((made[0].name, light, made[1]))
        notes += [Note(code=code, message=said) for code, said in said_of(colours)]
        if self.finder.left_out:
            listed = ", ".join(self.finder.left_out[:MOST_NAMED])
            more = len(self.finder.left_out) - MOST_NAMED
            notes.append(
                Note(
                    code="left_out",
                    message="Samples that name no card here are left out: "
                    f"{listed}{f' and {more} more' if more > 0 else ''}.",
                )
            )
            if len(self.finder.left_out) == len(samples):
                self.trouble.wrong("empty", 0, None, "No sample of the file names a card here.")
        fresh = sum(one.on_record is None for one in planned)
        if fresh > MOST_READINGS:
            self.trouble.wrong(
                "too_many",
                0,
                None,
                f"The file holds {fresh} readings that are new; at most {MOST_READINGS} are "
                "stored at once.",
                "Split it, or export less of the instrument's memory.",
            )
        missing = {name for problem in self.trouble.problems for name in problem.missing}
        return ImportPlan(
            cards=tuple(dict.fromkeys(self.finder.codes)),
            readings=tuple(planned),
            problems=tuple(self.trouble.problems),
            notes=tuple(notes),
            unsaid=tuple(f.name for f in fields(Stated) if f.name in missing),
            might_say=tuple(
                f.name for f in fields(Stated) if f.name in self.conditions.might_say - missing
            ),
        )

    def _placed(
        self, number: int, sample: SampleRead, card: str | None, whole: str | None
    ) -> _Placed | None:
        left_out = len(self.finder.left_out)
        found = None if card and not whole else self.finder.find(number, sample, whole)
        if len(self.finder.left_out) > left_out:
            return None
        said = self.conditions.of(number, sample, found.beside.stage if found else None)
        if found is None or said is None:
            return None
        return _Placed(number, sample, found, *said)

    def _groups(self, placed: Iterable[_Placed]) -> Iterator[list[_Placed]]:
        """Samples that make one reading: numbered as repeats by their names, or its two halves."""
        by_surface: dict[tuple[object, ...], list[_Placed]] = {}
        for one in placed:
            by_surface.setdefault(one.surface, []).append(one)
        for group in by_surface.values():
            if all(one.repeat is None for one in group):
                if are_two_halves([one.sample for one in group]):
                    yield group
                    continue
                yield from ([one] for one in group)
                continue
            numbers = [one.repeat or 1 for one in group]
            if len(set(numbers)) < len(numbers):
                twice = sorted({n for n in numbers if numbers.count(n) > 1})
                listed = ", ".join(map(str, twice))
                last = group[-1]
                self.trouble.wrong(
                    "repeat_twice",
                    last.number,
                    last.sample.name,
                    f"the repeat number {listed} stands twice for one surface.",
                    "Number every repeat once.",
                )
                continue
            yield sorted(group, key=lambda one: one.repeat or 1)

    def _made(self, group: Sequence[_Placed]) -> tuple[Planned, Colours] | None:
        first = group[0]
        said = first.said
        temperatures = [t.said.temperature_c for t in group if t.said.temperature_c is not None]
        try:
            colours = colours_of(
                [one.sample for one in group],
                str(said.illuminant),
                int(said.observer or 0),
                halves=len(group) > 1 and all(one.repeat is None for one in group),
            )
            measured = Measured(
                stage=Stage(str(said.stage)),
                illuminant=str(said.illuminant),
                observer=int(said.observer or 0),
                geometry=said.geometry,
                specular=Specular(said.specular) if said.specular else None,
                angles=colours.angles,
                card_id=first.found.card.root,
                zone_id=first.found.zone.root if first.found.zone else None,
                instrument_id=first.instrument.root if first.instrument else None,
                surface_temperature_c=(
                    sum(temperatures) / len(temperatures) if temperatures else None
                ),
                source=f"{self.source} {FROM_SPECTRA}" if colours.wholly else self.source,
                spectra=colours.spectra,
            )
            _check(measured)
        except Invalid as refused:
            self.trouble.wrong("colours", first.number, first.sample.name, str(refused))
            return None
        job = the_job(first.found.job)
        batch = first.found.job.get(Batch, first.found.card.batch_id)
        planned = Planned(
            samples=tuple(one.number for one in group),
            name=first.sample.name or "",
            code=grouped(first.found.card.code),
            zone=first.found.zone.name if first.found.zone else "",
            batch_id=batch.root,
            batch_number=batch.number,
            work_order=job.work_order,
            job_title=job.title,
            instrument=said.instrument or "",
            reading=JobReading(job_id=first.found.job.chain, reading=measured),
            on_record=on_record(first.found.job, measured),
        )
        return planned, colours


def _check(measured: Measured) -> None:
    """What the record would refuse, found while every other sample can still be looked at."""
    check_text("illuminant", measured.illuminant, "The illuminant", 20)
    if measured.geometry is not None:
        check_text("geometry", measured.geometry, "The geometry", 30)
    if measured.observer not in (2, 10):
        raise Invalid("observer", f"The observer cannot be {measured.observer}°. It is 2 or 10.")
    temperature = measured.surface_temperature_c
    check_range("surface_temperature_c", temperature, -20, 120, "The surface temperature", "°C")
