"""Chance draws of colours, lights, cameras and mishaps, within what shops and phones are like.

The ranges are a plausible guess, no source, unless one is named.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from colour.photo.target import Lab, Place, Target
from demo_cards.photographing.cameras import MatrixCamera, Rendering, SpectralCamera, Tone, Triple
from demo_cards.photographing.exposing import Sensor
from demo_cards.photographing.files import FileForm
from demo_cards.photographing.placing import View
from demo_cards.photographing.scene import Glare, Shadow, Thing
from demo_cards.photographing.spectra import Family, possible

SKIN: Lab = (63.0, 16.0, 19.0)
STEEL: Lab = (38.0, 0.0, -2.0)


def car_colour(rng: np.random.Generator, lightness: tuple[float, float] = (4.0, 88.0)) -> Lab:
    """A paint's colour: silvers, greys, blacks and whites half the time, else a hue."""
    level = float(rng.uniform(*lightness))
    if rng.random() < 0.5:
        return _as_lab(possible(np.array([level, rng.normal(0, 1), rng.normal(-0.5, 2)])))
    hue = rng.uniform(0, 2 * np.pi)
    # What paint reaches: most chroma at middle lightness, more for yellow, less for green-blue.
    reach = 55.0 * (1 - abs(level - 50) / 62.0) * (1 + 0.35 * np.cos(hue - 1.0))
    chroma = float(rng.uniform(0.3, 1.0)) * max(2.0, reach)
    return _as_lab(possible(np.array([level, chroma * np.cos(hue), chroma * np.sin(hue)])))


def _as_lab(values: NDArray[np.float64]) -> Lab:
    return float(values[0]), float(values[1]), float(values[2])


def any_light(rng: np.random.Generator) -> str:
    kelvin = int(rng.uniform(2900, 6500))
    kinds = [f"daylight {max(4800, kelvin)}", f"led {kelvin}", f"tube {max(3500, kelvin)}", "D65"]
    return kinds[int(rng.choice(4, p=(0.35, 0.4, 0.1, 0.15)))]


def any_pigments(rng: np.random.Generator, strength: float) -> Family:
    return Family(
        strength=float(rng.uniform(0, strength)),
        period_nm=float(rng.uniform(90, 190)),
        phase=float(rng.uniform(0, 2 * np.pi)),
    )


def _tone(rng: np.random.Generator) -> Tone:
    spread = rng.normal(1.0, 0.012, 3)
    channels = (float(spread[0]), float(spread[1]), float(spread[2]))
    kind = int(rng.integers(4))
    if kind == 0:
        return Tone(channels=channels)
    if kind == 1:
        return Tone(kind="gamma", gamma=float(rng.uniform(1.8, 2.4)), channels=channels)
    if kind == 2:
        return Tone(kind="s_curve", contrast=float(rng.uniform(0.1, 0.45)), channels=channels)
    return Tone(kind="filmic", highlights=float(rng.uniform(1.5, 4.0)), channels=channels)


def _rendering(rng: np.random.Generator) -> Rendering:
    return Rendering(
        saturation=float(rng.uniform(0.95, 1.2)),
        vivid=float(rng.uniform(-0.04, 0.06)),
        warm=float(rng.uniform(-0.03, 0.03)),
        tone=_tone(rng),
    )


def _balance(rng: np.random.Generator) -> Triple:
    red, blue = np.exp(rng.normal(0, 0.05, 2))
    return float(red), 1.0, float(blue)


def any_matrix_camera(rng: np.random.Generator) -> MatrixCamera:
    leak = rng.uniform(0.0, 0.12, (3, 3)) + rng.normal(0, 0.02, (3, 3))
    mix = leak * (1 - np.eye(3))
    mix += np.diag(1 - mix.sum(axis=1))
    rows = [(float(row[0]), float(row[1]), float(row[2])) for row in mix]
    return MatrixCamera(
        crosstalk=(rows[0], rows[1], rows[2]), balance=_balance(rng), rendering=_rendering(rng)
    )


def any_spectral_camera(rng: np.random.Generator) -> SpectralCamera:
    return SpectralCamera(
        peaks_nm=(
            float(rng.uniform(592, 612)),
            float(rng.uniform(530, 545)),
            float(rng.uniform(452, 468)),
        ),
        widths_nm=(
            float(rng.uniform(30, 42)),
            float(rng.uniform(34, 44)),
            float(rng.uniform(24, 32)),
        ),
        red_bump=float(rng.uniform(0.0, 0.1)),
        balance=_balance(rng),
        training_seed=int(rng.integers(1 << 30)),
        rendering=_rendering(rng),
    )


def any_view(rng: np.random.Generator, target: Target, width: int, height: int) -> View:
    tilt, towards = rng.uniform(0, 20), rng.uniform(0, 2 * np.pi)
    # The sheet lies along the frame's longer side, either way up, a few degrees off.
    upright = (target.height_mm > target.width_mm) == (height > width)
    quarter = 0.0 if upright else 90.0
    return View(
        width=width,
        height=height,
        pitch_deg=float(tilt * np.cos(towards)),
        yaw_deg=float(tilt * np.sin(towards)),
        roll_deg=float(quarter + rng.normal(0, 4) + 180 * rng.integers(2)),
        fill=float(rng.uniform(0.78, 0.92)),
        offset=(float(rng.uniform(-0.8, 0.8)), float(rng.uniform(-0.8, 0.8))),
        focal=float(rng.uniform(0.7, 0.85)),
        barrel=float(rng.choice([0.0, rng.uniform(-0.01, 0.015)])),
    )


def any_sensor(rng: np.random.Generator) -> Sensor:
    return Sensor(
        exposure=float(rng.uniform(0.55, 0.88)),
        electrons=float(rng.uniform(2500, 10000)),
        read_noise=float(rng.uniform(2, 6)),
        blur=float(rng.uniform(0.45, 0.85)),
        sharpening=float(rng.choice([0.0, rng.uniform(0.1, 0.7)])),
        vignetting=float(rng.uniform(0.02, 0.2)),
    )


def any_form(rng: np.random.Generator) -> FileForm:
    # Cameras save near 95 and what sends pictures on saves coarser (common practice, no source).
    return FileForm(
        quality=int(rng.integers(85, 99)),
        full_chroma=bool(rng.random() < 0.3),
        orientation=int(rng.choice([1, 1, 3, 6, 8])),
        wide_gamut=bool(rng.random() < 0.4),
    )


def _window(rng: np.random.Generator, target: Target) -> Place:
    named = [window for window in target.windows if window.name in ("master", "card")]
    windows = named or list(target.windows)
    return windows[int(rng.integers(len(windows)))]


def any_glare(rng: np.random.Generator, target: Target) -> Glare:
    window = _window(rng, target)
    blob = rng.random() < 0.4
    short = min(window.width_mm, window.height_mm)
    return Glare(
        window=window.name,
        strength=float(rng.uniform(0.25, 1.2)),
        length_mm=float(short * (rng.uniform(0.5, 0.9) if blob else rng.uniform(1.5, 3.0))),
        width_mm=float(short * (rng.uniform(0.5, 0.9) if blob else rng.uniform(0.2, 0.4))),
        angle_deg=float(rng.uniform(0, 180)),
        offset_mm=(float(rng.uniform(-0.2, 0.2) * short), float(rng.uniform(-0.2, 0.2) * short)),
    )


def any_shadow(rng: np.random.Generator, target: Target) -> Shadow:
    window = _window(rng, target)
    x, y = window.centre
    return Shadow(
        through=(
            float(x + rng.uniform(-0.25, 0.25) * window.width_mm),
            float(y + rng.uniform(-0.25, 0.25) * window.height_mm),
        ),
        angle_deg=float(rng.uniform(0, 360)),
        softness_mm=float(rng.uniform(0.5, 12)),
        depth=float(rng.uniform(0.25, 0.7)),
    )


def any_thing(rng: np.random.Generator, target: Target) -> Thing:
    """A finger or a tool from outside the sheet over a row of patches into a window."""
    window = _window(rng, target)
    x, y = window.centre
    left = x < target.width_mm / 2
    start = (-35.0 if left else target.width_mm + 35.0, float(y + rng.uniform(-40, 40)))
    finger = rng.random() < 0.5
    return Thing(
        start=start,
        end=(float(x + rng.uniform(-5, 5)), float(y + rng.uniform(-10, 10))),
        width_mm=float(rng.uniform(16, 20) if finger else rng.uniform(20, 34)),
        lab=SKIN if finger else STEEL,
    )


def any_wrong_patches(rng: np.random.Generator, target: Target) -> dict[str, Lab | None]:
    """The colours dealt to other places, or a third of the patches left blank."""
    names = [patch.name for patch in target.patches]
    if rng.random() < 0.5:
        dealt = rng.permutation(len(names))
        return {
            name: target.patches[int(other)].lab for name, other in zip(names, dealt, strict=True)
        }
    blank = rng.choice(len(names), max(2, len(names) // 3), replace=False)
    return {names[int(index)]: None for index in blank}
