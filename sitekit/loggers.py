"""Where to put loggers on a site, written to one folder."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
from geopandas import GeoDataFrame

from sitekit.errors import ConfigError
from sitekit.fruit import fruit_names, read_fruit
from sitekit.io.exchange import write_gpx
from sitekit.measuring.candidates import Candidate, find_candidates, make_ground
from sitekit.measuring.correction import TERMS
from sitekit.measuring.places import choose_places
from sitekit.measuring.revision import make_terms
from sitekit.pipeline import survey
from sitekit.report.loggers import write_logger_page
from sitekit.results import Survey
from sitekit.site import Site
from sitekit.writing import describe_inputs, whole_folder, write_run

#: Most loggers that a plan is made for.
MOST = 40
#: Height of the sensor: that of the blossom. [m]
BLOSSOM = 1.5
READ = (*list(TERMS)[:-1], "frost_night_offset", "night_cold", "pooling_depth")


@dataclass(frozen=True)
class LoggerPlan:
    """Where loggers go.

    Parameters
    ----------
    survey : Survey
        The survey that the places were chosen on.
    places : GeoDataFrame
        Points, the most decisive first: ``logger``, ``easting_m``, ``northing_m``,
        ``lon``, ``lat``, ``elevation_m``, ``height_m``, ``why``, ``photo``,
        ``expected_degc``, ``wrong_after``.
    wrong : tuple of float
        Expected share of wrong verdicts before any logger and after each.
    """

    survey: Survey
    places: GeoDataFrame
    wrong: tuple[float, ...]


def plan_loggers(
    site: Site, count: int, *, on_step: Callable[[str], None] = lambda _: None
) -> LoggerPlan:
    """Choose where loggers go.

    Parameters
    ----------
    site : Site
        What was read.
    count : int
        How many there are, 1 to 40.
    on_step : callable
        Called with the name of each step when it begins.

    Returns
    -------
    plan : LoggerPlan
        Their places; fewer where no more stand apart.

    Raises
    ------
    ConfigError
        For a count that makes no sense.
    """
    if not 1 <= count <= MOST:
        message = f"--count: {count} is not a number of loggers from 1 to {MOST}."
        raise ConfigError(message)
    found = survey(replace(site, layers=READ), on_step=on_step)
    on_step("places")
    layers = {str(n): layer.to_numpy() for n, layer in found.layers.items()}
    terms = make_terms(site, layers)
    candidates = find_candidates(site, layers, found.frost_pockets, found.blocks)
    fruits = [read_fruit(n, site.fruit_folder) for n in site.fruit or fruit_names()]
    ground, kept = make_ground(site, layers, terms, candidates, fruits)
    standing = [candidates[i] for i in kept]
    reference = site.reference is not None and terms.anchor is not None
    choice = choose_places(ground, count, 0 if reference else None)
    offsets = layers["frost_night_offset"]
    rows = [
        _row(site, number, standing[i], offsets, choice.wrong[number])
        for number, i in enumerate(choice.chosen, start=1)
    ]
    table = pd.DataFrame(rows)
    points = gpd.points_from_xy(table["easting_m"], table["northing_m"])
    places = GeoDataFrame(table, geometry=points, crs=site.grid.crs)
    return LoggerPlan(replace(found, site=site), places, choice.wrong)


def _row(
    site: Site,
    number: int,
    place: Candidate,
    offsets: "np.ndarray[tuple[int, ...], np.dtype[np.float32]]",
    wrong: float,
) -> dict[str, object]:
    """Describe one place."""
    x, y = place.easting, place.northing
    lon, lat = site.grid.degrees(x, y)
    return {
        "logger": f"L{number}",
        "easting_m": round(x, 1),
        "northing_m": round(y, 1),
        "lon": round(float(lon), 6),
        "lat": round(float(lat), 6),
        "elevation_m": round(float(site.grid.sample(site.elevation, x, y)), 1),
        "height_m": BLOSSOM,
        "why": place.why,
        "photo": place.photo,
        "expected_degc": round(float(site.grid.sample(offsets, x, y)), 1),
        "wrong_after": round(wrong, 4),
    }


def write_plan(plan: LoggerPlan, folder: Path, *, today: date | None = None) -> Path:
    """Write ``loggers.csv``, ``loggers.gpx``, ``loggers.html`` and ``run.json``.

    Parameters
    ----------
    plan : LoggerPlan
        Where loggers go.
    folder : Path
        Folder that is missing, empty, or was made by sitekit.
    today : date, optional
        Date on the sheet; today where not given.

    Returns
    -------
    folder : Path
        The folder.

    Raises
    ------
    OutputError
        Where the folder may not be written.
    """
    day = today or date.today()
    site = plan.survey.site
    with whole_folder(folder) as temporary:
        table = pd.DataFrame(plan.places.drop(columns="geometry"))
        table.to_csv(temporary / "loggers.csv", index=False, lineterminator="\n")
        listed = table.assign(
            id=table["logger"], what=table["why"], level_m=table["elevation_m"]
        )
        title = f"{site.name}: loggers"
        write_gpx(temporary / "loggers.gpx", listed, site.grid.crs, title)
        write_logger_page(
            plan.survey, plan.places, plan.wrong, temporary / "loggers.html", today=day
        )
        write_run(
            temporary,
            {
                "date": day.isoformat(),
                "site": site.name,
                "loggers": len(table),
                **describe_inputs(site),
                "seconds": dict(plan.survey.seconds),
            },
        )
    return folder
