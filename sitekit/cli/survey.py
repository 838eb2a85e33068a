"""``sitekit survey``: the main job."""

import json
from collections.abc import Callable
from pathlib import Path
from time import perf_counter
from typing import TYPE_CHECKING, Annotated

import typer

from sitekit.cli import options
from sitekit.cli.progress import progress

if TYPE_CHECKING:
    from sitekit.results import Survey

HELP = "Survey a site: layers, blocks and spots, a map and a report."
EXAMPLE = "sitekit survey site.toml --out survey"


def run(  # noqa: PLR0913 - one parameter for each option of the command
    site: Annotated[Path | None, typer.Argument(help="Site file.")] = None,
    *,
    out: options.Out = None,
    elevation: options.Elevation = None,
    field: options.Field = None,
    water: options.Water = None,
    barriers: options.Barriers = None,
    woodland: options.Woodland = None,
    no_go: options.NoGo = None,
    records: options.Records = None,
    station: options.Station = None,
    fruit: options.Fruit = None,
    cell: options.Cell = None,
    margin: options.Margin = None,
    elevation_crs: options.ElevationCrs = None,
    z_unit: options.ZUnit = None,
    surface: options.Surface = None,
    quiet: options.Quiet = False,
    as_json: options.Json = False,
) -> None:
    """Survey a site and write a folder."""
    given = dict(locals())
    for own in ("site", "out", "quiet", "as_json"):
        del given[own]
    start = perf_counter()
    with progress(quiet=quiet or as_json) as on_step:
        found, folder = _survey(site, given, out, on_step)
    if as_json:
        typer.echo(json.dumps(summary(found, folder), ensure_ascii=False))
    elif not quiet:
        from sitekit.cli.telling import tell_survey  # noqa: PLC0415 - slow to import

        typer.echo(tell_survey(found, folder, perf_counter() - start))


def _survey(
    site_file: Path | None,
    given: dict[str, object],
    out: Path | None,
    on_step: Callable[[str], None],
) -> tuple["Survey", Path]:
    """Read, survey and write; the folder is checked before anything is computed."""
    from sitekit.pipeline import survey  # noqa: PLC0415 - slow to import
    from sitekit.writing import check_folder, write_survey  # noqa: PLC0415 - slow

    folder = out or _usual_folder(site_file)
    check_folder(folder)
    found = survey(options.read_given(site_file, given), on_step=on_step)
    return found, write_survey(found, folder, on_step=on_step)


def _usual_folder(site_file: Path | None) -> Path:
    """Find the folder that the site file names, else ``survey`` beside it."""
    if site_file is None:
        return Path("survey")
    from sitekit.request import read_site_file  # noqa: PLC0415 - slow to import

    named = read_site_file(site_file).contents.outputs.folder
    return site_file.parent / (named or "survey")


def summary(found: "Survey", folder: Path) -> dict[str, object]:
    """Tell a survey as one JSON object."""
    blocks = found.blocks.drop(columns="geometry")
    return {
        "site": found.site.name,
        "folder": str(folder),
        "headline": found.answer.headline,
        "blocks": json.loads(blocks.to_json(orient="records")),
        "measure_first": [m.what for m in found.answer.measures],
        "not_known": list(found.answer.unknowns),
    }
