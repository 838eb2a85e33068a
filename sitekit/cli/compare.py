"""``sitekit compare``: what a change does."""

import json
from dataclasses import replace
from pathlib import Path
from typing import Annotated

import typer

from sitekit.cli import options
from sitekit.cli.progress import progress

HELP = "Try changes on a site: a gap, a lifted foot, a bank, a new hedge."
EXAMPLE = "sitekit compare site.toml proposals.gpkg"


def run(
    site: Annotated[Path, typer.Argument(help="Site file.")],
    proposals: Annotated[Path, typer.Argument(help="One feature for each change.")],
    *,
    together: Annotated[bool, typer.Option(help="Try all at once.")] = False,
    out: options.Out = None,
    quiet: options.Quiet = False,
    as_json: options.Json = False,
) -> None:
    """Try each change alone, or all at once, and write a folder."""
    with progress(quiet=quiet or as_json) as on_step:
        from sitekit.compare import compare, write_comparison_folder  # noqa: PLC0415 - slow
        from sitekit.compare.files import summarise  # noqa: PLC0415 - slow to import
        from sitekit.io.hashes import hash_files  # noqa: PLC0415 - slow to import
        from sitekit.io.proposals import read_proposals  # noqa: PLC0415 - slow
        from sitekit.request import read_site  # noqa: PLC0415 - slow
        from sitekit.writing import check_folder  # noqa: PLC0415 - slow

        folder = out or site.parent / "compare"
        check_folder(folder)
        found = read_site(site)
        changes = read_proposals(proposals, found.grid.crs)
        found = replace(found, inputs={**found.inputs, **hash_files([proposals])})
        compared = compare(found, changes, together=together, on_step=on_step)
        write_comparison_folder(compared, folder)
    if as_json:
        told = [summarise(change) for change in compared.changes]
        typer.echo(json.dumps(told, ensure_ascii=False))
    elif not quiet:
        for change in compared.changes:
            typer.echo(change.sentence)
            for remark in change.remarks:
                typer.echo(f"   {remark}")
        typer.echo(f"Written: {folder}/compare.html  compare.gpkg")
