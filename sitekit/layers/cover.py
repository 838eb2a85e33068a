"""What the ground is covered with, and what that does on a clear still night."""

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True)
class Cover:
    """One kind of ground cover.

    Parameters
    ----------
    names : tuple of str
        Words for it in the ``cover`` input.
    production : float
        Cold air made, against short grass.
    deficit : float
        How much colder that air is than the air above. [K]
    drag : float
        Drag coefficient.
    warmth : float
        Effect on the night minimum at 1.5 m against short grass. [degC]
    """

    names: tuple[str, ...]
    production: float
    deficit: float
    drag: float
    warmth: float


#: Kinds by code. Order of the drag by bulk values of drainage flow (Manins &
#: Sawford 1979 type); signs of the warmth by FAO Environment and Natural Resources
#: 10 (Snyder & de Melo-Abreu 2005) and O'Connell & Snyder 1999; sizes from memory.
COVERS: tuple[Cover, ...] = (
    Cover(("short grass",), 1.0, 4.0, 0.03, 0.0),
    Cover(("tall grass", "stubble"), 1.1, 4.0, 0.05, -0.3),
    Cover(("bare", "bare moist"), 0.7, 4.0, 0.02, 0.5),
    Cover(("orchard", "scrub"), 1.0, 3.5, 0.10, 0.0),
    Cover(("wood",), 1.3, 2.5, 0.30, 0.0),
    Cover(("roofs", "asphalt", "yard"), 0.3, 4.0, 0.05, 0.0),
    Cover(("ice", "snow"), 1.0, 5.0, 0.015, -1.5),
    Cover(("open water",), 0.0, 4.0, 0.015, 0.0),
    Cover(("mulch", "loose mulch"), 1.0, 4.0, 0.03, -0.5),
    Cover(("peat",), 1.0, 4.0, 0.03, -1.0),
)
SHORT_GRASS = 0
#: Deficit of the air over short grass, against which pools are told. [K]
GRASS_DEFICIT = COVERS[SHORT_GRASS].deficit


def cover_code(name: str) -> int:
    """Find the code of a kind of cover; short grass where it is not known.

    Parameters
    ----------
    name : str
        Word for it.

    Returns
    -------
    code : int
        Position in `COVERS`.

    Examples
    --------
    >>> cover_code("wood"), cover_code("something else")
    (4, 0)
    """
    return next((i for i, c in enumerate(COVERS) if name in c.names), SHORT_GRASS)


def of_cover(quantity: str, codes: NDArray[np.uint8]) -> NDArray[np.float32]:
    """Read a quantity of the cover of each cell.

    Parameters
    ----------
    quantity : {"production", "deficit", "drag", "warmth"}
        Which one.
    codes : ndarray of uint8
        Codes of cover.

    Returns
    -------
    values : ndarray of float32
        The quantity.
    """
    table: NDArray[Any] = np.array([getattr(c, quantity) for c in COVERS], np.float32)
    values: NDArray[np.float32] = table[codes]
    return values
