"""The diary's words for rack and office: pull, return, missing, correct, a repair's opening."""

from __future__ import annotations

from collections.abc import Iterator

from demo_cards.diary import word
from demo_cards.script import Script, Step, card_id, instrument_id, job_id
from service.use_cases.cards import PullCard, ReportMissing, ReturnCard
from service.use_cases.command import Command, part_id
from service.use_cases.correcting import Correct, CorrectShop
from service.use_cases.job import AddPanel, OpenJob


def _job_of(script: Script, step: Step) -> str:
    return job_id(step.get("of", script.key))


@word("pull")
def pull(script: Script, step: Step) -> Iterator[Command]:
    """A card leaves its slot."""
    yield PullCard(
        id=script.id(step),
        observed_at=script.at(step),
        job_id=_job_of(script, step),
        card_id=card_id(step["card"]),
        why=step["why"],
    )


@word("return")
def bring_back(script: Script, step: Step) -> Iterator[Command]:
    """A card comes back."""
    yield ReturnCard(
        id=script.id(step),
        observed_at=script.at(step),
        job_id=_job_of(script, step),
        card_id=card_id(step["card"]),
        state=step["state"],
    )


@word("missing")
def missing(script: Script, step: Step) -> Iterator[Command]:
    """A card is not where it should be."""
    yield ReportMissing(
        id=script.id(step),
        observed_at=script.at(step),
        job_id=_job_of(script, step),
        card_id=card_id(step["card"]),
        why=step["why"],
    )


@word("correct")
def correct(script: Script, step: Step) -> Iterator[Command]:
    """An entry of the job was wrong, or the job's note wants a line more."""
    record_id = script.job_id
    if step["table"] == "components":
        record_id = part_id(script.batch_id(step["batch"]), f"component {step['place']}")
    yield Correct(
        id=script.id(step),
        observed_at=script.at(step),
        job_id=script.job_id,
        table=step["table"],
        record_id=record_id,
        why=step["why"],
        changes=dict(step["changes"]),
    )


@word("calibrated")
def calibrated(script: Script, step: Step) -> Iterator[Command]:
    """Both instruments are calibrated until a day that the loader names."""
    for several_angles in (True, False):
        yield CorrectShop(
            id=script.id(step, several_angles),
            observed_at=script.at(step),
            table="instruments",
            record_id=instrument_id(several_angles),
            why=step["why"],
            changes={"calibration_due": script.calibrated_until},
        )


@word("repair")
def repair(script: Script, step: Step) -> Iterator[Command]:
    """A later job that goes back to a stored finish."""
    stored = Script(key=step["of"], monday=script.monday, finishes=script.finishes)
    yield OpenJob(
        id=script.job_id,
        observed_at=script.at(step),
        work_order=step["work_order"],
        title=step["title"],
        note=step["note"],
        repairs_job_id=stored.job_id,
        repairs_finish_id=stored.finish_id(step["finish"]),
        damage=step["damage"],
    )


@word("panel")
def panel(script: Script, step: Step) -> Iterator[Command]:
    """A panel of the repair."""
    yield AddPanel(
        id=script.panel_id(step["name"]),
        observed_at=script.at(step),
        job_id=script.job_id,
        finish_id=script.finish_id(""),
        name=step["name"],
        x=step["x"],
        y=step["y"],
    )
