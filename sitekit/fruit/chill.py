"""Winter chill: hours, Utah units and portions of the dynamic model."""

import numpy as np
from numpy.typing import ArrayLike, NDArray

#: Upper ends of the Utah classes and what an hour in each counts; the last is open.
#: Richardson, Seeley & Walker 1974, HortScience 9:331.
UTAH_ENDS = (1.4, 2.4, 9.1, 12.4, 15.9, 18.0)
UTAH_UNITS = (0.0, 0.5, 1.0, 0.5, 0.0, -0.5, -1.0)
#: Hours that count as chill lie between. [degC]
CHILL_FROM, CHILL_TO = 0.0, 7.2
#: Dynamic model: Fishman, Erez & Couvillon 1987, J. Theor. Biol. 124:473; Erez 1990.
E0, E1, A0, A1 = 4153.5, 12888.8, 139_500.0, 2.567e18
SLOPE, FREEZING, KELVIN = 1.6, 277.0, 273.0
#: Portions that the least demanding kinds of orchard fruit need. Common practice.
LEAST_PORTIONS = 40.0
#: Chill limits a fruit where it fails in more years than this. [years in ten]
FAILS = 1.0
#: Hour of the lowest temperature of a day. [h]
DAWN = 5


def hours_of_days(
    lowest: NDArray[np.floating], highest: NDArray[np.floating]
) -> NDArray[np.floating]:
    """Temperature of each hour from minimum and maximum, by a cosine.

    Parameters
    ----------
    lowest, highest : (..., day) ndarray
        [degC]

    Returns
    -------
    hours : (..., day * 24) ndarray
        [degC]
    """
    wave = np.cos((np.arange(24) - DAWN) * 2 * np.pi / 24)
    middle, half = (lowest + highest) / 2, (highest - lowest) / 2
    hours = middle[..., None] - half[..., None] * wave
    return hours.reshape(*lowest.shape[:-1], 24 * lowest.shape[-1])


def count_chill_hours(hours: ArrayLike, *, frost: bool = False) -> NDArray[np.int64]:
    """Count hours of chill.

    Parameters
    ----------
    hours : (..., hour) ndarray
        [degC]
    frost : bool
        Count hours of frost too; else only 0 to 7.2 degC.

    Returns
    -------
    count : (...) ndarray of int64
        [h]
    """
    hours = np.asarray(hours)
    chilly = (hours <= CHILL_TO) & (frost | (hours >= CHILL_FROM))
    count: NDArray[np.int64] = chilly.sum(axis=-1)
    return count


def utah_units(hours: ArrayLike) -> NDArray[np.float64]:
    """Utah chill units of each hour.

    Parameters
    ----------
    hours : ndarray
        [degC]

    Returns
    -------
    units : ndarray
        -1 to 1.

    References
    ----------
    Richardson, E. A., Seeley, S. D. & Walker, D. R. 1974. A model for estimating
    the completion of rest for Redhaven and Elberta peach trees. HortScience 9,
    331-332.

    Examples
    --------
    >>> utah_units([1.4, 1.5, 9.1, 16.0, 25.0])
    array([ 0. ,  0.5,  1. , -0.5, -1. ])
    """
    place = np.searchsorted(UTAH_ENDS, np.asarray(hours), side="left")
    return np.asarray(UTAH_UNITS)[place]


def sum_utah(hours: ArrayLike) -> NDArray[np.float64]:
    """Sum Utah units of a winter: the greatest gain between two hours of it.

    Parameters
    ----------
    hours : (..., hour) ndarray
        From autumn to spring. [degC]

    Returns
    -------
    units : (...) ndarray
        Warm weeks before the winter, and after it, take nothing away.
    """
    total = np.cumsum(utah_units(hours), axis=-1)
    lowest = np.minimum(np.minimum.accumulate(total, axis=-1), 0)
    gained: NDArray[np.float64] = (total - lowest).max(axis=-1)
    return gained


def count_portions(hours: ArrayLike) -> NDArray[np.float64]:
    """Count chill portions of the dynamic model.

    Parameters
    ----------
    hours : (..., hour) ndarray
        Counted hours in order. [degC]

    Returns
    -------
    portions : (...) ndarray

    References
    ----------
    Fishman, S., Erez, A. & Couvillon, G. A. 1987. The temperature dependence of
    dormancy breaking in plants. J. Theor. Biol. 124, 473-483.

    Examples
    --------
    >>> round(float(count_portions(np.full(1000, 6.0))), 2)
    34.2
    """
    kelvin = np.asarray(hours, dtype=np.float64) + KELVIN
    settled = A0 / A1 * np.exp((E1 - E0) / kelvin)
    kept = np.exp(-A1 * np.exp(-E1 / kelvin))
    ratio = np.exp(SLOPE * FREEZING * (kelvin - FREEZING) / kelvin)
    fixed = ratio / (1 + ratio)
    portions = np.zeros(kelvin.shape[:-1])
    before = np.zeros_like(portions)
    fixed_before = np.zeros_like(portions)
    for hour in range(kelvin.shape[-1]):
        start = np.where(before < 1, before, before * (1 - fixed_before))
        now = settled[..., hour] - (settled[..., hour] - start) * kept[..., hour]
        portions += np.where(now >= 1, now * fixed[..., hour], 0)
        before, fixed_before = now, fixed[..., hour]
    return portions


def describe_chill(hours: NDArray[np.floating], needs: dict[str, float]) -> str:
    """Say in one line whether winter chill limits any fruit.

    Parameters
    ----------
    hours : (winter, hour) ndarray
        [degC]
    needs : dict
        Fruit, in words, and the hours of chill that its least demanding kinds need.

    Returns
    -------
    line : str
        Chill limits a fruit only where hours (those of frost counted in), Utah units
        and portions all fall short of its need in more than 1 year of 10: the count
        of 0 to 7.2 degC alone falls towards the cold, and would mislead there.
    """
    mild = count_chill_hours(hours)
    counted = count_chill_hours(hours, frost=True)
    units, portions = sum_utah(hours), count_portions(hours)
    lacking = []
    for fruit, need in needs.items():
        short = (counted < need) & (units < need) & (portions < LEAST_PORTIONS)
        if 10 * short.mean() > FAILS:
            lacking.append(fruit)
    told = (
        f"{np.median(mild):.0f} hours of 0 to 7.2 °C, {np.median(units):.0f} Utah "
        f"units, {np.median(portions):.0f} portions in a middling winter"
    )
    if not lacking:
        return f"Winter chill is not limiting ({told})."
    return f"Winter chill is the limit for {', '.join(lacking)} ({told})."
