"""Reading of vector files: only kinds that are known, only from this machine.

GDAL opens whatever a file turns out to be, whatever it is called. A file is
therefore looked at first: text that only points to other files is refused.
"""

import re
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pyogrio
import pyproj
import shapely
from geopandas import GeoDataFrame, GeoSeries
from pyogrio.errors import DataLayerError, DataSourceError
from pyproj import CRS

from sitekit.errors import CrsError, InputError, nearest
from sitekit.io.schemas import Schema, fit_columns

#: First bytes of the kinds of file that are read.
_MAGIC = (
    (b"SQLite format 3\x00", "GeoPackage"),
    (b"\x00\x00\x27\x0a", "Shapefile"),
    (b"fgb\x03", "FlatGeobuf"),
    (b"AutoCAD Binary DXF", "DXF"),
)
_TEXT = (
    (re.compile(rb"\s*[\[{]"), "GeoJSON"),
    (re.compile(rb"\s*(<\?xml.*?\?>)?\s*(<!--.*?-->\s*)*<(\w+:)?gpx\b", re.S), "GPX"),
    (re.compile(rb"\s*(<\?xml.*?\?>)?\s*(<!--.*?-->\s*)*<(\w+:)?kml\b", re.S), "KML"),
    (re.compile(rb"(999\r?\n.*)?\s*0\r?\n\s*SECTION", re.S), "DXF"),
    (re.compile(rb"!table", re.I), "MapInfo"),
    (re.compile(rb"version\s+\d+", re.I), "MapInfo"),
)
#: Text that makes GDAL open other files or run a chain of steps.
_POINTERS = re.compile(rb"<OGRVRT|<VRTDataset|gdal_streamed_alg", re.I)
_KNOWN = "GeoPackage, GeoJSON, Shapefile, KML, GPX, FlatGeobuf, DXF or MapInfo"
_ADDRESS = re.compile(r"^/vsi|^[a-z][a-z0-9+.-]+:/|^\\\\|[<>]", re.I)
_SHAPES = {
    "Point": "point",
    "MultiPoint": "point",
    "LineString": "line",
    "MultiLineString": "line",
    "LinearRing": "line",
    "Polygon": "polygon",
    "MultiPolygon": "polygon",
}


@dataclass(frozen=True)
class VectorSource:
    """A vector file and, where it holds several, the layer.

    Parameters
    ----------
    file : Path
        The file.
    layer : str or None
        Its layer; without one the only layer, else the layer named as the key.
    """

    file: Path
    layer: str | None = None

    @property
    def name(self) -> str:
        """File name and layer, for sentences."""
        return f"{self.file.name}, {self.layer}" if self.layer else self.file.name


def check_file(file: Path) -> None:
    """Refuse what is not a plain file on this machine.

    Raises
    ------
    InputError
        An address, a folder, a missing or an empty file.
    """
    if _ADDRESS.search(file.as_posix()) or _ADDRESS.search(str(file)):
        message = f"{file} is an address, not a file. Save the file beside the site."
    elif not file.exists():
        message = f"{file} is not there. Correct the name, or the folder."
    elif not file.is_file():
        message = f"{file} is a folder. Name the file in it."
    elif file.stat().st_size == 0:
        message = f"{file.name} is empty: it holds no byte. Save it again."
    else:
        return
    raise InputError(message)


def kind_of_file(file: Path) -> str:
    """Tell the kind of a vector file from its first bytes, not from its name.

    Parameters
    ----------
    file : Path
        A file on this machine.

    Returns
    -------
    kind : str
        ``GeoPackage``, ``GeoJSON``, ``GPX``, ...

    Raises
    ------
    InputError
        A kind that is not read, or text that points to other files.
    """
    check_file(file)
    with file.open("rb") as stream:
        head = stream.read(65_536).removeprefix(b"\xef\xbb\xbf")
    if _POINTERS.search(head):
        message = (
            f"{file.name} only points to other files, and is not followed. "
            "Name the file that holds the shapes."
        )
        raise InputError(message)
    for magic, kind in _MAGIC:
        if head.startswith(magic):
            if kind == "Shapefile":
                _check_length(file, head)
            return kind
    for pattern, kind in _TEXT:
        if pattern.match(head):
            return kind
    message = f"{file.name} is no vector file that is read here. Save it as {_KNOWN}."
    raise InputError(message)


def _check_length(file: Path, head: bytes) -> None:
    """Refuse a cut-off Shapefile, which would be read with shapes missing.

    Its header gives its length in words of two bytes (ESRI Shapefile Technical
    Description, 1998).
    """
    told = 2 * int.from_bytes(head[24:28], "big")
    if file.stat().st_size < told:
        message = f"{file.name} is cut off. Save or send it again."
        raise InputError(message)


def list_layers(file: Path) -> dict[str, int]:
    """List the layers of a vector file that hold shapes.

    Returns
    -------
    layers : dict of str to int
        Name of each layer and its number of features.
    """
    with _sentences(file):
        return {
            str(name): _count(file, str(name))
            for name, shape in pyogrio.list_layers(file)
            if shape is not None
        }


def _count(file: Path, layer: str) -> int:
    told = pyogrio.read_info(file, layer=layer, force_feature_count=True)
    return int(told["features"])


def read_vector(source: VectorSource, key: str, schema: Schema) -> GeoDataFrame:
    """Read one vector input, in its own coordinate system.

    Parameters
    ----------
    source : VectorSource
        File and layer.
    key : str
        Key of the site file, the name of the layer that is looked for.
    schema : Schema
        What it may hold.

    Returns
    -------
    frame : GeoDataFrame
        One row a single shape, level (no third coordinate), with the columns of
        the schema. May be empty.

    Raises
    ------
    InputError
        A missing, empty, cut-off or foreign file, a wrong shape or value.
    CrsError
        No coordinate system, or coordinates that do not fit it.
    """
    kind = kind_of_file(source.file)
    layer = _choose_layer(source, key, kind, schema)
    frame = _read(source.file, layer)
    frame = fit_columns(frame, schema, source.name)
    frame = frame[~(frame.geometry.isna() | frame.geometry.is_empty)]
    _check_shapes(frame, source, schema)
    _check_numbers(frame, source)
    _check_crs(frame, source)
    return frame.explode(ignore_index=True, index_parts=False)


def reproject(frame: GeoDataFrame, crs: CRS, name: str) -> GeoDataFrame:
    """Take a frame to another coordinate system.

    Raises
    ------
    CrsError
        There is no way from one to the other.
    """
    try:
        moved = frame.to_crs(crs)
    except pyproj.exceptions.ProjError:
        moved = None
    if moved is None or (len(moved) and not np.isfinite(moved.total_bounds).all()):
        message = (
            f"{name}: its coordinates cannot be brought from {frame.crs.name} to "
            f"{crs.name}. Check its coordinate system."
        )
        raise CrsError(message)
    return moved


def mend_shapes(frame: GeoDataFrame) -> tuple[GeoDataFrame, int]:
    """Make every polygon valid, keeping polygons only.

    Returns
    -------
    frame : GeoDataFrame
        One row a single valid shape.
    mended : int
        How many shapes were not valid.
    """
    polygons = (frame.geom_type == "Polygon").to_numpy()
    broken = polygons & ~frame.geometry.is_valid.to_numpy()
    if not broken.any():
        return frame, 0
    shapes = frame.geometry.to_numpy().copy()
    shapes[broken] = shapely.make_valid(shapes[broken])
    mended = frame.set_geometry(GeoSeries(shapes, index=frame.index, crs=frame.crs))
    mended = mended.explode(index_parts=False)
    kept = (mended.geom_type == "Polygon") | ~np.isin(
        mended.index, np.flatnonzero(broken)
    )
    return mended[kept].reset_index(drop=True), int(broken.sum())


def _choose_layer(source: VectorSource, key: str, kind: str, schema: Schema) -> str:
    layers = list_layers(source.file)
    listed = ", ".join(layers) or "none with shapes"
    if source.layer is not None:
        if source.layer in layers:
            return source.layer
        message = (
            f'{source.file.name} has no layer "{source.layer}".'
            f"{nearest(source.layer, layers)} It has: {listed}."
        )
        raise InputError(message)
    if kind == "GPX":
        layers = _gpx_layers(layers, schema)
    elif kind == "KML":
        layers = {name: n for name, n in layers.items() if n} or layers
    if len(layers) == 1:
        return next(iter(layers))
    same = [name for name in layers if name.casefold() == key.casefold()]
    if len(same) == 1:
        return same[0]
    message = (
        f"{source.file.name} has several layers, none of them called {key}. Write "
        f'{{file = "{source.file.name}", layer = "..."}} with one of: {listed}.'
    )
    raise InputError(message)


def _gpx_layers(layers: dict[str, int], schema: Schema) -> dict[str, int]:
    """Of a GPX file, take the walked track before the route before the points."""
    wanted = ["tracks", "routes"] if schema.shapes != ("point",) else []
    wanted += ["waypoints"] if "point" in schema.shapes else []
    filled = [name for name in wanted if layers.get(name)]
    return {name: layers[name] for name in filled[:1] or wanted[:1]}


def _read(file: Path, layer: str) -> GeoDataFrame:
    with _sentences(file):
        expected = _count(file, layer)
        frame = pyogrio.read_dataframe(file, layer=layer, force_2d=True)
    if len(frame) < expected:
        message = (
            f"{file.name} is cut off: {len(frame)} of {expected} features can be "
            "read. Save or send it again."
        )
        raise InputError(message)
    return GeoDataFrame(frame)


@contextmanager
def _sentences(file: Path) -> Iterator[None]:
    """Turn what the library raises into one sentence with the file's name."""
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", RuntimeWarning)
            yield
    except (
        DataSourceError,
        DataLayerError,
        shapely.errors.ShapelyError,
        UnicodeDecodeError,
        ValueError,
    ) as error:
        reason = str(error).replace(str(file), file.name).split("\n")[0].rstrip(".")
        message = (
            f"{file.name} cannot be read: it is cut off or damaged ({reason}). "
            "Save or send it again."
        )
        raise InputError(message) from error


def _check_shapes(frame: GeoDataFrame, source: VectorSource, schema: Schema) -> None:
    wrong = [
        (number + 1, shape)
        for number, shape in zip(frame.index, frame.geom_type, strict=True)
        if _SHAPES.get(shape) not in schema.shapes
    ]
    if wrong:
        number, shape = wrong[0]
        more = f" (and {len(wrong) - 1} more)" if len(wrong) > 1 else ""
        message = (
            f"{source.name}, feature {number}{more} is a {_SHAPES.get(shape, shape)}. "
            f"Draw {' or '.join(f'{s}s' for s in schema.shapes)} here."
        )
        raise InputError(message)


def _check_numbers(frame: GeoDataFrame, source: VectorSource) -> None:
    points, owners = shapely.get_coordinates(frame.geometry.array, return_index=True)
    wrong = ~np.isfinite(points).all(axis=1)
    if wrong.any():
        number = int(frame.index[owners[wrong][0]]) + 1
        message = (
            f"{source.name}, feature {number} has a corner whose coordinates are no "
            "numbers. Draw it again."
        )
        raise InputError(message)


def _check_crs(frame: GeoDataFrame, source: VectorSource) -> None:
    if frame.crs is None:
        message = (
            f"{source.name} names no coordinate system. Save it with one (a Shapefile "
            "keeps it in the .prj beside it), or as GeoJSON in longitude and latitude."
        )
        raise CrsError(message)
    if frame.empty or not frame.crs.is_geographic:
        return
    west, south, east, north = frame.total_bounds
    if west < -360 or east > 360 or south < -90 or north > 90:
        message = (
            f"{source.name}: {west:.0f}, {south:.0f} is no longitude and latitude, as "
            f"its coordinate system ({frame.crs.name}) says. Save it again with the "
            "coordinate system that it was drawn in."
        )
        raise CrsError(message)
