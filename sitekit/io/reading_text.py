"""How one file of a logger is written: separator, columns, date order, unit, zone."""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from sitekit.errors import InputError

#: Lines that are looked at to find out how a file is written.
LOOKED_AT = 200
SEPARATORS = (";", "\t", "|", ",")
ENCODINGS = ("utf-8-sig", "latin-1")
#: Letters by which a file in two-byte code is known.
TWO_BYTES = (b"\xff\xfe", b"\xfe\xff")
NUMBER = re.compile(r"[-+\u2212]?\d+(?:[.,]\d+)?")
DAY = re.compile(
    r"(?P<year>\d{4})(?P<s>[-/.])\d{1,2}(?P=s)\d{1,2}"
    r"|\d{1,2}(?P<t>[-/. ])(?P<word>[A-Za-z]{3})(?P=t)(?P<y>\d{4}|\d{2})"
    r"|(?P<first>\d{1,2})(?P<u>[-/.])(?P<second>\d{1,2})(?P=u)(?P<z>\d{4}|\d{2})"
)
CLOCK = re.compile(
    r"\d{1,2}:\d{2}(?P<sec>:\d{2})?(?P<part>\.\d+)?(?P<half>\s?[AaPp][Mm])?"
    r"(?P<zone>\s?(?:Z|[-+]\d{2}:?\d{2}))?"
)
ZONE = re.compile(r"(?:GMT|UTC)\s*(?P<sign>[-+\u2212])\s*(?P<h>\d{1,2}):?(?P<m>\d{2})?")
#: Names that tell a column, and those of other things that a logger measures.
TIME_NAMES = ("timestamp", "datetime", "time", "date")
WARMTH_NAMES = ("temp", "°c", "degc", "°f", "degf", "celsius", "fahrenheit")
OTHER_NAMES = re.compile(
    r"humid|\brh\b|dew|batt|volt|light|lux|press|rain|wind|moist|#|record|\bno\b|"
    r"\bid\b|index|logger|sensor"
)
FAHRENHEIT = re.compile(r"°\s?f\b|\bdeg_?f\b|degf\b|fahrenheit|\(f\)|temp\w*_f\b")
LOGGER = "logger"


@dataclass(frozen=True)
class Layout:
    """How a file is written.

    Parameters
    ----------
    encoding, separator, decimal : str
        Its letters, what stands between values, and the mark of decimals.
    first : int
        Lines before the first reading.
    columns : int
        Values in a line.
    time : tuple of int
        Column of the time; two where date and time stand apart.
    warmth : int
        Column of the temperature.
    logger : int or None
        Column that names the logger.
    formats : tuple of str
        Ways to read the time, two where day and month cannot be told apart yet.
    fahrenheit : bool
        Whether the file says degF.
    zone : str
        ``+01:00`` where the head of the file names it, else empty.
    """

    encoding: str
    separator: str
    decimal: str
    first: int
    columns: int
    time: tuple[int, ...]
    warmth: int
    logger: int | None
    formats: tuple[str, ...]
    fahrenheit: bool
    zone: str


def find_layout(path: Path) -> Layout:
    """Find out how a file of readings is written.

    Parameters
    ----------
    path : Path
        The file.

    Returns
    -------
    layout : Layout
        How it is written.

    Raises
    ------
    InputError
        Where it holds no line with a time, or no column of temperature.
    """
    encoding, lines = _first_lines(path)
    separator, first, rows = _split(path, lines)
    heads = _heads(lines[:first], separator, len(rows[0]))
    time = _time_columns(heads, rows)
    if not time:
        message = (
            f"{path.name}: no line holds a time. Write one reading a line, as "
            "2025-04-01 05:10, 1.5."
        )
        raise InputError(message)
    warmth = _warmth_column(path, heads, rows, time)
    stamps = [" ".join(row[c] for c in time) for row in rows]
    top = " ".join(lines[:first]).casefold()
    return Layout(
        encoding=encoding,
        separator=separator,
        decimal="," if any("," in row[warmth] for row in rows) else ".",
        first=first,
        columns=len(rows[0]),
        time=time,
        warmth=warmth,
        logger=heads.index(LOGGER) if LOGGER in heads else None,
        formats=find_formats(stamps),
        fahrenheit=bool(FAHRENHEIT.search(top)),
        zone=find_zone(" ".join(lines[:first])),
    )


def _first_lines(path: Path) -> tuple[str, list[str]]:
    """Read the first lines, in the letters that the file is written in."""
    with path.open("rb") as file:
        start = file.read(4)
    encodings = ("utf-16",) if start.startswith(TWO_BYTES) else ENCODINGS
    for encoding in encodings:
        try:
            with path.open(encoding=encoding) as file:
                lines = [line.rstrip("\n") for _, line in zip(range(LOOKED_AT), file)]  # noqa: B905 - the shorter ends it
        except UnicodeError:
            continue
        return encoding, lines
    message = f"{path.name}: this is not a text file. Export the readings as CSV."
    raise InputError(message)


def _split(path: Path, lines: Sequence[str]) -> tuple[str, int, list[list[str]]]:
    """Find what stands between values, and where the readings begin."""
    best: tuple[int, str, int, list[list[str]]] = (0, ",", 0, [])
    for separator in SEPARATORS:
        parted = [[v.strip().strip('"') for v in t.split(separator)] for t in lines]
        hold = [len(p) > 1 and _holds_reading(p) for p in parted]
        if True not in hold:
            continue
        first = hold.index(True)
        width = len(parted[first])
        rows = [p for p, h in zip(parted, hold, strict=True) if h and len(p) == width]
        if len(rows) > best[0]:
            best = (len(rows), separator, first, rows)
    if not best[0]:
        message = (
            f"{path.name}: no line holds a time and a number. Export the readings as "
            "CSV with a time and a temperature in each line."
        )
        raise InputError(message)
    return best[1:]


def _holds_reading(values: Sequence[str]) -> bool:
    """Tell whether a line holds a day and a number beside it."""
    days = [bool(DAY.match(v)) for v in values]
    return any(days) and any(
        NUMBER.fullmatch(v) is not None
        for v, day in zip(values, days, strict=True)
        if not day
    )


def _heads(lines: Sequence[str], separator: str, columns: int) -> list[str]:
    """Find the names of the columns; empty where there are none."""
    for line in reversed(lines):
        parts = [p.strip().strip('"').casefold() for p in line.split(separator)]
        if len(parts) == columns:
            return parts
        # A head may hold the separator itself within quotation marks.
        parts = [p.strip('" ').casefold() for p in re.findall(r'"[^"]*"|[^,]+', line)]
        if separator == "," and len(parts) == columns:
            return parts
    return [""] * columns


def _time_columns(
    heads: Sequence[str], rows: Sequence[Sequence[str]]
) -> tuple[int, ...]:
    """Find the column of the time, or those of date and time."""
    days = [i for i in range(len(heads)) if all(DAY.match(r[i]) for r in rows)]
    if not days:
        return ()
    named = [i for i in days if any(n in heads[i] for n in TIME_NAMES)]
    day = (named or days)[0]
    if any(":" in row[day] for row in rows):
        return (day,)
    clocks = [i for i in range(len(heads)) if all(CLOCK.match(r[i]) for r in rows)]
    return (day, clocks[0]) if clocks else (day,)


def _warmth_column(
    path: Path,
    heads: Sequence[str],
    rows: Sequence[Sequence[str]],
    time: tuple[int, ...],
) -> int:
    """Find the column of the temperature."""
    numbers = [
        i
        for i in range(len(heads))
        if i not in time and any(NUMBER.fullmatch(r[i]) for r in rows)
    ]
    usable = [i for i in numbers if not OTHER_NAMES.search(heads[i])]
    named = [i for i in usable if any(n in heads[i] for n in WARMTH_NAMES)]
    if named or usable:
        return (named or usable)[0]
    held = ", ".join(h for h in heads if h) or "no names"
    message = (
        f"{path.name}: no column of temperature (it has {held}). Name one "
        "temperature_degc."
    )
    raise InputError(message)


def find_formats(stamps: Sequence[str]) -> tuple[str, ...]:
    """Find the ways in which times may be read.

    Parameters
    ----------
    stamps : sequence of str
        Times as written.

    Returns
    -------
    formats : tuple of str
        For `pandas.to_datetime`; two where day and month cannot be told apart.

    Examples
    --------
    >>> find_formats(["31/03/2025 05:10"])
    ('%d/%m/%Y %H:%M',)
    >>> find_formats(["2025-03-31T05:10:00+01:00"])
    ('%Y-%m-%dT%H:%M:%S%z',)
    >>> len(find_formats(["02/03/2025 05:10"]))
    2
    """
    found = DAY.match(stamps[0])
    if found is None:
        return ()
    rest = stamps[0][found.end() :]
    between = re.match(r"(?:T|,?\s*)", rest)
    gap = between.group() if between else ""
    clock = CLOCK.match(rest[len(gap) :])
    tail = gap + _clock_format(clock) if clock else ""
    if found["year"]:
        mark = found["s"]
        return (f"%Y{mark}%m{mark}%d{tail}",)
    if found["word"]:
        mark = found["t"]
        return (f"%d{mark}%b{mark}{_year(found['y'])}{tail}",)
    mark, year = found["u"], _year(found["z"])
    numbers = [m for s in stamps if (m := DAY.match(s)) and m["first"]]
    orders = []
    if all(int(m["second"]) <= 12 for m in numbers):
        orders.append(f"%d{mark}%m{mark}{year}{tail}")
    if all(int(m["first"]) <= 12 for m in numbers):
        orders.append(f"%m{mark}%d{mark}{year}{tail}")
    return tuple(orders)


def _year(text: str) -> str:
    return "%Y" if len(text) == 4 else "%y"


def _clock_format(clock: re.Match[str]) -> str:
    """Write how a time of day is read."""
    half = clock["half"]
    made = "%I:%M" if half else "%H:%M"
    made += ":%S" if clock["sec"] else ""
    made += ".%f" if clock["part"] else ""
    if half:
        made += " %p" if half[0].isspace() else "%p"
    zone = clock["zone"]
    if zone:
        made += " %z" if zone[0].isspace() else "%z"
    return made


def find_zone(text: str) -> str:
    """Find the time zone in the head of a file.

    Examples
    --------
    >>> find_zone("Date Time, GMT-06:00"), find_zone("UTC+1"), find_zone("")
    ('-06:00', '+01:00', '')
    """
    found = ZONE.search(text)
    if found is None:
        return ""
    sign = "+" if found["sign"] == "+" else "-"
    return f"{sign}{int(found['h']):02d}:{found['m'] or '00'}"
