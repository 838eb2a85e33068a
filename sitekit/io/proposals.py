"""Reading proposals: changes that the grower thinks of."""

from pathlib import Path

from geopandas import GeoDataFrame
from pyproj import CRS

from sitekit.errors import InputError, nearest
from sitekit.io.schemas import BARRIER_KINDS, HEIGHT, NAME, OPENNESS, Column, Schema
from sitekit.io.vectors import VectorSource, read_vector, reproject

#: What a change may be, and the column that says how much.
ACTIONS = {
    "gap": "width_m",
    "lift": "height_m",
    "remove": "",
    "add": "height_m",
    "cut": "elevation_m",
    "bank": "height_m",
}
SCHEMA = Schema(
    "changes to try",
    "",
    ("polygon", "line", "point"),
    {
        "name": NAME,
        "action": Column("word", "what is done", choices=tuple(ACTIONS)),
        "width_m": Column("number", "width [m]", low=0.1, high=1000.0),
        "height_m": HEIGHT,
        "elevation_m": Column("number", "height above the sea [m]"),
        "kind": Column("word", "kind of barrier", choices=BARRIER_KINDS),
        "openness": OPENNESS,
    },
)


def read_proposals(file: Path, crs: CRS) -> GeoDataFrame:
    """Read proposals onto the coordinate system of a site.

    Parameters
    ----------
    file : Path
        Any vector file; each feature is one change.
    crs : pyproj.CRS
        Coordinate system of the site.

    Returns
    -------
    proposals : GeoDataFrame
        One row a change, with the columns of `SCHEMA`.

    Raises
    ------
    InputError
        One sentence for each change that cannot be tried.
    """
    frame = read_vector(VectorSource(file), "proposals", SCHEMA)
    if frame.empty:
        message = f"{file.name}: it holds no change. Draw one feature for each."
        raise InputError(message)
    frame = reproject(frame, crs, file.name)
    mistakes = [
        mistake
        for number, row in enumerate(frame.to_dict("records"), start=1)
        if (mistake := _mistake(row, f"{file.name}, feature {number}"))
    ]
    if mistakes:
        raise InputError(*mistakes)
    # One without a name goes by what it does.
    return frame.assign(name=frame["name"].where(frame["name"] != "", frame["action"]))


def _mistake(row: dict[str, object], where: str) -> str:
    """Say what is wrong with one proposal; empty where nothing is."""
    action = str(row["action"])
    if action not in ACTIONS:
        known = ", ".join(ACTIONS)
        return (
            f'{where}: no action is called "{action}".{nearest(action, ACTIONS)} '
            f"Known: {known}."
        )
    needed = ACTIONS[action]
    # A missing number is NaN, which equals nothing, not even itself.
    if needed and row[needed] != row[needed]:
        return f"{where}: {action} needs {needed}. Give it in the file."
    return ""
