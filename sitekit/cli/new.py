"""``sitekit new``: a site file to fill in."""

from pathlib import Path
from typing import Annotated

import typer

from sitekit.cli import options
from sitekit.errors import OutputError

HELP = "Write a commented site file to fill in."
EXAMPLE = "sitekit new my-holding"


def run(
    folder: Annotated[Path, typer.Argument(help="Folder for the new site file.")],
    *,
    quiet: options.Quiet = False,
) -> None:
    """Write ``site.toml`` into a folder; an older one is left alone."""
    from sitekit.config import write_template  # noqa: PLC0415 - slow to import

    file = folder / "site.toml"
    if file.exists():
        message = f"{file}: it is there already. Name another folder, or move it away."
        raise OutputError(message)
    try:
        folder.mkdir(parents=True, exist_ok=True)
        write_template(file)
    except OSError as problem:
        message = f"{file}: cannot be written, {problem.strerror}. Name another folder."
        raise OutputError(message) from None
    if not quiet:
        typer.echo(
            f"Written: {file}\nFill it in, then: sitekit check {file}, "
            f"sitekit survey {file}\n"
            f"No elevation? With a field in it: sitekit fetch {file}"
        )
