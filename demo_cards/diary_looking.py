"""The diary's words for looking and judging: read, drop, eye, master, accept, release."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from demo_cards.diary import word
from demo_cards.readings_made import repeats_of, true_colours
from demo_cards.script import (
    Script,
    Step,
    card_id,
    instrument_id,
    reading_id,
    told,
    zone_id,
)
from demo_cards.spectra_made import spectra_of
from service.domain.records.measuring import AngleReading, AngleSpectrum
from service.domain.terms import EyeWord, Look, Stage
from service.use_cases.closing import Accept, ApproveMaster, ReleaseJob
from service.use_cases.command import Command
from service.use_cases.measuring import DropReading, LogEyeCheck, LogReading, Measured

SOURCE = "Invented: made by the demo from a stated true colour and stated noise."


@word("read")
def read(script: Script, step: Step) -> Iterator[Command]:
    """A card's zone, repeated after lifting the instrument."""
    name = step.get("name", f"{step['card']} {step['stage']}")
    finish = script.finish_of_card(step["card"])
    yield _logged(
        script,
        step,
        name,
        finish,
        step["card"],
        Stage(step["stage"]),
        card_id=card_id(step["card"]),
        zone_id=zone_id(step["card"], step["zone"]),
    )


@word("read car")
def read_car(script: Script, step: Step) -> Iterator[Command]:
    """The vehicle itself, beside the damage."""
    yield _logged(
        script,
        step,
        step["colour"],
        "Frost Lake",
        step["colour"],
        Stage.POLISHED,
        panel_id=script.panel_id(step["panel"]),
    )


def _logged(
    script: Script, step: Step, name: str, finish: str, colour: str, stage: Stage, **of: Any
) -> LogReading:
    note = step.get("note", "")
    angles = angles_read(
        script.finishes[finish] != "solid", finish, stage, colour, step.get("repeats", 3), name
    )
    light = step.get("illuminant", "D65"), step.get("observer", 10)
    return LogReading(
        id=reading_id(name),
        observed_at=script.at(step),
        job_id=script.job_id,
        reading=Measured(
            stage=stage,
            illuminant=light[0],
            observer=light[1],
            angles=angles,
            spectra=spectra_read(script.finishes[finish] != "solid", angles, colour, *light),
            instrument_id=instrument_id(script.finishes[finish] != "solid"),
            surface_temperature_c=step["at_c"],
            source=f"{SOURCE} {note}".strip(),
            **of,
        ),
    )


def angles_read(
    several_angles: bool, finish: str, stage: Stage, colour: str, repeats: int, name: str
) -> tuple[AngleReading, ...]:
    """What the instrument for such a finish shows, ``name`` being the reading's own."""
    colours = told("colours")
    instrument = told("cast")["instruments"][0 if several_angles else 1]
    return repeats_of(
        true_colours(colours, finish, stage, colour),
        instrument["standard_uncertainty"],
        repeats,
        seed=colours["seed"],
        name=name,
    )


def spectra_read(
    several_angles: bool,
    angles: tuple[AngleReading, ...],
    colour: str,
    illuminant: str,
    observer: int,
) -> tuple[AngleSpectrum, ...]:
    """The spectra behind what the instrument shows, if it is one that gives them."""
    made = told("colours")["spectra"]
    instrument = told("cast")["instruments"][0 if several_angles else 1]
    if instrument["name"] != made["instrument"]:
        return ()
    pigments = made["pigments"][made["cards"].get(colour, "usual")]
    return spectra_of(angles, pigments, made["wavelengths_nm"], illuminant, observer)


@word("drop")
def drop(script: Script, step: Step) -> Iterator[Command]:
    """A reading that must not count."""
    yield DropReading(
        id=script.id(step, step["reading"]),
        observed_at=script.at(step),
        job_id=script.job_id,
        reading_id=reading_id(step["reading"]),
        why=step["why"],
    )


@word("eye")
def eye(script: Script, step: Step) -> Iterator[Command]:
    """What somebody saw, a card held against another or against the vehicle."""
    against: dict[str, Any] = (
        {"against_card_id": card_id(step["against"])}
        if "against" in step
        else {"against_panel_id": script.panel_id(step["against_panel"])}
    )
    yield LogEyeCheck(
        id=script.id(step),
        observed_at=script.at(step),
        job_id=script.job_id,
        card_id=card_id(step["card"]),
        look=Look(step["look"]),
        light=step["light"],
        word=EyeWord(step["word"]),
        note=step.get("note", ""),
        **against,
    )


@word("master")
def master(script: Script, step: Step) -> Iterator[Command]:
    """The card a finish is judged against from now on, by its readings of these stages."""
    yield ApproveMaster(
        id=script.id(step),
        observed_at=script.at(step),
        job_id=script.job_id,
        card_id=card_id(step["card"]),
        reading_ids=tuple(reading_id(f"{step['card']} {stage}") for stage in step["stages"]),
        note=step.get("note", ""),
    )


@word("accept")
def accept(script: Script, step: Step) -> Iterator[Command]:
    """A joint or a pot stays as it is."""
    yield Accept(
        id=script.id(step),
        observed_at=script.at(step),
        job_id=script.job_id,
        why=step["why"],
        joint_id=script.joint_id(*step["joint"]) if "joint" in step else None,
        batch_id=script.batch_id(step["batch"]) if "batch" in step else None,
    )


@word("release")
def release(script: Script, step: Step) -> Iterator[Command]:
    """The job may leave."""
    yield ReleaseJob(
        id=script.id(step),
        observed_at=script.at(step),
        job_id=script.job_id,
        note=step["note"],
    )
