"""Reading exchange files of 10 MB: time and memory, each in a process of its own.

Run ``python -m tests.benchmarks.bench_exchange``. Beside each reading stands what the plainest
handling of the same bytes costs in the same run: splitting the text into floats for CGATS.17, a
parse without a tree kept for CxF3.
"""

from __future__ import annotations

import json
import random
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from xml.etree import ElementTree

SIZE = 10_000_000
BANDS = range(380, 740, 10)


def cgats(rows_of: bool) -> bytes:
    """A CGATS.17 text; with ``rows_of`` spectra in its rows, else L*, a*, b* alone."""
    chance = random.Random(1)
    rows, size = [], 0
    while size < SIZE:
        cells = [str(len(rows) + 1)] + [f"{chance.random() * 90:.4f}" for _ in range(3)]
        cells += [f"{chance.random():.6f}" for _ in BANDS] if rows_of else []
        rows.append("\t".join(cells))
        size += len(rows[-1]) + 2
    fields = ["SAMPLE_ID", "LAB_L", "LAB_A", "LAB_B"]
    fields += [f"SPECTRAL_NM{nm}" for nm in BANDS] if rows_of else []
    head = ["CGATS.17", f"NUMBER_OF_FIELDS {len(fields)}", "BEGIN_DATA_FORMAT", "\t".join(fields)]
    head += ["END_DATA_FORMAT", f"NUMBER_OF_SETS {len(rows)}", "BEGIN_DATA"]
    return "\r\n".join([*head, *rows, "END_DATA", ""]).encode()


def cxf(rows_of: bool) -> bytes:
    """A CxF3 document of the same."""
    chance = random.Random(1)
    objects, size = [], 0
    while size < SIZE:
        number = len(objects) + 1
        text = (
            f'<cc:Object ObjectType="Standard" Name="{number}" Id="o{number}">\n\t<cc:ColorValues>'
        )
        if rows_of:
            values = " ".join(f"{chance.random():.6f}" for _ in BANDS)
            text += f'\n\t\t<cc:ReflectanceSpectrum ColorSpecification="s">{values}'
            text += "</cc:ReflectanceSpectrum>"
        lab = "".join(f"\n\t\t\t<cc:{x}>{chance.random() * 90:.4f}</cc:{x}>" for x in "LAB")
        text += f'\n\t\t<cc:ColorCIELab ColorSpecification="s">{lab}\n\t\t</cc:ColorCIELab>'
        objects.append(text + "\n\t</cc:ColorValues>\n</cc:Object>\n")
        size += len(objects[-1])
    said = (
        '<cc:ColorSpecification Id="s"><cc:MeasurementSpec>'
        '<cc:WavelengthRange StartWL="380" Increment="10"/></cc:MeasurementSpec>'
        "</cc:ColorSpecification>"
    )
    return (
        '<cc:CxF xmlns:cc="http://colorexchangeformat.com/CxF3-core"><cc:Resources>'
        f"<cc:ObjectCollection>{''.join(objects)}</cc:ObjectCollection>"
        f"<cc:ColorSpecificationCollection>{said}</cc:ColorSpecificationCollection>"
        "</cc:Resources></cc:CxF>"
    ).encode()


FILES = {
    "CGATS.17, spectra": (cgats, True),
    "CGATS.17, L*a*b*": (cgats, False),
    "CxF3, spectra": (cxf, True),
    "CxF3, L*a*b*": (cxf, False),
}


def measure(path: str) -> dict[str, float]:
    """In this process: seconds of reading, of the plain handling, and the greatest memory."""
    from service.exchange.reading_files import read_readings

    data = Path(path).read_bytes()
    start = time.perf_counter()
    samples = len(read_readings(data).samples)
    seconds = time.perf_counter() - start
    memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    start = time.perf_counter()
    if data.startswith(b"<"):
        parser = ElementTree.XMLPullParser(["end"])
        parser.feed(data)
        for _, element in parser.read_events():
            element.clear()
    else:
        for line in data.decode().splitlines():
            try:
                [float(cell) for cell in line.split("\t")]
            except ValueError:
                continue
    plain = time.perf_counter() - start
    return {"samples": samples, "seconds": seconds, "plain": plain, "memory": memory}


def main() -> None:
    """Print one line a file; the goals are 3 s and 300 MB."""
    print(f"{'10 MB file':20}{'samples':>9}{'s':>8}{'plain s':>9}{'ratio':>7}{'MB':>6}")
    with tempfile.TemporaryDirectory() as folder:
        for name, (make, spectra) in FILES.items():
            path = Path(folder) / "file"
            path.write_bytes(make(spectra))
            code = "import sys, json; from tests.benchmarks.bench_exchange import measure; "
            code += "print(json.dumps(measure(sys.argv[1])))"
            done = subprocess.run(
                [sys.executable, "-c", code, str(path)], capture_output=True, check=True
            )
            m = json.loads(done.stdout)
            print(
                f"{name:20}{m['samples']:>9,.0f}{m['seconds']:>8.2f}{m['plain']:>9.2f}"
                f"{m['seconds'] / m['plain']:>7.1f}{m['memory']:>6.0f}"
            )


if __name__ == "__main__":
    main()
