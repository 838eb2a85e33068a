"""Flow of the cold layer through faces, and what it changes in the cells.

All arrays carry one ring of halo cells with a high bed, which closes the edges;
open edges are written afterwards. Cell ``(r, j)`` lies east of face
``flux_x[r, j]`` and south of face ``flux_y[r, j]``; fluxes are positive to the
east and down the rows. Every loop runs along a row so that it can be vectorised,
and works on views that begin at the cell or face of column 1.
"""

from math import sqrt
from typing import Any, NamedTuple

from numba import njit
from numpy.typing import NDArray

#: No NaN reaches the loops; without this promise minima are not vectorised.
FAST = {"nnan", "nsz", "contract"}


class Air(NamedTuple):
    """State of the cold layer.

    Parameters
    ----------
    depth, buoyancy : (row, column) ndarray
        Depth of the layer and its reduced gravity. [m], [m s⁻²]
    flux_x, flux_y : (row, column) ndarray
        Flux through the western and northern face of a cell. [m² s⁻¹]
    free_x, free_y : (face,) ndarray
        Flux that each barrier face would carry without its barrier. [m² s⁻¹]
    """

    depth: NDArray[Any]
    buoyancy: NDArray[Any]
    flux_x: NDArray[Any]
    flux_y: NDArray[Any]
    free_x: NDArray[Any]
    free_y: NDArray[Any]


class Ground(NamedTuple):
    """What the cold layer lies on.

    Parameters
    ----------
    bed : (row, column) ndarray
        Height above the lowest cell. [m]
    production : (row, column) ndarray
        Cold air made, mean of the night. [m s⁻¹]
    source : (row, column) ndarray
        Reduced gravity of the air made. [m s⁻²]
    drag : (row, column) ndarray
        Drag coefficient.
    decay : (row, column) ndarray
        Rate of mixing into the air above. [s⁻¹]
    """

    bed: NDArray[Any]
    production: NDArray[Any]
    source: NDArray[Any]
    drag: NDArray[Any]
    decay: NDArray[Any]


class Step(NamedTuple):
    """Numbers of one time step, all of the type of the state.

    A literal would lift a whole loop to double precision.
    """

    seconds: Any
    rate: Any
    pace: Any
    zero: Any
    quarter: Any
    half: Any
    one: Any
    whole: Any
    thin: Any
    push: Any
    hold: Any
    inertia: Any
    own: Any
    lent: Any
    tiny: Any
    lightest: Any
    heaviest: Any
    nudge: Any


@njit(cache=True, error_model="numpy", fastmath=FAST, inline="always")
def free_flux(
    flux: Any, smooth: Any, aside: Any, bed: Any, depth: Any, gravity: Any, drag: Any,
    step: Step,
) -> Any:  # fmt: skip
    """Find the flux through a face at the end of a step.

    The momentum balance of the local-inertial scheme with the drag of the whole
    flow and the inertia limit, brought over one denominator. ``bed``, ``depth``,
    ``gravity`` and ``drag`` are pairs: the cell before and the cell after.
    """
    before, after = bed[0] + depth[0], bed[1] + depth[1]
    top = before if before > after else after
    sill = bed[0] if bed[0] > bed[1] else bed[1]
    over = top - sill
    square = over * over
    # The halves of the means of gravity cancel, but for that of the fall.
    twice = gravity[0] + gravity[1]
    fall = twice * (before - after) + over * (gravity[0] - gravity[1])
    fast = flux * flux + aside * aside
    inertia = twice * square * over
    limit = step.inertia * fast
    limit = limit if limit > inertia else inertia
    hold = step.hold * (drag[0] + drag[1]) * sqrt(fast)
    push = square * (smooth * inertia + step.push * fall * (over * limit))
    return push / (square * inertia + hold * limit) if over > step.thin else step.zero


@njit(cache=True, error_model="numpy", fastmath=FAST)
def flux_x_rows(
    rows: tuple[int, int], air: Air, ground: Ground, step: Step, new: NDArray[Any]
) -> None:
    """Find the flux through all faces between the cells of each row."""
    for row in range(rows[0], rows[1]):
        count = new.shape[1] - 1
        flux, above, below = air.flux_x[row], air.flux_y[row], air.flux_y[row + 1]
        bed, depth = ground.bed[row], air.depth[row]
        gravity, drag = air.buoyancy[row], ground.drag[row]
        q0, q1, q2 = flux[0:], flux[1:], flux[2:]
        a0, a1, b0, b1 = above[0:], above[1:], below[0:], below[1:]
        z0, z1, h0, h1 = bed[0:], bed[1:], depth[0:], depth[1:]
        g0, g1, c0, c1 = gravity[0:], gravity[1:], drag[0:], drag[1:]
        out = new[row, 1:]
        for j in range(count - 1):
            out[j] = free_flux(
                q1[j],
                step.own * q1[j] + step.lent * (q0[j] + q2[j]),
                step.quarter * (a0[j] + a1[j] + b0[j] + b1[j]),
                (z0[j], z1[j]),
                (h0[j], h1[j]),
                (g0[j], g1[j]),
                (c0[j], c1[j]),
                step,
            )
        out[count - 1] = step.zero


@njit(cache=True, error_model="numpy", fastmath=FAST)
def flux_y_rows(
    rows: tuple[int, int], air: Air, ground: Ground, step: Step, new: NDArray[Any]
) -> None:
    """Find the flux through the faces between each row and the row above it."""
    for row in range(rows[0], rows[1]):
        q0, q1, q2 = air.flux_y[row - 1], air.flux_y[row], air.flux_y[row + 1]
        above, below = air.flux_x[row - 1], air.flux_x[row]
        a0, a1, b0, b1 = above[0:], above[1:], below[0:], below[1:]
        z0, z1 = ground.bed[row - 1], ground.bed[row]
        h0, h1 = air.depth[row - 1], air.depth[row]
        g0, g1 = air.buoyancy[row - 1], air.buoyancy[row]
        c0, c1 = ground.drag[row - 1], ground.drag[row]
        out = new[row]
        for j in range(1, len(out) - 1):
            out[j] = free_flux(
                q1[j],
                step.own * q1[j] + step.lent * (q0[j] + q2[j]),
                step.quarter * (a0[j] + a1[j] + b0[j] + b1[j]),
                (z0[j], z1[j]),
                (h0[j], h1[j]),
                (g0[j], g1[j]),
                (c0[j], c1[j]),
                step,
            )


@njit(cache=True, fastmath=FAST | {"reassoc"})
def _add(total: Any, part: Any) -> Any:
    """Add in any order, so that the loop around it can be vectorised."""
    return total + part


@njit(cache=True, fastmath=FAST)
def _in(flux: Any, step: Step) -> Any:
    """Take a flux where it comes in."""
    return flux if flux > step.zero else step.zero


@njit(cache=True, error_model="numpy", fastmath=FAST)
def update_rows(
    rows: tuple[int, int], old: Air, new: Air, ground: Ground, step: Step
) -> Any:
    """Move the air of each row through its faces, make some, mix some.

    Returns
    -------
    short : float
        Sum of the depths below zero: negative where a cell gave more than it
        held. [m]
    """
    short = step.zero
    for row in range(rows[0], rows[1]):
        flux = new.flux_x[row]
        west, east = flux, flux[1:]
        north, south = new.flux_y[row], new.flux_y[row + 1]
        depth = old.depth[row]
        gravity, g_north, g_south = (
            old.buoyancy[row],
            old.buoyancy[row - 1],
            old.buoyancy[row + 1],
        )
        g_west, g_middle, g_east = gravity[0:], gravity[1:], gravity[2:]
        new_depth, new_gravity = new.depth[row], new.buoyancy[row]
        production, source, decay = (
            ground.production[row],
            ground.source[row],
            ground.decay[row],
        )
        for i in range(len(depth) - 2):
            j = i + 1
            own = g_middle[i]
            net = west[j] - east[j] + north[j] - south[j]
            # What comes in brings its difference; what goes out takes none with it.
            brought = _in(west[j], step) * (g_west[i] - own)
            brought += _in(-east[j], step) * (g_east[i] - own)
            brought += _in(north[j], step) * (g_north[j] - own)
            brought += _in(-south[j], step) * (g_south[j] - own)
            moved = step.rate * net
            left = depth[j] + moved
            short = _add(short, left if left < step.zero else step.zero)
            made = step.pace * production[j]
            # Small terms first: each sum with the depth rounds once in float32.
            full = depth[j] + (moved + made)
            full = full if full > step.zero else step.zero
            brought = step.rate * brought + made * (source[j] - own)
            change = brought / full + step.nudge
            blend = own + change if full > step.tiny else source[j]
            blend = blend if blend > step.lightest else step.lightest
            new_gravity[j] = blend if blend < step.heaviest else step.heaviest
            # One over one and the loss, to the order that the step is good for.
            loss = step.seconds * decay[j]
            new_depth[j] = full * (step.one - loss * (step.one - loss))
    return short
