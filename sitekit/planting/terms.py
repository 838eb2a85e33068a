"""What is wanted, what there is a year, and what things cost: every number, once.

Each field is a key of the site file, with its default, unit, bounds and source.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field, fields
from typing import Annotated, Any, TypeVar, get_type_hints

from sitekit.settings import Setting

#: Ways to use fruit.
USES = ("fresh", "stored", "juice", "dried")
#: Ways to hold the edge of mulch against grass.
EDGES = (
    "none",
    "spade-cut strip",
    "mown strip",
    "cardboard lap",
    "untreated board",
    "steel",
    "animal run",
)
SHAPES = ("block", "strip", "disc")

Number = float
Years = tuple[float, ...]
Shares = Mapping[str, float]


@dataclass(frozen=True)
class Need:
    """What is wanted: `[need]`.

    Parameters
    ----------
    fruit : mapping of str to (float or mapping)
        Kilograms a year by fruit, or a table of ``kg``, ``use`` and ``group``.
    """

    people: Annotated[
        Number,
        Setting(
            "1",
            "People who eat from it; or name a fruit with its kilograms a year.",
            low=0,
        ),
    ] = 0.0
    kg_a_head: Annotated[
        Number, Setting("kg", "Orchard fruit eaten by each in a year.", low=0)
    ] = 60.0
    use: Annotated[
        str, Setting("", "Use of fruit whose use is not named.", choices=USES)
    ] = "stored"
    cull: Annotated[
        Number,
        Setting("1", "Share of fresh and stored fruit sorted out.", low=0, high=0.9),
    ] = 0.20
    storage_loss: Annotated[
        Number, Setting("1", "Share of stored fruit lost by spring.", low=0, high=0.9)
    ] = 0.25
    juice_loss: Annotated[
        Number, Setting("1", "Share sorted out before pressing.", low=0, high=0.9)
    ] = 0.05
    drying_loss: Annotated[
        Number, Setting("1", "Share trimmed off before drying.", low=0, high=0.9)
    ] = 0.10
    kg_a_tree: Annotated[
        Shares,
        Setting(
            "kg",
            "Your own mean crop of a grown tree by fruit, on and off years.",
            low=1,
        ),
    ] = field(default_factory=dict)
    cool_site: Annotated[
        Number,
        Setting(
            "1",
            "Crop of the book that a cool place gives until proven.",
            low=0.1,
            high=1,
        ),
    ] = 0.5
    on_off: Annotated[
        Number,
        Setting("1", "Swing of on and off years about the mean crop.", low=0, high=0.9),
    ] = 0.3
    bad_years: Annotated[
        Number,
        Setting("1", "Poor-crop years in ten where no record tells.", low=0, high=10),
    ] = 3.0
    bad_year_takes: Annotated[
        Number, Setting("1", "Share of the crop that a poor year takes.", low=0, high=1)
    ] = 0.8
    cellar_degc: Annotated[
        Number, Setting("degC", "Temperature of the store.", low=-1, high=15)
    ] = 4.0
    fruit: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True)
class Limits:
    """What there is a year, and how the ground is kept: `[limits]`."""

    by_year: Annotated[
        int, Setting("year", "Year by which the need is to be met.", low=0, high=50)
    ] = 0
    years: Annotated[
        int,
        Setting(
            "year", "Years that are planned where none are listed.", low=1, high=20
        ),
    ] = 4
    money: Annotated[Years, Setting("", "Money, a year or a list by year.", low=0)] = ()
    mulch_m3: Annotated[
        Years, Setting("m³", "Mulch, a year or a list by year.", low=0)
    ] = ()
    work_days: Annotated[
        Years, Setting("days", "Working days, a year or a list by year.", low=0)
    ] = ()
    trees: Annotated[
        Years, Setting("1", "Young trees to be had, a year or a list by year.", low=0)
    ] = ()
    mulch_depth_m: Annotated[
        Number, Setting("m", "Depth of mulch as laid.", low=0.02, high=1)
    ] = 0.4
    mulch_left_m: Annotated[
        Number,
        Setting("m", "Depth left of it after `mulch_months`.", low=0.005, high=1),
    ] = 0.075
    mulch_months: Annotated[
        Number,
        Setting("months", "Time until that is left; then it is laid anew.", low=1),
    ] = 36.0
    grass_creep_m: Annotated[
        Number, Setting("m", "Grass that grows into an uncut edge in a year.", low=0)
    ] = 0.75
    edge: Annotated[
        str, Setting("", "How the edge of the mulch is held.", choices=EDGES)
    ] = "spade-cut strip"
    mulch_shape: Annotated[
        str,
        Setting(
            "",
            "Shape of mulch: block, strip, disc; empty: chosen by what mulch holds.",
            choices=("", *SHAPES),
        ),
    ] = ""
    strip_width_m: Annotated[
        Number, Setting("m", "Width of a mulched strip along a row.", low=0.3)
    ] = 1.5
    disc_radius_m: Annotated[
        Number, Setting("m", "Radius of a mulched disc about a tree.", low=0.3)
    ] = 1.0
    keep_mulched_m2: Annotated[
        Number,
        Setting("m²", "Ground under mulch that is kept; below 0: all of it.", low=-1),
    ] = -1.0
    rows_together: Annotated[
        int, Setting("1", "Rows planted side by side as one compact piece.", low=1)
    ] = 4
    taped_length_m: Annotated[
        Number,
        Setting(
            "m", "Length taped between the two ends of a baseline; 0: none.", low=0
        ),
    ] = 0.0
    load_m3: Annotated[Number, Setting("m³", "Mulch in a load.", low=0.1)] = 10.0
    snow_m: Annotated[Number, Setting("m", "Usual depth of snow.", low=0, high=5)] = 0.3
    guard_allowance_m: Annotated[
        Number, Setting("m", "Guard above the snow: hares and voles.", low=0, high=3)
    ] = 0.5
    mesh_mm: Annotated[
        Number, Setting("mm", "Mesh of guards, fine enough for voles.", low=1)
    ] = 6.0
    fence_height_m: Annotated[
        Number, Setting("m", "Height of a fence above the usual snow.", low=0.3)
    ] = 1.5
    fence_setback_m: Annotated[
        Number, Setting("m", "Fence outside the outer trees.", low=0)
    ] = 3.0
    fence_post_m: Annotated[Number, Setting("m", "Distance of fence posts.", low=1)] = (
        4.0
    )
    water_l: Annotated[
        Number, Setting("l", "Water for a young tree, each time.", low=0)
    ] = 20.0
    waterings: Annotated[
        Number, Setting("1", "Waterings in each of the first three summers.", low=0)
    ] = 8.0
    loosen_m: Annotated[
        Number, Setting("m", "Depth of loosening where a test is slow.", low=0)
    ] = 0.5
    mound_m3: Annotated[
        Number, Setting("m³", "Soil of a mound where water stands.", low=0)
    ] = 1.0
    waste: Annotated[
        Number, Setting("1", "Added to quantities for waste.", low=0, high=1)
    ] = 0.05


def _edge(*values: float) -> dict[str, float]:
    return dict(zip(EDGES, values, strict=True))


@dataclass(frozen=True)
class Prices:
    """What things cost, in money and in working days: `[prices]`."""

    tree: Annotated[Number, Setting("a tree", "Young tree.", low=0)] = 22.0
    bush: Annotated[Number, Setting("a bush", "Young bush.", low=0)] = 6.0
    guard: Annotated[Number, Setting("a guard", "Guard of one tree.", low=0)] = 25.0
    stake: Annotated[Number, Setting("a stake", "Stake.", low=0)] = 5.0
    fence_m: Annotated[Number, Setting("a m", "Fence, posts included.", low=0)] = 12.0
    fence_corner: Annotated[
        Number, Setting("a corner", "Corner post with strut.", low=0)
    ] = 0.0
    gate: Annotated[Number, Setting("a gate", "Gate in a fence.", low=0)] = 150.0
    mulch_m3: Annotated[Number, Setting("a m³", "Mulch, delivered.", low=0)] = 0.0
    bought_mulch_m3: Annotated[
        Number,
        Setting("a m³", "Mulch if it had to be bought: values what is saved.", low=0),
    ] = 15.0
    cardboard_m2: Annotated[Number, Setting("a m²", "Cardboard.", low=0)] = 0.0
    water_m3: Annotated[Number, Setting("a m³", "Water, carried.", low=0)] = 0.0
    loosening_m2: Annotated[Number, Setting("a m²", "Loosening.", low=0)] = 1.0
    mound: Annotated[Number, Setting("a mound", "Mound of soil.", low=0)] = 15.0
    day: Annotated[Number, Setting("a day", "Working day that is paid.", low=0)] = 0.0
    days_tree: Annotated[
        Number, Setting("days", "To plant, stake and guard a tree.", low=0)
    ] = 0.1
    days_mulch_m3: Annotated[
        Number, Setting("days", "To carry and spread a m³ of mulch.", low=0)
    ] = 0.15
    days_fence_m: Annotated[
        Number, Setting("days", "To build a metre of fence.", low=0)
    ] = 0.03
    days_care: Annotated[
        Number, Setting("days", "To water, prune and look after a tree a year.", low=0)
    ] = 0.05
    edge_price: Annotated[
        Shares, Setting("a m", "Price of edges by name.", low=0, choices=EDGES)
    ] = field(default_factory=lambda: _edge(0, 0, 0, 0.3, 4, 12, 15))
    edge_days: Annotated[
        Shares, Setting("days a m and year", "Work on edges.", low=0, choices=EDGES)
    ] = field(default_factory=lambda: _edge(0, 0.008, 0.006, 0.01, 0.004, 0.003, 0.004))
    edge_years: Annotated[
        Shares, Setting("year", "How long edges last.", low=0.5, choices=EDGES)
    ] = field(default_factory=lambda: _edge(1, 1, 1, 2, 6, 25, 10))
    edge_holds: Annotated[
        Shares,
        Setting(
            "1", "Share of the creep that edges hold.", low=0, high=1, choices=EDGES
        ),
    ] = field(default_factory=lambda: _edge(0, 1, 0.3, 0.6, 0.7, 0.9, 0.9))


Terms = TypeVar("Terms", Need, Limits, Prices)


def terms_of(kind: type[Terms]) -> dict[str, tuple[Any, Setting]]:
    """List the keys of a section of the site file.

    Parameters
    ----------
    kind : type
        `Need`, `Limits` or `Prices`.

    Returns
    -------
    terms : dict
        Key to default and what it is.
    """
    hints = get_type_hints(kind, include_extras=True)
    usual = kind()
    return {
        one.name: (getattr(usual, one.name), note)
        for one in fields(kind)
        for note in getattr(hints[one.name], "__metadata__", ())
    }


def read_terms(kind: type[Terms], given: Mapping[str, Any]) -> Terms:
    """Fill a section with what was given; the rest keeps its defaults.

    Parameters
    ----------
    kind : type
        `Need`, `Limits` or `Prices`.
    given : mapping
        Values by key, checked before. Of a need, every other key is a fruit.

    Returns
    -------
    terms : Need, Limits or Prices
        Tables by name keep the defaults of names that are not given.

    Examples
    --------
    >>> read_terms(Need, {"people": 12, "pear": 900}).fruit
    {'pear': 900}
    >>> read_terms(Prices, {"edge_price": {"steel": 9.0}}).edge_price["animal run"]
    15
    """
    known = terms_of(kind)
    values: dict[str, Any] = {}
    for name, value in given.items():
        if name not in known:
            continue
        values[name] = _filled(known[name][0], value)
    if kind is Need:
        values["fruit"] = {n: v for n, v in given.items() if n not in known}
    return kind(**values)


def _filled(usual: object, value: Any) -> object:  # noqa: ANN401 - from the file
    """Take a number as a list of one, and fill up a table by name."""
    if isinstance(usual, tuple) and isinstance(value, int | float):
        return (float(value),)
    return {**usual, **value} if isinstance(usual, dict) else value
