"""The years of a site's record, ready to be asked of cells, spots and blocks."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Annotated

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sitekit import words
from sitekit.climate.crops import make_kind
from sitekit.climate.frost import date_exceeded, date_interval, last_frost
from sitekit.climate.fruiting import Shifts, map_poor_crops
from sitekit.climate.heat import map_frost, map_heat
from sitekit.climate.place import Layers, StationPlace, place_station, shift_places
from sitekit.climate.seasons import make_seasons
from sitekit.climate.springs import Springs, read_springs, tune_fruit
from sitekit.climate.telling import tell_chill
from sitekit.climate.trend import find_trend, tell_trend
from sitekit.fruit import Fruit
from sitekit.fruit.bloom import Tuning
from sitekit.settings import Setting, settings_of
from sitekit.site import Record, Site

#: Years below which nothing is counted in years of ten.
FEWEST = 5


@dataclass(frozen=True)
class RecordYears:
    """The years of the record that speaks for a site.

    Parameters
    ----------
    record : Record
        The record.
    station : StationPlace
        Where it stands among the cells.
    springs : Springs
        Its last complete years.
    shifts : Shifts
        How much warmer each cell is than the station.
    tunings : mapping of str to Tuning
        What own notes say of bloom, by fruit.
    cover : str
        What lies over the roots in winter.
    """

    record: Record
    station: StationPlace
    springs: Springs
    shifts: Shifts
    tunings: Mapping[str, Tuning]
    cover: str = "bare"


def count_years(
    site: Site,
    layers: Layers,
    fruits: Sequence[Fruit],
    *,
    winter_cover: Annotated[
        str,
        Setting(
            "1",
            "What lies over the roots in winter: bare, mulch or snow.",
            choices=("bare", "mulch", "snow"),
        ),
    ] = "bare",
) -> RecordYears | None:
    """Make the years of a site ready.

    Parameters
    ----------
    site : Site
        The site with its records.
    layers : mapping of str to (row, column) ndarray
        See `shift_places`.
    fruits : sequence of Fruit
        Fruit asked for.
    winter_cover : str
        ``bare``, ``mulch`` or ``snow``.

    Returns
    -------
    years : RecordYears or None
        None without a record, or with fewer than five complete years.
    """
    if not site.records:
        return None
    record = site.records[0]
    springs = read_springs(make_seasons(record))
    if springs.count < FEWEST:
        return None
    station = place_station(site, record, layers)
    known = settings_of(shift_places)
    chosen = {n: v for n, v in site.settings.items() if n in known}
    shifts = shift_places(site, station, layers, **chosen)
    tunings = {
        fruit.name: tune_fruit(springs, fruit.varieties, _notes_of(record, fruit.name))
        for fruit in fruits
        if fruit.varieties is not None
    }
    return RecordYears(record, station, springs, shifts, tunings, winter_cover)


def _notes_of(record: Record, fruit: str) -> pd.DataFrame:
    return record.bloom[record.bloom["fruit"] == fruit]


def map_climate(years: RecordYears) -> dict[str, NDArray[np.float32]]:
    """Make the layers of climate.

    Parameters
    ----------
    years : RecordYears
        The years of the site.

    Returns
    -------
    layers : dict of str to (row, column) ndarray of float32
        ``last_spring_frost``, ``frost_free_days``, ``heat_sum``.
    """
    last, free = map_frost(years.springs, years.shifts)
    heat = map_heat(years.springs, years.shifts)
    return {"last_spring_frost": last, "frost_free_days": free, "heat_sum": heat}


def map_poor_years(years: RecordYears, fruit: Fruit) -> NDArray[np.float32]:
    """Make the layer ``poor_crop_years_<fruit>`` of a fruit's usual group."""
    kind = make_kind(fruit, years.tunings[fruit.name])
    return map_poor_crops(years.springs, kind, years.shifts)[0]


def shifts_at(
    years: RecordYears, rows: NDArray[np.intp], columns: NDArray[np.intp]
) -> Shifts:
    """Read the shifts of cells."""
    here = (rows, columns)
    shifts = years.shifts
    return Shifts(
        bloom=shifts.bloom[here],
        autumn=shifts.autumn[here],
        winter=shifts.winter[here],
        windy=shifts.windy[here],
        warmth=shifts.warmth[here],
        spread=shifts.spread,
    )


def tell_record(years: RecordYears, fruits: Sequence[Fruit]) -> tuple[str, ...]:
    """Tell in a few sentences what the record says at the station.

    Parameters
    ----------
    years : RecordYears
        The years of the site.
    fruits : sequence of Fruit
        Fruit asked for.

    Returns
    -------
    sentences : tuple of str
        Years counted, last frost with its interval, trend, chill, what is assumed.
    """
    springs = years.springs
    last = last_frost(springs.lowest, springs.split)
    first, final = springs.years[0], springs.years[-1]
    told = [
        f"Record “{years.record.name}”: {springs.count} complete years, {first} to "
        f"{final}.",
        _tell_last(springs, last),
    ]
    trend = find_trend(springs.years, last)
    if trend is not None:
        told.append(
            tell_trend(trend, "last frost of spring", "days", ("later", "earlier"))
        )
    told.append(tell_chill(springs, fruits))
    told += [words.sentence(t.contradiction) for t in years.tunings.values()]
    told += [
        words.sentence(f"The station: {remark}") for remark in years.station.remarks
    ]
    return tuple(text for text in told if text)


def _tell_last(springs: Springs, last: NDArray[np.float64]) -> str:
    """Tell the last frost at the station, the middle one and one year in ten later."""
    told = []
    for share, years in ((0.5, "5 years of ten"), (0.1, "1 of ten"), (0.9, "9 of ten")):
        low, high = date_interval(last, share)
        date = _date(springs, float(date_exceeded(last, share)))
        span = f"{_date(springs, low)} to {_date(springs, high)}"
        told.append(f"in {years} after {date} ({span})")
    return (
        f"Last frost (0 °C) at the station, with 90 % intervals: {'; '.join(told)}. "
        f"The record has {springs.count} years, so no more can be said."
    )


def _date(springs: Springs, column: float) -> str:
    """Write the day of a column."""
    if not np.isfinite(column):
        return "no frost"
    when = pd.Timestamp(springs.starts[-1] + np.timedelta64(round(column), "D"))
    return f"{when.day} {when.month_name()}"
