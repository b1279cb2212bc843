"""What a spectrum on record must be, and the limit that holds at an angle."""

import pytest

from service.domain.records.job import Policy
from service.domain.records.measuring import AngleReading, AngleSpectrum, check_angles
from service.domain.refused import Invalid
from service.domain.terms import JointKind
from tests.storage.samples import sample

NM = (400.0, 420.0, 440.0)
ROW = (0.1, 0.2, 0.3)


@pytest.mark.parametrize(
    ("wavelengths", "rows", "said"),
    [
        ((400.0, 420.0), ((0.1, 0.2),), "3 to 1000 wavelengths, this one 2"),
        ((400.0, 440.0, 460.0), (ROW,), "from 400 to 440 nm"),
        ((440.0, 420.0, 400.0), (ROW,), "must ascend"),
        ((100.0, 120.0, 140.0), (ROW,), "100"),
        (NM, (), "no values"),
        (NM, ((0.1, 0.2),), "3 wavelengths and a row of 2"),
        (NM, ((0.1, float("nan"), 0.3),), "nan"),
        (NM, ((10.0, 20.0, 30.0),), "share of 1"),
    ],
)
def test_what_is_no_spectrum_is_refused(
    wavelengths: tuple[float, ...], rows: tuple[tuple[float, ...], ...], said: str
) -> None:
    with pytest.raises(Invalid, match=said) as refused:
        AngleSpectrum(wavelengths_nm=wavelengths, reflectance=rows)
    assert refused.value.field == "spectra"


def test_each_repeat_has_a_spectrum_or_none_has() -> None:
    angles = [AngleReading(angle=45, repeats=((50.0, 0.0, 0.0), (50.1, 0.0, 0.0)))]
    both = AngleSpectrum(angle=45, wavelengths_nm=NM, reflectance=(ROW, ROW))
    check_angles(angles, [both])
    one = AngleSpectrum(angle=45, wavelengths_nm=NM, reflectance=(ROW,))
    with pytest.raises(Invalid, match="at 45° has spectra of 1 repeats and colours of 2"):
        check_angles(angles, [one])
    elsewhere = AngleSpectrum(angle=15, wavelengths_nm=NM, reflectance=(ROW, ROW))
    with pytest.raises(Invalid, match="a spectrum at 15° and no L"):
        check_angles(angles, [elsewhere])
    with pytest.raises(Invalid, match="stand twice"):
        check_angles(angles, [both, both])


def policy(**fields: object) -> Policy:
    made = sample(Policy, **{"angle_limits": {}, "limit_master": 0.8, **fields})
    assert isinstance(made, Policy)
    return made


def test_a_joints_limit_at_an_angle_moves_in_proportion() -> None:
    held = policy(angle_limits={"110": 1.2, "-15": 1.6}, limit_butt=0.6)
    assert held.limit_at(None, 110) == pytest.approx(1.2)
    assert held.limit_at(JointKind.BUTT, 110) == pytest.approx(0.9)
    assert held.limit_at(JointKind.BUTT, -15) == pytest.approx(1.2)
    assert held.limit_at(JointKind.BUTT, 45) == 0.6
    assert held.limit_at(None, None) == 0.8


@pytest.mark.parametrize("limits", [{"flop": 1.0}, {"015": 1.0}, {"15": 9.0}, {"180": 1.0}])
def test_a_limit_at_no_angle_is_refused(limits: dict[str, float]) -> None:
    with pytest.raises(Invalid):
        policy(angle_limits=limits)
