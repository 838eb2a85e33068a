"""Mulch: how it settles, how grass creeps in, and how much ground it can hold."""

from dataclasses import dataclass
from math import log, pi

from shapely.geometry.base import BaseGeometry

from sitekit.planting.terms import Limits, Prices

#: Share of the depth laid at which mulch no longer holds the grass down: 10 cm of
#: 40 cm. Common practice, no source.
SPENT = 0.25
#: Creep too small to be drawn. [m]
TINY = 1e-9


@dataclass(frozen=True)
class Mulch:
    """Mulch of one kind.

    Parameters
    ----------
    depth : float
        As laid. [m]
    left : float
        What is left of it after `months`. [m]
    months : float
        [month]
    """

    depth: float
    left: float
    months: float

    @property
    def decay(self) -> float:
        """Rate at which its depth falls. [1/year]."""
        return log(self.depth / self.left) / (self.months / 12)

    @property
    def half_life(self) -> float:
        """Time until half of its depth is left. [year].

        Examples
        --------
        >>> round(Mulch(0.4, 0.1, 36).half_life, 2)
        1.5
        """
        return log(2) / self.decay

    @property
    def hold(self) -> float:
        """Mulch that keeps a square metre a year, laid anew when spent. [m]."""
        return self.depth / (self.months / 12)

    def depth_after(self, years: float) -> float:
        """Tell the depth some years after it was laid. [m]."""
        return float(self.depth * 2 ** (-years / self.half_life))

    def relay_after(self, depth: float | None = None) -> float:
        """Tell when it has settled to a depth, a quarter of it if none is named."""
        return log(self.depth / (depth or SPENT * self.depth)) / self.decay


def mulch_of(limits: Limits) -> Mulch:
    """Read the mulch of the limits; it never grows."""
    left = min(limits.mulch_left_m, 0.99 * limits.mulch_depth_m)
    return Mulch(limits.mulch_depth_m, left, limits.mulch_months)


def ceiling(mulch_m3: float, mulch: Mulch, edge_m3: float = 0.0) -> float:
    """Tell how much ground a yearly heap can hold for good. [m²].

    Parameters
    ----------
    mulch_m3 : float
        Mulch a year. [m³]
    mulch : Mulch
        Its depth and settling.
    edge_m3 : float
        Mulch that a square metre loses at its edge in a year. [m³]

    Examples
    --------
    >>> round(ceiling(60.0, Mulch(0.4, 0.1, 36)))
    450
    """
    return mulch_m3 / (mulch.hold + edge_m3)


def lost_share(shape: BaseGeometry, creep: float) -> float:
    """Tell what share of mulched ground grass takes in a year.

    Parameters
    ----------
    shape : shapely geometry
        Mulched ground.
    creep : float
        Width that grass takes along every edge. [m]

    Examples
    --------
    >>> from shapely import box
    >>> round(lost_share(box(0, 0, 3, 75), 0.75), 2)
    0.51
    """
    if creep < TINY:
        return 0.0
    return float(1 - shape.buffer(-creep, join_style="mitre").area / shape.area)


@dataclass(frozen=True)
class Shape:
    """Mulched ground of one tree.

    Parameters
    ----------
    name : str
        ``block``, ``strip`` or ``disc``.
    area : float
        [m²]
    edge : float
        Edge that grass can cross. [m]
    """

    name: str
    area: float
    edge: float


def shape_of(
    name: str, spacing: float, row_spacing: float, limits: Limits, trees: int = 20
) -> Shape:
    """Tell ground and edge of one tree under a shape of mulch.

    Parameters
    ----------
    name : str
        ``block``: everything between the trees; ``strip``: along the row;
        ``disc``: about each tree.
    spacing, row_spacing : float
        [m]
    limits : Limits
        Width of a strip, radius of a disc, rows together.
    trees : int
        Trees that stand together; a block of few has much edge.

    Returns
    -------
    shape : Shape
        No larger than the ground of a tree.
    """
    whole = spacing * row_spacing
    if name == "disc":
        radius = min(limits.disc_radius_m, spacing / 2, row_spacing / 2)
        return Shape(name, pi * radius**2, 2 * pi * radius)
    width = min(limits.strip_width_m, row_spacing)
    if name == "strip":
        return Shape(name, spacing * width, 2 * spacing)
    rows = min(limits.rows_together, max(trees, 1))
    long = max(trees, 1) / rows * spacing
    around = 2 * (rows * row_spacing + long)
    return Shape(name, whole, around / max(trees, 1))


def edge_loss(shape: Shape, mulch: Mulch, limits: Limits, prices: Prices) -> float:
    """Tell the mulch that goes to win back an edge, a tree and year. [m³]."""
    open_share = 1 - prices.edge_holds[limits.edge]
    taken = min(limits.grass_creep_m * open_share * shape.edge, shape.area)
    return mulch.depth * taken


def held_trees(
    shape: Shape, mulch_m3: float, mulch: Mulch, limits: Limits, prices: Prices
) -> float:
    """Count the trees that a yearly heap can hold for good under a shape."""
    return mulch_m3 / (
        mulch.hold * shape.area + edge_loss(shape, mulch, limits, prices)
    )


def choose_shape(
    trees: float, spacing: float, row_spacing: float, limits: Limits, prices: Prices
) -> Shape:
    """Choose the shape of mulch, unless the grower did.

    A block where the mulch of the poorest year holds as many trees as are wanted,
    for it has the least edge; else a strip along the rows.

    Parameters
    ----------
    trees : float
        Trees wanted.
    spacing, row_spacing : float
        [m]
    limits, prices : Limits, Prices
        Mulch a year, edge, shape asked for.

    Returns
    -------
    shape : Shape
    """
    together = int(min(max(trees, 1), 400))
    block = shape_of("block", spacing, row_spacing, limits, together)
    if limits.mulch_shape:
        return shape_of(limits.mulch_shape, spacing, row_spacing, limits, together)
    if not limits.mulch_m3 or not trees:
        return block
    held = held_trees(block, min(limits.mulch_m3), mulch_of(limits), limits, prices)
    if held >= trees:
        return block
    return shape_of("strip", spacing, row_spacing, limits, together)
