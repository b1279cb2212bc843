"""Putting the story into a folder: a shop of its own, every command at the time it tells of."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, date, datetime
from pathlib import Path

from demo_cards.opening import shop_id
from demo_cards.script import person_id, told
from demo_cards.story import SHOP_OPENS, plan
from service.storage.database import open_database
from service.use_cases import all_verbs  # noqa: F401  read for the verbs it registers
from service.use_cases.command import change_for
from service.use_cases.passwords import hash_password


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
    with open_database(folder, clock=clock) as database:
        store = database.create_shop(
            told("cast")["shop"],
            manager=manager["name"],
            password_hash=hash_password(manager["password"]),
            is_demo=True,
            shop_id=shop_id(),
            manager_id=person_id(manager["key"]),
        )
        waiting = []
        for planned in story:
            clock.now = planned.received_at
            if planned.photo is not None:
                store.photos.put(planned.photo)
            # Not waited for one by one, so that many entries share one commit.
            waiting.append(store.submit(**change_for(store, planned.person_id, planned.command)))
        for receipt in waiting:
            receipt.result()
    return len(waiting) + 1
