"""How numbers and names are written for people.

Minus is U+2212; a no-break space stands before units and after ±. No figure is
finer than its source: offsets to half a degree, days and years whole.
"""

from bisect import bisect_right
from collections.abc import Sequence
from datetime import date, timedelta
from math import isfinite

#: Site classes from the worst to the best; the position is the code in the files.
SITE_CLASSES = (
    "refused",
    "test first",
    "hardy kinds only",
    "with conditions",
    "good",
)
REFUSED, TEST_FIRST, HARDY, CONDITIONS, GOOD = range(5)

#: Words for the wetness index and for wind exposure, with the limits between them.
WETNESS_LIMITS = (6.0, 7.5, 9.0, 11.0)
WETNESS_WORDS = ("dry", "fair", "moist", "wet", "very wet")
WIND_LIMITS = (0.25, 0.5, 0.75)
WIND_WORDS = ("sheltered", "half open", "open", "very open")

#: Words for ground cover that a file may hold.
COVER_KINDS = (
    "short grass",
    "tall grass",
    "stubble",
    "bare",
    "bare moist",
    "orchard",
    "scrub",
    "wood",
    "roofs",
    "asphalt",
    "yard",
    "ice",
    "snow",
    "open water",
    "mulch",
    "loose mulch",
    "peat",
)

NO_BREAK = "\u00a0"
MINUS = "\u2212"
NOT_KNOWN = "not known"
#: Offsets within this of zero are written as ±0. [degC]
LEVEL = 0.25


def number(value: float, digits: int = 0) -> str:
    """Write a number with a true minus sign.

    Examples
    --------
    >>> number(-2.25, 1)
    '−2.2'
    """
    if not isfinite(value):
        return NOT_KNOWN
    text = f"{value:.{digits}f}"
    if float(text) == 0:
        text = text.lstrip("-")
    return text.replace("-", MINUS)


def with_unit(value: float, unit: str, digits: int = 0) -> str:
    """Write a number and its unit, or that it is not known."""
    text = number(value, digits)
    return text if text == NOT_KNOWN else f"{text}{NO_BREAK}{unit}"


def offset(value: float) -> str:
    r"""Write a night offset to half a degree.

    Examples
    --------
    >>> offset(-1.47), offset(0.2), offset(0.9)
    ('−1.5\xa0°C', '±0\xa0°C', '+1\xa0°C')
    """
    if not isfinite(value):
        return NOT_KNOWN
    if abs(value) < LEVEL:
        return f"±0{NO_BREAK}°C"
    half = round(value * 2) / 2
    text = f"{abs(half):.1f}".removesuffix(".0")
    return f"{MINUS if half < 0 else '+'}{text}{NO_BREAK}°C"


def area(square_metres: float) -> str:
    r"""Write an area: hectares, and below 0.1 ha two figures of m².

    Examples
    --------
    >>> area(8262), area(443)
    ('0.8\xa0ha', '440\xa0m²')
    """
    if not isfinite(square_metres):
        return NOT_KNOWN
    if square_metres >= 950:
        return f"{square_metres / 10_000:.1f}{NO_BREAK}ha"
    return with_unit(float(f"{square_metres:.2g}"), "m²")


def cell(size: float) -> str:
    r"""Write the side of a cell: whole metres from 2 m upward.

    Examples
    --------
    >>> cell(92.6), cell(1.5)
    ('93\xa0m', '1.5\xa0m')
    """
    return with_unit(size, "m", 0 if size >= 2 else 1)


def percent(slope_degrees_tangent: float) -> str:
    """Write a slope given as a tangent in whole per cent."""
    return with_unit(100 * slope_degrees_tangent, "%")


def hours(value: float) -> str:
    r"""Write hours of sun to half an hour.

    Examples
    --------
    >>> hours(6.43)
    '6.5\xa0h'
    """
    half = round(value * 2) / 2 if isfinite(value) else value
    return (
        with_unit(half, "h", 0 if half == int(half) else 1)
        if isfinite(value)
        else NOT_KNOWN
    )


def day(day_of_year: float, year: int = 2001) -> str:
    """Write a day of the year as a date.

    Examples
    --------
    >>> day(132)
    '12 May'
    """
    if not isfinite(day_of_year):
        return NOT_KNOWN
    when = date(year, 1, 1) + timedelta(days=round(day_of_year) - 1)
    return f"{when.day} {when:%B}"


def facing(aspect: float) -> str:
    """Name the direction that a slope faces.

    Examples
    --------
    >>> facing(170.0), facing(float("nan"))
    ('south', 'level')
    """
    names = (
        "north",
        "north-east",
        "east",
        "south-east",
        "south",
        "south-west",
        "west",
        "north-west",
    )
    return names[round(aspect / 45) % 8] if isfinite(aspect) else "level"


def graded(value: float, limits: Sequence[float], texts: Sequence[str]) -> str:
    """Choose the word for a value.

    Examples
    --------
    >>> graded(0.6, WIND_LIMITS, WIND_WORDS)
    'open'
    """
    return texts[bisect_right(limits, value)] if isfinite(value) else NOT_KNOWN


def listed(names: Sequence[str], word: str = "and") -> str:
    """Join names as a sentence does, the last two with a word.

    Examples
    --------
    >>> listed(["pear", "plum", "apple"])
    'pear, plum and apple'
    >>> listed(["pear", "plum"], "or")
    'pear or plum'
    """
    if len(names) < 2:
        return "".join(names)
    return f"{', '.join(names[:-1])} {word} {names[-1]}"


def counted(count: int, what: str) -> str:
    """Write a number of things.

    Examples
    --------
    >>> counted(1, "day"), counted(12, "note")
    ('1 day', '12 notes')
    """
    return f"{count} {what}" if count == 1 else f"{number(count)} {what}s"


def years_in_ten(value: float) -> str:
    """Write a number of years in ten; less than half a year is not none.

    Examples
    --------
    >>> years_in_ten(0.2), years_in_ten(2.7)
    ('under 1', '3')
    """
    return "under 1" if value < 0.5 else number(max(value, 1.0))


def years_span(low: float, high: float) -> str:
    r"""Write the range of a number of years in ten.

    Examples
    --------
    >>> years_span(0.05, 3.6)
    '(0\xa0to\xa04)'
    """
    return NO_BREAK.join((f"({number(low)}", "to", f"{number(high)})"))


def fruit_name(fruit: str, *, plural: bool = False) -> str:
    """Write the name of a fruit for people.

    Examples
    --------
    >>> fruit_name("sweet_cherry", plural=True), fruit_name("plum")
    ('sweet cherries', 'plum')
    """
    text = fruit.replace("_", " ")
    if not plural:
        return text
    return f"{text[:-1]}ies" if text.endswith("y") else f"{text}s"


def within(text: str) -> str:
    """Write a sentence so that it can stand inside another one.

    Examples
    --------
    >>> within("A test hole here held water."), within("D6 is dry")
    ('a test hole here held water', 'D6 is dry')
    """
    text = text.strip().rstrip(".")
    second = text[1:2]
    return text[:1].lower() + text[1:] if second == " " or second.islower() else text


def sentence(text: str) -> str:
    """Make a text begin with a capital and end with a full stop."""
    text = text.strip()
    if not text:
        return text
    text = text[0].upper() + text[1:]
    return text if text.endswith((".", "?", "!")) else f"{text}."
