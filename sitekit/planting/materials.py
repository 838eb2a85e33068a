"""What planting and keeping take: trees, guards, fence, mulch, water, soil."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil, pi, sqrt

import pandas as pd

from sitekit import words
from sitekit.planting.mulch import Mulch, Shape, edge_loss, mulch_of
from sitekit.planting.terms import Limits, Prices
from sitekit.planting.years import Lot

#: Guard about a stem: its width, the seam, and what is dug in. [m]
GUARD_WIDTH, SEAM, DUG_IN = 0.25, 0.05, 0.1
#: Width of a gate. [m]
GATE_WIDTH = 3.0
#: Ground loosened about a tree. [m²] Common practice, no source.
LOOSENED = 4.0
#: Summers in which a young tree is watered.
WATERED = 3
COLUMNS = ("year", "item", "quantity", "unit", "price", "cost", "source")
PRACTICE = "common practice, no source"
GIVEN = "prices and rates of the site file, else common practice, no source"


def guard_height(limits: Limits) -> float:
    """Tell how high a guard stands: the usual snow and what reaches above it. [m].

    Examples
    --------
    >>> guard_height(Limits(snow_m=0.6))
    1.1
    """
    return round(limits.snow_m + limits.guard_allowance_m, 2)


def guard_mesh(limits: Limits) -> float:
    """Tell the mesh of one guard, dug in and with its seam. [m²]."""
    return (pi * GUARD_WIDTH + SEAM) * (guard_height(limits) + DUG_IN)


def break_even_trees(
    guard: float, fence_m: float, spacing: float = 5.0, setback: float = 3.0
) -> float:
    """Tell from how many trees in a square block a fence costs less than guards.

    Parameters
    ----------
    guard : float
        Price of a guard.
    fence_m : float
        Price of a metre of fence.
    spacing : float
        Between trees, both ways. [m]
    setback : float
        Fence outside the ground of the trees. [m]

    Returns
    -------
    trees : float
        Infinite where guards cost nothing.

    Examples
    --------
    >>> round(break_even_trees(25.0, 12.0)), round(break_even_trees(25.0, 8.0))
    (114, 55)
    """
    if guard <= 0:
        return float("inf")
    # guard n = 4 fence (spacing sqrt(n) + 2 setback): a square equation of sqrt(n).
    half = 2 * fence_m * spacing / guard
    root = half + sqrt(half**2 + 8 * fence_m * setback / guard)
    return root**2


@dataclass(frozen=True)
class Fence:
    """A fence about one block, or none where guards cost less.

    Parameters
    ----------
    block : int
        Its number.
    length : float
        [m]
    corners, posts, gates : int
        Posts between the corners.
    money, days : float
        To build it.
    """

    block: int
    length: float
    corners: int
    posts: int
    gates: int
    money: float
    days: float


def price_fence(
    block: int, length: float, corners: int, limits: Limits, prices: Prices
) -> Fence:
    """Price a fence with one gate.

    Parameters
    ----------
    block : int
        Block that it surrounds.
    length : float
        Along the ground, the gate included. [m]
    corners : int
        Its corners.
    limits, prices : Limits, Prices
        Distance of posts, prices.
    """
    posts = max(ceil(length / limits.fence_post_m) - corners, 0)
    mesh = max(length - GATE_WIDTH, 0.0)
    days = prices.days_fence_m * length
    money = mesh * prices.fence_m + corners * prices.fence_corner + prices.gate
    return Fence(block, length, corners, posts, 1, money + days * prices.day, days)


def fence_pays(fence: Fence, trees: int, prices: Prices) -> bool:
    """Tell whether a fence costs less than the guards of the trees in it."""
    return fence.money < trees * prices.guard


@dataclass(frozen=True)
class Kind:
    """What one tree of a lot takes.

    Parameters
    ----------
    bush : bool
        Whether it is a bush: no stake and no guard.
    fenced : bool
        Whether a fence stands about it: no guard.
    shape : Shape
        Mulched ground of a tree.
    loosened, mound : bool
        Whether tests ask for loosening, or for a mound.
    """

    bush: bool
    fenced: bool
    shape: Shape
    loosened: bool = False
    mound: bool = False

    @property
    def guarded(self) -> bool:
        """Whether it gets a guard of its own."""
        return not (self.bush or self.fenced)

    @property
    def cardboard(self) -> float:
        """Cardboard under a strip or a disc; a block needs none. [m²]."""
        return 0.0 if self.shape.name == "block" else self.shape.area


def money_first(kind: Kind, limits: Limits, prices: Prices) -> float:
    """Tell what one tree costs in its first year, paid days included."""
    mulch = mulch_of(limits)
    price = prices.bush if kind.bush else prices.tree + prices.stake
    price += prices.guard if kind.guarded else 0.0
    price += mulch.depth * kind.shape.area * prices.mulch_m3
    price += kind.cardboard * prices.cardboard_m2
    price += kind.shape.edge * prices.edge_price[limits.edge]
    price += LOOSENED * prices.loosening_m2 if kind.loosened else 0.0
    price += prices.mound if kind.mound else 0.0
    price += _water(limits) * prices.water_m3
    return price + prices.day * days_first(kind, limits, prices)


def money_keep(kind: Kind, limits: Limits, prices: Prices) -> float:
    """Tell what one tree costs in every later year."""
    edge = prices.edge_price[limits.edge] / prices.edge_years[limits.edge]
    lasting = kind.shape.edge * edge if limits.edge != "none" else 0.0
    mulch = keep_mulch(kind.shape, limits, prices) * prices.mulch_m3
    return lasting + mulch + prices.day * days_keep(kind, limits, prices)


def keep_mulch(shape: Shape, limits: Limits, prices: Prices) -> float:
    """Tell the mulch that keeps the ground of one tree a year, its edge too. [m³]."""
    mulch = mulch_of(limits)
    return mulch.hold * shape.area + edge_loss(shape, mulch, limits, prices)


def days_first(kind: Kind, limits: Limits, prices: Prices) -> float:
    """Tell the work on one tree in its first year. [day]."""
    spread = mulch_of(limits).depth * kind.shape.area * prices.days_mulch_m3
    return prices.days_tree + spread + kind.shape.edge * prices.edge_days[limits.edge]


def days_keep(kind: Kind, limits: Limits, prices: Prices) -> float:
    """Tell the work on one tree in every later year. [day]."""
    spread = keep_mulch(kind.shape, limits, prices) * prices.days_mulch_m3
    edge = kind.shape.edge * prices.edge_days[limits.edge]
    return prices.days_care + spread + edge


def _water(limits: Limits) -> float:
    """Water for one young tree in a summer. [m³]."""
    return limits.water_l * limits.waterings / 1000


def make_lot(
    block: int,
    fruit: str,
    trees: int,
    worth: float,
    kind: Kind,
    limits: Limits,
    prices: Prices,
    *,
    fence: Fence | None = None,
) -> Lot:
    """Put together what the trees of one fruit in one block take."""
    first = (
        money_first(kind, limits, prices),
        mulch_of(limits).depth * kind.shape.area,
        days_first(kind, limits, prices),
        1.0,
    )
    keep = (
        money_keep(kind, limits, prices),
        keep_mulch(kind.shape, limits, prices),
        days_keep(kind, limits, prices),
        0.0,
    )
    begun = (fence.money, 0.0, fence.days, 0.0) if fence else (0.0, 0.0, 0.0, 0.0)
    return Lot(block, fruit, trees, worth, first, keep, begun)


@dataclass(frozen=True)
class Step:
    """Trees of one lot in one year.

    Parameters
    ----------
    year : int
        From 1.
    fruit : str
        The fruit.
    kind : Kind
        What one of them takes.
    planted, older, young : int
        Planted in that year; planted before; of those, still watered.
    fence : Fence or None
        Built in that year.
    """

    year: int
    fruit: str
    kind: Kind
    planted: int
    older: int
    young: int
    fence: Fence | None = None


def list_quantities(
    steps: Sequence[Step], limits: Limits, prices: Prices
) -> pd.DataFrame:
    """List what every year takes, with waste where there is any.

    Parameters
    ----------
    steps : sequence of Step
        Lots by year.
    limits, prices : Limits, Prices
        Depths, heights and prices.

    Returns
    -------
    quantities : DataFrame
        ``year``, ``item``, ``quantity``, ``unit``, ``price``, ``cost``,
        ``source``; things that nothing is needed of are left out.
    """
    rows: list[tuple[object, ...]] = []
    for year in sorted({step.year for step in steps}):
        here = [step for step in steps if step.year == year]
        rows += [
            (year, item, amount, unit, price, amount * price, source)
            for item, amount, unit, price, source in _year_items(here, limits, prices)
            if amount > 0
        ]
    return pd.DataFrame(rows, columns=list(COLUMNS))


Item = tuple[str, float, str, float, str]


def _year_items(steps: Sequence[Step], limits: Limits, prices: Prices) -> list[Item]:
    items: list[Item] = []
    for fruit in dict.fromkeys(step.fruit for step in steps):
        planted = [s for s in steps if s.fruit == fruit]
        price = prices.bush if planted[0].kind.bush else prices.tree
        name = f"young {words.fruit_name(fruit)}"
        items.append((name, sum(s.planted for s in planted), "piece", price, GIVEN))
    items += _protection(steps, limits, prices)
    items += _fences(steps, limits, prices)
    items += _mulching(steps, limits, prices)
    return items + _soil(steps, limits, prices)


def _protection(steps: Sequence[Step], limits: Limits, prices: Prices) -> list[Item]:
    guards = sum(s.planted for s in steps if s.kind.guarded)
    stakes = sum(s.planted for s in steps if not s.kind.bush)
    high = words.with_unit(guard_height(limits), "m", 1)
    mesh = words.with_unit(limits.mesh_mm, "mm")
    why = (
        f"usual snow {words.with_unit(limits.snow_m, 'm', 1)} and "
        f"{words.with_unit(limits.guard_allowance_m, 'm', 1)} for hares and voles: "
        f"{PRACTICE}"
    )
    area = guards * guard_mesh(limits) * (1 + limits.waste)
    return [
        (f"guard, {high} above ground, {DUG_IN:g} m dug in", guards, "piece",
         prices.guard, why),
        (f"mesh of {mesh} for the guards, in their price", area, "m²", 0.0, why),
        ("stake", stakes, "piece", prices.stake, GIVEN),
    ]  # fmt: skip


def _fences(steps: Sequence[Step], limits: Limits, prices: Prices) -> list[Item]:
    built = [s.fence for s in steps if s.fence is not None]
    if not built:
        return []
    high = words.with_unit(limits.fence_height_m + limits.snow_m, "m", 1)
    line = sum(f.length for f in built) - GATE_WIDTH * sum(f.gates for f in built)
    corners = sum(f.corners for f in built)
    return [
        (f"fence line, {high} high, snow included", line, "m", prices.fence_m, GIVEN),
        ("fence corner, strutted", corners, "piece", prices.fence_corner, GIVEN),
        ("fence post, in the price of the line", sum(f.posts for f in built), "piece",
         0.0, GIVEN),
        ("gate", sum(f.gates for f in built), "piece", prices.gate, GIVEN),
    ]  # fmt: skip


def _mulching(steps: Sequence[Step], limits: Limits, prices: Prices) -> list[Item]:
    mulch = mulch_of(limits)
    waste = 1 + limits.waste
    first = sum(s.planted * s.kind.shape.area for s in steps) * mulch.depth
    keep = sum(s.older * keep_mulch(s.kind.shape, limits, prices) for s in steps)
    edge = sum((s.planted + s.older) * s.kind.shape.edge for s in steps)
    boards = sum(s.planted * s.kind.cardboard for s in steps) * waste
    lasting = 0.0 if limits.edge == "none" else edge
    return [
        (f"mulch, first lay of {words.with_unit(mulch.depth, 'm', 2)}", first, "m³",
         prices.mulch_m3, settling(mulch)),
        ("mulch to keep older ground", keep, "m³", prices.mulch_m3, settling(mulch)),
        ("loads of mulch", ceil((first + keep) / limits.load_m3 - 1e-9), "load", 0.0,
         f"{limits.load_m3:g} m³ a load"),
        ("cardboard under strips and discs", boards, "m²", prices.cardboard_m2, GIVEN),
        (f"edge of mulch held by {limits.edge}", lasting, "m", 0.0, PRACTICE),
    ]  # fmt: skip


def settling(mulch: Mulch) -> str:
    """Say how mulch settles and when it is laid anew."""
    half = words.number(mulch.half_life, 1)
    again = words.number(mulch.relay_after(), 1)
    after = [words.with_unit(100 * mulch.depth_after(year), "cm") for year in (1, 2)]
    return (
        f"half of it is gone after {half} years ({after[0]} left after one, "
        f"{after[1]} after two); spent after {again}, laid anew within "
        f"{words.number(mulch.months / 12, 1)} years: {PRACTICE}"
    )


def _soil(steps: Sequence[Step], limits: Limits, prices: Prices) -> list[Item]:
    young = sum(s.planted + s.young for s in steps)
    loosened = LOOSENED * sum(s.planted for s in steps if s.kind.loosened)
    mounds = sum(s.planted for s in steps if s.kind.mound)
    deep = words.with_unit(limits.loosen_m, "m", 1)
    return [
        (f"water, first {WATERED} summers", young * _water(limits), "m³",
         prices.water_m3, PRACTICE),
        (f"loosening {deep} deep, only when dry enough to shatter", loosened, "m²",
         prices.loosening_m2, f"tests there are slow; {PRACTICE}"),
        ("mound", mounds, "piece", prices.mound, f"water was seen there; {PRACTICE}"),
        ("soil for mounds", mounds * limits.mound_m3, "m³", 0.0, PRACTICE),
    ]  # fmt: skip
