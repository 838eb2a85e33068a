"""``sitekit revise``: what readings of loggers and notes change."""

import json
from pathlib import Path
from typing import Annotated, Any

import typer

from sitekit.cli import options
from sitekit.cli.progress import progress

HELP = "Correct a survey by readings of loggers and by notes."
EXAMPLE = "sitekit revise site.toml readings --time-zone +01:00"


def run(
    site: Annotated[Path, typer.Argument(help="Site file.")],
    readings: Annotated[
        Path | None,
        typer.Argument(
            help="Folder or file of readings; without it the notes of the site count."
        ),
    ] = None,
    *,
    time_zone: Annotated[
        str | None,
        typer.Option(
            metavar="ZONE", help="Zone of times that name none: Europe/Vienna, +01:00."
        ),
    ] = None,
    out: options.Out = None,
    quiet: options.Quiet = False,
    as_json: options.Json = False,
) -> None:
    """Correct a survey by readings, and write it whole."""
    with progress(quiet=quiet or as_json) as on_step:
        from sitekit.io.readings import read_readings  # noqa: PLC0415 - slow to import
        from sitekit.request import read_site  # noqa: PLC0415 - slow to import
        from sitekit.revising import revise  # noqa: PLC0415 - slow to import
        from sitekit.writing import check_folder, write_survey  # noqa: PLC0415 - slow

        folder = out or site.parent / "revised"
        check_folder(folder)
        found = read_site(site)
        read = (
            read_readings(readings, found.grid.crs, found.grid.longitude, time_zone)
            if readings
            else None
        )
        survey, revision = revise(found, read, on_step=on_step)
        write_survey(survey, folder, revision=revision, on_step=on_step)
    if as_json:
        told = {
            "summary": revision.summary,
            "nights": revision.nights,
            "left_out_error_degc": None
            if revision.loggers.empty
            else round(revision.left_out, 2),
            "loggers": _records(revision.loggers.drop(columns="geometry")),
            "changes": _records(revision.changes),
            "remarks": [f"{r.about}: {r.text}" for r in revision.remarks],
        }
        typer.echo(json.dumps(told, ensure_ascii=False))
    elif not quiet:
        for remark in revision.remarks:
            typer.echo(f"{remark.about}: {remark.text}")
        typer.echo(revision.summary)
        typer.echo(f"Written: {folder}/report.html  map.html  revision.csv")


def _records(table: Any) -> list[dict[str, object]]:  # noqa: ANN401 - a DataFrame
    """Turn a table into plain rows."""
    rows: list[dict[str, object]] = json.loads(table.to_json(orient="records"))
    return rows
