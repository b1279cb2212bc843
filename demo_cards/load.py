"""Putting the story into a folder: a shop of its own, every command at the time it tells of."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from datetime import UTC, date, datetime
from pathlib import Path

from demo_cards.opening import shop_id
from demo_cards.script import person_id, told
from demo_cards.story import SHOP_OPENS, plan
from service.photos.desk import PhotoDesk
from service.storage.database import open_database
from service.use_cases import all_verbs  # noqa: F401  read for the verbs it registers
from service.use_cases.command import Command, change_for
from service.use_cases.passwords import hash_password
from service.use_cases.photographs import NewPhotograph, as_read
from service.use_cases.ports import PhotoFiles, PhotoReader, Store


@dataclass(frozen=True, slots=True, kw_only=True)
class DemoPerson:
    """Somebody a visitor may sign in as."""

    name: str
    roles: tuple[str, ...]
    password: str


@dataclass(slots=True)
class StoryClock:
    """A clock the story sets."""

    now: datetime

    def __call__(self) -> datetime:
        return self.now


def people() -> list[DemoPerson]:
    """The ready people with their passwords, which are no secret."""
    return [
        DemoPerson(name=one["name"], roles=tuple(one["roles"]), password=one["password"])
        for one in told("cast")["people"]
    ]


def load(folder: Path, today: date | None = None) -> int:
    """Make the demo's shop in an empty folder and tell the story; returns the entries made.

    ``today`` is the day the instruments are calibrated to a year beyond.
    """
    story = plan(today or datetime.now(UTC).date())
    manager = told("cast")["people"][0]
    clock = StoryClock(SHOP_OPENS)
    with (
        open_database(folder, clock=clock) as database,
        PhotoDesk() as desk,
        ThreadPoolExecutor(1) as aside,
    ):
        store = database.create_shop(
            told("cast")["shop"],
            manager=manager["name"],
            password_hash=hash_password(manager["password"]),
            is_demo=True,
            shop_id=shop_id(),
            manager_id=person_id(manager["key"]),
        )
        for planned in story:
            if planned.photo is not None:
                store.photos.put(planned.photo)
        # Read in the worker's own process while the story is told up to them.
        read = {
            planned.command.id: aside.submit(to_log, store, desk, store.photos, planned.command)
            for planned in story
            if isinstance(planned.command, NewPhotograph)
        }
        waiting = []
        for planned in story:
            clock.now = planned.received_at
            command = planned.command
            if command.id in read:
                command = read[command.id].result()
            # Not waited for one by one, so that many entries share one commit.
            waiting.append(store.submit(**change_for(store, planned.person_id, command)))
        for receipt in waiting:
            receipt.result()
    return len(waiting) + 1


def to_log(store: Store, reader: PhotoReader, photos: PhotoFiles, command: Command) -> Command:
    """A command of the story as it is carried out: a photograph is read from its bytes first."""
    if isinstance(command, NewPhotograph):
        return as_read(store, reader, photos, command)
    return command
