"""Open rasters without being fooled, read windows of them, write them.

A raster library opens whatever it recognises, whatever the file is called: a
short text named ``elevation.tif`` can make it read any other file. Here the first
bytes of a file choose one driver by name, and no other driver is tried.
"""

import warnings
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import Any, Final

import numpy as np
import rasterio
from numpy.typing import NDArray
from rasterio.errors import NotGeoreferencedWarning, RasterioError
from rasterio.windows import Window

from sitekit.errors import InputError
from sitekit.grid import Grid

#: First bytes of the formats that are read, and the driver of each.
MAGIC: Final = (
    (b"II*\0", "GTiff"),
    (b"MM\0*", "GTiff"),
    (b"II+\0", "GTiff"),
    (b"MM\0+", "GTiff"),
    (b"ncols", "AAIGrid"),
    (b"nrows", "AAIGrid"),
    (b"north:", "GRASSASCIIGrid"),
    (b"EHFA_HEADER_TAG", "HFA"),
    (b"\x89HDF\r\n\x1a\n", "netCDF"),
    (b"CDF\x01", "netCDF"),
    (b"CDF\x02", "netCDF"),
    (b"SQLite format 3\0", "GPKG"),
    (b"\0\0\0\x0cjP  ", "JP2OpenJPEG"),
    (b"UHL1", "DTED"),
    (b"DSAA", "GSAG"),
    (b"DSBB", "GSBG"),
    (b"DSRB", "GS7BG"),
)
#: Formats without a mark of their own, by the ending of the file name.
ENDINGS: Final = {
    ".hgt": "SRTMHGT",
    ".bil": "EHdr",
    ".flt": "EHdr",
    ".xyz": "XYZ",
    ".dem": "USGSDEM",
}
#: Sides above which a GeoTIFF gets tiles and overviews. [cells]
BLOCK: Final = 512


def find_driver(path: Path) -> str:
    """Find the one driver that may open a file, by its first bytes.

    Parameters
    ----------
    path : Path
        A file on this machine.

    Returns
    -------
    driver : str
        Name of the driver.

    Raises
    ------
    InputError
        Where the file is missing, empty, a list of other files, or of a format
        that is not read.
    """
    if not path.is_file():
        message = (
            f"{path} is not a file on this machine. Correct the path, or download "
            "the file first."
        )
        raise InputError(message)
    try:
        with path.open("rb") as file:
            head = file.read(512)
    except OSError as error:
        message = f"{path} cannot be opened ({error.strerror}). Mend its permissions."
        raise InputError(message) from error
    if not head:
        message = f"{path} is empty. Copy or download it again."
        raise InputError(message)
    return _driver_of(path, head)


def _driver_of(path: Path, head: bytes) -> str:
    start = head.lstrip(b"\xef\xbb\xbf \t\r\n")
    if start[:1] == b"<":
        message = (
            f"{path} holds text that points to other files, not heights. Give the "
            "raster files themselves; several are joined."
        )
        raise InputError(message)
    for magic, driver in MAGIC:
        if head.startswith(magic) or start.lower().startswith(magic):
            return driver
    if path.suffix.lower() in ENDINGS:
        return ENDINGS[path.suffix.lower()]
    message = (
        f"{path} is not a raster that can be read. Give a GeoTIFF or another common "
        "elevation format."
    )
    raise InputError(message)


@contextmanager
def open_raster(path: Path) -> Iterator[Any]:
    """Open a raster for reading with the one driver that its first bytes name.

    Parameters
    ----------
    path : Path
        A file on this machine.

    Yields
    ------
    dataset : rasterio.DatasetReader
        Open until the block ends.

    Raises
    ------
    InputError
        Where the file cannot be opened, or fails while it is read in the block.
    """
    driver = find_driver(path)
    try:
        dataset = _open(path, driver)
    except RasterioError as error:
        message = (
            f"{path} is cut off or damaged, or holds no raster. Copy or download it "
            "again."
        )
        raise InputError(message) from error
    with dataset:
        if not dataset.count:
            message = (
                f"{path} holds several rasters or none. Save the one with the heights "
                "as a GeoTIFF and give that."
            )
            raise InputError(message)
        try:
            yield dataset
        except RasterioError as error:
            raise _damaged(path) from error


def _damaged(path: Path) -> InputError:
    message = (
        f"{path} is cut off or damaged and cannot be read. Copy or download it again."
    )
    return InputError(message)


def _open(path: Path, driver: str) -> Any:  # noqa: ANN401  (rasterio has no types)
    with (
        rasterio.Env(GTIFF_REPORT_COMPD_CS="YES"),
        warnings.catch_warnings(),
    ):
        warnings.simplefilter("ignore", NotGeoreferencedWarning)
        return rasterio.open(path.resolve(), driver=driver)


def read_window(
    dataset: Any,  # noqa: ANN401  (rasterio has no types)
    rows: tuple[int, int],
    columns: tuple[int, int],
) -> np.ma.MaskedArray[Any, Any]:
    """Read part of the first band, masked where the file itself says nodata.

    Parameters
    ----------
    dataset : rasterio.DatasetReader
        From `open_raster`.
    rows, columns : tuple of int
        First, and one past the last.

    Returns
    -------
    values : (row, column) masked array
        As stored: neither scale nor offset is applied.

    Raises
    ------
    InputError
        Where the file is cut off or damaged there.
    """
    window = Window.from_slices(rows, columns)
    values: np.ma.MaskedArray[Any, Any]
    try:
        values = dataset.read(1, window=window, masked=True)
    except RasterioError as error:
        raise _damaged(Path(dataset.name)) from error
    return values


def write_cog(
    path: Path,
    values: NDArray[Any],
    grid: Grid,
    *,
    units: str,
    description: str,
    nodata: float,
    tags: Mapping[str, str] | None = None,
) -> None:
    """Write one layer as a Cloud Optimized GeoTIFF.

    Parameters
    ----------
    path : Path
        File to write; one that stands there is replaced.
    values : (row, column) ndarray
        Of the type that the file shall have.
    grid : Grid
        Where the cells lie.
    units, description : str
        Stand in the band's own metadata.
    nodata : float
        Value that means missing.
    tags : mapping of str to str, optional
        More of the band's metadata.

    References
    ----------
    Cloud Optimized GeoTIFF specification (cogeotiff/cog-spec); OGC 21-026.
    """
    whole_numbers = np.issubdtype(values.dtype, np.integer)
    with rasterio.open(
        path,
        "w",
        driver="COG",
        height=grid.shape[0],
        width=grid.shape[1],
        count=1,
        dtype=values.dtype,
        crs=rasterio.CRS.from_wkt(grid.crs.to_wkt()),
        transform=grid.transform,
        nodata=nodata,
        compress="DEFLATE",
        predictor="YES",
        blocksize=BLOCK,
        overviews="AUTO",
        # The mean of two classes is no class.
        overview_resampling="NEAREST" if whole_numbers else "AVERAGE",
        bigtiff="IF_SAFER",
    ) as dataset:
        dataset.write(values, 1)
        dataset.set_band_unit(1, units)
        dataset.set_band_description(1, description)
        dataset.update_tags(1, **(tags or {}))
