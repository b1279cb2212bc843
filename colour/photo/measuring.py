"""A photograph of a target, read: from pixels and corners to Lab with its uncertainty."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from colour.arrays import Floats
from colour.difference import delta_e_2000
from colour.photo import camera_model as model
from colour.photo.checks import (
    CLIPPED_SHARE,
    FLOORED_SHARE,
    Findings,
    check_exposure,
    check_fit,
    check_placement,
    check_window,
    refuse_without_target,
)
from colour.photo.chroma import with_chroma_for
from colour.photo.fitting import CameraFit, fit
from colour.photo.most_probable import Patches
from colour.photo.outcome import CodeSeen, Fit, PhotoRead, Point, WindowRead
from colour.photo.picture import Picture
from colour.photo.placing import Placement
from colour.photo.sampling import (
    PATCH_POINTS,
    PATCH_SHARE,
    WINDOW_POINTS,
    WINDOW_SHARE,
    Means,
    Samples,
    means,
    sample,
)
from colour.photo.settling import settle
from colour.photo.target import Place, Target
from colour.photo.windows import WindowSeen, doubted, look_at

FEWEST_MARKERS = 3
LABEL_MARGIN_MM = 12.0
PAPER_DIFFERENCE = 5.0  # ΔE00 from the lightest patch, uneven light and clipping allowed for


def read_picture(
    picture: Picture,
    target: Target,
    *,
    markers: Mapping[str, Sequence[Point]] | None = None,
    corners: Sequence[Point] | None = None,
    codes: Sequence[tuple[str, Sequence[Point]]] = (),
) -> PhotoRead:
    """Read the windows of a target in a photograph.

    Parameters
    ----------
    picture : Picture
    target : Target
    markers : mapping of text to four points, optional
        The target's own codes as they were found: corners clockwise from each code's top left,
        in pixels of the upright photograph.
    corners : four points, optional
        The target's corners clockwise from its own top left; taken instead of the markers.
    codes : sequence of (text, four points)
        Other codes in the frame, which may be labels of cards.

    Raises
    ------
    PhotoRefused
        When the photograph cannot be trusted, with every reason.
    ValueError
        When ``corners`` are no outline.
    """
    placement = _placement(picture, target, markers or {}, corners)
    findings = Findings()
    if target.windows:
        first = sample(picture, placement, target.windows, share=0.5, points=12)
        picture = with_chroma_for(picture, first.codes)
    patches = sample(picture, placement, target.patches, share=PATCH_SHARE, points=PATCH_POINTS)
    windows = (
        sample(picture, placement, target.windows, share=WINDOW_SHARE, points=WINDOW_POINTS)
        if target.windows
        else None
    )
    inside = patches.inside.all() and (windows is None or bool(windows.inside.all()))
    check_placement(findings, picture, target, placement, bool(inside))
    patch_means = means(patches)
    white = float(np.quantile(patch_means.light.max(axis=-1), 0.97))
    check_exposure(findings, target, patch_means, white)
    findings.stop_if_refused()
    used = patch_means.clipped <= CLIPPED_SHARE
    camera = fit(_patches(picture, target, patch_means, used, white))
    floored = patch_means.floored[used] > FLOORED_SHARE
    check_fit(findings, target, used, floored, camera)
    looked = _windows(findings, target, windows, camera)
    findings.stop_if_refused()
    return _answer(picture, target, placement, camera, looked, codes, findings)


def _windows(
    findings: Findings, target: Target, windows: Samples | None, camera: CameraFit
) -> list[WindowSeen]:
    """Look at every window, refusing for those that matter.

    A window beside `master` and `card` may be empty. A target without that pair is read window by
    window, and one that is not to be trusted does not speak against the others.
    """
    paired = {"master", "card"} <= {window.name for window in target.windows}
    looked = []
    for index, place in enumerate(target.windows):
        assert windows is not None
        position = _position(target, [place])[0]
        seen = look_at(windows, index, place, camera, position, _half_side(target))
        own = Findings()
        check_window(own, place.name, seen)
        empty = (
            paired and place.name not in ("master", "card") and _is_paper(seen, camera, position)
        )
        if own.refusals and (empty or not paired):
            seen = doubted(seen)
        if empty:
            own = Findings()
        elif not paired:
            own.doubt_instead()
        findings.refusals += own.refusals
        findings.warnings += own.warnings
        looked.append(seen)
    return looked


def _is_paper(seen: WindowSeen, camera: CameraFit, position: Floats) -> bool:
    """Whether a window shows what the lightest patch does: the sheet itself, no card."""
    lightest = camera.patches.lab[np.argmax(camera.patches.lab[:, 0])]
    place = model.seen(seen.light[None], position[None])
    lab = model.predict(camera.theta, place, camera.patches.white)[0]
    return bool(delta_e_2000(lightest, lab) < PAPER_DIFFERENCE)


def _placement(
    picture: Picture,
    target: Target,
    markers: Mapping[str, Sequence[Point]],
    corners: Sequence[Point] | None,
) -> Placement:
    if corners is not None:
        places = (*target.patches, *target.windows)
        return settle(picture, corners, places, target.width_mm, target.height_mm)
    found = [marker for marker in target.markers if marker.text in markers]
    if len(found) < min(FEWEST_MARKERS, len(target.markers)) or not found:
        raise refuse_without_target(picture, len(found))
    plane = np.concatenate([_corners_of(marker) for marker in found])
    pixels = np.concatenate([np.asarray(markers[marker.text], float) for marker in found])
    return Placement.from_points(
        plane, pixels, (picture.width, picture.height), fit_bend=len(found) >= 4
    )


def _corners_of(place: Place) -> Floats:
    x, y, w, h = place.x_mm, place.y_mm, place.width_mm, place.height_mm
    return np.array([[x, y], [x + w, y], [x + w, y + h], [x, y + h]])


def _half_side(target: Target) -> float:
    return max(target.width_mm, target.height_mm) / 2


def _position(target: Target, places: Sequence[Place]) -> Floats:
    middle = np.array([target.width_mm, target.height_mm]) / 2
    return (np.array([place.centre for place in places]) - middle) / _half_side(target)


def _patches(
    picture: Picture, target: Target, seen: Means, used: NDArray[np.bool_], white: float
) -> Patches:
    lab = np.array([patch.lab for patch in target.patches])
    uncertainty = np.array([patch.standard_uncertainty for patch in target.patches])
    places = model.seen(seen.light, _position(target, target.patches))
    return Patches(
        lab=lab[used],
        uncertainty=uncertainty[used],
        seen=places.take(used),
        light_covariance=_covariance(picture, seen.light, seen.covariance)[used],
        white=white,
        primaries=picture.primaries,
        linear=picture.linear,
    )


def _covariance(picture: Picture, light: Floats, covariance: Floats) -> Floats:
    """Covariance of mean lights; a channel at its lowest code hides what is below."""
    hidden = np.where(light < 2.0 * picture.light[:, 1], (3.0 * picture.light[:, 1]) ** 2, 0.0)
    return np.asarray(covariance + hidden[:, :, None] * np.eye(3))


def _answer(
    picture: Picture,
    target: Target,
    placement: Placement,
    camera: CameraFit,
    looked: Sequence[WindowSeen],
    codes: Sequence[tuple[str, Sequence[Point]]],
    findings: Findings,
) -> PhotoRead:
    windows: list[WindowRead] = []
    joint = np.zeros((0, 0))
    if looked:
        light = np.array([window.light for window in looked])
        covariance = _covariance(picture, light, np.array([w.covariance for w in looked]))
        places = model.seen(light, _position(target, target.windows))
        lab, joint = camera.read(places, covariance)
        windows = [
            WindowRead(
                name=place.name,
                lab=(float(lab[i, 0]), float(lab[i, 1]), float(lab[i, 2])),
                covariance=_matrix(joint[3 * i : 3 * i + 3, 3 * i : 3 * i + 3]),
                pixels=window.pixels,
                share_used=window.share_used,
                texture=window.texture,
                outline=_points(placement.to_photo(_corners_of(place))),
            )
            for i, (place, window) in enumerate(zip(target.windows, looked, strict=True))
        ]
    whole = Place(
        name="target", x_mm=0, y_mm=0, width_mm=target.width_mm, height_mm=target.height_mm
    )
    stated = camera.patches.lab
    fitted = np.asarray(delta_e_2000(stated, camera.fitted))
    return PhotoRead(
        target=target.name,
        illuminant=target.measurement.illuminant,
        observer=target.measurement.observer,
        values=target.values,
        size=(picture.width, picture.height),
        outline=_points(placement.to_photo(_corners_of(whole))),
        windows=tuple(windows),
        covariance=_matrix(joint),
        fit=Fit(
            mean_delta_e_2000=float(fitted.mean()),
            max_delta_e_2000=float(fitted.max()),
            left_out_mean_delta_e_2000=float(delta_e_2000(stated, camera.left_out).mean()),
            model=camera.in_words,
        ),
        warnings=tuple(findings.warnings),
        codes=tuple(_code(target, placement, text, points) for text, points in codes),
    )


def _code(target: Target, placement: Placement, text: str, points: Sequence[Point]) -> CodeSeen:
    middle = placement.to_target(np.asarray(points, float).mean(axis=0))
    near = [
        place.name
        for margin in (0.0, LABEL_MARGIN_MM)
        for place in (*target.labels, *target.windows)
        if place.holds(float(middle[0]), float(middle[1]), margin)
    ]
    return CodeSeen(text=text, window=near[0] if near else None, outline=_points(points))


def _points(values: Sequence[Point] | Floats) -> tuple[Point, ...]:
    return tuple((float(x), float(y)) for x, y in values)


def _matrix(values: Floats) -> tuple[tuple[float, ...], ...]:
    return tuple(tuple(float(value) for value in row) for row in values)
