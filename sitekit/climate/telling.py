"""What the years of a record say of a group at a place, in words."""

from collections.abc import Sequence
from math import floor

from sitekit.climate.springs import Springs
from sitekit.fruit import Fruit
from sitekit.fruit.chill import describe_chill
from sitekit.fruit.winter import WINTER_WORDS
from sitekit.words import NOT_KNOWN, fruit_name, number, with_unit

#: Years in ten in which a group must ripen for ground to be good. Common practice, no
#: source.
RIPE_GOOD = 8.0
#: Years in ten that are told as one; error of years that are read from a table.
LEAST_YEAR, ROUNDING = 0.5, 1e-3
#: Code of a winter of which the record tells nothing.
UNKNOWN_WINTER = 255


def tell_poor_crops(poor: float, low: float, high: float) -> str:
    """Say how often frost in bud and bloom spoils the crop.

    Parameters
    ----------
    poor, low, high : float
        Years in ten and their 90 % interval.

    Returns
    -------
    text : str
        Whole years.

    Examples
    --------
    >>> tell_poor_crops(3.2, 1.8, 5.1)
    'spring frost spoils the crop in 3 years of ten (2 to 5)'
    >>> tell_poor_crops(0.0, 0.0, 0.6)
    'spring frost spoils the crop in fewer than 1 year of ten (0 to 1)'
    """
    years = "fewer than 1 year" if poor < 0.5 else _years(poor)
    span = f"{number(low)} to {number(high)}"
    return f"spring frost spoils the crop in {years} of ten ({span})"


def tell_ripening(ripe: float, warm: float, long: float) -> str:
    """Say how often fruit ripens, and what runs out.

    Parameters
    ----------
    ripe, warm, long : float
        Years in ten in which it ripens, in which warmth suffices, and in which days
        suffice.

    Returns
    -------
    text : str

    Examples
    --------
    >>> tell_ripening(9.4, 10.0, 9.4)
    'ripens in 9 years of ten'
    >>> tell_ripening(4.7, 10.0, 4.7)[:25]
    'ripens in 4 years of ten:'
    >>> tell_ripening(2.1, 10.0, 2.1)
    'ripens in 2 years of ten: the days run out, though the warmth suffices'
    """
    # Rounded down: 4.7 must not read as the 5 from which a place is planted.
    years = "no year" if ripe < LEAST_YEAR else _years(floor(ripe + ROUNDING))
    text = f"ripens in {years} of ten"
    if ripe >= RIPE_GOOD:
        return text
    short, other = ("warmth runs", "days suffice")
    spare = long
    if long <= warm:
        short, other, spare = "days run", "warmth suffices", warm
    though = f", though the {other}" if spare >= RIPE_GOOD else ""
    return f"{text}: the {short} out{though}"


def tell_winter(code: int, coldest: float) -> str:
    """Say what the winter does.

    Parameters
    ----------
    code : int
        Place in `WINTER_WORDS`, 255 where not known.
    coldest : float
        Coldest night in thirty years. [degC]

    Returns
    -------
    text : str
    """
    if code == UNKNOWN_WINTER:
        return NOT_KNOWN
    night = with_unit(coldest, "°C")
    return f"{WINTER_WORDS[code]} ({night} once in 30 years)"


def tell_chill(springs: Springs, fruits: Sequence[Fruit]) -> str:
    """Say in one line whether winter chill limits any fruit.

    Parameters
    ----------
    springs : Springs
        Years of the record.
    fruits : sequence of Fruit
        Fruit asked for.

    Returns
    -------
    line : str
        What it is counted from, where a record is too short to tell.
    """
    needs = {fruit_name(f.name): f.varieties.chill_hours for f in fruits if f.varieties}
    if not len(springs.winters) or not needs:
        return "Winter chill is not counted: the record holds no whole winter."
    return describe_chill(springs.winters, needs)


def _years(value: float) -> str:
    whole = number(max(value, 1.0))
    return f"{whole} year" if whole == "1" else f"{whole} years"
