"""The whole story as commands in the order they reach the service."""

from __future__ import annotations

import zlib
from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta

from demo_cards import (  # noqa: F401  read for the words they register
    diary_bench,
    diary_looking,
    diary_photographs,
    diary_pictures,
    diary_rack,
)
from demo_cards.diary import WORDS
from demo_cards.diary_photographs import photograph_of
from demo_cards.diary_pictures import picture_of
from demo_cards.opening import job_commands, shop_commands
from demo_cards.script import Planned, Script, Step, person_id, told
from demo_cards.tiles import tile_plan
from service.use_cases.cards import AttachPhoto
from service.use_cases.command import Command
from service.use_cases.photographs import NewPhotograph

SHOP_OPENS = datetime(2022, 5, 9, 5, 30, tzinfo=UTC)
VAN_COMES = datetime(2022, 5, 9, 6, 45, tzinfo=UTC)


def plan(today: date) -> list[Planned]:
    """Every command but the making of the shop; the instruments are due a year after today."""
    planned = [
        *_at_once(SHOP_OPENS + timedelta(seconds=20), shop_commands()),
        *_at_once(VAN_COMES, job_commands(_script("week", today))),
        *_told(_script("week", today), told("week")["steps"]),
        *_told(_script("repair", today), told("repair")["steps"]),
        *tile_plan(),
    ]
    return sorted(planned, key=lambda one: one.received_at)


def _script(diary: str, today: date) -> Script:
    due = datetime(today.year, today.month, today.day, 18, tzinfo=UTC) + timedelta(days=365)
    return Script(
        key=told(diary)["job"],
        monday=date.fromisoformat(told(diary)["monday"]),
        finishes={finish["name"]: finish["kind"] for finish in told("van")["finishes"]},
        calibrated_until=due.isoformat(),
    )


def _at_once(start: datetime, commands: Iterator[Command]) -> Iterator[Planned]:
    """What the manager enters one after the other, a few seconds apart."""
    for count, command in enumerate(commands):
        yield Planned(
            received_at=start + timedelta(seconds=7 * count),
            person_id=person_id("manager"),
            command=command,
        )


def _told(script: Script, steps: list[Step]) -> Iterator[Planned]:
    for step in steps:
        for command in WORDS[step["do"]](script, step):
            happened = command.observed_at or script.at(step)
            photo = None
            if isinstance(command, AttachPhoto):
                photo = picture_of(step["card"], script.finish_of_card(step["card"]))
            elif isinstance(command, NewPhotograph):
                photo = photograph_of(step["photo"])
            yield Planned(
                received_at=happened + _way(step, command),
                person_id=person_id(step.get("by", "painter")),
                command=command,
                photo=photo,
            )


def _way(step: Step, command: Command) -> timedelta:
    """How long an entry took to arrive: seconds as a rule, longer where the Wi-Fi was down."""
    seconds = 5 + zlib.crc32(command.id.encode()) % 35
    return timedelta(minutes=step.get("arrives_after_minutes", 0), seconds=seconds)
