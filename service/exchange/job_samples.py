"""A job's readings as samples that can be written in any exchange format."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime

from service.domain.card_code import grouped
from service.domain.record_file import RecordFile
from service.domain.records import measuring
from service.domain.records.cards import Card
from service.domain.records.job import Panel
from service.domain.terms import Method
from service.exchange.readings import Conditions, Reading, ReadingsRefused, Sample


def job_as(form: str, file: RecordFile) -> bytes:
    """Every reading by instrument that was not dropped, as ``cgats`` or ``cxf``.

    A photograph's are left out: it compares what lies in it and measures no card by itself, and
    these forms have no word for that, so whoever read the file would take them for a measurement.

    Raises
    ------
    ReadingsRefused
        Where the job has no reading, or the format no room for a value.
    """
    found = list(_samples(file))
    if not found:
        raise ReadingsRefused(
            "The job has no readings to export. Read a card with an instrument first."
        )
    samples = [sample for sample, _ in found]
    observed = [moment for _, moment in found]
    if form == "cgats":
        from service.exchange.write_cgats import write_cgats

        return write_cgats(samples, created=max(observed))
    from service.exchange.write_cxf import write_cxf

    return write_cxf(samples, created=max(observed), observed=observed)


def _samples(file: RecordFile) -> Iterator[tuple[Sample, datetime]]:
    for reading in file.all(measuring.Reading):
        if reading.method is Method.PHOTOGRAPH:
            continue
        card = file.find(Card, reading.card_id)
        panel = file.find(Panel, reading.panel_id)
        conditions = Conditions(
            illuminant=reading.illuminant,
            observer=reading.observer,
            geometry=reading.geometry,
            specular=reading.specular,
        )
        for wavelengths, repeats in _by_wavelengths(reading).items():
            sample = Sample(
                name=grouped(card.code) if card else panel.name if panel else None,
                readings=tuple(repeats),
                conditions=conditions,
                wavelengths_nm=wavelengths,
                stage=reading.stage,
            )
            yield sample, reading.observed_at


def _by_wavelengths(
    reading: measuring.Reading,
) -> dict[tuple[float, ...] | None, list[Reading]]:
    """Every repeat with its spectrum, by the wavelengths of that: a sample has one set of them.

    Angles without a spectrum go with the first that has one, so that a reading stays together.
    """
    spectra = {spectrum.angle: spectrum for spectrum in reading.spectra}
    first = reading.spectra[0].wavelengths_nm if reading.spectra else None
    found: dict[tuple[float, ...] | None, list[Reading]] = {}
    for angle in reading.angles:
        spectrum = spectra.get(angle.angle)
        repeats = found.setdefault(spectrum.wavelengths_nm if spectrum else first, [])
        repeats += [
            Reading(
                line=0,
                angle=angle.angle,
                repeat=number,
                lab=lab,
                reflectance=spectrum.reflectance[number - 1] if spectrum else None,
            )
            for number, lab in enumerate(angle.repeats, 1)
        ]
    return found
