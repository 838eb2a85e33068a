"""Layers that belong to fruit and to the years of a record, on the grid."""

from collections.abc import Mapping

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from sitekit import words
from sitekit.climate.years import RecordYears, map_climate, map_poor_years
from sitekit.fruit import Fruit
from sitekit.layers.catalogue import NOTHING
from sitekit.site import Site
from sitekit.suitability.ground import Verdict

#: Layers of climate: unit, meaning, source.
CLIMATE: Mapping[str, tuple[str, str, str]] = {
    "last_spring_frost": (
        "day of year",
        "last frost, later in one year of ten",
        "last minimum of 0 degC or less before 24 July (south 24 January), rank "
        "m/(n + 1): Makkonen 2006",
    ),
    "frost_free_days": (
        "d",
        "days between the last and the first frost, the middle year",
        "minimum of 0 degC or less; split 24 July (south 24 January): Moller & Gillies "
        "2007",
    ),
    "heat_sum": (
        "degC day",
        "warmth over 5 degC, April to October (south October to April), middle year",
        "single sine: Baskerville & Emin 1969, Ecology 50",
    ),
}
#: What the layers of climate need.
NEEDS = "five complete years of a station record"
#: What layers may lack, where its name is none for people; only layers of the lake
#: find nothing to tell.
NAMED = {
    "shore": "open water of at least 1 ha",
    NOTHING: "water near enough to matter",
}


def name_need(need: str) -> str:
    """Name for people what a layer lacks.

    Examples
    --------
    >>> name_need("shore"), name_need("canopy_height")
    ('open water of at least 1 ha', 'canopy height')
    """
    return NAMED.get(need, need.replace("_", " "))


def wrap_verdicts(
    verdicts: Mapping[str, Verdict], site: Site
) -> dict[str, xr.DataArray]:
    """Make the score and the site class of each fruit layers.

    Parameters
    ----------
    verdicts : mapping of str to Verdict
        Verdict for each fruit.
    site : Site
        The site.

    Returns
    -------
    layers : dict of str to DataArray
        ``score_<fruit>`` and ``site_class_<fruit>``.
    """
    made = {}
    for fruit, verdict in verdicts.items():
        name = words.fruit_name(fruit)
        made[f"score_{fruit}"] = site.grid.wrap(
            verdict.score,
            f"score_{fruit}",
            units="1",
            long_name=f"score for {name}, 0 to 100: 100 times the lowest membership",
            reference="the weakest factor decides; factors in the fruit file",
        )
        made[f"site_class_{fruit}"] = site.grid.wrap(
            verdict.site_class,
            f"site_class_{fruit}",
            units="1",
            long_name=f"site class for {name}",
            reference="score, soil tests, years of a record, what the elevation shows",
            **{f"class_{code}": text for code, text in enumerate(words.SITE_CLASSES)},
        )
    return made


def wrap_years(
    years: RecordYears, fruits: Mapping[str, Fruit], site: Site, asked: tuple[str, ...]
) -> dict[str, xr.DataArray]:
    """Make the layers of climate and of poor crops.

    Parameters
    ----------
    years : RecordYears
        The years of the site.
    fruits : mapping of str to Fruit
        Fruit asked for.
    site : Site
        The site.
    asked : tuple of str
        Layers asked for; all where none is named.

    Returns
    -------
    layers : dict of str to DataArray
        `CLIMATE` and ``poor_crop_years_<fruit>``.
    """
    made: dict[str, xr.DataArray] = {}
    if not asked or set(asked) & set(CLIMATE):
        for name, values in map_climate(years).items():
            if not asked or name in asked:
                units, long_name, reference = CLIMATE[name]
                made[name] = _wrap(site, values, name, units, long_name, reference)
    for name in years.tunings:
        layer = f"poor_crop_years_{name}"
        if asked and layer not in asked:
            continue
        fruit = fruits[name]
        group = fruit.varieties.group().name if fruit.varieties else ""
        made[layer] = _wrap(
            site,
            map_poor_years(years, fruit),
            layer,
            "years in ten",
            f"years in ten with a poor crop of {words.fruit_name(name)} ({group})",
            f"frost in bloom, crop below half; record {years.record.name}",
        )
    return made


def _wrap(
    site: Site, values: NDArray[np.float32], name: str, *about: str
) -> xr.DataArray:
    units, long_name, reference = about
    return site.grid.wrap(
        values, name, units=units, long_name=long_name, reference=reference
    )
