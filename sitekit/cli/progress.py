"""Progress for people: on a terminal only, on the error stream."""

import os
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path


@contextmanager
def progress(*, quiet: bool) -> Iterator[Callable[[str], None]]:
    """Show the step that runs, on a terminal; say nothing in a pipe.

    Parameters
    ----------
    quiet : bool
        Say nothing on a terminal either.

    Yields
    ------
    on_step : callable
        To be called with the name of each step when it begins.
    """
    if quiet or not sys.stderr.isatty():
        yield lambda _: None
        return
    from rich.console import Console  # noqa: PLC0415 - slow to import, not always needed

    console = Console(stderr=True, highlight=False)
    if _first_run():
        console.print(
            "First run: compiling, once. This takes about a minute.", style="dim"
        )
    with console.status("reading") as status:
        yield lambda step: status.update(step.replace("_", " "))


@contextmanager
def counting(
    *, quiet: bool
) -> Iterator[tuple[Callable[[int, int], None], Callable[[str], None]]]:
    """Count what is done of many, with the time left; say nothing in a pipe.

    Parameters
    ----------
    quiet : bool
        Say nothing on a terminal either.

    Yields
    ------
    on_done, on_start : callable
        To be called with the number done and the number of all, and once with the
        address at which the work can be watched.
    """
    if quiet or not sys.stderr.isatty():
        yield lambda _done, _total: None, lambda _address: None
        return
    from rich.console import Console  # noqa: PLC0415 - slow to import, not always needed
    from rich.progress import (  # noqa: PLC0415
        BarColumn,
        MofNCompleteColumn,
        Progress,
        TimeRemainingColumn,
    )

    console = Console(stderr=True, highlight=False)
    columns = (BarColumn(), MofNCompleteColumn(), TimeRemainingColumn())
    with Progress(*columns, console=console, transient=True) as bar:
        task = bar.add_task("fields", total=None)
        yield (
            lambda done, total: bar.update(task, completed=done, total=total),
            lambda address: console.print(f"Watch it at {address}", style="dim"),
        )


def _first_run() -> bool:
    """Tell whether no compiled code is kept yet."""
    folder = Path(os.environ.get("NUMBA_CACHE_DIR", ""))
    return folder.is_dir() and not any(folder.iterdir())
