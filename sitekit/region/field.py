"""One field of a region: what a worker is given, and the row that it gives back."""

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass
from importlib.metadata import version
from pathlib import Path
from typing import Any

import numpy as np
import shapely
from geopandas import GeoDataFrame
from pyproj import CRS

from sitekit.errors import SitekitError
from sitekit.io.inputs import SiteRequest, read_request
from sitekit.pipeline import survey
from sitekit.results import Survey
from sitekit.words import CONDITIONS, SITE_CLASSES

DONE, FAILED = "done", "failed"
#: The only layer that a row reads beyond those that every survey makes.
LAYERS = ("frost_night_offset",)

#: A row tells no doubt of the inputs: it is not carried, unless that is asked for.
NO_DOUBT = {"doubt_draws": 0}


@dataclass(frozen=True)
class FieldTask:
    """One field to be surveyed; plain values that travel between processes.

    Parameters
    ----------
    name : str
        Name of the field.
    shape : bytes
        Its outline as well-known binary; empty where it has none.
    crs : str
        Coordinate system of the outline, as well-known text.
    elevation : tuple of str
        Elevation files.
    fruit : tuple of str
        Fruit asked for; all where none is named.
    margin : float
        Ground read about the field. [m]
    settings : tuple of (str, object)
        Settings that were changed.
    """

    name: str
    shape: bytes
    crs: str
    elevation: tuple[str, ...]
    fruit: tuple[str, ...]
    margin: float
    settings: tuple[tuple[str, Any], ...] = ()

    @property
    def key(self) -> str:
        """Tell this task from any other, also from one on a changed elevation."""
        digest = hashlib.sha256(self.shape)
        for file in self.elevation:
            told = Path(file).stat()
            digest.update(f"{file} {told.st_size} {told.st_mtime_ns}\n".encode())
        about = (self.name, self.crs, self.fruit, self.margin, self.settings)
        digest.update(f"{about!r} {version('sitekit')}".encode())
        return digest.hexdigest()[:24]


def survey_batch(tasks: Sequence[FieldTask]) -> list[dict[str, Any]]:
    """Survey neighbouring fields, one after the other.

    Parameters
    ----------
    tasks : sequence of FieldTask
        The fields.

    Returns
    -------
    rows : list of dict
        One row a field, in their order; a field that cannot be surveyed gives a
        row with its reason.
    """
    return [survey_field(task) for task in tasks]


def survey_field(task: FieldTask) -> dict[str, Any]:
    """Survey one field and sum it up.

    Parameters
    ----------
    task : FieldTask
        The field.

    Returns
    -------
    row : dict
        ``field``, ``status``, ``reason`` and the figures of `sum_up`.
    """
    if not task.shape:
        return failed(task.name, "it has no shape. Draw its outline.")
    outline = GeoDataFrame(geometry=[shapely.from_wkb(task.shape)], crs=CRS(task.crs))
    request = SiteRequest(
        elevation=[Path(file) for file in task.elevation],
        outline=outline,
        name=task.name,
        margin=task.margin,
        fruit=task.fruit,
        layers=LAYERS,
        settings={**NO_DOUBT, **dict(task.settings)},
    )
    try:
        return {
            "field": task.name,
            "status": DONE,
            **sum_up(survey(read_request(request))),
        }
    except SitekitError as error:
        return failed(task.name, " ".join(error.mistakes))
    except MemoryError:
        return failed(task.name, "there is not memory enough for its window.")


def failed(name: str, reason: str) -> dict[str, Any]:
    """Make the row of a field that could not be surveyed."""
    return {"field": name, "status": FAILED, "reason": reason}


def sum_up(found: Survey) -> dict[str, Any]:
    """Sum up a survey in one row.

    Parameters
    ----------
    found : Survey
        The survey of one field.

    Returns
    -------
    row : dict
        ``reason`` of the best block; ``area_m2``; ``mean_offset_degc``,
        ``lowest_offset_degc`` over the field; for each fruit ``best_class_FRUIT``
        of its blocks and ``good_share_FRUIT``, the share of their ground that is
        *with conditions* or better.
    """
    site = found.site
    inside = site.field_mask & ~site.water_mask
    offset = found.layers["frost_night_offset"].to_numpy()[inside]
    known = offset[np.isfinite(offset)]
    code = found.blocks["site_class"].map(SITE_CLASSES.index)
    blocks = found.blocks.assign(code=code)
    best = blocks.sort_values(["code", "rank"], ascending=[False, True], kind="stable")
    row: dict[str, Any] = {
        "reason": str(best["reason"].iloc[0]) if len(best) else "",
        "area_m2": round(site.field_area, 1),
        "mean_offset_degc": _rounded(known.mean()) if known.size else None,
        "lowest_offset_degc": _rounded(known.min()) if known.size else None,
    }
    for fruit, own in blocks.groupby("fruit"):
        good = own.loc[own["code"] >= CONDITIONS, "area_m2"].sum()
        row[f"best_class_{fruit}"] = SITE_CLASSES[int(own["code"].max())]
        row[f"good_share_{fruit}"] = round(float(good / own["area_m2"].sum()), 4)
    return row


def _rounded(value: float) -> float:
    return round(float(value), 3)
