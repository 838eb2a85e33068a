"""The one grid of a site: metric, square cells, north up."""

from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
import xarray as xr
from affine import Affine
from numpy.typing import ArrayLike, NDArray
from pyproj import CRS, Proj, Transformer


@dataclass(frozen=True)
class Grid:
    """Where each cell of a site lies.

    Parameters
    ----------
    crs : pyproj.CRS
        Projected coordinate system in metres.
    west, north : float
        Outer corner of the first cell. [m]
    cell_size : float
        Side of a cell. [m]
    shape : tuple of int
        Rows and columns; row 0 is the northernmost.
    """

    crs: CRS
    west: float
    north: float
    cell_size: float
    shape: tuple[int, int]

    @property
    def bounds(self) -> tuple[float, float, float, float]:
        """West, south, east and north edge. [m]."""
        rows, columns = self.shape
        return (
            self.west,
            self.north - rows * self.cell_size,
            self.west + columns * self.cell_size,
            self.north,
        )

    @property
    def transform(self) -> Affine:
        """From (column, row) to (easting, northing) of the outer corner."""
        return Affine(self.cell_size, 0, self.west, 0, -self.cell_size, self.north)

    @cached_property
    def eastings(self) -> NDArray[np.float64]:
        """Easting of the centre of each column. [m]."""
        return (
            self.west
            + (np.arange(self.shape[1], dtype=np.float64) + 0.5) * self.cell_size
        )

    @cached_property
    def northings(self) -> NDArray[np.float64]:
        """Northing of the centre of each row. [m]."""
        return (
            self.north
            - (np.arange(self.shape[0], dtype=np.float64) + 0.5) * self.cell_size
        )

    @property
    def cell_area(self) -> float:
        """Area of a cell. [m²]."""
        return self.cell_size**2

    @property
    def centre(self) -> tuple[float, float]:
        """Easting and northing of the middle of the grid. [m]."""
        west, south, east, north = self.bounds
        return (west + east) / 2, (south + north) / 2

    @cached_property
    def _to_degrees(self) -> Transformer:
        return Transformer.from_crs(self.crs, 4326, always_xy=True)

    @cached_property
    def _middle(self) -> tuple[float, float]:
        longitude, latitude = self._to_degrees.transform(*self.centre)
        return longitude, latitude

    @property
    def longitude(self) -> float:
        """Longitude of the middle of the grid. [degree]."""
        return self._middle[0]

    @property
    def latitude(self) -> float:
        """Latitude of the middle of the grid. [degree]."""
        return self._middle[1]

    @cached_property
    def convergence(self) -> float:
        """Bearing of grid north from true north at the middle. [degree].

        A true bearing is the grid bearing plus this.
        """
        return float(Proj(self.crs).get_factors(*self._middle).meridian_convergence)

    def degrees(
        self, eastings: ArrayLike, northings: ArrayLike
    ) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Turn grid coordinates into longitude and latitude (WGS 84)."""
        longitudes, latitudes = self._to_degrees.transform(eastings, northings)
        return np.asarray(longitudes), np.asarray(latitudes)

    def cells(
        self, eastings: ArrayLike, northings: ArrayLike
    ) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
        """Find the row and column that hold each point; may lie off the grid."""
        columns = np.floor((np.asarray(eastings) - self.west) / self.cell_size)
        rows = np.floor((self.north - np.asarray(northings)) / self.cell_size)
        return rows.astype(np.intp), columns.astype(np.intp)

    def holds(
        self, rows: NDArray[np.intp], columns: NDArray[np.intp]
    ) -> NDArray[np.bool_]:
        """Tell which cells lie on the grid."""
        return (
            (rows >= 0)
            & (rows < self.shape[0])
            & (columns >= 0)
            & (columns < self.shape[1])
        )

    def sample(
        self, values: NDArray[Any], eastings: ArrayLike, northings: ArrayLike
    ) -> NDArray[np.float64]:
        """Read an array of the grid at points; NaN off the grid."""
        rows, columns = np.broadcast_arrays(*self.cells(eastings, northings))
        inside = self.holds(rows, columns)
        found = np.full(rows.shape, np.nan)
        found[inside] = values[rows[inside], columns[inside]]
        return found

    def wrap(
        self, values: NDArray[Any], name: str, **attributes: object
    ) -> xr.DataArray:
        """Put an array on the grid, with coordinates and attributes."""
        return xr.DataArray(
            values,
            dims=("y", "x"),
            coords={"y": self.northings, "x": self.eastings},
            name=name,
            attrs=attributes,
        )
