"""One elevation file: what it says of itself, and its heights in metres."""

from collections import Counter
from collections.abc import Sequence
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final, Literal

import numpy as np
from affine import Affine
from numpy.typing import NDArray
from pyproj import CRS
from rasterio.enums import ColorInterp

from sitekit.errors import CrsError, InputError
from sitekit.io.projection import find_height_unit, find_horizontal, parse_crs
from sitekit.io.rasters import open_raster, read_window
from sitekit.site import Remark

ZUnit = Literal["m", "ft", "us-ft"]

#: Length of each unit of height. [m]
METRES: Final = {"m": 1.0, "ft": 0.3048, "us-ft": 1200 / 3937}
#: Names that a band may give its unit.
BAND_UNITS: Final = {
    "m": "m",
    "metre": "m",
    "meter": "m",
    "metres": "m",
    "meters": "m",
    "ft": "ft",
    "foot": "ft",
    "feet": "ft",
    "us survey foot": "us-ft",
    "us-ft": "us-ft",
    "foot_us": "us-ft",
}
#: Stored values that mean missing, whether the file says so or not.
SENTINELS: Final = (-9999.0, -32768.0, -32767.0)
#: Lowest and highest ground that is believed. [m]
BELIEVED: Final = (-500.0, 9000.0)
#: Cells held at once while reading.
STRIP: Final = 16_000_000


@dataclass(frozen=True)
class Source:
    """One elevation file, as it describes itself.

    Parameters
    ----------
    path : Path
        The file.
    crs : pyproj.CRS
        Horizontal coordinate system.
    transform : Affine
        From (column, row) to its coordinates; north up also where the file is
        stored south up.
    shape : tuple of int
        Rows and columns.
    flipped : bool
        Whether the file is stored south up.
    unit : float
        Length of one stored unit of height. [m]
    scale, offset : float
        Height = stored × scale + offset, before the unit.
    declared : bool
        Whether the file says which value means missing.
    attribution : str
        Licence or origin that the file names.
    remarks : tuple of Remark
        What is to be said of it.
    """

    path: Path
    crs: CRS
    transform: Affine
    shape: tuple[int, int]
    flipped: bool
    unit: float
    scale: float
    offset: float
    declared: bool
    attribution: str
    remarks: tuple[Remark, ...]

    @property
    def name(self) -> str:
        """File name, for messages."""
        return self.path.name

    @property
    def square(self) -> bool:
        """Whether its cells are square and north up."""
        t = self.transform
        upright = t.b == 0 and t.d == 0 and t.a > 0 and t.e < 0
        return bool(upright and abs(t.a + t.e) <= 1e-5 * t.a)

    def joins(self, other: "Source") -> bool:
        """Tell whether its cells lie on the lattice of another file."""
        if self.crs != other.crs:
            return False
        mine, theirs = np.array(self.transform[:6]), np.array(other.transform[:6])
        turned = np.abs(mine - theirs)[[0, 1, 3, 4]].max()
        columns, rows = self.offset_from(other)
        drift = turned * max(*self.shape, abs(columns), abs(rows))
        size = abs(self.transform.a)
        phase = max(abs(columns - round(columns)), abs(rows - round(rows)))
        return bool(drift < 0.01 * size and phase < 0.01)

    def offset_from(self, other: "Source") -> tuple[float, float]:
        """Columns and rows from the corner of another file to its own."""
        columns, rows = ~other.transform @ (self.transform.c, self.transform.f)
        return float(columns), float(rows)


def find_source(
    path: Path, *, elevation_crs: str | None, z_unit: ZUnit | None
) -> Source:
    """Find out what an elevation file says of itself, without reading heights.

    Parameters
    ----------
    path : Path
        The file.
    elevation_crs : str or None
        Coordinate system for a file that names none.
    z_unit : {"m", "ft", "us-ft"} or None
        Unit of its heights, whatever it says itself.

    Returns
    -------
    source : Source
        The description.

    Raises
    ------
    InputError
        Where the file cannot be read or is no elevation.
    CrsError
        Where it has no coordinate system and none was given.
    """
    with open_raster(path) as dataset:
        _check_heights(path, dataset)
        transform, flipped = _find_transform(path, dataset)
        crs, said = _find_crs(path, dataset, elevation_crs)
        if crs.is_geographic and transform.c >= 180:
            # Longitudes counted from 0 to 360.
            transform = Affine.translation(-360, 0) @ transform
        unit, unit_said = _find_unit(path, dataset, crs, z_unit)
        if dataset.count > 1:
            text = f"has {dataset.count} bands; the first is taken as the height"
            said += (Remark("doubtful", path.name, text),)
        return Source(
            path=path,
            crs=find_horizontal(crs),
            transform=transform,
            shape=(dataset.height, dataset.width),
            flipped=flipped,
            unit=unit,
            scale=float(dataset.scales[0]),
            offset=float(dataset.offsets[0]),
            declared=dataset.nodata is not None,
            attribution=dataset.tags().get("TIFFTAG_COPYRIGHT", ""),
            remarks=said + unit_said,
        )


def _check_heights(path: Path, dataset: Any) -> None:  # noqa: ANN401
    """Refuse a picture or complex numbers."""
    dtype = np.dtype(dataset.dtypes[0])
    colours = (ColorInterp.palette, ColorInterp.red)
    if dtype.kind == "c" or dataset.colorinterp[0] in colours:
        message = (
            f"{path} is a picture, not heights. Give the elevation model that the "
            "picture was made from."
        )
        raise InputError(message)


def _find_transform(path: Path, dataset: Any) -> tuple[Affine, bool]:  # noqa: ANN401
    t = dataset.transform
    if t == Affine.identity():
        message = (
            f"{path} does not say where it lies, or its cells are of size zero. Give "
            "a file with its position in it, or put its world file beside it."
        )
        raise InputError(message)
    sound = np.isfinite(t[:6]).all() and t.a * t.e - t.b * t.d != 0
    if not sound:
        message = (
            f"{path} has cells of size zero or without meaning. Export it again with "
            "its true cell size."
        )
        raise InputError(message)
    flipped = t.e > 0 and t.b == 0 and t.d == 0
    if flipped:
        t = Affine(t.a, 0, t.c, 0, -t.e, t.f + t.e * dataset.height)
    return t, flipped


def _find_crs(
    path: Path,
    dataset: Any,  # noqa: ANN401
    elevation_crs: str | None,
) -> tuple[CRS, tuple[Remark, ...]]:
    given = parse_crs(elevation_crs) if elevation_crs else None
    if dataset.crs is None:
        if given is None:
            message = (
                f"{path} has no coordinate system. Name it with --elevation-crs (or "
                "elevation_crs in the site file), for example EPSG:25833."
            )
            raise CrsError(message)
        text = f"names no coordinate system; taken as {elevation_crs}, as given"
        return given, (Remark("read", path.name, text),)
    crs = CRS.from_wkt(dataset.crs.to_wkt())
    if not (crs.is_geographic or crs.is_projected):
        message = (
            f'{path} is in the local system "{crs.name}", which has no place on '
            "Earth. Export it in a national or UTM coordinate system."
        )
        raise CrsError(message)
    if given is not None and find_horizontal(crs) != find_horizontal(given):
        text = f"names {crs.name} itself; that stands, not {elevation_crs}"
        return crs, (Remark("doubtful", path.name, text),)
    return crs, ()


def _find_unit(
    path: Path,
    dataset: Any,  # noqa: ANN401
    crs: CRS,
    z_unit: ZUnit | None,
) -> tuple[float, tuple[Remark, ...]]:
    if z_unit is not None:
        said = () if z_unit == "m" else (f"heights taken as {z_unit}, as given; now m",)
        return METRES[z_unit], tuple(Remark("read", path.name, s) for s in said)
    unit = find_height_unit(crs)
    band = BAND_UNITS.get((dataset.units[0] or "").strip().lower())
    if unit is None and band is not None:
        unit = METRES[band]
    if unit is None:
        text = "does not say its unit of height; taken as metres (z_unit changes that)"
        return 1.0, (Remark("doubtful", path.name, text),)
    if unit == 1.0:
        return unit, ()
    text = f"heights are in units of {unit:.4f} m; turned into metres"
    return unit, (Remark("mended", path.name, text),)


def read_heights(
    sources: Sequence[Source],
    rows: tuple[int, int],
    columns: tuple[int, int],
    factor: int = 1,
) -> tuple[NDArray[np.float32], Counter[str]]:
    """Read part of the lattice that some files share, the first given on top.

    Parameters
    ----------
    sources : sequence of Source
        Files whose cells lie on the lattice of the first.
    rows, columns : tuple of int
        First, and one past the last, counted from the corner of the first file;
        both spans are multiples of the factor.
    factor : int
        Cells to a side that are averaged into one.

    Returns
    -------
    heights : (row, column) ndarray of float32
        NaN where no file has a height. [m]
    absurd : Counter
        Cells that held what no height can be: ``impossible``, ``infinite``.
    """
    height, width = rows[1] - rows[0], columns[1] - columns[0]
    heights = np.empty((height // factor, width // factor), np.float32)
    strip = factor * max(1, STRIP // (width * factor))
    absurd: Counter[str] = Counter()
    with ExitStack() as stack:
        opened = [(s, stack.enter_context(open_raster(s.path))) for s in sources]
        for start in range(rows[0], rows[1], strip):
            stop = min(start + strip, rows[1])
            part = np.full((stop - start, width), np.nan, np.float32)
            for source, dataset in opened:
                absurd += _lay(part, source, dataset, sources[0], (start, columns[0]))
            first = (start - rows[0]) // factor
            averaged = average(part, factor)
            heights[first : first + len(averaged)] = averaged
    return heights, absurd


def _lay(
    part: NDArray[np.float32],
    source: Source,
    dataset: Any,  # noqa: ANN401
    first: Source,
    corner: tuple[int, int],
) -> Counter[str]:
    """Lay one file under what part of the lattice already holds."""
    across, down = source.offset_from(first)
    top, left = corner[0] - round(down), corner[1] - round(across)
    row, column = max(top, 0), max(left, 0)
    last_row = min(top + part.shape[0], source.shape[0])
    last_column = min(left + part.shape[1], source.shape[1])
    if row >= last_row or column >= last_column:
        return Counter()
    values, absurd = _read_metres(
        source, dataset, (row, last_row), (column, last_column)
    )
    under = part[row - top : last_row - top, column - left : last_column - left]
    np.copyto(under, values, where=np.isnan(under))
    return absurd


def _read_metres(
    source: Source,
    dataset: Any,  # noqa: ANN401
    rows: tuple[int, int],
    columns: tuple[int, int],
) -> tuple[NDArray[np.float32], Counter[str]]:
    if source.flipped:
        rows = source.shape[0] - rows[1], source.shape[0] - rows[0]
    stored = read_window(dataset, rows, columns)
    missing = np.ma.getmaskarray(stored).copy()
    infinite = int(np.count_nonzero(np.isinf(stored.data) & ~missing))
    missing |= ~np.isfinite(stored.data)
    masked = np.count_nonzero(missing)
    if not source.declared or (source.scale, source.offset) == (1.0, 0.0):
        missing |= np.isin(stored.data, SENTINELS)
    metres = stored.data.astype(np.float64) if source.scale != 1 else stored.data
    with np.errstate(over="ignore", invalid="ignore"):
        if (source.scale, source.offset, source.unit) != (1.0, 0.0, 1.0):
            metres = (metres * source.scale + source.offset) * source.unit
        missing |= (metres < BELIEVED[0]) | (metres > BELIEVED[1])
        heights = metres.astype(np.float32)
    heights[missing] = np.nan
    impossible = int(np.count_nonzero(missing) - masked)
    absurd = Counter(impossible=impossible, infinite=infinite)
    return (heights[::-1] if source.flipped else heights), absurd


def average(values: NDArray[np.float32], factor: int) -> NDArray[np.float32]:
    """Average square groups of cells, leaving missing cells out.

    Parameters
    ----------
    values : (row, column) ndarray
        Both sides multiples of the factor.
    factor : int
        Cells to a side of a group.

    Returns
    -------
    averaged : (row / factor, column / factor) ndarray
        NaN where every cell of a group is missing.
    """
    if factor == 1:
        return values
    rows, columns = values.shape
    groups = values.reshape(rows // factor, factor, columns // factor, factor)
    known = np.isfinite(groups)
    count = known.sum(axis=(1, 3))
    total = np.where(known, groups, 0).sum(axis=(1, 3), dtype=np.float64)
    with np.errstate(invalid="ignore"):
        mean: NDArray[np.float32] = (total / count).astype(np.float32)
    return mean
