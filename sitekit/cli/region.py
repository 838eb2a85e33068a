"""``sitekit region``: the same for many fields."""

import json
from pathlib import Path
from typing import Annotated

import typer

from sitekit.cli import options
from sitekit.cli.progress import counting

HELP = "Survey many fields, and rank them in one table."
EXAMPLE = "sitekit region fields.gpkg --elevation ground.tif --out region"


def run(  # noqa: PLR0913 - one parameter for each option of the command
    fields: Annotated[Path, typer.Argument(help="Table of fields, one polygon each.")],
    *,
    elevation: options.Elevation = None,
    out: options.Out = None,
    fruit: options.Fruit = None,
    margin: options.Margin = None,
    scheduler: Annotated[
        str,
        typer.Option(
            metavar="ADDRESS", help="Address of a scheduler: tcp://HOST:PORT."
        ),
    ] = "",
    workers: Annotated[
        int | None,
        typer.Option(metavar="NUMBER", min=1, help="Processes of this machine."),
    ] = None,
    quiet: options.Quiet = False,
    as_json: options.Json = False,
) -> None:
    """Survey each field with its surroundings and write one table."""
    from sitekit.io.fields import read_fields  # noqa: PLC0415 - slow to import
    from sitekit.region import RegionRequest, survey_region, write_region  # noqa: PLC0415 - slow
    from sitekit.region.run import MARGIN, forget  # noqa: PLC0415 - slow
    from sitekit.writing import check_folder  # noqa: PLC0415 - slow to import

    options.need(elevation=elevation, out=out)
    assert out is not None  # told above
    check_folder(out)
    asked = options.length("margin", margin, or_zero=True)
    request = RegionRequest(
        fields=read_fields(fields),
        elevation=tuple(elevation or ()),
        fruit=tuple(fruit or ()),
        margin=MARGIN if asked is None else asked,
        scheduler=scheduler,
        workers=workers,
        source=fields,
    )
    kept = out.parent / f".{out.name}-unfinished"
    with counting(quiet=quiet or as_json) as (on_done, on_start):
        region = survey_region(request, kept, on_done=on_done, on_start=on_start)
    table = write_region(region, out)
    forget(kept)
    if as_json:
        told = table.drop(columns="geometry")
        typer.echo(json.dumps(json.loads(told.to_json(orient="records"))))
    elif not quiet:
        from sitekit.cli.telling import tell_region  # noqa: PLC0415 - slow to import

        typer.echo(tell_region(table, out))
