"""A comparison written to one folder: page, GeoPackage, layers before and after."""

import re
from collections.abc import Sequence
from datetime import date
from pathlib import Path

from geopandas import GeoDataFrame

from sitekit.io.geopackage import write_geopackage
from sitekit.io.rasters import write_cog
from sitekit.report.comparison import write_comparison
from sitekit.results import Change, Comparison
from sitekit.siting.shapes import polygons_of
from sitekit.writing import describe_inputs, whole_folder, write_run

#: Characters that some file system refuses in a name.
REFUSED = re.compile(r'[<>:"/\\|?*\x00-\x1f]')


def folder_names(names: Sequence[str]) -> list[str]:
    """Make a folder name of each name as written.

    Parameters
    ----------
    names : sequence of str
        Names of proposals.

    Returns
    -------
    folders : list of str
        What file systems refuse becomes ``_``; a double gets ``-2``.

    Examples
    --------
    >>> folder_names(["gap A", "gap A", "a/b", ".."])
    ['gap A', 'gap A-2', 'a_b', '__']
    """
    folders: list[str] = []
    for name in names:
        plain = REFUSED.sub("_", name).strip() or "_"
        plain = plain if plain.strip(".") else "_" * len(plain)
        free, count = plain, 1
        while free.lower() in {f.lower() for f in folders}:
            count += 1
            free = f"{plain}-{count}"
        folders.append(free)
    return folders


def write_comparison_folder(
    comparison: Comparison, folder: Path, *, today: date | None = None
) -> Path:
    """Write a comparison, all of it or nothing.

    Parameters
    ----------
    comparison : Comparison
        What the proposals do.
    folder : Path
        Folder that is missing, empty, or was made by sitekit.
    today : date, optional
        Date on the page; today where not given.

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
    changes = comparison.changes
    with whole_folder(folder) as temporary:
        for change, name in zip(
            changes, folder_names([c.name for c in changes]), strict=True
        ):
            _write_layers(comparison, change, temporary / name)
        write_geopackage(
            temporary / "compare.gpkg",
            {"changes": _table(comparison), "pools": _pools(comparison)},
        )
        write_comparison(comparison, temporary / "compare.html", today=day)
        site = comparison.site
        what = {
            "date": day.isoformat(),
            "site": site.name,
            **describe_inputs(site),
            "seconds": dict(comparison.seconds),
            "changes": [summarise(c) for c in changes],
        }
        write_run(temporary, what)
    return folder


def summarise(change: Change) -> dict[str, object]:
    """Tell a change as one JSON object.

    Parameters
    ----------
    change : Change
        The change.

    Returns
    -------
    told : dict
        Name, action, verdict, areas, mean change, receiver, sentence.
    """
    return {
        "name": change.name,
        "action": change.action,
        "verdict": change.verdict,
        "ground_milder_m2": change.ground_milder_m2,
        "ground_colder_m2": change.ground_colder_m2,
        "mean_change_degc": change.mean_change_degc,
        "receiver": change.receiver,
        "sentence": change.sentence,
    }


def _write_layers(comparison: Comparison, change: Change, folder: Path) -> None:
    """Write the layers of one change on the whole grid."""
    folder.mkdir()
    for name, layer in change.layers.items():
        write_cog(
            folder / f"{name}.tif",
            layer.to_numpy(),
            comparison.site.grid,
            units=str(layer.attrs["units"]),
            description=str(layer.attrs["long_name"]),
            nodata=float("nan"),
            tags={"reference": str(layer.attrs["reference"])},
        )


def _table(comparison: Comparison) -> GeoDataFrame:
    """Make the layer of changes."""
    told = [
        {**summarise(c), "mean_change_sd": c.mean_change_sd} for c in comparison.changes
    ]
    shapes = [c.place for c in comparison.changes]
    # One layer holds one kind of shape: a change is drawn by its outline.
    areas = [s.buffer(comparison.site.grid.cell_size / 2) for s in shapes]
    return GeoDataFrame(told, geometry=areas, crs=comparison.site.grid.crs)


def _pools(comparison: Comparison) -> GeoDataFrame:
    """Make the layer of the pools that were asked about."""
    grid = comparison.site.grid
    rows = []
    for change in comparison.changes:
        found = polygons_of(change.pool.astype("int32"), grid)
        if found:
            rows.append({"name": change.name, "geometry": found[1]})
    names = [row["name"] for row in rows]
    return GeoDataFrame(
        {"name": names}, geometry=[r["geometry"] for r in rows], crs=grid.crs
    )
