"""Server time of the bench's pages on a generated job of 200 batches.

Run it by itself: python -m tests.benchmarks.bench_pages [batches] [rounds]
Goal: the job page of a 200-batch job, p99 at most 30 ms. Each page is asked for in turn with the
others, straight at the application (no socket, no client), signed in, so the time is the
server's own; the ratio is to one's own page, which reads nothing of a job. "After a change" asks
for the job page right after each of as many changes to the job, when nothing of it is at hand.
"""

from __future__ import annotations

import asyncio
import random
import statistics
import sys
import tempfile
import time
from datetime import timedelta
from pathlib import Path
from typing import Any, NamedTuple

from service.app import create_app
from service.domain.records.job import Area
from service.domain.terms import ComponentRole, JointKind
from service.settings import Settings
from service.storage.database import open_database
from service.use_cases import job, spraying
from service.use_cases.sign_in import IDLE, LONGEST
from service.web.security import COOKIE
from tests.shop_hand import ShopHand

ACROSS, DOWN = 5, 20
MIX = (
    spraying.Poured(product="Deep basecoat", role=ComponentRole.BASE, lot="B-1", amount=400.0),
    spraying.Poured(product="Thin reducer", role=ComponentRole.REDUCER, lot="R-1", amount=200.0),
)


def build(hand: ShopHand, batches: int) -> None:
    """A vehicle of 100 panels, most with a joint to each neighbour, 40 sprayed from two pots."""
    hand.clock -= timedelta(days=60)
    hand.open(colour_code="X-1", coats_to_hide=3)
    chance = random.Random(4)
    panels = [
        hand.panel(f"Panel {n + 1}", x=n % ACROSS, y=n // ACROSS, areas=("upper", "lower"))
        for n in range(ACROSS * DOWN)
    ]
    for n, panel in enumerate(panels):
        right, below = n + 1, n + ACROSS
        for other, there in ((right, right % ACROSS != 0), (below, below < len(panels))):
            if there and chance.random() < 0.6:
                hand.on_job(job.AddJoint, kind=JointKind.GAP, panel_a=panel, panel_b=panels[other])
    file = hand.file
    for n in range(batches):
        batch = hand.batch(components=MIX)
        place = n % len(panels)
        if place < 40:
            area = file.by(Area, "panel_id", panels[place])[n // len(panels) % 2]
            hand.spray(batch, area_ids=(area.root,))
        else:
            hand.spray(batch, panel_ids=(panels[place],))
        card = hand.card(batch, slot=f"A-{n + 1}")
        hand.bake(card)
        colour = tuple(at + chance.gauss(0, 0.2) for at in (40.0, 3.0, 5.0))
        reading = hand.read(card, colour)  # type: ignore[arg-type]
        if n == 0:
            hand.master(card, reading)


class Took(NamedTuple):
    """Milliseconds of one request: by the clock, and of work done by this process.

    On a machine that is busy with other things the second is the one to look at.
    """

    clock: float
    work: float


class Visitor:
    """Somebody signed in, who asks the application without a socket between."""

    def __init__(self, app: Any, person: str) -> None:
        sessions = app.state.services.shop.sessions
        token = sessions.start(person, idle=IDLE, longest=LONGEST)
        self.app = app
        self.headers = [(b"host", b"shop"), (b"cookie", f"{COOKIE}={token}".encode())]

    async def ask(self, path: str) -> tuple[Took, int]:
        """How long it took until the whole page was there, and its bytes."""
        plain, _, query = path.partition("?")
        size = status = 0

        async def receive() -> dict[str, Any]:
            return {"type": "http.request", "body": b"", "more_body": False}

        async def send(message: dict[str, Any]) -> None:
            nonlocal size, status
            if message["type"] == "http.response.start":
                status = message["status"]
            else:
                size += len(message.get("body", b""))

        scope = {
            "type": "http",
            "asgi": {"version": "3.0"},
            "http_version": "1.1",
            "method": "GET",
            "scheme": "http",
            "path": plain,
            "raw_path": plain.encode(),
            "query_string": query.encode(),
            "root_path": "",
            "headers": self.headers,
            "client": ("127.0.0.1", 1),
            "server": ("shop", 80),
        }
        began, worked = time.perf_counter(), time.process_time()
        await self.app(scope, receive, send)
        took = Took((time.perf_counter() - began) * 1e3, (time.process_time() - worked) * 1e3)
        assert status == 200, (status, path)
        return took, size


def line(name: str, times: list[Took], size: int, floor: float) -> str:
    """One row of the table."""
    figures = ""
    for column in ([took.clock for took in times], [took.work for took in times]):
        ordered = sorted(column)
        figures += (
            f"{statistics.median(ordered):9.2f}{ordered[round(0.99 * len(ordered)) - 1]:9.2f}"
        )
    ratio = statistics.median(took.work for took in times) / floor
    return f"{name:26}{figures}{ratio:9.1f}{size / 1024:7.0f}"


async def measure(app: Any, hand: ShopHand, rounds: int) -> None:
    """Ask for every page in turn, then for the job page after changes."""
    here, job_path = Visitor(app, hand.manager), f"/jobs/{hand.job_id}"
    batch = hand.file.all(spraying.Batch)[len(hand.file.all(spraying.Batch)) // 2]
    card = hand.file.by(spraying.Card, "batch_id", batch.root)[0]
    pages = {
        "one's own page (floor)": "/person",
        "bench": "/bench",
        "job": job_path,
        "job, nothing folded": f"{job_path}?show=all",
        "batch": f"{job_path}/batches/{batch.root}",
        "form of a batch": f"{job_path}/batches/new",
        "form of a card": f"{job_path}/batches/{batch.root}/cards/new",
        "form of a coat": f"{job_path}/batches/{batch.root}/coats/new",
        "form of a reading": f"/c/{card.code}/readings/new",
    }
    times: dict[str, list[Took]] = {name: [] for name in pages}
    sizes: dict[str, int] = {}
    for turn in range(rounds + 5):
        for name, path in pages.items():
            took, sizes[name] = await here.ask(path)
            if turn >= 5:
                times[name].append(took)
    changed: list[Took] = []
    for turn in range(rounds):
        hand.on_job(
            spraying.SprayCoat,
            batch_id=batch.root,
            panel_ids=(hand.file.all(job.Panel)[turn % 100].root,),
            number=9,
        )
        changed.append((await here.ask(job_path))[0])
    floor = statistics.median(took.work for took in times["one's own page (floor)"])
    print(f"{'':26}{'by the clock, ms':>18}{'work, ms':>18}{'x floor':>9}{'KiB':>7}")
    print(f"{'page':26}{'p50':>9}{'p99':>9}{'p50':>9}{'p99':>9}")
    for name, taken in times.items():
        print(line(name, taken, sizes[name], floor))
    print(line("job, after a change", changed, sizes["job"], floor))


def main(batches: int, rounds: int) -> None:
    """Generate the job, then measure."""
    folder = Path(tempfile.mkdtemp(prefix="bench-pages-"))
    with open_database(folder) as database:
        hand = ShopHand(database.create_shop("Bench shop", manager="First Manager"))
        build(hand, batches)
    app = create_app(Settings(data_dir=folder, zone="Europe/Lisbon"))
    hand.store = app.state.services.shop.store
    file = hand.file
    print(
        f"{batches} batches, {len(file.all(job.Panel))} panels, {len(file.all(job.Joint))} joints"
    )

    async def run() -> None:
        async with app.router.lifespan_context(app):
            await measure(app, hand, rounds)

    asyncio.run(run())


if __name__ == "__main__":
    given = [int(argument) for argument in sys.argv[1:3]]
    main(*given, *(200, 200)[len(given) :])
