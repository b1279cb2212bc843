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
from service.exchange.field_names import FIRST_NM, LAST_NM, parse, spectral_names

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
_ANGLES = {
    *("angle", "angles", "angledeg", "degree", "degrees", "aspecular", "aspecularangle"),
    *("measurementangle", "measangle", "measuringangle", "viewingangle", "viewangle"),
    *("sampleangle", "angleofmeasurement", "effectangle", "detectionangle"),
}
_ABOUT = {
    **dict.fromkeys(("illuminant", "illuminantname", "illuminationname"), "illuminant"),
    **dict.fromkeys(("observer", "observerangle", "standardobserver"), "observer"),
    **dict.fromkeys(("geometry", "measurementgeometry", "instrumentgeometry"), "geometry"),
    **dict.fromkeys(("specular", "specularcomponent", "specularmode"), "specular"),
}
_NUMBERED = re.compile(r"(?i)(?:spec|spectral|nm|spectral_nm|r|band|value)[_ ]?\d{1,7}")
_ROUNDED_NM = 0.51  # names of fields are whole numbers, wavelengths need not be
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
    place_of_chart: int | None = None  # where on a chart the sample lies
    angle_place: int | None = None
    about_places: dict[str, int] = field(default_factory=dict)  # conditions, row by row
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


def understand(names: Sequence[str], bands_nm: Sequence[float] | None = None) -> CgatsFields:
    """Sort the fields; what is of no use here is listed as such.

    ``bands_nm`` are the wavelengths that the header states, for fields that do not say theirs.
    """
    found = CgatsFields(list(names))
    squeezed = [_squeeze(name) for name in names]
    used: set[int] = set()
    _names(found, squeezed, used)
    _spectral_pairs(found, squeezed, used)
    spectra, percent = _wavelengths(names, bands_nm, used)
    candidates: dict[_Key, dict[str, dict[int, list[int]]]] = {}
    for place, name in enumerate(names):
        if place in used or not name:
            continue
        if squeezed[place] in _ANGLES:
            found.angle_place = place
            used.add(place)
        elif squeezed[place] in _ABOUT:
            found.about_places[_ABOUT[squeezed[place]]] = place
            used.add(place)
        else:
            _candidates(candidates, name, squeezed[place], place)
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


def _candidates(
    candidates: dict[_Key, dict[str, dict[int, list[int]]]], name: str, squeezed: str, place: int
) -> None:
    """Remember a field under every coordinate it may stand for."""
    text = unicodedata.normalize("NFKC", name).strip().lower().replace("\u2212", "-")
    channel = coordinate(text, name)
    if channel is not None:
        of, part, _ = channel
        kinds = candidates.setdefault((of.angle, of.illuminant, of.observer), {})
        kinds.setdefault(of.kind, {}).setdefault(part, []).append(place)
    key: _Key = (None, None, None)
    word = squeezed
    if word not in _POLAR and (parts := parse(name)) is not None and parts.nm is None:
        key, word = (parts.angle, parts.illuminant, parts.observer), parts.word
        if parts.bare and abs(parts.angle or 0) < 10:
            return
    if word in _POLAR:
        kinds = candidates.setdefault(key, {})
        kinds.setdefault("polar", {}).setdefault(_POLAR[word], []).append(place)


def _wavelengths(
    names: Sequence[str], bands_nm: Sequence[float] | None, used: set[int]
) -> tuple[dict[int | None, dict[float, int]], list[bool]]:
    """Places by wavelength, at each angle, and whether each field says percent."""
    spectra: dict[int | None, dict[float, int]] = {}
    percent: list[bool] = []
    numbered = [place for place, name in enumerate(names) if _NUMBERED.fullmatch(name)]
    if bands_nm is not None and len(numbered) == len(bands_nm):
        told = [float(re.sub(r"\D+", " ", names[place]).split()[-1]) for place in numbered]
        near = [abs(nm - said) <= _ROUNDED_NM for nm, said in zip(bands_nm, told, strict=True)]
        within = any(FIRST_NM <= nm <= LAST_NM for nm in told)
        if all(near) or not within:
            spectra[None] = dict(zip(bands_nm, numbered, strict=True))
            used.update(numbered)
            return spectra, percent
    for place, parts in spectral_names(names).items():
        if place not in used and parts.nm is not None:
            bands = spectra.setdefault(parts.angle, {})
            if bands.setdefault(parts.nm, place) == place:
                percent.append(parts.percent)
                used.add(place)
    return spectra, percent


def _squeeze(name: str) -> str:
    return _SEPARATORS.sub("", unicodedata.normalize("NFKC", name).lower())


def _names(found: CgatsFields, squeezed: list[str], used: set[int]) -> None:
    places = [(_NAMES.index(word), place) for place, word in enumerate(squeezed) if word in _NAMES]
    found.name_places = [place for _, place in sorted(places)]
    located = [place for place in found.name_places if squeezed[place] == "sampleloc"]
    if located and located[0] != found.name_places[0]:
        found.place_of_chart = located[0]
    used.update(found.name_places)


def _spectral_pairs(found: CgatsFields, squeezed: list[str], used: set[int]) -> None:
    """SPECTRAL_NM with SPECTRAL_PCT or SPECTRAL_DEC, one after the other or all after all."""
    wavelengths = [place for place, word in enumerate(squeezed) if word == _PAIR_NM]
    values = [place for place, word in enumerate(squeezed) if word in _PAIR_VALUES]
    kinds = {squeezed[place] for place in values}
    if not wavelengths or len(wavelengths) != len(values) or len(kinds) != 1:
        return
    found.pairs = list(zip(wavelengths, values, strict=True))
    found.divisor = _PAIR_VALUES[kinds.pop()]
    used.update(wavelengths, values)


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
