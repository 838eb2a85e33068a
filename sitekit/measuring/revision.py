"""What readings and notes change: terms at loggers, weights, verdicts withdrawn."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd
from geopandas import GeoDataFrame
from numpy.typing import NDArray
from scipy.linalg import block_diag

from sitekit import words
from sitekit.grid import Grid
from sitekit.layers import season
from sitekit.layers.catalogue import find_layer
from sitekit.layers.night import night_length
from sitekit.measuring.correction import SENSOR, TERMS, Correction, Observed
from sitekit.measuring.nights import Offsets
from sitekit.settings import settings_of
from sitekit.site import Remark, Site

Layers = Mapping[str, NDArray[np.float32]]
Array = NDArray[np.float64]

#: What each term is called.
TERM_NAMES: Mapping[str, str] = {
    "background_warmth": "height above the low ground",
    "crest_warmth": "crests",
    "concave_warmth": "concave ground",
    "pool_warmth": "pools and paths of cold air",
    "still_warmth": "still air",
    "sky_warmth": "open sky",
    "cover_warmth": "ground cover",
    "lake_warmth_bloom": "the lake",
    "lapse": "fall of the minimum with height",
    "residual": "what no term explains",
    "barriers": "openness of hedges and walls",
}


@dataclass(frozen=True)
class Terms:
    """Terms of the night on the grid, against the reference place.

    Parameters
    ----------
    stack : tuple of (row, column) ndarray
        In the order of `TERMS`, at the strength of the survey's night. [degC]
    strength : float
        Of the survey's night.
    anchor : (2,) ndarray or None
        Easting and northing of the reference place; None for the field. [m]
    """

    stack: tuple[NDArray[np.float32], ...]
    strength: float
    anchor: Array | None

    def at(self, grid: Grid, points: Array) -> Array:
        """Read the terms at places; NaN off the grid."""
        return np.column_stack(
            [grid.sample(t, points[:, 0], points[:, 1]) for t in self.stack]
        )

    def as_read(self, terms: Array, strength: float) -> Array:
        """Put terms at the strength of the nights that were read."""
        scaled = terms * (strength / self.strength)
        scaled[:, -1] = terms[:, -1]
        return scaled


@dataclass(frozen=True)
class Revision:
    """What readings and notes changed.

    Parameters
    ----------
    loggers : GeoDataFrame
        One row a logger: ``logger``, ``nights``, ``observed_degc``, ``low_degc``,
        ``high_degc``, ``modelled_before_degc``, ``modelled_after_degc``,
        ``left_out_error_degc``.
    reference : str
        What readings are told against.
    nights : int
        Clear still nights used.
    chosen_by : str
        How they were told.
    weights : DataFrame
        ``term``, ``before``, ``after``, ``spread`` and ``share`` of the doubt that
        is left, the largest share first.
    left_out : float
        Root mean square of the left-out errors; NaN where there are none. [degC]
    changes : DataFrame
        Verdicts that changed: ``block``, ``fruit``, ``before``, ``after``,
        ``area_m2``, ``reason``.
    notes : GeoDataFrame
        Notes that tell of cold or warmth: ``date``, ``kind``, ``text``,
        ``says_degc``, ``before_degc``, ``after_degc``, and ``counts`` for those that
        counted as weak readings.
    remarks : tuple of Remark
        What was read, mended, left out.
    changed : bool
        Whether the map was corrected.
    summary : str
        The whole in one sentence.
    """

    loggers: GeoDataFrame
    reference: str
    nights: int
    chosen_by: str
    weights: pd.DataFrame
    left_out: float
    changes: pd.DataFrame
    notes: GeoDataFrame
    remarks: tuple[Remark, ...]
    changed: bool
    summary: str


def make_terms(site: Site, layers: Layers) -> Terms:
    """Put the terms of the night against the reference place.

    Parameters
    ----------
    site : Site
        The site.
    layers : mapping of str to (row, column) ndarray
        The terms and ``frost_night_offset``. [degC]

    Returns
    -------
    terms : Terms
        Their sum is the night offset.
    """
    known = settings_of(night_length)
    chosen = {n: v for n, v in site.settings.items() if n in known}
    hours = night_length(latitude=site.grid.latitude, **chosen)
    strength = season.night_strength(float(hours))
    default = find_layer("frost_night_offset").settings["night_lapse"][0]
    lapse = float(site.settings.get("night_lapse", default))
    stack = [strength * layers[n] for n in list(TERMS)[:-1]] + [-lapse * site.elevation]
    anchor, cell = _reference(site, layers["frost_night_offset"])
    return Terms(
        tuple((t - t[cell]).astype(np.float32) for t in stack), strength, anchor
    )


def _reference(
    site: Site, offset: NDArray[np.float32]
) -> tuple[Array | None, tuple[int, int]]:
    """Find the cell that offsets are told against: the place, or one of the middle."""
    if site.reference is not None:
        place = np.array([site.reference.easting, site.reference.northing])
        row, column = site.grid.cells(place[0], place[1])
        if bool(site.grid.holds(row, column)):
            return place, (int(row), int(column))
    inside = np.where(site.field_mask, np.abs(offset), np.inf)
    inside = np.where(np.isfinite(inside), inside, np.inf)
    middle = np.unravel_index(int(inside.argmin()), inside.shape)
    return None, (int(middle[0]), int(middle[1]))


def observe_loggers(
    site: Site, terms: Terms, loggers: GeoDataFrame, offsets: Offsets
) -> tuple[Observed, list[str], list[Remark]]:
    """Set the readings beside the modelled terms.

    Parameters
    ----------
    site : Site
        The site.
    terms : Terms
        Terms on its grid.
    loggers : GeoDataFrame
        Where loggers stood.
    offsets : Offsets
        What they read.

    Returns
    -------
    observed : Observed
        One reading a logger on the grid.
    names : list of str
        The loggers, in that order.
    remarks : list of Remark
        Loggers that are left out.
    """
    rows = loggers.set_index("logger").loc[list(offsets.table.index)]
    points = np.column_stack([rows.geometry.x, rows.geometry.y])
    there = terms.at(site.grid, points)
    known = np.isfinite(there).all(axis=1)
    remarks = [
        Remark("doubtful", str(n), "stands where the map tells nothing; it is left out")
        for n in rows.index[~known]
    ]
    table = offsets.table[known]
    return (
        Observed(
            terms.as_read(there[known], offsets.strength),
            points[known],
            table["offset"].to_numpy(float),
            np.diag(table["error"].fillna(SENSOR).to_numpy(float) ** 2),
            np.ones(len(table), bool),
        ),
        [str(n) for n in table.index],
        remarks,
    )


def join_observed(one: Observed, other: Observed) -> Observed:
    """Put two sets of readings together."""
    return Observed(
        np.vstack([one.terms, other.terms]),
        np.vstack([one.points, other.points]),
        np.concatenate([one.offset, other.offset]),
        block_diag(one.noise, other.noise),
        np.concatenate([one.zero, other.zero]),
    )


def weigh_terms(
    correction: Correction,
    terms: Terms,
    field: NDArray[np.bool_],
    barrier_doubt: NDArray[np.float32],
) -> pd.DataFrame:
    """Tell the weight of each term, and its share of the doubt that is left.

    Parameters
    ----------
    correction : Correction
        What was fitted.
    terms : Terms
        Terms on the grid.
    field : (row, column) ndarray of bool
        Ground that is asked about.
    barrier_doubt : (row, column) ndarray
        Doubt from the openness of barriers. [degC]

    Returns
    -------
    weights : DataFrame
        See `Revision`.
    """
    rows = [
        {
            "term": TERM_NAMES[name],
            "before": 1.0,
            "after": float(correction.weights[i]),
            "spread": float(correction.spread[i]),
            "doubt": float(np.nanmean(terms.stack[i][field] ** 2))
            * float(correction.spread[i]) ** 2,
        }
        for i, name in enumerate(TERMS)
    ]
    for name, doubt in (
        ("residual", correction.residual**2),
        ("barriers", float(np.nanmean(barrier_doubt[field] ** 2))),
    ):
        row = {"before": np.nan, "after": np.nan, "spread": np.nan, "doubt": doubt}
        rows.append({"term": TERM_NAMES[name], **row})
    table = pd.DataFrame(rows)
    table["share"] = table["doubt"] / table["doubt"].sum()
    return (
        table.drop(columns="doubt")
        .sort_values("share", ascending=False)
        .reset_index(drop=True)
    )


def compare_verdicts(
    spots: GeoDataFrame, blocks: GeoDataFrame, before: Layers, after: Layers, grid: Grid
) -> pd.DataFrame:
    """Find the verdicts that changed, at the spots of the survey before.

    Parameters
    ----------
    spots, blocks : GeoDataFrame
        Spots and blocks of the survey before.
    before, after : mapping of str to (row, column) ndarray
        ``frost_night_offset`` and ``site_class_FRUIT`` before and after.
    grid : Grid
        The grid.

    Returns
    -------
    changes : DataFrame
        See `Revision`; the largest area first.
    """
    rows = []
    for (block, fruit), here in spots.groupby(["block", "fruit"], sort=True):
        where = here["easting_m"], here["northing_m"]
        codes = [
            grid.sample(layers[f"site_class_{fruit}"], *where)
            for layers in (before, after)
        ]
        warmth = [
            grid.sample(layers["frost_night_offset"], *where)
            for layers in (before, after)
        ]
        area = float(blocks.loc[blocks["block"] == block, "area_m2"].iloc[0])
        moved = pd.DataFrame({"before": codes[0], "after": codes[1]})
        moved["old"], moved["new"] = warmth
        judged = moved[(moved["before"] < 255) & (moved["after"] < 255)]
        for pair, part in judged.groupby(["before", "after"]):
            old, new = (int(float(str(code))) for code in pair)
            if old == new:
                continue
            rows.append(
                {
                    "block": block,
                    "fruit": fruit,
                    "before": words.SITE_CLASSES[old],
                    "after": words.SITE_CLASSES[new],
                    "area_m2": area * len(part) / len(here),
                    "reason": _why(part["old"].median(), part["new"].median()),
                }
            )
    columns = ["block", "fruit", "before", "after", "area_m2", "reason"]
    table = pd.DataFrame(rows, columns=columns)
    return table.sort_values("area_m2", ascending=False).reset_index(drop=True)


def _why(old: float, new: float) -> str:
    """Say what changed at the spots, in words."""
    was, now = (words.with_unit(v, "°C", 1) for v in (old, new))
    if abs(new - old) < 0.05:
        return f"clear still nights {now} as before; good ground near by has changed"
    return f"clear still nights {now} there, not {was}"
