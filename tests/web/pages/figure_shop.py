"""Stories whose verdicts have something to draw: several angles, and spectra of two cards."""

from __future__ import annotations

from typing import Any

import numpy as np

from colour.spectra import lab_from_reflectance
from service.domain.records.measuring import AngleReading, AngleSpectrum
from service.domain.terms import FinishKind
from service.use_cases import job
from tests.chart import chart_every
from tests.web.pages.audit_shop import AuditShop

Lab = tuple[float, float, float]
FLAKE: dict[int, Lab] = {
    -15: (112.0, -1.0, -6.0),
    15: (124.0, -1.2, -5.0),
    25: (98.0, -1.3, -5.5),
    45: (58.0, -1.5, -7.0),
    75: (34.0, -1.2, -8.0),
    110: (28.0, -1.0, -8.5),
}
"""An invented silver blue, from the face to the flop."""
DARK_FLOP: dict[int, Lab] = {
    -15: (112.3, -1.0, -6.1),
    15: (124.2, -1.2, -5.1),
    25: (98.1, -1.25, -5.6),
    45: (57.9, -1.5, -7.2),
    75: (33.5, -1.1, -8.9),
    110: (26.6, -0.8, -10.1),
}
"""The same with its flake lying deeper: alike on the face, darker and bluer on the flop."""
EFFECT = {"geometry": "multi-angle", "specular": None}
PATCH = 12  # of the 24 chart spectra: a saturated blue, where the contour is tilted most


class FigureShop(AuditShop):
    """The shop of the office, with verdicts worth drawing."""

    def flake(self, second: dict[int, Lab] = DARK_FLOP, **policy: Any) -> None:
        """A metallic read at six angles; its second batch shows on the flop."""
        self.hand.open(FinishKind.METALLIC, coats_to_hide=3)
        policy = {
            "required_angles": tuple(FLAKE),
            "angle_limits": {"15": 1.4, "-15": 1.4},
            **policy,
        }
        self.hand.on_job(
            job.SetPolicy,
            finish_id=self.hand.finish,
            limits=job.Limits(limit_origin="The shop's own trials", **policy),
            why="Wider at the face.",
        )
        self.sprayed(1, FLAKE, **EFFECT)
        self.hand.master(self.told.cards[1], self.told.readings[1])
        self.sprayed(2, second, **EFFECT)

    def solid_with_spectra(self, *, interval: int = 10, second: bool = True) -> None:
        """A solid whose readings came with spectra; the second batch reflects less red."""
        nm, chart = chart_every(interval)
        master = chart[PATCH]
        card = master * np.where(nm > 560, 1.15, 1.0) + 0.0005
        self.hand.open(coats_to_hide=3)
        self.sprayed(1, None)
        self.told.readings[1] = self.read_spectrum(1, nm, master)
        self.hand.master(self.told.cards[1], self.told.readings[1])
        self.sprayed(2, None)
        if second:
            self.told.readings[2] = self.read_spectrum(2, nm, card)

    def read_spectrum(
        self, number: int, nm: Any, reflectance: Any, angle: int | None = None
    ) -> str:
        """Three repeats of a spectrum about a given one, with the colours that come of them."""
        rows = [np.asarray(reflectance) * factor for factor in (0.999, 1.001, 1.0)]
        return self.hand.read(
            self.told.cards[number],
            (50.0, 0.0, 0.0),
            angles=(AngleReading(angle=angle, repeats=tuple(self.lab(nm, row) for row in rows)),),
            spectra=(
                AngleSpectrum(
                    angle=angle,
                    wavelengths_nm=tuple(float(one) for one in nm),
                    reflectance=tuple(tuple(round(float(v), 6) for v in row) for row in rows),
                ),
            ),
        )

    @staticmethod
    def lab(nm: Any, reflectance: Any) -> Lab:
        l, a, b = lab_from_reflectance(reflectance, nm, illuminant="D65", observer=10).tolist()  # noqa: E741
        return (l, a, b)
