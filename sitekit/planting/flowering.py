"""When plants flower where they stand, so that partners can be found."""

from collections.abc import Mapping

import numpy as np
from geopandas import GeoDataFrame
from numpy.typing import NDArray

from sitekit.climate.springs import sum_of
from sitekit.climate.years import RecordYears, shifts_at
from sitekit.fruit import Fruit
from sitekit.fruit.pollination import FALLS, OPENS, open_days
from sitekit.site import Site

#: Warmth of a day in bloom time, to turn sums of warmth into days where no record
#: tells. Common practice, no source. [degC day a day]
WARMTH = 6.0
#: How much cooler it is for each metre of height. [degC/m]
LAPSE = 0.006
#: Places that differ by less in warmth share their days. [degC]
STEP = 0.1


def flowering_days(
    plants: GeoDataFrame,
    fruits: Mapping[str, Fruit],
    site: Site,
    years: RecordYears | None,
) -> NDArray[np.float64]:
    """Tell from when to when each plant flowers where it stands.

    With a record the middle year of that place. Without one only the order is
    known: days are reckoned from the sum of warmth of each group, and a plant
    stands 0.6 degC cooler for every 100 m of height.

    Parameters
    ----------
    plants : GeoDataFrame
        Plants with ``fruit`` and ``group``.
    fruits : mapping of str to Fruit
        Sums of warmth.
    site : Site
        Heights.
    years : RecordYears or None
        Years of a record.

    Returns
    -------
    days : (plant, 2) ndarray
        First flower and petal fall, from the first day of spring; NaN for a fruit
        without groups. [d]
    """
    full = np.array(
        [
            _full_bloom(fruits[name], group, years)
            for name, group in zip(plants["fruit"], plants["group"], strict=True)
        ],
        dtype=np.float64,
    )
    if not full.size:
        return np.empty((0, 2))
    rows, columns = site.grid.cells(plants.geometry.x, plants.geometry.y)
    if years is not None:
        return _days_of_record(full, years, np.asarray(rows), np.asarray(columns))
    heights = site.elevation[rows, columns].astype(np.float64)
    warmth = np.maximum(WARMTH - LAPSE * (heights - np.nanmedian(heights)), 1.0)
    return np.column_stack([OPENS * full / warmth, FALLS * full / warmth])


def _full_bloom(fruit: Fruit, group: str, years: RecordYears | None) -> float:
    """Find the sum of warmth of full bloom, tuned by own notes."""
    known = fruit.varieties.groups if fruit.varieties else ()
    found = next((g.bloom_sum for g in known if g.name == group), float("nan"))
    tuned = years.tunings.get(fruit.name) if years is not None else None
    return found * (tuned.factor if tuned else 1.0)


def _days_of_record(
    full: NDArray[np.float64],
    years: RecordYears,
    rows: NDArray[np.intp],
    columns: NDArray[np.intp],
) -> NDArray[np.float64]:
    """Read the middle year of the record at each place."""
    warmer = shifts_at(years, rows, columns).warmth.astype(np.float64)
    warmer = STEP * np.round(np.nan_to_num(warmer) / STEP)
    days = np.full((full.size, 2), np.nan)
    for shift in np.unique(warmer):
        sums = sum_of(years.springs, float(shift))
        for wanted in np.unique(full[(warmer == shift) & np.isfinite(full)]):
            here = (warmer == shift) & (full == wanted)
            opens, falls = open_days(sums, float(wanted))
            days[here] = (np.nanmedian(opens), np.nanmedian(falls))
    return days
