"""Readings from an instrument's file: what would be stored of which card, and storing it.

The command line, the pages and the API all come through here. A reading taken in from a file has
an id that its card and its colours give, so it is stored once, whoever sends the file again, in
whatever form and under whatever name.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from hashlib import sha256
from uuid import NAMESPACE_URL, uuid5

from service.domain.lookups import readings_of_card, verdict_on_batch
from service.domain.record_file import RecordFile
from service.domain.records.measuring import Reading, Verdict
from service.domain.refused import AlreadyThere, Invalid, KeyReused
from service.domain.terms import Role
from service.use_cases.command import EVERYONE, Command, fingerprint, perform, verb
from service.use_cases.judging import judge_after_reading, judge_car
from service.use_cases.measuring import JobReading, Measured, reading_of, with_colours
from service.use_cases.ports import Receipt, Store, Unit

MOST_SAMPLES = 20_000
"""Samples in one file: each is looked up and told of by itself."""

MOST_READINGS = 200
"""New readings in one import: each is judged, some 10 ms, while other writers wait."""

MOST_TOLD = 200
"""Problems told one by one; of more, only how many they are."""

NO_INSTRUMENT = ""
"""Stated as the instrument: none that is registered."""

PlaceOfCode = Callable[[str], tuple[str, str] | None]
"""Job's and card's id of a code, None when no card has it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Stated:
    """What the file does not say, said by the person who imports it."""

    stage: str | None = None
    illuminant: str | None = None
    observer: int | None = None
    geometry: str | None = None
    specular: str | None = None
    instrument: str | None = None
    temperature_c: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Note:
    """Something the person should know; the readings are taken all the same."""

    code: str
    message: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Problem:
    """Why a sample cannot be stored: what is wrong, what to do, and what only has to be stated.

    ``sample`` counts the samples of the file from 1; 0 is the file as a whole. ``kind`` is one
    word for what is wrong; ``missing`` names fields of ``Stated``.
    """

    kind: str
    sample: int
    name: str
    what: str
    remedy: str = ""
    missing: tuple[str, ...] = ()

    @property
    def sentence(self) -> str:
        """Both, after the sample's number and name."""
        text = f"{self.what} {self.remedy}".strip()
        return f"Sample {self.sample} ({self.name or 'no name'}): {text}" if self.sample else text


@dataclass(frozen=True, slots=True, kw_only=True)
class OnRecord:
    """The reading that holds the same colours of the same surface; ``why`` it was dropped."""

    reading_id: str
    since: datetime
    dropped: bool
    why: str = ""
    without_spectra: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Planned:
    """One reading as it would be stored, of the samples it comes from."""

    samples: tuple[int, ...]
    name: str
    code: str
    zone: str
    batch_id: str
    batch_number: int
    work_order: str
    job_title: str
    instrument: str
    reading: JobReading
    on_record: OnRecord | None


@dataclass(frozen=True, slots=True, kw_only=True)
class ImportPlan:
    """All that importing a file would do, or everything that stands against it.

    ``unsaid`` names the fields of ``Stated`` that must still be stated; ``might_say`` those that
    some reading is without and could do with. ``cards`` are the codes of every card it names, also
    where something stands against its reading. ``read_at`` is when the readings were taken, None
    for just now: a file says nothing of it that could be relied on.
    """

    cards: tuple[str, ...]
    readings: tuple[Planned, ...]
    problems: tuple[Problem, ...]
    notes: tuple[Note, ...]
    unsaid: tuple[str, ...]
    might_say: tuple[str, ...]
    read_at: datetime | None = None

    @property
    def fresh(self) -> tuple[Planned, ...]:
        """The readings that are not on record yet."""
        return tuple(one for one in self.readings if one.on_record is None)

    @property
    def command(self) -> ImportReadings:
        """The change that stores them; the same readings under the same file name are the same."""
        readings = tuple(one.reading for one in self.readings)
        said = fingerprint(ImportReadings(id="", readings=readings, observed_at=self.read_at))
        key = str(uuid5(NAMESPACE_URL, f"keepcard import {said}"))
        return ImportReadings(id=key, readings=readings, observed_at=self.read_at)


class ImportRefused(Invalid):
    """A readings file of which nothing is stored, with everything that stands against it."""

    def __init__(self, problems: Sequence[Problem]) -> None:
        lines = [problem.sentence for problem in problems[:MOST_TOLD]]
        if len(problems) > MOST_TOLD:
            lines.append(f"And {len(problems) - MOST_TOLD} more like these.")
        super().__init__("file", "\n".join(["Nothing was stored.", *lines]))
        self.problems = tuple(problems)


class AlreadyOnRecord(AlreadyThere):
    """Every reading of an import is on record."""

    def __init__(self, count: int) -> None:
        every = "The reading is" if count == 1 else f"All {count} readings are"
        super().__init__(f"{every} on record already. Nothing was stored; nothing needs doing.")


@dataclass(frozen=True, slots=True, kw_only=True)
class ImportReadings(Command):
    """Readings of an instrument's file: those that are not on record yet are taken, all or none.

    A reading is on record where one of the same card, zone and stage holds the same colours under
    the same illuminant and observer, also when it was dropped since.
    """

    readings: tuple[JobReading, ...]


@verb(*EVERYONE, doing="import readings")
def import_readings(unit: Unit, command: ImportReadings) -> None:
    """Record every reading that is not on record, then judge by each as if logged by itself."""
    if not command.readings:
        raise Invalid("readings", "There is no reading to store. Send at least one.")
    made: dict[str, Reading] = {}
    for item in command.readings:
        file = unit.job(item.job_id)
        measured = with_colours(item.reading)
        id = import_id(measured)
        if id in made or on_record(file, measured) is not None:
            continue
        made[id] = replace(reading_of(unit, command, file, measured), id=id)
    if not made:
        raise AlreadyOnRecord(len(command.readings))
    _check_number(len(made))
    unit.add(*made.values())
    for reading in made.values():
        if reading.card_id is not None:
            judge_after_reading(unit, command, unit.job(reading.job_id), reading)
        else:
            judge_car(unit, command, unit.job(reading.job_id), reading)


def store_import(
    store: Store, person_id: str, plan: ImportPlan, acting_as: Role | None = None
) -> Receipt | None:
    """Carry out a plan; None when all of it was on record and this very import never came.

    Raises
    ------
    ImportRefused
        With everything that stands against it.
    """
    if plan.problems:
        raise ImportRefused(plan.problems)
    try:
        return perform(store, person_id, plan.command, acting_as)
    except (AlreadyOnRecord, KeyReused):
        return None


def import_id(measured: Measured | Reading) -> str:
    """The id of a reading that came in a file; the same colours of one surface give the same.

    To a millionth of a unit, for what is worked out from a spectrum may differ in its last bits.
    """
    of = measured.card_id, measured.panel_id, measured.zone_id
    said = [*of, measured.stage.value, measured.illuminant.strip(), measured.observer]
    colours = sorted(
        [str(angle.angle), *([f"{round(v, 6) + 0.0:.6f}" for v in lab] for lab in angle.repeats)]
        for angle in measured.angles
    )
    text = json.dumps([said, colours], separators=(",", ":"))
    return str(uuid5(NAMESPACE_URL, f"keepcard reading {sha256(text.encode()).hexdigest()}"))


def on_record(file: RecordFile, measured: Measured | Reading) -> OnRecord | None:
    """The reading of a job's file that is the same, None when there is none."""
    id = import_id(measured)
    found = file.latest_revision(Reading, id)
    if found is None:
        # One that was typed, or sent by itself, has another id.
        read = readings_of_card(file, measured.card_id or "")
        same = (r for r in read if r.method is measured.method and import_id(r) == id)
        found = next(same, None)
    if found is None:
        return None
    return OnRecord(
        reading_id=found.root,
        since=found.observed_at,
        dropped=found.withdrawn,
        why=found.reason or "" if found.withdrawn else "",
        without_spectra=bool(measured.spectra) and not found.spectra,
    )


def verdicts_after(store: Store, plan: ImportPlan) -> list[Verdict]:
    """What is said now of each batch of which a card is in a plan, in the order of the plan."""
    found: dict[str, Verdict] = {}
    for one in plan.readings:
        verdict = verdict_on_batch(store.job(one.reading.job_id), one.batch_id)
        if verdict is not None:
            found.setdefault(one.batch_id, verdict)
    return list(found.values())


def _check_number(fresh: int) -> None:
    if fresh > MOST_READINGS:
        raise Invalid(
            "readings",
            f"The file holds {fresh} readings that are new; at most {MOST_READINGS} are stored at "
            "once. Split it, or export less of the instrument's memory.",
        )


def as_json(plan: ImportPlan) -> Mapping[str, object]:
    """A plan as plain data, for programs."""
    return {
        "readings": [_reading_as_json(one) for one in plan.readings],
        "warnings": [{"code": one.code, "message": one.message} for one in plan.notes],
        "problems": [
            {
                "kind": one.kind,
                "sample": one.sample or None,
                "name": one.name,
                "message": one.sentence,
                "missing": list(one.missing),
            }
            for one in plan.problems[:MOST_TOLD]
        ],
        "more_problems": max(0, len(plan.problems) - MOST_TOLD),
        "unsaid": list(plan.unsaid),
    }


def _reading_as_json(planned: Planned) -> Mapping[str, object]:
    measured = planned.reading.reading
    return {
        "card": planned.code,
        "job_id": planned.reading.job_id,
        "stage": measured.stage,
        "illuminant": measured.illuminant,
        "observer": measured.observer,
        "geometry": measured.geometry,
        "specular": measured.specular,
        "angles": {
            str(angle.angle) if angle.angle is not None else "": [list(r) for r in angle.repeats]
            for angle in measured.angles
        },
        "card_id": measured.card_id,
        "zone": planned.zone or None,
        "batch_id": planned.batch_id,
        "batch": planned.batch_number,
        "work_order": planned.work_order,
        "instrument": planned.instrument or None,
        "surface_temperature_c": measured.surface_temperature_c,
        "samples": list(planned.samples),
        "name": planned.name,
        "spectra": [
            {
                "angle": spectrum.angle,
                "wavelengths_nm": list(spectrum.wavelengths_nm),
                "reflectance": [list(row) for row in spectrum.reflectance],
            }
            for spectrum in measured.spectra
        ],
        "on_record": planned.on_record.reading_id if planned.on_record else None,
    }


def summary(measured: Measured) -> str:
    """A reading in one line: stage, light, repeats, angles, spectra."""
    repeats = max(len(angle.repeats) for angle in measured.angles)
    angles = [f"{angle.angle}°" for angle in measured.angles if angle.angle is not None]
    at = f" at {', '.join(angles)}" if angles else ""
    return (
        f"{measured.stage}, {measured.illuminant}/{measured.observer}°, {repeats} repeats{at}"
        f"{spectra_words(measured, ', ')}"
    )


def spectra_words(measured: Measured, before: str = "") -> str:
    """The spectra of a reading: "3 spectra 400–700 nm by 10"; nothing where it has none."""
    if not measured.spectra:
        return ""
    count = sum(len(spectrum.reflectance) for spectrum in measured.spectra)
    nm = measured.spectra[0].wavelengths_nm
    steps = {round(b - a, 6) for a, b in zip(nm, nm[1:], strict=False)}
    by = f" by {steps.pop():g}" if len(steps) == 1 else f", {len(nm)} bands"
    return f"{before}{count} {'spectrum' if count == 1 else 'spectra'} {nm[0]:g}–{nm[-1]:g} nm{by}"
