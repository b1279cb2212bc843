"""The simulator of photographs, against readers and colour conversions it knows nothing of."""

from __future__ import annotations

import dataclasses
import io

import numpy as np
import pytest
import segno
import tifffile
import zxingcpp
from coloraide import Color
from colormath.color_conversions import convert_color
from colormath.color_objects import LabColor, SpectralColor
from PIL import Image, ImageCms, ImageOps

from colour.photo.target import Marker, Measurement, Patch, Place, Target
from demo_cards.photographing.cameras import MatrixCamera, Rendering, SpectralCamera, Tone
from demo_cards.photographing.exposing import Sensor
from demo_cards.photographing.files import FileForm
from demo_cards.photographing.lights import Light
from demo_cards.photographing.photograph import Optics, photograph, picture
from demo_cards.photographing.placing import View, mapping_of
from demo_cards.photographing.scene import (
    Card,
    Glare,
    Label,
    Scene,
    Shadow,
    SheetPicture,
    as_measured,
    printed_with_error,
)
from demo_cards.photographing.setups import SPOILINGS, plausible, spoiled
from demo_cards.photographing.sheet_canvas import draw
from demo_cards.photographing.spectra import (
    WAVELENGTHS,
    Family,
    Surface,
    reflectances_of,
    spectrum_of,
)

D50 = Measurement(illuminant="D50", observer="2")
GREYS = (10, 18, 28, 40, 52, 65, 78, 92)
COLOURS = ((45, 50, 30), (38, 15, -42), (55, -40, 25), (80, 2, 65), (50, 45, -12), (62, -20, -25))
PERFECT = Sensor(exposure=1.0, electrons=0, blur=0.0, sharpening=0.0, vignetting=0.0)
PNG = FileForm(kind="png")


def small_target(measurement: Measurement = D50) -> Target:
    """A sheet of 150 by 100 mm: four codes, two windows, greys above and colours below."""
    patches = [
        Patch(name=f"grey {level}", x_mm=33 + 10.5 * i, y_mm=6, width_mm=9, height_mm=10, lab=lab)
        for i, level in enumerate(GREYS)
        if (lab := (float(level), 0.0, 0.0))
    ]
    patches += [
        Patch(name=f"c{i}", x_mm=33 + 14 * i, y_mm=84, width_mm=12, height_mm=10, lab=lab)
        for i, lab in enumerate(COLOURS)
    ]
    return Target(
        name="small",
        width_mm=150,
        height_mm=100,
        measurement=measurement,
        patches=tuple(patches),
        windows=(
            Place(name="master", x_mm=30, y_mm=28, width_mm=40, height_mm=36),
            Place(name="card", x_mm=80, y_mm=28, width_mm=40, height_mm=36),
        ),
        labels=(Place(name="card", x_mm=80, y_mm=66, width_mm=40, height_mm=16),),
        markers=tuple(
            Marker(name=name, x_mm=x, y_mm=y, width_mm=18, height_mm=18, text=f"KC/A4/{name}/0000")
            for name, x, y in (("TL", 6, 6), ("TR", 126, 6), ("BR", 126, 76), ("BL", 6, 76))
        ),
    )


TARGET = small_target()
VIEW = View(width=1200, height=840, fill=0.9)
CARDS = {"master": Card(lab=(45, 8, -20)), "card": Card(lab=(46, 8.5, -20.5))}


def upright(content: bytes) -> Image.Image:
    return ImageOps.exif_transpose(Image.open(io.BytesIO(content))).convert("RGB")


def codes_in(image: Image.Image) -> dict[str, np.ndarray]:
    """Corners of every code that an independent reader finds, by text."""
    return {
        code.text: np.array(
            [
                (corner.x, corner.y)
                for corner in (
                    code.position.top_left,
                    code.position.top_right,
                    code.position.bottom_right,
                    code.position.bottom_left,
                )
            ]
        )
        for code in zxingcpp.read_barcodes(image)
    }


def corners_of(place: Place) -> np.ndarray:
    right, bottom = place.x_mm + place.width_mm, place.y_mm + place.height_mm
    return np.array(
        [(place.x_mm, place.y_mm), (right, place.y_mm), (right, bottom), (place.x_mm, bottom)]
    )


def homography(sheet: np.ndarray, pixels: np.ndarray) -> np.ndarray:
    """Through four pairs of points; solved here, apart from the simulator's own."""
    rows, values = [], []
    for (x, y), (u, v) in zip(sheet, pixels, strict=True):
        rows += [[x, y, 1, 0, 0, 0, -u * x, -u * y], [0, 0, 0, x, y, 1, -v * x, -v * y]]
        values += [u, v]
    return np.append(np.linalg.solve(np.array(rows), np.array(values)), 1.0).reshape(3, 3)


def through(matrix: np.ndarray, points: np.ndarray) -> np.ndarray:
    lifted = np.column_stack([points, np.ones(len(points))]) @ matrix.T
    return lifted[:, :2] / lifted[:, 2:]


def middle_of(pixels: np.ndarray, place: Place, corners: object, share: float = 0.5) -> np.ndarray:
    """Pixels from the middle part of a place."""
    sheet = corners_of(Place(name="", x_mm=0, y_mm=0, width_mm=150, height_mm=100))
    x, y = place.centre
    reach = np.array([place.width_mm, place.height_mm]) * share / 2
    box = through(homography(sheet, np.array(corners)), np.array([[x, y] - reach, [x, y] + reach]))
    (left, top), (right, bottom) = np.sort(np.round(box).astype(int), axis=0)
    return pixels[top : bottom + 1, left : right + 1].reshape(-1, 3).astype(float)


@pytest.mark.parametrize(
    "view",
    [
        VIEW,
        dataclasses.replace(VIEW, pitch_deg=30, yaw_deg=-12),
        dataclasses.replace(VIEW, pitch_deg=-10, yaw_deg=33, roll_deg=200),
        dataclasses.replace(VIEW, roll_deg=77, fill=0.95, offset=(0.6, -0.5)),
    ],
    ids=["flat", "pitched", "yawed and turned over", "quarter turn"],
)
def test_codes_stand_where_the_stated_corners_put_them(view):
    scene = Scene(target=TARGET, cards=CARDS)
    taken = photograph(scene, Light(), MatrixCamera(), Optics(view=view), np.random.default_rng(1))
    found = codes_in(upright(taken.content))
    sheet = corners_of(Place(name="", x_mm=0, y_mm=0, width_mm=150, height_mm=100))
    matrix = homography(sheet, np.array(taken.corners))
    assert set(found) == {marker.text for marker in TARGET.markers}
    for marker in TARGET.markers:
        expected = through(matrix, corners_of(marker))
        module = np.hypot(*(expected[1] - expected[0])) / 21  # of a version 1 code
        off = np.hypot(*(found[marker.text] - expected).T)
        # A reader reports whole pixels; of the corner without a finder pattern it only guesses.
        assert off[[0, 1, 3]].max() < 0.4 * module + 1.0
        assert off[2] < module + 1.0


def test_the_papers_edges_lie_at_the_stated_corners_to_a_tenth_of_a_pixel():
    scene = Scene(target=TARGET, table=(5, 0, 0), grain=0.0)
    linear = MatrixCamera(rendering=Rendering(tone=Tone(kind="gamma", gamma=1.0)))
    optics = Optics(view=VIEW, sensor=PERFECT, form=FileForm(kind="png", bits=16), caption=False)
    pixels, corners = picture(scene, Light(), linear, optics, np.random.default_rng(0))
    (left, top), _, (right, bottom), _ = corners

    def edges(line: np.ndarray) -> tuple[float, float]:
        half = line.max() / 2
        first, last = np.flatnonzero(line > half)[[0, -1]]
        rise = (half - line[first - 1]) / (line[first] - line[first - 1])
        fall = (line[last] - half) / (line[last] - line[last + 1])
        return first - 1 + rise, last + fall

    light = pixels[..., 1].astype(float)
    # Along the margins of the sheet, where nothing is printed.
    row, column = round(top + 0.03 * (bottom - top)), round(left + 0.02 * (right - left))
    np.testing.assert_allclose(edges(light[row]), (left, right), atol=0.1)
    np.testing.assert_allclose(edges(light[:, column]), (top, bottom), atol=0.1)


def test_a_distorting_lens_moves_codes_as_its_mapping_says():
    view = dataclasses.replace(VIEW, barrel=0.05, pitch_deg=10)
    scene = Scene(target=TARGET, cards=CARDS)
    taken = photograph(scene, Light(), MatrixCamera(), Optics(view=view), np.random.default_rng(1))
    mapping = mapping_of(view, 150, 100)
    flat = mapping_of(dataclasses.replace(view, barrel=0.0), 150, 100)
    found = codes_in(upright(taken.content))
    for marker in TARGET.markers:
        expected = mapping.pixels(corners_of(marker)).mean(axis=0)
        plain = flat.pixels(corners_of(marker)).mean(axis=0)
        assert np.hypot(*(expected - plain)) > 5
        assert np.abs(found[marker.text].mean(axis=0) - expected).max() < 1.5
    np.testing.assert_allclose(
        mapping.millimetres(mapping.pixels(corners_of(TARGET.windows[0]))),
        corners_of(TARGET.windows[0]),
        atol=1e-6,
    )


@pytest.mark.parametrize("camera", [MatrixCamera(), SpectralCamera()], ids=["matrix", "spectral"])
def test_greys_come_out_in_order(camera):
    taken, corners = picture(
        Scene(target=TARGET), Light(spectrum="led 3500"), camera, Optics(view=VIEW),
        np.random.default_rng(2),
    )  # fmt: skip
    levels = [
        middle_of(taken, patch, corners).mean(axis=0)
        for patch in TARGET.patches
        if patch.name.startswith("grey")
    ]
    assert np.all(np.diff(levels, axis=0) > 5)


@pytest.mark.parametrize(
    ("illuminant", "space"), [("D50", "lab"), ("D65", "lab-d65")], ids=["D50", "D65"]
)
def test_a_camera_without_errors_gives_the_colour_as_coloraide_does(illuminant, space):
    target = small_target(Measurement(illuminant=illuminant, observer="2"))
    scene = Scene(target=target, cards=CARDS)
    taken, corners = picture(
        scene, Light(), MatrixCamera(), Optics(view=VIEW, sensor=PERFECT), np.random.default_rng(0)
    )
    places = [(patch, patch.lab) for patch in target.patches]
    places += [(window, CARDS[window.name].lab) for window in target.windows]
    compared = 0
    for place, lab in places:
        colour = Color(space, [float(value) for value in lab]).convert("srgb")
        if not colour.in_gamut(tolerance=0):
            continue
        compared += 1
        seen = middle_of(taken, place, corners)
        assert np.ptp(seen, axis=0).max() == 0
        np.testing.assert_allclose(seen[0], np.array(colour[:3]) * 255, atol=1.0)
    assert compared >= 10


def test_the_same_dice_give_the_same_bytes_and_others_do_not():
    def take(seed: int) -> bytes:
        rng = np.random.default_rng(seed)
        return plausible(rng, TARGET, frame=(800, 600)).take(rng).content

    assert take(5) == take(5)
    assert take(5) != take(6)


@pytest.mark.parametrize("orientation", range(1, 9))
def test_every_orientation_stands_upright_after_a_viewers_turn(orientation):
    scene = Scene(target=TARGET, cards=CARDS)

    def take(form: FileForm) -> bytes:
        optics = Optics(view=dataclasses.replace(VIEW, width=600, height=420), form=form)
        return photograph(scene, Light(), MatrixCamera(), optics, np.random.default_rng(3)).content

    turned = take(FileForm(kind="png", orientation=orientation))
    assert Image.open(io.BytesIO(turned)).getexif()[0x0112] == orientation
    np.testing.assert_array_equal(upright(turned), upright(take(PNG)))


def test_a_wide_gamut_file_looks_the_same_through_its_profile():
    scene = Scene(target=TARGET, cards=CARDS)

    def take(form: FileForm) -> Image.Image:
        optics = Optics(view=VIEW, sensor=PERFECT, form=form, caption=False)
        taken = photograph(scene, Light(), MatrixCamera(), optics, np.random.default_rng(3))
        return Image.open(io.BytesIO(taken.content))

    wide, plain = take(FileForm(kind="png", wide_gamut=True)), take(PNG)
    profile = ImageCms.ImageCmsProfile(io.BytesIO(wide.info["icc_profile"]))
    # Pillow's colour engine reads the profile, and knows sRGB by itself.
    through_profile = ImageCms.profileToProfile(
        wide, profile, ImageCms.createProfile("sRGB"), outputMode="RGB"
    )
    assert through_profile is not None
    off = np.abs(np.asarray(through_profile, int) - np.asarray(plain, int))
    assert np.abs(np.asarray(wide, int) - np.asarray(plain, int)).max() > 10
    # A step of the wide file is a little more than one of sRGB; saturated darks spread it most.
    assert np.quantile(off, 0.99) <= 2
    assert off.max() <= 6


@pytest.mark.parametrize("kind", ["jpeg", "png", "tiff"])
def test_every_kind_of_file_holds_its_profile_and_says_it_is_simulated(kind):
    form = FileForm(kind=kind, wide_gamut=True, orientation=6)
    optics = Optics(view=dataclasses.replace(VIEW, width=600, height=420), form=form)
    taken = photograph(
        Scene(target=TARGET), Light(), MatrixCamera(), optics, np.random.default_rng(3)
    )
    image = Image.open(io.BytesIO(taken.content))
    # Pillow turns a TIFF by its orientation on opening, and only that.
    assert image.size == ((600, 420) if kind == "tiff" else (420, 600))
    assert taken.size == (600, 420)
    assert image.getexif()[0x010E] == "Simulated photograph"
    assert ImageCms.ImageCmsProfile(io.BytesIO(image.info["icc_profile"]))


def test_sixteen_bits_reach_the_file():
    def take(kind: str, bits: int) -> bytes:
        optics = Optics(
            view=dataclasses.replace(VIEW, width=600, height=420),
            sensor=PERFECT,
            form=FileForm(kind=kind, bits=bits, orientation=3, wide_gamut=True),
            caption=False,
        )
        scene = Scene(target=TARGET, cards=CARDS)
        return photograph(scene, Light(), MatrixCamera(), optics, np.random.default_rng(3)).content

    tiff = tifffile.imread(io.BytesIO(take("tiff", 16)))
    assert tiff.dtype == np.uint16
    assert len(np.unique(tiff % 256)) > 100
    eight = np.asarray(Image.open(io.BytesIO(take("png", 8))), float)
    assert np.abs(tiff / 257 - eight).max() <= 0.51
    png = Image.open(io.BytesIO(take("png", 16)))
    png.load()
    assert png.getexif()[0x0112] == 3
    assert png.info["icc_profile"]
    assert np.abs(np.asarray(png, float) - tiff / 257).max() < 1.01


def test_a_surface_has_its_colour_under_the_targets_conditions_whatever_its_pigments():
    conditions = Measurement(illuminant="D65", observer="10")
    labs = [(50.0, 0.0, 0.0), (5.0, 1.0, -2.0), (40.0, 55.0, 35.0), (75.0, 5.0, 70.0)]
    plain = reflectances_of([Surface(lab) for lab in labs], conditions)
    bent = reflectances_of([Surface(lab, Family(0.4, 110, 1.0)) for lab in labs], conditions)
    assert plain.min() > 0 and plain.max() < 1 and bent.min() > 0 and bent.max() < 1
    assert np.ptp(plain[0]) < 1e-6  # a neutral is flat
    assert np.abs(bent - plain).max(axis=1)[2:].min() > 0.02
    for spectra in (plain, bent):
        for lab, spectrum in zip(labs, spectra, strict=True):
            bands = {f"spec_{int(nm)}nm": v for nm, v in zip(WAVELENGTHS, spectrum, strict=True)}
            colour = convert_color(
                SpectralColor(**bands, observer="10", illuminant="d65"), LabColor
            )
            # colormath's own sum over its tables; its tabulated white is off by 0.03 in a* and b*.
            np.testing.assert_allclose(colour.get_value_tuple(), lab, atol=0.1)


def test_other_pigments_of_the_same_colour_look_different_to_a_spectral_camera_only():
    pair = [Surface((45, 10, -20)), Surface((45, 10, -20), Family(0.4, 120, 0.7))]
    none = np.zeros(2)
    first, second = SpectralCamera().seen(pair, Light(spectrum="led 3500"), none, D50)
    assert np.abs(first / second - 1).max() > 0.01
    first, second = MatrixCamera().seen(pair, Light(spectrum="led 3500"), none, D50)
    np.testing.assert_array_equal(first, second)


def test_a_spectral_cameras_colours_are_near_but_no_linear_map_of_the_truth():
    labs = [patch.lab for patch in TARGET.patches]
    surfaces = [Surface(lab) for lab in labs]
    light = Light(spectrum="led 4000")
    camera = SpectralCamera()
    seen = camera.seen(surfaces, light, np.zeros(len(labs)), D50) @ camera.matrix(light).T
    true = MatrixCamera().seen(surfaces, light, np.zeros(len(labs)), D50)
    assert np.abs(seen - true).max() < 0.15
    fitted = seen @ np.linalg.lstsq(seen, true, rcond=None)[0]
    assert np.abs(fitted - true).max() > 0.002


@pytest.mark.parametrize("shape", ["linear", "quadratic", "hot_spot"])
@pytest.mark.parametrize("direction", [0, 30, 90, 200])
def test_a_gradient_is_as_strong_as_stated(shape, direction):
    across, down = np.meshgrid(np.linspace(-1, 1, 41), np.linspace(-1, 1, 41))
    light = Light(gradient=0.2, shape=shape, direction_deg=direction)
    field = light.strength(across, down)
    assert np.ptp(field) / field.mean() == pytest.approx(0.2, rel=0.02)
    assert field.mean() == pytest.approx(1.0, abs=0.005)


def test_photons_arrive_as_poisson_counts_do():
    electrons = 2000.0
    sensor = dataclasses.replace(PERFECT, electrons=electrons, read_noise=0.0)
    linear = MatrixCamera(rendering=Rendering(tone=Tone(kind="gamma", gamma=1.0)))
    optics = Optics(view=VIEW, sensor=sensor, form=FileForm(kind="png", bits=16), caption=False)
    pixels, corners = picture(
        Scene(target=TARGET, cards={"card": Card(lab=(60, 0, 0))}), Light(), linear, optics,
        np.random.default_rng(8),
    )  # fmt: skip
    seen = middle_of(pixels, TARGET.windows[1], corners, 0.8) / 65535
    count = len(seen)
    assert count > 20_000
    # Poisson: the variance of a count is its mean. Four standard errors of a sample variance.
    expected = seen.mean(axis=0) / electrons
    assert np.all(np.abs(seen.var(axis=0) / expected - 1) < 4 * np.sqrt(2 / count))


def test_flake_varies_as_stated_and_keeps_the_mean():
    rng = np.random.default_rng(1)

    def window(flake: float) -> np.ndarray:
        scene = Scene(target=TARGET, cards={"card": Card(lab=(60, 0, 0), flake=flake)})
        canvas = draw(scene, Light(), MatrixCamera(), 8.0, rng)
        rows, columns = canvas.spans(TARGET.windows[1], -1.0)
        return canvas.channels[1, rows.cells, columns.cells][: 8 * 30, : 8 * 30]

    plain, flaky = window(0.0), window(3.0)
    assert flaky.mean() == pytest.approx(plain.mean(), rel=0.01)
    squares = flaky.reshape(30, 8, 30, 8).mean(axis=(1, 3))
    lightness = 116 * np.cbrt(squares) - 16
    assert lightness.std() == pytest.approx(3.0, rel=0.15)


def test_glare_adds_light_and_shadow_takes_it():
    def window(**spoilt: object) -> np.ndarray:
        scene = Scene(target=TARGET, cards=CARDS, **spoilt)
        optics = Optics(view=VIEW, sensor=PERFECT)
        taken, corners = picture(scene, Light(), MatrixCamera(), optics, np.random.default_rng(0))
        return middle_of(taken, TARGET.windows[1], corners, 0.95)

    plain = window().mean()
    assert window(glare=(Glare(window="card"),)).max() > plain + 60
    dark = window(shadow=Shadow(through=(100.0, 46.0), depth=0.5, softness_mm=1.0))[:, 1]
    assert np.quantile(dark, 0.1) < 0.8 * np.quantile(dark, 0.9)


def test_local_tone_mapping_lifts_a_dark_card_and_keeps_its_hue():
    scene = Scene(
        target=TARGET, cards={"master": Card(lab=(12, 3, -6)), "card": Card(lab=(85, 0, 0))}
    )

    def windows(local: float) -> list[np.ndarray]:
        linear = Rendering(tone=Tone(kind="gamma", gamma=1.0), local=local)
        taken, corners = picture(
            scene, Light(), MatrixCamera(rendering=linear),
            Optics(view=VIEW, sensor=PERFECT, form=FileForm(kind="png", bits=16)),
            np.random.default_rng(0),
        )  # fmt: skip
        return [middle_of(taken, place, corners).mean(axis=0) for place in TARGET.windows]

    (dark, bright), (lifted, held) = windows(0.0), windows(0.2)
    assert lifted[1] / dark[1] > 1.1 * held[1] / bright[1]
    np.testing.assert_allclose(lifted / lifted[1], dark / dark[1], rtol=0.02)


def test_a_label_is_read_back():
    scene = Scene(target=TARGET, cards=CARDS, labels=(Label(window="card", text="KC-7H2M9"),))
    optics = Optics(view=dataclasses.replace(VIEW, width=1600, height=1120))
    taken = photograph(scene, Light(), MatrixCamera(), optics, np.random.default_rng(4))
    found = codes_in(upright(taken.content))
    sheet = corners_of(Place(name="", x_mm=0, y_mm=0, width_mm=150, height_mm=100))
    back = np.linalg.inv(homography(sheet, np.array(taken.corners)))
    at = through(back, found["KC-7H2M9"]).mean(axis=0)
    assert TARGET.labels[0].holds(*at)


def test_the_caption_stands_beside_the_sheet():
    scene = Scene(target=TARGET, cards=CARDS)
    said, corners = picture(scene, Light(), MatrixCamera(), Optics(view=VIEW),
                            np.random.default_rng(1))  # fmt: skip
    silent, _ = picture(scene, Light(), MatrixCamera(), Optics(view=VIEW, caption=False),
                        np.random.default_rng(1))  # fmt: skip
    rows, columns = np.nonzero((said != silent).any(axis=-1))
    assert len(rows) > 300
    sheet = corners_of(Place(name="", x_mm=0, y_mm=0, width_mm=150, height_mm=100))
    back = np.linalg.inv(homography(sheet, np.array(corners)))
    x, y = through(back, np.column_stack([columns, rows])).T
    assert not np.any((x > 0) & (x < 150) & (y > 0) & (y < 100))


def test_a_printers_error_is_as_large_as_stated_and_smooth():
    printed = printed_with_error(TARGET, np.random.default_rng(1), smooth=1.5, scatter=0.0)
    error = np.array([np.subtract(printed[p.name], p.lab) for p in TARGET.patches])
    np.testing.assert_allclose(np.sqrt((error**2).mean(axis=0)), 1.5, rtol=1e-6)
    # Neighbouring greys err alike.
    assert np.abs(np.diff(error[: len(GREYS)], axis=0)).max() < 2.0


def test_a_printer_without_error_prints_the_target():
    printed = printed_with_error(TARGET, np.random.default_rng(1), smooth=0.0, scatter=0.0)
    for patch in TARGET.patches:
        assert printed[patch.name] == pytest.approx(patch.lab)


def test_a_printers_limits_lift_black_and_fade_strong_colours():
    printed = printed_with_error(
        TARGET, np.random.default_rng(1), smooth=0.0, scatter=0.0,
        black=15.0, faded=0.1, paper=(94.0, 0.0, -2.0),
    )  # fmt: skip
    assert 15 < printed["grey 10"][0] < 17
    assert printed["grey 92"][2] == pytest.approx(-2 * 0.92, abs=0.2)
    for patch in TARGET.patches:
        if np.hypot(*patch.lab[1:]) > 40:
            assert np.hypot(*printed[patch.name][1:]) < 0.97 * np.hypot(*patch.lab[1:])


def test_a_measured_target_states_the_print_to_its_uncertainty():
    printed = printed_with_error(TARGET, np.random.default_rng(1), smooth=2.0)
    measured = as_measured(TARGET, printed, np.random.default_rng(2), uncertainty=0.2)
    assert Target.from_json(measured.as_json()) == measured
    assert measured.values == "measured"
    off = np.array([np.subtract(patch.lab, printed[patch.name]) for patch in measured.patches])
    # 42 values of a standard deviation of 0.2; four standard errors.
    assert off.std() == pytest.approx(0.2, rel=4 / np.sqrt(2 * off.size))


def test_a_picture_of_the_sheet_brings_its_codes():
    dots = 14  # twelve to a module
    page = Image.new("L", (150 * dots, 100 * dots), 255)
    for marker in TARGET.markers:
        code = segno.make(marker.text, error="m", micro=False, boost_error=False)
        modules = np.array([list(row) for row in code.matrix], np.uint8)
        square = Image.fromarray(255 * (1 - modules)).resize(
            (18 * dots,) * 2, Image.Resampling.NEAREST
        )
        page.paste(square, (int(marker.x_mm * dots), int(marker.y_mm * dots)))
    drawn, printed = (
        picture(
            Scene(target=TARGET, cards=CARDS, picture=sheet), Light(), MatrixCamera(),
            Optics(view=VIEW, sensor=PERFECT), np.random.default_rng(0),
        )[0].astype(float)
        for sheet in (None, SheetPicture(pixels=np.asarray(page), dots_per_mm=dots))
    )  # fmt: skip
    found = codes_in(Image.fromarray(printed.astype(np.uint8)))
    assert set(found) == {marker.text for marker in TARGET.markers}
    # Drawn from their texts and printed from the picture, the codes lie in the same place.
    for marker in TARGET.markers:
        (left, top), (right, bottom) = (
            found[marker.text].min(axis=0),
            found[marker.text].max(axis=0),
        )
        both = (image[top:bottom, left:right, 1].ravel() for image in (drawn, printed))
        assert np.corrcoef(*both)[0, 1] > 0.97


@pytest.mark.parametrize("family", ["matrix", "spectral"])
def test_careful_photographs_show_every_code(family):
    for seed in range(4):
        rng = np.random.default_rng(seed)
        taken = plausible(rng, TARGET, frame=(1600, 1200), camera=family).take(rng)
        assert {marker.text for marker in TARGET.markers} <= set(codes_in(upright(taken.content)))
        assert set(taken.truth) == {"master", "card"}


@pytest.mark.parametrize("kind", SPOILINGS)
def test_a_spoiled_photograph_shows_its_fault(kind):
    rng = np.random.default_rng(11)
    good, bad = (
        take(np.random.default_rng(11), TARGET, *named, frame=(800, 600)).take(rng)
        for take, named in ((plausible, ()), (spoiled, (kind,)))
    )
    before, after = (np.asarray(upright(taken.content), float) for taken in (good, bad))
    change = np.abs(after - before)
    if kind == "overexposed":
        assert (after > 253).mean() > (before > 253).mean() + 0.2
    elif kind == "underexposed":
        assert after.mean() < 0.4 * before.mean()
    elif kind == "blurred":
        # Edges, well above the noise; motion blurs those across it only.
        edges = [
            [np.quantile(np.abs(np.diff(image, axis=axis)), 0.99) for image in (after, before)]
            for axis in (0, 1)
        ]
        assert min(blurred / sharp for blurred, sharp in edges) < 0.6
    elif kind == "no_target":
        assert codes_in(upright(bad.content)) == {}
        assert bad.truth == {}
    else:
        # Only part of the frame changes, and there by much more than the noise.
        assert np.quantile(change, 0.995) > 25


@pytest.mark.parametrize(
    ("make", "message"),
    [
        (lambda: Scene(target=TARGET, cards={"roof": Card(lab=(1, 2, 3))}), "window is named 'ro"),
        (lambda: Scene(target=TARGET, patches={"grey": None}), "patch is named 'grey'"),
        (lambda: spectrum_of("candle"), "light 'candle' is unknown"),
        (lambda: spoiled(np.random.default_rng(1), TARGET, "lost"), "kind 'lost' is unknown"),
        (lambda: FileForm(kind="jpeg", bits=16), "JPEG holds 8 bits"),
        (
            lambda: reflectances_of([Surface((95.0, 90.0, 90.0))], D50),
            "is no colour of a surface",
        ),
    ],
)
def test_what_cannot_be_photographed_is_named(make, message):
    with pytest.raises(ValueError, match=message):
        make()
