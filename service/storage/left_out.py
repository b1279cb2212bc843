"""What a folder restored from an export does not hold, so that verification need not miss it."""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path

NAME = "left_out.json"


@dataclass(frozen=True, slots=True, kw_only=True)
class LeftOut:
    """Jobs of the shop that were not exported, and whether the secrets were not."""

    jobs: frozenset[str] = frozenset()
    secrets: bool = False


def note_left_out(folder: Path, left_out: LeftOut) -> None:
    """Write down what is not there, if anything is not."""
    if left_out.jobs or left_out.secrets:
        noted = {"jobs": sorted(left_out.jobs), "secrets": left_out.secrets}
        (folder / NAME).write_text(json.dumps(noted), encoding="utf-8")


def read_left_out(folder: Path) -> LeftOut:
    """What was left out of a folder; nothing, as a rule."""
    path = folder / NAME
    if not path.exists():
        return LeftOut()
    noted = json.loads(path.read_text(encoding="utf-8"))
    return LeftOut(jobs=frozenset(noted["jobs"]), secrets=bool(noted["secrets"]))
