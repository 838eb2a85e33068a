"""The readings of one file: times in UTC and temperatures in degC."""

import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sitekit.errors import ConfigError, InputError
from sitekit.io.reading_text import Layout, find_layout

#: Lines that are read at a time.
AT_A_TIME = 1_000_000
#: Temperatures that no air has had outdoors are no readings. [degC]
COLDEST, WARMEST = -60.0, 60.0
#: Share of readings above this from which the unit must be degF, and that share.
HOT, OFTEN_HOT = 45.0, 0.05
#: Share of lines that may be unreadable.
FEW = 0.1
Array = NDArray[Any]
OFFSET = re.compile(r"(?P<sign>[-+\u2212])(?P<h>\d{1,2}):?(?P<m>\d{2})?")
#: Name of the one logger of a file without a column that names it.
UNNAMED = ""


def check_zone(text: str) -> str:
    """Check a time zone: a name, or the hours before UTC.

    Parameters
    ----------
    text : str
        ``Europe/Vienna``, ``+01:00`` or ``UTC``.

    Returns
    -------
    zone : str
        As pandas reads it.

    Raises
    ------
    ConfigError
        Where no zone has that name.

    Examples
    --------
    >>> check_zone("+1"), check_zone("UTC")
    ('+01:00', 'UTC')
    """
    found = OFFSET.fullmatch(text.strip())
    if found and int(found["h"]) <= 14:
        sign = "+" if found["sign"] == "+" else "-"
        return f"{sign}{int(found['h']):02d}:{found['m'] or '00'}"
    try:
        return ZoneInfo(text.strip()).key
    except (ZoneInfoNotFoundError, ValueError, OSError):
        message = (
            f'--time-zone: "{text}" is no time zone. Write a name as Europe/Vienna or '
            "the hours before UTC as +01:00."
        )
        raise ConfigError(message) from None


@dataclass(frozen=True)
class FileReadings:
    """The readings of one file.

    Parameters
    ----------
    by_logger : dict of str to Series
        Temperature by time in UTC, in order, no time twice; by the name of the
        logger, ``""`` where the file names none. [degC]
    told : tuple of str
        What was mended or dropped, half-sentences.
    names_zone : bool
        Whether times or head name their zone.
    """

    by_logger: dict[str, pd.Series]
    told: tuple[str, ...]
    names_zone: bool


def read_file(path: Path, zone: str) -> FileReadings:
    """Read the readings of one file.

    Parameters
    ----------
    path : Path
        Text with one reading a line.
    zone : str
        Time zone where neither times nor head of the file name one.

    Returns
    -------
    readings : FileReadings
        Temperatures, and what was mended.

    Raises
    ------
    InputError
        Where it holds no readings, or its dates can be read in two ways.
    """
    layout = find_layout(path)
    stamps, values, names = _read_columns(path, layout)
    times = _choose_order(path, stamps)
    values, told = _mend(values, layout)
    index = _in_utc(times, layout.zone or zone)
    kept = times.notna() & np.isfinite(values) & index.notna()
    if not kept.any():
        message = f"{path.name}: no line could be read as a time and a temperature."
        raise InputError(message)
    series = pd.Series(values[kept], index=index[kept], dtype=np.float32)
    which = np.full(len(series), UNNAMED) if names is None else names[kept]
    parts = {str(name): series[which == name] for name in np.unique(which)}
    return FileReadings(
        {name: _in_order(part, told) for name, part in parts.items()},
        tuple(told),
        bool(layout.zone) or times.tz is not None,
    )


def _mend(values: Array, layout: Layout) -> tuple[Array, list[str]]:
    """Turn degF into degC, and drop what no air ever was."""
    told = []
    if layout.fahrenheit or _hot(values):
        values = (values - 32) / 1.8
        how = "it says so" if layout.fahrenheit else "no air is that warm in degC"
        told.append(f"temperatures taken as degF ({how})")
    wild = ~((values >= COLDEST) & (values <= WARMEST)) & np.isfinite(values)
    if wild.any():
        told.append(f"{wild.sum()} impossible temperatures dropped")
    return np.where(wild, np.nan, values).astype(np.float32), told


def _read_columns(
    path: Path, layout: Layout
) -> tuple[dict[str, pd.DatetimeIndex], Array, Array | None]:
    """Read times in every way they may be meant, temperatures, and names."""
    times: dict[str, list[pd.DatetimeIndex]] = {f: [] for f in layout.formats}
    values, names = [], []
    for chunk in _chunks(path, layout):
        stamps = chunk[layout.time[0]].str.strip()
        for extra in layout.time[1:]:
            stamps = stamps + " " + chunk[extra].str.strip()
        for form, read in times.items():
            read.append(
                pd.DatetimeIndex(
                    pd.to_datetime(
                        stamps, format=form, errors="coerce", utc="%z" in form
                    )
                )
            )
        values.append(_numbers(chunk[layout.warmth]))
        if layout.logger is not None:
            names.append(chunk[layout.logger].str.strip().to_numpy(str))
    joined = {f: pd.DatetimeIndex(r[0].append(r[1:])) for f, r in times.items() if r}
    return (
        joined,
        np.concatenate(values) if values else np.empty(0, np.float32),
        np.concatenate(names) if names else None,
    )


def _chunks(path: Path, layout: Layout) -> Iterator[pd.DataFrame]:
    """Read the lines of a file, a million at a time, as text."""
    wanted = {*layout.time, layout.warmth}
    wanted |= {layout.logger} if layout.logger is not None else set()
    yield from pd.read_csv(
        path,
        sep=layout.separator,
        header=None,
        names=list(range(layout.columns)),
        usecols=sorted(wanted),
        index_col=False,
        skiprows=layout.first,
        dtype=str,
        encoding=layout.encoding,
        chunksize=AT_A_TIME,
        on_bad_lines="skip",
        skip_blank_lines=True,
    )


def _numbers(texts: pd.Series) -> Array:
    """Read numbers with a decimal point or comma."""
    read = pd.to_numeric(texts, errors="coerce")
    if read.isna().any():
        plain = texts.str.replace("\u2212", "-").str.replace(",", ".")
        read = pd.to_numeric(plain.str.strip(), errors="coerce")
    numbers: Array = read.to_numpy(np.float32)
    return numbers


def _choose_order(path: Path, times: dict[str, pd.DatetimeIndex]) -> pd.DatetimeIndex:
    """Choose between day first and month first: readings follow each other evenly."""
    usable = {f: t for f, t in times.items() if len(t) and np.mean(t.isna()) <= FEW}
    if not usable:
        message = (
            f"{path.name}: its times cannot be read. Write them as 2025-03-31 05:10."
        )
        raise InputError(message)
    even = {form: _evenness(t) for form, t in usable.items()}
    best = max(even, key=lambda form: even[form])
    if len(even) > 1 and len(set(even.values())) == 1:
        message = (
            f"{path.name}: its dates can be read day first or month first. Write them "
            "as 2025-03-31."
        )
        raise InputError(message)
    return usable[best]


def _evenness(times: pd.DatetimeIndex) -> tuple[float, float]:
    """Share of steps that are the usual step; then, the shorter span is likelier."""
    known = times[times.notna()].asi8
    if len(known) < 3:
        return 0.0, 0.0
    steps = np.diff(known)
    usual = np.median(steps)
    return float((steps == usual).mean()), -float(np.ptp(known))


def _in_utc(times: pd.DatetimeIndex, zone: str) -> pd.DatetimeIndex:
    """Put times into UTC; hours that come twice are told apart by their order."""
    if times.tz is not None:
        return times.tz_convert("UTC")
    try:
        local = times.tz_localize(zone, ambiguous="infer", nonexistent="shift_forward")
    except ValueError:
        local = times.tz_localize(zone, ambiguous="NaT", nonexistent="NaT")
    return local.tz_convert("UTC")


def _hot(values: Array) -> bool:
    """Tell whether temperatures can only be degF."""
    known = values[np.isfinite(values)]
    return bool(known.size and (known > HOT).mean() > OFTEN_HOT)


def _in_order(series: pd.Series, told: list[str]) -> pd.Series:
    """Put readings in order; of a time that comes twice the first stays."""
    ordered = series.sort_index(kind="stable")
    double = ordered.index.duplicated()
    if double.any():
        told.append(f"{double.sum()} times that came twice dropped")
        ordered = ordered[~double]
    return ordered
