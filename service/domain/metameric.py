"""A batch's card beside the master's under other lights: where it matches and where it shows.

Worked out of the spectra kept with the readings, so it is the same whenever it is asked for and
nothing of it is recorded. It is no verdict: verdicts are about the light of the readings.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from typing import TYPE_CHECKING

from service.domain.comparability import normal_geometry
from service.domain.judging import approved_readings
from service.domain.lookups import (
    cards_of_batch,
    master_in_force,
    mean_lab,
    policy_in_force,
    readings_of_whole_card,
)
from service.domain.pooling import as_sprayed
from service.domain.record_file import RecordFile
from service.domain.records.job import Policy, Repair
from service.domain.records.measuring import AngleSpectrum, Reading
from service.domain.records.spraying import Batch
from service.domain.terms import Method, Stage
from service.domain.under_light import (
    Noise,
    UnderLight,
    UnderLights,
    answer_of,
    next_step_of,
    noise_of,
    sureness_of,
)

__all__ = ["UnderLight", "UnderLights", "batch_under_lights", "under_lights", "under_policy"]

if TYPE_CHECKING:
    from colour.metamerism import UnderLight as Found

DISAGREEING = 1.0
"""ΔE00 between L*, a*, b* on record and those of the spectrum beside them, beyond which one of
the two is of something else; instruments work theirs out a little otherwise, by tenths."""


def batch_under_lights(
    file: RecordFile, batch_id: str, stored: RecordFile | None = None
) -> UnderLights | None:
    """A batch beside the master it is judged by; None while there is nothing to lay side by side.

    Until a repair has a master of its own its batches are held against that of the job it goes
    back to, whose file is ``stored``. The furthest stage at which both have a spectrum counts,
    and of it the newest reading of each that tells what was sprayed: a card measured again years
    later does not.
    """
    batch = file.get(Batch, batch_id)
    master, home = master_in_force(file, batch.finish_id), file
    if master is None and stored is not None:
        master, home = master_in_force(stored, file.all(Repair)[-1].stored_finish_id), stored
    cards = cards_of_batch(file, batch.root)
    if master is None or not batch.role.gives_colour or master.card_id in {c.root for c in cards}:
        return None
    approved = approved_readings(home, master)
    read = as_sprayed(r for card in cards for r in readings_of_whole_card(file, card.root))
    if not approved or not read:
        return None
    policy = policy_in_force(file, batch.finish_id)
    pair = _furthest_pair(approved, read)
    return under_policy(*pair, policy)


def under_policy(master: Reading, card: Reading, policy: Policy) -> UnderLights:
    """The lights, limits and risk that a finish's policy holds its batches to."""
    limit = policy.limit_at(None, _shared_angle(master, card))
    return under_lights(master, card, policy.lights, limit, risk=policy.risk)


def under_lights(
    master_reading: Reading,
    card_reading: Reading,
    lights: Sequence[str],
    limit: float,
    risk: float = 0.05,
) -> UnderLights:
    """A card beside the master under the light of the master's reading, and under others.

    ``limit`` is in CIEDE2000 units, at the angle that is looked at: 45° where both have a
    spectrum there, else one they share. Where either lacks its spectrum, or the two were not read
    alike, the answer is ``why_not``. A spectrum says the same under any light, so the light a
    card's own L*, a*, b* were worked out for need not be the master's.
    """
    return _looked_at(master_reading, card_reading, tuple(lights), limit, risk)


@lru_cache(maxsize=64)
def _looked_at(
    master_reading: Reading,
    card_reading: Reading,
    lights: tuple[str, ...],
    limit: float,
    risk: float,
) -> UnderLights:
    """Kept, because the 95 % ranges take some 40 ms and a page is opened again and again."""
    why, missing = _why_not(master_reading, card_reading)
    if why:
        return UnderLights(why_not=why, missing_spectrum=missing)
    from colour.metamerism import metamerism, words

    angle = _shared_angle(master_reading, card_reading)
    of_master, of_card = (_at(reading, angle) for reading in (master_reading, card_reading))
    try:
        reference = _named(master_reading.illuminant)
        others = [light for light in dict.fromkeys(map(_named, lights)) if light != reference]
        found = metamerism(
            _mean(of_master),
            _mean(of_card),
            of_master.wavelengths_nm,
            observer=master_reading.observer,
            reference=reference,
            tests=others or [reference],
            sample_wavelengths=of_card.wavelengths_nm,
        )
        why = _disagreement(master_reading, of_master, "the master's card") or _disagreement(
            card_reading, of_card, "this card"
        )
        if why:
            return UnderLights(why_not=why)
        noise = noise_of(master_reading, card_reading)
        seen = [
            _under(light, of_master, of_card, found.observer, limit, risk, noise)
            for light in (found.reference, *(found.tests if others else ()))
        ]
    except ValueError as error:
        text = str(error).rstrip(".")
        return UnderLights(why_not=f"The spectra cannot be looked at under other lights: {text}.")
    return UnderLights(
        limit=limit,
        angle=angle,
        stage=card_reading.stage,
        observer=found.observer,
        reference=seen[0],
        tests=tuple(seen[1:]),
        words=words(found, limit=limit),
        answer=answer_of(seen),
        sureness=sureness_of(seen, noise),
        next_step=next_step_of(seen),
        master_reading_id=master_reading.root,
        card_reading_id=card_reading.root,
    )


def _furthest_pair(approved: Sequence[Reading], read: Sequence[Reading]) -> tuple[Reading, Reading]:
    """The master's reading and the card's to lay side by side, those with a spectrum first."""
    pairs = [(a, b) for a in approved for b in read if a.stage is b.stage]
    if not pairs:
        return approved[-1], max(read, key=lambda r: r.observed_at)
    return max(
        pairs,
        key=lambda pair: (
            not _why_not(*pair)[0],
            bool(pair[1].spectra),
            pair[1].stage.order,
            pair[1].observed_at,
            pair[0].observed_at,
        ),
    )


def _why_not(master: Reading, card: Reading) -> tuple[str, str]:
    """What stands against it, and whose spectrum is missing."""
    from colour.metamerism import why_no_spectra

    missing = why_no_spectra(master=bool(master.spectra), sample=bool(card.spectra))
    if missing:
        whose = "both" if not (master.spectra or card.spectra) else ""
        whose = whose or ("card" if master.spectra else "master")
        return f"{missing}.".replace("of the sample", "of this card"), whose
    if Method.PHOTOGRAPH in (master.method, card.method):
        return "A photograph gives no spectrum. Read the card with an instrument.", ""
    if master.stage is not card.stage:
        return (
            f"The master was read {_said(master.stage)} and the card {_said(card.stage)}; "
            "a clear or its polish changes a spectrum too. Read both at one stage."
        ), ""
    here, there = normal_geometry(master.geometry), normal_geometry(card.geometry)
    if here != there or master.specular is not card.specular:
        return (
            f"The master was read at {_geometry(master)} and the card at {_geometry(card)}; "
            "such spectra differ by how they were seen. Read both with like instruments."
        ), ""
    if not _shared_angles(master, card):
        return "The two have spectra at no common angle. Read the card at the master's angles.", ""
    return "", ""


def _said(stage: Stage) -> str:
    return stage.value.replace("_", " ")


def _geometry(reading: Reading) -> str:
    specular = f", specular {reading.specular}" if reading.specular else ""
    return f"{reading.geometry}{specular}"


def _shared_angles(master: Reading, card: Reading) -> list[int | None]:
    of_card = {spectrum.angle for spectrum in card.spectra}
    return [spectrum.angle for spectrum in master.spectra if spectrum.angle in of_card]


def _shared_angle(master: Reading, card: Reading) -> int | None:
    """45° where both have a spectrum there, as lists show readings, else the least they share."""
    shared = _shared_angles(master, card)
    if 45 in shared or not shared:
        return 45 if shared else None
    return min(shared, key=lambda angle: angle if angle is not None else -360)


def _at(reading: Reading, angle: int | None) -> AngleSpectrum:
    return next(spectrum for spectrum in reading.spectra if spectrum.angle == angle)


def _mean(spectrum: AngleSpectrum) -> list[float]:
    """Mean of the repeats, averaged as reflectance."""
    rows = spectrum.reflectance
    return [sum(values) / len(rows) for values in zip(*rows, strict=True)]


def _named(illuminant: str) -> str:
    from colour.lights import illuminant_name

    return illuminant_name(illuminant)


def _disagreement(reading: Reading, spectrum: AngleSpectrum, whose: str) -> str:
    """That the spectrum is not of the colour beside it: percent sent as a share, another light."""
    from colour.difference import delta_e_2000
    from colour.spectra import lab_from_reflectance

    told = lab_from_reflectance(
        _mean(spectrum),
        spectrum.wavelengths_nm,
        illuminant=reading.illuminant,
        observer=reading.observer,
    )
    beside = mean_lab(next(a for a in reading.angles if a.angle == spectrum.angle))
    apart = float(delta_e_2000(beside, told))
    if apart <= DISAGREEING:
        return ""
    return (
        f"The spectrum and the L*, a*, b* of {whose} lie {apart:.1f} apart under "
        f"{reading.illuminant}/{reading.observer}°, so one of them is of something else. "
        "Read it again."
    )


def _alike_in_every_channel(variance: float) -> list[list[float]] | None:
    """The covariance of what adds the same to each channel; None where nothing is added."""
    if not variance:
        return None
    return [[variance if row == column else 0.0 for column in range(3)] for row in range(3)]


def _under(
    light: Found,
    of_master: AngleSpectrum,
    of_card: AngleSpectrum,
    observer: int,
    limit: float,
    risk: float,
    noise: Noise,
) -> UnderLight:
    from colour.decision import Verdict, judge
    from colour.metamerism import SMALL, place_words
    from colour.spectra import lab_from_reflectance

    labs = [
        lab_from_reflectance(
            one.reflectance,
            one.wavelengths_nm,
            illuminant=light.illuminant,
            observer=observer,
        )
        for one in (of_master, of_card)
    ]
    matches = light.delta_e_2000 <= limit
    settled = reach = None
    if not noise.doubt:
        judged = judge(
            *labs,
            limit=limit,
            risk=risk,
            standard_uncertainty=noise.of_a_repeat,
            added_covariance=_alike_in_every_channel(noise.between),
        )
        reach = judged.interval
        if judged.p_blends is not None:
            settled = judged.verdict is (Verdict.BLENDS if matches else Verdict.SHOWS)
    return UnderLight(
        illuminant=light.illuminant,
        place=place_words(light.illuminant),
        delta_e_2000=light.delta_e_2000,
        index_2000=light.index_2000,
        matches=matches,
        different=not matches and light.delta_e_ab > SMALL,
        master=light.master,
        card=light.sample,
        settled=settled,
        low=reach.low if reach else None,
        high=reach.high if reach else None,
    )
