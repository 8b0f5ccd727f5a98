"""The colour map: its colour space, evenness, and colours apart under colour-vision deficiency."""

from __future__ import annotations

import numpy as np
import pytest
from cuspwise.standalone_core.errors import SettingError
from cuspwise.standalone_core.report.drawing import deviation_colours
from cuspwise.standalone_core.report.drawing.legend import (
    colour_limit_um,
    legend_ticks,
    make_legend,
)
from made.colour_spaces import linear_to_oklab, srgb_to_linear

# Machado, Oliveira & Fernandes 2009, "A physiologically-based model for simulation of color
# vision deficiency", the authors' supplementary matrices for severity 1.0, for linear RGB. Typed
# from public copies and confirmed below against the independent library colorspacious where it
# is installed.
MACHADO = {
    "protanomaly": [
        [0.152286, 1.052583, -0.204868],
        [0.114503, 0.786281, 0.099216],
        [-0.003882, -0.048116, 1.051998],
    ],
    "deuteranomaly": [
        [0.367322, 0.860646, -0.227968],
        [0.280085, 0.672501, 0.047413],
        [-0.011820, 0.042940, 0.968881],
    ],
    "tritanomaly": [
        [1.255528, -0.076749, -0.178779],
        [-0.078411, 0.930809, 0.147602],
        [0.004733, 0.691367, 0.303900],
    ],
}
VISION = {"full": np.eye(3), **{name: np.array(matrix) for name, matrix in MACHADO.items()}}

# One just noticeable difference in OKLab is about 0.02: CSS Color Module Level 4, section
# "CSS Gamut Mapping" ("the JND is an OKLCh ΔE of 0.02").
JUST_NOTICEABLE = 0.02

DIVERGING = [deviation_colours.STANDARD, deviation_colours.STRONG]
POSITIONS = np.linspace(-1.0, 1.0, 2 * 64 + 1)


def seen(
    position: np.ndarray, vision: str, palette: str = deviation_colours.STANDARD
) -> np.ndarray:
    """OKLab of the map's 8-bit colours as seen by one kind of vision."""
    srgb = np.rint(255.0 * deviation_colours.map_srgb(position, palette)) / 255.0
    return seen_srgb(srgb, vision)


def seen_srgb(srgb: np.ndarray, vision: str) -> np.ndarray:
    linear = np.clip(srgb_to_linear(srgb) @ VISION[vision].T, 0.0, 1.0)
    return linear_to_oklab(linear)


@pytest.mark.parametrize(
    ("srgb", "oklab"),
    [
        # The sRGB primaries and white in OKLab as CSS Color Module Level 4 and public
        # implementations give them (oklch(0.62796 0.25768 29.234) is red).
        ([1.0, 0.0, 0.0], [0.62795536, 0.22486306, 0.12584630]),
        ([0.0, 1.0, 0.0], [0.86643961, -0.23388757, 0.17949848]),
        ([0.0, 0.0, 1.0], [0.45201372, -0.03245698, -0.31152815]),
        ([1.0, 1.0, 1.0], [1.0, 0.0, 0.0]),
        ([0.0, 0.0, 0.0], [0.0, 0.0, 0.0]),
    ],
)
def test_oklab_matches_published_primaries(srgb: list[float], oklab: list[float]) -> None:
    lab = linear_to_oklab(srgb_to_linear(np.array(srgb)))
    np.testing.assert_allclose(lab, oklab, atol=2e-6)
    np.testing.assert_allclose(
        deviation_colours.oklab_to_linear(lab), srgb_to_linear(np.array(srgb)), atol=1e-9
    )


def test_transfer_function_is_that_of_srgb() -> None:
    # IEC 61966-2-1: the linear piece ends at 0.04045; 8-bit 188 is half the light to 0.3 %.
    assert srgb_to_linear(0.04045) == pytest.approx(0.04045 / 12.92, rel=1e-12)
    assert srgb_to_linear(188 / 255) == pytest.approx(0.5, abs=0.003)
    values = np.linspace(0.0, 1.0, 256)
    np.testing.assert_allclose(
        deviation_colours.linear_to_srgb(srgb_to_linear(values)), values, atol=1e-7
    )


@pytest.mark.parametrize("palette", list(deviation_colours.PALETTES))
def test_every_colour_can_be_shown_uncut(palette: str) -> None:
    linear = deviation_colours.oklab_to_linear(
        deviation_colours.map_oklab(np.linspace(-1.0, 1.0, 2001), palette)
    )
    assert linear.min() >= 0.0
    assert linear.max() <= 1.0


@pytest.mark.parametrize("palette", DIVERGING)
def test_steps_are_even_and_mirror_each_other(palette: str) -> None:
    lab = deviation_colours.map_oklab(POSITIONS, palette)
    steps = np.linalg.norm(np.diff(lab, axis=0), axis=1)
    assert steps.max() / steps.min() - 1.0 < 1e-3
    lightness = lab[:, 0]
    np.testing.assert_allclose(lightness, lightness[::-1], atol=1e-12)
    falls = np.diff(lightness[len(POSITIONS) // 2 :])
    np.testing.assert_allclose(falls, falls.mean(), atol=1e-12)
    assert falls.mean() < 0.0
    assert lightness.argmax() == len(POSITIONS) // 2


@pytest.mark.parametrize("palette", DIVERGING)
def test_steps_of_the_eight_bit_colours_stay_even(palette: str) -> None:
    # 16 steps of about 0.07; rounding to 8 bits moves either end of a step by at most 0.0015
    # (half a level of 1/255 in three channels, seen in OKLab).
    position = np.linspace(-1.0, 1.0, 17)
    steps = np.linalg.norm(np.diff(seen(position, "full", palette), axis=0), axis=1)
    exact = np.linalg.norm(np.diff(deviation_colours.map_oklab(position, palette), axis=0), axis=1)
    assert np.abs(steps - exact).max() < 0.003
    assert steps.max() / steps.min() < 1.06


def test_steps_are_even_in_another_colour_space() -> None:
    # CAM02-UCS (Luo, Cui & Li 2006) through the independent library colorspacious.
    colorspacious = pytest.importorskip("colorspacious", reason="colorspacious is not installed")
    srgb = deviation_colours.map_srgb(np.linspace(-1.0, 1.0, 33))
    steps = colorspacious.deltaE(srgb[:-1], srgb[1:], input_space="sRGB1")
    assert steps.std() / steps.mean() < 0.08
    assert steps.max() / steps.min() < 1.30


@pytest.mark.parametrize("kind", list(MACHADO))
def test_simulation_matrices_match_an_independent_library(kind: str) -> None:
    colorspacious = pytest.importorskip("colorspacious", reason="colorspacious is not installed")
    from_library = colorspacious.cvd.machado_et_al_2009_matrix(kind, 100)
    np.testing.assert_allclose(MACHADO[kind], from_library, atol=1e-6)


@pytest.mark.parametrize("vision", list(VISION))
def test_simulation_keeps_white(vision: str) -> None:
    # Each row of a Machado matrix sums to 1: greys look the same to everyone.
    np.testing.assert_allclose(VISION[vision].sum(axis=1), 1.0, atol=2e-6)


@pytest.mark.parametrize("palette", list(deviation_colours.PALETTES))
@pytest.mark.parametrize("vision", list(VISION))
def test_excess_and_missing_material_are_told_apart(vision: str, palette: str) -> None:
    # Every excess against all missing material beyond a quarter of the limit: at least three just
    # noticeable differences apart; the two ends at least ten.
    missing = seen(np.linspace(-1.0, -0.25, 97), vision, palette)
    excess = seen(np.linspace(0.25, 1.0, 97), vision, palette)
    gaps = np.linalg.norm(missing[:, None] - excess[None], axis=2)
    assert gaps.min() > 3.0 * JUST_NOTICEABLE
    assert np.linalg.norm(missing[0] - excess[-1]) > 10.0 * JUST_NOTICEABLE


@pytest.mark.parametrize("palette", DIVERGING)
@pytest.mark.parametrize("vision", list(VISION))
def test_lightness_falls_along_both_arms_for_everyone(vision: str, palette: str) -> None:
    lightness = seen(np.linspace(-1.0, 1.0, 33), vision, palette)[:, 0]
    assert (np.diff(lightness[:17]) > 0.0).all()
    assert (np.diff(lightness[16:]) < 0.0).all()


@pytest.mark.parametrize("palette", list(deviation_colours.PALETTES))
@pytest.mark.parametrize("vision", list(VISION))
def test_unmeasured_grey_is_no_colour_of_the_map(vision: str, palette: str) -> None:
    grey = seen_srgb(np.array(deviation_colours.unmeasured_colour(palette)) / 255.0, vision)
    gaps = np.linalg.norm(seen(POSITIONS, vision, palette) - grey, axis=1)
    assert gaps.min() > 3.0 * JUST_NOTICEABLE
    centre = gaps[len(POSITIONS) // 2]
    assert centre > 15.0 * JUST_NOTICEABLE


@pytest.mark.parametrize("palette", [deviation_colours.STANDARD, deviation_colours.STRONG])
@pytest.mark.parametrize("vision", list(VISION))
def test_refused_points_have_a_colour_of_their_own(vision: str, palette: str) -> None:
    refused = seen_srgb(np.array(deviation_colours.refused_colour(palette)) / 255.0, vision)
    gaps = np.linalg.norm(seen(POSITIONS, vision, palette) - refused, axis=1)
    assert gaps.min() > 3.0 * JUST_NOTICEABLE
    unmeasured = seen_srgb(np.array(deviation_colours.unmeasured_colour(palette)) / 255.0, vision)
    assert np.linalg.norm(refused - unmeasured) > 5.0 * JUST_NOTICEABLE
    rgb = deviation_colours.deviation_colours(
        [np.nan, np.nan, 0.0], 0.05, palette, [True, False, False]
    )
    assert tuple(rgb[0]) == deviation_colours.refused_colour(palette)
    assert tuple(rgb[1]) == deviation_colours.unmeasured_colour(palette)
    np.testing.assert_array_equal(
        rgb[2], deviation_colours.deviation_colours([0.0], 0.05, palette)[0]
    )


@pytest.mark.parametrize("palette", list(deviation_colours.PALETTES))
def test_deviation_colours_are_centred_cut_and_grey(palette: str) -> None:
    values = np.array([0.0, 0.05, -0.05, 0.7, -np.inf, np.nan, 1e-9, 0.025])
    rgb = deviation_colours.deviation_colours(values, 0.05, palette)
    assert rgb.shape == (8, 3)
    assert rgb.dtype == np.uint8
    expected = np.rint(
        255.0 * deviation_colours.map_srgb(np.array([0.0, 1.0, -1.0, 1.0, -1.0]), palette)
    )
    np.testing.assert_array_equal(rgb[:5], expected)
    assert tuple(rgb[5]) == deviation_colours.unmeasured_colour(palette)
    assert len(set(deviation_colours.unmeasured_colour(palette))) == 1
    np.testing.assert_array_equal(rgb[6], rgb[0])
    np.testing.assert_array_equal(
        rgb[7], np.rint(255.0 * deviation_colours.map_srgb(np.array([0.5]), palette))[0]
    )
    assert deviation_colours.hex_colour(2.0, palette) == "#{:02x}{:02x}{:02x}".format(*rgb[1])


def test_warm_is_excess_and_blue_is_missing_material() -> None:
    excess, missing = deviation_colours.deviation_colours([0.1, -0.1], 0.1).astype(int)
    assert excess[0] > 2 * excess[2]
    assert missing[2] > 2 * missing[0]


def test_a_print_without_colour_tells_excess_from_missing_material() -> None:
    """The grey map has no hue; its lightness rises evenly from missing material to excess."""
    lab = deviation_colours.map_oklab(POSITIONS, deviation_colours.GREY)
    assert np.abs(lab[:, 1:]).max() < 1e-12
    steps = np.diff(lab[:, 0])
    np.testing.assert_allclose(steps, steps.mean(), atol=1e-12)
    assert steps.mean() > 0.0
    rgb = deviation_colours.deviation_colours(
        np.linspace(-1.0, 1.0, 33), 1.0, deviation_colours.GREY
    )
    assert (np.ptp(rgb.astype(int), axis=1) == 0).all()


def test_strong_contrast_is_stronger() -> None:
    ends = np.array([-1.0, 1.0])
    standard, strong = (deviation_colours.map_oklab(ends, name)[:, 0] for name in DIVERGING)
    assert (strong < standard - 0.05).all()


def test_an_unknown_palette_is_refused() -> None:
    with pytest.raises(SettingError, match="Choose from standard, strong, grey"):
        deviation_colours.deviation_colours([0.0], 1.0, "rainbow")


@pytest.mark.parametrize("limit", [0.0, -1.0, np.nan, np.inf])
def test_an_unusable_limit_is_refused(limit: float) -> None:
    with pytest.raises(SettingError, match="positive number"):
        deviation_colours.deviation_colours([0.0], limit)


@pytest.mark.parametrize("limit", [1.0, 1.5, 2.0, 2.5, 3.0, 4.0, 5.0, 6.0, 8.0, 10.0])
@pytest.mark.parametrize("decade", [1.0, 10.0, 100.0])
def test_ticks_are_round_symmetric_and_never_crowded(limit: float, decade: float) -> None:
    ticks = legend_ticks(limit * decade)
    places = np.array([tick.position for tick in ticks])
    np.testing.assert_allclose(places + places[::-1], 1.0, atol=1e-12)
    assert places[0] == 0.0
    assert places[-1] == 1.0
    assert 5 <= len(ticks) <= 9
    assert np.diff(places).min() > 0.05
    assert ticks[len(ticks) // 2].text == "0"
    assert ticks[-1].text == f"+{limit * decade:g}"
    assert ticks[0].text == f"−{limit * decade:g}"


def test_legend_tells_what_is_cut_and_what_is_missing() -> None:
    values = np.array([0.01, -0.01, 0.2, np.nan])
    weights = np.array([4.0, 2.0, 2.0, 2.0])
    legend = make_legend(values, weights, limit_um=100.0, tolerance_um=25.0)
    assert legend.share_clipped == pytest.approx(0.25)  # 2 of 8 mm² measured
    assert legend.share_unmeasured == pytest.approx(0.2)  # 2 of 10 mm²
    assert legend.band == pytest.approx((0.375, 0.625))
    assert legend.clipped_text == "25.0 % beyond ±100 µm"
    assert legend.unmeasured_text == "20.0 % not measured"
    assert legend.stops[0].colour == deviation_colours.hex_colour(-1.0)
    assert legend.stops[-1].colour == deviation_colours.hex_colour(1.0)
    nothing = make_legend(np.full(2, np.nan), np.ones(2), limit_um=50.0)
    assert nothing.share_unmeasured == 1.0
    assert nothing.share_clipped == 0.0
    assert nothing.band is None
    assert nothing.tolerance_text == ""


def test_limit_holds_most_of_the_surface_in_a_round_number() -> None:
    rng = np.random.default_rng(4)
    values = rng.normal(0.0, 0.020, 200_000)
    weights = np.ones_like(values)
    # 98 % of |d| of a normal distribution lie below 2.326 σ = 46.5 µm.
    assert colour_limit_um(values, weights, tolerance_um=20.0) == 50.0
    assert colour_limit_um(values, weights, tolerance_um=None) == 50.0
    assert colour_limit_um(values * 0.01, weights, tolerance_um=25.0) == 50.0
    assert colour_limit_um(values * 100.0, weights, tolerance_um=25.0) == 200.0
    assert colour_limit_um(np.full(3, np.nan), np.ones(3), tolerance_um=None) == 1.0
