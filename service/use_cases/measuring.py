"""Readings: log one and judge by it, drop one, read two things in one frame."""

from __future__ import annotations

from dataclasses import dataclass, replace

from service.domain.from_spectra import FROM_SPECTRA, angles_of_spectra
from service.domain.lookups import readings_of_card
from service.domain.record_file import RecordFile
from service.domain.records.cards import Card, Zone
from service.domain.records.job import Panel
from service.domain.records.measuring import (
    AngleReading,
    AngleSpectrum,
    EyeCheck,
    Frame,
    Matrix,
    Reading,
    check_covariance,
)
from service.domain.records.shop import Instrument
from service.domain.refused import Invalid
from service.domain.terms import EyeWord, Look, Method, Specular, Stage
from service.use_cases.command import EVERYONE, Command, revision_of, stamp, verb
from service.use_cases.judging import judge_after_reading, judge_car, judge_without
from service.use_cases.ports import Unit


@dataclass(frozen=True, slots=True, kw_only=True)
class Measured:
    """What was read and how; the conditions are stated, never guessed.

    Geometry and specular None take the registered instrument's own. Where `angles` is empty, the
    L*, a*, b* of every repeat are worked out from its spectrum, under the illuminant and for the
    observer stated.
    """

    stage: Stage
    illuminant: str
    observer: int
    angles: tuple[AngleReading, ...] = ()
    geometry: str | None = None
    specular: Specular | None = None
    method: Method = Method.INSTRUMENT
    card_id: str | None = None
    zone_id: str | None = None
    panel_id: str | None = None
    instrument_id: str | None = None
    standard_uncertainty: float | None = None
    surface_temperature_c: float | None = None
    source: str = ""
    spectra: tuple[AngleSpectrum, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class LogReading(Command):
    """A reading of a card, or of the car near a damage."""

    job_id: str
    reading: Measured


@verb(*EVERYONE, doing="log a reading")
def log_reading(unit: Unit, command: LogReading) -> None:
    """Record a reading and judge what it bears on: the batch, and every joint the card is in."""
    file = unit.job(command.job_id)
    reading = reading_of(unit, command, file, command.reading)
    unit.add(reading)
    file = unit.job(command.job_id)
    if reading.card_id is not None:
        judge_after_reading(unit, command, file, reading)
    else:
        judge_car(unit, command, file, reading)


def with_colours(measured: Measured) -> Measured:
    """The same with L*, a*, b* from its spectra, where it came without."""
    if measured.angles or not measured.spectra:
        return measured
    angles = angles_of_spectra(measured.spectra, measured.illuminant, measured.observer)
    source = f"{measured.source} {FROM_SPECTRA}".strip()
    return replace(measured, angles=angles, source=source)


def reading_of(
    unit: Unit,
    command: Command,
    file: RecordFile,
    measured: Measured,
    part: str = "",
    frame_id: str | None = None,
    lent: RecordFile | None = None,
) -> Reading:
    """The reading a measurement makes; ``lent`` is the file of a card that is of another job."""
    if measured.card_id is not None:
        card = (lent or file).get(Card, measured.card_id)
        if measured.zone_id is not None:
            zone = (lent or file).get(Zone, measured.zone_id)
            if zone.card_id != card.root:
                raise Invalid("zone_id", "That zone is on another card. Pick one of this card's.")
    elif measured.panel_id is not None:
        file.get(Panel, measured.panel_id)
    made = stamp(unit, command, part)
    instrument = None
    if measured.instrument_id is not None:
        instrument = unit.shop().get(Instrument, measured.instrument_id)
    geometry = measured.geometry or (instrument.geometry if instrument else "")
    if not geometry:
        raise Invalid(
            "geometry",
            "The geometry of the reading is not known. State it (45:0, d:8, multi-angle), "
            "or register the instrument with it.",
        )
    measured = with_colours(measured)
    uncertainty = measured.standard_uncertainty
    if uncertainty is None and instrument is not None:
        uncertainty = instrument.standard_uncertainty
    due = instrument.calibration_due if instrument else None
    return Reading(
        **made,
        job_id=file.chain,
        stage=measured.stage,
        illuminant=measured.illuminant.strip(),
        observer=measured.observer,
        geometry=geometry,
        specular=measured.specular or (instrument.specular if instrument else None),
        angles=measured.angles,
        method=measured.method,
        card_id=measured.card_id,
        zone_id=measured.zone_id,
        panel_id=measured.panel_id,
        instrument_id=measured.instrument_id,
        standard_uncertainty=uncertainty,
        past_calibration=due is not None and made["observed_at"] > due,
        surface_temperature_c=measured.surface_temperature_c,
        frame_id=frame_id,
        source=measured.source,
        spectra=measured.spectra,
        inter_instrument_uncertainty=(
            instrument.inter_instrument_uncertainty if instrument else None
        ),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class JobReading:
    """A reading and the job it belongs to."""

    job_id: str
    reading: Measured


@dataclass(frozen=True, slots=True, kw_only=True)
class LogReadings(Command):
    """Many readings at once, as a readings file holds them: all are taken, or none."""

    readings: tuple[JobReading, ...]


@verb(*EVERYONE, doing="import readings")
def log_readings(unit: Unit, command: LogReadings) -> None:
    """Record every reading, then judge by each as if it had been logged by itself."""
    if not command.readings:
        raise Invalid("readings", "There is no reading to store. Send at least one.")
    made: list[Reading] = []
    for place, item in enumerate(command.readings):
        file = unit.job(item.job_id)
        made.append(reading_of(unit, command, file, item.reading, f"reading {place}"))
        unit.add(made[-1])
    for reading in made:
        if reading.card_id is not None:
            judge_after_reading(unit, command, unit.job(reading.job_id), reading)
        else:
            judge_car(unit, command, unit.job(reading.job_id), reading)


@dataclass(frozen=True, slots=True, kw_only=True)
class LogFrame(Command):
    """Readings made together, with their joint covariance (3n by 3n, in the order given)."""

    job_id: str
    readings: tuple[Measured, ...]
    covariance: Matrix
    photo_sha256: str | None = None


@verb(*EVERYONE, doing="log readings made together")
def log_frame(unit: Unit, command: LogFrame) -> None:
    """Record readings that share a frame, then judge by each."""
    check_covariance(command.covariance, 3 * len(command.readings))
    file = unit.job(command.job_id)
    frame_id = stamp(unit, command)["id"]
    readings = [
        reading_of(unit, command, file, measured, f"reading {place}", frame_id)
        for place, measured in enumerate(command.readings)
    ]
    unit.add(
        Frame(
            **stamp(unit, command),
            job_id=file.chain,
            reading_ids=tuple(reading.root for reading in readings),
            covariance=command.covariance,
            photo_sha256=command.photo_sha256,
        )
    )
    unit.add(*readings)
    for reading in readings:
        if reading.card_id is not None:
            judge_after_reading(unit, command, unit.job(command.job_id), reading)


@dataclass(frozen=True, slots=True, kw_only=True)
class DropReading(Command):
    """A reading that must no longer count, with the reason."""

    job_id: str
    reading_id: str
    why: str


@verb(*EVERYONE, doing="drop a reading")
def drop_reading(unit: Unit, command: DropReading) -> None:
    """Withdraw a reading; it stays on record, and what it bore on is judged without it."""
    file = unit.job(command.job_id)
    reading = file.get(Reading, command.reading_id)
    unit.add(revision_of(unit, command, reading, command.why, {}, withdrawn=True))
    for mate in frame_mates(unit.job(command.job_id), reading):
        judge_without(unit, command, unit.job(command.job_id), mate)
    file = unit.job(command.job_id)
    if reading.card_id is None or file.find(Card, reading.card_id) is None:
        return
    left = [r for r in readings_of_card(file, reading.card_id) if r.stage is reading.stage]
    if left:
        judge_without(unit, command, file, left[-1])


def frame_mates(file: RecordFile, reading: Reading) -> list[Reading]:
    """The other readings of this job's cards in the frame of a reading; it bears on them too."""
    frame = file.find(Frame, reading.frame_id)
    ids = frame.reading_ids if frame is not None else ()
    found = (file.find(Reading, id) for id in ids if id != reading.root)
    return [mate for mate in found if mate is not None and file.find(Card, mate.card_id)]


@dataclass(frozen=True, slots=True, kw_only=True)
class LogEyeCheck(Command):
    """What a person saw, holding a card against another card or a panel."""

    job_id: str
    card_id: str
    look: Look
    light: str
    word: EyeWord
    against_card_id: str | None = None
    against_panel_id: str | None = None
    note: str = ""


@verb(*EVERYONE, doing="log an eye check")
def log_eye_check(unit: Unit, command: LogEyeCheck) -> None:
    """Record a person's own verdict; it stands beside the measured one."""
    file = unit.job(command.job_id)
    file.get(Card, command.card_id)
    if command.against_card_id is not None:
        file.get(Card, command.against_card_id)
    if command.against_panel_id is not None:
        file.get(Panel, command.against_panel_id)
    unit.add(
        EyeCheck(
            **stamp(unit, command),
            job_id=file.chain,
            card_id=command.card_id,
            look=command.look,
            light=command.light,
            word=command.word,
            against_card_id=command.against_card_id,
            against_panel_id=command.against_panel_id,
            note=command.note,
        )
    )
