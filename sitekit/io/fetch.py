"""Fetching an open elevation model for one site, as a file beside the site file."""

import tempfile
from collections.abc import Callable, Iterator, Sequence
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import rasterio
from pyproj import Transformer
from rasterio.merge import merge
from rasterio.vrt import WarpedVRT

from sitekit.errors import CoverageError, OutputError
from sitekit.io.catalogues import Unreachable, find_pieces
from sitekit.io.field import FieldReading
from sitekit.io.offers import Catalogue, Piece
from sitekit.io.projection import find_utm
from sitekit.io.remote import Bounds, RemoteWindow, read_window

#: Ground fetched about the field where nothing else is asked for. [m]
MARGIN = 1000.0
#: Tag of a file that was fetched; only such a file is ever replaced.
MARK = "SITEKIT_FETCHED_FROM"
BRING = (
    "Or bring a file: save a model of bare ground beside the site file and name it, "
    'elevation = "FILE".'
)
WGS84 = "EPSG:4326"


@dataclass(frozen=True)
class Fetched:
    """An elevation that was fetched.

    Parameters
    ----------
    path : Path
        The file.
    source : str
        What it is, in words.
    cell : float
        Its cell, in its own unit.
    surface : {"ground", "canopy", ""}
        Bare earth, the top of what stands on it, or not known.
    attribution : str
        Licence and origin.
    remarks : tuple of str
        What else to know.
    """

    path: Path
    source: str
    cell: float
    surface: str
    attribution: str
    remarks: tuple[str, ...]


def fetch_elevation(
    ground: FieldReading,
    sources: Sequence[Catalogue] | Sequence[Piece],
    path: Path,
    cache: Path,
    *,
    margin: float = MARGIN,
    on_step: Callable[[str], None] = lambda _: None,
) -> Fetched:
    """Fetch the elevation about a field.

    Parameters
    ----------
    ground : FieldReading
        The field.
    sources : sequence of Catalogue, or of Piece
        Catalogues, tried in their order, or rasters that are mosaicked.
    path : Path
        File to write.
    cache : Path
        Folder in which what was read is kept.
    margin : float
        Ground about the field. [m]
    on_step : callable
        Called with what is done.

    Returns
    -------
    fetched : Fetched
        What was written.

    Raises
    ------
    InputError
        Nothing answers, or nothing usable reaches the field.
    OutputError
        The file is there and was not fetched, or cannot be written.
    """
    check_target(path)
    bounds = bounds_about(ground, margin)
    silent: list[str] = []
    for pieces in _offers(sources, bounds, silent, on_step):
        windows = [
            (piece, window)
            for piece in pieces
            if (window := _read(piece, bounds, cache, on_step)) is not None
        ]
        if windows:
            return _write(windows, path)
    raise CoverageError(_nothing(sources, silent))


def check_target(path: Path) -> None:
    """Check that a file may be written: it is not there, or was fetched.

    Raises
    ------
    OutputError
        It is there and was not fetched.
    """
    if not path.exists():
        return
    try:
        with rasterio.open(path) as raster:
            ours = MARK in raster.tags()
    except rasterio.errors.RasterioError:
        ours = False
    if not ours:
        message = f"{path} is there, and was not fetched. Move it away, or name it."
        raise OutputError(message)


def bounds_about(ground: FieldReading, margin: float) -> Bounds:
    """Find the ground about a field in degrees.

    Parameters
    ----------
    ground : FieldReading
        The field.
    margin : float
        Ground about it. [m]

    Returns
    -------
    bounds : tuple of float
        West, south, east, north. [degree]
    """
    west, south, east, north = ground.frame.to_crs(WGS84).total_bounds
    zone = find_utm((west + east) / 2, (south + north) / 2)
    left, low, right, high = ground.frame.to_crs(zone).total_bounds
    there = Transformer.from_crs(zone, WGS84, always_xy=True)
    box = (left - margin, low - margin, right + margin, high + margin)
    return there.transform_bounds(*box, densify_pts=21)


def _offers(
    sources: Sequence[Catalogue] | Sequence[Piece],
    bounds: Bounds,
    silent: list[str],
    on_step: Callable[[str], None],
) -> Iterator[list[Piece]]:
    """Offer the rasters of one source after the other."""
    given = [source for source in sources if isinstance(source, Piece)]
    if given:
        yield given
    for source in sources:
        if isinstance(source, Piece):
            continue
        on_step(f"asking {source.address}")
        try:
            yield find_pieces(source, bounds)
        except Unreachable:
            silent.append(source.address)


def _read(
    piece: Piece, bounds: Bounds, cache: Path, on_step: Callable[[str], None]
) -> RemoteWindow | None:
    name = piece.address.partition("?")[0].rpartition("/")[2]
    on_step(f"reading {name}")
    return read_window(
        piece.address,
        bounds,
        cache,
        on_blocks=lambda done, total: on_step(f"reading {name}, {done} of {total}"),
    )


def _nothing(
    sources: Sequence[Catalogue] | Sequence[Piece], silent: Sequence[str]
) -> str:
    """Say why there is no elevation, and what mends it."""
    if sources and len(silent) == len(sources):
        return (
            f"Nothing answers at {' or '.join(silent)}: this machine seems to be "
            f"offline. Try again with a network. {BRING}"
        )
    quiet = f" ({', '.join(silent)} did not answer.)" if silent else ""
    return f"No elevation that was offered reaches this field.{quiet} {BRING}"


def _write(windows: Sequence[tuple[Piece, RemoteWindow]], path: Path) -> Fetched:
    """Mosaic the windows, the finest on top, and write the file whole."""
    first = windows[0][0]
    attributions = [piece.attribution for piece, _ in windows if piece.attribution]
    attribution = "; ".join(dict.fromkeys(attributions))
    with tempfile.TemporaryDirectory(prefix="sitekit-") as folder, ExitStack() as stack:
        crs = windows[0][1].profile["crs"]
        rasters = []
        for number, (_, window) in enumerate(windows):
            file = Path(folder) / f"{number}.tif"
            _write_window(file, window)
            raster = stack.enter_context(rasterio.open(file))
            if raster.crs != crs:
                raster = stack.enter_context(WarpedVRT(raster, crs=crs))
            rasters.append(raster)
        heights, transform = merge(rasters, nodata=np.nan, dtype="float32")
        units = windows[0][1].profile["units"]
        tags = {MARK: first.source, "TIFFTAG_COPYRIGHT": attribution}
        _write_raster(path, heights[0], (crs, transform, units), tags)
    led = {w.told.led_to for _, w in windows if w.told.led_to}
    remarks = [f"the address led on to {host}" for host in sorted(led)]
    return Fetched(
        path, first.source, transform.a, first.surface, attribution, tuple(remarks)
    )


def _write_window(path: Path, window: RemoteWindow) -> None:
    heights = window.heights.astype(np.float32)
    nodata = window.profile["nodata"]
    if nodata is not None:
        heights[window.heights == nodata] = np.nan
    profile = window.profile
    where = (profile["crs"], profile["transform"], profile["units"])
    _write_raster(path, heights, where, {})


def _write_raster(
    path: Path,
    heights: np.ndarray,
    where: tuple[object, object, str],
    tags: dict[str, str],
) -> None:
    """Write heights; the file appears whole or not at all."""
    crs, transform, units = where
    part = path.with_name(f".{path.name}.part")
    try:
        with rasterio.open(
            part,
            "w",
            driver="GTiff",
            width=heights.shape[1],
            height=heights.shape[0],
            count=1,
            dtype="float32",
            crs=crs,
            transform=transform,
            nodata=float("nan"),
            compress="deflate",
            predictor=3,
        ) as raster:
            raster.write(heights, 1)
            raster.units = (units,)
            raster.update_tags(**tags)
        part.replace(path)
    except OSError as problem:
        message = f"{path} cannot be written: {problem.strerror or problem}."
        raise OutputError(message) from problem
    finally:
        part.unlink(missing_ok=True)
