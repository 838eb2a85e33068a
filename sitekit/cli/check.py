"""``sitekit check``: everything read, nothing computed."""

import json
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from sitekit.cli import options

if TYPE_CHECKING:
    from sitekit.site import Site

HELP = "Read everything, compute nothing: what is missing, doubtful or wrong."
EXAMPLE = "sitekit check site.toml"


def run(
    site: Annotated[Path, typer.Argument(help="Site file.")],
    *,
    quiet: options.Quiet = False,
    as_json: options.Json = False,
) -> None:
    """Read a site and say what was read, mended, is doubtful or missing."""
    from sitekit.cli.telling import tell_check  # noqa: PLC0415 - slow to import
    from sitekit.request import read_site  # noqa: PLC0415 - slow to import

    found = read_site(site)
    if as_json:
        typer.echo(json.dumps(_summary(found), ensure_ascii=False))
    elif not quiet:
        typer.echo(tell_check(found))


def _summary(found: "Site") -> dict[str, object]:
    """Tell a site, and every setting with its default, as one JSON object."""
    from sitekit.pipeline import known_settings  # noqa: PLC0415 - slow to import
    from sitekit.siting.answer import resolution_sentence  # noqa: PLC0415

    return {
        "site": found.name,
        "field_m2": round(found.field_area, 1),
        "crs": found.grid.crs.to_string(),
        "cell_m": found.grid.cell_size,
        "rows": found.grid.shape[0],
        "columns": found.grid.shape[1],
        "resolution": resolution_sentence(found),
        "remarks": [
            {"kind": r.kind, "about": r.about, "text": r.text} for r in found.remarks
        ],
        "settings": {
            name: {
                "value": found.settings.get(name, default),
                "default": default,
                "units": setting.units,
                "text": setting.text,
                "source": setting.source,
            }
            for name, (default, setting) in known_settings().items()
        },
    }
