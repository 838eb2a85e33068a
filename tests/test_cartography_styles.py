"""Colours hold the limits of contrast and stay apart, in colour and in grey."""

from io import BytesIO
from itertools import combinations, pairwise

import numpy as np
import pytest
import shapely
from matplotlib.colors import to_rgb
from matplotlib.image import imread
from numpy.typing import NDArray

from sitekit import words
from sitekit.cartography import styles
from sitekit.cartography.drawing import (
    draw_class,
    make_figure,
    make_sheet,
    write_figure,
)

#: Contrast for text, and for symbols and large text.
# Source: W3C, Web Content Accessibility Guidelines 2.1, criteria 1.4.3 and 1.4.11.
TEXT, SYMBOL = 4.5, 3.0

#: Full colour blindness, applied to linear light.
# Source: Machado, Oliveira and Fernandes 2009, IEEE TVCG 15(6), severity 1.0;
# matrices from memory.
BLINDNESS = {
    "red": [
        [0.152286, 1.052583, -0.204868],
        [0.114503, 0.786281, 0.099216],
        [-0.003882, -0.048116, 1.051998],
    ],
    "green": [
        [0.367322, 0.860646, -0.227968],
        [0.280085, 0.672501, 0.047413],
        [-0.011820, 0.042940, 0.968881],
    ],
    "blue": [
        [1.255528, -0.076749, -0.178779],
        [-0.078411, 0.930809, 0.147602],
        [0.004733, 0.691367, 0.303900],
    ],
}


def linear(colour: str) -> NDArray[np.float64]:
    # Source: IEC 61966-2-1 (sRGB).
    encoded = np.array(to_rgb(colour))
    return np.where(
        encoded <= 0.04045, encoded / 12.92, ((encoded + 0.055) / 1.055) ** 2.4
    )


def luminance(light: NDArray[np.float64]) -> float:
    return float(light @ [0.2126, 0.7152, 0.0722])


def contrast(one: str, other: str) -> float:
    # Source: W3C, WCAG 2.1, definition of contrast ratio.
    dark, pale = sorted((luminance(linear(one)), luminance(linear(other))))
    return (pale + 0.05) / (dark + 0.05)


def lab(light: NDArray[np.float64]) -> NDArray[np.float64]:
    # Source: CIE 15, L*a*b* of 1976, white D65.
    matrix = [
        [0.4124564, 0.3575761, 0.1804375],
        [0.2126729, 0.7151522, 0.0721750],
        [0.0193339, 0.1191920, 0.9503041],
    ]
    share = np.array(matrix) @ np.clip(light, 0, 1) / [0.95047, 1.0, 1.08883]
    f = np.where(share > (6 / 29) ** 3, np.cbrt(share), share * 841 / 108 + 4 / 29)
    return np.array([116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])])


def difference(one: str, other: str, sight: NDArray[np.float64] | None = None) -> float:
    # Source: CIE 1976 colour difference.
    turn = np.eye(3) if sight is None else sight
    return float(np.linalg.norm(lab(turn @ linear(one)) - lab(turn @ linear(other))))


def test_the_yardsticks_give_their_published_values() -> None:
    # Source: WCAG 2.1: black on white is 21 to 1. Lindbloom, sRGB red in L*a*b* (D65):
    # 53.24, 80.09, 67.20.
    assert contrast("#000000", "#FFFFFF") == pytest.approx(21.0)
    assert lab(linear("#FF0000")) == pytest.approx([53.24, 80.09, 67.20], abs=0.05)


@pytest.mark.parametrize(
    ("ink", "paper"),
    [
        (styles.INK, styles.PAPER),
        (styles.INK, styles.RELIEF_PAPER),
        (styles.SECOND_INK, styles.PAPER),
        (styles.STAMP_TEXT, styles.PAPER),
        (styles.NO_DIG, styles.PAPER),
        (styles.COLD_AIR, styles.PAPER),
        (styles.CONTOUR_FIGURE, styles.RELIEF_PAPER),
        (styles.WATER_EDGE, styles.WATER),
        (styles.PAPER, styles.INK),
    ],
)
def test_text_can_be_read_on_its_paper(ink: str, paper: str) -> None:
    assert contrast(ink, paper) >= TEXT


@pytest.mark.parametrize(
    ("ink", "ground"),
    [
        (styles.CONTOUR, styles.RELIEF_PAPER),
        (styles.HEDGE, styles.RELIEF_PAPER),
        (styles.COLD_AIR, styles.RELIEF_PAPER),
        (styles.STAMP, styles.PAPER),
        # The path on the darkest blue is told by its pale casing.
        (styles.PAPER, styles.FAMILIES["difference"][0]),
    ],
)
def test_lines_can_be_told_from_the_ground(ink: str, ground: str) -> None:
    assert contrast(ink, ground) >= SYMBOL


@pytest.mark.parametrize("family", styles.FAMILIES)
def test_neighbours_of_a_family_differ(family: str) -> None:
    apart = [difference(a, b) for a, b in pairwise(styles.FAMILIES[family])]
    assert min(apart) >= 9


@pytest.mark.parametrize("sight", BLINDNESS)
@pytest.mark.parametrize("family", styles.FAMILIES)
def test_neighbours_differ_to_the_colour_blind(family: str, sight: str) -> None:
    turn = np.array(BLINDNESS[sight])
    apart = [difference(a, b, turn) for a, b in pairwise(styles.FAMILIES[family])]
    assert min(apart) >= 7.5


@pytest.mark.parametrize("family", [f for f in styles.FAMILIES if f != "difference"])
def test_a_family_of_one_meaning_grows_darker_throughout(family: str) -> None:
    tones = [lab(linear(colour))[0] for colour in styles.FAMILIES[family]]
    assert tones == sorted(tones, reverse=True)


def test_cold_and_warm_ends_of_the_difference_are_blue_and_ochre() -> None:
    cold, warm = (lab(linear(styles.FAMILIES["difference"][i])) for i in (0, -1))
    assert cold[2] < -20
    assert warm[2] > 20


@pytest.mark.parametrize("style", styles.LAYER_STYLES, ids=lambda s: s.pattern)
def test_a_layer_has_one_colour_more_than_breaks(style: styles.LayerStyle) -> None:
    assert len(style.colours) == len(style.breaks) + 1
    assert list(style.breaks) == sorted(set(style.breaks))
    assert len(style.colours) <= 7
    assert style.family in styles.RELIEF_OPACITY
    if style.words:
        assert len(style.words) == len(style.colours)


def test_one_degree_has_one_colour_on_every_layer() -> None:
    night = styles.find_style("frost_night_offset")
    lake = styles.find_style("lake_effect_bloom")
    assert night is not None
    assert lake is not None
    # Between +0.5 and +1, and above +1.
    assert night.colours[-2:] == lake.colours[-2:]
    assert night.colours[-3] == lake.colours[-3], "around zero"


def test_slope_is_shown_in_per_cent_and_limited_in_degrees() -> None:
    slope = styles.find_style("slope")
    assert slope is not None
    # A slope of 10 % is 5.71 degrees: arctan of 0.1.
    assert slope.limits[2] == pytest.approx(5.7106, abs=1e-4)


def test_a_layer_that_is_only_in_the_files_has_no_style() -> None:
    assert styles.find_style("sky_view_factor") is None
    assert styles.find_style("score_plum") is styles.find_style("score_apple")


def test_each_site_class_has_its_own_pattern_and_the_name_of_its_code() -> None:
    assert tuple(s.name for s in styles.CLASS_STYLES) == words.SITE_CLASSES
    assert len({s.pattern for s in styles.CLASS_STYLES}) == len(styles.CLASS_STYLES)
    assert [s.name for s in styles.CLASS_STYLES if s.dashed] == ["test first"]


def tone_of(style: styles.ClassStyle) -> tuple[float, float]:
    """Mean and spread of lightness of ground drawn in a class."""
    figure = make_figure(42, 42)
    sheet = make_sheet(figure, (0, 0, 400, 400), (1, 1, 40))
    draw_class(sheet, shapely.box(0, 0, 400, 400), style, order=5)
    path = write_figure(figure, "png")
    picture = imread(BytesIO(path), format="png")[40:-40, 40:-40, :3]
    light = np.where(
        picture <= 0.04045, picture / 12.92, ((picture + 0.055) / 1.055) ** 2.4
    )
    y = light @ [0.2126, 0.7152, 0.0722]
    tones = np.where(y > 0.008856, 116 * np.cbrt(y) - 16, 903.3 * y)
    return float(tones.mean()), float(tones.std())


def test_in_a_grey_print_classes_differ_by_tone_or_by_pattern() -> None:
    drawn = {s.name: tone_of(s) for s in styles.CLASS_STYLES}
    tones = {name: tone for name, (tone, _) in drawn.items()}
    assert min(tones, key=tones.__getitem__) == "good", "ink is where trees will stand"
    assert max(tones, key=tones.__getitem__) == "test first", "not known stays white"
    for one, other in combinations(tones, 2):
        if {one, other} != {"hardy kinds only", "with conditions"}:
            assert abs(tones[one] - tones[other]) >= 2, (one, other)
    # These two are of one tone: lines and dots tell them apart.
    assert drawn["with conditions"][1] > 5
    assert drawn["hardy kinds only"][1] > 5
    assert drawn["good"][1] < 1, "solid"
