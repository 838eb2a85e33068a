"""How far each year: the most trees that every later year can still keep.

Each year plants as many trees as its money, mulch, working days and young trees
allow. Ground that is planted already is served first, in that year and in every
later one; better ground comes before poorer, earlier before later, and no fruit
waits until another is complete. The whole plan is searched at once (integer
programming), since what is planted this year eats the mulch of the next: a rule that
fills year by year can run out.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import csr_array, hstack

#: Resources of a year in this order, and how their names are written.
RESOURCES = ("money", "mulch", "working days", "young trees")
#: Worth of planting in the first year against the last: enough to break ties.
HASTE = 0.02
#: Worth of not beginning another piece of ground, in trees: less than the least worth
#: of a tree, so that ground for a single tree is planted too.
OPENING = 0.5
#: Worth of the fruit that is furthest behind, against all trees together.
BALANCE = 0.5
#: Longest search, and the gap to the best plan at which one may end: small plans
#: are searched to the end. [s]
LONGEST, GAP, SMALL = 10.0, 3e-3, 16


@dataclass(frozen=True)
class Lot:
    """Trees of one fruit in one block, all alike.

    Parameters
    ----------
    block : int
        Its number.
    fruit : str
        The fruit.
    trees : int
        Most that can stand there or are needed.
    worth : float
        What a tree there is worth against others.
    first, keep : (4,) tuple of float
        What a tree takes of each of `RESOURCES` in its first year, and in every
        later one.
    opening : (4,) tuple of float
        What the first tree of the lot takes besides: a fence.
    """

    block: int
    fruit: str
    trees: int
    worth: float
    first: tuple[float, float, float, float]
    keep: tuple[float, float, float, float]
    opening: tuple[float, float, float, float] = (0.0, 0.0, 0.0, 0.0)


@dataclass(frozen=True)
class Phases:
    """Trees of each lot by year.

    Parameters
    ----------
    trees : (lot, year) ndarray of int
        Trees planted.
    opened : (lot, year) ndarray of bool
        Whether the lot is begun in that year.
    used : (resource, year) ndarray
        What planting and keeping take; one year more than planned, in which
        nothing is planted: the years after.
    binding : tuple of str
        What stops each year, in words.
    """

    trees: NDArray[np.int64]
    opened: NDArray[np.bool_]
    used: NDArray[np.float64]
    binding: tuple[str, ...]


def plan_years(
    lots: Sequence[Lot],
    limits: NDArray[np.float64],
    standing: NDArray[np.float64] | None = None,
) -> Phases:
    """Choose how many trees of each lot to plant in each year.

    Parameters
    ----------
    lots : sequence of Lot
        What could be planted.
    limits : (resource, year) ndarray
        What there is of each of `RESOURCES` a year; infinite where no limit is
        given. Years after the last have as much as the last.
    standing : (resource,) ndarray, optional
        What ground that is kept already takes every year.

    Returns
    -------
    phases : Phases
        No trees where even the ground that stands cannot be kept.
    """
    years = limits.shape[1]
    standing = np.zeros(len(RESOURCES)) if standing is None else standing
    left = np.column_stack([limits, limits[:, -1]]) - standing[:, None]
    shape = (len(lots), years)
    trees, opened = np.zeros(shape, dtype=np.int64), np.zeros(shape, dtype=bool)
    if lots and (left >= 0).all():
        trees, opened = _search(lots, left)
    used = _use(lots, trees, opened)
    binding = tuple(
        _find_binding(lots, trees, used, left, year) for year in range(years)
    )
    return Phases(trees, opened, used + standing[:, None], binding)


def _search(
    lots: Sequence[Lot], left: NDArray[np.float64]
) -> tuple[NDArray[np.int64], NDArray[np.bool_]]:
    """Search the best plan; numbers of trees first, then which year opens a lot."""
    count, years = len(lots), left.shape[1] - 1
    haste = 1 + HASTE * (1 - np.arange(years) / max(years, 1))
    worth = np.array([lot.worth for lot in lots])
    most = np.array([float(lot.trees) for lot in lots])
    planted = -(worth[:, None] * haste).ravel()
    opened = np.full(planted.size, OPENING)
    cost = np.concatenate([planted, opened, [-BALANCE * most.sum()]])
    found = milp(
        cost,
        integrality=np.append(np.ones(cost.size - 1), 0),
        bounds=Bounds(0, np.append(np.repeat(most, years), np.ones(opened.size + 1))),
        constraints=[
            _resources(lots, left),
            *_whole_lots(most, years),
            _together(lots, years),
        ],
        options={
            "time_limit": LONGEST,
            "mip_rel_gap": 0.0 if count * years <= SMALL else GAP,
        },
    )
    if found.x is None:
        return np.zeros((count, years), dtype=np.int64), np.zeros((count, years), bool)
    both = np.rint(found.x[:-1]).astype(np.int64).reshape(2, count, years)
    # A lot may be opened without a tree where nothing counts against it.
    return both[0], (both[1] > 0) & (both[0].sum(axis=1) > 0)[:, None]


def _resources(lots: Sequence[Lot], left: NDArray[np.float64]) -> LinearConstraint:
    """Hold what is used in each year, and in the years after, within what there is."""
    count, years = len(lots), left.shape[1] - 1
    rows, most = [], []
    for kind in range(len(RESOURCES)):
        first, keep, opening = _takes(lots, kind)
        for year in range(years + 1):
            if not np.isfinite(left[kind, year]):
                continue
            planted, opened = np.zeros((count, years)), np.zeros((count, years))
            planted[:, :year] = keep[:, None]
            if year < years:
                planted[:, year], opened[:, year] = first, opening
            rows.append(np.concatenate([planted.ravel(), opened.ravel(), [0.0]]))
            most.append(left[kind, year])
    matrix = np.array(rows).reshape(-1, 2 * count * years + 1)
    return LinearConstraint(csr_array(matrix), -np.inf, np.array(most))


def _takes(
    lots: Sequence[Lot], kind: int
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """Find what each lot takes of one resource: at first, kept, and to begin."""
    first = np.array([lot.first[kind] for lot in lots])
    keep = np.array([lot.keep[kind] for lot in lots])
    return first, keep, np.array([lot.opening[kind] for lot in lots])


def _whole_lots(most: NDArray[np.float64], years: int) -> list[LinearConstraint]:
    """Plant a lot once, open it once, and only then plant it."""
    count = most.size
    by_lot = np.kron(np.eye(count), np.ones(years))
    nothing, last = np.zeros((count, count * years)), np.zeros((count, 1))
    planted = csr_array(np.hstack([by_lot, nothing, last]))
    begun = csr_array(np.hstack([nothing, by_lot, last]))
    since = np.kron(np.diag(most), np.tril(np.ones((years, years))))
    after = csr_array(np.zeros((count * years, 1)))
    opened = hstack([csr_array(np.eye(count * years)), -csr_array(since), after])
    return [
        LinearConstraint(planted, -np.inf, most),
        LinearConstraint(begun, -np.inf, 1.0),
        LinearConstraint(opened, -np.inf, 0.0),
    ]


def _together(lots: Sequence[Lot], years: int) -> LinearConstraint:
    """Measure how far the fruit that is furthest behind has come, by its share."""
    fruits = sorted({lot.fruit for lot in lots})
    rows = np.zeros((len(fruits), 2 * len(lots) * years + 1))
    for number, lot in enumerate(lots):
        row = rows[fruits.index(lot.fruit)]
        row[number * years : (number + 1) * years] = 1
        row[-1] -= lot.trees
    return LinearConstraint(csr_array(rows), 0, np.inf)


def _use(
    lots: Sequence[Lot], trees: NDArray[np.int64], opened: NDArray[np.bool_]
) -> NDArray[np.float64]:
    """Add up what each year takes, and the years after."""
    years = trees.shape[1]
    used = np.zeros((len(RESOURCES), years + 1))
    older = np.cumsum(trees, axis=1)
    for kind in range(len(RESOURCES) if lots else 0):
        first, keep, opening = _takes(lots, kind)
        used[kind, :years] = first @ trees + opening @ opened
        used[kind, 1:] += keep @ older
    return used


def _find_binding(
    lots: Sequence[Lot],
    trees: NDArray[np.int64],
    used: NDArray[np.float64],
    left: NDArray[np.float64],
    year: int,
) -> str:
    """Name what stops a year from taking one tree more."""
    if (left < 0).any():
        short = RESOURCES[int(np.argmax((left < 0).any(axis=1)))]
        return f"{short}: the ground under mulch already takes more"
    waiting = [
        (lot, bool(row[: year + 1].any()))
        for lot, row in zip(lots, trees, strict=True)
        if row.sum() < lot.trees
    ]
    if not waiting:
        return "nothing: what is needed stands" if lots else "proven ground"
    stops = [_what_stops(lot, left - used, year, begun=begun) for lot, begun in waiting]
    # A limit of the year itself is told before one of the later years.
    return min(stops, key=lambda stop: "later" in stop)


def _what_stops(lot: Lot, slack: NDArray[np.float64], year: int, *, begun: bool) -> str:
    for kind, name in enumerate(RESOURCES):
        takes = lot.first[kind] + (0.0 if begun else lot.opening[kind])
        if takes > slack[kind, year] + 1e-6:
            return f"{name} of that year"
    for kind, name in enumerate(RESOURCES):
        if (lot.keep[kind] > slack[kind, year + 1 :] + 1e-6).any():
            return f"{name} of later years, which must keep it"
    return "nothing: better ground is planted in another year"
