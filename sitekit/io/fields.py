"""Reading of many fields: one row a field, each with a name of its own."""

from collections import Counter
from pathlib import Path

import geopandas
import pandas as pd
import pyogrio
from geopandas import GeoDataFrame

from sitekit.errors import CrsError, InputError
from sitekit.io.vectors import list_layers, reproject

#: Columns that name a field, the first that is there counts.
NAMES = ("field", "id", "name")
PARQUET = {".parquet", ".geoparquet"}


def read_fields(file: Path) -> GeoDataFrame:
    """Read a table of fields.

    Parameters
    ----------
    file : Path
        GeoPackage, FlatGeobuf, GeoParquet or any other vector file. Every layer of
        it is read, each in its own coordinate system.

    Returns
    -------
    fields : GeoDataFrame
        ``field`` (unique, as written; a double gets ``-2``) and the shape, which
        may be missing. One row a feature, in the order of the file, on the
        coordinate system of its first layer.

    Raises
    ------
    InputError
        The file is missing, cannot be read, or holds no field.
    CrsError
        It names no coordinate system.
    """
    if not file.is_file():
        message = f"{file}: there is no such file. Name a table of fields."
        raise InputError(message)
    frames = [
        _named(frame, file)
        for frame in (_read_parquet(file) if _is_parquet(file) else _read_layers(file))
        if len(frame)
    ]
    if not frames:
        message = f"{file.name} holds no field. Draw one polygon for each."
        raise InputError(message)
    crs = frames[0].crs
    parts = [reproject(frame, crs, file.name) for frame in frames]
    fields = GeoDataFrame(pd.concat(parts, ignore_index=True), crs=crs)
    fields["field"] = _without_doubles(list(fields["field"]))
    return fields


def _is_parquet(file: Path) -> bool:
    return file.suffix.casefold() in PARQUET


def _read_parquet(file: Path) -> list[GeoDataFrame]:
    try:
        return [geopandas.read_parquet(file)]
    except ImportError:
        message = (
            f"{file.name}: GeoParquet needs the package pyarrow. "
            'Install it with pip install "sitekit[region]".'
        )
        raise InputError(message) from None
    except (OSError, ValueError) as problem:
        first = str(problem).partition("\n")[0]
        message = f"{file.name} cannot be read as GeoParquet: {first}."
        raise InputError(message) from None


def _read_layers(file: Path) -> list[GeoDataFrame]:
    layers = list_layers(file)
    return [pyogrio.read_dataframe(file, layer=layer) for layer in layers]


def _named(frame: GeoDataFrame, file: Path) -> GeoDataFrame:
    """Keep the name and the shape of each field."""
    if frame.crs is None:
        message = (
            f"{file.name} names no coordinate system. Save it with the one that its "
            "coordinates are in."
        )
        raise CrsError(message)
    column = next((name for name in NAMES if name in frame), None)
    numbers = pd.Series(range(1, len(frame) + 1), index=frame.index)
    names = numbers if column is None else frame[column].fillna(numbers)
    told = [_as_text(name) for name in names]
    return GeoDataFrame({"field": told}, geometry=frame.geometry.array, crs=frame.crs)


def _as_text(name: object) -> str:
    """Write a name; a number that came as 7.0 is 7."""
    whole = isinstance(name, float) and name.is_integer()
    return str(int(name) if whole else name)  # type: ignore[call-overload]


def _without_doubles(names: list[str]) -> list[str]:
    """Give each field a name of its own."""
    taken = set(names)
    seen: Counter[str] = Counter()
    own = []
    for name in names:
        seen[name] += 1
        new = name
        while seen[name] > 1 and new in taken:
            new = f"{name}-{seen[name]}"
            seen[name] += new in taken
        taken.add(new)
        own.append(new)
    return own
