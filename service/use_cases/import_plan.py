"""Matching the samples of a readings file to cards: what would be stored, or all that is wrong."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, fields, replace
from typing import Any

from service.domain.card_code import grouped, read_card_code
from service.domain.code_slips import as_a_code
from service.domain.comparability import normal_geometry
from service.domain.lookups import the_job
from service.domain.record_file import RecordFile
from service.domain.records.base import check_range, check_text
from service.domain.records.cards import Card, Zone
from service.domain.records.shop import Instrument
from service.domain.records.spraying import Batch
from service.domain.refused import Invalid
from service.domain.terms import Specular, Stage
from service.use_cases.import_colours import Colours, are_two_halves, colours_of, said_of
from service.use_cases.import_names import Beside, read_beside, read_freely, taken_apart
from service.use_cases.import_ports import FileRead, SampleRead
from service.use_cases.importing import (
    MOST_READINGS,
    MOST_SAMPLES,
    NO_INSTRUMENT,
    ImportPlan,
    Note,
    PlaceOfCode,
    Planned,
    Problem,
    Stated,
    on_record,
)
from service.use_cases.measuring import JobReading, Measured
from service.use_cases.ports import Store

NEEDED = ("stage", "illuminant", "observer", "geometry")
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
    option : str
        What stands before the name of a field where it is stated, for the sentences.
    """
    planning = _Planning(store, place_of_code, stated, source, fill_gaps, leave_out_unknown, option)
    return planning.plan(file, card)


@dataclass(slots=True)
class _Placed:
    """A sample with the card, the zone and the conditions it was read under."""

    number: int
    sample: SampleRead
    job: RecordFile
    card: Card
    zone: Zone | None
    repeat: int | None
    said: Stated
    instrument: Instrument | None

    @property
    def surface(self) -> tuple[object, ...]:
        """Samples alike in this are of one surface under one set of conditions."""
        said = replace(self.said, temperature_c=None)
        instrument = self.instrument.root if self.instrument else None
        return self.card.root, self.zone.root if self.zone else None, said, instrument


@dataclass(slots=True)
class _Planning:
    store: Store
    place_of_code: PlaceOfCode
    stated: Stated
    source: str
    fill_gaps: bool
    leave_out_unknown: bool
    option: str
    problems: list[Problem] = field(default_factory=list)
    left_out: list[str] = field(default_factory=list)
    might_say: set[str] = field(default_factory=set)
    instruments: Sequence[Instrument] = ()
    jobs: dict[str, RecordFile] = field(default_factory=dict)

    def plan(self, file: FileRead, card: str | None) -> ImportPlan:
        self.instruments = self.store.shop().all(Instrument)
        notes = [Note(code=w.code, message=w.message) for w in file.warnings]
        if not file.samples:
            self._wrong("empty", 0, None, "The file holds no reading.")
        samples = file.samples
        if len(samples) > MOST_SAMPLES:
            self._wrong(
                "too_many",
                0,
                None,
                f"The file holds {len(samples)} samples; at most {MOST_SAMPLES} are taken at once.",
                "Split it, or export less of the instrument's memory.",
            )
            samples = ()
        whole = self._given(samples, card) if card else None
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
        if self.left_out:
            listed = ", ".join(self.left_out[:MOST_NAMED])
            more = len(self.left_out) - MOST_NAMED
            notes.append(
                Note(
                    code="left_out",
                    message="Samples that name no card here are left out: "
                    f"{listed}{f' and {more} more' if more > 0 else ''}.",
                )
            )
            if len(self.left_out) == len(samples):
                self._wrong("empty", 0, None, "No sample of the file names a card here.")
        fresh = sum(one.on_record is None for one in planned)
        if fresh > MOST_READINGS:
            self._wrong(
                "too_many",
                0,
                None,
                f"The file holds {fresh} readings that are new; at most {MOST_READINGS} are "
                "stored at once.",
                "Split it, or export less of the instrument's memory.",
            )
        missing = {name for problem in self.problems for name in problem.missing}
        return ImportPlan(
            readings=tuple(planned),
            problems=tuple(self.problems),
            notes=tuple(notes),
            unsaid=tuple(f.name for f in fields(Stated) if f.name in missing),
            might_say=tuple(f.name for f in fields(Stated) if f.name in self.might_say - missing),
        )

    def _wrong(
        self,
        kind: str,
        number: int,
        name: str | None,
        what: str,
        remedy: str = "",
        missing: tuple[str, ...] = (),
    ) -> None:
        self.problems.append(
            Problem(
                kind=kind,
                sample=number,
                name=name or "",
                what=what,
                remedy=remedy,
                missing=missing,
            )
        )

    def _given(self, samples: Sequence[SampleRead], card: str) -> str | None:
        """The code of the one card a file is said to be of; None where it cannot be all of it."""
        code = read_card_code(card)
        if len(samples) > 1:
            unlike = {
                read_freely(taken.words)[0]
                for taken in (taken_apart(s.name or "") for s in samples)
                if not taken.codes
            }
            repeats = [
                read_freely(taken_apart(s.name or "").words)[1].repeat
                for s in samples
                if not taken_apart(s.name or "").codes
            ]
            if len(unlike) > 1 or len(set(repeats)) < len(repeats):
                self._wrong(
                    "one_card",
                    0,
                    None,
                    f"The file holds {len(samples)} samples, so {self.option}card cannot stand "
                    "for all.",
                    "Name the samples by their cards' codes.",
                )
                return None
        return code

    def _placed(
        self, number: int, sample: SampleRead, card: str | None, whole: str | None
    ) -> _Placed | None:
        left_out = len(self.left_out)
        found = None if card and not whole else self._card_of(number, sample, whole)
        if len(self.left_out) > left_out:
            return None
        beside = found[3] if found else Beside()
        conditions = self._conditions(number, sample, beside.stage)
        if found is None or conditions is None:
            return None
        job, card_record, zone, _ = found
        said, instrument = conditions
        return _Placed(number, sample, job, card_record, zone, beside.repeat, said, instrument)

    def _card_of(
        self, number: int, sample: SampleRead, whole: str | None
    ) -> tuple[RecordFile, Card, Zone | None, Beside] | None:
        name = sample.name or ""
        taken = taken_apart(name)
        here = {code: self.place_of_code(code) for code in taken.codes}
        known = [code for code, place in here.items() if place is not None]
        if len(known) > 1:
            listed = " and ".join(grouped(code) for code in known)
            self._wrong("two_cards", number, name, f"it names two cards, {listed}.", "Name one.")
            return None
        if whole is not None and known and known[0] != whole:
            self._wrong(
                "other_card",
                number,
                name,
                f"it is named by the card {grouped(known[0])}, not {grouped(whole)}.",
                "Take the file in without naming a card, or choose the right one.",
            )
            return None
        code = known[0] if known else whole
        if code is None:
            self._no_card(number, name, taken.codes)
            return None
        place = here.get(code) or self.place_of_code(code)
        if place is None:
            self._no_card(number, name, (code,))
            return None
        job = self.jobs.setdefault(place[0], self.store.job(place[0]))
        zones = job.by(Zone, "card_id", place[1])
        if code not in known:
            beside = read_freely(taken.words)[1]
        else:
            try:
                beside = read_beside(taken.words, [zone.name for zone in zones])
            except Invalid as refused:
                remedy = "Write one of these there, or the code alone."
                self._wrong("name", number, name, str(refused), remedy)
                return None
        zone = zones[beside.zone] if beside.zone is not None else None
        return job, job.get(Card, place[1]), zone, beside

    def _no_card(self, number: int, name: str, codes: Sequence[str]) -> None:
        if self.leave_out_unknown:
            self.left_out.append(name or "(no name)")
            return
        if codes:
            listed = " or ".join(grouped(code) for code in codes)
            what, remedy = f"no card here has the code {listed}.", "Log the card first."
        elif not name:
            what = "it names no card."
            remedy = f"Name it by the card's code, or give {self.option}card."
        else:
            what = f"{name!r} names no card."
            if as_a_code(name) is not None:
                try:
                    read_card_code(name)
                except Invalid as refused:
                    what = str(refused)
            remedy = "Name the sample by its card's code."
        self._wrong("no_card", number, name, what, remedy)

    def _conditions(
        self, number: int, sample: SampleRead, stage_by_name: Stage | None
    ) -> tuple[Stated, Instrument | None] | None:
        """The file's own word first; where two words differ, neither is guessed to be right."""
        name, stated = sample.name, self.stated
        before = len(self.problems)
        stage = sample.stage
        if stage is not None and stage_by_name is not None and stage != stage_by_name:
            self._wrong(
                "contradiction",
                number,
                name,
                f"the file says stage {stage}, its name says {stage_by_name.value}.",
                "Correct one of them.",
            )
        in_file: dict[str, Any] = {
            "stage": stage or stage_by_name,
            "illuminant": sample.conditions.illuminant,
            "observer": sample.conditions.observer,
            "geometry": sample.conditions.geometry,
            "specular": sample.conditions.specular,
        }
        said: dict[str, Any] = {}
        for field_name, value in in_file.items():
            other = getattr(stated, field_name)
            said[field_name] = value if value is not None else other
            clash = value is not None and other is not None and not _alike(value, other)
            if clash and not self.fill_gaps:
                self._wrong(
                    "contradiction",
                    number,
                    name,
                    f"the file says {field_name} {value}, {self.option}{field_name} says {other}.",
                    "Leave one out.",
                )
        instrument = self._instrument(number, sample)
        known = len(self.problems) == before
        by_instrument = instrument is not None and bool(instrument.geometry)
        missing = tuple(
            field_name
            for field_name in NEEDED
            if said[field_name] is None
            # An instrument that is still to be named may have a geometry of its own.
            and not (field_name == "geometry" and (by_instrument or not known))
        )
        if missing:
            remedy = f"State {', '.join(self.option + field_name for field_name in missing)}."
            what = "the file does not say everything."
            self._wrong("unsaid", number, name, what, remedy, missing)
        temperatures = sample.temperatures_c()
        temperature = (
            sum(temperatures) / len(temperatures) if temperatures else stated.temperature_c
        )
        self._note_what_might_be_said(said, instrument, temperature)
        if len(self.problems) > before:
            return None
        named = instrument.name if instrument else NO_INSTRUMENT
        return Stated(**said, instrument=named, temperature_c=temperature), instrument

    def _note_what_might_be_said(
        self, said: Mapping[str, Any], instrument: Instrument | None, temperature: float | None
    ) -> None:
        geometry = normal_geometry(said["geometry"] or (instrument.geometry if instrument else ""))
        own = instrument.specular if instrument else None
        if said["specular"] is None and own is None and geometry[:1] in ("d", ""):
            self.might_say.add("specular")
        if instrument is None and self.instruments and self.stated.instrument is None:
            self.might_say.add("instrument")
        if temperature is None:
            self.might_say.add("temperature_c")

    def _instrument(self, number: int, sample: SampleRead) -> Instrument | None:
        # A file names the instrument as its maker does, the shop as it likes: here the shop's
        # word holds, where everywhere else two different words are a contradiction.
        named = [sample.instrument, self.stated.instrument]
        if not self.fill_gaps:
            named.reverse()
        for name in named:
            for instrument in self.instruments:
                if name is not None and _alike(instrument.name, name):
                    return instrument
        wanted = self.stated.instrument
        wanted = sample.instrument if wanted is None else wanted
        if wanted:
            self._wrong(
                "instrument",
                number,
                sample.name,
                f"no instrument is registered as {wanted}.",
                f"Register it, or name a registered one by {self.option}instrument.",
                ("instrument",),
            )
        return None

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
                self._wrong(
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
                card_id=first.card.root,
                zone_id=first.zone.root if first.zone else None,
                instrument_id=first.instrument.root if first.instrument else None,
                surface_temperature_c=(
                    sum(temperatures) / len(temperatures) if temperatures else None
                ),
                source=self.source,
                spectra=colours.spectra,
            )
            _check(measured)
        except Invalid as refused:
            self._wrong("colours", first.number, first.sample.name, str(refused))
            return None
        job = the_job(first.job)
        batch = first.job.get(Batch, first.card.batch_id)
        planned = Planned(
            samples=tuple(one.number for one in group),
            name=first.sample.name or "",
            code=grouped(first.card.code),
            zone=first.zone.name if first.zone else "",
            batch_id=batch.root,
            batch_number=batch.number,
            work_order=job.work_order,
            job_title=job.title,
            instrument=said.instrument or "",
            reading=JobReading(job_id=first.job.chain, reading=measured),
            on_record=on_record(first.job, measured),
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


def _alike(one: object, other: object) -> bool:
    return normal_geometry(str(one).strip()) == normal_geometry(str(other).strip())
