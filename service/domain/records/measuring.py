"""Records of looking: readings, frames, masters, eye checks and verdicts."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import ClassVar

from service.domain.records.base import JobRecord, check_range, check_text
from service.domain.refused import Invalid
from service.domain.terms import EyeWord, Look, MasterLevel, Method, Specular, Stage, Subject, Word

Lab = tuple[float, float, float]
Matrix = tuple[tuple[float, ...], ...]

MOST_WAVELENGTHS = 1000
WIDEST_GAP_NM = 20
"""ASTM E308 weights sampling at 20 nm and finer."""


@dataclass(frozen=True, slots=True, kw_only=True)
class AngleReading:
    """Repeats at one angle, taken after lifting the instrument each time.

    ``angle`` is in aspecular degrees, None for an instrument with one geometry.
    ``covariance`` (3 by 3) is of the mean, where it is known (a photograph); else None.
    """

    repeats: tuple[Lab, ...]
    angle: int | None = None
    covariance: Matrix | None = None

    def __post_init__(self) -> None:
        where = "" if self.angle is None else f" at {self.angle}°"
        if not self.repeats:
            raise Invalid("angles", f"No reading was given{where}. Enter at least one L*, a*, b*.")
        for lab in self.repeats:
            if len(lab) != 3 or not all(math.isfinite(v) for v in lab):
                raise Invalid("angles", f"{lab} is not a colour. Enter L*, a*, b* as numbers.")
            highest = 100.5 if self.angle is None else 400
            check_range("angles", lab[0], -1, highest, f"L*{where}")
            check_range("angles", lab[1], -200, 200, f"a*{where}")
            check_range("angles", lab[2], -200, 200, f"b*{where}")
        check_range("angles", self.angle, -90, 175, "The angle", "°")
        if self.covariance is not None:
            check_covariance(self.covariance, 3)


@dataclass(frozen=True, slots=True, kw_only=True)
class AngleSpectrum:
    """The reflectance factors behind a reading at one angle, one row of values a repeat.

    ``wavelengths_nm`` ascends and has no gap wider than 20 nm; ``reflectance`` is a share of 1,
    shape (repeats, wavelengths). ``angle`` is in aspecular degrees, as in ``AngleReading``.
    """

    wavelengths_nm: tuple[float, ...]
    reflectance: tuple[tuple[float, ...], ...]
    angle: int | None = None

    def __post_init__(self) -> None:
        nm = self.wavelengths_nm
        if not 3 <= len(nm) <= MOST_WAVELENGTHS:
            raise Invalid(
                "spectra",
                f"A spectrum has 3 to {MOST_WAVELENGTHS} wavelengths, this one {len(nm)}. "
                "Export it from 400 to 700 nm at least.",
            )
        for before, after in pairwise(nm):
            if not 0 < after - before <= WIDEST_GAP_NM:
                raise Invalid(
                    "spectra",
                    f"The wavelengths go from {before:g} to {after:g} nm. "
                    f"They must ascend by {WIDEST_GAP_NM} nm at most.",
                )
        check_range("spectra", nm[0], 200, 1100, "The first wavelength", "nm")
        check_range("spectra", nm[-1], 200, 1100, "The last wavelength", "nm")
        if not self.reflectance:
            raise Invalid("spectra", "The spectrum holds no values. Leave it out, or send them.")
        for row in self.reflectance:
            if len(row) != len(nm):
                raise Invalid(
                    "spectra",
                    f"The spectrum has {len(nm)} wavelengths and a row of {len(row)} values. "
                    "Send one value for each wavelength.",
                )
            for value in row:
                check_range("spectra", value, -0.05, 20, "A reflectance factor, a share of 1,")


def check_covariance(covariance: Matrix, size: int) -> None:
    """Refuse a matrix that is not square, finite and symmetric, with variances above nothing."""
    square = len(covariance) == size and all(len(row) == size for row in covariance)
    if not square or not all(math.isfinite(value) for row in covariance for value in row):
        raise Invalid("covariance", f"A covariance here has {size} rows of {size} finite numbers.")
    for i in range(size):
        for j in range(size):
            if not math.isclose(covariance[i][j], covariance[j][i], rel_tol=1e-6, abs_tol=1e-12):
                raise Invalid("covariance", "The covariance is not symmetric. Send it as fitted.")
        if covariance[i][i] <= 0:
            raise Invalid("covariance", "A variance is not above 0, and no measurement is exact.")


def check_angles(angles: Sequence[AngleReading], spectra: Sequence[AngleSpectrum]) -> None:
    """Refuse an angle given twice, and a spectrum without the colours that come of it."""
    repeats = {angle.angle: len(angle.repeats) for angle in angles}
    if len(repeats) != len(angles) or (None in repeats and len(repeats) > 1):
        raise Invalid("angles", "An angle stands twice. Put its repeats together.")
    given: set[int | None] = set()
    for spectrum in spectra:
        where = "" if spectrum.angle is None else f" at {spectrum.angle}°"
        if spectrum.angle in given:
            raise Invalid("spectra", f"The spectra{where} stand twice. Put the repeats together.")
        given.add(spectrum.angle)
        if spectrum.angle not in repeats:
            raise Invalid("spectra", f"There is a spectrum{where} and no L*, a*, b*. Send both.")
        if len(spectrum.reflectance) != repeats[spectrum.angle]:
            raise Invalid(
                "spectra",
                f"The reading{where} has spectra of {len(spectrum.reflectance)} repeats and "
                f"colours of {repeats[spectrum.angle]}. Send one spectrum for each repeat.",
            )


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading(JobRecord):
    """Lab of a zone of a card or of the car, with its conditions; never of two things at once.

    ``card_id`` (with a zone) or, for the car, ``panel_id``. Illuminant and observer are as the
    instrument reports them (D65, 10); ``geometry`` likewise (45:0, d:8, multi-angle).
    ``standard_uncertainty`` (of one repeat, per channel), ``inter_instrument_uncertainty`` and
    ``past_calibration`` are the instrument's at the time. ``surface_temperature_c`` is None when
    nobody measured it. ``spectra`` are what the colours were worked out from, angle by angle,
    where the instrument gave them; one row for each repeat of the angle.
    """

    table: ClassVar[str] = "readings"

    stage: Stage
    illuminant: str
    observer: int
    geometry: str
    angles: tuple[AngleReading, ...]
    specular: Specular | None = None
    method: Method = Method.INSTRUMENT
    card_id: str | None = None
    zone_id: str | None = None
    panel_id: str | None = None
    instrument_id: str | None = None
    standard_uncertainty: float | None = None
    past_calibration: bool = False
    surface_temperature_c: float | None = None
    frame_id: str | None = None
    source: str = ""
    spectra: tuple[AngleSpectrum, ...] = ()
    inter_instrument_uncertainty: float | None = None

    def check(self) -> None:
        if (self.card_id is None) == (self.panel_id is None):
            raise Invalid("card_id", "Say either which card or which panel of the car was read.")
        if not self.angles:
            raise Invalid("angles", "The reading holds no colour. Enter at least one L*, a*, b*.")
        check_angles(self.angles, self.spectra)
        check_text("illuminant", self.illuminant, "The illuminant", 20)
        check_text("geometry", self.geometry, "The geometry", 30)
        if self.observer not in (2, 10):
            raise Invalid("observer", f"The observer cannot be {self.observer}°. It is 2 or 10.")
        check_range("surface_temperature_c", self.surface_temperature_c, -20, 120, "It", "°C")


@dataclass(frozen=True, slots=True, kw_only=True)
class Frame(JobRecord):
    """Readings made together, with their joint covariance (3n by 3n, in the order named).

    Of a photograph: ``windows`` names where each reading's card lay, in the same order;
    ``target`` is the sheet or chart and ``photo_target_id`` its entry in the shop's book, where
    it has one. ``evidence`` is what the reading of the photograph rests on, as canonical JSON.
    """

    table: ClassVar[str] = "frames"

    reading_ids: tuple[str, ...]
    covariance: Matrix
    photo_sha256: str | None = None
    windows: tuple[str, ...] = ()
    target: str = ""
    photo_target_id: str | None = None
    evidence: str = "{}"

    def check(self) -> None:
        check_covariance(self.covariance, 3 * len(self.reading_ids))
        if self.windows and len(self.windows) != len(self.reading_ids):
            raise Invalid("windows", "Each reading of a photograph lies in one window. Name it.")
        if self.photo_sha256 is not None and len(self.photo_sha256) != 64:
            raise Invalid(
                "photo_sha256",
                f"{self.photo_sha256!r} is not a SHA-256. Send 64 hex digits.",
            )

    def window_of(self, reading_id: str) -> str:
        """The window a reading's card lay in, empty where nobody said."""
        return self.windows[self.reading_ids.index(reading_id)] if self.windows else ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Master(JobRecord):
    """A person's word that a card is what the finish is judged against, by these readings.

    The newest approval is in force. ``reading_ids`` are the approved readings, one a stage.
    """

    table: ClassVar[str] = "masters"

    finish_id: str
    card_id: str
    reading_ids: tuple[str, ...]
    level: MasterLevel = MasterLevel.MASTER
    parent_id: str | None = None
    note: str = ""

    def check(self) -> None:
        if not self.reading_ids:
            raise Invalid(
                "reading_ids", "A master needs at least one reading. Read its card first."
            )


@dataclass(frozen=True, slots=True, kw_only=True)
class EyeCheck(JobRecord):
    """A person's own verdict under a named light; stands beside the measured one."""

    table: ClassVar[str] = "eye_checks"

    card_id: str
    look: Look
    light: str
    word: EyeWord
    against_card_id: str | None = None
    against_panel_id: str | None = None
    note: str = ""

    def check(self) -> None:
        check_text("light", self.light, "The light", 60)
        if (self.against_card_id is None) == (self.against_panel_id is None):
            raise Invalid(
                "against_card_id", "Say what the card was held against: a card or a panel."
            )


@dataclass(frozen=True, slots=True, kw_only=True)
class Verdict(JobRecord):
    """What was decided about one batch, joint or car, and on what; only ever superseded.

    Differences, limits and uncertainties are in CIEDE2000 units; ``risk`` is the stated risk
    of a wrong word over all planned looks, ``risk_spent`` the share this look could spend.
    ``card_id`` is the card judged (side a of a joint), ``other_card_id`` the master's card or
    side b. ``reasons`` are the codes of what stood against a comparison; ``evidence`` is the
    whole working as canonical JSON.
    """

    table: ClassVar[str] = "verdicts"

    subject: Subject
    word: Word
    sentence: str
    stage: Stage | None
    limit: float
    limit_origin: str
    risk: float
    batch_id: str | None = None
    joint_id: str | None = None
    card_id: str | None = None
    other_card_id: str | None = None
    master_id: str | None = None
    angle: int | None = None
    delta_e_2000: float | None = None
    low: float | None = None
    high: float | None = None
    standard_uncertainty: float | None = None
    p_blends: float | None = None
    p_shows: float | None = None
    power_at_zero: float | None = None
    delta_l: float | None = None
    delta_a: float | None = None
    delta_b: float | None = None
    over_five: bool = False
    look: int = 1
    risk_spent: float = 0.0
    words: str = ""
    next_step: str = ""
    reasons: tuple[str, ...] = ()
    reading_ids: tuple[str, ...] = ()
    evidence: str = "{}"
    formula: str = "CIEDE2000 k_L=1 k_C=1 k_H=1"
    program_version: str = ""
    late: bool = False
