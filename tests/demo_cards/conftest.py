"""The demo, told once into a folder that tests read, and copies of it for tests that write."""

from __future__ import annotations

import shutil
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import date
from pathlib import Path

import pytest

from demo_cards.load import load
from demo_cards.names import id_of
from demo_cards.script import job_id
from service.domain.lookups import verdict_on_batch, verdict_on_joint
from service.domain.record_file import RecordFile
from service.domain.records.job import Joint
from service.domain.records.measuring import Verdict
from service.domain.sides import joint_gap, joint_name
from service.storage.database import open_database
from service.storage.store import ShopStore

TODAY = date(2026, 1, 15)
"""When the demo of the tests is loaded."""


@dataclass(frozen=True)
class Told:
    """The demo as it stands after its story."""

    store: ShopStore
    van: RecordFile
    repair: RecordFile

    def batch(self, number: int, job: str = "van") -> Verdict | None:
        """Newest verdict on a batch."""
        file = self.van if job == "van" else self.repair
        return verdict_on_batch(file, id_of(job, "batch", number))

    def joints(self) -> dict[str, str]:
        """Word of every joint of the van, or why it has none, by its name."""
        found = {}
        for joint in self.van.all(Joint):
            gap = joint_gap(self.van, joint)
            verdict = verdict_on_joint(self.van, joint.root)
            found[joint_name(self.van, joint)] = gap or (verdict.word if verdict else "no verdict")
        return found

    def joint(self, name: str) -> Verdict:
        """Newest verdict on a joint by its name."""
        joint = next(j for j in self.van.all(Joint) if joint_name(self.van, j) == name)
        verdict = verdict_on_joint(self.van, joint.root)
        assert verdict is not None
        return verdict


@pytest.fixture(scope="session")
def demo_folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with the demo in it, not to be changed."""
    folder = tmp_path_factory.mktemp("demo")
    load(folder, today=TODAY)
    return folder


@pytest.fixture(scope="session")
def demo(demo_folder: Path) -> Iterator[Told]:
    """The demo, open for reading."""
    with open_database(demo_folder, read_only=True) as database:
        store = database.store()
        yield Told(store, store.job(job_id("van")), store.job(job_id("repair")))


@pytest.fixture
def demo_copy(demo_folder: Path, tmp_path: Path) -> Callable[[], Path]:
    """Makes a copy of the demo's folder, to be changed."""

    def copy() -> Path:
        return Path(shutil.copytree(demo_folder, tmp_path / "copy"))

    return copy
