"""Writes chart_spectra.txt, chart_lab.txt and chart_metamerism.txt by a general colour library.

Run once, in a Python environment of its own, since that library's package has our package's name:

    python3 -m venv tables && tables/bin/pip install "colour-science>=0.4.7"
    cd tests/reference && ../../tables/bin/python make_spectra_reference.py
"""

import importlib
import warnings
from importlib.metadata import version
from pathlib import Path

import numpy as np

HERE = Path(__file__).parent
OBSERVERS = {2: "CIE 1931 2 Degree Standard Observer", 10: "CIE 1964 10 Degree Standard Observer"}
LAMPS = ("B1", "B2", "B3", "B4", "B5", "BH1", "RGB1", "V1", "V2")
LIGHTS = {
    **{name: name for name in ("A", "D50", "D65")},
    **{"F2": "FL2", "F11": "FL11"},
    **{f"LED-{name}": f"LED-{name}" for name in LAMPS},
}
OTHER_INTERVALS = ("D65", "A", "F11", "LED-B3")  # at 5 and 20 nm, 10 degrees only

SPECTRA_HEADER = """\
# Reflectance of the 24 patches of a colour chart, share of 1, 380 to 780 nm in steps of 5 nm.
#
# Source: ISO 17321-1, annex with the chart's spectra, as kept by {library}
#   (BSD-3-Clause); written by make_spectra_reference.py beside this file. The standard itself was
#   not at hand.
"""
LAB_HEADER = """\
# CIELAB of the chart in chart_spectra.txt, computed by {library} alone, printed to
# 5 decimals. Written by make_spectra_reference.py beside this file.
#
# way: e308_5, e308_10, e308_20 that library's ASTM E308 with E2022 weights, 360 to 780 nm, the
#        spectrum at every 5, 10 or 20 nm from 380 nm (no omission or interpolation of its own);
#      sum_of_5, sum_of_10 the sum over every nanometre, the chart at 5 or 10 nm interpolated by
#        Sprague's formula, its end values kept beyond its ends.
# The illuminant is that library's table made linear to 1 nm, A its formula.
# patch: 1 to 24 in the order of the columns there; white is the perfect white, as X, Y, Z.
"""
METAMERISM_HEADER = """\
# Special metamerism index of each patch of chart_spectra.txt against a sample made of it, for the
# change from D65 to the test illuminant, 10 degrees. XYZ, CIELAB and differences are those of
# {library} alone (its ASTM E308 at every 10 nm from 380 nm), printed to 5 decimals.
# Written by make_spectra_reference.py beside this file.
#
# sample: the patch times 1.02 + 0.05 cos(2 pi (nm - 380) / 80).
# index: X of the sample under the test light times X of the patch / X of the sample, both under
#   D65, and Y and Z alike; then the difference of patch and sample, CIEDE2000 (index_2000) and
#   CIE 1976 (index_ab). seen: CIEDE2000 under the test light with nothing corrected.
"""


def metamerism(library, name, chart, tables, shape):
    """The rows of chart_metamerism.txt."""
    every = library.SpectralShape(380, 780, 10)
    functions = library.MSDS_CMFS[OBSERVERS[10]].copy().trim(shape)
    wave = 1.02 + 0.05 * np.cos(2 * np.pi * (every.wavelengths - 380) / 80)

    def xyz(values, light):
        sd = library.SpectralDistribution(values, every)
        return library.sd_to_XYZ(
            sd, functions, tables[light], method="ASTM E308", mi_20nm_interpolation_method=False
        )

    lines = ["\t".join(["patch", "test", "index_2000", "index_ab", "seen"])]
    for patch, sd in enumerate(chart.values(), 1):
        master = sd.copy().align(every).values
        sample = master * wave
        factors = xyz(master, "D65") / xyz(sample, "D65")
        for test in ("A", "F11", "LED-B3"):
            white = xyz(np.ones(len(master)), test)
            labs = [
                library.XYZ_to_Lab(values / white[1], library.XYZ_to_xy(white))
                for values in (
                    xyz(master, test),
                    xyz(sample, test) * factors,
                    xyz(sample, test),
                )
            ]
            found = [
                library.delta_E(labs[0], labs[1], method="CIE 2000"),
                library.delta_E(labs[0], labs[1], method="CIE 1976"),
                library.delta_E(labs[0], labs[2], method="CIE 2000"),
            ]
            lines.append("\t".join([str(patch), test, *(f"{value:.5f}" for value in found)]))
    header = METAMERISM_HEADER.format(library=name)
    (HERE / "chart_metamerism.txt").write_text(header + "\n".join(lines) + "\n", encoding="utf-8")


def main():
    warnings.simplefilter("ignore")
    library = importlib.import_module("colour")
    name = f"colour-science {version('colour-science')}"
    chart = library.SDS_COLOURCHECKERS["ISO 17321-1"]
    shape = library.SpectralShape(360, 780, 1)

    nm = np.arange(380, 781, 5)
    lines = ["\t".join(["nm", *(patch.replace(" ", "_") for patch in chart)])]
    lines += ["\t".join([f"{x}", *(f"{sd[x]:.6g}" for sd in chart.values())]) for x in nm]
    header = SPECTRA_HEADER.format(library=name)
    (HERE / "chart_spectra.txt").write_text(header + "\n".join(lines) + "\n", encoding="utf-8")

    def lab(xyz, white):
        # Their CIELAB takes the white as chromaticity.
        return library.XYZ_to_Lab(xyz / white[1], library.XYZ_to_xy(white))

    def spectra(interval):
        every = library.SpectralShape(380, 780, interval)
        white = library.sd_ones(every)
        return [white, *(sd.copy().align(every) for sd in chart.values())]

    def every_nm(interval):
        found = []
        for sd in spectra(interval):
            fine = sd.interpolate(library.SpectralShape(380, 780, 1)).values
            found.append(np.concatenate([np.repeat(fine[0], 20), fine]))
        return np.array(found)

    tables = {}
    lines = ["\t".join(["way", "illuminant", "observer", "patch", "L", "a", "b"])]
    whole = {"sum_of_5": every_nm(5), "sum_of_10": every_nm(10)}
    for light, theirs in LIGHTS.items():
        lamp = (
            library.sd_CIE_standard_illuminant_A(shape)
            if light == "A"
            else library.SDS_ILLUMINANTS[theirs].copy().align(shape)
        )
        tables[light] = lamp
        for degrees, observer in OBSERVERS.items():
            functions = library.MSDS_CMFS[observer].copy().trim(shape)
            ways = {}
            intervals = (5, 10, 20) if degrees == 10 and light in OTHER_INTERVALS else (10,)
            for interval in intervals:
                ways[f"e308_{interval}"] = [
                    library.sd_to_XYZ(
                        sd,
                        functions,
                        lamp,
                        method="ASTM E308",
                        mi_5nm_omission_method=False,
                        mi_20nm_interpolation_method=False,
                    )
                    for sd in spectra(interval)
                ]
            products = lamp.values[:, None] * functions.values
            for way, spectra_1 in whole.items():
                ways[way] = spectra_1 @ (products * (100 / products[:, 1].sum()))
            for way, (white, *patches) in ways.items():
                rows = [("white", white), *enumerate((lab(xyz, white) for xyz in patches), 1)]
                for patch, values in rows:
                    cells = [way, light, str(degrees), str(patch)]
                    lines.append("\t".join([*cells, *(f"{value:.5f}" for value in values)]))
    header = LAB_HEADER.format(library=name)
    (HERE / "chart_lab.txt").write_text(header + "\n".join(lines) + "\n", encoding="utf-8")
    metamerism(library, name, chart, tables, shape)


if __name__ == "__main__":
    main()
