"""One survey written to one folder: all of it, or nothing."""

import json
import shutil
import tempfile
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from datetime import date
from importlib.metadata import version
from pathlib import Path
from typing import Any

import numpy as np
from geopandas import GeoDataFrame, points_from_xy

from sitekit.errors import OutputError
from sitekit.handover import write_handover
from sitekit.io.geopackage import write_geopackage
from sitekit.io.rasters import write_cog
from sitekit.measuring.revision import Revision
from sitekit.report import write_report
from sitekit.results import Survey
from sitekit.site import Site
from sitekit.webmap import write_map

#: The list of what a folder holds; a folder with it was made by sitekit.
RUN_FILE = "run.json"
#: Columns of rows while there is no planting plan.
ROW_COLUMNS = {
    "block": "object",
    "row": "int64",
    "fruit": "object",
    "group": "object",
    "bearing_deg": "float64",
    "spacing_m": "float64",
    "row_spacing_m": "float64",
    "plants": "int64",
    "length_m": "float64",
}
#: Shapes of layers that may be empty.
SHAPES = {
    "contours": "LineString",
    "cold_air_paths": "LineString",
    "spots": "Point",
    "rows": "LineString",
    "setting_out": "Point",
    "loggers": "Point",
    "test_holes": "Point",
    "fence": "LineString",
    "existing_trees": "Point",
    "notes": "Point",
}
#: Attributes of a layer that go into its file beside unit and description.
TAGGED = ("class_", "reference", "relative_to")


def check_folder(folder: Path, *, holding: bool = False) -> None:
    """Check that a folder may be written: missing, empty, or made by sitekit.

    Folders in it that sitekit filled later (a plan of loggers, a revision, a
    comparison) are sitekit's own too, as long as they hold nothing else; they stay.

    Parameters
    ----------
    folder : Path
        The folder.
    holding : bool
        Whether a whole holding is to be written, inputs included. Nothing else may
        take the place of a holding, whose inputs would go.

    Raises
    ------
    OutputError
        Where it is a file, holds a file that sitekit did not write, or a holding.
    """
    if not folder.exists():
        return
    if not folder.is_dir():
        message = f"{folder} is a file. Name a folder to write to with --out."
        raise OutputError(message)
    ours = _listed_files(folder)
    for inner in _folders_in(folder):
        ours |= {f"{inner.name}/{name}" for name in _listed_files(inner)}
    for found in sorted(p for p in folder.rglob("*") if not p.is_dir()):
        if found.relative_to(folder).as_posix() not in ours:
            message = (
                f"{folder} holds {found.relative_to(folder)}, which sitekit did not "
                "write. "
                "Name another folder with --out, or move that file away."
            )
            raise OutputError(message)
    if not holding and any(folder.glob("*.toml")):
        message = (
            f"{folder} holds a site file and what it names, which would be lost. Name "
            f"a folder in it with --out, as {folder / 'survey'}."
        )
        raise OutputError(message)


def _listed_files(folder: Path) -> set[str]:
    """Read which files of a folder sitekit wrote."""
    run = folder / RUN_FILE
    try:
        files = json.loads(run.read_text(encoding="utf-8"))["files"]
        return {RUN_FILE, *map(str, files)}
    except (OSError, ValueError, KeyError, TypeError):
        return set()


def _folders_in(folder: Path) -> list[Path]:
    """Find the folders in one of ours that a command of sitekit filled."""
    runs = sorted(folder.glob(f"*/{RUN_FILE}")) if _listed_files(folder) else []
    return [run.parent for run in runs]


def _filled_later(folder: Path) -> list[Path]:
    """Find those that were not there when the folder itself was written."""
    ours = _listed_files(folder)
    return [f for f in _folders_in(folder) if f"{f.name}/{RUN_FILE}" not in ours]


@contextmanager
def whole_folder(folder: Path, *, holding: bool = False) -> Iterator[Path]:
    """Offer a temporary folder that takes the place of `folder` when all went well.

    Parameters
    ----------
    folder : Path
        Where the files shall appear.
    holding : bool
        Whether a whole holding is written, see `check_folder`.

    Yields
    ------
    temporary : Path
        Folder to write into; gone, and `folder` untouched, where an error is raised.

    Raises
    ------
    OutputError
        Where the folder may not be written, or the disk is full.
    """
    check_folder(folder, holding=holding)
    try:
        folder.parent.mkdir(parents=True, exist_ok=True)
        temporary = Path(tempfile.mkdtemp(prefix=f".{folder.name}-", dir=folder.parent))
    except OSError as problem:
        message = (
            f"{folder} cannot be written: {problem.strerror}. Name another with --out."
        )
        raise OutputError(message) from None
    try:
        yield temporary
        temporary.chmod(0o755)
        _take_place(temporary, folder)
    except OSError as problem:
        message = (
            f"{folder} cannot be written: {problem.strerror or problem}. Make room, or "
            "name another with --out."
        )
        raise OutputError(message) from problem
    finally:
        shutil.rmtree(temporary, ignore_errors=True)


def _take_place(temporary: Path, folder: Path) -> None:
    """Put the new folder where the old one was; the old one goes last.

    What was filled later in the old one moves over, unless it was made anew.
    """
    if not folder.exists():
        temporary.replace(folder)
        return
    old = Path(tempfile.mkdtemp(prefix=f".{folder.name}-old-", dir=folder.parent))
    kept = [inner.name for inner in _filled_later(folder)]
    folder.replace(old / folder.name)
    try:
        temporary.replace(folder)
        for name in kept:
            if not (folder / name).exists():
                (old / folder.name / name).replace(folder / name)
    except OSError:
        (old / folder.name).replace(folder)
        raise
    finally:
        shutil.rmtree(old, ignore_errors=True)


def write_survey(
    survey: Survey,
    folder: Path | str,
    *,
    today: date | None = None,
    revision: Revision | None = None,
    on_step: Callable[[str], None] = lambda _: None,
) -> Path:
    """Write a survey: map, report, GeoPackage, one file a layer, and what was run.

    Parameters
    ----------
    survey : Survey
        The survey.
    folder : Path or str
        Folder that is missing, empty, or was made by sitekit.
    today : date, optional
        Date on the sheets; today where not given.
    revision : Revision, optional
        What readings changed: a page of the report, a table, a layer of loggers.
    on_step : callable
        Called with the name of each file before it is written.

    Returns
    -------
    folder : Path
        The folder.

    Raises
    ------
    OutputError
        Where the folder may not be written.
    """
    day = today or date.today()
    folder = Path(folder)
    with whole_folder(folder) as temporary:
        (temporary / "layers").mkdir()
        for name in survey.layers:
            on_step(f"layers/{name}.tif")
            _write_layer(survey, str(name), temporary / "layers" / f"{name}.tif")
        on_step("site.gpkg")
        tables = vector_layers(survey)
        if revision is not None:
            tables["loggers"] = revision.loggers
            _write_revision(revision, temporary / "revision.csv")
        write_geopackage(temporary / "site.gpkg", tables, geometry_types=SHAPES)
        on_step("report.html")
        write_report(survey, temporary / "report.html", today=day, revision=revision)
        on_step("map.html")
        write_map(survey, temporary / "map.html", today=day)
        if survey.plan is not None:
            on_step("handover")
            write_handover(survey, temporary / "handover", today=day)
        write_run(temporary, _describe_run(survey, day) | _describe_revision(revision))
    return folder


def _write_layer(survey: Survey, name: str, path: Path) -> None:
    """Write one layer as a Cloud Optimized GeoTIFF."""
    layer = survey.layers[name]
    coded = layer.dtype == np.uint8
    write_cog(
        path,
        layer.to_numpy(),
        survey.site.grid,
        units=str(layer.attrs["units"]),
        description=str(layer.attrs["long_name"]),
        nodata=255 if coded else float("nan"),
        tags={k: str(v) for k, v in layer.attrs.items() if k.startswith(TAGGED)},
    )


def _write_revision(revision: Revision, path: Path) -> None:
    """Write the table of loggers, one row each."""
    table = revision.loggers.drop(columns="geometry")
    table.to_csv(path, index=False, lineterminator="\n")


def _describe_revision(revision: Revision | None) -> dict[str, object]:
    """Tell what readings did; nothing where there were none."""
    if revision is None:
        return {}
    return {"revision": revision.summary, "nights": revision.nights}


def vector_layers(survey: Survey) -> dict[str, Any]:
    """Gather the tables of the GeoPackage by layer name.

    Parameters
    ----------
    survey : Survey
        The survey.

    Returns
    -------
    layers : dict of str to GeoDataFrame or DataFrame
        Layers in the order in which they are written.
    """
    site = survey.site
    return {
        "field": site.field,
        "water": site.vectors["water"],
        "barriers": site.vectors["barriers"],
        "no_go": site.vectors["no_go"],
        "contours": survey.contours,
        "frost_pockets": survey.frost_pockets,
        "cold_air_paths": survey.cold_air_paths,
        "spots": survey.spots,
        "blocks": survey.blocks,
        **_plan_layers(survey),
        "existing_trees": survey.existing_trees,
        "notes": survey.notes,
        "fruit_by_block": survey.fruit_by_block,
    }


def _plan_layers(survey: Survey) -> dict[str, GeoDataFrame]:
    """Gather the layers of a planting plan; only rows where there is none."""
    plan = survey.plan
    if plan is None:
        return {"rows": no_rows(survey.site.grid.crs)}
    points = plan.setting_out
    places = points_from_xy(points["easting_m"], points["northing_m"])
    # Corners and gates stand in the setting-out list: a layer has one kind of shape.
    lines = plan.fence[plan.fence["kind"] == "fence line"]
    return {
        "rows": plan.rows,
        "setting_out": GeoDataFrame(points, geometry=places, crs=plan.rows.crs),
        "test_holes": plan.test_holes,
        "fence": lines.reset_index(drop=True),
    }


def no_rows(crs: object) -> GeoDataFrame:
    """Make the layer of rows where there is no planting plan."""
    return GeoDataFrame(
        {name: np.array([], dtype=kind) for name, kind in ROW_COLUMNS.items()},
        geometry=[],
        crs=crs,
    )


def write_run(folder: Path, what: Mapping[str, object]) -> None:
    """Write what was run, with the list of every file in a folder.

    Parameters
    ----------
    folder : Path
        The folder, complete but for this file.
    what : mapping
        What else to say.
    """
    files = sorted(
        p.relative_to(folder).as_posix() for p in folder.rglob("*") if p.is_file()
    )
    run = {"sitekit": version("sitekit"), **what, "files": files}
    text = json.dumps(run, indent=2, ensure_ascii=False)
    (folder / RUN_FILE).write_text(f"{text}\n", encoding="utf-8")


def describe_inputs(site: Site) -> dict[str, object]:
    """Tell what a run read: inputs with their sha256, settings, warnings.

    Parameters
    ----------
    site : Site
        What was read.

    Returns
    -------
    told : dict
        For `write_run`.
    """
    return {
        "inputs": dict(site.inputs),
        "settings": dict(site.settings),
        "warnings": [
            {"kind": r.kind, "about": r.about, "text": r.text}
            for r in site.remarks
            if r.kind != "read"
        ],
    }


def _describe_run(survey: Survey, day: date) -> dict[str, object]:
    """Gather inputs, settings, warnings and times of a survey."""
    site = survey.site
    return {
        "date": day.isoformat(),
        "site": site.name,
        "crs": site.grid.crs.to_string(),
        "cell_m": site.grid.cell_size,
        "rows": site.grid.shape[0],
        "columns": site.grid.shape[1],
        "reference": site.reference_name,
        "fruit": sorted(set(survey.blocks["fruit"])),
        **describe_inputs(site),
        "absent_layers": dict(survey.absent),
        "seconds": dict(survey.seconds),
    }
