"""The special metamerism index against another library, on made pairs, and in words."""

from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from colour.difference import delta_e_2000
from colour.metamerism import TESTS, metamerism, place_words, why_no_spectra, words
from colour.spectra import lab_from_reflectance, xyz_from_reflectance
from colour.spectral_weights import weights_for
from tests.chart import chart_every, read_rows

NM, CHART = chart_every(10)
HALF_DIGIT = 5e-6  # chart_metamerism.txt prints 5 decimals
ROWS = read_rows("chart_metamerism.txt")


def waved(spectrum):
    """The sample that chart_metamerism.txt describes."""
    return spectrum * (1.02 + 0.05 * np.cos(2 * np.pi * (NM - 380) / 80))


def metameric(spectrum, strength=0.05):
    """A spectrum with the same X, Y and Z under D65/10° and others under other lights."""
    wave = strength * np.cos(2 * np.pi * (NM - 380) / 90)
    weights = weights_for(NM, illuminant="D65", observer=10).by_sample
    return spectrum + wave - weights @ np.linalg.lstsq(weights.T @ weights, weights.T @ wave)[0]


@pytest.mark.parametrize("row", ROWS, ids=lambda row: f"patch{row['patch']}-{row['test']}")
def test_the_index_is_what_another_library_computes(row):
    master = CHART[int(row["patch"]) - 1]
    found = metamerism(master, waved(master), NM, observer=10, tests=[row["test"]])
    (light,) = found.tests
    # The weights under F11 differ a little below 380 nm, as test_spectra_published.py tells.
    within = 2e-4 + HALF_DIGIT
    assert light.index_2000 == pytest.approx(float(row["index_2000"]), abs=within)
    assert light.index_ab == pytest.approx(float(row["index_ab"]), abs=within)
    assert light.delta_e_2000 == pytest.approx(float(row["seen"]), abs=within)


def test_an_exact_pair_needs_no_correction_and_shows_only_elsewhere():
    master = CHART[19]
    found = metamerism(master, metameric(master), NM, observer=10)
    assert found.factors == pytest.approx((1, 1, 1), abs=1e-9)
    assert found.reference.illuminant == "D65"
    assert found.reference.delta_e_2000 == pytest.approx(0, abs=1e-6)
    assert [light.illuminant for light in found.tests] == list(TESTS)
    for light in found.tests:
        assert light.index_2000 > 0.3
        assert light.index_2000 == pytest.approx(light.delta_e_2000, abs=1e-6)
    assert found.worst.index_2000 == max(light.index_2000 for light in found.tests)


@given(st.integers(0, 23), st.floats(0.5, 1.2), st.sampled_from(["A", "F11", "LED-B3", "F2"]))
def test_a_sample_that_is_only_lighter_is_not_metameric(patch, share, test):
    """All of its difference is there under the reference light, so the index is nothing."""
    master = CHART[patch]
    (light,) = metamerism(master, share * master, NM, observer=10, tests=[test]).tests
    assert light.index_2000 == pytest.approx(0, abs=1e-6)


def test_the_correction_makes_the_pair_match_under_the_reference_light():
    master, sample = CHART[2], waved(CHART[2])
    found = metamerism(master, sample, NM, observer=2, reference="D50", tests=["D50", "A"])
    d50 = {"illuminant": "D50", "observer": 2}
    corrected = xyz_from_reflectance(sample, NM, **d50) * found.factors
    assert corrected == pytest.approx(xyz_from_reflectance(master, NM, **d50), rel=1e-12)
    assert found.reference.index_2000 == found.tests[0].index_2000 == 0
    assert found.reference.delta_e_2000 == found.tests[0].delta_e_2000 > 0.1


def test_what_is_seen_is_the_plain_difference_under_each_light():
    master, sample = CHART[5], waved(CHART[5])
    for light in metamerism(master, sample, NM, observer=10).tests:
        labs = [
            lab_from_reflectance(spectrum, NM, illuminant=light.illuminant, observer=10)
            for spectrum in (master, sample)
        ]
        assert light.delta_e_2000 == delta_e_2000(*labs)
        assert (light.master, light.sample) == (tuple(labs[0]), tuple(labs[1]))


def test_spectra_at_unlike_wavelengths_are_compared_all_the_same():
    found = metamerism(CHART[4], CHART[4, 1:-1:2], NM, observer=10, sample_wavelengths=NM[1:-1:2])
    assert found.reference.delta_e_2000 < 0.3


def test_the_words_say_what_is_seen_under_each_light():
    master = CHART[19]
    found = metamerism(master, metameric(master), NM, observer=10, tests=["LED-B3"])
    seen = found.tests[0].delta_e_2000
    assert words(found, limit=0.8 * seen) == (
        f"matches in daylight (D65, 0.0), shows under shop LED (LED-B3, {seen:.1f})"
    )
    assert words(found, limit=2 * seen) == (
        f"matches in daylight (D65, 0.0), matches under shop LED (LED-B3, {seen:.1f})"
    )


@pytest.mark.parametrize(
    ("seen", "limit", "said"),
    [
        (0.82, 0.8, "shows in daylight (D65, 0.82)"),
        (0.78, 0.79, "matches in daylight (D65, 0.78)"),
        (0.78, 0.8, "matches in daylight (D65, 0.8)"),
        (0.86, 0.8, "shows in daylight (D65, 0.9)"),
    ],
)
def test_the_figure_never_contradicts_its_word(seen, limit, said):
    found = metamerism(CHART[19], CHART[19], NM, observer=10, tests=["A"])
    found = found._replace(reference=found.reference._replace(delta_e_2000=seen))
    assert words(found, limit=limit).startswith(said)


def test_a_different_colour_has_no_figure():
    found = metamerism(CHART[0], CHART[1], NM, observer=10, tests=["A"])
    assert words(found, limit=1) == (
        "shows in daylight (D65, a different colour), "
        "shows under a filament lamp (A, a different colour)"
    )


@pytest.mark.parametrize("limit", [0, -1, float("nan"), float("inf")])
def test_a_limit_that_is_none_is_refused(limit):
    found = metamerism(CHART[0], CHART[0], NM, observer=10)
    with pytest.raises(ValueError, match="limit must be finite and above zero"):
        words(found, limit=limit)


@pytest.mark.parametrize(
    ("master", "sample", "whose"),
    [(False, False, "both"), (False, True, "the master"), (True, False, "the sample")],
)
def test_without_spectra_the_reason_is_told(master, sample, whose):
    reason = why_no_spectra(master=master, sample=sample)
    assert f"that of {whose} is missing" in reason
    assert "one light only" in reason and "Measure again" in reason


def test_with_both_spectra_there_is_no_reason():
    assert why_no_spectra(master=True, sample=True) is None


def test_lab_instead_of_a_spectrum_is_refused_with_the_reason():
    with pytest.raises(ValueError, match=r"sample: Metamerism needs a spectrum .* one light only"):
        metamerism(CHART[0], (50, 1, 2), NM, observer=10)


REFUSED = {
    "many at once": ((CHART, CHART), {}, r"master must be one spectrum, shape \(n,\)"),
    "no test light": ((CHART[0], CHART[1]), {"tests": ()}, "one illuminant at least"),
    "an unknown light": ((CHART[0], CHART[1]), {"tests": ["B"]}, "'B' is not known. Known are A"),
    "black": ((CHART[0], 0 * CHART[1]), {}, "reflects nothing in X, Y or Z under D65"),
}


@pytest.mark.parametrize(("pair", "options", "told"), REFUSED.values(), ids=REFUSED)
def test_what_cannot_be_compared_is_refused(pair, options, told):
    with pytest.raises(ValueError, match=told):
        metamerism(*pair, NM, observer=10, **options)


def test_lights_have_a_painters_name():
    assert place_words("d65") == "in daylight"
    assert place_words("LED-B3") == "under shop LED"


def test_fractions_and_lists_are_taken_as_numbers():
    half = [Fraction(1, 2)] * len(NM)
    assert metamerism(half, half, NM, observer=10).worst.index_2000 == 0
