"""Random set-ups: what a careful person in a shop would take, and what goes wrong.

``plausible`` draws a good photograph, ``spoiled`` one that a reader ought to refuse.
"""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass
from typing import Any, Literal, get_args

import numpy as np

from colour.photo.target import Target
from demo_cards.photographing.cameras import Camera
from demo_cards.photographing.chances import (
    any_form,
    any_glare,
    any_light,
    any_matrix_camera,
    any_pigments,
    any_sensor,
    any_shadow,
    any_spectral_camera,
    any_thing,
    any_view,
    any_wrong_patches,
    car_colour,
)
from demo_cards.photographing.files import FileForm
from demo_cards.photographing.lights import Light
from demo_cards.photographing.photograph import Optics, Photograph, photograph
from demo_cards.photographing.scene import Card, Scene, SheetPicture, printed_with_error
from demo_cards.photographing.spectra import Family, possible

Spoiling = Literal[
    "overexposed",
    "underexposed",
    "glare",
    "blurred",
    "uneven_light",
    "shadow",
    "covered",
    "wrong_patches",
    "no_target",
]
SPOILINGS: tuple[Spoiling, ...] = get_args(Spoiling)

FRAMES = ((2048, 1536), (2592, 1944), (3264, 2448), (4032, 3024))  # 3 to 12 megapixels


@dataclass(frozen=True, slots=True, kw_only=True)
class SetUp:
    """Everything a photograph is made from but the dice of its noise."""

    scene: Scene
    light: Light
    camera: Camera
    optics: Optics

    def take(self, rng: np.random.Generator) -> Photograph:
        return photograph(self.scene, self.light, self.camera, self.optics, rng)


def plausible(
    rng: np.random.Generator,
    target: Target,
    *,
    cards: dict[str, Card] | None = None,
    frame: tuple[int, int] | None = None,
    camera: Literal["matrix", "spectral"] | None = None,
    print_error: dict[str, Any] | None = None,
    picture: SheetPicture | None = None,
    form: FileForm | None = None,
    **scene: Any,
) -> SetUp:
    """A good photograph: tilt up to 20°, gradient up to 25 %, flare up to 3 %, fine focus.

    What is given stays; the rest is drawn. ``print_error`` is given to ``printed_with_error``;
    without it the patches are printed exactly as the target says. Further names are fields of
    ``Scene``.
    """
    kind = camera or str(rng.choice(["matrix", "spectral"]))
    if cards is None:
        cards = two_cards(rng, target)
    if print_error is not None:
        scene.setdefault("patches", printed_with_error(target, rng, **print_error))
    families = (
        (any_pigments(rng, 0.25), any_pigments(rng, 0.35))
        if kind == "spectral"
        else (Family(),) * 2
    )
    made = Scene(
        target=target,
        cards=cards,
        picture=picture,
        **{
            "print_family": families[0],
            "paint_family": families[1],
            "table": (float(rng.uniform(30, 75)), float(rng.normal(2, 4)), float(rng.normal(8, 6))),
            "grain": float(rng.uniform(0.01, 0.07)),
            **scene,
        },
    )
    spectrum = any_light(rng)
    light = Light(
        spectrum=spectrum,
        gradient=float(rng.uniform(0.0, 0.25)),
        shape=("linear", "quadratic", "hot_spot")[int(rng.integers(3))],
        direction_deg=float(rng.uniform(0, 360)),
        second_spectrum=any_light(rng) if rng.random() < 0.3 else None,
        second_share=float(rng.uniform(0.0, 0.12)),
        second_direction_deg=float(rng.uniform(0, 360)),
        flare=float(rng.uniform(0.0, 0.03)),
    )
    body = any_matrix_camera(rng) if kind == "matrix" else any_spectral_camera(rng)
    width, height = frame or FRAMES[int(rng.choice(len(FRAMES), p=(0.35, 0.25, 0.2, 0.2)))]
    return SetUp(
        scene=made,
        light=light,
        camera=body,
        optics=Optics(
            view=any_view(rng, target, width, height),
            sensor=any_sensor(rng),
            form=form or any_form(rng),
        ),
    )


def spoiled(rng: np.random.Generator, target: Target, kind: Spoiling, **fixed: Any) -> SetUp:
    """A photograph that is no good, in one stated way; otherwise drawn as ``plausible``."""
    if kind not in SPOILINGS:
        raise ValueError(f"kind {kind!r} is unknown; there are {', '.join(SPOILINGS)}")
    good = plausible(rng, target, **fixed)
    scene, light, optics = good.scene, good.light, good.optics
    if kind == "overexposed":
        # From half a stop to a stop and a half more than fills the sensor from white: the paper
        # and all greys above L* 86, up to all above 64, are burnt out in the middle of the light.
        optics = _withsensor(optics, exposure=float(rng.uniform(1.5, 3.0)))
    elif kind == "underexposed":
        optics = _withsensor(
            optics,
            exposure=float(rng.uniform(0.015, 0.05)),
            electrons=1200.0,
        )
    elif kind == "glare":
        scene = dataclasses.replace(scene, glare=(any_glare(rng, target),))
    elif kind == "blurred":
        optics = _blurred(rng, optics)
    elif kind == "uneven_light":
        light = dataclasses.replace(
            light,
            gradient=float(rng.uniform(0.9, 1.3)),
            shape="linear" if rng.random() < 0.5 else "hot_spot",
        )
    elif kind == "shadow":
        scene = dataclasses.replace(scene, shadow=any_shadow(rng, target))
    elif kind == "covered":
        scene = dataclasses.replace(scene, things=(any_thing(rng, target),))
    elif kind == "wrong_patches":
        scene = dataclasses.replace(scene, patches=any_wrong_patches(rng, target))
    else:
        scene = dataclasses.replace(scene, without_sheet=True)
    return SetUp(scene=scene, light=light, camera=good.camera, optics=optics)


def two_cards(
    rng: np.random.Generator, target: Target, *, lightness: tuple[float, float] = (4.0, 88.0)
) -> dict[str, Card]:
    """A master of any car colour and, in every other window, cards a little off it."""
    master = car_colour(rng, lightness)
    flake = float(rng.choice([0.0, 0.0, 1.5, 3.0]))
    cards = {}
    for window in target.windows:
        step = rng.normal(0, 1, 3)
        step *= rng.uniform(0.0, 2.5) / np.linalg.norm(step)
        shift = step if window.name != "master" else np.zeros(3)
        lab = np.array(master) + shift
        lab[0] = max(1.0, lab[0])
        lab = possible(lab)
        cards[window.name] = Card(
            lab=(float(lab[0]), float(lab[1]), float(lab[2])),
            flake=flake,
            dust=int(rng.integers(0, 8)),
            scratches=int(rng.integers(0, 2)),
        )
    return cards


def _withsensor(optics: Optics, **changed: Any) -> Optics:
    return dataclasses.replace(optics, sensor=dataclasses.replace(optics.sensor, **changed))


def _blurred(rng: np.random.Generator, optics: Optics) -> Optics:
    pixel = optics.view.width / 2048  # the same blur on the sheet, whatever the pixels
    if rng.random() < 0.5:
        return _withsensor(optics, blur=float(rng.uniform(5, 12) * pixel))
    angle, length = rng.uniform(0, np.pi), rng.uniform(18, 40) * pixel
    return _withsensor(
        optics, motion=(float(length * np.cos(angle)), float(length * np.sin(angle)))
    )
