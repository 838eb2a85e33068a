"""Shapes of the map as plain lists of [latitude, longitude] for its page."""

from collections.abc import Mapping
from typing import Any

import numpy as np
import pandas as pd
import shapely
from geopandas import GeoDataFrame
from numpy.typing import NDArray
from rasterio.features import shapes as trace
from shapely.geometry.base import BaseGeometry

from sitekit import words
from sitekit.cartography.lines import (
    find_open_edge,
    find_strong,
    place_arrows,
    place_figures,
    place_ticks,
    simplify,
    smooth,
)
from sitekit.grid import Grid
from sitekit.results import Survey

#: Decimals of a degree: a tenth of a metre.
DECIMALS = 6
#: Catchment above which a cold-air path is drawn stronger. [ha]
PATH_STEPS = (1.0, 5.0)
#: Barriers drawn as beads; the others as bars.
LIVING = ("hedge", "wood")

Place = list[float]


def place(easting: float, northing: float, grid: Grid) -> Place:
    """Turn a point of the grid into [latitude, longitude]."""
    longitude, latitude = grid.degrees(easting, northing)
    return [round(float(latitude), DECIMALS), round(float(longitude), DECIMALS)]


def places(shape: BaseGeometry, grid: Grid) -> list[Place]:
    """Turn the corners of one line or ring into [latitude, longitude]."""
    corners = shapely.get_coordinates(shape)
    longitudes, latitudes = grid.degrees(corners[:, 0], corners[:, 1])
    both = np.round(np.column_stack([latitudes, longitudes]), DECIMALS)
    return [list(map(float, pair)) for pair in both]


def rings(shape: BaseGeometry, grid: Grid) -> list[list[list[Place]]]:
    """Turn polygons into polygons of rings of [latitude, longitude]."""
    return [
        [places(ring, grid) for ring in (part.exterior, *part.interiors)]
        for part in shapely.get_parts(shape)
        if part.geom_type == "Polygon" and not part.is_empty
    ]


def lines(shape: BaseGeometry, grid: Grid) -> list[list[Place]]:
    """Turn lines, or the outlines of polygons, into lists of places."""
    parts = [
        part.boundary if part.geom_type == "Polygon" else part
        for part in shapely.get_parts(shape)
    ]
    return [
        places(line, grid)
        for part in parts
        for line in shapely.get_parts(part)
        if line.length > 0
    ]


def middle(shape: BaseGeometry) -> tuple[float, float]:
    """Find where the writing of a polygon stands: well inside, and central."""
    largest = max(shapely.get_parts(shape), key=lambda part: part.area)
    centre = largest.centroid
    inner = shapely.maximum_inscribed_circle(largest)
    if largest.contains(centre) and (
        largest.boundary.distance(centre) > 0.6 * inner.length
    ):
        return float(centre.x), float(centre.y)
    return float(inner.coords[0][0]), float(inner.coords[0][1])


def draw_mask(mask: NDArray[np.bool_], grid: Grid) -> list[list[list[Place]]]:
    """Turn the cells of a mask into polygons."""
    found = [
        shapely.geometry.shape(shape)
        for shape, value in trace(mask.astype(np.uint8), transform=grid.transform)
        if value
    ]
    return [
        part for shape in simplify(found, grid.cell_size) for part in rings(shape, grid)
    ]


def draw_paper(grid: Grid) -> list[list[list[Place]]]:
    """Outline the grid; its edges are bent a little on the web map."""
    return rings(shapely.box(*grid.bounds).segmentize(500.0), grid)


def draw_field(survey: Survey) -> list[dict[str, Any]]:
    """List the parts of the field with their names."""
    grid = survey.site.grid
    return [
        {"name": read_text(row, "name"), "rings": rings(row["geometry"], grid)}
        for row in rows(survey.site.field)
    ]


def draw_water(survey: Survey) -> list[dict[str, Any]]:
    """List the water as far as the data reach, with the place of its name."""
    grid = survey.site.grid
    sheet = shapely.box(*grid.bounds)
    west, south, east, north = survey.site.field.total_bounds
    view = shapely.box(west, south, east, north).buffer(0.2 * (east - west))
    drawn = []
    for row in rows(survey.site.vectors["water"]):
        seen = row["geometry"].intersection(sheet)
        if seen.area == 0:
            continue
        in_view = seen.intersection(view)
        drawn.append(
            {
                "name": read_text(row, "name"),
                "rings": rings(seen, grid),
                "at": place(*middle(in_view if in_view.area else seen), grid),
            }
        )
    return drawn


def draw_barriers(survey: Survey) -> list[dict[str, Any]]:
    """List the barriers: beads for what grows, bars for what is built."""
    grid = survey.site.grid
    sheet = shapely.box(*grid.bounds)
    return [
        {
            "grown": read_text(row, "kind") in LIVING,
            "lines": lines(row["geometry"].intersection(sheet), grid),
        }
        for row in rows(survey.site.vectors["barriers"])
    ]


def draw_contours(
    survey: Survey, avoid: list[tuple[float, float]]
) -> dict[str, list[Any]]:
    """List the height lines, the strong ones apart, and their figures."""
    grid, contours = survey.site.grid, survey.contours
    if contours.empty:
        return {"strong": [], "thin": [], "figures": []}
    strong = find_strong(contours["elevation_m"].to_numpy(np.float64))
    simpler = simplify(list(contours.geometry), grid.cell_size)
    drawn: dict[str, list[Any]] = {"strong": [], "thin": []}
    for shape, is_strong in zip(simpler, strong, strict=True):
        drawn["strong" if is_strong else "thin"] += lines(shape, grid)
    near = shapely.box(*survey.site.field.total_bounds)
    drawn["figures"] = [
        {
            "at": place(figure.easting, figure.northing, grid),
            "text": words.with_unit(figure.elevation, "m"),
        }
        for figure in place_figures(contours, near, avoid)
    ]
    return drawn


def draw_pockets(survey: Survey) -> list[dict[str, Any]]:
    """List the frost pockets with their open outline and its ticks."""
    site = survey.site
    grid = site.grid
    water = [row["geometry"] for row in rows(site.vectors["water"])]
    beyond = shapely.box(*grid.bounds).buffer(-grid.cell_size)
    hidden_water = shapely.union_all(water).buffer(1.5 * grid.cell_size)
    drawn = []
    for row in rows(survey.frost_pockets):
        pocket = row["geometry"].simplify(grid.cell_size / 2)
        edge = find_open_edge(pocket, hidden_water).intersection(beyond)
        drawn.append(
            {
                "rings": rings(pocket, grid),
                "edge": lines(edge, grid),
                "ticks": [_pair(tick, grid) for tick in place_ticks(edge, pocket)],
                "popup": _pocket_popup(row),
            }
        )
    return drawn


def draw_paths(survey: Survey) -> list[dict[str, Any]]:
    """List the cold-air paths with their strength and arrows."""
    grid = survey.site.grid
    found = rows(survey.cold_air_paths)
    paths = [smooth(row["geometry"]) for row in found]
    simpler = simplify(paths, grid.cell_size / 2)
    return [
        {
            "strength": int(np.digitize(row["catchment_ha"], PATH_STEPS)),
            "lines": lines(shape, grid),
            "arrows": [_pair(arrow, grid) for arrow in place_arrows(shape)],
        }
        for row, shape in zip(found, simpler, strict=True)
    ]


def draw_no_go(survey: Survey) -> list[dict[str, Any]]:
    """List the ground that the grower keeps free, with the reason."""
    grid = survey.site.grid
    return [
        {
            "rings": rings(_as_area(row["geometry"], grid.cell_size), grid),
            "popup": {
                "title": "No-go",
                "lead": ["", words.sentence(read_text(row, "reason"))],
                "rows": [],
            },
        }
        for row in rows(survey.site.vectors["no_go"])
    ]


def draw_trees(survey: Survey) -> list[dict[str, Any]]:
    """List the grower's own trees, with what the map says there."""
    return [
        {
            "at": _point(row, survey.site.grid),
            "popup": {
                "title": f"Your tree: {words.fruit_name(read_text(row, 'fruit'))}",
                "lead": [read_text(row, "site_class"), _against(row)],
                "rows": _given(
                    ("Its state", read_text(row, "condition")),
                    ("Against the map", read_text(row, "verdict")),
                ),
            },
        }
        for row in rows(survey.existing_trees)
    ]


def draw_notes(survey: Survey) -> list[dict[str, Any]]:
    """List the grower's notes, with what the map says there."""
    return [
        {
            "at": _point(row, survey.site.grid),
            "popup": {
                "title": f"Your note: {read_text(row, 'kind')}",
                "lead": ["", words.sentence(read_text(row, "text"))],
                "rows": _given(
                    ("Date", read_text(row, "date")),
                    ("The map", read_text(row, "reason")),
                    ("Against the map", read_text(row, "verdict")),
                ),
            },
        }
        for row in rows(survey.notes)
    ]


def rows(frame: GeoDataFrame) -> list[dict[str, Any]]:
    """List the rows of a frame that have a shape."""
    if frame.empty:
        return []
    return [
        dict(zip(frame.columns, values, strict=True))
        for values in frame.itertuples(index=False, name=None)
        if values[frame.columns.get_loc("geometry")] is not None
    ]


def read_text(row: Mapping[str, Any], column: str) -> str:
    """Read a text column that may be missing or empty."""
    value = row.get(column)
    return "" if pd.isna(value) else str(value)


def _point(row: Mapping[str, Any], grid: Grid) -> Place:
    point = row["geometry"].representative_point()
    return place(point.x, point.y, grid)


def _as_area(shape: BaseGeometry, cell_size: float) -> BaseGeometry:
    """Give points and lines a width, so that they can be seen."""
    return shape if shape.area > 0 else shape.buffer(cell_size)


def _pair(
    ends: tuple[tuple[float, float], tuple[float, float]], grid: Grid
) -> list[float]:
    """Write two points as four numbers, to a centimetre: they give a direction."""
    (e1, n1), (e2, n2) = ends
    longitudes, latitudes = grid.degrees([e1, e2], [n1, n2])
    return [
        round(float(v), DECIMALS + 1)
        for pair in zip(latitudes, longitudes, strict=True)
        for v in pair
    ]


def _given(*pairs: tuple[str, str]) -> list[list[str]]:
    return [[name, value] for name, value in pairs if value]


def _against(row: Mapping[str, Any]) -> str:
    reason = read_text(row, "reason")
    return f". {words.sentence(reason)}" if reason else ""


def _pocket_popup(row: Mapping[str, Any]) -> dict[str, Any]:
    offset = float(row.get("offset_degc", np.nan))
    return {
        "title": f"Frost pocket {row['pocket']}",
        "lead": ["", words.sentence(read_text(row, "cause"))],
        "rows": _given(
            ("Cold air held", _depth(float(row["depth_m"]))),
            ("Size", words.area(float(row["area_m2"]))),
            ("Runs over at", words.with_unit(float(row["spill_elevation_m"]), "m")),
            ("Clear still night", words.offset(offset) if np.isfinite(offset) else ""),
        ),
    }


def _depth(depth: float) -> str:
    known = np.isfinite(depth)
    return f"{words.with_unit(depth, 'm', 1)} deep" if known else words.NOT_KNOWN
