"""What was asked for: need, limits and prices of the site file."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import inf

from sitekit.planting.assign import Choice
from sitekit.planting.need import Wanted, find_wanted
from sitekit.planting.terms import Limits, Need, Prices, read_terms
from sitekit.site import Site
from sitekit.words import SITE_CLASSES


@dataclass(frozen=True)
class Ask:
    """What was asked for.

    Parameters
    ----------
    need, limits, prices : Need, Limits, Prices
        Sections of the site file.
    wanted : tuple of Wanted
        What is wanted of each fruit; all that fits where only limits are given.
    """

    need: Need
    limits: Limits
    prices: Prices
    wanted: tuple[Wanted, ...]


def read_ask(site: Site, choices: Sequence[Choice]) -> Ask:
    """Read what was asked for; without a need the best fruit of the best block.

    Parameters
    ----------
    site : Site
        Sections of the site file.
    choices : sequence of Choice
        Blocks that could be planted.

    Returns
    -------
    ask : Ask
    """
    need, limits = read_terms(Need, site.need), read_terms(Limits, site.limits)
    fruits = tuple(dict.fromkeys(c.fruit for c in choices))
    wanted = tuple(find_wanted(need, fruits))
    if not site.need and choices:
        best = min(
            choices,
            key=lambda c: (-SITE_CLASSES.index(c.site_class), c.rank, c.fruit),
        )
        wanted = (Wanted(best.fruit, inf, "fresh"),)
    return Ask(need, limits, read_terms(Prices, site.prices), wanted)
