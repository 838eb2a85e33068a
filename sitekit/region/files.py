"""A region written to a folder: one table of fields, in two forms."""

from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
from geopandas import GeoDataFrame

from sitekit.io.geopackage import write_geopackage
from sitekit.io.hashes import hash_files
from sitekit.region.field import DONE
from sitekit.region.run import Region
from sitekit.words import SITE_CLASSES
from sitekit.writing import whole_folder, write_run


def tabulate(region: Region) -> GeoDataFrame:
    """Make the table of a region, ranked.

    Parameters
    ----------
    region : Region
        The region.

    Returns
    -------
    table : GeoDataFrame
        One row a field in the order of the fields, with its outline: ``field``,
        ``status``, ``rank`` (missing where it failed), ``reason`` and the figures
        of `sitekit.region.field.sum_up`.
    """
    fields = region.request.fields
    table = pd.DataFrame(region.rows)
    table.insert(2, "rank", _ranks(table))
    return GeoDataFrame(table, geometry=fields.geometry.array, crs=fields.crs)


def _ranks(table: pd.DataFrame) -> pd.Series:
    """Rank by the best class, then by the ground that has it, then by the nights."""
    classes = [c for c in table if str(c).startswith("best_class_")]
    shares = [c for c in table if str(c).startswith("good_share_")]
    order = {name: code for code, name in enumerate(SITE_CLASSES)}
    best = np.full(len(table), -1.0)
    for column in classes:
        codes = table[column].map(order).to_numpy(dtype=float, na_value=-1.0)
        best = np.maximum(best, codes)
    keys = pd.DataFrame(
        {
            "best": best,
            "share": table[shares].max(axis=1) if shares else 0.0,
            "night": table.get("mean_offset_degc", pd.Series(np.nan, table.index)),
        }
    )
    done = keys[table["status"] == DONE].sort_values(
        ["best", "share", "night"], ascending=False, kind="stable", na_position="last"
    )
    ranks = pd.Series(pd.NA, index=table.index, dtype="Int32")
    ranks[done.index] = np.arange(1, len(done) + 1)
    return ranks


def write_region(region: Region, folder: Path) -> GeoDataFrame:
    """Write ``fields.gpkg``, ``fields.parquet`` and ``run.json``.

    Parameters
    ----------
    region : Region
        The region.
    folder : Path
        Folder that is missing, empty, or was made by sitekit.

    Returns
    -------
    table : GeoDataFrame
        What was written.

    Raises
    ------
    OutputError
        Where the folder may not be written.
    """
    table = tabulate(region)
    with whole_folder(folder) as temporary:
        write_geopackage(temporary / "fields.gpkg", {"fields": _shaped(table)})
        table.to_parquet(temporary / "fields.parquet", index=False)
        write_run(temporary, _describe(region, table))
    return table


def _shaped(table: GeoDataFrame) -> GeoDataFrame:
    """Make numbers that may be missing plain, as a GeoPackage holds them."""
    return table.astype({"rank": "float64"})


def _describe(region: Region, table: GeoDataFrame) -> dict[str, Any]:
    request = region.request
    lost = table[table["status"] != DONE]
    files = [request.source] if request.source else []
    return {
        "inputs": hash_files([*files, *request.elevation]),
        "settings": dict(request.settings),
        "warnings": [
            {"kind": "failed", "about": row["field"], "text": row["reason"]}
            for row in lost.to_dict("records")
        ],
        "fields": len(table),
        "failed": len(lost),
        "elevation": [file.name for file in request.elevation],
        "fruit": list(request.fruit),
        "margin_m": request.margin,
    }
