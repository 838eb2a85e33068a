"""From the station to every cell: how much warmer a place is, by kind of night."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Annotated

import numpy as np
from numpy.typing import NDArray

from sitekit.climate.fruiting import Shifts
from sitekit.settings import Setting
from sitekit.site import Record, Site

Layers = Mapping[str, NDArray[np.floating]]

#: Uncertainty of a night minimum near the station, and how it grows with distance
#: beyond 10 km and with height beyond 100 m. Common practice, no source; the first
#: after Ann. For. Sci. 2010, 417 stations: mean absolute error 0.8. [degC]
NEAR_SPREAD, PER_KM, PER_100_M = 1.0, 0.02, 0.4
#: From here the record is said to be of another place. [m]
FAR, HIGH = 50_000.0, 300.0


@dataclass(frozen=True)
class StationPlace:
    """Where the station stands among the cells.

    Parameters
    ----------
    cell : tuple of int or None
        Its cell; None off the grid, or where nothing is known of its ground.
    elevation : float
        Height that the shifts count from. [m]
    spread : float
        Standard deviation of a night minimum told from it. [degC]
    remarks : tuple of str
        What is assumed.
    """

    cell: tuple[int, int] | None
    elevation: float
    spread: float
    remarks: tuple[str, ...]


def place_station(site: Site, record: Record, layers: Layers) -> StationPlace:
    """Find the station among the cells.

    Parameters
    ----------
    site : Site
        The site.
    record : Record
        Its record.
    layers : mapping of str to (row, column) ndarray
        ``frost_night_offset`` among them.

    Returns
    -------
    place : StationPlace
    """
    middle = site.field.union_all().centroid
    field_height = float(np.nanmedian(site.elevation[site.field_mask]))
    away = float(np.hypot(record.easting - middle.x, record.northing - middle.y))
    row, column = (int(v) for v in site.grid.cells(record.easting, record.northing))
    rows, columns = site.grid.shape
    inside = 0 <= row < rows and 0 <= column < columns
    inside = inside and bool(np.isfinite(layers["frost_night_offset"][row, column]))
    remarks = []
    height = record.elevation
    if inside:
        height = float(site.elevation[row, column])
    elif not np.isfinite(height):
        height = field_height
        remarks.append("its height is not given: that of the field is taken")
    if not inside:
        remarks.append(
            "it stands off the elevation: on clear still nights it is taken to be as "
            f"cold as {site.reference_name}"
        )
    climb = field_height - height
    if away > FAR or abs(climb) > HIGH:
        remarks.append(
            f"it stands {away / 1000:.0f} km away and {abs(climb):.0f} m "
            f"{'lower' if climb > 0 else 'higher'}: its years are those of another "
            "place, and the figures are less sure"
        )
    return StationPlace(
        (row, column) if inside else None,
        height,
        spread_of(away, climb),
        tuple(remarks),
    )


def spread_of(distance: float, climb: float) -> float:
    """Tell how unsure a night minimum is at a place away from the station.

    Parameters
    ----------
    distance, climb : float
        How far and how much higher it lies. [m]

    Returns
    -------
    spread : float
        Standard deviation. [degC]

    Examples
    --------
    >>> spread_of(2000, 50), round(spread_of(60_000, 300), 2)
    (1.0, 2.8)
    """
    far = max(distance / 1000 - 10, 0)
    high = max(abs(climb) / 100 - 1, 0)
    return NEAR_SPREAD + PER_KM * far + PER_100_M * high


def shift_places(
    site: Site,
    station: StationPlace,
    layers: Layers,
    *,
    lapse_rate: Annotated[
        float,
        Setting(
            "degC/km",
            "How much colder it is with height on windy nights and by day.",
            "Rolland 2003, J. Climate 16: 5.5 to 6.5",
            low=0.0,
            high=12.0,
        ),
    ] = 6.5,
    exposure_cooling: Annotated[
        float,
        Setting(
            "degC",
            "How much colder fully exposed ground is than sheltered on a windy night.",
            low=0.0,
            high=3.0,
        ),
    ] = 0.4,
    sun_warming: Annotated[
        float,
        Setting(
            "degC",
            "How much warmer the mean day is where the sun brings twice as much.",
            low=0.0,
            high=10.0,
        ),
    ] = 3.0,
) -> Shifts:
    """Tell how much warmer each cell is than the station's own.

    Parameters
    ----------
    site : Site
        The site.
    station : StationPlace
        Where the station stands.
    layers : mapping of str to (row, column) ndarray
        ``frost_night_offset``, ``wind_exposure``, ``direct_irradiation_growing``,
        and the ``lake_effect`` of bloom, autumn and ice where there is a lake.
    lapse_rate : float
        Change with height. [degC/km]
    exposure_cooling : float
        Of fully exposed ground on windy nights. [degC]
    sun_warming : float
        Of ground with twice the sun. [degC]

    Returns
    -------
    shifts : Shifts
        Arrays (row, column) of float32, all 0 at the station's own cell: there the
        record comes back as it is.
    """

    def against(values: NDArray[np.floating]) -> NDArray[np.float32]:
        """Take the difference to the station's cell, or to the reference place."""
        there = values[station.cell] if station.cell is not None else 0.0
        found: NDArray[np.float32] = (values - there).astype(np.float32)
        return found

    offset = layers["frost_night_offset"]
    bloom = layers.get("lake_effect_bloom", np.float32(0))
    season = {
        name: against(offset - bloom + layers.get(f"lake_effect_{name}", np.float32(0)))
        for name in ("autumn", "ice")
    }
    height = (site.elevation - station.elevation) * np.float32(-lapse_rate / 1000)
    return Shifts(
        bloom=against(offset),
        autumn=season["autumn"],
        winter=season["ice"],
        windy=height - exposure_cooling * _relative(layers["wind_exposure"], station),
        warmth=height + sun_warming * _sun(layers, station),
        spread=station.spread,
    )


def _relative(
    values: NDArray[np.floating], station: StationPlace
) -> NDArray[np.float32]:
    """Take the difference to the station's cell, else to the middle of the cells."""
    there = values[station.cell] if station.cell is not None else np.nanmedian(values)
    found: NDArray[np.float32] = (values - there).astype(np.float32)
    return found


def _sun(layers: Layers, station: StationPlace) -> NDArray[np.float32]:
    """Tell how much more sun each cell has than the station, as a share."""
    sun = layers["direct_irradiation_growing"]
    usual = sun[station.cell] if station.cell is not None else np.nanmedian(sun)
    return _relative(sun, station) / np.float32(max(float(usual), 1.0))
