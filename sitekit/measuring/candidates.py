"""Places where a logger may stand, and the ground whose verdicts it may decide."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import shapely
from geopandas import GeoDataFrame
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from sitekit.fruit import Fruit
from sitekit.measuring.places import Array, Ground
from sitekit.measuring.revision import Layers, Terms
from sitekit.site import Site

#: A sensor stands at least this far from a bank, hedge, wood or wall. [m]
FROM_EDGE = 5.0
#: Both sides of a barrier are looked at this far from it. [m]
BESIDE = 8.0
#: Places of the field that are looked at, and cells whose verdicts count.
MOST_PLACES, MOST_CELLS = 150, 900
#: Water nearer to the field than this has a shore to measure at. [m]
NEAR_WATER = 150.0
#: Pockets, barriers and shores are wanted up to this far from the field. [m]
OUTSIDE = 60.0
#: Layer whose limits decide between classes on cold nights.
COLD = "night_cold"


@dataclass(frozen=True)
class Candidate:
    """A place where a logger may stand.

    Parameters
    ----------
    easting, northing : float
        Where. [m]
    why : str
        What it would tell, in words.
    photo : str
        What to photograph there.
    """

    easting: float
    northing: float
    why: str
    photo: str


def find_candidates(
    site: Site, layers: Layers, pockets: GeoDataFrame, blocks: GeoDataFrame
) -> list[Candidate]:
    """Find places where a logger may stand.

    Parameters
    ----------
    site : Site
        The site.
    layers : mapping of str to (row, column) ndarray
        ``pooling_depth``. [m]
    pockets, blocks : GeoDataFrame
        Frost pockets and blocks of the survey.

    Returns
    -------
    candidates : list of Candidate
        The reference place first where there is one; those of a purpose before
        open ground. None stands within 5 m of a bank or hedge, in water or wood.
    """
    closed = shapely.union_all(list(_closed(site)))
    field = shapely.union_all(site.field.geometry.to_numpy())
    near = field.buffer(OUTSIDE)
    shapely.prepare(closed)
    found = [
        *_deepest(site, layers["pooling_depth"], pockets),
        *_beside_barriers(site),
        *_shore(site, field),
        *_block_centres(blocks),
        *_open_ground(site),
    ]
    kept = [
        c
        for c in found
        if near.contains(point := shapely.Point(c.easting, c.northing))
        and not closed.intersects(point)
    ]
    place = site.reference
    if place is not None:
        rows, columns = site.grid.cells([place.easting], [place.northing])
        if site.grid.holds(rows, columns)[0]:
            why = f"the reference: {place.name}"
            kept.insert(
                0, Candidate(place.easting, place.northing, why, "towards the field")
            )
    return kept


def _closed(site: Site) -> Iterator[BaseGeometry]:
    """Ground where no sensor may stand."""
    for name in ("barriers", "woodland", "buildings", "existing_trees"):
        yield from site.vectors[name].geometry.buffer(FROM_EDGE)
    yield from site.vectors["water"].geometry.buffer(1.0)
    yield from site.vectors["neighbours"].geometry.buffer(0.0)


def _deepest(
    site: Site, depth: NDArray[np.float32], pockets: GeoDataFrame
) -> Iterator[Candidate]:
    """Deepest place of each frost pocket, on the field where it reaches it."""
    grid = site.grid
    for number, shape in zip(pockets["pocket"], pockets.geometry, strict=True):
        west, south, east, north = shape.bounds
        columns = np.flatnonzero((grid.eastings >= west) & (grid.eastings <= east))
        rows = np.flatnonzero((grid.northings >= south) & (grid.northings <= north))
        if not len(rows) or not len(columns):
            continue
        window = np.ix_(rows, columns)
        x, y = np.meshgrid(grid.eastings[columns], grid.northings[rows])
        inside = shapely.contains_xy(shape, x, y) & site.field_mask[window]
        held = np.where(inside, np.nan_to_num(depth[window]), -1.0)
        if held.max() < 0:
            continue
        place = np.unravel_index(int(held.argmax()), held.shape)
        yield Candidate(
            float(x[place]),
            float(y[place]),
            f"deepest ground of frost pocket {number}",
            "towards the outlet, and back up the slope",
        )


def _beside_barriers(site: Site) -> Iterator[Candidate]:
    """Both sides of each hedge, wall or bank, at its middle."""
    barriers = site.vectors["barriers"]
    for kind, shape in zip(barriers["kind"], barriers.geometry, strict=True):
        line = shape.boundary if shape.geom_type.endswith("Polygon") else shape
        for side, word in ((BESIDE, "one"), (-BESIDE, "the other")):
            beside = line.offset_curve(side)
            if beside.is_empty:
                continue
            point = beside.interpolate(0.5, normalized=True)
            name = str(kind or "barrier")
            yield Candidate(
                point.x,
                point.y,
                f"{word} side of a {name}",
                f"the lowest metre of the {name}",
            )


def _shore(site: Site, field: BaseGeometry) -> Iterator[Candidate]:
    """Place of the field nearest to water."""
    for shape in site.vectors["water"].geometry:
        if shape.distance(field) <= NEAR_WATER:
            x, y = shapely.shortest_line(field, shape).coords[0]
            yield Candidate(x, y, "shore: what the water does", "across the water")


def _block_centres(blocks: GeoDataFrame) -> Iterator[Candidate]:
    for number, rows in blocks.groupby("block", sort=True):
        point = rows.geometry.iloc[0].representative_point()
        yield Candidate(
            point.x, point.y, f"middle of block {number}", "along the rows to come"
        )


def _open_ground(site: Site) -> Iterator[Candidate]:
    """Places spread evenly over the field."""
    for row, column in thin(site.field_mask & ~site.water_mask, MOST_PLACES):
        x, y = site.grid.eastings[column], site.grid.northings[row]
        yield Candidate(float(x), float(y), "open ground of the field", "uphill")


def thin(mask: NDArray[np.bool_], most: int) -> NDArray[np.intp]:
    """Choose cells of a mask on an even net, at most about so many.

    Parameters
    ----------
    mask : (row, column) ndarray of bool
        Cells to choose from.
    most : int
        Number wanted.

    Returns
    -------
    cells : (cell, 2) ndarray of int
        Row and column.
    """
    step = max(int(np.ceil(np.sqrt(mask.sum() / most))), 1)
    net = np.zeros_like(mask)
    net[step // 2 :: step, step // 2 :: step] = True
    if (mask & net).any():
        return np.argwhere(mask & net)
    # A field narrower than the net has cells all the same.
    cells = np.argwhere(mask)
    return cells[:: max(len(cells) // most, 1)]


def make_ground(
    site: Site,
    layers: Layers,
    terms: Terms,
    candidates: list[Candidate],
    fruits: list[Fruit],
) -> tuple[Ground, list[int]]:
    """Put ground and candidates side by side for the choice of places.

    Parameters
    ----------
    site : Site
        The site.
    layers : mapping of str to (row, column) ndarray
        ``night_cold``. [degC]
    terms : Terms
        Terms of the night.
    candidates : list of Candidate
        Places where a logger may stand.
    fruits : list of Fruit
        Fruit asked for; their limits of cold decide.

    Returns
    -------
    ground : Ground
        Ground on an even net, and the candidates whose terms are known.
    kept : list of int
        Which candidates those are.
    """
    cells = thin(site.field_mask & ~site.water_mask, MOST_CELLS)
    points = np.column_stack(
        [site.grid.eastings[cells[:, 1]], site.grid.northings[cells[:, 0]]]
    )
    own = terms.at(site.grid, points)
    cold = site.grid.sample(layers[COLD], points[:, 0], points[:, 1])
    known = np.isfinite(own).all(axis=1) & np.isfinite(cold)
    places = np.array([(c.easting, c.northing) for c in candidates]).reshape(-1, 2)
    there = terms.at(site.grid, places)
    standing = np.isfinite(there).all(axis=1)
    heights: Array = site.grid.sample(site.elevation, places[:, 0], places[:, 1])
    ground = Ground(
        terms=own[known],
        points=points[known],
        cold=cold[known],
        candidate_terms=there[standing],
        candidates=places[standing],
        heights=heights[standing],
        limits=_limits(fruits),
        anchor=terms.anchor,
    )
    return ground, [int(i) for i in np.flatnonzero(standing)]


def _limits(fruits: list[Fruit]) -> list[float]:
    """Limits of cold between the classes of the fruit asked for."""
    limits = {
        float(point)
        for fruit in fruits
        for factor in fruit.factors
        if factor.layer == COLD
        for point in factor.points
    }
    return sorted(limits) or [1.5]
