"""What a verdict rests on: its readings, its reasons and its figures, angle by angle."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from service.domain.comparability import Grade
from service.domain.line_making import conditions_text
from service.domain.lookups import mean_lab
from service.domain.record_file import RecordFile
from service.domain.records.cards import Card, Zone
from service.domain.records.job import Panel, Repair
from service.domain.records.measuring import AngleReading, Frame, Lab, Reading, Verdict
from service.domain.records.shop import Instrument
from service.domain.records.spraying import Batch
from service.web.context import PageContext
from service.web.pages.bench_views import person_name

GRADE_WORDS: Mapping[str, str] = {
    Grade.STOPS: "stops the comparison",
    Grade.ONLY_CANNOT_TELL: "allows no answer but cannot tell",
    Grade.NOTED: "noted",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class ReasonShown:
    """What stood against the comparison, how much it weighs, and what to do about it."""

    reason: str
    remedy: str
    grade: str


@dataclass(frozen=True, slots=True, kw_only=True)
class AngleJudged:
    """The working of one angle, as it was recorded."""

    angle: int | None
    word: str
    delta_e_2000: float
    delta: Lab
    standard_uncertainty: float | None
    p_blends: float | None
    p_shows: float | None
    power_at_zero: float | None
    risk: float
    shows_risk: float
    degrees_of_freedom: float | None
    planned_looks: int
    about: str
    notes: tuple[str, ...]
    covariance: tuple[Lab, ...]
    limit: float
    decides: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Repeats:
    """The repeats of a reading at one angle, and their mean."""

    angle: int | None
    rows: tuple[Lab, ...]
    mean: Lab


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadingUsed:
    """A reading a verdict rests on: of what, how it was made, and each repeat."""

    of: str
    of_href: str
    reading: Reading
    by: str
    zone: str
    conditions: str
    instrument: str
    angles: tuple[Repeats, ...]
    dropped: str
    corrected: bool
    correct_href: str


@dataclass(frozen=True, slots=True, kw_only=True)
class PhotographUsed:
    """A photograph a verdict rests on: where the two cards lay in it, and what it alone says."""

    href: str
    sheet: str
    places: tuple[str, str]
    difference: Lab
    fit: float | None
    warnings: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Photographs:
    """What photographs said together, and under which conditions that holds."""

    said: str
    conditions: str
    each: tuple[PhotographUsed, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Evidence:
    """The working of a verdict."""

    photographs: Photographs | None
    reasons: tuple[ReasonShown, ...]
    angles: tuple[AngleJudged, ...]
    deciding: AngleJudged | None
    readings: tuple[ReadingUsed, ...]


def evidence_of(here: PageContext, file: RecordFile, verdict: Verdict) -> Evidence:
    """Everything a verdict rests on, with the readings as they stand now."""
    found = json.loads(verdict.evidence)
    angles = tuple(_angle(verdict, one) for one in found.get("angles", ()))
    return Evidence(
        photographs=_photographs(here, file, found.get("photographs")),
        reasons=reasons_of(verdict),
        angles=angles,
        deciding=next((one for one in angles if one.decides), None),
        readings=tuple(_readings(here, file, verdict)),
    )


def _photographs(
    here: PageContext, file: RecordFile, found: Mapping[str, Any] | None
) -> Photographs | None:
    if found is None:
        return None
    return Photographs(
        said=found["said"],
        conditions=found["conditions"],
        each=tuple(_photograph(here, file, one) for one in found["frames"]),
    )


def _photograph(here: PageContext, file: RecordFile, one: Mapping[str, Any]) -> PhotographUsed:
    frame = file.latest_revision(Frame, one["frame_id"])
    held = json.loads(frame.evidence) if frame is not None else {}
    sheet, at_a, at_b = one["places"]
    l, a, b = one["difference"]  # noqa: E741  the standard's own name
    sha = one["photo_sha256"]
    return PhotographUsed(
        href=_where_it_was_read(here, file, sha, frame, held) if sha else "",
        sheet=sheet,
        places=(at_a, at_b),
        difference=(l, a, b),
        fit=held.get("fit", {}).get("left_out_mean_delta_e_2000"),
        warnings=tuple(warning["message"] for warning in held.get("warnings", ())),
    )


def _where_it_was_read(
    here: PageContext, file: RecordFile, sha: str, frame: Frame | None, held: Mapping[str, Any]
) -> str:
    """The page that shows the photograph with its outline and windows, by the same sheet."""
    corners = " ".join(f"{x:g},{y:g}" for x, y in held.get("corners") or ())
    sheet = frame.photo_target_id if frame is not None else None
    return here.link(
        "photograph", job_id=file.chain, sha256=sha, sheet=sheet or "", corners=corners
    )


def reasons_of(verdict: Verdict) -> tuple[ReasonShown, ...]:
    """What stood against the comparison, heaviest first."""
    found: Sequence[Mapping[str, str]] = json.loads(verdict.evidence).get("reasons", ())
    return tuple(
        ReasonShown(
            reason=one["text"][:1].upper() + one["text"][1:],
            remedy=one["remedy"],
            grade=GRADE_WORDS[one["grade"]],
        )
        for one in found
    )


def angles_of(verdict: Verdict) -> tuple[AngleJudged, ...]:
    """The working of every angle that was judged."""
    return tuple(_angle(verdict, one) for one in json.loads(verdict.evidence).get("angles", ()))


def _angle(verdict: Verdict, one: Mapping[str, Any]) -> AngleJudged:
    l, a, b = one["difference"]  # noqa: E741
    return AngleJudged(
        angle=one["angle"],
        word=one["verdict"],
        delta_e_2000=one["delta_e_2000"],
        delta=(l, a, b),
        standard_uncertainty=one["standard_uncertainty"],
        p_blends=one["p_blends"],
        p_shows=one["p_shows"],
        power_at_zero=one["power_at_zero"],
        risk=one["risk"],
        shows_risk=one["shows_risk"],
        degrees_of_freedom=one["degrees_of_freedom"],
        planned_looks=one["planned_looks"],
        about=one["risk_is_about"],
        notes=tuple(one["notes"]),
        covariance=tuple((row[0], row[1], row[2]) for row in one["covariance"]),
        limit=one.get("limit", verdict.limit),
        decides=one["angle"] == verdict.angle,
    )


def _readings(here: PageContext, file: RecordFile, verdict: Verdict) -> Iterable[ReadingUsed]:
    for id in verdict.reading_ids:
        of = _file_with(here, file, id)
        reading = of.latest_revision(Reading, id)
        if reading is not None:
            yield _reading(here, of, verdict, reading)


def _file_with(here: PageContext, file: RecordFile, reading_id: str) -> RecordFile:
    """The job a reading belongs to: this one, or the one it repairs, whose master it may use."""
    if file.latest_revision(Reading, reading_id) is None:
        for repair in file.all(Repair):
            return here.store.job(repair.stored_job_id)
    return file


def _reading(
    here: PageContext, file: RecordFile, verdict: Verdict, reading: Reading
) -> ReadingUsed:
    shop = here.store.shop()
    of, href = reading_of(here, file, reading)
    zone = file.latest_revision(Zone, reading.zone_id or "")
    instrument = shop.latest_revision(Instrument, reading.instrument_id or "")
    changed = reading.revision > 1 and not reading.withdrawn
    return ReadingUsed(
        of=of,
        of_href=href,
        reading=reading,
        by=person_name(shop, reading.author_id),
        zone=zone.name if zone is not None else "",
        conditions=conditions_text(reading),
        instrument=instrument.name if instrument is not None else "",
        angles=tuple(repeats_of(angle) for angle in reading.angles),
        dropped=(reading.reason or "no reason given") if reading.withdrawn else "",
        corrected=changed and reading.received_at > verdict.received_at,
        correct_href=here.link(
            "history", job_id=file.chain, table="readings", record_id=reading.root
        ),
    )


def reading_of(here: PageContext, file: RecordFile, reading: Reading) -> tuple[str, str]:
    """What was read, with its page: a batch's card, or the car at a panel."""
    card = file.latest_revision(Card, reading.card_id or "")
    if card is None and reading.card_id is not None:
        # A stored card of the job that this one repairs, photographed beside its own.
        for repair in file.all(Repair):
            stored = here.store.job(repair.stored_job_id)
            return reading_of(here, stored, reading) if stored is not file else ("A card", "")
    if card is None:
        panel = file.latest_revision(Panel, reading.panel_id or "")
        where = f" at the {panel.name[:1].lower()}{panel.name[1:]}" if panel is not None else ""
        return f"The car{where}", ""
    batch = file.latest_revision(Batch, card.batch_id)
    number = f"Batch {batch.number}, " if batch is not None else ""
    href = here.link("card", code=card.code) if not card.withdrawn else ""
    return f"{number}card {card.code[:4]}-{card.code[4:8]}-{card.code[8:]}", href


def repeats_of(angle: AngleReading) -> Repeats:
    """The repeats at an angle as they are listed."""
    return Repeats(angle=angle.angle, rows=angle.repeats, mean=mean_lab(angle))
