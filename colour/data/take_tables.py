"""Takes the published tables out of a general colour library and writes them beside this file.

Not part of the program, and never run by it. Run once, in a Python environment of its own, since
that library's package has the same name as ours:

    python3 -m venv tables && tables/bin/pip install "colour-science>=0.4.7"
    cd colour/data && ../../tables/bin/python take_tables.py

Then run make_weights.py in the project's own environment.
"""

import importlib
from collections.abc import Iterable
from importlib.metadata import version
from pathlib import Path

HERE = Path(__file__).parent
OBSERVERS = {2: "CIE 1931 2 Degree Standard Observer", 10: "CIE 1964 10 Degree Standard Observer"}
# Our names are the trade's; CIE 15 writes FL2 and FL11 for F2 and F11.
ILLUMINANTS = {
    **{name: name for name in ("D50", "D65")},
    "F2": "FL2",
    "F11": "FL11",
    **{
        f"LED-{name}": f"LED-{name}"
        for name in ("B1", "B2", "B3", "B4", "B5", "BH1", "RGB1", "V1", "V2")
    },
}

OBSERVERS_HEADER = """\
# Colour-matching functions of the CIE standard observers, 360 to 830 nm in steps of 1 nm.
#
# Source: CIE 1931 standard colorimetric observer (2 degrees) and CIE 1964 standard colorimetric
#   observer (10 degrees), ISO/CIE 11664-1.
# Taken from {library} (BSD-3-Clause), digit for digit, by take_tables.py beside
#   this file; the printed standard itself was not at hand.
"""
ILLUMINANTS_HEADER = """\
# Relative spectral power of CIE illuminants, 300 to 780 nm in steps of 5 nm; - is not published.
#
# Source: D65 ISO/CIE 11664-2; D50, the fluorescent lamps F2 and F11 (FL2 and FL11 there) and the
#   LED lamps CIE 15:2018, Colorimetry. Illuminant A is not here: CIE 15 defines it by a formula.
# Taken from {library} (BSD-3-Clause), digit for digit, by take_tables.py beside
#   this file; the printed publications themselves were not at hand.
"""


def write(
    name: str,
    header: str,
    columns: Iterable[str],
    wavelengths: Iterable[float],
    rows: Iterable[Iterable[str]],
) -> None:
    """One table: header, line of names, one line a wavelength, separated by tabs."""
    library = f"colour-science {version('colour-science')}"
    lines = ["\t".join(["nm", *columns])]
    for wavelength, row in zip(wavelengths, rows, strict=True):
        lines.append("\t".join([f"{wavelength:g}", *row]))
    text = header.format(library=library) + "\n".join(lines) + "\n"
    (HERE / name).write_text(text, encoding="utf-8")


def main() -> None:
    library = importlib.import_module("colour")
    functions = {degrees: library.MSDS_CMFS[name] for degrees, name in OBSERVERS.items()}
    columns = [f"{axis}{degrees}" for degrees in functions for axis in "xyz"]
    wavelengths = functions[2].wavelengths
    rows = [
        [f"{value:.10g}" for table in functions.values() for value in table[wavelength]]
        for wavelength in wavelengths
    ]
    write("observers.txt", OBSERVERS_HEADER, columns, wavelengths, rows)

    lamps = {ours: library.SDS_ILLUMINANTS[name] for ours, name in ILLUMINANTS.items()}
    wavelengths = range(300, 781, 5)
    rows = [
        [f"{lamp[nm]:.10g}" if nm >= lamp.wavelengths[0] else "-" for lamp in lamps.values()]
        for nm in wavelengths
    ]
    write("illuminants.txt", ILLUMINANTS_HEADER, list(lamps), wavelengths, rows)


if __name__ == "__main__":
    main()
