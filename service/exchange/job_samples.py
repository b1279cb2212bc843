"""A job's readings as samples that can be written in any exchange format."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime

from service.domain.card_code import grouped
from service.domain.record_file import RecordFile
from service.domain.records import measuring
from service.domain.records.cards import Card
from service.domain.records.job import Panel
from service.exchange.readings import Conditions, Reading, ReadingsRefused, Sample


def job_as(form: str, file: RecordFile) -> bytes:
    """Every reading of a job that was not dropped, as ``cgats`` or ``cxf``.

    Raises
    ------
    ReadingsRefused
        Where the job has no reading, or the format no room for a value.
    """
    found = list(_samples(file))
    if not found:
        raise ReadingsRefused("The job has no readings to export. Read a card first.")
    samples = [sample for sample, _ in found]
    observed = [moment for _, moment in found]
    if form == "cgats":
        from service.exchange.write_cgats import write_cgats

        return write_cgats(samples, created=max(observed))
    from service.exchange.write_cxf import write_cxf

    return write_cxf(samples, created=max(observed), observed=observed)


def _samples(file: RecordFile) -> Iterator[tuple[Sample, datetime]]:
    for reading in file.all(measuring.Reading):
        card = file.find(Card, reading.card_id)
        panel = file.find(Panel, reading.panel_id)
        repeats = [
            Reading(line=0, angle=angle.angle, repeat=number, lab=lab)
            for angle in reading.angles
            for number, lab in enumerate(angle.repeats, 1)
        ]
        sample = Sample(
            name=grouped(card.code) if card else panel.name if panel else None,
            readings=tuple(repeats),
            conditions=Conditions(
                illuminant=reading.illuminant,
                observer=reading.observer,
                geometry=reading.geometry,
                specular=reading.specular,
            ),
            stage=reading.stage,
        )
        yield sample, reading.observed_at
