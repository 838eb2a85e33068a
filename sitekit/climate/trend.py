"""Whether a record warms: the slope of its years, and its two halves."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

#: Years below which no slope is told.
FEWEST = 10


@dataclass(frozen=True)
class Trend:
    """Change of one figure over the years of a record.

    Parameters
    ----------
    slope, error : float
        Change in ten years, and its standard error.
    sure : bool
        Whether a slope of 0 lies outside the 90 % interval.
    early, late : float
        Means of the first and the second half.
    years : tuple of int
        First and last year.
    """

    slope: float
    error: float
    sure: bool
    early: float
    late: float
    years: tuple[int, int]


def find_trend(
    years: NDArray[np.integer], values: NDArray[np.floating]
) -> Trend | None:
    """Find the slope of a figure over the years.

    Parameters
    ----------
    years : (year,) ndarray of int
        The years.
    values : (year,) ndarray
        The figure of each; NaN where missing.

    Returns
    -------
    trend : Trend or None
        None for fewer than ten years.
    """
    from scipy.stats import linregress, t  # noqa: PLC0415 - slow, needs a record

    known = np.isfinite(values)
    if known.sum() < FEWEST:
        return None
    year, value = years[known], values[known]
    fit = linregress(year, value)
    reach = t.ppf(0.95, year.size - 2) * fit.stderr
    half = year.size // 2
    return Trend(
        slope=10 * float(fit.slope),
        error=10 * float(fit.stderr),
        sure=bool(abs(fit.slope) > reach),
        early=float(value[:half].mean()),
        late=float(value[half:].mean()),
        years=(int(year[0]), int(year[-1])),
    )


def tell_trend(trend: Trend, what: str, unit: str, ways: tuple[str, str]) -> str:
    """Say what a trend is, never what will be.

    Parameters
    ----------
    trend : Trend
        The trend.
    what, unit : str
        The figure and its unit: ``last frost of spring``, ``days``.
    ways : tuple of str
        Words for more and for less: ``later``, ``earlier``.

    Returns
    -------
    text : str
        One sentence on the slope, one on the halves, one of caution.
    """
    first, last = trend.years
    way = ways[0] if trend.slope > 0 else ways[1]
    size = f"{abs(trend.slope):.1f} ± {trend.error:.1f} {unit} {way} in ten years"
    moved = size if trend.sure else f"no sure trend ({size})"
    half = ways[0] if trend.late > trend.early else ways[1]
    return (
        f"{what[0].upper()}{what[1:]}, {first} to {last}: {moved}. The second half of "
        f"these years lies {abs(trend.late - trend.early):.1f} {unit} {half} than the "
        "first. Nothing is carried on into years to come."
    )
