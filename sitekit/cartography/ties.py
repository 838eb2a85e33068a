"""Figures stay beside their units: no line of a sheet ends between the two."""

import re

from sitekit.words import NO_BREAK

#: Units that follow a figure after a space.
UNITS = ("°C", "m³/s", "m/s", "mm", "cm", "km", "m²", "m³", "m", "ha", "kg", "h", "%")
_UNIT = "|".join(re.escape(unit) for unit in UNITS)
_GAP = re.compile(rf"(?<=\d) (?=(?:{_UNIT})(?![\w²³/]))|(?<=±) (?=\d)")


def tie_units(text: str) -> str:
    r"""Put a no-break space between each figure and its unit, and after ±.

    Parameters
    ----------
    text : str
        Text for people.

    Returns
    -------
    text : str
        The same, tied.

    Examples
    --------
    >>> tie_units("one 20 to 40 m above it, ± 1.5 °C")
    'one 20 to 40\xa0m above it, ±\xa01.5\xa0°C'
    >>> tie_units("12 mulched rows")
    '12 mulched rows'
    """
    return _GAP.sub(NO_BREAK, text)
