"""Points and shapes in the formats that other programs and receivers read."""

import json
from pathlib import Path
from xml.etree import ElementTree as ET

import numpy as np
import pandas as pd
import shapely
from geopandas import GeoDataFrame
from numpy.typing import NDArray
from pyproj import CRS, Transformer

from sitekit.errors import OutputError

GPX = "http://www.topografix.com/GPX/1/1"
KML = "http://www.opengis.net/kml/2.2"
#: Decimals of a degree: 7 are 11 mm of latitude.
DECIMALS = 7
#: Said in every file that a phone may open.
NOT_BY_PHONE = (
    "To find the place only: a phone is metres off. Set out by tape or by a receiver "
    "of survey grade."
)


def write_setting_out_csv(path: Path, setting_out: pd.DataFrame) -> None:
    """Write the setting-out list as comma-separated values.

    Parameters
    ----------
    path : Path
        The file.
    setting_out : DataFrame
        The list; lengths with two decimals, levels with one, nothing where unknown.

    Raises
    ------
    OutputError
        The place cannot be written.

    References
    ----------
    RFC 4180, Common Format and MIME Type for CSV Files.
    """
    table = setting_out.copy()
    for name in table.columns:
        if name.endswith("_m"):
            digits = 1 if name == "level_m" else 2
            table[name] = [
                "" if pd.isna(value) else f"{value:.{digits}f}" for value in table[name]
            ]
    _write(path, table.to_csv(index=False, lineterminator="\r\n"))


def write_gpx(path: Path, setting_out: pd.DataFrame, crs: CRS, title: str) -> None:
    """Write one waypoint for each row of a setting-out list.

    Parameters
    ----------
    path : Path
        The file.
    setting_out : DataFrame
        ``id``, ``what``, ``easting_m``, ``northing_m``, ``level_m``.
    crs : pyproj.CRS
        Coordinate system of the list.
    title : str
        Name of the file for people.

    Raises
    ------
    OutputError
        The place cannot be written.

    References
    ----------
    GPX 1.1 Schema Documentation, TopoGrafix 2004.
    """
    root = ET.Element("gpx", {"version": "1.1", "creator": "sitekit"})
    root.set("xmlns", GPX)
    about = ET.SubElement(root, "metadata")
    _text(about, "name", title)
    _text(about, "desc", NOT_BY_PHONE)
    places = _to_degrees(_places(setting_out), crs)
    for (longitude, latitude), name, what, level in zip(
        places,
        setting_out["id"],
        setting_out["what"],
        setting_out["level_m"],
        strict=True,
    ):
        # The standard ends before 180, which is the same line as -180.
        east = -180.0 if longitude >= 180.0 else longitude
        degrees = {"lat": _degrees(latitude), "lon": _degrees(east)}
        point = ET.SubElement(root, "wpt", degrees)
        if np.isfinite(level):
            _text(point, "ele", f"{level:.1f}")
        _text(point, "name", str(name))
        _text(point, "desc", str(what))
    _write_xml(path, root)


def write_kml(path: Path, setting_out: pd.DataFrame, crs: CRS, title: str) -> None:
    """Write one placemark for each row of a setting-out list.

    Parameters
    ----------
    path, setting_out, crs, title
        As for `write_gpx`.

    Raises
    ------
    OutputError
        The place cannot be written.

    References
    ----------
    OGC 07-147r2, KML 2.2.
    """
    root = ET.Element("kml", {"xmlns": KML})
    document = ET.SubElement(root, "Document")
    _text(document, "name", title)
    _text(document, "description", NOT_BY_PHONE)
    places = _to_degrees(_places(setting_out), crs)
    for (longitude, latitude), name, what in zip(
        places, setting_out["id"], setting_out["what"], strict=True
    ):
        mark = ET.SubElement(document, "Placemark")
        _text(mark, "name", str(name))
        _text(mark, "description", str(what))
        point = ET.SubElement(mark, "Point")
        _text(point, "coordinates", f"{_degrees(longitude)},{_degrees(latitude)}")
    _write_xml(path, root)


def points_of(setting_out: pd.DataFrame, crs: CRS) -> GeoDataFrame:
    """Turn a setting-out list into points with all its columns.

    Parameters
    ----------
    setting_out : DataFrame
        ``easting_m``, ``northing_m`` and more.
    crs : pyproj.CRS
        Its coordinate system.

    Returns
    -------
    points : GeoDataFrame
        One a row.
    """
    points = shapely.points(_places(setting_out))
    return GeoDataFrame(setting_out.copy(), geometry=points, crs=crs)


def write_geojson(path: Path, features: GeoDataFrame) -> None:
    """Write features on WGS 84, longitude first, outer rings anticlockwise.

    Parameters
    ----------
    path : Path
        The file.
    features : GeoDataFrame
        With a coordinate system; its columns become properties, unknown values
        null.

    Raises
    ------
    OutputError
        No coordinate system, or a place that cannot be written.

    References
    ----------
    RFC 7946, The GeoJSON Format, sections 3.1.6 and 4.
    """
    if features.crs is None:
        message = f"{path.name}: the features have no coordinate system."
        raise OutputError(message)
    crs = CRS.from_user_input(features.crs)
    columns = [name for name in features.columns if name != features.geometry.name]
    members = [
        {
            "type": "Feature",
            "geometry": None if shape is None else shapely.geometry.mapping(shape),
            "properties": {str(name): _plain(v) for name, v in values.items()},
        }
        for shape, values in zip(
            _shapes(features.geometry.to_numpy(), crs),
            features[columns].to_dict("records"),
            strict=True,
        )
    ]
    whole = {"type": "FeatureCollection", "features": members}
    text = json.dumps(whole, ensure_ascii=False, allow_nan=False, indent=1)
    _write(path, text + "\n")


def _places(setting_out: pd.DataFrame) -> NDArray[np.float64]:
    return setting_out[["easting_m", "northing_m"]].to_numpy(dtype=np.float64)


def _to_degrees(places: NDArray[np.float64], crs: CRS) -> NDArray[np.float64]:
    turn = Transformer.from_crs(crs, 4326, always_xy=True)
    return np.column_stack(turn.transform(places[:, 0], places[:, 1]))


def _degrees(value: float) -> str:
    return f"{value:.{DECIMALS}f}"


def _shapes(shapes: NDArray[np.object_], crs: CRS) -> NDArray[np.object_]:
    """Turn shapes to degrees, their outer rings anticlockwise as they are read."""

    def turned(places: NDArray[np.float64]) -> NDArray[np.float64]:
        return np.round(_to_degrees(places, crs), DECIMALS)

    there = np.array([None if s is None or s.is_empty else s for s in shapes], object)
    found: NDArray[np.object_] = shapely.orient_polygons(
        shapely.transform(there, turned)
    )
    return found


def _plain(value: object) -> bool | int | float | str | None:
    """Give a value that JSON knows."""
    if isinstance(value, np.generic):
        value = value.item()
    if value is None or value is pd.NaT or value is pd.NA:
        return None
    if isinstance(value, float):
        return value if np.isfinite(value) else None
    return value if isinstance(value, (bool, int, str)) else str(value)


def _text(parent: ET.Element, name: str, text: str) -> None:
    # XML knows no control characters but these.
    clean = "".join(
        c for c in text if c in "\t\n" or (c >= " " and c not in "\ufffe\uffff")
    )
    ET.SubElement(parent, name).text = clean


def _write_xml(path: Path, root: ET.Element) -> None:
    ET.indent(root)
    text = ET.tostring(root, encoding="unicode")
    _write(path, f'<?xml version="1.0" encoding="UTF-8"?>\n{text}\n')


def _write(path: Path, text: str) -> None:
    try:
        Path(path).write_text(text, encoding="utf-8", newline="")
    except OSError as error:
        message = f"{path.name} cannot be written: {error.strerror}."
        raise OutputError(message) from error
