"""What the hand-over lacks, and what would mend it."""

from collections.abc import Sequence

import pandas as pd

from sitekit import words
from sitekit.site import Site

#: Lonely trees that are named; the rest are counted.
NAMED = 5


def find_missing(site: Site, need: pd.DataFrame) -> dict[str, str]:
    """Say which inputs the hand-over lacks, and what would mend it.

    Parameters
    ----------
    site : Site
        What was given.
    need : DataFrame
        Need by fruit.

    Returns
    -------
    missing : dict of str to str
        Input to sentence.
    """
    told = {
        "control_marks": (
            "No two control marks: the pack holds tapes to two things on the map, as "
            "near as the map is. Give [site] control_marks."
        ),
        "services": (
            "No services given: that proves nothing. Ask the one-call service and all "
            "owners before any digging, and give [site] services."
        ),
        "ground_tests": (
            "No test hole: ground is judged by its shape. Dig the test holes and give "
            "[site] ground_tests."
        ),
        "access": "No track or gate given: ways for machines are not drawn.",
    }
    found = {name: text for name, text in told.items() if not _given(site, name)}
    if not site.records:
        found["records"] = (
            "No record of a station: poor-crop years are assumed. Give [records] file."
        )
    for key, text in (
        ("snow_m", "Usual snow is assumed 0.3 m: guards may be too low. Give it."),
        ("money", "No money a year is named: it limits nothing."),
        ("mulch_m3", "No mulch a year is named: it limits nothing."),
    ):
        if key not in site.limits:
            found[key] = text
    if not site.prices:
        found["prices"] = "No prices given: all are common practice, no source."
    if not site.need or need.empty:
        found["need"] = "No need is named: what is planted is what fits."
    return found


def _given(site: Site, name: str) -> bool:
    count = len(site.vectors[name])
    return count >= 2 if name == "control_marks" else count > 0


def tell_partners(plants: pd.DataFrame, needing: Sequence[str]) -> tuple[str, ...]:
    """Say which fruit are planted in two kinds, and which trees stay lonely.

    Parameters
    ----------
    plants : DataFrame
        Plants with ``id``, ``fruit``, ``lonely``.
    needing : sequence of str
        Fruit whose bloom needs a second kind.

    Returns
    -------
    sentences : tuple of str
        Empty where no planted fruit needs one.
    """
    names = [name for name in dict.fromkeys(plants["fruit"]) if name in needing]
    if not names:
        return ()
    fruit = words.listed([words.fruit_name(name, plural=True) for name in names])
    told = [
        f"For pollen plant {fruit} in two kinds of the group that flower together, one "
        "in the odd rows and one in the even rows."
    ]
    lonely = [str(name) for name in plants.loc[plants["lonely"], "id"]]
    if lonely:
        more = len(lonely) - NAMED
        shown = lonely[:NAMED] + ([f"{more} more"] if more > 0 else [])
        told.append(
            f"Without a partner within reach: {words.listed(shown)}; a second kind "
            "beside them, or grafted into them, would mend it."
        )
    return tuple(told)
