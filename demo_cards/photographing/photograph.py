"""A photograph of a scene: its bytes, and the truth that a reader of it is judged by."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping as Named
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from colour.photo.target import Lab
from demo_cards.photographing.cameras import Camera
from demo_cards.photographing.caption import write_caption
from demo_cards.photographing.exposing import Sensor, expose
from demo_cards.photographing.files import FileForm, encode
from demo_cards.photographing.lens import GRID, Scenery
from demo_cards.photographing.lights import Light
from demo_cards.photographing.placing import View, mapping_of
from demo_cards.photographing.scene import Scene
from demo_cards.photographing.sheet_canvas import draw

FINER = 1.15  # dots of the flat drawing for each pixel at its largest in the photograph


@dataclass(frozen=True, slots=True, kw_only=True)
class Optics:
    """How the camera is held, how its sensor works and how the file is kept."""

    view: View = field(default_factory=View)
    sensor: Sensor = field(default_factory=Sensor)
    form: FileForm = field(default_factory=FileForm)
    caption: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class Photograph:
    """A simulated photograph and what is true about it."""

    content: bytes
    corners: tuple[tuple[float, float], ...]  # of the target, clockwise from its top left
    truth: Named[str, Lab]  # by window
    size: tuple[int, int]  # width and height, upright
    settings: Named[str, Any]  # everything it was made from


def photograph(
    scene: Scene, light: Light, camera: Camera, optics: Optics, rng: np.random.Generator
) -> Photograph:
    """Render a scene; the same generator state gives the same bytes."""
    pixels, corners = picture(scene, light, camera, optics, rng)
    return Photograph(
        content=encode(pixels, optics.form),
        corners=corners,
        truth={} if scene.without_sheet else scene.truth(),
        size=(optics.view.width, optics.view.height),
        settings={
            "light": dataclasses.asdict(light),
            "camera": type(camera).__name__,
            **{f"camera {key}": value for key, value in _fields(camera).items()},
            **{key: dataclasses.asdict(getattr(optics, key)) for key in ("view", "sensor", "form")},
        },
    )


def picture(
    scene: Scene, light: Light, camera: Camera, optics: Optics, rng: np.random.Generator
) -> tuple[NDArray[np.uint8] | NDArray[np.uint16], tuple[tuple[float, float], ...]]:
    """Upright pixels and the target's corners in them."""
    target, view = scene.target, optics.view
    mapping = mapping_of(view, target.width_mm, target.height_mm)
    outline = [
        (0.0, 0.0),
        (target.width_mm, 0.0),
        (target.width_mm, target.height_mm),
        (0.0, target.height_mm),
    ]
    corners = mapping.pixels(outline)
    # Pixels for each millimetre where the sheet is nearest: the longest side decides.
    sides = np.hypot(*(np.roll(corners, -1, axis=0) - corners).T)
    lengths = np.array([target.width_mm, target.height_mm] * 2)
    canvas = draw(scene, light, camera, float(np.max(sides / lengths)) * FINER, rng)
    if scene.without_sheet:
        canvas.cover[:] = 0
    scenery = Scenery(
        scene, light, camera, view, mapping, canvas, vignetting=optics.sensor.vignetting, rng=rng
    )
    pixels, cover = expose(
        scenery,
        light,
        camera,
        optics.sensor,
        view,
        wide_gamut=optics.form.wide_gamut,
        bits=optics.form.bits,
        rng=rng,
    )
    if optics.caption:
        write_caption(pixels, cover, GRID)
    return pixels, tuple((float(x), float(y)) for x, y in corners)


def _fields(camera: Camera) -> dict[str, Any]:
    if not dataclasses.is_dataclass(camera) or isinstance(camera, type):
        return {}
    return dataclasses.asdict(camera)
