"""GHCN-Daily: fixed-width ``.dly`` files and the tables by station.

Menne, M. J. et al. 2012, Journal of Atmospheric and Oceanic Technology 29, 897-910;
the forms are those of the archive's ``readme.txt`` and ``readme-by_station.txt``.
"""

import csv
import re
from calendar import monthrange
from io import StringIO
from pathlib import Path

import numpy as np
import pandas as pd

from sitekit.errors import InputError

#: Elements that are taken; the archive holds tenths of a degree.
ELEMENTS = ("TMIN", "TMAX")
MISSING = -9999
#: One line is a month: identifier, year, month, element, 31 values with three flags.
_LINE = re.compile(r"^[A-Z]{2}[A-Z0-9_\-. ]{9}\d{6}[A-Z0-9]{4}")
_ROW = re.compile(r'^"?[A-Z]{2}[A-Z0-9_\-.]{9}"?,\d{8},[A-Z0-9]{4},')
_VALUES, _WIDTH = 21, 8


def is_ghcn(file: Path, text: str) -> bool:
    """Tell whether a file has one of the archive's forms.

    Parameters
    ----------
    file : Path
        The file.
    text : str
        What it holds.

    Returns
    -------
    ghcn : bool
    """
    first = text.lstrip().partition("\n")[0]
    return (
        bool(_LINE.match(first))
        or bool(_ROW.match(first))
        or _has_header(first)
        or file.suffix.casefold() == ".dly"
    )


def _has_header(first: str) -> bool:
    names = {name.strip().strip('"').upper() for name in first.split(",")}
    return {"STATION", "DATE"} <= names and bool({"TMIN", "TMAX"} & names)


def read_ghcn(file: Path, text: str) -> tuple[pd.DataFrame, tuple[float, ...] | None]:
    """Read a file of the archive; values with a quality flag are left out.

    Parameters
    ----------
    file : Path
        The file, for messages.
    text : str
        What it holds.

    Returns
    -------
    days : DataFrame
        ``date``, ``tmin``, ``tmax`` [degC], ``wind``, ``cloud`` (missing).
    place : (longitude, latitude, elevation) or None
        Where the file tells it.

    Raises
    ------
    InputError
        A line that cannot be read, or no minimum or maximum at all.
    """
    first = text.lstrip().partition("\n")[0]
    if _has_header(first):
        return _read_header(file, text)
    read = _read_rows if _ROW.match(first) else _read_months
    return _days(file, read(file, text)), None


Values = list[tuple[str, str, float]]


def _read_months(file: Path, text: str) -> Values:
    """Read fixed-width lines, one a month and element."""
    values: Values = []
    for number, line in enumerate(text.splitlines(), start=1):
        if not line.strip():
            continue
        element = line[17:21]
        try:
            year, month = int(line[11:15]), int(line[15:17])
            length = monthrange(year, month)[1]
            if element in ELEMENTS:
                values += _month(line, element, (year, month), length)
        except (ValueError, IndexError):
            message = (
                f"{file.name}, line {number} is not a month of GHCN-Daily. Save the "
                "file again, whole."
            )
            raise InputError(message) from None
    return values


def _month(line: str, element: str, when: tuple[int, int], length: int) -> Values:
    found: Values = []
    for day in range(length):
        start = _VALUES + _WIDTH * day
        cell = line[start : start + _WIDTH].ljust(_WIDTH)
        if not cell[:5].strip():
            continue
        value, flag = int(cell[:5]), cell[6]
        if value != MISSING and flag == " ":
            date = f"{when[0]:04d}-{when[1]:02d}-{day + 1:02d}"
            found.append((date, element, value / 10))
    return found


def _read_rows(file: Path, text: str) -> Values:
    """Read rows: identifier, date, element, value, measurement, quality, source."""
    values: Values = []
    for number, row in enumerate(csv.reader(StringIO(text)), start=1):
        if not row or row[2] not in ELEMENTS:
            continue
        try:
            date = f"{row[1][:4]}-{row[1][4:6]}-{row[1][6:8]}"
            value, flag = int(row[3]), row[5].strip()
        except (ValueError, IndexError):
            message = f"{file.name}, line {number} is not a row of GHCN-Daily. Mend it."
            raise InputError(message) from None
        if value != MISSING and not flag:
            values.append((date, row[2], value / 10))
    return values


def _read_header(
    file: Path, text: str
) -> tuple[pd.DataFrame, tuple[float, ...] | None]:
    """Read a table with a column for each element and its attributes."""
    table = pd.read_csv(StringIO(text), dtype=str, skipinitialspace=True)
    table.columns = [str(c).strip().upper() for c in table.columns]
    values: Values = []
    for element in ELEMENTS:
        if element not in table:
            continue
        number = pd.to_numeric(table[element], errors="coerce")
        tenths = f"{element}_ATTRIBUTES" in table
        flagged = _flagged(table[f"{element}_ATTRIBUTES"]) if tenths else False
        good = number.notna() & (number != MISSING) & np.logical_not(flagged)
        dates = table["DATE"][good].str[:10]
        # Tables with attributes hold tenths; those made for reading hold degrees.
        scale = 10 if tenths else 1
        values += [
            (date, element, float(value) / scale)
            for date, value in zip(dates, number[good], strict=True)
        ]
    return _days(file, values), _place(table)


def _flagged(attributes: pd.Series) -> pd.Series:
    """Tell which values failed a check: the second of their attributes."""
    quality = attributes.fillna("").str.split(",").str[1].fillna("").str.strip()
    flagged: pd.Series = quality != ""
    return flagged


def _place(table: pd.DataFrame) -> tuple[float, ...] | None:
    names = ("LONGITUDE", "LATITUDE", "ELEVATION")
    if not set(names[:2]) <= set(table.columns):
        return None
    found = [float(table[n].iloc[0]) for n in names if n in table]
    return tuple(found) if np.isfinite(found).all() else None


def _days(file: Path, values: Values) -> pd.DataFrame:
    """Put minimum and maximum of a day side by side."""
    if not values:
        message = (
            f"{file.name} holds no minimum or maximum that passed the checks of the "
            "archive. Take another station."
        )
        raise InputError(message)
    long = pd.DataFrame(values, columns=["date", "element", "value"])
    wide = long.pivot_table(index="date", columns="element", values="value")
    wide = wide.reindex(columns=list(ELEMENTS))
    return pd.DataFrame(
        {
            "date": pd.to_datetime(wide.index, format="%Y-%m-%d"),
            "tmin": wide["TMIN"].to_numpy(),
            "tmax": wide["TMAX"].to_numpy(),
            "wind": np.nan,
            "cloud": np.nan,
        }
    )
