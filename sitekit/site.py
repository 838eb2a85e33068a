"""A site: everything that was read, already on one grid and in one unit."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Literal

import numpy as np
import pandas as pd
from geopandas import GeoDataFrame
from numpy.typing import NDArray

from sitekit.grid import Grid

#: Vector inputs of a site besides the field, by the key of the site file.
VECTORS = (
    "water",
    "barriers",
    "woodland",
    "cover",
    "no_go",
    "neighbours",
    "buildings",
    "access",
    "services",
    "existing_trees",
    "mulched",
    "control_marks",
    "ground_tests",
    "notes",
)


@dataclass(frozen=True)
class Remark:
    """One thing to say about the inputs.

    Parameters
    ----------
    kind : {"read", "mended", "doubtful", "missing"}
        ``read``: taken as it is. ``mended``: changed, and how. ``doubtful``:
        what is assumed. ``missing``: what it would add.
    about : str
        File, key or thing.
    text : str
        One sentence or half-sentence for the user.
    """

    kind: Literal["read", "mended", "doubtful", "missing"]
    about: str
    text: str


@dataclass(frozen=True)
class ElevationModel:
    """What is known of the elevation that was given.

    Parameters
    ----------
    sources : tuple of str
        File names as they were given.
    source_cell : float
        Cell of the files on the ground, the coarsest of them. [m]
    surface : {"ground", "canopy"}
        Bare earth, or the top of what stands on it.
    noise : float
        Standard deviation of its vertical noise, estimated. [m]
    step : float
        Step of its heights, 0 where they are continuous. [m]
    attribution : str
        Licence and origin, where the file or the site file names them.
    grid_cell : float
        Cell of the grid that the heights were brought to, 0 where that of the
        files. [m]
    """

    sources: tuple[str, ...]
    source_cell: float
    surface: Literal["ground", "canopy"]
    noise: float
    step: float = 0.0
    attribution: str = ""
    grid_cell: float = 0.0

    @property
    def shown_cell(self) -> float:
        """Cell that a survey sees: of the files, or of a coarser grid. [m]."""
        return max(self.source_cell, self.grid_cell)

    @property
    def coarse(self) -> bool:
        """Whether no spot may be called better than *test first* by it alone."""
        # Grids count tenths of a metre: degrees never come to 5 m exactly.
        return round(self.shown_cell, 1) > 5.0 or self.surface == "canopy"


@dataclass(frozen=True)
class Reference:
    """The place that night offsets are told against.

    Parameters
    ----------
    name : str
        In words: ``the reference place``, ``the station``, ``the house``.
    easting, northing : float
        Where it lies on the grid. [m]
    """

    name: str
    easting: float
    northing: float


@dataclass(frozen=True)
class Record:
    """The daily record of one station.

    Parameters
    ----------
    name : str
        In words: the file, or the name of the station in it.
    days : DataFrame
        One row a day in order, no date twice, gaps left out: ``date``
        (datetime64), ``tmin``, ``tmax`` [degC], and where the file has them
        ``wind`` (of the night) [m/s] and ``cloud`` (share of the sky, 0 to 1);
        NaN where missing.
    easting, northing : float
        Where the station stands; it may lie off the grid. [m]
    elevation : float
        Height of its ground; NaN where not known. [m]
    latitude : float
        [degree]
    bloom : DataFrame
        Full bloom noted by the grower: ``fruit``, ``year``, ``day`` (datetime64),
        ``place`` (a name, empty at the station).
    """

    name: str
    days: pd.DataFrame
    easting: float
    northing: float
    elevation: float
    latitude: float
    bloom: pd.DataFrame


@dataclass(frozen=True)
class Site:
    """Everything that was read about one site.

    Parameters
    ----------
    name : str
        Name for the sheets.
    grid : Grid
        The one grid.
    elevation : (row, column) ndarray of float32
        Height of the ground as given; NaN where it is missing. [m]
    ground : (row, column) ndarray of float32
        The same, smoothed where it was given in steps; for derivatives. [m]
    model : ElevationModel
        What is known of the elevation.
    field : GeoDataFrame
        Polygons with ``name`` (may be empty text), one row a part.
    field_mask, water_mask : (row, column) ndarray of bool
        Cells whose centre lies in the field, on water.
    canopy_height : (row, column) ndarray of float32
        Height of woodland, 0 where none. [m]
    evergreen : (row, column) ndarray of bool
        Woodland that keeps its leaves.
    vectors : mapping of str to GeoDataFrame
        One frame for each name in `VECTORS`, empty where not given. On the
        grid's CRS, with the columns of `sitekit.io.schemas`.
    given : frozenset of str
        Names in `VECTORS` that the user gave (water found in the elevation is
        not given).
    reference : Reference or None
        The place that offsets are told against; None for the field's median.
    records : tuple of Record
        Records of stations, the one that speaks for the site first.
    need, limits, prices : mapping
        What the grower wants, what he has a year, what things cost, as checked
        by `sitekit.config`; empty where not given.
    remarks : tuple of Remark
        What was said while reading.
    fruit : tuple of str
        Fruit asked for; all of the catalogue where none is named.
    fruit_folder : Path or None
        Folder of the grower's own fruit files.
    layers : tuple of str
        Layers asked for; the usual ones where none is named.
    settings : mapping
        Settings that the user changed, by name.
    inputs : mapping of str to str
        File name to sha256.
    """

    name: str
    grid: Grid
    elevation: NDArray[np.float32]
    ground: NDArray[np.float32]
    model: ElevationModel
    field: GeoDataFrame
    field_mask: NDArray[np.bool_]
    water_mask: NDArray[np.bool_]
    canopy_height: NDArray[np.float32]
    evergreen: NDArray[np.bool_]
    vectors: Mapping[str, GeoDataFrame]
    given: frozenset[str] = frozenset()
    reference: Reference | None = None
    records: tuple[Record, ...] = ()
    need: Mapping[str, Any] = field(default_factory=dict)
    limits: Mapping[str, Any] = field(default_factory=dict)
    prices: Mapping[str, Any] = field(default_factory=dict)
    remarks: tuple[Remark, ...] = ()
    fruit: tuple[str, ...] = ()
    fruit_folder: Path | None = None
    layers: tuple[str, ...] = ()
    settings: Mapping[str, Any] = field(default_factory=dict)
    inputs: Mapping[str, str] = field(default_factory=dict)

    @property
    def reference_name(self) -> str:
        """Name of what night offsets are told against."""
        return self.reference.name if self.reference else "the field's median"

    @property
    def has_water(self) -> bool:
        """Whether there is water, given or found."""
        return not self.vectors["water"].empty

    @property
    def field_area(self) -> float:
        """Area of the field. [m²]."""
        return float(self.field.area.sum())
