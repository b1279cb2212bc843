"""Start times of the command line, each as a whole process, beside a bare interpreter.

Run it by itself: python tests/benchmarks/bench_cli.py [runs]
Goals: `--help` at most 60 ms and `difference` at most 130 ms, where a bare interpreter takes 9;
so the ratios to the bare interpreter are printed too, measured turn by turn in the same run.
"""

from __future__ import annotations

import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

RUN = "from service.app import main; main()"


def commands(folder: Path) -> dict[str, list[str]]:
    """Each command as its arguments to the interpreter."""
    readings = folder / "readings.csv"
    readings.write_text(
        "# illuminant: D65\n# observer: 10\n# geometry: 45:0\nL,a,b\n"
        "50,1,2\n50.1,1.1,2\n49.9,1,2.1\n"
    )
    both = ["--master", str(readings), "--card", str(readings)]
    return {
        "bare interpreter": ["-c", "pass"],
        "import click": ["-c", "import click"],
        "import numpy": ["-c", "import numpy"],
        "--help": ["-c", RUN, "--help"],
        "difference": ["-c", RUN, "difference", "50,2.6772,-79.7751", "50,0,-82.7485"],
        "read": ["-c", RUN, "read", str(readings), "--json"],
        "judge": ["-c", RUN, "judge", *both, "--limit", "0.8", "--json"],
    }


def main(runs: int) -> None:
    """Take the commands in turn, so that a slow spell of the machine meets all of them."""
    with tempfile.TemporaryDirectory() as folder:
        found: dict[str, list[float]] = {}
        for turn in range(runs + 1):
            for name, arguments in commands(Path(folder)).items():
                start = time.perf_counter()
                done = subprocess.run(
                    [sys.executable, *arguments], capture_output=True, check=False
                )
                took = time.perf_counter() - start
                if done.returncode:
                    sys.exit(f"{name} failed: {done.stderr.decode()}")
                if turn:  # the first turn may compile
                    found.setdefault(name, []).append(took * 1000)
    bare = statistics.median(found["bare interpreter"])
    print(f"{'':18}  median ms  least ms  times bare   ({runs} runs)")
    for name, took in found.items():
        median = statistics.median(took)
        print(f"{name:18}  {median:9.1f}  {min(took):8.1f}  {median / bare:10.1f}")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 25)
