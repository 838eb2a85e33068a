"""The command itself: what all commands share."""

import os
import sys
import tempfile
from pathlib import Path
from typing import Annotated

import typer

from sitekit.cli import (
    check,
    compare,
    demo,
    fetch,
    loggers,
    new,
    region,
    revise,
    survey,
)
from sitekit.cli.cache import cache_folder
from sitekit.errors import SitekitError

app = typer.Typer(
    name="sitekit",
    help="Where to extend an orchard: frost pockets, cold-air paths, sun and lake.",
    no_args_is_help=True,
    add_completion=False,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
)
for command in (demo, new, check, survey, compare, loggers, revise, fetch, region):
    app.command(
        command.__name__.rpartition(".")[2],
        help=command.HELP,
        epilog=f"Example: {command.EXAMPLE}",
    )(command.run)


def _print_version(asked: bool) -> None:
    if asked:
        from importlib.metadata import version  # noqa: PLC0415 - only when asked

        typer.echo(f"sitekit {version('sitekit')}")
        raise typer.Exit


@app.callback()
def _options(
    version: Annotated[
        bool, typer.Option("--version", callback=_print_version, is_eager=True)
    ] = False,
) -> None:
    """Where to extend an orchard: frost pockets, cold-air paths, sun and lake."""
    del version


def main() -> None:
    """Run the command; a mistake of the user ends with status 2 and its sentences."""
    _keep_compiled_code()
    try:
        app()
    except SitekitError as error:
        bold = sys.stderr.isatty() and "NO_COLOR" not in os.environ
        for mistake in error.mistakes:
            typer.echo(_mistake(mistake, bold=bold), err=True)
        typer.echo("Nothing was written; what was there is as it was.", err=True)
        raise SystemExit(2) from None
    except BrokenPipeError:
        # The reader of a pipe went away; there is nobody left to tell.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        raise SystemExit(0) from None


def _mistake(text: str, *, bold: bool) -> str:
    """Set the file or key of a mistake in bold on a terminal."""
    head, colon, rest = text.partition(": ")
    return f"\033[1m{head}:\033[0m {rest}" if bold and colon else text


def _keep_compiled_code() -> None:
    """Choose a folder for compiled code that can be written, wherever sitekit lies."""
    if "NUMBA_CACHE_DIR" in os.environ:
        return
    for folder in (
        cache_folder("sitekit"),
        Path(tempfile.gettempdir()) / f"sitekit-{os.getpid()}",
    ):
        try:
            folder.mkdir(parents=True, exist_ok=True)
        except OSError:
            continue
        if os.access(folder, os.W_OK):
            os.environ["NUMBA_CACHE_DIR"] = str(folder)
            return
