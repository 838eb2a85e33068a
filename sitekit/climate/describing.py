"""The table of fruit and block: every group on every block, with its reason."""

from collections.abc import Mapping, Sequence

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sitekit.climate.crops import Kind, crop_by_year, make_kind
from sitekit.climate.fruiting import (
    NOT_JUDGED,
    Fruiting,
    Limit,
    Shifts,
    assess_places,
    limit_class,
)
from sitekit.climate.springs import Springs, sum_of
from sitekit.climate.telling import tell_poor_crops, tell_ripening, tell_winter
from sitekit.fruit import Fruit
from sitekit.fruit.bloom import Tuning, find_day
from sitekit.fruit.crop import POOR
from sitekit.fruit.pollination import open_days
from sitekit.words import SITE_CLASSES


def describe_groups(
    springs: Springs,
    fruits: Sequence[Fruit],
    tunings: Mapping[str, Tuning],
    shifts: Shifts,
    blocks: pd.DataFrame,
    cover: str = "bare",
) -> pd.DataFrame:
    """Write the table ``fruit_by_block``: every group of every fruit on every block.

    Parameters
    ----------
    springs : Springs
        Years of the record.
    fruits : sequence of Fruit
        Fruit asked for; one without groups keeps its row of the ground alone.
    tunings : mapping of str to Tuning
        What own notes say, by fruit.
    shifts : Shifts
        Shifts of the blocks, in the order of their numbers (block,).
    blocks : DataFrame
        One row a block and fruit: ``block``, ``fruit``, ``site_class``, ``reason``.
    cover : str
        What lies over the roots in winter.

    Returns
    -------
    table : DataFrame
        ``block``, ``fruit``, ``group``, ``site_class``, ``poor_crop_years``, ``low``,
        ``high``, ``ripening``, ``winter``, ``reason``.
    """
    numbers = np.unique(blocks["block"].to_numpy())
    rows: list[dict[str, object]] = []
    for fruit in fruits:
        here = blocks[blocks["fruit"] == fruit.name].set_index("block")
        there = np.flatnonzero(np.isin(numbers, here.index))
        ground = here.loc[numbers[there], ["site_class", "reason"]]
        if fruit.varieties is None:
            rows += [_bare_row(n, fruit.name, *ground.loc[n]) for n in ground.index]
            continue
        for group in fruit.varieties.groups:
            kind = make_kind(fruit, tunings.get(fruit.name), group.name)
            found = assess_places(springs, kind, shifts, cover)
            rows += _rows(found, there, ground)
    table = pd.DataFrame(rows, columns=list(_bare_row(0, "", "", "")))
    order = table["fruit"].map({f.name: i for i, f in enumerate(fruits)})
    return (
        table.assign(order=order)
        .sort_values(["block", "order"], kind="stable")
        .drop(columns="order")
        .reset_index(drop=True)
    )


def _rows(
    found: Fruiting, there: NDArray[np.intp], ground: pd.DataFrame
) -> list[dict[str, object]]:
    """Write the rows of one group."""
    codes = np.array([SITE_CLASSES.index(c) for c in ground["site_class"]], np.uint8)
    every = np.full(found.poor.shape, NOT_JUDGED, np.uint8)
    every[there] = codes
    lowered, limits = limit_class(every, found)
    rows = []
    for place, block, why in zip(there, ground.index, ground["reason"], strict=True):
        code = int(lowered[place])
        limit = Limit(int(limits[place]))
        rows.append(
            {
                "block": block,
                "fruit": found.kind.fruit,
                "group": found.kind.group.name,
                "site_class": SITE_CLASSES[code],
                "poor_crop_years": float(found.poor[place]),
                "low": float(found.low[place]),
                "high": float(found.high[place]),
                "ripening": _ripening_of(found, place),
                "winter": tell_winter(
                    int(found.winter[place]), float(found.coldest[place])
                ),
                "reason": _reason(found, place, limit, why, code < every[place]),
            }
        )
    return rows


def _bare_row(
    block: int, fruit: str, site_class: str, reason: str
) -> dict[str, object]:
    """Write the row of a fruit of which the years tell nothing."""
    return {
        "block": block,
        "fruit": fruit,
        "group": None,
        "site_class": site_class,
        "poor_crop_years": np.nan,
        "low": np.nan,
        "high": np.nan,
        "ripening": None,
        "winter": None,
        "reason": reason,
    }


def tell_limit(found: Fruiting, place: int, limit: Limit) -> str:
    """Say what the years hold against a group at one place.

    Parameters
    ----------
    found : Fruiting
        The group at places of shape (place,).
    place : int
        Which place.
    limit : Limit
        See `limit_class`.

    Returns
    -------
    text : str
        Empty where they hold nothing against it.
    """
    if limit is Limit.NONE:
        return ""
    if limit is Limit.FROST:
        return tell_poor_crops(
            float(found.poor[place]), float(found.low[place]), float(found.high[place])
        )
    if limit is Limit.WINTER:
        return tell_winter(int(found.winter[place]), float(found.coldest[place]))
    return _ripening_of(found, place)


def _ripening_of(found: Fruiting, place: int) -> str:
    return tell_ripening(
        float(found.ripe[place]), float(found.warm[place]), float(found.long[place])
    )


def _reason(
    found: Fruiting, place: int, limit: Limit, why: str, lowered: np.bool_ | bool
) -> str:
    """Say in one sentence what decides the class of a group."""
    text = tell_limit(found, place, limit)
    if not text:
        return why
    if lowered or not why:
        return f"{text[0].upper()}{text[1:]}."
    return f"{why.rstrip('.')}; {text}."


def describe_years(
    springs: Springs, kind: Kind, shift: tuple[float, float, float]
) -> pd.DataFrame:
    """Tell bloom, frost and crop of every year at one place, for a chart.

    Parameters
    ----------
    springs : Springs
        Years of the record.
    kind : Kind
        The group.
    shift : tuple of float
        How much warmer the place is than the station: on clear still nights, on the
        other nights, in the mean of the day. [degC]

    Returns
    -------
    years : DataFrame
        ``year``; ``opens``, ``full_bloom``, ``falls``: first flower, full bloom and
        petal fall; ``last_frost``: last spring night that kills a tenth of open
        flowers (dates, NaT where they never come); ``coldest``: coldest night from the
        first flower to petal fall [degC], NaN without bloom; ``crop``: share of a full
        crop. Frost on buds takes crops too, under lower limits.
    """
    sums = sum_of(springs, shift[2])
    opens, falls = open_days(sums, kind.full_bloom)
    nights = springs.nights(shift[0], shift[1])
    days = np.arange(nights.shape[1])
    bloom = (days >= opens[:, None]) & (days <= falls[:, None])
    coldest = np.where(bloom & np.isfinite(nights), nights, np.inf).min(axis=1)
    return pd.DataFrame(
        {
            "year": springs.years,
            "opens": _dates(springs, opens),
            "full_bloom": _dates(springs, find_day(sums, kind.full_bloom)),
            "falls": _dates(springs, falls),
            "last_frost": _dates(springs, _last_frost(springs, kind, nights)),
            "coldest": np.where(np.isfinite(coldest), coldest, np.nan),
            "crop": crop_by_year(springs, kind, shift),
        }
    )


def _last_frost(
    springs: Springs, kind: Kind, nights: NDArray[np.float32]
) -> NDArray[np.float64]:
    """Find the last spring night that kills a tenth of open flowers."""
    limit = max(s.t10 for s in kind.varieties.stages_of(kind.group))
    days = np.arange(nights.shape[1])
    hurts = (nights <= limit) & (days < springs.split[:, None])
    last = days[-1] - hurts[:, ::-1].argmax(axis=1)
    return np.where(hurts.any(axis=1), last, np.nan)


def tell_halves(years: pd.DataFrame) -> str:
    """Say how often the crop was poor in both halves of the record.

    Parameters
    ----------
    years : DataFrame
        See `describe_years`.

    Returns
    -------
    text : str
        One sentence; a difference is told, not extrapolated.
    """
    half = len(years) // 2
    parts = []
    for part in (years[:half], years[half:]):
        span = f"{part['year'].iloc[0]} to {part['year'].iloc[-1]}"
        parts.append(f"{int((part['crop'] < POOR).sum())} of {len(part)} ({span})")
    return f"Poor crops by the two halves of the record: {parts[0]}, {parts[1]}."


def _dates(springs: Springs, columns: NDArray[np.float64]) -> NDArray[np.datetime64]:
    """Turn columns into dates."""
    known = np.isfinite(columns)
    dates = springs.starts.astype("datetime64[D]") + np.where(known, columns, 0).astype(
        np.int64
    )
    dates[~known] = np.datetime64("NaT")
    found: NDArray[np.datetime64] = dates
    return found
