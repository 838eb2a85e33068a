"""Readings of loggers: a folder, or one file beside ``loggers.csv``."""

import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from io import StringIO
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
from geopandas import GeoDataFrame
from pyproj import CRS

from sitekit import words
from sitekit.errors import InputError
from sitekit.io.reading_file import UNNAMED, check_zone, read_file
from sitekit.site import Remark

TABLE = "loggers.csv"
#: Files that may hold readings.
SUFFIXES = (".csv", ".txt", ".tsv", ".dat")
#: Loggers nearer to each other than this stand at one place. [m]
ONE_PLACE = 1.0
DEGREES = 4326
NUMBERS = ("height_m", "start_check_degc", "end_check_degc")
WORDS = ("shield", "place")
YES = ("yes", "y", "true", "1", "x")


@dataclass(frozen=True)
class Readings:
    """Readings of loggers, times in UTC.

    Parameters
    ----------
    loggers : GeoDataFrame
        Points, one row a logger with readings: ``logger``, ``height_m``,
        ``shield``, ``place``, ``reference`` (bool), ``start_check_degc`` and
        ``end_check_degc`` (its reading less the mean of all side by side, before
        and after).
    temperatures : mapping of str to Series
        Temperature by time in UTC, in order; by logger. [degC]
    remarks : tuple of Remark
        What was read, mended, left out.
    inputs : mapping of str to str
        Files that were read, and their sha256.
    """

    loggers: GeoDataFrame
    temperatures: Mapping[str, pd.Series]
    remarks: tuple[Remark, ...]
    inputs: Mapping[str, str]


def read_readings(
    path: Path, crs: CRS, longitude: float, time_zone: str | None = None
) -> Readings:
    """Read the readings of loggers.

    Parameters
    ----------
    path : Path
        Folder with ``loggers.csv`` and one file a logger, named after it, or one
        file with a column ``logger``; or that file itself.
    crs : pyproj.CRS
        Where points are wanted.
    longitude : float
        For the zone of times where nothing names it. [degree]
    time_zone : str, optional
        Zone of times in files that name none.

    Returns
    -------
    readings : Readings
        Those of every logger that has a place and readings.

    Raises
    ------
    InputError
        Where there is no ``loggers.csv``, or no logger has readings.
    """
    if not path.exists():
        message = f"{path}: there is no such file or folder. Name the readings."
        raise InputError(message)
    folder = path if path.is_dir() else path.parent
    table = _read_table(folder, crs)
    zone = check_zone(time_zone or f"{round(longitude / 15):+03d}:00")
    files = _list_files(path)
    remarks: list[Remark] = []
    temperatures: dict[str, pd.Series] = {}
    known = {str(name).casefold(): str(name) for name in table["logger"]}
    used = []
    for file in files:
        found = _read_one(file, zone, known, remarks, said=bool(time_zone))
        used += [file] if found else []
        temperatures |= {known[name.casefold()]: s for name, s in found.items()}
    if not temperatures:
        message = (
            f"{path}: no file holds readings of a logger in {TABLE}. Name each file "
            f"after its logger, as {table['logger'].iloc[0]}.csv."
        )
        raise InputError(message, *(r.text for r in remarks if r.kind == "doubtful"))
    remarks += _told_of_table(table, temperatures)
    kept = table[table["logger"].isin(list(temperatures))].reset_index(drop=True)
    return Readings(kept, temperatures, tuple(remarks), _hash([folder / TABLE, *used]))


def _hash(files: Sequence[Path]) -> dict[str, str]:
    """Hash the files that were read."""
    hashes = {}
    for file in files:
        with file.open("rb") as stream:
            hashes[file.name] = hashlib.file_digest(stream, "sha256").hexdigest()
    return hashes


def _list_files(path: Path) -> list[Path]:
    """List the files that may hold readings."""
    if not path.is_dir():
        return [path]
    return sorted(
        p
        for p in path.iterdir()
        if p.is_file()
        and p.suffix.casefold() in SUFFIXES
        and p.name.casefold() != TABLE
        and not p.name.startswith(".")
    )


def _read_one(
    file: Path,
    zone: str,
    known: Mapping[str, str],
    remarks: list[Remark],
    *,
    said: bool,
) -> dict[str, pd.Series]:
    """Read one file; what cannot be used is said and left out."""
    try:
        read = read_file(file, zone)
    except InputError as error:
        remarks += [
            Remark("doubtful", file.name, mistake.removeprefix(f"{file.name}: "))
            for mistake in error.mistakes
        ]
        return {}
    found = dict(read.by_logger)
    if UNNAMED in found:
        found = {file.stem: found.pop(UNNAMED)}
    strange = [name for name in found if name.casefold() not in known]
    for name in strange:
        text = f'"{name}" is not in {TABLE}; its readings are left out'
        remarks.append(Remark("doubtful", file.name, text))
        del found[name]
    if found and read.told:
        remarks.append(Remark("mended", file.name, ", ".join(read.told)))
    if found and not read.names_zone and not said:
        text = f"its times name no zone; taken as UTC{zone}, --time-zone sets it"
        remarks.append(Remark("doubtful", file.name, text))
    return found


def _read_table(folder: Path, crs: CRS) -> GeoDataFrame:
    """Read where the loggers stand."""
    path = folder / TABLE
    try:
        text = path.read_text(encoding="utf-8-sig")
        head = text.partition("\n")[0]
        separator = max(",;\t|", key=head.count)
        separator = separator if separator in head else r"\s+"
        frame = pd.read_csv(StringIO(text), sep=separator, dtype=str)
    except FileNotFoundError:
        message = (
            f"{folder}: there is no {TABLE}. Write one with the columns logger, lon, "
            "lat (or easting, northing)."
        )
        raise InputError(message) from None
    except (pd.errors.ParserError, pd.errors.EmptyDataError, UnicodeError):
        message = (
            f"{path.name}: it cannot be read as a table. Write one with the columns "
            "logger, lon, lat (or easting, northing)."
        )
        raise InputError(message) from None
    frame.columns = pd.Index([str(c).strip().casefold() for c in frame.columns])
    points = _points(frame, crs)
    if frame.empty:
        message = f"{path.name}: it names no logger. Write one line for each."
        raise InputError(message)
    table = pd.DataFrame({"logger": frame["logger"].astype(str).str.strip()})
    for name in NUMBERS:
        given = frame[name] if name in frame else pd.Series(np.nan, frame.index)
        table[name] = pd.to_numeric(given, errors="coerce")
    for name in WORDS:
        table[name] = frame[name].fillna("") if name in frame else ""
    named = frame["reference"].fillna("") if "reference" in frame else ""
    flags = pd.Series(named, index=frame.index).astype(str).str.strip().str.casefold()
    table["reference"] = flags.isin(YES)
    if table["logger"].str.casefold().duplicated().any():
        twice = table.loc[table["logger"].str.casefold().duplicated(), "logger"].iloc[0]
        message = f'{path.name}: logger "{twice}" stands twice. Give each its own name.'
        raise InputError(message)
    return gpd.GeoDataFrame(table, geometry=points, crs=crs)


def _points(frame: pd.DataFrame, crs: CRS) -> gpd.GeoSeries:
    """Read the places of loggers, in degrees or on the grid of the site."""
    if "logger" not in frame:
        message = f'{TABLE}: it has no column "logger". Add one with their names.'
        raise InputError(message)
    for east, north, where in (
        ("easting", "northing", crs),
        ("lon", "lat", CRS.from_epsg(DEGREES)),
    ):
        if east in frame and north in frame:
            x, y = (pd.to_numeric(frame[n], errors="coerce") for n in (east, north))
            lost = frame.loc[x.isna() | y.isna(), "logger"]
            if len(lost):
                message = (
                    f'{TABLE}: logger "{lost.iloc[0]}" has no place. Write {east} and '
                    f"{north} as numbers."
                )
                raise InputError(message)
            points = gpd.GeoSeries(gpd.points_from_xy(x, y, crs=where)).to_crs(crs)
            far = ~np.isfinite(points.get_coordinates()).all(axis=1).to_numpy()
            if far.any():
                message = (
                    f'{TABLE}: logger "{frame.loc[far, "logger"].iloc[0]}" has no '
                    f"place on Earth. Correct its {east} and {north}."
                )
                raise InputError(message)
            return points
    message = f"{TABLE}: it has no columns lon, lat (or easting, northing). Add them."
    raise InputError(message)


def _told_of_table(
    table: GeoDataFrame, temperatures: Mapping[str, pd.Series]
) -> list[Remark]:
    """Say which loggers were read, which have no file, which stand at one place."""
    told = []
    without = [name for name in table["logger"] if name not in temperatures]
    if without:
        text = f"no readings that can be used of {words.listed(without)}; left out"
        told.append(Remark("doubtful", TABLE, text))
    with_readings = table[table["logger"].isin(list(temperatures))]
    points = list(zip(with_readings["logger"], with_readings.geometry, strict=True))
    for i, (name, point) in enumerate(points):
        for other, there in points[i + 1 :]:
            if point.distance(there) < ONE_PLACE:
                text = f"loggers {name} and {other} stand at one place"
                told.append(Remark("doubtful", TABLE, text))
    first = min(s.index[0] for s in temperatures.values())
    last = max(s.index[-1] for s in temperatures.values())
    rows = sum(map(len, temperatures.values()))
    told.append(
        Remark(
            "read",
            "readings",
            f"{words.counted(len(temperatures), 'logger')}, {rows:,} readings, "
            f"{first:%Y-%m-%d} to {last:%Y-%m-%d}",
        )
    )
    return told
