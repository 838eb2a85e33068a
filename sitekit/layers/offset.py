"""The night minimum against the reference place, and how sure it is."""

from collections.abc import Sequence
from typing import Annotated

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from sitekit.layers import season
from sitekit.layers.catalogue import layer
from sitekit.layers.edges import ClosedEdges
from sitekit.layers.flow import standard_night
from sitekit.layers.landform import coarser_by
from sitekit.layers.night import FLOW, Flow
from sitekit.layers.terms import DEPTH, POOLED, pool_warmth
from sitekit.settings import Setting

#: The night offset, its doubt, and what of that comes from errors of the heights.
OFFSET, OFFSET_DOUBT = "frost_night_offset", "frost_night_offset_sd"
HEIGHT_DOUBT = "height_doubt"
#: Parts of the standard uncertainty: what is always there [degC], shares of the
#: offset and of the background, cover that is not known [degC], and at the
#: reference place itself [degC]. Found on one basin with 18 thermometers.
ALWAYS, OF_OFFSET, OF_BACKGROUND, COVER_UNKNOWN, AT_REFERENCE = 0.8, 0.4, 0.5, 0.5, 0.2
#: How far an openness may be wrong to either side.
OPENNESS_DOUBT = 0.1
OPENNESS = 5
#: Ground around the barriers on which that is tried. Beyond it the doubt was below
#: 0.002 degC, and within it no cell differed by 0.03 degC from a run on all ground. [m]
AROUND = 800.0
#: Ground that good ground is looked for in, and its place there in per cent. [m]
NEAR, GOOD_GROUND = 500.0, 80.0
#: What a metre of held air counts, and the most that counts. [degC m⁻¹], [m]
HELD_COUNTS, MOST_HELD = 2.0, 2.0
#: Depth of the air that only runs down open ground: so much is not held. [m]
RUNNING = 0.5
#: How far above a barrier air stands that runs off too slowly round or through it: an
#: adviser's 25 to 55 m above a solid hedge. Common practice, no source. [m]
BEHIND_BARRIER = 40.0


@layer(
    units="degC",
    long_name="sum of the terms of a clear still night",
    reference=FLOW,
    written=False,
)
def night_warmth(
    background_warmth: NDArray[np.float32],
    crest_warmth: NDArray[np.float32],
    concave_warmth: NDArray[np.float32],
    pool_warmth: NDArray[np.float32],
    still_warmth: NDArray[np.float32],
    sky_warmth: NDArray[np.float32],
    cover_warmth: NDArray[np.float32],
    lake_warmth_bloom: NDArray[np.float32],
) -> NDArray[np.float32]:
    """Add the terms of the night minimum.

    Parameters
    ----------
    background_warmth, crest_warmth, concave_warmth, pool_warmth, still_warmth, \
sky_warmth, cover_warmth, lake_warmth_bloom : (row, column) ndarray
        The terms. [degC]

    Returns
    -------
    warmth : (row, column) ndarray of float32
        Their sum; only differences of it mean something. [degC]
    """
    total = background_warmth + crest_warmth
    for term in (concave_warmth, pool_warmth, still_warmth, sky_warmth, cover_warmth):
        total += term
    total += lake_warmth_bloom
    return total


@layer(
    units="degC",
    long_name="colder or warmer on a clear still night, at 1.5 m",
    reference=f"{FLOW}; lapse of minima 2.5-3.5 degC/km: Minder et al. 2010",
)
def frost_night_offset(
    night_warmth: NDArray[np.float32],
    elevation: NDArray[np.float32],
    field: NDArray[np.bool_],
    reference_cell: NDArray[np.intp],
    night_length: NDArray[np.float64],
    *,
    night_lapse: Annotated[
        float, Setting("degC m⁻¹", "Fall of the minimum with height by itself.", low=0)
    ] = 0.003,
) -> NDArray[np.float32]:
    """Tell how much colder or warmer a spot becomes than the reference place.

    Parameters
    ----------
    night_warmth : (row, column) ndarray
        Sum of the terms. [degC]
    elevation : (row, column) ndarray
        Height of the ground. [m]
    field : (row, column) ndarray of bool
        The field; its median is the reference where there is no other.
    reference_cell : (2,) or (0,) ndarray of int
        Row and column of the reference place, empty where there is none.
    night_length : ndarray without dimensions
        Length of the night. [h]
    night_lapse : float
        See the setting.

    Returns
    -------
    offset : (row, column) ndarray of float32
        Negative is colder. [degC]
    """
    strength = season.night_strength(float(night_length))
    absolute = strength * night_warmth - night_lapse * elevation
    at_reference = (
        absolute[field] if reference_cell.size == 0 else absolute[tuple(reference_cell)]
    )
    offset: NDArray[np.float32] = (absolute - np.nanmedian(at_reference)).astype(
        np.float32
    )
    return offset


@layer(
    units="m",
    long_name="cold air that stands on a clear still night",
    reference=FLOW,
    written=False,
)
def held_air(
    pooling_depth: NDArray[np.float32],
    night_air: NDArray[np.float32],
    night_length: NDArray[np.float64],
    barrier_height: NDArray[np.float32],
    *,
    cell_size: float,
) -> NDArray[np.float32]:
    """Depth of the air that is held: by the land, or because it runs off too slowly.

    By geometry a gap, or the free end of a hedge, lets all air out. A narrow one
    does not: where the air stands as a pool for half the night near a barrier it
    counts as held. The swelling of a pool above the lip of its hollow does not.

    Parameters
    ----------
    pooling_depth : (row, column) ndarray
        Depth of held air with barriers, by geometry. [m]
    night_air : (4, row, column) ndarray
        See `sitekit.layers.night.night_air`.
    night_length : ndarray without dimensions
        Length of the night. [h]
    barrier_height : (row, column) ndarray
        Effective height of barriers, 0 where none. [m]
    cell_size : float
        Side of a cell. [m]

    Returns
    -------
    held : (row, column) ndarray of float32
        The deeper of both. [m]
    """
    if not (barrier_height > 0).any():
        return pooling_depth
    away = ndimage.distance_transform_edt(barrier_height <= 0, sampling=cell_size)
    half = np.float32(max(float(night_length) / 2, 1e-6))
    lasting = np.minimum(night_air[POOLED] / half, 1)
    standing = lasting * np.maximum(night_air[DEPTH] - RUNNING, 0)
    standing[away > BEHIND_BARRIER] = 0
    held: NDArray[np.float32] = np.fmax(pooling_depth, standing).astype(np.float32)
    return held


@layer(
    units="degC",
    long_name="cold of a spot against good ground nearby, held air counted twice",
    reference="limits set so that an adviser's verdicts on made ground come out",
    written=False,
)
def night_cold(
    frost_night_offset: NDArray[np.float32],
    held_air: NDArray[np.float32],
    field: NDArray[np.bool_],
    water: NDArray[np.bool_],
    *,
    cell_size: float,
) -> NDArray[np.float32]:
    """Tell how cold a spot is for planting.

    Against the milder ground within 500 m of the field, not against the reference
    place, which may itself lie in a hollow. Ground that holds its air all night
    counts as colder than its minimum says: it stays cold for longer and its pool
    swells on long nights.

    Parameters
    ----------
    frost_night_offset : (row, column) ndarray
        Night offset. [degC]
    held_air : (row, column) ndarray
        Depth of the air that stands. [m]
    field, water : (row, column) ndarray of bool
        The field; open water.
    cell_size : float
        Side of a cell. [m]

    Returns
    -------
    cold : (row, column) ndarray of float32
        The larger the colder. [degC]
    """
    away = ndimage.distance_transform_edt(~field, sampling=cell_size)
    near = frost_night_offset[(away <= NEAR) & ~water]
    good = np.nanpercentile(near, GOOD_GROUND)
    held = np.minimum(held_air, MOST_HELD)
    cold: NDArray[np.float32] = (
        np.maximum(good - frost_night_offset, 0) + HELD_COUNTS * held
    ).astype(np.float32)
    return cold


@layer(
    units="degC",
    long_name="doubt from the openness of barriers",
    reference=FLOW,
    written=False,
    heavy=3,
)
def barrier_doubt(
    elevation: NDArray[np.float32],
    air_sources: NDArray[np.float32],
    water: NDArray[np.bool_],
    barrier_pieces: NDArray[np.float64],
    night_length: NDArray[np.float64],
    *,
    cell_size: float,
    flow_cell: Flow = 4.0,
    closed_edges: ClosedEdges = (),
) -> NDArray[np.float32]:
    """Tell how much the pools change when every openness is 0.1 more, or less.

    Parameters
    ----------
    elevation, air_sources, water, barrier_pieces, night_length : ndarray
        As for `sitekit.layers.night.night_air`.
    cell_size, flow_cell : float
        Side of a survey cell, and least side of a flow cell; both nights run on
        doubled flow cells, on the ground around the barriers. [m]
    closed_edges : sequence of str
        Edges that let no air out.

    Returns
    -------
    doubt : (row, column) ndarray of float32
        Half the difference; 0 where there are no barriers. [degC]
    """
    if len(barrier_pieces) == 0:
        return np.zeros_like(elevation)
    factor = 2 * coarser_by(cell_size, flow_cell)
    rows, columns, closed = _around(
        barrier_pieces, elevation.shape, AROUND / cell_size, factor, closed_edges
    )
    warmth = []
    for change in (-OPENNESS_DOUBT, OPENNESS_DOUBT):
        pieces = barrier_pieces.copy()
        pieces[:, OPENNESS] = np.clip(pieces[:, OPENNESS] + change, 0, 1)
        pieces[:, :4] -= 2 * (columns.start, rows.start)
        air = standard_night(
            elevation[rows, columns],
            air_sources[:, rows, columns],
            water[rows, columns],
            pieces,
            float(night_length),
            cell_size=cell_size,
            factor=factor,
            closed_edges=closed,
        )
        warmth.append(
            pool_warmth(np.stack([air.depth, air.speed, air.deficit, air.pool_hours]))
        )
    doubt = np.zeros_like(elevation)
    doubt[rows, columns] = np.abs(warmth[1] - warmth[0]) / 2
    return doubt


def _around(
    pieces: NDArray[np.float64],
    shape: tuple[int, ...],
    cells: float,
    factor: int,
    closed_edges: Sequence[str],
) -> tuple[slice, slice, list[str]]:
    """Cut a window around barriers, and say which of its edges let no air out.

    It begins on a flow cell, and on a doubled one.
    """
    window, closed = [], []
    for ends, size, names in (
        (pieces[:, [1, 3]], shape[0], ("north", "south")),
        (pieces[:, [0, 2]], shape[1], ("west", "east")),
    ):
        start = max(int(ends.min() - cells), 0) // (2 * factor) * (2 * factor)
        stop = min(int(ends.max() + cells) + 1, size)
        if stop - start < 2 * factor:
            start, stop = 0, size
        window.append(slice(start, stop))
        on_edge = start == 0, stop == size
        closed += [n for n, on in zip(names, on_edge, strict=True) if on]
    return window[0], window[1], [name for name in closed if name in closed_edges]


@layer(
    units="degC",
    long_name="standard uncertainty of the night offset",
    reference="found on one basin with 18 thermometers: 1.3 degC expected, 1.2 found",
)
def frost_night_offset_sd(
    frost_night_offset: NDArray[np.float32],
    background_warmth: NDArray[np.float32],
    barrier_doubt: NDArray[np.float32],
    height_doubt: NDArray[np.float32],
    cover_known: NDArray[np.bool_],
    field: NDArray[np.bool_],
    reference_cell: NDArray[np.intp],
) -> NDArray[np.float32]:
    """Tell how far the night offset may be wrong.

    Parameters
    ----------
    frost_night_offset, background_warmth : (row, column) ndarray
        The offset and its background term. [degC]
    barrier_doubt, height_doubt : (row, column) ndarray
        The doubt from barriers, and from errors of the heights. [degC]
    cover_known : (row, column) ndarray of bool
        Where the ground cover was given.
    field : (row, column) ndarray of bool
        The field.
    reference_cell : (2,) or (0,) ndarray of int
        The reference place, empty where it is the median of the field.

    Returns
    -------
    sd : (row, column) ndarray of float32
        Standard uncertainty. [degC]
    """
    if reference_cell.size == 0:
        background = background_warmth - np.nanmedian(background_warmth[field])
    else:
        background = background_warmth - background_warmth[tuple(reference_cell)]
    variance = (
        ALWAYS**2
        + (OF_OFFSET * frost_night_offset) ** 2
        + (OF_BACKGROUND * background) ** 2
        + barrier_doubt**2
        + height_doubt**2
        + np.where(cover_known, 0, COVER_UNKNOWN**2)
    )
    sd: NDArray[np.float32] = np.sqrt(variance).astype(np.float32)
    if reference_cell.size:
        sd[tuple(reference_cell)] = AT_REFERENCE
    return sd
