"""What the map says of every spot, texts once."""

from collections.abc import Mapping
from typing import Any

import numpy as np
import shapely
from geopandas import GeoDataFrame
from scipy.spatial import KDTree

from sitekit import words
from sitekit.results import Survey
from sitekit.webmap.answer import (
    NIGHT,
    Crop,
    class_code,
    crop_words,
    name_factor,
    read_crop,
    sample,
    tell_confidence,
    tell_night,
    usual_groups,
)
from sitekit.webmap.shapes import place, read_text, rows

#: Spots in the page; where there are more, every so-manieth is drawn, and said.
MOST_SPOTS = 12_000


def draw_spots(survey: Survey) -> dict[str, Any]:
    """List the spots of every fruit, texts once.

    Parameters
    ----------
    survey : Survey
        What was found.

    Returns
    -------
    spots : dict
        ``texts``; ``every`` (1 where all are drawn); ``origin`` (latitude,
        longitude); ``fruit`` (fruit to ``radius`` in metres, ``names``, and
        ``rows``: millionths of a degree north and east of the origin, class code,
        then positions in ``texts``: limit, reason, slope, night, years, ripening
        and winter in its block, confidence).
    """
    every = -(-len(survey.spots) // MOST_SPOTS) or 1
    usual = usual_groups(survey)
    texts: dict[str, int] = {}
    west, south, _, _ = survey.site.grid.bounds
    origin = place(west, south, survey.site.grid)
    by_fruit = {}
    for fruit, frame in survey.spots.groupby("fruit", sort=False):
        drawn = frame.iloc[::every]
        doubts = sample(survey, NIGHT[1], drawn.geometry.x, drawn.geometry.y)
        by_fruit[str(fruit)] = {
            "radius": _radius(frame),
            "names": [str(name) for name in drawn["spot"]],
            "rows": [
                _spot(
                    {**row, "doubt": doubt},
                    usual.get((int(row["block"]), str(fruit)), {}),
                    (texts, origin),
                    survey,
                )
                for row, doubt in zip(rows(drawn), doubts, strict=True)
            ],
        }
    return {
        "texts": list(texts),
        "every": every,
        "origin": origin,
        "fruit": by_fruit,
    }


def _radius(frame: GeoDataFrame) -> float:
    """Find the radius of a spot: it is drawn a third of its spacing wide."""
    corners = shapely.get_coordinates(frame.geometry.to_numpy())
    if len(corners) < 2:
        return 1.0
    nearest = KDTree(corners).query(corners, k=2)[0][:, 1]
    return round(float(np.median(nearest)) / 6, 2)


def _spot(
    row: Mapping[str, Any],
    group: Mapping[str, Any],
    shared: tuple[dict[str, int], list[float]],
    survey: Survey,
) -> list[int]:
    texts, origin = shared
    slope = words.with_unit(float(row["slope_pct"]), "%")
    if np.isfinite(float(row["aspect_deg"])):
        slope = f"{slope}, to the {words.facing(float(row['aspect_deg']))}"
    night = float(row["frost_night_offset_degc"])
    years = float(row["poor_crop_years"])
    told = (
        name_factor(read_text(row, "limiting_factor")),
        words.sentence(read_text(row, "reason")),
        slope,
        tell_night(night, row["doubt"], survey) if np.isfinite(night) else "",
        _spot_years(years, read_crop(group)),
        read_text(group, "ripening"),
        read_text(group, "winter"),
        tell_confidence(row, survey),
    )
    here = place(row["geometry"].x, row["geometry"].y, survey.site.grid)
    steps = [round((at - start) * 1e6) for at, start in zip(here, origin, strict=True)]
    return [*steps, class_code(row), *(texts.setdefault(t, len(texts)) for t in told)]


def _spot_years(years: float, block: Crop | None) -> str:
    """Write the poor-crop years of a spot, and the range of its block."""
    if not np.isfinite(years):
        return ""
    told = f"{words.years_in_ten(years)} in ten"
    return told if block is None else f"{told} (its block {crop_words(*block)[1]})"
