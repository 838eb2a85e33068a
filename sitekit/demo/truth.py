"""What was planted in Averlow Shelf: read by the generator and by tests only.

No survey reads this module. Offsets are chosen, near what a model of the cold air
gives but never equal to it, so that an answer can be compared with them.
"""

from collections.abc import Mapping
from dataclasses import dataclass


@dataclass(frozen=True)
class Planted:
    """One part of the holding and what is true of it.

    Parameters
    ----------
    plot : str
        Plot that it belongs to.
    box : tuple of float
        West, south, east, north from the holding's corner. [m]
    offset : float
        Night minimum on a clear still night against the farm station. [degC]
    verdict : str
        What an adviser would say.
    after : mapping of str to float
        Offset after each change that moves it. [degC]
    unmoved : tuple of str
        Changes that must not move it.
    """

    plot: str
    box: tuple[float, float, float, float]
    offset: float
    verdict: str
    after: Mapping[str, float]
    unmoved: tuple[str, ...] = ()


PLANTED: Mapping[str, Planted] = {
    "meadow floor": Planted(
        "Mere Meadow",
        (500, 140, 900, 200),
        -3.3,
        "refused",
        {"Neck clearing": -3.2},
        ("gap A", "gap B"),
    ),
    "meadow rim": Planted(
        "Mere Meadow",
        (500, 225, 900, 245),
        -2.6,
        "refused; hardy apples after the clearing and a spring of readings",
        {"Neck clearing": -1.9},
    ),
    "hedge foot, west": Planted(
        "Hedge Field",
        (140, 303, 300, 321),
        -2.2,
        "refused; apples after gap A and readings",
        {"gap A": -1.6, "lifted foot": -1.1},
        ("gap B",),
    ),
    "hedge foot, middle": Planted(
        "Hedge Field",
        (440, 303, 500, 321),
        -1.6,
        "refused",
        {"gap B": -1.2, "lifted foot": -0.8},
        ("gap A",),
    ),
    "hedge foot, east": Planted(
        "Hedge Field",
        (600, 303, 800, 321),
        -0.9,
        "juice apples",
        {"lifted foot": -0.6},
    ),
    "upper Hedge Field": Planted(
        "Hedge Field", (300, 380, 800, 460), -0.4, "juice apples", {}
    ),
    "outer shelf": Planted(
        "The Shelf", (600, 486, 800, 520), 0.5, "pears and plums", {}
    ),
    "shelf by the dell": Planted(
        "The Shelf", (405, 486, 455, 545), -1.1, "refused within 35 m of the dell", {}
    ),
    "Down Edge": Planted(
        "Down Edge",
        (500, 762, 800, 850),
        0.9,
        "apples only with shelter, in five years; not now",
        {},
    ),
}


@dataclass(frozen=True)
class Pool:
    """A hollow as it lies in the terrain, measured on 4 m cells.

    Parameters
    ----------
    spill : float
        Level to which it fills. [m]
    depth : float
        Greatest depth. [m]
    land : float
        Area deeper than 5 cm off the mere. [m²]
    """

    spill: float
    depth: float
    land: float


#: The meadow with spruce in the underpass, and with it cleared.
MEADOW_SHUT = Pool(708.20, 6.2, 130_000)
MEADOW_CLEARED = Pool(703.20, 1.2, 26_000)
#: Depth and area of the pool behind hedge and wall, and how far it reaches.
HEDGE_DEPTH, HEDGE_AREA = 2.51, 3_552.0
HEDGE_WEST, HEDGE_EAST, HEDGE_NORTH = 126.0, 370.0, 326.0


@dataclass(frozen=True)
class Logger:
    """One logger and its secret.

    Parameters
    ----------
    name, place : str
        Its name, and where it stood in words.
    at : tuple of float
        East and north of the holding's corner. [m]
    part : str
        Key of `PLANTED`; empty for the yard.
    fault : {"", "sun", "clock"}
        Hung in the sun, or its clock an hour ahead.
    """

    name: str
    place: str
    at: tuple[float, float]
    part: str
    fault: str = ""

    @property
    def offset(self) -> float:
        """Planted offset. [degC]."""
        return PLANTED[self.part].offset if self.part else 0.0


LOGGERS = (
    Logger("L1", "yard of the farmhouse", (905, 470), ""),
    Logger("L2", "floor of Mere Meadow", (690, 168), "meadow floor"),
    Logger("L3", "upper rim of Mere Meadow", (690, 236), "meadow rim"),
    Logger("L4", "foot of Hedge Field, west", (220, 312), "hedge foot, west"),
    Logger("L5", "upper Hedge Field", (570, 420), "upper Hedge Field", "sun"),
    Logger("L6", "outer shelf", (660, 503), "outer shelf"),
    Logger("L7", "shelf by the dell", (430, 515), "shelf by the dell", "clock"),
    Logger("L8", "Down Edge", (655, 800), "Down Edge"),
)
