"""What the field names of a CGATS.17 table mean, as the standard and its dialects write them.

The standard has LAB_L, XYZ_X, LAB_C, LAB_H and, for spectra, pairs of SPECTRAL_NM with
SPECTRAL_PCT or SPECTRAL_DEC (names from memory). Exporters write one field a wavelength instead:
SPECTRAL_NM400, SPECTRAL_NM_400, SPECTRAL_400, SPEC_400, NM400, nm400, R400, 400.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass, field

from service.exchange.csv_headings import coordinate

_SPECTRAL = re.compile(
    r"(?:(?:as)?(?P<before>-?\d{1,3})(?:deg|°)?[_@:])?"
    r"(?P<prefix>[a-z_ .%-]*?)[_ .-]*(?P<nm>\d{3,4}(?:[.,]\d+)?)_?(?:nm)?"
    r"(?:[_@:](?:as)?(?P<after>-?\d{1,3})(?:deg|°)?)?"
)
_PREFIXES = {
    *("", "nm", "spec", "spect", "spectral", "spectralnm", "spectrum", "specnm", "spectralr"),
    *("r", "rnm", "refl", "reflectance", "reflection", "remission", "s", "wl", "w", "wave"),
    *("wavelength", "lambda", "spectralpct", "spectraldec", "spectralpercent", "r%", "%r", "%"),
    *("spectralrefl", "spectralreflectance", "spectralval", "spectralvalue", "band"),
}
_PERCENT = {"spectralpct", "spectralpercent", "r%", "%r", "%"}
# Measurement conditions M0 to M3 of ISO 13655; of several the first is read.
_LAMP = re.compile(r"^m[0-3][_ .-]|[_ .-]m[0-3]$")
_POLAR = {
    **dict.fromkeys(("labl", "lchl", "cielchl", "ciel", "l", "lstar"), 0),
    **dict.fromkeys(("labc", "lchc", "cielchc", "ciec", "cstar", "labchroma", "chroma", "c"), 1),
    **dict.fromkeys(("labh", "lchh", "cielchh", "cieh", "hab", "labhue", "hue", "h"), 2),
}
_NAMES = (
    *("samplename", "name", "samplelabel", "patchname", "colorname", "colourname", "label"),
    *("sampleid", "id", "sampleno", "samplenumber", "patchid", "patch", "sample", "sampleloc"),
    *("stringid", "string", "index", "no", "number"),
)
_PAIR_NM, _PAIR_VALUES = "spectralnm", {"spectralpct": 100, "spectraldec": 1}
_SEPARATORS = re.compile(r"[\s*_.:;,()\[\]°-]+")


@dataclass(slots=True)
class Channels:
    """The places, in a row, of what is read at one angle; None or empty where there is none."""

    angle: int | None = None
    illuminant: str | None = None
    observer: int | None = None
    lab: list[int] | None = None
    xyz: list[int] | None = None
    polar: list[int] | None = None
    spectrum: dict[float, int] = field(default_factory=dict)


@dataclass(slots=True)
class CgatsFields:
    """The fields of a table by what they mean; numbers are places in a row, from 0."""

    names: list[str]
    name_places: list[int] = field(default_factory=list)  # the best first
    angle_place: int | None = None
    channels: list[Channels] = field(default_factory=list)
    pairs: list[tuple[int, int]] = field(default_factory=list)  # wavelength, value
    divisor: int | None = None  # of the reflectance, where the field names say it
    densities: list[str] = field(default_factory=list)
    ignored: list[str] = field(default_factory=list)

    def hold_colour(self) -> bool:
        """Whether any colour can be read from a row."""
        return bool(self.channels or self.pairs)


_Key = tuple[int | None, str | None, int | None]  # angle, illuminant, observer


def is_format(words: Sequence[str]) -> bool:
    """Whether words are field names of a table that holds colours."""
    return len(words) >= 3 and understand(words).hold_colour()


def understand(names: Sequence[str]) -> CgatsFields:
    """Sort the fields; what is of no use here is listed as such."""
    found = CgatsFields(list(names))
    squeezed = [_squeeze(name) for name in names]
    used: set[int] = set()
    _names(found, squeezed, used)
    _spectral_pairs(found, squeezed, used)
    candidates: dict[_Key, dict[str, dict[int, list[int]]]] = {}
    spectra: dict[int | None, dict[float, int]] = {}
    percent: list[bool] = []
    for place, name in enumerate(names):
        if place in used or not name:
            continue
        text = unicodedata.normalize("NFKC", name).strip().lower().replace("\u2212", "-")
        text = _LAMP.sub("", text)
        spectral = _SPECTRAL.fullmatch(text)
        if spectral and _is_wavelength(spectral):
            angle = spectral["before"] or spectral["after"]
            band = float(spectral["nm"].replace(",", "."))
            bands = spectra.setdefault(int(angle) if angle else None, {})
            if bands.setdefault(band, place) == place:
                percent.append(_SEPARATORS.sub("", spectral["prefix"]) in _PERCENT)
                used.add(place)
            continue
        if text in ("angle", "aspecular", "aspecular_angle", "measurement_angle", "angle_deg"):
            found.angle_place = place
            used.add(place)
            continue
        channel = coordinate(text, name)
        if channel is not None:
            of, part, _ = channel
            kinds = candidates.setdefault((of.angle, of.illuminant, of.observer), {})
            kinds.setdefault(of.kind, {}).setdefault(part, []).append(place)
        if squeezed[place] in _POLAR:
            kinds = candidates.setdefault((None, None, None), {})
            kinds.setdefault("polar", {}).setdefault(_POLAR[squeezed[place]], []).append(place)
    for key, kinds in candidates.items():
        _triples(found, key, kinds, used)
    _spectra(found, spectra, used)
    if percent and all(percent):
        found.divisor = 100
    for place, name in enumerate(names):
        if place not in used and name:
            is_density = re.match(r"(?i)d_(?!e)|density|dens_", name) is not None
            (found.densities if is_density else found.ignored).append(name)
    return found


def _squeeze(name: str) -> str:
    return _SEPARATORS.sub("", unicodedata.normalize("NFKC", name).lower())


def _is_wavelength(spectral: re.Match[str]) -> bool:
    prefix = _SEPARATORS.sub("", spectral["prefix"])
    return prefix in _PREFIXES and 300 <= float(spectral["nm"].replace(",", ".")) <= 1100


def _names(found: CgatsFields, squeezed: list[str], used: set[int]) -> None:
    places = [(_NAMES.index(word), place) for place, word in enumerate(squeezed) if word in _NAMES]
    found.name_places = [place for _, place in sorted(places)]
    used.update(found.name_places)


def _spectral_pairs(found: CgatsFields, squeezed: list[str], used: set[int]) -> None:
    for place, word in enumerate(squeezed[:-1]):
        follower = squeezed[place + 1]
        if word == _PAIR_NM and follower in _PAIR_VALUES:
            found.pairs.append((place, place + 1))
            found.divisor = _PAIR_VALUES[follower]
            used.update((place, place + 1))


def _triples(
    found: CgatsFields, key: _Key, kinds: dict[str, dict[int, list[int]]], used: set[int]
) -> None:
    """Whole triples only; of two fields for one coordinate, the one nearest to where it belongs."""
    channels = Channels(*key)
    for kind in ("lab", "xyz", "polar"):
        parts = kinds.get(kind, {})
        if len(parts) < 3 or (kind == "polar" and channels.lab):
            continue
        first = parts[0][0]
        nearest = [
            min(parts[part], key=lambda place, part=part: abs(place - first - part))  # type: ignore[misc]
            for part in range(3)
        ]
        setattr(channels, kind, nearest)
        used.update(nearest)
    if channels.lab or channels.xyz or channels.polar:
        found.channels.append(channels)


def _spectra(
    found: CgatsFields, spectra: dict[int | None, dict[float, int]], used: set[int]
) -> None:
    for angle, bands in spectra.items():
        if len(bands) < 3:  # fewer make no spectrum
            used.difference_update(bands.values())
            continue
        rising = dict(sorted(bands.items()))
        fitting = [c for c in found.channels if c.angle == angle]
        if not fitting:
            fitting = [Channels(angle)]
            found.channels += fitting
        for channels in fitting:  # reflectance is the same under each light
            channels.spectrum = rising
