"""Options that commands share, and the request that they make."""

from collections.abc import Mapping
from math import inf, isfinite
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from sitekit.errors import ConfigError

if TYPE_CHECKING:
    from sitekit.site import Site

Quiet = Annotated[bool, typer.Option("--quiet", "-q", help="Say nothing but mistakes.")]
Json = Annotated[bool, typer.Option("--json", help="Print one JSON object.")]
Out = Annotated[Path | None, typer.Option(metavar="FOLDER", help="Folder to write.")]

Elevation = Annotated[
    list[Path] | None,
    typer.Option(metavar="FILE", help="Elevation file; repeat for several."),
]
Field = Annotated[
    Path | None,
    typer.Option(
        metavar="FILE", help="Field: polygons, or a walked track that closes."
    ),
]
Water = Annotated[Path | None, typer.Option(metavar="FILE", help="Water polygons.")]
Barriers = Annotated[
    Path | None, typer.Option(metavar="FILE", help="Hedges, walls, fences, banks.")
]
Woodland = Annotated[
    Path | None,
    typer.Option(
        metavar="FILE", help="Woodland polygons, or a raster of canopy heights."
    ),
]
NoGo = Annotated[
    Path | None, typer.Option(metavar="FILE", help="Ground that is never planted.")
]
Records = Annotated[
    Path | None,
    typer.Option(metavar="FILE", help="Daily minimum and maximum of a station."),
]
Station = Annotated[
    str | None,
    typer.Option(
        metavar="LON,LAT,ELEV", help="Where the station stands: LON,LAT,ELEV."
    ),
]
Fruit = Annotated[
    list[str] | None, typer.Option(metavar="NAME", help="Fruit; repeat for several.")
]
Cell = Annotated[
    float | None, typer.Option(metavar="METRES", help="Cell of the grid, in metres.")
]
Margin = Annotated[
    float | None,
    typer.Option(metavar="METRES", help="Ground around the field, in metres."),
]
ElevationCrs = Annotated[
    str | None,
    typer.Option(
        metavar="CODE", help="CRS of an elevation that names none: EPSG:32633."
    ),
]
ZUnit = Annotated[
    str | None,
    typer.Option(metavar="UNIT", help="Unit of its heights: m, ft or us-ft."),
]
Surface = Annotated[
    str | None,
    typer.Option(metavar="KIND", help="What its heights are: ground or canopy."),
]

#: Options that name a vector input.
VECTOR_OPTIONS = ("water", "barriers", "woodland", "no_go")


def read_given(site_file: Path | None, options: Mapping[str, Any]) -> "Site":
    """Read the site that a site file or the options name.

    Parameters
    ----------
    site_file : Path or None
        The site file.
    options : mapping
        Options of the command by name; None where not given.

    Returns
    -------
    site : Site
        Everything read.

    Raises
    ------
    ConfigError
        Where both are given, or neither; and for options that make no sense.
    """
    given = {name: value for name, value in options.items() if value not in (None, [])}
    if site_file is not None:
        if given:
            named = ", ".join(f"--{n.replace('_', '-')}" for n in given)
            message = f"{site_file}: {named} stands beside it; set it in the site file."
            raise ConfigError(message)
        from sitekit.request import read_site  # noqa: PLC0415 - slow to import

        return read_site(site_file)
    return _read_options(given)


def _read_options(given: Mapping[str, Any]) -> "Site":
    """Read a site that is named by options alone."""
    from sitekit.io.inputs import SiteRequest, read_request  # noqa: PLC0415 - slow
    from sitekit.io.records import RecordSource  # noqa: PLC0415 - slow to import
    from sitekit.io.vectors import VectorSource  # noqa: PLC0415 - slow to import
    from sitekit.request import check_request  # noqa: PLC0415 - slow

    if "elevation" not in given or "field" not in given:
        message = "sitekit: name a site file, or both --elevation and --field."
        raise ConfigError(message)
    request = SiteRequest(
        elevation=given["elevation"],
        field=VectorSource(given["field"]),
        vectors={n: VectorSource(given[n]) for n in VECTOR_OPTIONS if n in given},
        records=RecordSource(
            files=(given["records"],) if "records" in given else (),
            station=_station(given["station"]) if "station" in given else None,
        ),
        elevation_crs=given.get("elevation_crs"),
        z_unit=_one_of("z-unit", given.get("z_unit"), ("m", "ft", "us-ft")),
        surface=_one_of("surface", given.get("surface"), ("ground", "canopy")),
        cell=length("cell", given.get("cell")),
        margin=length("margin", given.get("margin"), or_zero=True),
        fruit=tuple(given.get("fruit", ())),
    )
    check_request(request)
    return read_request(request)


def _station(text: str) -> tuple[float, ...]:
    try:
        place = tuple(float(part) for part in text.split(","))
    except ValueError:
        place = ()
    sound = len(place) in (2, 3) and all(map(isfinite, place))
    if not sound or abs(place[0]) > 180 or abs(place[1]) > 90:
        message = f'--station: "{text}" is not LON,LAT,ELEV, as 15.01,46.31,730.'
        raise ConfigError(message)
    return place


def _one_of(option: str, value: Any, allowed: tuple[str, ...]) -> Any:  # noqa: ANN401 - a text of `allowed`
    if value is None or value in allowed:
        return value
    message = f'--{option}: "{value}" is not one of {", ".join(allowed)}.'
    raise ConfigError(message)


def need(**given: object) -> None:
    """Check that options that a command cannot do without were given.

    Raises
    ------
    ConfigError
        Naming each that is missing.
    """
    missing = [f"--{name}: give it." for name, value in given.items() if not value]
    if missing:
        raise ConfigError(*missing)


def length(option: str, value: float | None, *, or_zero: bool = False) -> float | None:
    """Check an option that is a length in metres.

    Parameters
    ----------
    option : str
        Its name.
    value : float or None
        What was given. [m]
    or_zero : bool
        Whether a length of 0 has a meaning.

    Returns
    -------
    value : float or None
        The same. [m]

    Raises
    ------
    ConfigError
        Where it is no length above 0, or of 0 or more.
    """
    if value is None or 0 < value < inf or (or_zero and value == 0):
        return value
    wanted = "0 or more" if or_zero else "above 0"
    message = f"--{option}: {value:g} is not a length in metres, {wanted}."
    raise ConfigError(message)
