"""A small target, what a photograph of it says, and a reader that says so, for tests."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

from colour.photo.outcome import (
    CodeSeen,
    Fit,
    Lab,
    Matrix,
    PhotoRead,
    PhotoRefused,
    Remark,
    WindowRead,
)
from colour.photo.target import Target
from service.use_cases.ports import PictureDescribed

if TYPE_CHECKING:
    from service.photos.desk import PhotoDesk

GREY_STEPS = (95.0, 75.0, 55.0, 40.0, 25.0)
COLOURS = ((45.0, 60.0, 30.0), (55.0, -45.0, 40.0), (35.0, 10.0, -50.0))
MASTER_LAB: Lab = (42.0, 3.0, -18.0)
PAIR_NOISE = 0.01
"""Variance of the difference, per channel, of two windows of one photograph."""


def target_file(values: str = "nominal", **changes: Any) -> dict[str, Any]:
    """A sheet of eight patches and three windows, in the form of a target file."""
    patches = [
        {"name": f"grey {lightness:g}", "lab": [lightness, 0.0, 0.0]} for lightness in GREY_STEPS
    ] + [{"name": f"colour {n}", "lab": list(lab)} for n, lab in enumerate(COLOURS)]
    for place, patch in enumerate(patches):
        patch.update(x_mm=10.0 + 20 * place, y_mm=10.0, width_mm=15.0, height_mm=15.0)
    windows = [
        {"name": name, "x_mm": 20.0 + 50 * n, "y_mm": 60.0, "width_mm": 40.0, "height_mm": 50.0}
        for n, name in enumerate(("master", "card", "card 2"))
    ]
    return {
        "name": "Invented sheet",
        "width_mm": 190.0,
        "height_mm": 130.0,
        "measurement": {"illuminant": "D50", "observer": "2"},
        "values": values,
        "patches": patches,
        "windows": windows,
        **changes,
    }


def joint_covariance(count: int, shared: float = 4.0, own: float = PAIR_NOISE / 2) -> Matrix:
    """Errors of the windows: a large part shared by all, a small one of each."""
    size = 3 * count
    return tuple(
        tuple(
            (shared if row % 3 == column % 3 else 0.0) + (own if row == column else 0.0)
            for column in range(size)
        )
        for row in range(size)
    )


def photo_read(
    windows: Mapping[str, Lab],
    *,
    target: str = "Invented sheet",
    codes: Sequence[tuple[str, str]] = (),
    own: float = PAIR_NOISE / 2,
    **changes: Any,
) -> PhotoRead:
    """What a photograph might say of cards of these colours; codes as (text, window)."""
    joint = joint_covariance(len(windows), own=own)
    read = PhotoRead(
        target=target,
        illuminant="D50",
        observer="2",
        values="nominal",
        size=(1200, 900),
        outline=((100.0, 80.0), (1100.0, 90.0), (1090.0, 820.0), (110.0, 810.0)),
        windows=tuple(
            WindowRead(
                name=name,
                lab=lab,
                covariance=tuple(row[3 * n : 3 * n + 3] for row in joint[3 * n : 3 * n + 3]),
                pixels=8000 + n,
                share_used=0.9,
                texture=0.4,
                outline=_box(200.0 + 300 * n),
            )
            for n, (name, lab) in enumerate(windows.items())
        ),
        covariance=joint,
        fit=Fit(
            mean_delta_e_2000=0.5,
            max_delta_e_2000=1.2,
            left_out_mean_delta_e_2000=0.8,
            model="a curve per channel and a matrix",
        ),
        warnings=(Remark(code="nominal_values", message="The patches were never measured."),),
        codes=tuple(
            CodeSeen(text=text, window=window, outline=_box(210.0)) for text, window in codes
        ),
    )
    return replace(read, **changes)


def _box(left: float) -> tuple[tuple[float, float], ...]:
    return ((left, 400.0), (left + 200, 400.0), (left + 200, 650.0), (left, 650.0))


@dataclass(frozen=True, kw_only=True)
class FakeDescribed:
    """Kind and size of a picture."""

    media_type: str
    width: int
    height: int


@dataclass
class FakeReader:
    """The ``PhotoReader`` port: says of each content what it was told to, else refuses it."""

    says: dict[bytes, PhotoRead | PhotoRefused] = field(default_factory=dict)
    asked: list[dict[str, Any]] = field(default_factory=list)

    def read(
        self,
        content: bytes,
        *,
        target: Target | None = None,
        targets: Mapping[str, Target] | None = None,
        corners: Sequence[tuple[float, float]] | None = None,
    ) -> PhotoRead:
        self.asked.append(
            {"content": content, "target": target, "targets": targets, "corners": corners}
        )
        answer = self.says.get(content)
        if answer is None:
            message = "No sheet was found. Lay the cards on the sheet and photograph all of it."
            answer = PhotoRefused([Remark(code="no_target", message=message)])
        if isinstance(answer, PhotoRefused):
            raise answer
        return answer

    def describe(self, content: bytes) -> PictureDescribed:
        if content not in self.says:
            message = "The file is no picture. Send a JPEG photograph."
            raise PhotoRefused([Remark(code="not_an_image", message=message)])
        return FakeDescribed(media_type="image/jpeg", width=1200, height=900)

    def shown(self, content: bytes, width: int) -> bytes:
        self.describe(content)
        return b"shown anew"


class DeskOfTests(FakeReader):
    """Says what it was told of a content; any other goes to a real desk, one for all tests."""

    _real: PhotoDesk | None = None

    def read(self, content: bytes, **asked: Any) -> PhotoRead:
        if content in self.says:
            return super().read(content, **asked)
        return self.real.read(content, **asked)

    def describe(self, content: bytes) -> PictureDescribed:
        return super().describe(content) if content in self.says else self.real.describe(content)

    def shown(self, content: bytes, width: int) -> bytes:
        return (
            super().shown(content, width)
            if content in self.says
            else self.real.shown(content, width)
        )

    @property
    def real(self) -> PhotoDesk:
        from service.photos.desk import PhotoDesk

        if DeskOfTests._real is None:
            DeskOfTests._real = PhotoDesk()
        return DeskOfTests._real


class PrintedSheets:
    """The ``PhotoSheets`` port: says which sheet was asked for."""

    def pdf(self, target: Target) -> bytes:
        return f"%PDF of {target.name}".encode()

    def png(self, target: Target) -> bytes:
        return f"PNG of {target.name}".encode()

    def svg(self, target: Target) -> bytes:
        return f"<svg>{target.name}</svg>".encode()


def as_text(target: Mapping[str, Any]) -> str:
    """A target file as it is stored."""
    return json.dumps(target, sort_keys=True, separators=(",", ":"))
