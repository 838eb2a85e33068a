"""A clear still night: how cold air is made, runs down and gathers.

The cold layer is one layer of depth h and reduced gravity b = g Δθ/θ₀ on ground
z, with s the cold air made and λ the rate of mixing into the air above::

    ∂h/∂t  + ∇·q     = s - λh
    ∂hb/∂t + ∇·(q b) = s b_s - λhb
    ∂q/∂t  = - b h ∇(z + h) - ½ h² ∇b - C |q| q / h²

Flow is explicit on a staggered grid (local-inertial), with the drag of the whole
flow and its inertia limited so that steep uniform flow stays steady.

References
----------
Bates, P. D., Horritt, M. S. & Fewtrell, T. J. (2010). A simple inertial
formulation of the shallow water equations for efficient two-dimensional flood
inundation modelling. Journal of Hydrology 387, 33-45.

de Almeida, G. A. M., Bates, P., Freer, J. E. & Souvignet, M. (2012). Improving
the stability of a simple formulation of the shallow water equations for 2-D
flood modeling. Water Resources Research 48, W05528.
"""

from collections.abc import Collection
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from sitekit.kernels.night_faces import WALL, Blocked, Edges
from sitekit.kernels.night_flux import Air, Ground
from sitekit.kernels.night_loop import (
    LAST_HOUR,
    Plan,
    Shared,
    run_steps,
    share,
)
from sitekit.kernels.night_record import Record
from sitekit.kernels.night_row import Water, World

#: Gravity and the temperature that deficits are counted from. [m s⁻²], [K]
GRAVITY, TEMPERATURE = 9.81, 283.0
#: The lightest air that flows; keeps the balance of a face defined. [m s⁻²]
LEAST_BUOYANCY = 1e-6
#: Least fall of the surface over an open edge. [m m⁻¹]
EDGE_SLOPE = 0.003

Edge = Literal["west", "east", "north", "south"]
EDGES: tuple[Edge, ...] = ("west", "east", "north", "south")


@dataclass(frozen=True)
class NightGround:
    """What the night's air lies on.

    Parameters
    ----------
    bed : (row, column) ndarray of float32 or float64
        Height of the ground; NaN where missing, which no air enters. Its type
        is that of the whole run. [m]
    production : (row, column) ndarray
        Cold air made, mean of the night; 0 over open water. [m s⁻¹]
    deficit : (row, column) ndarray
        How much colder that air is than the air above. [K]
    drag : (row, column) ndarray
        Drag coefficient of the cover.
    decay : (row, column) ndarray
        Rate of mixing into the air above. [s⁻¹]
    cell_size : float
        Side of a cell. [m]
    open_water : (row, column) ndarray of bool, optional
        Where `decay` is a velocity of mixing instead, divided by the depth of
        the air. [m s⁻¹]
    """

    bed: NDArray[Any]
    production: NDArray[Any]
    deficit: NDArray[Any]
    drag: NDArray[Any]
    decay: NDArray[Any]
    cell_size: float
    open_water: NDArray[np.bool_] | None = None


@dataclass(frozen=True)
class BarrierFaces:
    """Barriers as blocked faces between cells.

    Parameters
    ----------
    along : (face,) ndarray of int
        0 where the face lies between two columns, 1 between two rows.
    row, column : (face,) ndarray of int
        The cell east of the face, or south of it.
    height : (face,) ndarray
        Height above the higher of the two cells. [m]
    openness : (face,) ndarray
        Share that stands open: 0 a wall, 1 nothing.
    foot : (face,) ndarray
        Height of the slot at the foot. [m]
    gap : (face,) ndarray
        Share of the length of the face that has no barrier.
    stretch : (face,) ndarray
        Length of the line over the length of its staircase of faces.
    """

    along: NDArray[np.int64]
    row: NDArray[np.int64]
    column: NDArray[np.int64]
    height: NDArray[np.float64]
    openness: NDArray[np.float64]
    foot: NDArray[np.float64]
    gap: NDArray[np.float64]
    stretch: NDArray[np.float64]


@dataclass(frozen=True)
class NightState:
    """The cold air at the end of a run, and what was kept of the way there.

    Parameters
    ----------
    depth : (row, column) ndarray
        Depth of the cold layer. [m]
    buoyancy : (row, column) ndarray
        Its reduced gravity; 0.1387 is 4 K. [m s⁻²]
    flux_x : (row, column + 1) ndarray
        Flux through the faces between columns, positive to the east. [m² s⁻¹]
    flux_y : (row + 1, column) ndarray
        Flux through the faces between rows, positive down the rows. [m² s⁻¹]
    mean_depth, mean_speed : (row, column) ndarray
        Means of the last hour. [m], [m s⁻¹]
    pool_hours : (row, column) ndarray
        Time under more than 1 m of air slower than 0.25 m s⁻¹. [h]
    seconds : float
        Time run. [s]
    steps : int
        Steps taken.
    edge_volume, edge_buoyancy : float
        What left over the edges. [m³], [m⁴ s⁻²]
    """

    depth: NDArray[Any]
    buoyancy: NDArray[Any]
    flux_x: NDArray[Any]
    flux_y: NDArray[Any]
    mean_depth: NDArray[Any]
    mean_speed: NDArray[Any]
    pool_hours: NDArray[Any]
    seconds: float
    steps: int
    edge_volume: float
    edge_buoyancy: float


def run_night(
    ground: NightGround,
    seconds: float,
    *,
    night: float = 0.0,
    begin: float = 0.0,
    start: NightState | tuple[NDArray[Any], NDArray[Any]] | None = None,
    faces: BarrierFaces | None = None,
    closed_edges: Collection[Edge] = (),
    threads: int = 1,
) -> NightState:
    """Run the cold layer for a time.

    Parameters
    ----------
    ground : NightGround
        What it lies on.
    seconds : float
        Time to run. [s]
    night : float
        Length of the night. Cold air is made at the mean rate times
        min(½ √(night / t), 4), t from sunset; at the mean rate all along where
        it is 0. [s]
    begin : float
        Time since sunset at which the run begins. [s]
    start : NightState or (depth, buoyancy), optional
        Air that lies there at the beginning; without it none.
    faces : BarrierFaces, optional
        Barriers.
    closed_edges : collection of {"west", "east", "north", "south"}
        Edges of the grid that let no air out; over the others air leaves as if
        the slope of the ground went on.
    threads : int
        Threads to use; the answer is the same for any number.

    Returns
    -------
    state : NightState
        The air at the end.

    Raises
    ------
    ValueError
        Where the grid has fewer than two rows or columns, or the time is not
        positive.

    Examples
    --------
    Half a metre of air made in an hour on a closed level field stays there:

    >>> import numpy as np
    >>> level = np.zeros((4, 5), np.float32)
    >>> field = NightGround(
    ...     bed=level,
    ...     production=level + 0.5 / 3600,
    ...     deficit=level + 4.0,
    ...     drag=level + 0.03,
    ...     decay=level,
    ...     cell_size=8.0,
    ... )
    >>> state = run_night(field, 3600.0, closed_edges=EDGES)
    >>> float(state.depth.min().round(4)), float(state.depth.max().round(4))
    (0.5, 0.5)
    """
    if min(ground.bed.shape) < 2 or seconds <= 0:
        message = "A night needs two rows, two columns and a time above zero."
        raise ValueError(message)
    world = World(
        _pad_ground(ground),
        _pack(faces, 0, ground.bed),
        _pack(faces, 1, ground.bed),
        _open_edges(ground, closed_edges),
        _find_water(ground),
    )
    first, second = _first_air(world, start), _first_air(world, None)
    record = Record(*(np.zeros_like(first.depth) for _ in range(3)))
    known = world.ground.source, first.buoyancy
    heaviest = max(values.max() for values in known)
    plan = Plan(
        float(ground.cell_size),
        float(seconds),
        float(begin),
        float(night),
        0.5 * min(float(values.min()) for values in known),
        2.0 * float(heaviest),
        float(np.spacing(heaviest)),
    )
    shared = share(ground.bed, threads)
    with ThreadPoolExecutor(len(shared.fastest)) as pool:
        runs = [
            pool.submit(run_steps, number, first, second, world, record, plan, shared)
            for number in range(len(shared.fastest))
        ]
        time, steps = runs[0].result()
    return _unpack((first, second)[steps % 2], record, shared, plan, (time, steps))


def buoyancy_of(deficit: NDArray[Any]) -> NDArray[Any]:
    """Turn a temperature deficit into reduced gravity.

    Parameters
    ----------
    deficit : ndarray
        How much colder the air is. [K]

    Returns
    -------
    buoyancy : ndarray
        Reduced gravity. [m s⁻²]

    Examples
    --------
    >>> import numpy as np
    >>> buoyancy_of(np.array([4.0, 5.0])).round(4)
    array([0.1387, 0.1733])
    """
    return deficit * (GRAVITY / TEMPERATURE)


def _pad(values: NDArray[Any], like: NDArray[Any], outside: float) -> NDArray[Any]:
    """Put a ring of halo cells around a field, in the type of the run."""
    padded = np.full([n + 2 for n in like.shape], outside, like.dtype)
    padded[1:-1, 1:-1] = values
    return padded


def _pad_ground(ground: NightGround) -> Ground:
    """Bring the ground into the form of the loops, in place: copies take memory."""
    bed = ground.bed
    level = _pad(bed, bed, np.nan)
    missing = np.isnan(level)
    if not missing.all():
        level -= np.nanmin(bed)
    level[missing] = WALL
    production = _pad(ground.production, bed, 0.0)
    production[missing] = 0.0
    source = _pad(ground.deficit, bed, 0.0)
    source *= GRAVITY / TEMPERATURE
    return Ground(
        bed=level,
        production=production,
        source=np.maximum(source, LEAST_BUOYANCY, out=source),
        drag=_pad(ground.drag, bed, 0.0),
        decay=_pad(ground.decay, bed, 0.0),
    )


def _pack(faces: BarrierFaces | None, along: int, bed: NDArray[Any]) -> Blocked:
    """Order the barrier faces of one direction by row."""
    if faces is None:
        none = np.zeros(0)
        zero = none.astype(np.int64)
        faces = BarrierFaces(zero, zero, zero, none, none, none, none, none)
    mine = np.flatnonzero(faces.along == along)
    mine = mine[np.lexsort((faces.column[mine], faces.row[mine]))]
    row = faces.row[mine] + 1
    openness = faces.openness[mine]
    # Pressure loss of a porous screen, K = (1/m - 1)²; 1/√K is a speed.
    through = openness * (0.62 + 0.38 * openness**3)
    pores = np.minimum(through / np.maximum(1 - through, 1e-6), 1e6)
    kind = bed.dtype
    return Blocked(
        begin=np.searchsorted(row, np.arange(bed.shape[0] + 4)),
        row=row,
        column=faces.column[mine] + 1,
        height=faces.height[mine].astype(kind),
        foot=np.minimum(faces.foot, faces.height)[mine].astype(kind),
        pores=pores.astype(kind),
        gap=faces.gap[mine].astype(kind),
        stretch=faces.stretch[mine].astype(kind),
    )


def _find_water(ground: NightGround) -> Water:
    """List the cells of open water by row."""
    water = ground.open_water
    water = np.zeros(ground.bed.shape, bool) if water is None else water
    row, column = np.nonzero(water)
    return Water(
        begin=np.searchsorted(row + 1, np.arange(ground.bed.shape[0] + 2)),
        row=row + 1,
        column=column + 1,
        mixing=np.asarray(ground.decay)[water].astype(ground.bed.dtype),
    )


def _open_edges(ground: NightGround, closed: Collection[Edge]) -> Edges:
    """Say which edges let air out."""
    west, east, north, south = (edge not in closed for edge in EDGES)
    fall = ground.bed.dtype.type(EDGE_SLOPE * ground.cell_size)
    return Edges(west, east, north, south, fall)


def _first_air(
    world: World, start: NightState | tuple[NDArray[Any], NDArray[Any]] | None
) -> Air:
    """Lay out the state, at rest or as it was."""
    bed = world.ground.bed
    rows, columns = bed.shape
    air = Air(
        depth=np.zeros_like(bed),
        buoyancy=world.ground.source.copy(),
        flux_x=np.zeros_like(bed),
        flux_y=np.zeros((rows + 1, columns), bed.dtype),
        free_x=np.zeros(len(world.blocked_x.column), bed.dtype),
        free_y=np.zeros(len(world.blocked_y.column), bed.dtype),
    )
    if isinstance(start, NightState):
        air.flux_x[1:-1, 1:] = start.flux_x
        air.flux_y[1:-1, 1:-1] = start.flux_y
        start = start.depth, start.buoyancy
    if start is not None:
        air.depth[1:-1, 1:-1], air.buoyancy[1:-1, 1:-1] = start
        air.depth[bed >= WALL] = 0.0
    return air


def _unpack(
    air: Air, record: Record, shared: Shared, plan: Plan, run: tuple[float, int]
) -> NightState:
    """Cut the halo off and turn sums into means."""
    inside = (slice(1, -1), slice(1, -1))
    kind = record.depth.dtype.type
    averaged = kind(min(run[0], LAST_HOUR))
    for values, over in zip(record, (averaged, averaged, kind(3600.0)), strict=True):
        np.divide(values, over, out=values)
    return NightState(
        depth=air.depth[inside],
        buoyancy=air.buoyancy[inside],
        flux_x=air.flux_x[1:-1, 1:],
        flux_y=air.flux_y[1:-1, 1:-1],
        mean_depth=record.depth[inside],
        mean_speed=record.speed[inside],
        pool_hours=record.pool[inside],
        seconds=run[0],
        steps=run[1],
        edge_volume=float(shared.left[:, 0].sum()) * plan.cell_size,
        edge_buoyancy=float(shared.left[:, 1].sum()) * plan.cell_size,
    )
