"""Pictures for the web map lie where the ground lies, and say what is not known."""

from io import BytesIO

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray
from PIL import Image
from pyproj import CRS, Transformer

from sitekit.cartography import images
from sitekit.cartography.styles import LAYER_STYLES, LayerStyle, find_style
from sitekit.grid import Grid

# Far from its central meridian (9 degrees east): there the grid is turned by about
# three degrees against the web map, and a picture laid unwarped into a box of
# degrees would be wrong by tens of metres.
FAR = CRS.from_epsg(25832)


def far_grid(rows: int = 200, columns: int = 200, cell_size: float = 10.0) -> Grid:
    east, north = Transformer.from_crs(4326, FAR, always_xy=True).transform(11.9, 60.0)
    return Grid(
        FAR, float(round(east)), float(round(north)), cell_size, (rows, columns)
    )


def make_grid(rows: int = 60, columns: int = 80, cell_size: float = 5.0) -> Grid:
    utm = CRS.from_epsg(32633)
    return Grid(utm, 500_000.0, 5_130_000.0, cell_size, (rows, columns))


def plane(grid: Grid, east: float, north: float) -> NDArray[np.float32]:
    x = (grid.eastings - grid.west)[None, :]
    y = (grid.northings - grid.bounds[1])[:, None]
    return (100 + east * x + north * y).astype(np.float32)


def style_of(layer: str) -> LayerStyle:
    style = find_style(layer)
    assert style is not None
    return style


def opened(png: bytes) -> Image.Image:
    return Image.open(BytesIO(png))


def colours(png: bytes) -> NDArray[np.uint8]:
    return np.asarray(opened(png).convert("RGBA"))


def centres(frame: images.WebFrame) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    rows, columns = frame.shape
    x = frame.west + (np.arange(columns) + 0.5) * (frame.east - frame.west) / columns
    y = frame.north - (np.arange(rows) + 0.5) * (frame.north - frame.south) / rows
    return tuple(np.meshgrid(x, y))


@pytest.mark.parametrize("axis", ["east", "north"])
def test_every_cell_of_a_warped_picture_lies_within_a_metre_of_its_place(axis):
    # Reference: PROJ itself, cell by cell, against GDAL's warp.
    grid = far_grid()
    assert abs(grid.convergence) > 2.0
    east = np.broadcast_to(grid.eastings - grid.west, grid.shape)
    north = np.broadcast_to((grid.northings - grid.bounds[1])[:, None], grid.shape)
    frame = images.find_frame(grid)
    warped = images.warp(np.array(east if axis == "east" else north), grid, frame)
    to_grid = Transformer.from_crs(images.WEB, FAR, always_xy=True)
    at_east, at_north = to_grid.transform(*centres(frame))
    wanted = at_east - grid.west if axis == "east" else at_north - grid.bounds[1]
    inner = (
        (at_east > grid.west + 20)
        & (at_east < grid.bounds[2] - 20)
        & (at_north > grid.bounds[1] + 20)
        & (at_north < grid.north - 20)
    )
    assert inner.sum() > 30_000
    assert np.abs(warped - wanted)[inner].max() < 1.0


def test_the_corners_of_a_frame_are_degrees_of_its_mercator_edges():
    frame = images.find_frame(far_grid())
    (south, west), (north, east) = frame.corners
    # Spherical Mercator: EPSG Guidance Note 7-2, method 1024.
    radius = 6_378_137.0
    assert np.radians(west) * radius == pytest.approx(frame.west, abs=1e-3)
    assert np.radians(east) * radius == pytest.approx(frame.east, abs=1e-3)
    for latitude, y in ((south, frame.south), (north, frame.north)):
        mercator = radius * np.log(np.tan(np.pi / 4 + np.radians(latitude) / 2))
        assert mercator == pytest.approx(y, abs=1e-3)


def test_a_frame_holds_the_whole_grid():
    grid = far_grid()
    frame = images.find_frame(grid)
    west, south, east, north = grid.bounds
    to_web = Transformer.from_crs(FAR, images.WEB, always_xy=True)
    x, y = to_web.transform([west, east, east, west], [south, south, north, north])
    cell = (frame.east - frame.west) / frame.shape[1]
    assert frame.west <= min(x) + cell
    assert frame.east >= max(x) - cell
    assert frame.south <= min(y) + cell
    assert frame.north >= max(y) - cell


@given(st.integers(10, 4000), st.integers(10, 4000), st.integers(1, 3))
def test_no_picture_is_larger_than_its_caps(rows, columns, finer):
    grid = far_grid(rows, columns)
    assert max(images.find_frame(grid, finer).shape) <= images.LONGEST_SIDE
    assert np.prod(images.find_frame(grid, most=40_000).shape) <= 40_000


def test_ground_that_is_not_known_is_white_and_other_ground_has_its_colour():
    grid = make_grid()
    style = style_of("wetness_index")
    values = np.full(grid.shape, 8.0, np.float32)
    values[20:40, 30:50] = np.nan
    picture = images.draw_classes(values, np.ones(grid.shape, bool), grid, style)
    seen = colours(picture.png)
    rows, columns = picture.frame.shape
    assert tuple(seen[rows // 2, columns // 2]) == (255, 255, 255, 255)
    third = tuple(int(style.colours[2][i : i + 2], 16) for i in (1, 3, 5))
    assert tuple(seen[rows // 4, columns // 4]) == (*third, 255)


def test_ground_that_was_not_asked_about_has_no_colour():
    grid = make_grid()
    asked = np.zeros(grid.shape, bool)
    asked[:, :40] = True
    values = np.where(asked, 50.0, np.nan).astype(np.float32)
    picture = images.draw_classes(values, asked, grid, style_of("score_pear"))
    clear = colours(picture.png)[..., 3]
    columns = picture.frame.shape[1]
    assert (clear[:, columns // 2 + 3 :] == 0).all()
    assert (clear[5:-5, 5 : columns // 2 - 3] == 255).all()


def test_cold_air_too_shallow_to_tell_has_no_colour():
    codes = images.classify(np.array([[0.0, 0.29, 0.3, 0.6, 7.0]]), (0.5, 1, 2, 4), 0.3)
    assert codes.tolist() == [[0, 0, 1, 2, 5]]


@pytest.mark.parametrize("style", LAYER_STYLES, ids=lambda s: s.pattern)
def test_the_palette_of_a_layer_holds_exactly_its_colours(style):
    breaks = style.limits or (1.0, 2.0, 3.0)
    style = style if style.breaks else LayerStyle(**{**vars(style), "breaks": breaks})
    limits = np.array(style.limits)
    low = limits[0] if style.blank_below is None else style.blank_below + 0.01
    values = np.concatenate([[low - 1 if style.blank_below is None else low], limits])
    grid = make_grid(30, 30 * len(values))
    spread = np.repeat(values, 30)[None, :].repeat(30, axis=0).astype(np.float32)
    spread += 1e-4
    png = images.draw_classes(spread, np.ones(grid.shape, bool), grid, style).png
    assert opened(png).mode == "P"
    found = {tuple(c[:3]) for row in colours(png) for c in row if c[3] == 255}
    wanted = {tuple(int(c[i : i + 2], 16) for i in (1, 3, 5)) for c in style.colours}
    assert wanted <= found
    assert found <= wanted | {(255, 255, 255)}


def test_a_class_picture_takes_four_bits_a_cell():
    grid = make_grid()
    values = plane(grid, 0.1, 0.1)
    picture = images.draw_classes(
        values, np.ones(grid.shape, bool), grid, style_of("relative_height")
    )
    # Byte 24 of a PNG is its bit depth. Source: PNG specification, section 11.2.2.
    assert picture.png[24] == 4


def test_more_colours_than_four_bits_hold_are_not_wrapped():
    codes = np.arange(20, dtype=np.uint8)[None, :]
    palette = [f"#{i:02x}{i:02x}{i:02x}" for i in range(20)]
    seen = colours(images.write_palette(codes, palette, clear=0))
    assert seen[0, :, 0].tolist() == list(range(20))


def test_slopes_towards_the_light_are_lighter_than_slopes_away_from_it():
    grid = make_grid(60, 60)
    away = np.hypot(*np.meshgrid(np.arange(60) - 30, np.arange(60) - 30))
    hill = (100 - away).astype(np.float32)
    tone = images.shade(hill, grid.cell_size)
    # Map-maker's habit: light from the north-west (common practice, no source).
    assert tone[20, 20] > tone[20, 40] >= tone[40, 40]
    assert tone[20, 20] > tone[40, 20]


def test_the_relief_has_few_greys_and_is_clear_where_no_height_is_known():
    grid = make_grid(100, 100)
    ground = plane(grid, 0.05, 0.02)
    ground += 5 * np.sin(np.arange(100) / 5)[None, :].astype(np.float32)
    ground[40:60, 40:60] = np.nan
    picture = images.draw_relief(ground, grid)
    seen = colours(picture.png)
    greys = seen[seen[..., 3] == 255]
    assert (greys[:, 0] == greys[:, 2]).all()
    assert len(np.unique(greys[:, 0])) <= images.GREYS
    assert seen[picture.frame.shape[0] // 2, picture.frame.shape[1] // 2, 3] == 0


def test_a_steady_slope_is_not_dark_as_a_whole():
    grid = make_grid()
    tone = images.shade(plane(grid, 0.0, 0.3), grid.cell_size)
    assert np.median(tone) == pytest.approx(images.LEVEL_TONE, abs=0.01)


def test_a_thousand_cells_of_rough_ground_stay_within_the_size_of_the_page():
    generator = np.random.default_rng(7)
    steps = generator.normal(size=(1000, 1000))
    rough = np.cumsum(np.cumsum(steps, axis=0), axis=1) / 300
    grid = make_grid(1000, 1000, 2.0)
    relief = images.draw_relief(rough.astype(np.float32), grid)
    assert max(relief.frame.shape) <= 1000
    assert len(relief.png) < 600_000
