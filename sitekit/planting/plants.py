"""Plants: a name for each, its fruit, and a partner in flower within reach."""

from collections.abc import Callable, Mapping, Sequence
from typing import Annotated

import geopandas as gpd
import numpy as np
import shapely
from geopandas import GeoDataFrame
from numpy.typing import NDArray
from pyproj import CRS
from scipy.spatial import cKDTree
from shapely.geometry.base import BaseGeometry

from sitekit.errors import InputError
from sitekit.planting.rows import Layout
from sitekit.settings import Setting
from sitekit.words import listed

#: Days from the first flower to petal fall of each plant, or how to find them.
Bloom = NDArray[np.float64] | Callable[[GeoDataFrame], NDArray[np.float64]]
#: Plants outside the field that an error names. The rest are counted.
NAMED = 5


def list_rows(
    layouts: Mapping[str, Layout],
    fruit: Mapping[str, str],
    group: Mapping[str, str | Sequence[str]],
    crs: CRS,
) -> GeoDataFrame:
    """List the rows of all blocks.

    Parameters
    ----------
    layouts : mapping of str to Layout
        Rows by block.
    fruit : mapping of str to str
        Fruit by block.
    group : mapping of str to str or sequence of str
        Fruit group by block; of several groups the rows take one after the other.
    crs : pyproj.CRS
        Coordinate system.

    Returns
    -------
    rows : GeoDataFrame
        Lines with the columns of `sitekit.results.PlantingPlan.rows`.
    """
    columns: dict[str, list[object]] = {
        name: []
        for name in (
            "block",
            "row",
            "fruit",
            "group",
            "bearing_deg",
            "spacing_m",
            "row_spacing_m",
            "plants",
            "length_m",
        )
    }
    lines: list[BaseGeometry] = []
    for block, layout in layouts.items():
        counts = np.bincount(layout.row, minlength=len(layout.lines) + 1)[1:]
        for row, (line, count) in enumerate(
            zip(layout.lines, counts, strict=True), start=1
        ):
            values = (
                str(block),
                row,
                fruit[block],
                _group_of(group[block], row),
                layout.bearing,
                layout.spacing,
                layout.row_spacing,
                int(count),
                float(line.length),
            )
            for name, value in zip(columns, values, strict=True):
                columns[name].append(value)
            lines.append(line)
    return GeoDataFrame(columns, geometry=lines, crs=crs)


def number_plants(
    layouts: Mapping[str, Layout],
    fruit: Mapping[str, str],
    group: Mapping[str, str | Sequence[str]],
    crs: CRS,
) -> GeoDataFrame:
    """Name every plant by block, row and number.

    Parameters
    ----------
    layouts : mapping of str to Layout
        Rows and positions by block.
    fruit : mapping of str to str
        Fruit by block.
    group : mapping of str to str or sequence of str
        Fruit group by block; of several groups the rows take one after the other.
    crs : pyproj.CRS
        Coordinate system.

    Returns
    -------
    plants : GeoDataFrame
        Points with the columns of `sitekit.results.PlantingPlan.plants`; the year
        is 0 and no partner is known yet.
    """
    block = [str(name) for name, lay in layouts.items() for _ in lay.row]
    row = np.concatenate([lay.row for lay in layouts.values()] or [_NONE])
    number = np.concatenate([lay.number for lay in layouts.values()] or [_NONE])
    places = np.vstack([np.empty((0, 2)), *[v.positions for v in layouts.values()]])
    ids = [f"{b}-{r:02d}-{n:02d}" for b, r, n in zip(block, row, number, strict=True)]
    groups = {str(name): group[name] for name in layouts}
    fruits = {str(name): fruit[name] for name in layouts}
    count = len(ids)
    return GeoDataFrame(
        {
            "id": np.array(ids, dtype=object),
            "block": np.array(block, dtype=object),
            "row": row,
            "number": number,
            "fruit": np.array([fruits[b] for b in block], dtype=object),
            "group": np.array(
                [_group_of(groups[b], r) for b, r in zip(block, row, strict=True)],
                dtype=object,
            ),
            "year": np.zeros(count, np.int64),
            "partner": np.full(count, "", dtype=object),
            "partner_m": np.full(count, np.nan),
            "lonely": np.zeros(count, bool),
        },
        geometry=shapely.points(places),
        crs=crs,
    )


def find_partners(
    plants: GeoDataFrame,
    bloom: Bloom,
    *,
    needs: NDArray[np.bool_] | None = None,
    kinds: Sequence[str] | None = None,
    partner_reach: Annotated[
        float,
        Setting(
            "m",
            "Distance within which a plant in flower pollinates another.",
            "Delaplane and Mayer 2000, Crop Pollination by Bees: pollinizers every "
            "18 to 37 m",
            low=0,
        ),
    ] = 30.0,
    shared_days: Annotated[
        float, Setting("d", "Days that two plants must flower together.", low=0)
    ] = 4.0,
) -> GeoDataFrame:
    """Find for each plant the nearest other kind that flowers with it where it stands.

    Parameters
    ----------
    plants : GeoDataFrame
        Plants, by `number_plants`.
    bloom : (plant, 2) ndarray or callable
        Days of the first flower and of petal fall **at each plant's place**, or a
        function that gives them; NaN where not known. [day of year]
    needs : (plant,) ndarray of bool, optional
        Plants that need a partner; all where not given.
    kinds : sequence of str, optional
        Kind of each plant, for one does not set fruit by its own pollen; the fruit
        group where not given.
    partner_reach : float
        Reach. [m]
    shared_days : float
        Days that both are in flower. [d]

    Returns
    -------
    plants : GeoDataFrame
        The same, with ``partner``, ``partner_m`` and ``lonely``.
    """
    found = plants.copy()
    days = np.asarray(bloom(plants) if callable(bloom) else bloom, np.float64)
    days = days.reshape(-1, 2)
    asks = np.ones(len(plants), bool) if needs is None else np.asarray(needs, bool)
    kind = np.asarray(plants["group"] if kinds is None else kinds, dtype=object)
    best = np.full(len(plants), -1)
    away = np.full(len(plants), np.nan)
    for fruit in plants["fruit"].unique():
        of_fruit = np.flatnonzero((plants["fruit"] == fruit).to_numpy())
        one, other, distance = _pairs(plants, of_fruit, partner_reach)
        together = np.minimum(days[one, 1], days[other, 1])
        together = together - np.maximum(days[one, 0], days[other, 0])
        fits = asks[one] & (kind[one] != kind[other]) & (together >= shared_days)
        one, other, distance = one[fits], other[fits], distance[fits]
        order = np.lexsort([other, distance, one])
        asking, first = np.unique(one[order], return_index=True)
        best[asking], away[asking] = other[order][first], distance[order][first]
    names = np.append(plants["id"].to_numpy(dtype=object), "")
    found["partner"], found["partner_m"] = names[best], away
    found["lonely"] = asks & (best < 0)
    return found


def check_inside(plants: GeoDataFrame, field: BaseGeometry) -> None:
    """Refuse plants beyond the field, as after an edit of its boundary.

    Parameters
    ----------
    plants : GeoDataFrame
        Plants.
    field : Polygon or MultiPolygon
        The field as it is now.

    Raises
    ------
    InputError
        Plants lie beyond the field, which are named.
    """
    shapely.prepare(field)
    beyond = list(plants["id"][~shapely.intersects(field, plants.geometry.to_numpy())])
    if beyond:
        more = len(beyond) - NAMED
        names = beyond[:NAMED] + ([f"{more} more"] if more > 0 else [])
        verb = "lies" if len(beyond) == 1 else "lie"
        message = (
            f"{listed(names)} {verb} beyond the field: make the plan anew for the "
            "field as it is now, or mend its boundary."
        )
        raise InputError(message)


_NONE = np.empty(0, np.int64)


def _group_of(group: str | Sequence[str], row: int) -> str:
    return group if isinstance(group, str) else group[(row - 1) % len(group)]


def _pairs(
    plants: gpd.GeoDataFrame, chosen: NDArray[np.int64], reach: float
) -> tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.float64]]:
    """Pairs within reach, each both ways."""
    places = shapely.get_coordinates(plants.geometry.to_numpy()[chosen])
    pairs = cKDTree(places).query_pairs(reach, output_type="ndarray")
    distance = np.hypot(*(places[pairs[:, 0]] - places[pairs[:, 1]]).T)
    one, other = chosen[pairs[:, 0]], chosen[pairs[:, 1]]
    return (
        np.concatenate([one, other]),
        np.concatenate([other, one]),
        np.concatenate([distance, distance]),
    )
