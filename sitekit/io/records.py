"""Reading of daily records of stations: plain tables and GHCN-Daily."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from io import StringIO
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
from pyproj import CRS, Transformer

from sitekit import words
from sitekit.errors import InputError, nearest
from sitekit.io.ghcn import is_ghcn, read_ghcn
from sitekit.io.reading_text import find_formats
from sitekit.io.records_checks import check_days
from sitekit.site import Record, Remark

#: Columns that count, and other names under which they are known.
COLUMNS = {
    "date": ("date", "day", "time", "datum"),
    "tmin": ("tmin", "min", "tn", "temp_min", "minimum"),
    "tmax": ("tmax", "max", "tx", "temp_max", "maximum"),
    "wind": ("wind", "wind_night"),
    "cloud": ("cloud", "cloud_night"),
}
NEEDED = ("date", "tmin", "tmax")
ONE_DAY = pd.Timedelta(days=1)


@dataclass(frozen=True)
class RecordSource:
    """What is to be read of one or more stations.

    Parameters
    ----------
    files : tuple of Path
        One file a station, the one that speaks for the site first.
    station : (longitude, latitude[, elevation]) or None
        Where the first stands. [degree, m]
    columns : mapping of str to str
        Names of columns in the files, by the names of `COLUMNS`.
    unit : {"degC", "degF"}
        Unit of the temperatures.
    bloom : Path, mapping or None
        Full bloom that was noted: a file, or a date for each fruit.
    """

    files: tuple[Path, ...] = ()
    station: Sequence[float] | None = None
    columns: Mapping[str, str] = field(default_factory=dict)
    unit: str = "degC"
    bloom: Path | Mapping[str, Any] | None = None


def read_records(
    source: RecordSource, crs: CRS, middle: tuple[float, float]
) -> tuple[tuple[Record, ...], list[Remark]]:
    """Read the records of a site.

    Parameters
    ----------
    source : RecordSource
        Files and where the first station stands.
    crs : pyproj.CRS
        Coordinate system of the grid.
    middle : tuple of float
        Longitude and latitude of the field, for a station whose place is not told.
        [degree]

    Returns
    -------
    records : tuple of Record
        In the order of the files.
    remarks : list of Remark
        What was read, mended or is doubtful.

    Raises
    ------
    InputError
        One sentence for a file that is missing, has no such column, or holds no
        day that can be used; an unreadable value is told with its line.
    """
    remarks: list[Remark] = []
    records = []
    for number, file in enumerate(source.files):
        station = source.station if number == 0 else None
        days, place = _read_days(file, source)
        place = tuple(station) if station is not None else place
        if place is None:
            text = "where the station stands is not told: the field is taken"
            remarks.append(Remark("doubtful", file.name, text))
        where = place or middle
        days, told = check_days(days, file.name, where[1])
        remarks += told
        records.append(_record(file, days, where, crs, source, remarks))
    return tuple(records), remarks


def _record(
    file: Path,
    days: pd.DataFrame,
    where: Sequence[float],
    crs: CRS,
    source: RecordSource,
    remarks: list[Remark],
) -> Record:
    to_grid = Transformer.from_crs(4326, crs, always_xy=True)
    easting, northing = to_grid.transform(where[0], where[1])
    bloom = read_bloom(source.bloom, days, remarks)
    first, last = days["date"].iloc[0].year, days["date"].iloc[-1].year
    text = f"{first} to {last}, {words.counted(len(days), 'day')}"
    remarks.append(Remark("read", file.name, text))
    return Record(
        name=file.stem.replace("_", " "),
        days=days,
        easting=float(easting),
        northing=float(northing),
        elevation=float(where[2]) if len(where) > 2 else float("nan"),
        latitude=float(where[1]),
        bloom=bloom,
    )


def _read_days(
    file: Path, source: RecordSource
) -> tuple[pd.DataFrame, tuple[float, ...] | None]:
    """Read a file of either kind; temperatures in degC, and the place it tells."""
    if not file.is_file():
        message = f"{file}: there is no such file. Name the record of a station."
        raise InputError(message)
    text = file.read_text(encoding="utf-8-sig", errors="replace")
    if not text.strip():
        message = f"{file.name} is empty. Save the daily record again."
        raise InputError(message)
    if is_ghcn(file, text):
        return read_ghcn(file, text)
    return _read_table(file, text, source), None


def _read_table(file: Path, text: str, source: RecordSource) -> pd.DataFrame:
    """Read a table with a header."""
    separator = max(",;\t", key=text.partition("\n")[0].count)
    try:
        table = pd.read_csv(StringIO(text), sep=separator, dtype=str)
    except (pd.errors.ParserError, pd.errors.EmptyDataError) as problem:
        told = " ".join(str(problem).split())[:120]
        message = f"{file.name} cannot be read as a table: {told}."
        raise InputError(message) from None
    table.columns = [str(c).strip() for c in table.columns]
    names = _find_columns(file, list(table.columns), source.columns)
    days = pd.DataFrame({"date": _dates(file, table[names["date"]])})
    comma = separator != ","
    for name in ("tmin", "tmax", "wind", "cloud"):
        values = table[names[name]] if name in names else None
        days[name] = np.nan if values is None else _numbers(file, values, comma=comma)
    if source.unit == "degF":
        days[["tmin", "tmax"]] = (days[["tmin", "tmax"]] - 32) / 1.8
    return days


def _find_columns(
    file: Path, columns: Sequence[str], given: Mapping[str, str]
) -> dict[str, str]:
    """Find the columns that count."""
    lower = {column.casefold(): column for column in columns}
    found: dict[str, str] = {}
    mistakes = []
    for name, known in COLUMNS.items():
        wanted = given.get(name)
        if wanted is not None and wanted not in columns:
            hint = nearest(wanted, columns)
            mistakes.append(
                f'{file.name}: it has no column "{wanted}".{hint} Mend [records] '
                "columns."
            )
            continue
        column = wanted or next((lower[k] for k in known if k in lower), None)
        if column is not None:
            found[name] = column
        elif name in NEEDED:
            mistakes.append(
                f"{file.name}: it has no column {name} (it has {', '.join(columns)}). "
                "Name it under [records] columns."
            )
    if mistakes:
        raise InputError(*mistakes)
    return found


def _dates(file: Path, values: pd.Series) -> pd.Series:
    """Read dates; one that cannot be read is an error with its line."""
    text = values.str.strip()
    dates = pd.to_datetime(text, format="ISO8601", errors="coerce")
    if text.notna().any() and dates.isna().all():
        dates = _local_dates(file, text)
    _refuse(file, values, dates.isna(), "a date as 1996-05-14")
    found: pd.Series = dates.dt.tz_localize(None)
    return found


def _local_dates(file: Path, text: pd.Series) -> pd.Series:
    """Read dates that begin with the day or the month, all of them in one order."""
    orders = find_formats(list(text.dropna())) or ("mixed",)
    read = [pd.to_datetime(text, format=o, errors="coerce") for o in orders]
    if len(read) == 1:
        return read[0]
    # Days follow each other; months would leap.
    steps = [int((dates.diff() == ONE_DAY).sum()) for dates in read]
    if steps[0] == steps[1]:
        message = (
            f'{file.name}: "{text.dropna().iloc[0]}" may begin with the day or the '
            "month. Write its dates as 1996-05-14."
        )
        raise InputError(message)
    return read[int(np.argmax(steps))]


def _numbers(file: Path, values: pd.Series, *, comma: bool) -> pd.Series:
    """Read numbers; empty is missing, anything else unreadable an error."""
    text = values.str.strip()
    if comma:
        text = text.str.replace(",", ".", regex=False)
    numbers = pd.to_numeric(text, errors="coerce")
    empty = text.isna() | text.str.casefold().isin({"", "na", "nan", "null", "-"})
    _refuse(file, values, numbers.isna() & ~empty, "a number")
    return numbers.astype(float)


def _refuse(file: Path, values: pd.Series, wrong: pd.Series, wanted: str) -> None:
    if not wrong.any():
        return
    place = int(np.argmax(wrong.to_numpy()))
    more = int(wrong.sum()) - 1
    also = f" ({more} more of that kind)" if more else ""
    message = (
        f'{file.name}, line {place + 2}: "{values.iloc[place]}" is not {wanted}{also}. '
        "Mend or empty it."
    )
    raise InputError(message)


def read_bloom(
    bloom: Path | Mapping[str, Any] | None, days: pd.DataFrame, remarks: list[Remark]
) -> pd.DataFrame:
    """Read when trees were in full bloom.

    Parameters
    ----------
    bloom : Path, mapping or None
        A table with ``fruit``, ``full_bloom`` (a date) and perhaps ``tree``; or a
        day for each fruit, ``MM-DD``, of the last year of the record.
    days : DataFrame
        The record.
    remarks : list of Remark
        What is said is added here.

    Returns
    -------
    bloom : DataFrame
        ``fruit``, ``year``, ``day``, ``place``.

    Raises
    ------
    InputError
        A file that is missing or lacks a column; a date that cannot be read.
    """
    if bloom is None:
        return _bloom_frame([])
    if isinstance(bloom, Path):
        return _bloom_file(bloom, remarks)
    year = int(days["date"].iloc[-1].year)
    notes = []
    for fruit, text in bloom.items():
        whole = str(text) if str(text).count("-") == 2 else f"{year}-{text}"
        day = pd.to_datetime(whole, format="ISO8601", errors="coerce")
        if pd.isna(day):
            message = f'[records] bloom: "{text}" of {fruit} is not a day as 05-14.'
            raise InputError(message)
        notes.append((str(fruit), int(day.year), day, ""))
    return _bloom_frame(notes)


def _bloom_file(file: Path, remarks: list[Remark]) -> pd.DataFrame:
    if not file.is_file():
        message = f"{file}: there is no such file. Name the notes of bloom."
        raise InputError(message)
    try:
        table = pd.read_csv(file, dtype=str, encoding="utf-8-sig")
    except (pd.errors.ParserError, pd.errors.EmptyDataError, UnicodeError):
        message = f"{file.name} cannot be read as a table. Save it as CSV in UTF-8."
        raise InputError(message) from None
    for name in ("fruit", "full_bloom"):
        if name not in table:
            message = (
                f"{file.name}: it has no column {name}. Give fruit and full_bloom."
            )
            raise InputError(message)
    table = table.dropna(subset=["fruit", "full_bloom"]).reset_index(drop=True)
    table["day"] = _dates(file, table["full_bloom"])
    place = table["tree"].fillna("") if "tree" in table else [""] * len(table)
    remarks.append(
        Remark("read", file.name, words.counted(len(table), "note") + " of bloom")
    )
    return _bloom_frame(
        zip(table["fruit"], table["day"].dt.year, table["day"], place, strict=True)
    )


def _bloom_frame(notes: Any) -> pd.DataFrame:  # noqa: ANN401 - rows of any kind
    frame = pd.DataFrame(list(notes), columns=["fruit", "year", "day", "place"])
    return frame.astype({"year": "int64", "day": "datetime64[ns]"})
