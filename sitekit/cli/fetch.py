"""``sitekit fetch``: an open elevation model for a site."""

import json
from pathlib import Path
from typing import Annotated

import typer

from sitekit.cli import options
from sitekit.cli.cache import cache_folder
from sitekit.cli.progress import progress

HELP = "Get an open elevation model for a site, from a catalogue or an address."
EXAMPLE = "sitekit fetch site.toml"


def run(
    site: Annotated[Path, typer.Argument(help="Site file with a field.")],
    *,
    quiet: options.Quiet = False,
    as_json: options.Json = False,
) -> None:
    """Write ``elevation.tif`` beside the site file."""
    with progress(quiet=quiet or as_json) as on_step:
        from sitekit.io.fetch import MARGIN, fetch_elevation  # noqa: PLC0415 - slow
        from sitekit.io.inputs import read_outline  # noqa: PLC0415 - slow
        from sitekit.io.offers import choose_sources  # noqa: PLC0415 - slow
        from sitekit.request import read_site_file, request_from_file  # noqa: PLC0415 - slow
        from sitekit.settings import settings_of  # noqa: PLC0415 - slow

        request = request_from_file(read_site_file(site, need_elevation=False))
        known = settings_of(choose_sources)
        own = {n: v for n, v in request.settings.items() if n in known}
        fetched = fetch_elevation(
            read_outline(request),
            choose_sources(**own),
            site.parent / "elevation.tif",
            cache_folder("sitekit-elevation"),
            margin=MARGIN if request.margin is None else request.margin,
            on_step=on_step,
        )
    if as_json:
        told = {**vars(fetched), "path": str(fetched.path)}
        typer.echo(json.dumps(told, ensure_ascii=False))
    elif not quiet:
        typer.echo(f"Written: {fetched.path}, {fetched.source}")
        for line in (fetched.attribution, *fetched.remarks):
            typer.echo(f"   {line}" if line else "   Its licence is not told.")
        if fetched.surface == "canopy":
            typer.echo('   It shows tree tops and roofs: set surface = "canopy".')
        typer.echo(f"Next: sitekit check {site}")
