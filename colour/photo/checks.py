"""Whether a photograph can be trusted: reasons to refuse it, and warnings, in words.

Thresholds were set on simulated photographs; each says what it guards.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from colour.arrays import Floats
from colour.difference import delta_e_2000
from colour.photo import camera_model as model
from colour.photo.fitting import CameraFit
from colour.photo.outcome import PhotoRefused, Remark
from colour.photo.picture import Picture
from colour.photo.placing import Placement
from colour.photo.sampling import Means
from colour.photo.sharpness import edge_blur_mm, is_sharp, picture_blur_px
from colour.photo.target import Target
from colour.photo.windows import WindowSeen

NEUTRAL_CHROMA = 12.0
FEWEST_PIXELS = 8.0  # across a patch: below, its middle is smeared by the camera's own filter
BLURRED = 0.036  # blur over a patch's side, at which codes and patch middles begin to smear
DARK, DIM = 0.14, 0.24  # linear light of the lightest patch: 8 bits leave dark cards no steps
FLOORED_SHARE = 0.2  # of a place's pixels with a channel at its lowest code
CLIPPED_SHARE = 0.04  # of a place's pixels
CLIPPED_NEUTRALS = 0.24  # of the neutral patches
UNEVEN, RATHER_UNEVEN = 2.1, 1.6  # lightest over darkest of the light on the target
WINDOW_UNEVEN, WINDOW_RATHER_UNEVEN = 2.2, 1.2  # L* over one window
NO_SHADOW = 2.5  # times lighter: shadows indoors take less, a reflection adds any amount
LEFT_OUT, RATHER_LEFT_OUT = 0.20, 0.04  # share of a window's blocks
WRONG_PATCH, WRONG_TIMES = 4.0, 6.0  # ΔE00, and times the usual error, from what others foretell
FOREIGN_PATCH, FEWEST_FOREIGN = 15.0, 2  # ΔE00 of something else that lies there
WRONG_UNCERTAINTIES = 3.0  # stated standard uncertainties of the patch
FEWEST_WRONG, WRONG_SHARE = 3, 0.018
WRONG_SCATTER = 8.0  # widening: one patch in ten this far (squared) outside of what was foretold
MIXED_UP, MIXED_UP_SCATTER = 0.1, 20.0  # the same, beyond what any shadow does
MANY_PATCHES = 40  # from here on the two below mean something
SHADOW_TOGETHER, SHADOW_DEPTH = 0.17, 0.02  # Moran's I of what light is left over, and its size
WRONG_FIT = 6.5  # median ΔE00
TEXTURED = 1.2  # L*


@dataclass(slots=True)
class Findings:
    """What speaks against a photograph so far."""

    refusals: list[Remark] = field(default_factory=list)
    warnings: list[Remark] = field(default_factory=list)

    def refuse(self, code: str, message: str) -> None:
        self.refusals.append(Remark(code=code, message=message))

    def warn(self, code: str, message: str) -> None:
        self.warnings.append(Remark(code=code, message=message))

    def doubt_instead(self) -> None:
        """Make warnings of the refusals, about a window nobody else depends on."""
        self.warnings += [
            Remark(code=remark.code, message=f"{remark.message} What was read there is no measure.")
            for remark in self.refusals
        ]
        self.refusals = []

    def stop_if_refused(self) -> None:
        if self.refusals:
            raise PhotoRefused(self.refusals)


def refuse_without_target(picture: Picture, found: int) -> PhotoRefused:
    """The refusal of a photograph in which the target was not found, with what may be why."""
    findings = Findings()
    grey = picture.light.mean(axis=0)[picture.pixels[::8, ::8]].mean(axis=-1)
    low, high = np.quantile(grey, [0.25, 0.98])
    seen = "No sheet code" if not found else f"Only {found} of the sheet's four codes"
    findings.refuse(
        "no_target",
        f"{seen} was found in the photograph. Take the whole sheet with its four corner codes, "
        "from above and in focus, or mark the target's four corners.",
    )
    if not is_sharp(picture_blur_px(picture)):
        findings.refuse("blurred", _BLURRED)
    if high < 0.06:
        findings.refuse("underexposed", _UNDEREXPOSED)
    elif low > 0.93:
        findings.refuse("overexposed", _OVEREXPOSED)
    return PhotoRefused(findings.refusals)


_BLURRED = "The photograph is blurred. Hold the camera still or rest it, tap the sheet to focus."
_UNDEREXPOSED = (
    "The photograph is too dark: its white is not half as light as it should be. "
    "Turn on more light or raise the exposure, then take it again."
)
_OVEREXPOSED = (
    "The photograph is overexposed: light patches are cut off at white. "
    "Lower the exposure or move the lamp away, then take it again."
)

_SHADOW = (
    "A shadow or a reflection lies on the target: whole groups of patches are lighter or darker "
    "than the rest foretell. Move it or yourself, then take it again."
)
_GLARE = (
    "Glare lies over the window {}. Turn the sheet or the lamp until no reflection is seen in the "
    "card, then take it again."
)
_PATCHES_WRONG = (
    "Patches do not look like the target's: something may lie on it, or it is dirty, faded or "
    "another print. Clear it, or choose the target this one is."
)


def check_placement(
    findings: Findings, picture: Picture, target: Target, placement: Placement, means_inside: bool
) -> None:
    """Before anything is fitted: is the whole target there, large and sharp enough?"""
    if not means_inside:
        findings.refuse(
            "cut_off",
            "Part of the target lies outside the photograph. Step back so that all of it is in "
            "the picture, or correct the marked corners.",
        )
        findings.stop_if_refused()
    smallest = min(min(patch.width_mm, patch.height_mm) for patch in target.patches)
    corners = [(x, y) for x in (0.0, target.width_mm) for y in (0.0, target.height_mm)]
    scale = min(placement.pixels_per_mm(corner) for corner in corners)
    if smallest * scale * picture.scale < FEWEST_PIXELS:
        findings.refuse(
            "too_small",
            f"The smallest patch is {smallest * scale:.0f} pixels wide in the photograph. "
            "Go nearer until the target fills the picture, or send the picture at full size.",
        )
        findings.stop_if_refused()
    blur = edge_blur_mm(picture, placement, target.patches)
    if blur is not None:
        blur = max(0.0, blur - 0.35 / (scale * picture.scale))
        if blur > BLURRED * smallest:
            findings.refuse("blurred", _BLURRED)
        elif blur > 0.6 * BLURRED * smallest:
            findings.warn(
                "soft", "The photograph is a little blurred. A sharper one is read more surely."
            )


def check_exposure(findings: Findings, target: Target, seen: Means, white: float) -> None:
    """Is there light enough, and is nothing cut off?"""
    chroma = np.array([np.hypot(*patch.lab[1:]) for patch in target.patches])
    clipped = seen.clipped > CLIPPED_SHARE
    neutral = chroma < NEUTRAL_CHROMA
    share = float(clipped[neutral].mean()) if neutral.any() else float(clipped.mean())
    if share > CLIPPED_NEUTRALS or clipped.mean() > 0.4:
        findings.refuse("overexposed", _OVEREXPOSED)
    elif clipped.any():
        findings.warn(
            "overexposed",
            f"{_count(int(clipped.sum()), 'patch is', 'patches are')} cut off at white and left "
            "out. A little less exposure is safer.",
        )
    if white < DARK:
        findings.refuse("underexposed", _UNDEREXPOSED)
    elif white < DIM:
        findings.warn(
            "underexposed",
            "The photograph is rather dark, and dark cards are read less surely. More light helps.",
        )


def check_fit(
    findings: Findings,
    target: Target,
    used: NDArray[np.bool_],
    floored: NDArray[np.bool_],
    camera: CameraFit,
) -> None:
    """Do the patches look like the target's, under one light?

    ``floored`` are those of the used ones with a channel at its lowest code: too strong a colour
    for the file is no wrong patch.
    """
    stated = camera.patches.lab
    errors = np.asarray(delta_e_2000(stated, camera.left_out))
    usual = float(np.median(errors))
    names = [patch.name for patch, taken in zip(target.patches, used, strict=True) if taken]
    if usual > WRONG_FIT:
        findings.refuse(
            "wrong_target",
            f"The patches do not look like those of {target.name}: they miss their values by "
            f"{usual:.0f} ΔE00 at the middle. Check that this is the right target, the right way "
            "round, under one kind of light.",
        )
        return
    # A print's blacks and strong colours stray from nominal by what is stated of them.
    allowed = np.maximum(WRONG_TIMES * usual, WRONG_UNCERTAINTIES * camera.patches.uncertainty)
    wrong = (errors > np.maximum(WRONG_PATCH, allowed)) & ~floored
    foreign = (errors > np.maximum(FOREIGN_PATCH, allowed)) & ~floored
    many = len(errors) >= MANY_PATCHES
    together, depth = _light_left_over(camera)
    # Patches that are wrong by far bend the light's own model too; shadows never go so far.
    mixed_up = wrong.mean() > MIXED_UP or camera.widening > MIXED_UP_SCATTER
    if many and mixed_up:
        findings.refuse("patches_wrong", _PATCHES_WRONG)
    elif many and together > SHADOW_TOGETHER and depth > SHADOW_DEPTH:
        findings.refuse("uneven_light", _SHADOW)
    elif (
        int(wrong.sum()) >= max(FEWEST_WRONG, WRONG_SHARE * len(errors))
        or int(foreign.sum()) >= FEWEST_FOREIGN
    ):
        _refuse_wrong(findings, camera, wrong)
    elif many and camera.widening > WRONG_SCATTER:
        findings.refuse("patches_wrong", _PATCHES_WRONG)
    elif wrong.any():
        listed = ", ".join(name for name, bad in zip(names, wrong, strict=True) if bad)
        findings.warn(
            "patch_disagrees",
            f"{_count(int(wrong.sum()), 'patch does', 'patches do')} not look like the rest and "
            f"counted for little: {listed}. Clean the target and keep shadows off it.",
        )
    light = model.evenness(camera.theta, camera.patches.seen.field)
    ratio = float(np.exp(np.ptp(light)))
    if ratio > UNEVEN:
        findings.refuse(
            "uneven_light",
            f"The light on the target is too uneven: {ratio:.1f} times as much at its lightest as "
            "at its darkest. Turn it to the light or use two lamps, then take it again.",
        )
    elif ratio > RATHER_UNEVEN:
        findings.warn(
            "uneven_light",
            f"The light is uneven ({ratio:.1f} to 1) and was corrected. Take another with the two "
            "cards swapped: the mean of both is surer.",
        )


def _refuse_wrong(findings: Findings, camera: CameraFit, wrong: NDArray[np.bool_]) -> None:
    stated = camera.patches.lab[wrong]
    off = camera.left_out[wrong] - stated
    way = _by_light(stated)
    along = (off * way).sum(axis=-1) / np.maximum(
        np.linalg.norm(off, axis=-1) * np.linalg.norm(way, axis=-1), 1e-9
    )
    count = int(wrong.sum())
    if np.median(np.abs(along)) > 0.93:
        findings.refuse("uneven_light", f"{count} patches are lighter or darker. {_SHADOW}")
    else:
        findings.refuse("patches_wrong", f"{count} of them at least. {_PATCHES_WRONG}")


def _by_light(lab: Floats) -> Floats:
    """The way Lab goes, per relative change, when only the light changes: by the cube law."""
    return np.stack([lab[:, 0] + 16, lab[:, 1], lab[:, 2]], axis=-1) / 3


def _light_left_over(camera: CameraFit) -> tuple[float, float]:
    """Moran's I of the light that neighbouring patches have left over, and its relative size.

    Prints stray patch by patch; a shadow's edge makes whole neighbourhoods lighter or darker.

    References
    ----------
    .. [1] Moran, Notes on continuous stochastic phenomena, Biometrika 37 (1950) 17-23.
    """
    stated = camera.patches.lab
    way = _by_light(stated)
    left = ((camera.left_out - stated) * way).sum(axis=-1) / (way**2).sum(axis=-1)
    bound = 4 * 1.4826 * float(np.median(np.abs(left)))
    # Dark patches tell little of the light.
    left = np.where(stated[:, 0] > 12, np.clip(left, -bound, bound), 0.0)
    left = left - left.mean()
    position = camera.patches.seen.field[:, :2]
    apart = np.hypot(*np.moveaxis(position[:, None] - position[None, :], -1, 0))
    np.fill_diagonal(apart, np.inf)
    beside = (apart < 1.6 * float(np.median(apart.min(axis=1)))).astype(np.float64)
    size = float(np.mean(left**2))
    if size == 0.0 or beside.sum() == 0.0:
        return 0.0, 0.0
    return float(left @ beside @ left / beside.sum() / size), float(np.sqrt(size))


def check_window(findings: Findings, name: str, window: WindowSeen) -> None:
    """Can this window be read?"""
    if window.clipped > CLIPPED_SHARE:
        findings.refuse(
            "overexposed", f"The window {name}: " + _OVEREXPOSED[0].lower() + _OVEREXPOSED[1:]
        )
    if window.bright_share > LEFT_OUT or (
        window.unevenness > WINDOW_UNEVEN and window.bright_share > RATHER_LEFT_OUT
    ):
        findings.refuse("glare", _GLARE.format(name))
    elif window.dark_share > LEFT_OUT:
        findings.refuse(
            "covered",
            f"Something dark lies over part of the window {name}, or the card does not fill it. "
            "Clear it, then take it again.",
        )
    elif window.unevenness > WINDOW_UNEVEN and (
        window.lighter_by > 1.5 * window.darker_by or window.times_lighter > NO_SHADOW
    ):
        findings.refuse("glare", _GLARE.format(name))
    elif window.unevenness > WINDOW_UNEVEN:
        findings.refuse(
            "uneven_light",
            f"A shadow or a reflection crosses the window {name}: its lightness runs over "
            f"{window.unevenness:.1f} L*. Move it or yourself, then take it again.",
        )
    else:
        _warn_of_window(findings, name, window)


def _warn_of_window(findings: Findings, name: str, window: WindowSeen) -> None:
    if window.bright_share > RATHER_LEFT_OUT:
        findings.warn(
            "glare", f"A reflection in the window {name} was left out. Turn the lamp or the sheet."
        )
    if window.dark_share > RATHER_LEFT_OUT:
        findings.warn(
            "covered",
            f"A dark part of the window {name} was left out. Clean the card and let it fill the "
            "window.",
        )
    if window.unevenness > WINDOW_RATHER_UNEVEN:
        findings.warn(
            "uneven_light",
            f"The window {name} is not evenly lit ({window.unevenness:.1f} L*). Take another with "
            "the two cards swapped.",
        )
    if window.floored > FLOORED_SHARE:
        findings.warn(
            "cut_off_at_black",
            f"The card in the window {name} is too strong a colour for this file: one of its "
            "channels is cut off at black. It is read less surely.",
        )
    if window.texture > TEXTURED:
        findings.warn(
            "texture",
            f"The card in the window {name} is grained, as metallics are. One photograph in "
            "diffuse light cannot judge flop: measure or look at several angles.",
        )


def _count(count: int, one: str, many: str) -> str:
    return f"1 {one}" if count == 1 else f"{count} {many}"
