"""Spectra to XYZ and Lab: laws, rules for wavelengths, names, and what is refused."""

import subprocess
import sys

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from colour.difference import delta_e_2000
from colour.lights import ILLUMINANTS, OBSERVERS, illuminant_name, observer_degrees
from colour.spectra import lab_from_reflectance, lab_from_xyz, white_point, xyz_from_reflectance
from colour.spectral_weights import weights_for
from tests.chart import chart, chart_every

NM = np.arange(400.0, 701.0, 10.0)
D65 = {"illuminant": "D65", "observer": 10}
GRIDS = {
    "1 nm": np.arange(360, 831),
    "5 nm": np.arange(380, 781, 5),
    "10 nm": NM,
    "20 nm": np.arange(400, 701, 20),
    "10 nm beside the table's": np.arange(405, 696, 10),
    "3.5 nm": np.arange(380, 731, 3.5),
    "uneven": np.array([390, *np.unique(np.random.default_rng(4).uniform(395, 710, 80))]),
}
spectra = arrays(np.float64, len(NM), elements=st.floats(0, 1.5, width=32))


@pytest.mark.parametrize("observer", OBSERVERS)
@pytest.mark.parametrize("illuminant", ILLUMINANTS)
@pytest.mark.parametrize("grid", GRIDS.values(), ids=GRIDS)
def test_a_perfect_white_is_exactly_100_0_0(grid, illuminant, observer):
    ones = np.ones((3, len(grid)))
    lab = lab_from_reflectance(ones, grid, illuminant=illuminant, observer=observer)
    assert (lab == [100, 0, 0]).all()


@given(spectra, spectra, st.floats(0, 1), st.floats(0, 1))
def test_xyz_is_linear_in_reflectance(one, other, s, t):
    mixed = xyz_from_reflectance(s * one + t * other, NM, **D65)
    apart = s * xyz_from_reflectance(one, NM, **D65) + t * xyz_from_reflectance(other, NM, **D65)
    np.testing.assert_allclose(mixed, apart, atol=1e-10)


@given(spectra)
def test_many_spectra_are_one_at_a_time(spectrum):
    many = np.stack([spectrum, spectrum[::-1], np.ones(len(NM))]).reshape(3, 1, -1)
    found = lab_from_reflectance(many, NM, **D65)
    assert found.shape == (3, 1, 3)
    for row, one in zip(found[:, 0], many[:, 0], strict=True):
        np.testing.assert_allclose(row, lab_from_reflectance(one, NM, **D65), atol=1e-9)


@given(st.floats(0, 1.5))
def test_a_grey_is_neutral_and_as_light_as_its_y_says(share):
    """ISO/CIE 11664-4: L* = 116 (Y/Yn)^(1/3) - 16, and 24389/27 Y/Yn below (6/29)^3."""
    lightness, a, b = lab_from_reflectance(np.full(len(NM), share), NM, **D65)
    expected = 116 * np.cbrt(share) - 16 if share > 216 / 24389 else 24389 / 27 * share
    assert lightness == pytest.approx(expected, abs=1e-10)
    assert abs(a) < 1e-10 and abs(b) < 1e-10


@pytest.mark.parametrize("light", ["D65", "A", "F11", "LED-V1"])
@pytest.mark.parametrize("interval", [1, 2.5, 10])
def test_other_wavelengths_tell_the_same_of_a_smooth_spectrum(interval, light):
    def smooth(nm):
        return 0.4 + 0.3 * np.tanh((nm - 560) / 60)

    wavelengths = np.arange(380 + interval / 2, 781, interval)
    told = lab_from_reflectance(smooth(wavelengths), wavelengths, illuminant=light, observer=10)
    nm = np.arange(360, 781, 5)
    tabled = lab_from_reflectance(smooth(nm), nm, illuminant=light, observer=10)
    assert delta_e_2000(tabled, told) < 0.02


def test_uneven_wavelengths_take_the_chart_as_even_ones_do():
    nm, reflectance = chart()
    uneven = np.delete(nm, [3, 10, 11, 30, 31, 32, 50])
    kept = np.isin(nm, uneven)
    lab = lab_from_reflectance(reflectance[:, kept], uneven, **D65)
    whole = lab_from_reflectance(reflectance, nm, **D65)
    assert delta_e_2000(whole, lab).max() < 0.2  # up to 20 nm bridged in a chart of steep colours


def test_what_lies_outside_360_to_780_nm_counts_for_nothing():
    wide = np.arange(300, 1001, 10)
    inside = (wide >= 360) & (wide <= 780)
    reflectance = np.where(inside, 0.3, 1.2)
    assert lab_from_reflectance(reflectance, wide, **D65) == pytest.approx(
        lab_from_reflectance(np.full(inside.sum(), 0.3), wide[inside], **D65), abs=1e-12
    )


def test_missing_ends_count_for_the_last_value_there_is():
    """ASTM E308: the weights of wavelengths not measured are added to the nearest measured."""
    whole = np.arange(360, 781, 10)
    spectrum = np.interp(whole, NM, np.linspace(0.2, 0.7, len(NM)))  # constant beyond the ends
    short = spectrum[(whole >= 400) & (whole <= 700)]
    np.testing.assert_allclose(
        xyz_from_reflectance(short, NM, **D65), xyz_from_reflectance(spectrum, whole, **D65)
    )


@pytest.mark.parametrize("light", ILLUMINANTS)
def test_ends_that_may_be_missing_are_worth_little(light):
    """Every range the rule accepts, at 10 nm, keeps the chart within 0.4 ΔE00."""
    nm, reflectance = chart_every(10)
    whole = lab_from_reflectance(reflectance, nm, illuminant=light, observer=10)
    taken = 0
    for start in range(0, 5):
        for end in range(28, 42):
            part = slice(start, end)
            try:
                lab = lab_from_reflectance(
                    reflectance[:, part], nm[part], illuminant=light, observer=10
                )
            except ValueError:
                continue
            taken += 1
            assert delta_e_2000(whole, lab).max() < 0.4
    assert taken > 10


def test_too_short_a_range_is_refused_with_the_range_needed():
    nm = np.arange(430, 701, 10)
    with pytest.raises(
        ValueError,
        match=r"from 430 to 700 nm and so misses 15.3% of the weight of Z under D65/10°; at most 2%"
        r" may be missing. It must reach from 40\d or below to 6\d\d nm or above",
    ):
        lab_from_reflectance(np.ones(len(nm)), nm, **D65)


def test_the_range_that_is_asked_for_is_taken():
    nm = np.arange(407, 668)
    assert lab_from_reflectance(np.ones(len(nm)), nm, **D65)[0] == 100


BAD_WAVELENGTHS = {
    "descending": (NM[::-1], "must ascend, got 690 nm after 700 nm"),
    "twice": (np.insert(NM, 3, 420.0), "420 nm stands twice"),
    "NaN": (np.where(NM == 500, np.nan, NM), "wavelengths must be finite, got nan at position 11"),
    "a gap": (np.delete(NM, [9, 10]), "nothing between 480 and 510 nm; gaps up to 20 nm"),
    "micrometres": (NM / 1000, "runs from 0.4 to 0.7 nm"),
    "too few": (NM[:3], "needs 4 wavelengths or more, got 3. Three numbers may be L"),
    "two axes": (NM[None], r"one list, shape \(n,\), got shape \(1, 31\)"),
    "no numbers": (["a", "b", "c", "d"], "one list of numbers, in nm"),
}


@pytest.mark.parametrize(("wavelengths", "told"), BAD_WAVELENGTHS.values(), ids=BAD_WAVELENGTHS)
def test_wavelengths_that_cannot_be_are_refused(wavelengths, told):
    with pytest.raises(ValueError, match=told):
        lab_from_reflectance(np.ones(np.shape(wavelengths)[-1]), wavelengths, **D65)


BAD_REFLECTANCE = {
    "another length": (np.ones(30), r"one value for each of the 31 wavelengths .* shape \(30,\)"),
    "one number": (0.5, r"got shape \(\)"),
    "NaN": (np.where(NM == 500, np.nan, 0.5), "must be finite, got nan at 500 nm; leave such"),
    "infinite": (np.where(NM == 500, np.inf, 0.5), "must be finite, got inf at 500 nm"),
    "percent": (np.full(31, 45.2), "share of 1, got 45.2 at 400 nm.* Divide percent by 100"),
    "negative": (np.where(NM == 410, -0.2, 0.5), "got -0.2 at 410 nm"),
    "in a stack": (
        np.where(NM == 410, np.nan, 0.5) * np.array([[1.0], [1.0]]),
        "at 410 nm of spectrum 0, counted from 0",
    ),
    "no numbers": (["x"] * 31, "must hold numbers only"),
}


@pytest.mark.parametrize(("reflectance", "told"), BAD_REFLECTANCE.values(), ids=BAD_REFLECTANCE)
def test_reflectance_that_cannot_be_is_refused(reflectance, told):
    with pytest.raises(ValueError, match=told):
        lab_from_reflectance(reflectance, NM, **D65)


@pytest.mark.parametrize(
    ("written", "name"),
    [
        ("d65", "D65"),
        (" CIE D65 ", "D65"),
        ("Illuminant A", "A"),
        ("CIE standard illuminant A", "A"),
        ("FL11", "F11"),
        ("f2", "F2"),
        ("LED-B3", "LED-B3"),
        ("led b3", "LED-B3"),
        ("LED_RGB1", "LED-RGB1"),
        ("ledbh1", "LED-BH1"),
    ],
)
def test_illuminants_are_known_as_people_write_them(written, name):
    assert illuminant_name(written) == name


@pytest.mark.parametrize("name", ["", "D66", "LED", "LED-B6", "F", "2"])
def test_an_unknown_illuminant_is_told_which_there_are(name):
    with pytest.raises(ValueError, match=r"is not known. Known are A, D50, D65, F2, F11, LED-B1"):
        lab_from_reflectance(np.ones(31), NM, illuminant=name, observer=10)


@pytest.mark.parametrize(
    ("written", "degrees"),
    [(2, 2), ("2", 2), ("10°", 10), (10.0, 10), ("10 deg", 10), ("2 degrees", 2), ("CIE 1964", 10)],
)
def test_observers_are_known_as_people_write_them(written, degrees):
    assert observer_degrees(written) == degrees


@pytest.mark.parametrize("observer", [1, "ten", None, 100, "", True, 2.5])
def test_an_unknown_observer_is_told_which_there_are(observer):
    with pytest.raises(ValueError, match=r"Known are 2 \(CIE 1931\) and 10 \(CIE 1964\)"):
        lab_from_reflectance(np.ones(31), NM, illuminant="D65", observer=observer)


def test_the_kept_weights_are_what_their_script_makes():
    from colour.data import make_weights

    assert make_weights.FILE.read_text(encoding="utf-8") == make_weights.text()


def test_kept_weights_cannot_be_changed_by_whoever_asked():
    found = weights_for(NM, **D65)
    for array in found:
        with pytest.raises(ValueError, match="read-only"):
            array[0] = 0


def test_white_and_lab_go_together():
    white = white_point(NM, **D65)
    assert (lab_from_xyz(white, white) == [100, 0, 0]).all()
    assert (lab_from_xyz(np.zeros((2, 3)), white) == 0).all()


def test_differences_and_help_do_not_read_the_tables():
    code = (
        "import sys, colour.difference, colour.spectra, colour.lights as lights\n"
        "assert lights.read_table.cache_info().currsize == 0\n"
        "import colour.difference; print(sorted(m for m in sys.modules if m.startswith('scipy')))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
    code = "import sys, colour.difference; print('colour.spectra' in sys.modules)"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "False"
