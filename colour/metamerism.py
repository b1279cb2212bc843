"""Metamerism: whether two cards that match under one light still match under others.

The special metamerism index for a change of illuminant (CIE 15; the International Lighting
Vocabulary, term 17-770: the difference that the change of illuminant alone brings, with the
formula stated). Where the pair does not match exactly under the reference light, the sample's
tristimulus values under the test light are first multiplied by what makes it match there:
X_t · X_master,r / X_sample,r, and Y and Z alike (from memory). The index is the difference under
the test light after that; beside it stands the difference as a person sees it there, without any
correction.

It needs the spectra of both. ``why_no_spectra`` says why L*, a*, b* cannot do.
"""

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from colour import one_pair
from colour.arrays import Floats
from colour.difference import delta_e_2000, delta_e_ab
from colour.lights import illuminant_name, observer_degrees
from colour.spectra import lab_from_xyz, white_point, xyz_from_reflectance

REFERENCE = "D65"
TESTS = ("A", "F11", "LED-B3")
"""What a pair is looked at under, when nobody asks for other lights."""

SMALL = 5.0  # ΔE*ab; above it the formulas are not meant for figures (ASTM D2244-21, 5.2)
_NO_LIGHT = 1e-6  # of Y of the white; less is no colour a factor could correct
_PLACES = {
    "A": "under a filament lamp",
    "D50": "in warm daylight",
    "D65": "in daylight",
    "F2": "under a cool white tube",
    "F11": "under a three-band tube",
    "LED-BH1": "under a hybrid LED",
    "LED-RGB1": "under a three-colour LED",
    "LED-V1": "under a violet-pumped LED",
    "LED-V2": "under a violet-pumped LED",
}


class UnderLight(NamedTuple):
    """A pair under one light."""

    illuminant: str
    master: tuple[float, float, float]  # L*, a*, b*
    sample: tuple[float, float, float]
    delta_e_2000: float  # as it is seen, nothing corrected
    delta_e_ab: float
    index_2000: float  # special metamerism index, in CIEDE2000 units
    index_ab: float  # the same in CIE 1976 units


class Metamerism(NamedTuple):
    """A pair under the reference light and under the test lights."""

    observer: int  # degrees
    reference: UnderLight  # its indices are zero: nothing was changed
    tests: tuple[UnderLight, ...]
    factors: tuple[float, float, float]  # on the sample's X, Y and Z; 1 for an exact match

    @property
    def worst(self) -> UnderLight:
        """The test light with the largest index."""
        return max(self.tests, key=lambda light: light.index_2000)


def metamerism(
    master: ArrayLike,
    sample: ArrayLike,
    wavelengths: ArrayLike,
    *,
    observer: object,
    reference: str = REFERENCE,
    tests: Sequence[str] = TESTS,
    sample_wavelengths: ArrayLike | None = None,
) -> Metamerism:
    """Special metamerism index of a pair for each test light.

    Parameters
    ----------
    master, sample : array_like, shape (n,)
        Reflectance, share of 1.
    wavelengths : array_like, shape (n,)
        Nanometres; of both, unless ``sample_wavelengths`` says otherwise.
    observer : int or str
        2 or 10 degrees.
    reference : str
        The illuminant under which the pair is meant to match.
    tests : sequence of str
        Illuminants, one at least.

    Returns
    -------
    Metamerism

    Raises
    ------
    ValueError
        When the spectra cannot be taken, or reflect too little for the correction.

    References
    ----------
    .. [1] CIE 15:2018, Colorimetry, special metamerism index: change in illuminant.
    """
    if not tests:
        raise ValueError("tests must name one illuminant at least, for instance 'A'")
    degrees = observer_degrees(observer)
    own = wavelengths if sample_wavelengths is None else sample_wavelengths
    pairs = ((_one(master, "master"), wavelengths), (_one(sample, "sample"), own))
    light = illuminant_name(reference)
    at_reference = _relative(pairs, light, degrees)
    # A dark pair has a small Y but not nothing; X and Z fall with it.
    if (at_reference < _NO_LIGHT).any():
        raise ValueError(
            f"one of the pair reflects nothing in X, Y or Z under {light}, so no factor makes it "
            "match there; check the instrument's zero"
        )
    factors = at_reference[0] / at_reference[1]
    return Metamerism(
        observer=degrees,
        reference=_under(light, at_reference, np.ones(3), is_reference=True),
        tests=tuple(
            _under(name, _relative(pairs, name, degrees), factors, is_reference=name == light)
            for name in map(illuminant_name, tests)
        ),
        factors=_triple(factors),
    )


def words(found: Metamerism, *, limit: float) -> str:
    """What the pair does under each light, as seen there: matches or shows, with the figures.

    For instance "matches in daylight (D65, 0.3), shows under shop LED (LED-B3, 1.9)".

    Parameters
    ----------
    found : Metamerism
    limit : float
        CIEDE2000 units; a difference up to it matches. No verdict: what measuring leaves
        uncertain is not weighed.
    """
    one_pair.check_positive("limit", limit)
    return ", ".join(_said(light, limit) for light in (found.reference, *found.tests))


def place_words(illuminant: str) -> str:
    """The light as a painter names it, for instance "in daylight"."""
    name = illuminant_name(illuminant)
    return _PLACES.get(name, "under shop LED")


def why_no_spectra(*, master: bool, sample: bool) -> str | None:
    """Why metamerism cannot be told, where the spectrum of one or both is missing.

    Parameters
    ----------
    master, sample : bool
        Whether its spectrum is there.

    Returns
    -------
    str or None
        None when both are there.
    """
    if master and sample:
        return None
    whose = {(False, False): "both", (False, True): "the master", (True, False): "the sample"}
    return (
        f"Metamerism needs a spectrum of each card, and that of {whose[master, sample]} is "
        "missing. L*, a*, b* say how a card looks under one light only; endless different "
        "spectra have those same three numbers, and under another light each looks different. "
        "Measure again with an instrument that gives reflectance by wavelength, and keep it"
    )


def _one(reflectance: ArrayLike, name: str) -> ArrayLike:
    shape = np.shape(reflectance)
    if shape == (3,):
        raise ValueError(
            f"{name}: {why_no_spectra(master=name != 'master', sample=name != 'sample')}"
        )
    if len(shape) != 1:
        raise ValueError(f"{name} must be one spectrum, shape (n,), got shape {shape}")
    return reflectance


def _relative(
    pairs: Sequence[tuple[ArrayLike, ArrayLike]], illuminant: str, observer: int
) -> Floats:
    """X/Xn, Y/Yn, Z/Zn of master and sample, shape (2, 3)."""
    return np.stack(
        [
            xyz_from_reflectance(spectrum, nm, illuminant=illuminant, observer=observer)
            / white_point(nm, illuminant=illuminant, observer=observer)
            for spectrum, nm in pairs
        ]
    )


def _under(illuminant: str, relative: Floats, factors: Floats, *, is_reference: bool) -> UnderLight:
    white = np.ones(3)
    master, sample = lab_from_xyz(relative, white)
    # Under the reference light the corrected sample is the master, but for rounding.
    corrected = master if is_reference else lab_from_xyz(relative[1] * factors, white)
    return UnderLight(
        illuminant=illuminant,
        master=_triple(master),
        sample=_triple(sample),
        delta_e_2000=float(delta_e_2000(master, sample)),
        delta_e_ab=float(delta_e_ab(master, sample)),
        index_2000=float(delta_e_2000(master, corrected)),
        index_ab=float(delta_e_ab(master, corrected)),
    )


def _said(light: UnderLight, limit: float) -> str:
    word = "matches" if light.delta_e_2000 <= limit else "shows"
    size = f"{light.delta_e_2000:.1f}"
    if float(size) <= limit < light.delta_e_2000 or light.delta_e_2000 <= limit < float(size):
        size = f"{light.delta_e_2000:.2f}"  # so that the figure agrees with the word
    if light.delta_e_ab > SMALL and word == "shows":
        size = "a different colour"
    return f"{word} {place_words(light.illuminant)} ({light.illuminant}, {size})"


def _triple(values: Floats) -> tuple[float, float, float]:
    x, y, z = (float(value) for value in values)
    return x, y, z
