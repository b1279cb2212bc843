"""``keepcard spectrum`` on tables as others write them, and on what is no reflectance.

Expected colours come from the same spectra in the plain form that the contract describes; those
are compared with another library in test_spectrum.py.
"""

from __future__ import annotations

import json

import pytest

BANDS = list(range(380, 740, 10))
SHARES = [round(0.2 + place / 100, 2) for place in range(len(BANDS))]
PLAIN = "name," + ",".join(map(str, BANDS)) + "\nfir," + ",".join(map(str, SHARES)) + "\n"


def turned(names="fir"):
    rows = "".join(f"{nm},{share}\n" for nm, share in zip(BANDS, SHARES, strict=True))
    return f"wavelength,{names}\n{rows}"


DIALECTS = {
    "first heading empty": PLAIN.replace("name,", ",", 1),
    "headings with nm": PLAIN.replace(
        ",".join(map(str, BANDS)), ",".join(f"R {nm} nm" for nm in BANDS)
    ),
    "turned": turned(),
    "downwards": "name,"
    + ",".join(map(str, BANDS[::-1]))
    + "\nfir,"
    + ",".join(map(str, SHARES[::-1]))
    + "\n",
    "CGATS.17": "CGATS.17\nBEGIN_DATA_FORMAT\nSAMPLE_NAME "
    + " ".join(f"SPEC_{nm}" for nm in BANDS)
    + "\nEND_DATA_FORMAT\nBEGIN_DATA\nfir "
    + " ".join(map(str, SHARES))
    + "\nEND_DATA\n",
}


def colours(keepcard, tmp_path, text):
    path = tmp_path / "spectra.txt"
    path.write_text(text, encoding="utf-8")
    result = keepcard("spectrum", str(path), "--illuminant", "F11", "--observer", "2", "--json")
    assert result.exit_code == 0, result.stderr
    return json.loads(result.stdout)["samples"]


@pytest.mark.parametrize("text", DIALECTS.values(), ids=DIALECTS.keys())
def test_the_same_spectrum_has_the_same_colour_in_every_dialect(keepcard, tmp_path, text):
    assert colours(keepcard, tmp_path, text) == colours(keepcard, tmp_path, PLAIN)


def test_the_power_of_a_lamp_is_refused_in_words(keepcard, tmp_path):
    path = tmp_path / "lamp.txt"
    path.write_text(DIALECTS["CGATS.17"].replace("CGATS.17", 'CGATS.17\nMEAS_TYPE "EMISSION"'))
    result = keepcard("spectrum", str(path))
    assert result.exit_code == 2
    assert "something else than reflectance" in result.stderr
