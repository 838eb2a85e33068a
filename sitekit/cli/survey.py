"""``sitekit survey``: the main job."""

import json
from pathlib import Path
from time import perf_counter
from typing import Annotated, Any

import typer

from sitekit.cli.options import Given, Json, Quiet, gather_request
from sitekit.cli.progress import progress

HELP = "Survey a site: layers, blocks, spots, map, report."
EXAMPLE = "sitekit survey site.toml --out survey"


def run(  # noqa: PLR0913 - one parameter for each option of the command
    site: Annotated[Path | None, typer.Argument(help="Site file (site.toml).")] = None,
    *,
    out: Annotated[Path | None, typer.Option(help="Folder to write.")] = None,
    elevation: Given.Elevation = None,
    field: Given.Field = None,
    water: Given.Water = None,
    barriers: Given.Barriers = None,
    woodland: Given.Woodland = None,
    no_go: Given.NoGo = None,
    records: Given.Records = None,
    station: Given.Station = None,
    fruit: Given.Fruit = None,
    cell: Given.Cell = None,
    margin: Given.Margin = None,
    elevation_crs: Given.ElevationCrs = None,
    z_unit: Given.ZUnit = None,
    surface: Given.Surface = None,
    quiet: Quiet = False,
    as_json: Json = False,
) -> None:
    """Survey a site and write the folder."""
    given: dict[str, Any] = {k: v for k, v in locals().items() if v is not None}
    request = gather_request(given)
    survey_site(request, out, quiet=quiet, as_json=as_json)


def survey_site(request: Any, out: Path | None, *, quiet: bool, as_json: bool) -> None:
    """Read, survey, write and tell."""
