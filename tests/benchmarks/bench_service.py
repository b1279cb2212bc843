"""The service over HTTP against what one writes first: card logging, and how long a start takes.

Run ``python -m tests.benchmarks.bench_service [--seconds N]``; it wants ``wrk``. Both sides answer
on one uvicorn process with the same rows, journal entry and lines on the same disk, durably: ours
with its rules, its access check and its findings, the yardstick with a plain ``def`` endpoint, a
pydantic body and an ORM session a request.
"""

from __future__ import annotations

import argparse
import json
import re
import shutil
import socket
import subprocess
import sys
import tempfile
import time
import urllib.request
from contextlib import closing, contextmanager
from pathlib import Path
from typing import Any

from pydantic import BaseModel

from service.domain.card_code import new_card_code
from service.domain.records.shop import Person
from service.domain.terms import Role
from service.storage.database import open_database
from service.use_cases.command import perform
from service.use_cases.shop import GiveToken
from service.use_cases.sign_in import hash_of_token, new_token
from tests.benchmarks.bench_storage import by_plain_orm, prepare
from tests.web_shop import new_id

OURS = """
import sys
from service.app import serve
from service.settings import settings_from
serve(settings_from({"data_dir": sys.argv[1], "port": sys.argv[2]}))
"""
YARDSTICK = """
import sys
from tests.benchmarks.bench_service import serve_plain
serve_plain(sys.argv[1], int(sys.argv[2]))
"""

# Each connection of wrk posts its own lines; 201 is the one good answer.
LUA = """
local lines = {}
for line in io.lines("BODIES") do lines[#lines + 1] = line end
local headers = HEADERS
local sent = 0
request = function()
  sent = sent + 1
  return wrk.format("POST", "PATH", headers, lines[(sent - 1) % #lines + 1])
end
response = function(status, _, body) if status ~= 201 then print("BAD", status, body) end end
done = function(summary, latency)
  io.write(string.format("p50 %.2f p99 %.2f\\n", latency:percentile(50) / 1000,
    latency:percentile(99) / 1000))
end
"""


class Coats(BaseModel):
    """Coats of the yardstick's card."""

    batch_id: str
    coats: int


class Zone(BaseModel):
    """A zone of it."""

    name: str
    state: str
    cleared: bool


class Card(BaseModel):
    """The yardstick's body."""

    id: str
    job_id: str
    batch_id: str
    code: str
    slot: str
    coats: list[Coats]
    zones: list[Zone]


class Logged(BaseModel):
    """Its answer."""

    id: str


def serve_plain(folder: str, port: int) -> None:
    """The yardstick: a def endpoint with a pydantic body and an ORM session."""
    import itertools

    import uvicorn
    from fastapi import FastAPI

    notes = json.loads((Path(folder) / "notes.json").read_text())
    log = by_plain_orm(Path(folder), notes["shop_id"], notes["person_id"], notes["places"])
    numbers = itertools.count()

    app = FastAPI()

    @app.post("/cards", status_code=201)
    def log_card(card: Card) -> Logged:
        log(next(numbers))
        return Logged(id=card.id)

    uvicorn.run(app, port=port, access_log=False, log_level="warning")


def prepared(folder: Path) -> dict[str, Any]:
    """A record with jobs and batches, and a token."""
    with open_database(folder) as database:
        store = database.create_shop("Bench", manager="A")
        person_id = store.shop().all(Person)[0].root
        token = new_token()
        perform(
            store,
            person_id,
            GiveToken(
                id=new_id(),
                person_id=person_id,
                role=Role.MANAGER,
                label="bench",
                token_hash=hash_of_token(token),
            ),
        )
        places = prepare(store)
    # A shop works on a few jobs at a time; more than the store keeps in memory would measure
    # something else.
    places = places[: len(places) // 2]
    notes = {
        "shop_id": store.shop_id,
        "person_id": person_id,
        "places": places,
        "token": token,
    }
    (folder / "notes.json").write_text(json.dumps(notes))
    return notes


def bodies(places: list[tuple[str, str]], count: int) -> str:
    """So many cards to log, one a line."""
    lines = []
    for number in range(count):
        job_id, batch_id = places[number % len(places)]
        card = {
            "id": new_id(),
            "job_id": job_id,
            "batch_id": batch_id,
            "code": new_card_code(),
            "slot": f"A-{number}",
            "coats": [{"batch_id": batch_id, "coats": 2}],
            "zones": [
                {"name": "bare", "state": "bare_base", "cleared": False},
                {"name": "cleared", "state": "cleared", "cleared": True},
            ],
        }
        lines.append(json.dumps(card))
    return "\n".join(lines)


@contextmanager
def running(program: str, folder: Path, path: str):
    """A server process; its address and how long it took to answer, in seconds."""
    with closing(socket.socket()) as listener:
        listener.bind(("127.0.0.1", 0))
        port = listener.getsockname()[1]
    start = time.perf_counter()
    process = subprocess.Popen(
        [sys.executable, "-c", program, str(folder), str(port)], stdout=subprocess.DEVNULL
    )
    try:
        address = f"http://127.0.0.1:{port}"
        while True:
            try:
                urllib.request.urlopen(address + path, timeout=5).close()
                break
            except OSError:
                time.sleep(0.005)
        yield address, time.perf_counter() - start
    finally:
        process.terminate()
        process.wait()


def posted(
    address: str, path: str, headers: dict[str, str], lines: str, connections: int, seconds: int
) -> dict[str, float]:
    """What wrk measures: requests a second, and the median and 99th of 100 times."""
    with tempfile.TemporaryDirectory() as folder:
        (Path(folder) / "bodies").write_text(lines)
        table = ", ".join(f'["{name}"] = "{value}"' for name, value in headers.items())
        script = LUA.replace("BODIES", f"{folder}/bodies").replace("HEADERS", f"{{{table}}}")
        (Path(folder) / "post.lua").write_text(script.replace("PATH", path))
        command = [
            "wrk", "-t1", f"-c{connections}", f"-d{seconds}s", "-s", f"{folder}/post.lua", address,
        ]  # fmt: skip
        said = subprocess.run(command, capture_output=True, text=True, check=True).stdout
    bad = re.findall("^BAD.*$", said, re.MULTILINE)
    if bad:
        raise SystemExit(f"{len(bad)} answers were not 201; the first: {bad[0][:300]}")
    p50, p99 = re.search(r"p50 ([\d.]+) p99 ([\d.]+)", said).groups()
    rate = re.search(r"Requests/sec:\s+([\d.]+)", said).group(1)
    return {"per_second": float(rate), "p50_ms": float(p50), "p99_ms": float(p99)}


def bench_logging(seconds: int) -> None:
    """Print cards a second by the service and by the yardstick, in turns."""
    for connections in (1, 16):
        figures: dict[str, list[dict[str, float]]] = {}
        for _ in range(2):
            for name in ("service", "service, receipt only", "yardstick"):
                figures.setdefault(name, []).append(_one(name, connections, seconds))
        best = {name: max(runs, key=lambda r: r["per_second"]) for name, runs in figures.items()}
        for name, one in best.items():
            print(
                f"{name:22} {connections:2} connections: {one['per_second']:6.0f} cards/s, "
                f"p50 {one['p50_ms']:.2f} ms, p99 {one['p99_ms']:.2f} ms"
            )
        for name in ("service", "service, receipt only"):
            ratio = best[name]["per_second"] / best["yardstick"]["per_second"]
            print(f"    {name} / yardstick: {ratio:.1f} x")


def _one(name: str, connections: int, seconds: int) -> dict[str, float]:
    folder = Path(tempfile.mkdtemp(prefix="keepcard-http-"))
    try:
        notes = prepared(folder)
        headers = {"Content-Type": "application/json"}
        if name == "yardstick":
            program, path, ready = YARDSTICK, "/cards", "/openapi.json"
        else:
            program, path, ready = OURS, "/api/log-card", "/healthz"
            headers["Authorization"] = f"Bearer {notes['token']}"
        if "only" in name:
            headers["Prefer"] = "return=minimal"
        with running(program, folder, ready) as (address, _):
            warm = bodies(notes["places"], 300)
            posted(address, path, headers, warm, 1, 1) if name == "yardstick" else None
            lines = bodies(notes["places"], 4000 * seconds)
            return posted(address, path, headers, lines, connections, seconds)
    finally:
        shutil.rmtree(folder)


def bench_start() -> None:
    """Print how long it takes from the start of the process to its first answer."""
    folder = Path(tempfile.mkdtemp(prefix="keepcard-http-"))
    try:
        prepared(folder)
        times = []
        for _ in range(5):
            with running(OURS, folder, "/healthz") as (_, took):
                times.append(took)
        start = time.perf_counter()
        subprocess.run([sys.executable, "-c", "import fastapi, sqlalchemy"], check=True)
        yardstick = time.perf_counter() - start
        print(
            f"start to first answer: {min(times):.2f} s at best of 5 ({max(times):.2f} at worst); "
            f"importing fastapi and sqlalchemy alone {yardstick:.2f} s"
        )
    finally:
        shutil.rmtree(folder)


def main() -> None:
    """Run everything."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seconds", type=int, default=5)
    options = parser.parse_args()
    if shutil.which("wrk") is None:
        raise SystemExit("wrk is not installed. Install it, then run this again.")
    bench_start()
    bench_logging(options.seconds)


if __name__ == "__main__":
    main()
