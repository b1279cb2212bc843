"""A job's readings as CSV, one repeat a row, as ``readings_csv`` reads them back.

Colours only: a table has one set of wavelengths, and a job's readings may have several or none.
Spectra go out as CGATS.17 and CxF3, which give each its own. Repeats are numbered on where a
card was read again in the same way, since a reader takes a number that stands twice for a copy.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator

from service.domain.card_code import grouped
from service.domain.record_file import RecordFile
from service.domain.records.cards import Card
from service.domain.records.job import Panel
from service.domain.records.measuring import Reading
from service.domain.records.spraying import Batch
from service.exchange.csv_out import Cell, csv_bytes

HEADINGS = (
    "name",
    "L",
    "a",
    "b",
    "angle",
    "repeat",
    "stage",
    "illuminant",
    "observer",
    "geometry",
    "specular",
    "temperature_c",
    "batch",
    "observed_at",
    "reading_id",
)


def job_csv(file: RecordFile) -> bytes:
    """Every reading of a job that was not dropped, card by card as they were read."""
    return csv_bytes(HEADINGS, _rows(file), for_spreadsheet=True)


def _rows(file: RecordFile) -> Iterator[tuple[Cell, ...]]:
    numbers: Counter[tuple[object, ...]] = Counter()
    for reading in file.all(Reading):
        card = file.find(Card, reading.card_id)
        panel = file.find(Panel, reading.panel_id)
        batch = file.find(Batch, card.batch_id) if card else None
        name = grouped(card.code) if card else panel.name if panel else ""
        for angle in reading.angles:
            alike = (
                name,
                reading.stage,
                reading.illuminant,
                reading.observer,
                reading.geometry,
                reading.specular,
                angle.angle,
            )
            for lightness, a, b in angle.repeats:
                numbers[alike] += 1
                yield (
                    name,
                    lightness,
                    a,
                    b,
                    angle.angle,
                    numbers[alike],
                    reading.stage.value,
                    reading.illuminant,
                    reading.observer,
                    reading.geometry,
                    reading.specular.value if reading.specular else None,
                    reading.surface_temperature_c,
                    batch.number if batch else None,
                    reading.observed_at,
                    reading.root,
                )
