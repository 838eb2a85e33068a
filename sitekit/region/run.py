"""Many fields on an existing engine: neighbours in batches, one task a batch.

The engine is dask.distributed: processes of this machine unless the address of a
scheduler is given. A worker that dies loses its batch only, which is done again
elsewhere; what came back is kept on disk until the region is whole.
"""

import json
import logging
import shutil
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from dataclasses import field as value
from pathlib import Path
from typing import Any

from geopandas import GeoDataFrame, GeoSeries

from sitekit.errors import ConfigError, InputError, OutputError
from sitekit.pipeline import check_names, check_settings
from sitekit.region.field import FieldTask, failed, survey_batch

#: Fields of one task: few enough that a dead worker loses little.
BATCH = 16
#: Ground read about each field where nothing else is asked for. [m]
MARGIN = 1000.0
#: How long a scheduler may take to answer. [s]
PATIENCE = 10


@dataclass(frozen=True)
class RegionRequest:
    """What is asked of a region.

    Parameters
    ----------
    fields : GeoDataFrame
        ``field`` and outline, as `sitekit.io.fields.read_fields` gives them.
    elevation : tuple of Path
        Elevation files; every worker must reach them by these names.
    fruit : tuple of str
        Fruit asked for; all where none is named.
    margin : float
        Ground read about each field. [m]
    scheduler : str
        Address of a scheduler; empty for processes of this machine.
    workers : int or None
        Processes of this machine; one a core where not given.
    settings : mapping
        Settings that were changed, the same for every field.
    source : Path or None
        File that the fields were read from.
    """

    fields: GeoDataFrame
    elevation: tuple[Path, ...]
    fruit: tuple[str, ...] = ()
    margin: float = MARGIN
    scheduler: str = ""
    workers: int | None = None
    settings: Mapping[str, Any] = value(default_factory=dict)
    source: Path | None = None


@dataclass(frozen=True)
class Region:
    """A region that was surveyed.

    Parameters
    ----------
    request : RegionRequest
        What was asked.
    rows : list of dict
        One row a field, in the order of the fields.
    """

    request: RegionRequest
    rows: list[dict[str, Any]]


def survey_region(
    request: RegionRequest,
    kept: Path,
    *,
    on_done: Callable[[int, int], None] = lambda _done, _total: None,
    on_start: Callable[[str], None] = lambda _address: None,
) -> Region:
    """Survey every field of a region.

    Parameters
    ----------
    request : RegionRequest
        Fields and elevation.
    kept : Path
        Folder in which finished fields are kept until the region is whole; what an
        earlier run left there is not done again.
    on_done : callable
        Called with the fields that are done and all fields.
    on_start : callable
        Called with the address of the engine's dashboard.

    Returns
    -------
    region : Region
        One row a field.

    Raises
    ------
    ConfigError
        For a fruit that is not known, or a scheduler that does not answer.
    InputError
        For an elevation that is missing.
    OutputError
        Where finished fields cannot be kept.
    """
    _check(request)
    tasks = _tasks(request)
    with _told(kept):
        kept.mkdir(parents=True, exist_ok=True)
    rows = {task.key: row for task in tasks if (row := _recall(kept, task)) is not None}
    wanted = [task for task in tasks if task.key not in rows]
    on_done(len(rows), len(tasks))
    if wanted:
        with _engine(request) as client:
            on_start(str(client.dashboard_link))
            for batch, found in _run(client, _batches(wanted)):
                for task, row in zip(batch, found, strict=True):
                    _keep(kept, task, row)
                    rows[task.key] = row
                on_done(len(rows), len(tasks))
    return Region(request, [{**rows[t.key], "field": t.name} for t in tasks])


def forget(kept: Path) -> None:
    """Remove what was kept of finished fields, once the region is written."""
    shutil.rmtree(kept, ignore_errors=True)


def _check(request: RegionRequest) -> None:
    mistakes = check_settings(request.settings)
    mistakes += check_names(request.fruit, None, ())
    if mistakes:
        raise ConfigError(*mistakes)
    for file in request.elevation:
        if not file.is_file():
            message = f"{file}: there is no such file. Name an elevation that is there."
            raise InputError(message)


def _tasks(request: RegionRequest) -> list[FieldTask]:
    """Make one task a field, in the order of the fields."""
    fields = request.fields
    crs = fields.crs.to_wkt()
    files = tuple(str(file.resolve()) for file in request.elevation)
    return [
        FieldTask(
            name=name,
            shape=b"" if shape is None or shape.is_empty else shape.wkb,
            crs=crs,
            elevation=files,
            fruit=request.fruit,
            margin=request.margin,
            settings=tuple(sorted(request.settings.items())),
        )
        for name, shape in zip(fields["field"], fields.geometry, strict=True)
    ]


def _batches(tasks: Sequence[FieldTask]) -> list[list[FieldTask]]:
    """Put neighbours into one batch, so that a worker reads the same ground."""
    shaped = [task for task in tasks if task.shape]
    bare = [task for task in tasks if not task.shape]
    if shaped:
        series = GeoSeries.from_wkb([task.shape for task in shaped])
        order = series.hilbert_distance().argsort(kind="stable")
        shaped = [shaped[i] for i in order]
    ordered = [*shaped, *bare]
    return [ordered[i : i + BATCH] for i in range(0, len(ordered), BATCH)]


@contextmanager
def _engine(request: RegionRequest) -> Iterator[Any]:
    """Start the engine, or find the one that was named."""
    try:
        from distributed import Client, LocalCluster  # noqa: PLC0415 - an extra
    except ImportError:
        message = (
            "sitekit region needs the package distributed. "
            'Install it with pip install "sitekit[region]".'
        )
        raise ConfigError(message) from None
    # What the engine says of workers that come and go is told by the rows.
    logging.getLogger("distributed").setLevel(logging.CRITICAL)
    if request.scheduler:
        try:
            client = Client(request.scheduler, timeout=PATIENCE)
        except (OSError, ValueError, TimeoutError) as problem:
            message = (
                f"--scheduler: nothing answers at {request.scheduler}. Start a "
                "scheduler there, or leave the option out."
            )
            raise ConfigError(message) from problem
        with client:
            yield client
        return
    with (
        LocalCluster(
            n_workers=request.workers,
            threads_per_worker=1,
            processes=True,
            dashboard_address=":0",
            silence_logs=logging.CRITICAL,
            env={"NUMBA_NUM_THREADS": "1"},
        ) as cluster,
        Client(cluster) as client,
    ):
        yield client


def _run(
    client: Any,  # noqa: ANN401 - a client of distributed, an extra
    batches: Sequence[Sequence[FieldTask]],
) -> Iterator[tuple[Sequence[FieldTask], list[dict[str, Any]]]]:
    """Run the batches; one that kills its workers is tried field by field."""
    from distributed import as_completed  # noqa: PLC0415 - an extra

    def submit(batch: Sequence[FieldTask]) -> Any:  # noqa: ANN401
        return client.submit(survey_batch, batch, pure=False)

    waiting = {submit(batch): batch for batch in batches}
    queue = as_completed(list(waiting))
    for future in queue:
        batch = waiting.pop(future)
        problem = future.exception()
        if problem is None:
            yield batch, future.result()
        elif len(batch) == 1:
            yield batch, [failed(batch[0].name, _why(problem))]
        else:
            for task in batch:
                single = submit([task])
                waiting[single] = [task]
                queue.add(single)


def _why(problem: BaseException) -> str:
    """Say why a field has no row of its own."""
    if type(problem).__name__ == "KilledWorker":
        return "the process that surveyed it died each time; has it memory enough?"
    return f"a fault in sitekit: {type(problem).__name__}: {problem}"


def _recall(kept: Path, task: FieldTask) -> dict[str, Any] | None:
    """Read what an earlier run found of a field; None where it did not finish."""
    try:
        row = json.loads((kept / f"{task.key}.json").read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return None
    return row if isinstance(row, dict) else None


def _keep(kept: Path, task: FieldTask, row: dict[str, Any]) -> None:
    """Keep the row of a finished field; whole, or not at all."""
    temporary = kept / f"{task.key}.part"
    with _told(kept):
        temporary.write_text(json.dumps(row), encoding="utf-8")
        temporary.replace(kept / f"{task.key}.json")


@contextmanager
def _told(kept: Path) -> Iterator[None]:
    """Turn a disk that is full or closed into one sentence."""
    try:
        yield
    except OSError as problem:
        message = (
            f"{kept} cannot be written: {problem.strerror}. Fields that were finished "
            "are kept there; make room and run again."
        )
        raise OutputError(message) from None
