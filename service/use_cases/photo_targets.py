"""Making a target of a sheet's own print, from what an instrument read of its patches."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from math import fsum, sqrt
from typing import TYPE_CHECKING, Any, Protocol

from service.domain.refused import Invalid
from service.domain.terms import PatchValues, Specular

if TYPE_CHECKING:
    from colour.photo.target import Target

Lab = tuple[float, float, float]

INSTRUMENT_UNCERTAINTY = 0.3
"""Standard uncertainty of a patch read by an instrument nobody stated a figure for, per channel:
what two instruments of one kind usually differ by; common practice, no source."""
NAMED_AT_MOST = 8


class ConditionsOfPatch(Protocol):
    """Under what a patch was read; None where the file does not say."""

    @property
    def illuminant(self) -> str | None: ...
    @property
    def observer(self) -> int | None: ...
    @property
    def specular(self) -> Any: ...


class PatchReadings(Protocol):
    """The readings of one patch, as a readings file holds them; named as the patch is."""

    @property
    def name(self) -> str | None: ...
    @property
    def conditions(self) -> ConditionsOfPatch: ...
    def labs_by_angle(self) -> Mapping[int | None, Sequence[Lab]]: ...


def measured_target(
    sheet: Target,
    samples: Iterable[PatchReadings],
    standard_uncertainty: float | None = None,
) -> dict[str, Any]:
    """The target file of a print whose patches were read, as JSON.

    ``standard_uncertainty`` is the instrument's own, of one reading, per channel.

    Raises
    ------
    Invalid
        When a patch was not read, or the readings were made under unlike conditions.
    """
    read = {(sample.name or "").strip().casefold(): sample for sample in samples}
    missing = [p.name for p in sheet.patches if p.name.casefold() not in read]
    if missing:
        more = f" and {len(missing) - NAMED_AT_MOST} more" if len(missing) > NAMED_AT_MOST else ""
        raise Invalid(
            "readings",
            f"The file has no reading of {', '.join(missing[:NAMED_AT_MOST])}{more}. "
            "Read every patch of the sheet, each named as the sheet's file names it.",
        )
    if not sheet.patches:
        raise Invalid("readings", "The file holds no reading of a patch. Read the sheet's patches.")
    wanted = [read[patch.name.casefold()] for patch in sheet.patches]
    illuminant, observer = _conditions(wanted)
    target = sheet.as_json()
    target["values"] = PatchValues.MEASURED.value
    target["measurement"] = {"illuminant": illuminant, "observer": str(observer)}
    for patch, sample in zip(target["patches"], wanted, strict=True):
        lab, uncertainty = _mean(patch["name"], sample, standard_uncertainty)
        patch["lab"], patch["standard_uncertainty"] = list(lab), uncertainty
    return target


def measured_sheet(
    sheet: Target, samples: Sequence[PatchReadings], standard_uncertainty: float | None = None
) -> dict[str, Any]:
    """The target file of the photo sheet's own print, from readings of some of its patches.

    Patches printed in one colour share a reading, so one of each printed colour will do.

    Raises
    ------
    Invalid
        When a reading names no patch, or they do not suffice.
    """
    from dataclasses import replace

    from colour.photo.sheet_changes import with_measured
    from colour.photo.target import BadTarget, Measurement

    names = {patch.name.casefold() for patch in sheet.patches}
    read = {(sample.name or "").strip().casefold() for sample in samples}
    unknown = sorted(read - names)
    if unknown:
        listed = ", ".join(name.upper() or "(no name)" for name in unknown[:NAMED_AT_MOST])
        raise Invalid(
            "readings",
            f"The readings name what is no patch of the sheet: {listed}. Name each by its column "
            "and row on the paper, as C4.",
        )
    kept = tuple(patch for patch in sheet.patches if patch.name.casefold() in read)
    stated = measured_target(replace(sheet, patches=kept), samples, standard_uncertainty)
    patches = stated["patches"]
    try:
        return with_measured(
            sheet,
            {patch["name"]: tuple(patch["lab"]) for patch in patches},
            Measurement(**stated["measurement"]),
            {patch["name"]: patch["standard_uncertainty"] for patch in patches},
        ).as_json()
    except BadTarget as error:
        raise Invalid("readings", str(error)) from error


def _conditions(samples: Sequence[PatchReadings]) -> tuple[str, int]:
    stated = {(s.conditions.illuminant, s.conditions.observer) for s in samples}
    if len(stated) > 1:
        listed = " and ".join(
            f"{i or 'unknown'}/{o or 'unknown'}" for i, o in sorted(stated, key=str)
        )
        raise Invalid(
            "readings",
            f"The patches were read under unlike conditions: {listed}. Read them all alike.",
        )
    illuminant, observer = stated.pop()
    if illuminant is None or observer is None:
        raise Invalid(
            "readings",
            "The file does not say for which illuminant and observer the patches were read. "
            "Write it above its header, as '# illuminant: D50' and '# observer: 2'.",
        )
    if any(s.conditions.specular is Specular.INCLUDED for s in samples):
        raise Invalid(
            "readings",
            "The patches were read with the specular reflection included, which a camera does not "
            "see. Read them at 45:0, or with it excluded.",
        )
    return illuminant, observer


def _mean(name: str, sample: PatchReadings, stated: float | None) -> tuple[Lab, float]:
    by_angle = sample.labs_by_angle()
    if len(by_angle) != 1:
        raise Invalid(
            "readings",
            f"The patch {name} was read at {len(by_angle)} angles. Give its L*, a*, b* at one.",
        )
    repeats = next(iter(by_angle.values()))
    n = len(repeats)
    l, a, b = (fsum(lab[i] for lab in repeats) / n for i in range(3))  # noqa: E741
    own = stated if stated is not None else INSTRUMENT_UNCERTAINTY
    if n < 2:
        return (l, a, b), own
    square = fsum((lab[i] - mean) ** 2 for lab in repeats for i, mean in enumerate((l, a, b)))
    return (l, a, b), sqrt(own**2 + square / (3 * (n - 1)) / n)
