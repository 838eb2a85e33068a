"""What the hand-over lacks, and what would mend it."""

import pandas as pd

from sitekit.site import Site


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
