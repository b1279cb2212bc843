"""Keywords of a CGATS.17 header: what they say of the readings, and which nobody declared."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, field

from service.domain.terms import Stage
from service.exchange import condition_words
from service.exchange.cgats_lines import CgatsTable
from service.exchange.condition_search import Said, angle_of_title
from service.exchange.csv_statements import About, statement_field
from service.exchange.csv_table import STATEMENT
from service.exchange.field_names import FIRST_NM, LAST_NM
from service.exchange.kept_text import kept_text
from service.exchange.readings import FileWarning

# Keywords of CGATS.17 and ISO 28178 (list from secondary tables and memory).
_STANDARD = {
    *("ORIGINATOR", "FILE_DESCRIPTOR", "DESCRIPTOR", "CREATED", "DIAGNOSTIC", "MANUFACTURER"),
    *("MANUFACTURE_DATE", "PROD_DATE", "SERIAL", "MATERIAL", "INSTRUMENTATION", "FILTER"),
    *("MEASUREMENT_SOURCE", "MEASUREMENT_GEOMETRY", "PRINT_CONDITIONS", "SAMPLE_BACKING"),
    *("POLARIZATION", "WEIGHTING_FUNCTION", "COMPUTATIONAL_PARAMETER", "TARGET_TYPE"),
    *("TARGET_LAYOUT", "COLORANT", "CHISQ_DOF", "NUMBER_OF_FIELDS", "NUMBER_OF_SETS", "KEYWORD"),
    *("TABLE_DESCRIPTOR", "TABLE_NAME", "PROCESSCOLOR_ID", "FORMAT_VERSION", "BAND_PASS"),
}
# Where free text may hold conditions; descriptions and remarks are left alone.
_FREE = {
    *("MEASUREMENT_SOURCE", "INSTRUMENTATION", "MEASUREMENT_GEOMETRY", "WEIGHTING_FUNCTION"),
    *("MEASUREMENT_CONDITIONS", "MEASUREMENT_CONDITION", "COMPUTATIONAL_PARAMETER", "GEOMETRY"),
    *("INSTRUMENT_GEOMETRY", "MEASURING_CONDITIONS", "ILLUMINANT", "OBSERVER"),
}
_ILLUMINANT = {"ILLUMINATION_NAME", "ILLUMINANT", "ILLUMINANT_NAME", "COLORIMETRIC_ILLUMINANT"}
_OBSERVER = {"OBSERVER_ANGLE", "OBSERVER", "STANDARD_OBSERVER", "OBSERVER_NAME"}
_GEOMETRY = {"MEASUREMENT_GEOMETRY", "GEOMETRY", "INSTRUMENT_GEOMETRY"}
_SPECULAR = {"SPECULAR", "SPECULAR_COMPONENT", "SPECULAR_MODE"}
_ANGLE = {"ANGLE", "ASPECULAR_ANGLE", "MEASUREMENT_ANGLE", "ASPECULAR"}
_TITLES = ("TABLE_DESCRIPTOR", "TABLE_NAME", "DESCRIPTOR", "FILE_DESCRIPTOR")
_NO_REFLECTANCE = re.compile(r"(?i)emissi|transmi|ambient|radian|telephoto|flash")
_POWER = re.compile(r"(?i)(spectral|power) (power|spectrum|distribution)|colou?r.matching")
# Tables beside the readings that some target files hold: what the ink or the screen can do.
_NO_READINGS = {"DENSITY_EXTREME_VALUES", "DEVICE_COMBINATION_VALUES"}
_SAYS_WHAT = {"MEAS_TYPE", "MEASUREMENT_TYPE", "MEASUREMENT_MODE", "SPECTRUM_TYPE"}
_INSTRUMENT = ("INSTRUMENTATION", "TARGET_INSTRUMENT", "INSTRUMENT")
_FILTERS = {"FILTER", "POLARIZATION", "MEASUREMENT_FILTER"}
_NO_FILTER = re.compile(r"\s*(no|none|non|n/a|-|0|off|false|unfiltered|undefined)?\s*", re.I)


_ENDS = ("SPECTRAL_START_NM", "SPECTRAL_END_NM")
_SCALES = {"percent": 100, "%": 100, "fraction": 1, "share": 1}


@dataclass(slots=True)
class CgatsHeader:
    """What the header of one table says; a later table that says nothing inherits it."""

    about: About = About()
    divisor: int | None = None  # of the reflectance, where the header says its scale
    norm: float | None = None  # the number that means 1, where it states one
    bands_nm: tuple[float, ...] | None = None  # where it states them
    no_reflectance: str | None = None  # what it says the spectra are instead
    warnings: list[FileWarning] = field(default_factory=list)


def read_header(table: CgatsTable, before: CgatsHeader) -> CgatsHeader:
    """Sort the keywords of a table."""
    said = Said()
    stage: Stage | None = None
    if any(not key.startswith("NUMBER_OF_") for _, key, _ in table.keywords):
        before = CgatsHeader()  # a table that says anything of itself says all
    header = CgatsHeader(
        divisor=before.divisor,
        norm=before.norm,
        bands_nm=_bands(table) or before.bands_nm,
        no_reflectance=before.no_reflectance,
    )
    filters: list[str] = []
    for _, key, value in [*table.keywords, *_stated_in_remarks(table)]:
        if not value:
            continue
        whole = (
            (key in _ILLUMINANT and said.add_illuminant(value))
            or (key in _OBSERVER and said.add_observer(value))
            or (key in _GEOMETRY and said.add_geometry(value))
        )
        if key in _SPECULAR:
            _read_specular(said, value)
        elif key in _ANGLE and re.fullmatch(r"(?i)\s*(as)?\s*-?\d{1,3}\s*(°|deg\w*)?\s*", value):
            said.angles.append(int(re.sub(r"[^\d-]", "", value)))
        elif key in _FILTERS and not _NO_FILTER.fullmatch(value):
            filters.append(f"{key} {value}")
        elif key == "SPECTRAL_NORM" and re.fullmatch(r"\d{1,7}(\.\d*)?", value):
            header.norm = float(value) or None
            header.divisor = int(header.norm) if header.norm in (1, 100) else None
        elif key == "REFLECTANCE" and (scale := _SCALES.get(value.lower().strip())):
            header.divisor = scale
        elif key in _SAYS_WHAT and _NO_REFLECTANCE.search(value):
            header.no_reflectance = kept_text(value)
        elif key in _TITLES and _POWER.search(value):
            header.no_reflectance = kept_text(value)
        elif key == "STAGE":
            try:
                stage = condition_words.stage(value)
            except ValueError:
                said.not_understood.append(value)
        elif not whole and (key in _FREE or key in _ILLUMINANT | _OBSERVER | _GEOMETRY):
            _read_free(said, key, value)
    if not said.angles:
        titles = [angle_of_title(value) for _, key, value in table.keywords if key in _TITLES]
        said.angles += [angle for angle in titles if angle is not None]
    conditions = said.conditions()
    inherited = before.about
    instrument = next((found[1] for k in _INSTRUMENT if (found := table.stated(k))), None)
    header.about = About(
        conditions=type(conditions)(
            illuminant=conditions.illuminant or inherited.conditions.illuminant,
            observer=conditions.observer or inherited.conditions.observer,
            geometry=conditions.geometry or inherited.conditions.geometry,
            specular=conditions.specular or inherited.conditions.specular,
        ),
        stage=stage or inherited.stage,
        instrument=kept_text(instrument) if instrument else inherited.instrument,
        angle=said.angle(),
    )
    header.warnings = [*said.warnings(f"Table {table.number}"), *_filter_warnings(filters)]
    header.warnings += _undeclared(table)
    return header


def holds_no_readings(table: CgatsTable) -> bool:
    """Whether the table says that it holds something else than samples."""
    return any(key in _NO_READINGS for _, key, _ in table.keywords)


def read_condition(said: Said, name: str, text: str) -> None:
    """A condition that a row of a table states in a field of its own."""
    if not text.strip():
        return
    if name == "specular":
        _read_specular(said, text)
        return
    take = {
        "illuminant": said.add_illuminant,
        "observer": said.add_observer,
        "geometry": said.add_geometry,
    }
    if take[name](text):
        return
    angle = condition_words.aspecular_angle(text) if name == "geometry" else None
    if angle is not None:
        said.angles.append(angle)
    else:
        _read_free(said, name.upper(), text)


def _bands(table: CgatsTable) -> tuple[float, ...] | None:
    """The wavelengths that SPECTRAL_BANDS with its first and last one states."""
    told = [table.stated(key) for key in ("SPECTRAL_BANDS", *_ENDS)]
    texts = [found[1].strip() for found in told if found is not None]
    if len(texts) < 3 or not all(re.fullmatch(r"\d{1,4}(\.\d{0,6})?", text) for text in texts):
        return None
    count, first, last = int(float(texts[0])), float(texts[1]), float(texts[2])
    if not 2 <= count <= 2_000 or not FIRST_NM <= first < last <= LAST_NM:
        return None
    step = (last - first) / (count - 1)
    return tuple([round(first + step * place, 6) for place in range(count)])


def _stated_in_remarks(table: CgatsTable) -> Iterator[tuple[int, str, str]]:
    """Comments of the form '# illuminant: D65', for files that have no keyword for it."""
    keys = {key for _, key, value in table.keywords if value}
    for line, text in table.remarks:
        stated = STATEMENT.fullmatch(text)
        field_name = statement_field(stated["key"]) if stated else None
        if stated and field_name and field_name.upper() not in keys:
            yield line, field_name.upper(), stated["value"].strip()


def _read_specular(said: Said, value: str) -> None:
    try:
        said.speculars.append(condition_words.specular(value))
    except ValueError:
        said.not_understood.append(value)


def _read_free(said: Said, key: str, value: str) -> None:
    before = len(said.illuminants) + len(said.observers) + len(said.geometries)
    # "ILLUMINANT, A" and "A" alone mean the same under a keyword that says so.
    said.read_free(value)
    after = len(said.illuminants) + len(said.observers) + len(said.geometries)
    if after == before and key in _ILLUMINANT | _OBSERVER | _GEOMETRY and not said.angles:
        if not re.fullmatch(r"(?i)\s*M[0-3]\s*", value):  # ISO 13655: the lamp, no illuminant
            said.not_understood.append(kept_text(value) or "")


def _filter_warnings(filters: list[str]) -> Iterator[FileWarning]:
    if filters:
        listed = ", ".join(kept_text(text) or "" for text in dict.fromkeys(filters))
        yield FileWarning(
            code="filter_stated",
            message=f"The readings were made with a filter ({listed}). Compare them only with "
            "readings made alike.",
        )


def _undeclared(table: CgatsTable) -> Iterator[FileWarning]:
    declared = {value.strip().upper() for _, key, value in table.keywords if key == "KEYWORD"}
    names = dict.fromkeys(
        key
        for place, (_, key, value) in enumerate(table.keywords)
        if key not in _STANDARD and key not in declared and (place or value or table.number > 1)
    )
    if names:
        yield FileWarning(
            code="keyword_not_declared",
            message=f"Table {table.number} uses keywords that neither CGATS.17 has nor the file "
            f"declares: {_listed(list(names))}.",
        )


def _listed(names: list[str], most: int = 10) -> str:
    shown = ", ".join(names[:most])
    return shown if len(names) <= most else f"{shown} and {len(names) - most} more"
