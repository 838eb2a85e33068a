"""Barriers and woods: what is taken where the file does not say it."""

import numpy as np
import pandas as pd
from geopandas import GeoDataFrame
from numpy.typing import NDArray
from rasterio import features

from sitekit import words
from sitekit.grid import Grid
from sitekit.io.schemas import BARRIER_KINDS
from sitekit.site import Remark

#: Openness where it is not given; all other kinds are closed.
OPENNESS = {"hedge": 0.3, "wood": 0.35, "fence": 0.95}
#: Height of a wood that names none: common practice, no source. [m]
WOOD_HEIGHT = 12.0


def settle_barriers(
    barriers: GeoDataFrame, water: GeoDataFrame, file: str
) -> tuple[GeoDataFrame, list[Remark]]:
    """Fill in what barriers do not say, and leave out those without a height.

    Parameters
    ----------
    barriers : GeoDataFrame
        With the columns of the input.
    water : GeoDataFrame
        Water, to find barriers that stand in it.
    file : str
        Name for the remarks.

    Returns
    -------
    barriers : GeoDataFrame
        Each with a known kind, a height above 0 and an openness.
    remarks : list of Remark
        Everything assumed.
    """
    remarks = []
    settled = barriers.copy()
    unknown = ~settled["kind"].isin(BARRIER_KINDS)
    for word in sorted(set(settled.loc[unknown, "kind"])):
        said = f'kind "{word}" is not known' if word else "kind is not given"
        text = f"{said}; counted as other"
        remarks.append(Remark("doubtful", file, text))
    settled.loc[unknown, "kind"] = "other"
    low = ~(settled["height_m"] > 0)
    for name in _names(settled[low]):
        text = f"{name} has no height and is left out; give height_m"
        remarks.append(Remark("doubtful", file, text))
    settled = settled[~low].reset_index(drop=True)
    remarks += _fill_openness(settled, file)
    for name in _names(settled[_stands_in(settled, water)]):
        text = f"{name} stands in water; check where it is drawn"
        remarks.append(Remark("doubtful", file, text))
    return settled, remarks


def _fill_openness(barriers: GeoDataFrame, file: str) -> list[Remark]:
    """Fill the openness by kind, in place, and say it."""
    silent = barriers["openness"].isna()
    remarks = []
    for kind, count in barriers.loc[silent, "kind"].value_counts().items():
        value = OPENNESS.get(str(kind), 0.0)
        text = (
            f"openness of {_several(int(count), str(kind))} is not given; "
            f"{value:g} is used"
        )
        if value == 0:
            text += ": it then holds all the air that it can"
        remarks.append(Remark("doubtful", file, text))
    usual = barriers["kind"].map(OPENNESS).fillna(0.0)
    barriers["openness"] = barriers["openness"].where(~silent, usual).astype(float)
    return remarks


def _stands_in(barriers: GeoDataFrame, water: GeoDataFrame) -> pd.Series:
    if water.empty or barriers.empty:
        return pd.Series(False, index=barriers.index)
    within: pd.Series = barriers.geometry.centroid.within(water.union_all())
    return within


def _several(count: int, kind: str) -> str:
    if kind == "other":
        return f"{count} {'barrier' if count == 1 else 'barriers'} of other kind"
    return f"{count} {kind if count == 1 else f'{kind}s'}"


def _names(barriers: GeoDataFrame) -> list[str]:
    return [
        f'{kind} "{name}"' if name else f"{kind} {number}"
        for number, name, kind in zip(
            barriers.index + 1, barriers["name"], barriers["kind"], strict=True
        )
    ]


def settle_woodland(
    woodland: GeoDataFrame, file: str
) -> tuple[GeoDataFrame, list[Remark]]:
    """Fill in what woods do not say: height, and closed crowns.

    Parameters
    ----------
    woodland : GeoDataFrame
        With the columns of the input.
    file : str
        Name for the remarks.

    Returns
    -------
    woodland : GeoDataFrame
        Each with a height and an openness of its crowns.
    remarks : list of Remark
        Everything assumed.
    """
    settled = woodland.copy()
    remarks = []
    silent = ~(settled["height_m"] > 0)
    if silent.any():
        text = (
            f"height of {_several(int(silent.sum()), 'wood')} is not given; "
            f"{words.with_unit(WOOD_HEIGHT, 'm')} is used"
        )
        remarks.append(Remark("doubtful", file, text))
    settled.loc[silent, "height_m"] = WOOD_HEIGHT
    settled["openness"] = settled["openness"].fillna(0.0)
    return settled, remarks


def burn_woodland(
    woodland: GeoDataFrame, grid: Grid
) -> tuple[NDArray[np.float32], NDArray[np.bool_]]:
    """Put woods on the grid: the highest where several overlap.

    Parameters
    ----------
    woodland : GeoDataFrame
        Settled woods on the grid's coordinate system.
    grid : Grid
        The grid.

    Returns
    -------
    canopy_height : (row, column) ndarray of float32
        Height × (1 − openness of the crowns), 0 where no wood is. [m]
    evergreen : (row, column) ndarray of bool
        Woods that keep their leaves.
    """
    effective = woodland["height_m"] * (1 - woodland["openness"])
    order = np.argsort(effective.to_numpy(), kind="stable")
    shapes = list(
        zip(
            woodland.geometry.iloc[order],
            effective.iloc[order].astype(float),
            strict=True,
        )
    )
    if not shapes:
        return np.zeros(grid.shape, np.float32), np.zeros(grid.shape, bool)
    canopy: NDArray[np.float32] = features.rasterize(
        shapes, grid.shape, transform=grid.transform, dtype=np.float32
    )
    return canopy, burn_mask(woodland[woodland["evergreen"]], grid)


def burn_mask(frame: GeoDataFrame, grid: Grid) -> NDArray[np.bool_]:
    """Mark the cells whose centre lies in a shape."""
    if frame.empty:
        return np.zeros(grid.shape, bool)
    burnt: NDArray[np.uint8] = features.rasterize(
        list(frame.geometry), grid.shape, transform=grid.transform, dtype=np.uint8
    )
    return burnt.astype(bool)
