"""A batch under other lights, for whoever asks; nothing of it is recorded."""

from __future__ import annotations

from service.domain.metameric import UnderLights, batch_under_lights
from service.domain.record_file import RecordFile
from service.domain.records.job import Repair
from service.use_cases.ports import Store


def lights_of_batch(store: Store, file: RecordFile, batch_id: str) -> UnderLights | None:
    """A batch of a job's file beside the master it is judged by."""
    repairs = file.all(Repair)
    stored = store.job(repairs[-1].stored_job_id) if repairs else None
    return batch_under_lights(file, batch_id, stored)
