"""Writes demo_cards/photographs: simulated photographs of the demo's dark cards on the photo sheet.

    python -m demo_cards.make_photographs

No camera was near. Each shows cards in the true colours the scenario invents for them, as a phone
would see them: a print that strays from its nominal values, light from a window to one side, a
camera that shares no model of colour with the reader. The words SIMULATED PHOTOGRAPH are burnt
into each beside the sheet.
"""

from __future__ import annotations

import io
import zlib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache

import numpy as np

from colour.photo.sheet import sheet_target
from colour.photo.target import Lab
from demo_cards.diary_photographs import FOLDER
from demo_cards.names import code_of
from demo_cards.photographing.cameras import Rendering, SpectralCamera, Tone
from demo_cards.photographing.exposing import Sensor
from demo_cards.photographing.files import FileForm
from demo_cards.photographing.lights import Light
from demo_cards.photographing.photograph import Optics, Photograph, photograph
from demo_cards.photographing.placing import View
from demo_cards.photographing.scene import (
    Card,
    Glare,
    Label,
    Scene,
    SheetPicture,
    printed_with_error,
)
from demo_cards.photographing.spectra import Family
from demo_cards.readings_made import true_colours
from demo_cards.script import told
from service.domain.card_code import grouped

DOTS_PER_MM = 12.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Shot:
    """How the phone was held, where the light was, and what shone."""

    view: View
    light: Light
    glare: tuple[Glare, ...] = ()


SHOTS: Mapping[str, Shot] = {
    "deep-fir-blends": Shot(
        view=View(
            width=2592, height=1944, pitch_deg=7, yaw_deg=-5, roll_deg=2.5, fill=0.88, barrel=0.004
        ),
        light=Light(
            spectrum="daylight 5600", gradient=0.14, direction_deg=200, shape="linear", flare=0.008
        ),
    ),
    "deep-fir-shows": Shot(
        view=View(
            width=2592, height=1944, pitch_deg=-6, yaw_deg=8, roll_deg=-3, fill=0.87, barrel=0.004
        ),
        light=Light(
            spectrum="daylight 5900",
            gradient=0.12,
            direction_deg=195,
            shape="quadratic",
            flare=0.01,
        ),
    ),
    # As the first, but with the window's shine across the master: to be refused.
    "deep-fir-glare": Shot(
        view=View(
            width=2592, height=1944, pitch_deg=3, yaw_deg=4, roll_deg=1, fill=0.88, barrel=0.004
        ),
        light=Light(
            spectrum="daylight 5600", gradient=0.16, direction_deg=215, shape="linear", flare=0.012
        ),
        glare=(Glare(window="master", strength=0.7, length_mm=120, width_mm=22, angle_deg=62),),
    ),
}

CAMERA = SpectralCamera(
    balance=(1.02, 1.0, 0.97),
    rendering=Rendering(saturation=1.08, vivid=0.02, tone=Tone(kind="s_curve", contrast=0.2)),
)
SENSOR = Sensor(exposure=0.72, electrons=9000.0, blur=0.6, sharpening=0.3)
FORM = FileForm(quality=90)


def cards_in(name: str) -> dict[str, str]:
    """The diary's name of the card in each window of a photograph that holds one."""
    return dict(told("photographs")["cards"][name])


def truths(name: str) -> dict[str, Lab]:
    """The true colour in each of those windows, as the scenario states it."""
    colours, said = told("colours"), told("photographs")
    return {
        window: true_colours(colours, said["finish"], said["stage"], card)[""]
        for window, card in cards_in(name).items()
    }


def take(name: str) -> Photograph:
    """One photograph, the same on every run; only the encoder of JPEGs may differ."""
    shot = SHOTS[name]
    target = sheet_target("a4")
    seed = told("colours")["seed"]
    scene = Scene(
        target=target,
        cards={window: Card(lab=lab, dust=3) for window, lab in truths(name).items()},
        # One print for all: its patches stray from their nominal values, as any print's do.
        patches=printed_with_error(target, np.random.default_rng(seed), smooth=0.8, scatter=0.3),
        picture=_sheet_picture(),
        labels=tuple(
            Label(window=window, text=grouped(code_of(card)))
            for window, card in cards_in(name).items()
        ),
        glare=shot.glare,
        table=(46.0, 2.0, 7.0),
        grain=0.015,
        print_family=Family(strength=0.1, period_nm=130, phase=1.0),
        paint_family=Family(strength=0.15, period_nm=150, phase=2.0),
    )
    dice = np.random.default_rng([seed, zlib.crc32(name.encode())])
    optics = Optics(view=shot.view, sensor=SENSOR, form=FORM)
    return photograph(scene, shot.light, CAMERA, optics, dice)


@cache
def _sheet_picture() -> SheetPicture:
    """The sheet as its command prints it, codes and lettering."""
    from PIL import Image

    from service.paper.photo_sheet import sheet_png

    with Image.open(io.BytesIO(sheet_png(sheet_target("a4"), DOTS_PER_MM))) as image:
        return SheetPicture(pixels=np.asarray(image.convert("L")), dots_per_mm=DOTS_PER_MM)


def main() -> None:
    """Write every photograph."""
    FOLDER.mkdir(exist_ok=True)
    for name in SHOTS:
        (FOLDER / f"{name}.jpg").write_bytes(take(name).content)


if __name__ == "__main__":
    main()
