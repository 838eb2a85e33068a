"""Which fruit a sheet shows, and in which order."""

from sitekit.results import Survey


def list_fruit(survey: Survey) -> list[str]:
    """List the fruit that blocks were judged for, in the order asked for.

    Parameters
    ----------
    survey : Survey
        What was found; where the site names no fruit, every kind was judged.

    Returns
    -------
    fruit : list of str
        Names; those asked for where there is no block.
    """
    judged = list(dict.fromkeys(survey.blocks["fruit"]))
    asked = list(survey.site.fruit)
    known = [fruit for fruit in asked if fruit in judged or not judged]
    return known + [fruit for fruit in judged if fruit not in asked]
