"""``sitekit demo``: the invented holding, written and surveyed."""

import json
from pathlib import Path
from time import perf_counter
from typing import Annotated

import typer

from sitekit.cli import options
from sitekit.cli.progress import progress
from sitekit.cli.survey import summary

HELP = "Write the invented demo holding into a folder and survey it."
EXAMPLE = "sitekit demo --out sitekit-demo"


def run(
    *,
    out: Annotated[
        Path, typer.Option(metavar="FOLDER", help="Folder to write.")
    ] = Path("sitekit-demo"),
    quiet: options.Quiet = False,
    as_json: options.Json = False,
) -> None:
    """Write the invented holding and survey it into ``survey`` in the same folder."""
    start = perf_counter()
    with progress(quiet=quiet or as_json) as on_step:
        from sitekit.demo import write_demo  # noqa: PLC0415 - slow to import

        found = write_demo(out, on_step=on_step)
    if as_json:
        typer.echo(json.dumps(summary(found, out / "survey"), ensure_ascii=False))
    elif not quiet:
        from sitekit.cli.telling import tell_survey  # noqa: PLC0415 - slow to import

        typer.echo(tell_survey(found, out / "survey", perf_counter() - start))
        typer.echo(f"The holding and its land are invented; its files are in {out}/")
