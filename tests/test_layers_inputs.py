"""The inputs of the layers: barriers cut and drawn, cover, the reference place."""

import numpy as np
import pytest
import shapely
from geopandas import GeoDataFrame
from pyproj import CRS

from sitekit.grid import Grid
from sitekit.io.schemas import SCHEMAS, empty_frame
from sitekit.layers.cover import COVERS
from sitekit.layers.faces import PIECE
from sitekit.layers.inputs import (
    cut_barriers,
    draw_barriers,
    gather_inputs,
    mark_inside,
)
from sitekit.site import VECTORS, ElevationModel, Reference, Site

UTM = CRS.from_epsg(32633)
GRID = Grid(UTM, 500_000.0, 5_130_000.0, 4.0, (50, 60))
W, S, E, N = GRID.bounds


def at(shape):
    """A shape given in metres from the south-west corner."""
    return shapely.affinity.translate(shape, W, S)


def frame(geometry, **columns):
    return GeoDataFrame(columns, geometry=[at(g) for g in geometry], crs=UTM)


def barriers(*shapes, height=2.0, openness=0.0, **more):
    count = len(shapes)
    return frame(shapes, height_m=[height] * count, openness=[openness] * count, **more)


def site(reference=None, canopy=None, water=None, **vectors):
    frames = {name: empty_frame(SCHEMAS[name], UTM) for name in VECTORS} | vectors
    elevation = np.full(GRID.shape, 700, np.float32)
    elevation[0, 0] = np.nan
    none = np.zeros(GRID.shape, bool)
    return Site(
        name="made ground",
        grid=GRID,
        elevation=elevation,
        ground=elevation,
        model=ElevationModel(("made.tif",), 4.0, "ground", 0.02),
        field=frame([shapely.box(20, 20, 200, 180)], name=[""]),
        field_mask=~none,
        water_mask=none if water is None else water,
        canopy_height=np.zeros(GRID.shape, np.float32) if canopy is None else canopy,
        evergreen=none,
        vectors=frames,
        reference=reference,
    )


def column(pieces, name):
    return pieces[:, PIECE.index(name)].tolist()


# -- barriers --------------------------------------------------------------------------------


def test_a_line_is_cut_at_its_corners_in_columns_and_rows_of_the_grid():
    line = shapely.LineString([(8, 100), (80, 100), (80, 40)])
    pieces = cut_barriers(barriers(line, height=3.5, openness=0.14), GRID)
    assert pieces.shape == (2, len(PIECE))
    assert column(pieces, "column0") == [2, 20]
    assert column(pieces, "row0") == [25, 25]
    assert column(pieces, "row1") == [25, 40]
    assert column(pieces, "stop") == [72, 132]
    assert set(column(pieces, "height")) == {3.5}
    assert set(column(pieces, "openness")) == {0.14}


def test_a_gap_and_a_lifted_foot_of_a_proposal_come_with_its_line():
    line = shapely.LineString([(0, 100), (240, 100)])
    pieces = cut_barriers(barriers(line, foot_m=[0.75], gaps=[[(8.0, 22.0)]]), GRID)
    assert column(pieces, "gap") == [0, 1, 0]
    assert column(pieces, "start") == [0, 8, 22]
    assert set(column(pieces, "foot")) == {0.75}


def test_lines_without_gap_or_foot_beside_one_with_them_have_none():
    lines = [shapely.LineString([(0, y), (240, y)]) for y in (60, 100)]
    both = barriers(*lines, foot_m=[0.75, None], gaps=[[(8.0, 22.0)], None])
    pieces = cut_barriers(both, GRID)
    assert column(pieces, "foot") == [0.75, 0.75, 0.75, 0]
    assert column(pieces, "line") == [0, 0, 0, 1]
    assert np.isfinite(pieces).all()


def test_a_polygon_is_its_edge_and_parts_are_lines_of_their_own():
    wood = shapely.box(40, 40, 80, 60)
    two = shapely.MultiLineString([[(0, 9), (50, 9)], [(60, 9), (99, 9)]])
    pieces = cut_barriers(barriers(wood, two), GRID)
    assert column(pieces, "line") == [0, 0, 0, 0, 1, 2]
    assert column(pieces, "stop")[3] == pytest.approx(120)


def test_no_barriers_are_an_empty_table():
    assert cut_barriers(empty_frame(SCHEMAS["barriers"], UTM), GRID).shape == (
        0,
        len(PIECE),
    )


def test_barriers_are_drawn_by_their_height_and_the_higher_stays():
    lines = [
        shapely.LineString([(0, 101), (240, 101)]),
        shapely.LineString([(102, 0), (102, 200)]),
    ]
    drawn = draw_barriers(barriers(*lines), np.array([2.0, 3.0]), GRID)
    assert drawn[24, 5] == 2
    assert drawn[24, 25] == 3
    assert drawn[40, 25] == 3
    assert drawn[10, 5] == 0


def test_a_polygon_blocks_its_cells():
    drawn = draw_barriers(barriers(shapely.box(40, 40, 80, 80)), np.array([5.0]), GRID)
    assert (drawn[31:39, 11:19] == 5).all()
    assert drawn[20, 15] == 0


def test_what_blocks_air_is_the_height_less_what_stands_open():
    line = shapely.LineString([(0, 101), (240, 101)])
    inputs = gather_inputs(site(barriers=barriers(line, height=3.0, openness=0.25)))
    assert inputs["barrier_height"].max() == pytest.approx(2.25)
    assert inputs["barrier_top"].max() == 3.0


# -- cover -------------------------------------------------------------------------------------


def named(codes):
    return [COVERS[code].names[0] for code in np.unique(codes)]


def test_cover_is_read_from_what_is_given_wood_and_water_above_all():
    canopy = np.zeros(GRID.shape, np.float32)
    canopy[:5] = 12
    water = np.zeros(GRID.shape, bool)
    water[-5:] = True
    inputs = gather_inputs(
        site(
            canopy=canopy,
            water=water,
            cover=frame([shapely.box(0, 0, 240, 200)], kind=["peat"]),
            mulched=frame([shapely.box(0, 100, 40, 120)]),
            buildings=frame([shapely.box(200, 100, 220, 120)]),
        )
    )
    cover = inputs["cover"]
    assert named(cover[:5]) == ["wood"]
    assert named(cover[-5:]) == ["open water"]
    assert named(cover[21:24, :9]) == ["mulch"]
    assert named(cover[21:24, 51:54]) == ["roofs"]
    assert named(cover[30:40]) == ["peat"]
    assert inputs["cover_known"].all()


def test_where_nothing_is_known_it_is_short_grass_and_counts_as_not_known():
    inputs = gather_inputs(site())
    assert named(inputs["cover"]) == ["short grass"]
    assert not inputs["cover_known"].any()


def test_cells_are_marked_by_their_middle_also_where_a_shape_leaves_the_grid():
    drawn = np.zeros(GRID.shape, np.uint8)
    mark_inside(at(shapely.box(-50, 150, 21, 400)), 1, drawn, GRID)
    assert drawn[:12, :5].all()
    assert drawn.sum() == 12 * 5 + 5 * int(drawn[12, 0])
    mark_inside(at(shapely.box(-90, -90, -50, -50)), 2, drawn, GRID)
    assert drawn.max() == 1


# -- the reference place --------------------------------------------------------------------------


def cell_of(x, y):
    reference = Reference("the house", W + x, S + y)
    return gather_inputs(site(reference=reference))["reference_cell"].tolist()


def test_the_reference_place_is_its_cell():
    assert cell_of(10, 190) == [2, 2]


def test_off_the_grid_on_missing_ground_or_unnamed_there_is_no_place():
    assert cell_of(-10, 100) == []
    assert cell_of(1, 199) == []
    assert gather_inputs(site())["reference_cell"].size == 0


def test_all_inputs_lie_on_the_grid():
    inputs = gather_inputs(site())
    on_grid = [values for values in inputs.values() if values.shape == GRID.shape]
    assert len(on_grid) == 10
    assert inputs["lake_table"].shape == (0, 5)
