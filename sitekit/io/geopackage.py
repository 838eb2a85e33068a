"""Writing of a GeoPackage: every layer with its columns, all or nothing."""

import re
import tempfile
import warnings
from collections.abc import Mapping
from pathlib import Path

import numpy as np
import pandas as pd
import pyogrio
from geopandas import GeoDataFrame

from sitekit.errors import OutputError

#: Dialect without tables that the standard does not know.
_DATASET = {"VERSION": "1.3", "ADD_GPKG_OGR_CONTENTS": "NO"}
_MULTI = {"Polygon": "MultiPolygon", "LineString": "MultiLineString"}
#: Columns that the file keeps for itself.
_KEPT = ("fid", "geom")


def write_geopackage(
    path: Path,
    layers: Mapping[str, pd.DataFrame],
    *,
    descriptions: Mapping[str, str] | None = None,
    geometry_types: Mapping[str, str] | None = None,
) -> None:
    """Write layers into one new GeoPackage.

    The file is written under another name and moved to its place when whole, so
    that no layer of an older file stays in it.

    Parameters
    ----------
    path : Path
        The file; an older one is replaced.
    layers : mapping of str to GeoDataFrame or DataFrame
        Layers by name; a frame without geometry becomes a table. A frame without
        a row is written empty, with its columns.
    descriptions : mapping of str to str, optional
        What each layer is.
    geometry_types : mapping of str to str, optional
        Kind of geometry of layers without a row, ``Polygon`` where not said.

    Raises
    ------
    OutputError
        A layer without coordinate system, with mixed kinds of geometry, or with a
        name that other programs cannot read; or a place that cannot be written.

    References
    ----------
    OGC 12-128r18, GeoPackage Encoding Standard 1.3.1.
    """
    path = Path(path)
    try:
        with tempfile.TemporaryDirectory(
            prefix=".geopackage-", dir=path.parent
        ) as folder:
            whole = Path(folder) / "whole.gpkg"
            for name, frame in layers.items():
                described = (descriptions or {}).get(name, "")
                wanted = (geometry_types or {}).get(name, "Polygon")
                _write_layer(whole, name, frame, described, wanted)
            whole.replace(path)
    except OSError as error:
        message = f"{path} cannot be written ({error.strerror}). Name another folder."
        raise OutputError(message) from error


def _write_layer(
    path: Path, name: str, frame: pd.DataFrame, description: str, wanted: str
) -> None:
    _check_names(name, frame)
    options = {"DESCRIPTION": description, "IDENTIFIER": name}
    shaped = isinstance(frame, GeoDataFrame)
    if shaped:
        _check_crs(name, frame)
        frame, wanted = _one_kind(name, frame, wanted)
        options |= {"GEOMETRY_NAME": "geom", "FID": "fid"}
    with warnings.catch_warnings():
        warnings.filterwarnings("ignore", "'crs' was not provided")
        pyogrio.write_dataframe(
            _plain_columns(frame),
            path,
            layer=name,
            driver="GPKG",
            geometry_type=wanted if shaped else None,
            promote_to_multi=wanted.startswith("Multi") if shaped else None,
            append=False,
            dataset_options=None if path.exists() else _DATASET,
            layer_options=options,
        )


def _check_names(name: str, frame: pd.DataFrame) -> None:
    if not re.fullmatch(r"[A-Za-z][A-Za-z0-9_]*", name):
        message = f'"{name}" cannot name a layer. Use letters, digits and _ only.'
        raise OutputError(message)
    columns = [str(column).casefold() for column in frame.columns]
    double = {column for column in columns if columns.count(column) > 1}
    for column in sorted(double | (set(columns) & set(_KEPT))):
        message = (
            f'Layer {name} has a column "{column}" that a GeoPackage keeps for itself '
            "or that stands twice. Name it otherwise."
        )
        raise OutputError(message)


def _check_crs(name: str, frame: GeoDataFrame) -> None:
    if frame.crs is None:
        message = (
            f"Layer {name} has no coordinate system. Set one before it is written."
        )
        raise OutputError(message)


def _one_kind(name: str, frame: GeoDataFrame, wanted: str) -> tuple[GeoDataFrame, str]:
    """Find the one kind of geometry of a layer; single and multi become multi."""
    found = set(frame.geom_type.dropna())
    if not found:
        return frame, wanted
    single = {kind.removeprefix("Multi") for kind in found}
    if len(single) > 1:
        message = (
            f"Layer {name} mixes {' and '.join(sorted(single))}. Write each kind to a "
            "layer of its own."
        )
        raise OutputError(message)
    (kind,) = single
    return frame, kind if found == {kind} else _MULTI.get(kind, f"Multi{kind}")


def _plain_columns(frame: pd.DataFrame) -> pd.DataFrame:
    """Give every column a kind that the file knows, nulls included."""
    plain = frame.copy()
    shape = frame.geometry.name if isinstance(frame, GeoDataFrame) else None
    for column in frame.columns:
        if column != shape:
            plain[column] = _plain(frame[column])
    return plain


def _plain(values: pd.Series) -> pd.Series:
    if pd.api.types.is_datetime64_any_dtype(values.dtype):
        return pd.to_datetime(values, utc=True)
    if isinstance(values.dtype, pd.CategoricalDtype):
        return _plain(values.astype(object))
    if values.dtype == np.float16:
        return values.astype("float32")
    if values.dtype != object:
        return values
    return _plain_objects(values)


def _plain_objects(values: pd.Series) -> pd.Series:
    """Settle a column of mixed Python values: flags, numbers, else text."""
    known = values.dropna()
    kinds = {type(value) for value in known}
    if kinds and kinds <= {bool, np.bool_}:
        return values.astype("boolean")
    if kinds and all(issubclass(kind, int | np.integer) for kind in kinds):
        return values.astype("Int64")
    if kinds and all(
        issubclass(kind, int | float | np.integer | np.floating) for kind in kinds
    ):
        return pd.to_numeric(values)
    text = [
        str(value) if known else None
        for value, known in zip(values, values.notna(), strict=True)
    ]
    return pd.Series(text, index=values.index, dtype="object")
