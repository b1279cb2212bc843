"""What was read off a card, repeat by repeat, and what an eye said beside it."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from service.domain.card_code import grouped
from service.domain.line_making import conditions_text
from service.domain.lookups import mean_lab, readings_of_card, uncertainty_of_mean
from service.domain.pooling import repeats_at
from service.domain.record_file import RecordFile
from service.domain.records.cards import Card, Zone
from service.domain.records.job import Panel
from service.domain.records.measuring import (
    AngleReading,
    EyeCheck,
    Lab,
    Master,
    Reading,
    Verdict,
)
from service.domain.records.shop import Instrument
from service.web.context import PageContext
from service.web.pages.bench_swatches import SwatchShown
from service.web.pages.bench_views import person_name
from service.web.pages.figures import AngleChoice
from service.web.pages.figures_sides import readings_of
from service.web.pages.figures_spectra import (
    Side,
    SpectraShown,
    angles_with_spectra,
    mean_spectrum,
    shown,
)
from service.web.pages.rack_swatches import swatch_of_lab


@dataclass(frozen=True, slots=True, kw_only=True)
class RepeatShown:
    """One row of a reading's table; the fields are those the kit's table of readings takes."""

    name: str
    lab: Lab
    dropped: str


@dataclass(frozen=True, slots=True, kw_only=True)
class AngleShown:
    """The repeats at one angle, their mean, and how well it is known."""

    angle: int | None
    mean: Lab
    standard_uncertainty: float | None
    repeats: tuple[RepeatShown, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadingShown:
    """A reading with its conditions; ``dropped`` is the reason it no longer counts."""

    reading: Reading
    by: str
    zone: str
    instrument: str
    conditions: str
    approved: bool
    dropped: str
    angles: tuple[AngleShown, ...]


def readings_shown(here: PageContext, file: RecordFile, card: Card) -> tuple[ReadingShown, ...]:
    """Every reading of a card, newest first; those that were dropped too, where one was judged."""
    shop = here.store.shop()
    approved = {id for master in file.by(Master, "card_id", card.root) for id in master.reading_ids}
    readings = [*readings_of_card(file, card.root), *_dropped(file, card)]
    readings.sort(key=lambda reading: reading.observed_at, reverse=True)
    return tuple(
        ReadingShown(
            reading=reading,
            by=person_name(shop, reading.author_id),
            zone=_zone(file, reading),
            instrument=_instrument(shop, reading),
            conditions=conditions_text(reading),
            approved=reading.root in approved,
            dropped=(reading.reason or "") if reading.withdrawn else "",
            angles=tuple(_angle(reading, angle) for angle in reading.angles),
        )
        for reading in readings
    )


def _dropped(file: RecordFile, card: Card) -> list[Reading]:
    """Readings of the card that were withdrawn; found by the verdicts that rested on them."""
    verdicts = file.by(Verdict, "card_id", card.root) + file.by(Verdict, "other_card_id", card.root)
    ids = dict.fromkeys(id for verdict in verdicts for id in verdict.reading_ids)
    rows = (file.latest_revision(Reading, id) for id in ids)
    return [row for row in rows if row is not None and row.withdrawn and row.card_id == card.root]


def _angle(reading: Reading, angle: AngleReading) -> AngleShown:
    dropped = (reading.reason or "dropped") if reading.withdrawn else ""
    return AngleShown(
        angle=angle.angle,
        mean=mean_lab(angle),
        standard_uncertainty=uncertainty_of_mean(reading, angle),
        repeats=tuple(
            RepeatShown(name=str(place), lab=lab, dropped=dropped)
            for place, lab in enumerate(angle.repeats, 1)
        ),
    )


def _zone(file: RecordFile, reading: Reading) -> str:
    zone = file.find(Zone, reading.zone_id)
    return zone.name if zone is not None else ""


def _instrument(shop: RecordFile, reading: Reading) -> str:
    instrument = shop.latest_revision(Instrument, reading.instrument_id or "")
    return instrument.name if instrument is not None else ""


@dataclass(frozen=True, slots=True, kw_only=True)
class BesideMaster:
    """How the card lies beside the master at one angle, as its verdict has it on record."""

    angle: int | None
    master: Lab
    card: Lab
    difference: Lab
    delta_e_2000: float
    words: str
    decides: bool
    swatches: tuple[SwatchShown, SwatchShown] | None


def beside_master(
    here: PageContext, file: RecordFile, verdict: Verdict | None
) -> tuple[BesideMaster, ...]:
    """The angles of a verdict, the one that decided first."""
    if verdict is None or verdict.delta_e_2000 is None:
        return ()
    readings = readings_of(here, file, verdict)
    shown = [
        found
        for angle in json.loads(verdict.evidence)["angles"]
        if (found := _one_angle(verdict, readings, angle)) is not None
    ]
    return tuple(sorted(shown, key=lambda one: not one.decides))


def _one_angle(
    verdict: Verdict, readings: Sequence[Reading], evidence: Mapping[str, Any]
) -> BesideMaster | None:
    angle: int | None = evidence["angle"]
    master = _pooled_mean(readings, verdict.other_card_id, angle)
    card = _pooled_mean(readings, verdict.card_id, angle)
    if master is None or card is None:
        return None
    from colour.words import directions, words

    swatches = [swatch_of_lab(lab, r.illuminant, r.observer) for r, lab in (master, card)]
    pair = None
    if swatches[0] is not None and swatches[1] is not None:
        pair = (swatches[0], swatches[1])
    l, a, b = evidence["difference"]  # noqa: E741  the standard's own name
    return BesideMaster(
        angle=angle,
        master=master[1],
        card=card[1],
        difference=(l, a, b),
        delta_e_2000=evidence["delta_e_2000"],
        words=words(master[1], card[1]) if directions(master[1], card[1]) else "",
        decides=angle == verdict.angle,
        swatches=pair,
    )


def _pooled_mean(
    readings: Sequence[Reading], card_id: str | None, angle: int | None
) -> tuple[Reading, Lab] | None:
    """The mean of every repeat of one side, as it was judged."""
    own = [reading for reading in readings if reading.card_id == card_id]
    repeats = repeats_at(own, angle)
    if not repeats:
        return None
    return own[-1], mean_lab(AngleReading(repeats=tuple(repeats), angle=angle))


@dataclass(frozen=True, slots=True, kw_only=True)
class OwnSpectra:
    """The spectrum of a card at one angle, and the other angles there are."""

    shown: SpectraShown
    choices: tuple[AngleChoice, ...]


def own_spectra(
    file: RecordFile, card: Card, asked: str, address: Callable[[str], str]
) -> OwnSpectra | None:
    """The newest spectrum of a card: at the angle asked for, else the one lists show."""
    given = [reading for reading in readings_of_card(file, card.root) if reading.spectra]
    if not given:
        return None
    angles = angles_with_spectra(given[-1])
    usual = 45 if 45 in angles else angles[0]
    angle = next((one for one in angles if asked and str(one) == asked), usual)
    mean = mean_spectrum(given[-1:], angle)
    assert mean is not None
    return OwnSpectra(
        shown=shown([(Side("", "this card", given[-1:]), mean)], angle),
        choices=tuple(
            AngleChoice(angle=one, href=address(str(one))) for one in angles if len(angles) > 1
        ),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class EyeShown:
    """What somebody saw, holding the card against something."""

    check: EyeCheck
    by: str
    against: str
    against_href: str


def eyes_shown(here: PageContext, file: RecordFile, card: Card) -> tuple[EyeShown, ...]:
    """The eye checks a card was part of, newest first."""
    shop = here.store.shop()
    checks = [*file.by(EyeCheck, "card_id", card.root)]
    checks += [
        check
        for check in file.by(EyeCheck, "against_card_id", card.root)
        if check.card_id != card.root
    ]
    checks.sort(key=lambda check: check.observed_at, reverse=True)
    return tuple(_eye(here, file, shop, card, check) for check in checks)


def _eye(
    here: PageContext, file: RecordFile, shop: RecordFile, card: Card, check: EyeCheck
) -> EyeShown:
    other_id = check.against_card_id if check.card_id == card.root else check.card_id
    other = file.find(Card, other_id)
    panel = file.find(Panel, check.against_panel_id)
    against = f"card {grouped(other.code)}" if other else panel.name if panel else "something gone"
    return EyeShown(
        check=check,
        by=person_name(shop, check.author_id),
        against=against,
        against_href=here.link("card", code=other.code) if other else "",
    )
