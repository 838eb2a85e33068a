"""Reading a window of a raster over HTTP, block by block, each block once.

A block that was read is kept on disk under what the server says of the file, so a
broken transfer goes on where it stopped and a second site reads nothing twice.
"""

import hashlib
import os
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import numpy as np
import rasterio
import requests
from numpy.typing import NDArray
from rasterio.errors import RasterioError
from rasterio.warp import transform_bounds
from rasterio.windows import Window, from_bounds
from rasterio.windows import transform as window_transform

from sitekit.errors import CoverageError, InputError

#: How long a server may be silent. [s]
PATIENCE = 20
#: Blocks to a side that are asked for at once.
BLOCKS_AT_ONCE = 4
#: Cells of a window at most: 400 MB.
MOST_CELLS = 100_000_000
#: Only the window is read: no look beside the file, neighbours in one request.
OPTIONS = {
    "GDAL_DISABLE_READDIR_ON_OPEN": "EMPTY_DIR",
    "GDAL_HTTP_MERGE_CONSECUTIVE_RANGES": "YES",
    "GDAL_HTTP_MAX_RETRY": "2",
    "GDAL_HTTP_RETRY_DELAY": "1",
    "VSI_CACHE": "YES",
}
Bounds = tuple[float, float, float, float]


@dataclass(frozen=True)
class Told:
    """What a server says of a file.

    Parameters
    ----------
    address : str
        Where it lies in the end, after any redirect.
    key : str
        Tells this content from any other.
    led_to : str
        Host that the address led on to; empty where it stayed.
    """

    address: str
    key: str
    led_to: str = ""


@dataclass(frozen=True)
class RemoteWindow:
    """A window of a raster that was read.

    Parameters
    ----------
    heights : (row, column) ndarray
        As they stand in the file.
    profile : dict
        ``crs``, ``transform``, ``nodata``, ``units`` of it.
    told : Told
        What the server said.
    """

    heights: NDArray[Any]
    profile: dict[str, Any]
    told: Told


def ask(address: str) -> Told:
    """Ask a server for a file's first byte, and what it says of the file.

    Parameters
    ----------
    address : str
        Address of the file.

    Returns
    -------
    told : Told
        Where the file lies and what tells its content from any other.

    Raises
    ------
    InputError
        It is not there, nothing answers in time, or it leads away from HTTPS.
    """
    if urlsplit(address).scheme not in ("http", "https"):
        message = f"{address} is no web address. Name a file of this disk as elevation."
        raise InputError(message)
    try:
        with requests.get(
            address, headers={"Range": "bytes=0-0"}, timeout=PATIENCE, stream=True
        ) as answer:
            status, final, headers = answer.status_code, answer.url, answer.headers
    except requests.RequestException as problem:
        message = f"{address}: {_reason(problem)}. Try again, or bring a file."
        raise InputError(message) from problem
    if status not in (200, 206):
        message = f"{address}: the server answers {status}. Check the address."
        raise InputError(message)
    before, after = urlsplit(address), urlsplit(final)
    if before.scheme == "https" and after.scheme != "https":
        message = (
            f"{address} leads on to {final}, which is not encrypted. Not followed."
        )
        raise InputError(message)
    mark = headers.get("ETag") or headers.get("Last-Modified") or ""
    size = headers.get("Content-Range", "").rpartition("/")[2]
    about = f"{before.netloc}{before.path} {mark} {size}"
    moved = after.netloc if after.netloc != before.netloc else ""
    return Told(final, hashlib.sha256(about.encode()).hexdigest()[:24], moved)


def read_window(
    address: str,
    bounds: Bounds,
    cache: Path,
    *,
    on_blocks: Callable[[int, int], None] = lambda _done, _total: None,
) -> RemoteWindow | None:
    """Read the part of a remote raster that reaches a place.

    Parameters
    ----------
    address : str
        Address of a raster; a cloud-optimised GeoTIFF reads least.
    bounds : tuple of float
        West, south, east, north. [degree]
    cache : Path
        Folder in which blocks are kept.
    on_blocks : callable
        Called with the groups of blocks that are read and all of them.

    Returns
    -------
    window : RemoteWindow or None
        None where the raster does not reach the place.

    Raises
    ------
    InputError
        The file is not there, cannot be read, or is cut off.
    CoverageError
        The window is too large to hold.
    """
    told = ask(address)
    with (
        _sentences(address),
        rasterio.Env(**_options()),
        rasterio.open(f"/vsicurl/{told.address}") as raster,
    ):
        window = _window(raster, bounds, address)
        if window is None:
            return None
        groups = list(_groups(raster, window))
        heights = np.empty((int(window.height), int(window.width)), raster.dtypes[0])
        for number, group in enumerate(groups, start=1):
            _lay(heights, window, _read_group(raster, group, cache / told.key), group)
            on_blocks(number, len(groups))
        return RemoteWindow(heights, _profile(raster, window), told)


def _options() -> dict[str, str]:
    patience = str(PATIENCE)
    return {
        **OPTIONS,
        "GDAL_HTTP_CONNECTTIMEOUT": patience,
        "GDAL_HTTP_LOW_SPEED_TIME": patience,
        "GDAL_HTTP_LOW_SPEED_LIMIT": "1",
        "GDAL_HTTP_TIMEOUT": str(10 * PATIENCE),
    }


def _window(raster: Any, bounds: Bounds, address: str) -> Window | None:  # noqa: ANN401
    """Find the cells that reach the place; None where there are none."""
    if raster.crs is None:
        message = f"{address} names no coordinate system. Take another raster."
        raise InputError(message)
    there = transform_bounds("EPSG:4326", raster.crs, *bounds, densify_pts=21)
    asked = from_bounds(*there, transform=raster.transform)
    top, left = int(np.floor(asked.row_off)), int(np.floor(asked.col_off))
    bottom = int(np.ceil(asked.row_off + asked.height))
    right = int(np.ceil(asked.col_off + asked.width))
    top, left = max(top, 0), max(left, 0)
    bottom, right = min(bottom, raster.height), min(right, raster.width)
    if top >= bottom or left >= right:
        return None
    cells = (bottom - top) * (right - left)
    if cells > MOST_CELLS:
        message = (
            f"{address}: the window of this site has {cells:,} cells, too many to "
            "hold. Give [grid] a smaller margin."
        )
        raise CoverageError(message)
    return Window(left, top, right - left, bottom - top)


def _groups(raster: Any, window: Window) -> Iterator[Window]:  # noqa: ANN401
    """Part a window into groups of whole blocks."""
    height, width = raster.block_shapes[0]
    rows = _steps(window.row_off, window.height, height, raster.height)
    columns = _steps(window.col_off, window.width, width, raster.width)
    for top, bottom in rows:
        for left, right in columns:
            yield Window(left, top, right - left, bottom - top)


def _steps(start: int, length: int, block: int, most: int) -> list[tuple[int, int]]:
    first, last = start // block, -(-(start + length) // block)
    edges = [*range(first, last, BLOCKS_AT_ONCE), last]
    return [(a * block, min(b * block, most)) for a, b in pairwise(edges)]


def _read_group(raster: Any, group: Window, keep: Path) -> NDArray[Any]:  # noqa: ANN401
    """Read a group of blocks, from the disk where it was read before."""
    name = f"{group.row_off}_{group.col_off}_{group.height}_{group.width}.npy"
    kept = keep / name
    try:
        return np.asarray(np.load(kept))
    except (OSError, ValueError):
        pass
    values = np.asarray(raster.read(1, window=group))
    keep.mkdir(parents=True, exist_ok=True)
    part = keep / f"{name}.{os.getpid()}.part"
    with part.open("wb") as stream:
        np.save(stream, values)
    part.replace(kept)
    return values


def _lay(
    heights: NDArray[Any], window: Window, values: NDArray[Any], group: Window
) -> None:
    """Lay the part of a group that lies in the window in its place."""
    down, right = group.row_off - window.row_off, group.col_off - window.col_off
    top, left = max(down, 0), max(right, 0)
    part = values[top - down :, left - right :]
    target = heights[top : top + part.shape[0], left : left + part.shape[1]]
    target[:] = part[: target.shape[0], : target.shape[1]]


def _profile(raster: Any, window: Window) -> dict[str, Any]:  # noqa: ANN401
    return {
        "crs": raster.crs,
        "transform": window_transform(window, raster.transform),
        "nodata": raster.nodata,
        "units": raster.units[0] or "",
    }


@contextmanager
def _sentences(address: str) -> Iterator[None]:
    """Turn a failure of the transfer into one sentence."""
    try:
        yield
    except RasterioError as problem:
        told = " ".join(str(problem.__cause__ or problem).split())[:160]
        message = (
            f"{address} cannot be read to the end: {told}. Try again (what was read is "
            "kept), or bring a file."
        )
        raise InputError(message) from problem


def _reason(problem: requests.RequestException) -> str:
    """Say in a few words why nothing came."""
    if isinstance(problem, requests.Timeout):
        return f"the server is silent for {PATIENCE} s"
    if isinstance(problem, requests.ConnectionError):
        return "nothing answers there; is this machine offline?"
    if isinstance(problem, requests.TooManyRedirects):
        return "it leads from one address to the next without end"
    return f"it cannot be followed ({type(problem).__name__})"
