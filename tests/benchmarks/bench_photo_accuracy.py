"""How right simulated photographs are read, and how well bad ones are refused.

Run: python tests/benchmarks/bench_photo_accuracy.py --good 150 --bad 8

Half the cameras know nothing but a matrix, half are spectral; neither is the reader's model. Every
fourth master lies between L* 4 and 15. Beside the good photographs on an exact print stand a third
as many on prints that stray (read on nominal and on measured values), a quarter saved at quality
75 to 84, and sixths with local tone mapping and with the two cards swapped for a second one.
``--photographs FOLDER`` keeps what was rendered, so that a changed reader is tried in a fraction
of the time; empty it when the simulator has changed.
"""

from __future__ import annotations

import argparse
import dataclasses
import json
import pickle
import sys
import time
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[2]))

from colour.photo.sheet import sheet_target
from colour.photo.target import Lab, Target
from demo_cards.photographing.chances import any_view
from demo_cards.photographing.files import FileForm
from demo_cards.photographing.scene import as_measured, printed_with_error
from demo_cards.photographing.setups import SPOILINGS, SetUp, plausible, spoiled
from tests.benchmarks.photo_table import table
from tests.photo_trials import Reading, judged_cards, read_photograph

SMALL = (2048, 1536)  # where the count of pixels is not the question
PRINT = {"smooth": 1.5, "scatter": 1.0}  # Lab units: of a shop's printer
LOCAL_TONE = 0.1
DARK_SEEDS = (3, 6)  # of every eight: one for each family of cameras
SHARES = {"good": 1.0, "printed": 1 / 3, "coarse": 1 / 4, "local": 1 / 6, "swapped": 1 / 6}


@dataclasses.dataclass(frozen=True, kw_only=True)
class Taken:
    """A photograph, and what it is judged by."""

    group: str
    seed: int
    content: bytes
    truth: Mapping[str, Lab]
    targets: Mapping[str, Target]  # by the group that a reading against it counts to
    settings: Mapping[str, object]


def taken(group: str, seed: int) -> Iterator[Taken]:
    """The photographs of one seed of a group; ``bad <kind>`` names what is spoiled."""
    sheet = sheet_target("a4")
    rng = np.random.default_rng([seed, *group.encode()])
    if group.startswith("bad "):
        kind = next(kind for kind in SPOILINGS if group == f"bad {kind}")
        yield _take(group, seed, spoiled(rng, sheet, kind, frame=SMALL), {group: sheet}, rng)
        return
    lightness = (4.0, 15.0) if seed % 8 in DARK_SEEDS else (15.0, 88.0)
    cards = judged_cards(rng, sheet, lightness)
    printed = printed_with_error(sheet, rng, **PRINT) if group == "printed" else {}
    targets = {group: sheet}
    if group == "printed":
        targets = {
            "printed, nominal": sheet,
            "printed, measured": as_measured(sheet, printed, rng),
        }
    set_up = plausible(
        rng,
        sheet,
        cards=cards,
        camera="matrix" if seed % 2 else "spectral",
        frame=None if group == "good" else SMALL,
        patches=printed,
    )
    if group == "coarse":
        form = dataclasses.replace(set_up.optics.form, quality=int(rng.integers(75, 85)))
        set_up = _with_form(set_up, form)
    elif group == "local":
        rendering = dataclasses.replace(set_up.camera.rendering, local=LOCAL_TONE)
        camera = dataclasses.replace(set_up.camera, rendering=rendering)
        set_up = dataclasses.replace(set_up, camera=camera)
    yield _take(group, seed, set_up, targets, rng)
    if group == "swapped":
        swapped = {**cards, "master": cards["card"], "card": cards["master"]}
        scene = dataclasses.replace(set_up.scene, cards=swapped)
        optics = dataclasses.replace(set_up.optics, view=any_view(rng, sheet, *SMALL))
        again = dataclasses.replace(set_up, scene=scene, optics=optics)
        yield _take("swapped again", seed, again, {"swapped again": sheet}, rng)


def _with_form(set_up: SetUp, form: FileForm) -> SetUp:
    return dataclasses.replace(set_up, optics=dataclasses.replace(set_up.optics, form=form))


def _take(
    group: str, seed: int, set_up: SetUp, targets: Mapping[str, Target], rng: np.random.Generator
) -> Taken:
    photograph = set_up.take(rng)
    settings = {
        "seed": seed,
        "camera": type(set_up.camera).__name__,
        "quality": set_up.optics.form.quality,
        "width": set_up.optics.view.width,
        "light": photograph.settings["light"],
        "sensor": photograph.settings["sensor"],
    }
    return Taken(
        group=group,
        seed=seed,
        content=photograph.content,
        truth=photograph.truth,
        targets=targets,
        settings=settings,
    )


def kept(folder: Path | None, group: str, seed: int) -> list[Taken]:
    """The same, from the folder where it was rendered before."""
    if folder is None:
        return list(taken(group, seed))
    path = folder / f"{group.replace(' ', '-')}-{seed}.pickle"
    if path.exists():
        return [Taken(**fields) for fields in pickle.loads(path.read_bytes())]
    made = list(taken(group, seed))
    folder.mkdir(parents=True, exist_ok=True)
    path.write_bytes(pickle.dumps([vars(one) for one in made]))
    return made


def plan(good: int, bad: int, seed: int) -> Iterator[tuple[str, int]]:
    for group, part in SHARES.items():
        for number in range(round(good * part)):
            yield group, seed + number
    for kind in SPOILINGS:
        for number in range(bad):
            yield f"bad {kind}", seed + number


def readings(
    good: int, bad: int, seed: int, folder: Path | None, say: Callable[[str], None]
) -> dict[str, list[Reading]]:
    """All readings by group."""
    by_group: dict[str, list[Reading]] = {}
    started, done = time.perf_counter(), 0
    for group, number in plan(good, bad, seed):
        for photograph in kept(folder, group, number):
            read = read_photograph(
                photograph.content, photograph.truth, *photograph.targets.values()
            )
            for name, reading in zip(photograph.targets, read, strict=True):
                by_group.setdefault(name, []).append(
                    dataclasses.replace(reading, settings=photograph.settings)
                )
        done += 1
        if done % 20 == 0:
            say(f"{group}: {done} after {time.perf_counter() - started:.0f} s")
    return by_group


def main() -> None:
    parser = argparse.ArgumentParser(description=(__doc__ or "").split("\n")[0])
    parser.add_argument("--good", type=int, default=40)
    parser.add_argument("--bad", type=int, default=3, help="of each kind")
    parser.add_argument("--seed", type=int, default=1000)
    parser.add_argument("--photographs", type=Path, help="keep what was rendered in this folder")
    parser.add_argument("--json", action="store_true")
    asked = parser.parse_args()
    found = readings(
        asked.good,
        asked.bad,
        asked.seed,
        asked.photographs,
        lambda line: print(line, file=sys.stderr, flush=True),
    )
    if asked.json:
        plain = {
            group: [dataclasses.asdict(reading) for reading in some]
            for group, some in found.items()
        }
        print(json.dumps(plain))
    else:
        print(table(found))


if __name__ == "__main__":
    main()
