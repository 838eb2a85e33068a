"""Every error that sitekit raises on purpose.

::

    SitekitError
    ├── ConfigError     the site file: unknown key, wrong type, missing file name
    ├── InputError      a file that was named cannot be used as it is
    │   ├── CrsError        no coordinate system, or one that cannot be used
    │   └── CoverageError   the elevation does not reach the field
    ├── GridError       the grid asked for is too large or has no meaning
    ├── LayerError      a layer that is not known or cannot be made
    ├── FruitError      a fruit that is not known, or a fruit file that is wrong
    └── OutputError     the place to write to cannot be used

An error carries one sentence for each mistake. Each says which file or key,
what is wrong, and what mends it.
"""

from collections.abc import Iterable
from difflib import get_close_matches


class SitekitError(Exception):
    """A mistake that the user can mend.

    Parameters
    ----------
    *mistakes : str
        One sentence for each mistake.
    """

    def __init__(self, *mistakes: str) -> None:
        self.mistakes = mistakes
        super().__init__("\n".join(mistakes))


class ConfigError(SitekitError):
    """The site file or an option of the command is wrong."""


class InputError(SitekitError):
    """A file that was named cannot be used as it is."""


class CrsError(InputError):
    """A file has no coordinate system, or one that cannot be used."""


class CoverageError(InputError):
    """The elevation does not reach the field."""


class GridError(SitekitError):
    """The grid asked for is too large or has no meaning."""


class LayerError(SitekitError):
    """A layer is not known, or cannot be made from what was given."""


class FruitError(SitekitError):
    """A fruit is not known, or a fruit file is wrong."""


class OutputError(SitekitError):
    """The place to write to cannot be used."""


def nearest(word: str, known: Iterable[str]) -> str:
    """Name the known word nearest to one that is not known.

    Parameters
    ----------
    word : str
        What was written.
    known : iterable of str
        What is known.

    Returns
    -------
    hint : str
        ``' Nearest: "slope".'``, or nothing where no word is near.

    Examples
    --------
    >>> nearest("slop", ["slope", "aspect"])
    ' Nearest: "slope".'
    """
    close = get_close_matches(word, list(known), n=1, cutoff=0.5)
    return f' Nearest: "{close[0]}".' if close else ""
