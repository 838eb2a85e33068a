"""``sitekit loggers``: where thermometers decide most."""

import json
from pathlib import Path
from typing import Annotated

import typer

from sitekit.cli import options
from sitekit.cli.progress import progress

HELP = "Choose where loggers decide most."
EXAMPLE = "sitekit loggers site.toml --count 8"


def run(
    site: Annotated[Path, typer.Argument(help="Site file.")],
    *,
    count: Annotated[int, typer.Option(metavar="NUMBER", help="How many loggers.")],
    out: options.Out = None,
    quiet: options.Quiet = False,
    as_json: options.Json = False,
) -> None:
    """Choose places for loggers and write map, list and reading sheet."""
    with progress(quiet=quiet or as_json) as on_step:
        from sitekit.loggers import plan_loggers, write_plan  # noqa: PLC0415 - slow
        from sitekit.request import read_site  # noqa: PLC0415 - slow to import
        from sitekit.writing import check_folder  # noqa: PLC0415 - slow to import

        folder = out or site.parent / "loggers"
        check_folder(folder)
        plan = plan_loggers(read_site(site), count, on_step=on_step)
        write_plan(plan, folder)
    rows = plan.places.drop(columns="geometry").to_dict("records")
    if as_json:
        wrong = [round(share, 4) for share in plan.wrong]
        typer.echo(json.dumps({"loggers": rows, "wrong": wrong}, ensure_ascii=False))
    elif not quiet:
        for row in rows:
            typer.echo(
                f"{row['logger']:4} {row['lat']:.5f}, {row['lon']:.5f}  "
                f"{row['elevation_m']:.0f} m  {row['why']}"
            )
        typer.echo(f"Written: {folder}/loggers.html  loggers.csv  loggers.gpx")
