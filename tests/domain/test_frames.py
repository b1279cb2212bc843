"""What a covariance must be before anything is judged by it."""

from __future__ import annotations

import pytest

from service.domain.records.measuring import AngleReading, Frame
from service.domain.refused import Invalid
from tests.builders import JobBuilder

SMALL = ((0.01, 0.0, 0.0), (0.0, 0.01, 0.0), (0.0, 0.0, 0.01))


@pytest.mark.parametrize(
    ("covariance", "why"),
    [
        (SMALL[:2], "3 rows of 3"),
        (((0.01, 0.0),) * 3, "3 rows of 3"),
        (((float("nan"), 0.0, 0.0), *SMALL[1:]), "finite"),
        (((0.01, 0.005, 0.0), *SMALL[1:]), "not symmetric"),
        (((0.0, 0.0, 0.0), *SMALL[1:]), "not above 0"),
    ],
)
def test_what_is_no_covariance_is_refused_before_it_is_on_record(covariance, why):
    with pytest.raises(Invalid, match=why):
        AngleReading(repeats=((50.0, 0.0, 0.0),), covariance=covariance)


def test_a_frame_of_two_readings_needs_six_rows():
    job = JobBuilder()
    card = job.card(job.batch(1))
    readings = tuple(job.reading(card).root for _ in range(2))
    with pytest.raises(Invalid, match="6 rows of 6"):
        job.add(Frame, "frame", reading_ids=readings, covariance=SMALL)
    six = tuple(tuple(0.01 * (i == j) for j in range(6)) for i in range(6))
    assert job.add(Frame, "frame", reading_ids=readings, covariance=six)
