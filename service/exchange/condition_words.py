"""The ways people write illuminant, observer, geometry, specular mode, stage and temperature.

Each function returns the one form the program keeps, or raises ValueError with a text that says
what is wrong and what to write instead.
"""

from __future__ import annotations

import re

from service.domain.terms import Specular, Stage

# Names of CIE 15:2018 (list from memory); the F series is also written FL.
ILLUMINANTS = (
    *("A", "C", "D50", "D55", "D65", "D75", "E", "ID50", "ID65"),
    *(f"F{number}" for number in range(1, 13)),
    *(f"LED-B{number}" for number in range(1, 6)),
    *("LED-BH1", "LED-RGB1", "LED-V1", "LED-V2"),
)
_BY_SQUEEZED_NAME = {name.replace("-", ""): name for name in ILLUMINANTS}
_OBSERVERS = {"2": 2, "1931": 2, "CIE1931": 2, "10": 10, "1964": 10, "CIE1964": 10}

_SPECULAR = {
    **dict.fromkeys(("sci", "spin", "rsin", "included", "incl", "in", "include"), "included"),
    **dict.fromkeys(
        ("sce", "spex", "rsex", "excluded", "excl", "ex", "out", "exclude"), "excluded"
    ),
}
_GEOMETRY = re.compile(
    r"(?P<sides>45[acx]?[:/]0|0[:/]45[acx]?|d[ie]?[:/][08]|[08][:/]d[ie]?)(?P<rest>sci|sce)?"
)
_STAGES = {
    "wet": Stage.WET,
    "base": Stage.BASE_DRY,
    "basedry": Stage.BASE_DRY,
    "drybase": Stage.BASE_DRY,
    "clear": Stage.CLEARED,
    "cleared": Stage.CLEARED,
    "baked": Stage.BAKED,
    "polished": Stage.POLISHED,
}
_ANGLE = re.compile(
    r"(?:r?(?:45|0)\s*°?\s*[:/]?\s*)?(?:as|aspecular)?\s*[:=]?\s*(?P<minus>minus|m|-)?\s*"
    r"\+?(?P<degrees>\d{1,3})(?:[.,]0*)?\s*(?:°|d|deg|degrees?)?(?:\s*aspecular)?",
    re.I,
)
_TEMPERATURE = re.compile(r"(?P<value>[+-]?\d+(?:[.,]\d+)?)\s*(?:°|deg)?\s*(?P<unit>[CF])?", re.I)


def illuminant(text: str) -> str:
    """A CIE name: d65 → D65, FL 11 → F11, LEDB3 → LED-B3."""
    squeezed = re.sub(r"[\s_.-]", "", text).upper()
    squeezed = re.sub(r"^(?:CIE|ILLUMINANT)(?=.)", "", squeezed)
    squeezed = re.sub(r"^FL(?=\d)", "F", squeezed)
    if squeezed not in _BY_SQUEEZED_NAME:
        raise ValueError(
            f"'{text}' is not an illuminant this program knows. "
            "Write D65, D50, A, F2, F11, LED-B3 or another CIE name."
        )
    return _BY_SQUEEZED_NAME[squeezed]


def observer(text: str) -> int:
    """2 or 10: 10°, 10 deg, CIE 1964."""
    squeezed = re.sub(r"[\s°_]|deg(ree)?s?|observer", "", text, flags=re.I).upper()
    squeezed = re.sub(r"\.0$", "", squeezed)
    if squeezed not in _OBSERVERS:
        raise ValueError(f"'{text}' is not a standard observer. Write 2 or 10.")
    return _OBSERVERS[squeezed]


def illuminant_and_observer(text: str) -> tuple[str, int | None]:
    """Both from one cell, as D65/10; the observer is None where only an illuminant stands."""
    light, slash, angle = text.partition("/")
    return illuminant(light), observer(angle) if slash else None


def geometry(text: str) -> tuple[str, Specular | None]:
    """Geometry in the colon form, and the specular mode if the text says it.

    CIE 15 writes di:8 for diffuse with the specular component and de:8 for without (from memory).
    A geometry in no known form is kept as written.
    """
    squeezed = re.sub(r"[\s°_()]", "", text).lower()
    if squeezed.replace("-", "") == "multiangle":
        return "multi-angle", None
    match = _GEOMETRY.fullmatch(squeezed)
    if match is None:
        return text.strip(), None
    sides = re.split("[:/]", match["sides"])
    modes = {Specular.INCLUDED for side in sides if side == "di"}
    modes |= {Specular.EXCLUDED for side in sides if side == "de"}
    if match["rest"]:
        modes.add(specular(match["rest"]))
    if len(modes) > 1:
        raise ValueError(f"'{text}' says specular included and excluded at once. Write one.")
    colon_form = ":".join("d" if side in ("di", "de") else side for side in sides)
    return colon_form, next(iter(modes), None)


def aspecular_angle(text: str) -> int | None:
    """Whole degrees from the gloss: 45, 45°, as45, 45as-15; None if the text is no angle."""
    found = _ANGLE.fullmatch(re.sub(r"[\s_]+", " ", text.replace("\u2212", "-")).strip())
    if found is None:
        return None
    degrees = int(found["degrees"]) * (-1 if found["minus"] else 1)
    return degrees if -90 <= degrees <= 175 else None


def geometry_is_known(text: str) -> bool:
    """Whether the text is one of the forms `geometry` turns others into."""
    return text == "multi-angle" or _GEOMETRY.fullmatch(text) is not None


def specular(text: str) -> Specular:
    """Included or excluded: SCI, SCE, in, out."""
    squeezed = re.sub(r"[\s_.-]|specular|component", "", text, flags=re.I).lower()
    if squeezed not in _SPECULAR:
        raise ValueError(f"'{text}' is not a specular mode. Write included or excluded.")
    return Specular(_SPECULAR[squeezed])


def stage(text: str) -> Stage:
    """How far the surface was finished when it was read."""
    squeezed = re.sub(r"[\s_-]", "", text).lower()
    if squeezed not in _STAGES:
        known = ", ".join(Stage)
        raise ValueError(f"'{text}' is not a stage. Write one of: {known}.")
    return _STAGES[squeezed]


def temperature_c(text: str, unit: str | None) -> float:
    """Degrees Celsius; the unit stands in the text, or is the one given, and is never guessed."""
    match = _TEMPERATURE.fullmatch(text.strip().replace("\u2212", "-"))
    if match is None:
        raise ValueError(f"'{text}' is not a temperature. Write it as 23.5.")
    stated = (match["unit"] or unit or "").upper()
    if not stated:
        raise ValueError(
            f"'{text}' has no unit. Write 23 C or 73 F, or name the column temperature_c."
        )
    if match["unit"] and unit and match["unit"].upper() != unit.upper():
        raise ValueError(f"'{text}' stands in a column headed °{unit.upper()}. Write one unit.")
    value = float(match["value"].replace(",", "."))
    celsius = value if stated == "C" else (value - 32) * 5 / 9
    if not -20 <= celsius <= 120:
        raise ValueError(f"'{text}' cannot be a card's temperature. Check it.")
    return celsius


def temperature_unit(text: str) -> str:
    """C or F."""
    squeezed = re.sub(r"[\s°]|deg(rees?)?", "", text, flags=re.I).upper()
    if squeezed in ("C", "CELSIUS"):
        return "C"
    if squeezed in ("F", "FAHRENHEIT"):
        return "F"
    raise ValueError(f"'{text}' is not a unit of temperature. Write C or F.")
