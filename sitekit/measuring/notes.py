"""Dated notes of the grower as weak readings."""

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray
from scipy.spatial.distance import cdist

from sitekit.measuring.correction import Observed
from sitekit.measuring.revision import Terms
from sitekit.site import Site

Array = NDArray[np.float64]

#: What a note of cold, and one of early bare ground, says of a clear still night
#: against the middle of the field, and how weakly. Common practice, no source. [degC]
COLD_NOTE, WARM_NOTE, NOTE_ERROR = -1.5, 0.5, 1.5
#: Notes that say the same so near to each other count as this many at most;
#: common practice, no source. [m], [1]
NEAR_NOTES, MOST_ALIKE = 50.0, 2.0
NOTES: Mapping[str, float] = {
    "fog": COLD_NOTE,
    "frost": COLD_NOTE,
    "blossom killed": COLD_NOTE,
    "late snow": COLD_NOTE,
    "early bare": WARM_NOTE,
}


def observe_notes(site: Site, terms: Terms, offset: NDArray[np.float32]) -> Observed:
    """Take notes against the map, of cold or early bare ground, as weak readings.

    A note of cold where the map is as cold already moves nothing: it tells that
    the ground is cold, not how cold it can become.

    Parameters
    ----------
    site : Site
        The site with its notes.
    terms : Terms
        Terms on its grid.
    offset : (row, column) ndarray
        Night offset of the map. [degC]

    Returns
    -------
    observed : Observed
        One weak reading for each note that the map does not bear out.
    """
    notes = site.vectors["notes"]
    kept = notes[notes["kind"].isin(list(NOTES))]
    middle = float(np.nanmedian(offset[site.field_mask]))
    places = kept.geometry.representative_point()
    points = np.column_stack([places.x, places.y]).astype(float)
    there = terms.at(site.grid, points)
    said = kept["kind"].map(NOTES).to_numpy(float)
    here = site.grid.sample(offset, points[:, 0], points[:, 1]) - middle
    against = np.where(said < 0, here > said, here < said)
    known = np.isfinite(there).all(axis=1) & against
    said = middle + said
    return Observed(
        there[known],
        points[known],
        said[known],
        weigh_notes(points[known], said[known]),
        np.zeros(int(known.sum()), bool),
    )


def weigh_notes(points: Array, said: Array) -> Array:
    """Give notes their errors: many of one kind at one place say one thing.

    However many tell the same within `NEAR_NOTES` of each other, together they count
    as two.

    Parameters
    ----------
    points : (note, 2) ndarray
        Easting and northing. [m]
    said : (note,) ndarray
        What each says of its place. [degC]

    Returns
    -------
    error : (note,) ndarray
        Standard error of each. [degC]

    Examples
    --------
    >>> one_place = np.zeros((8, 2))
    >>> float(weigh_notes(one_place, np.full(8, -1.5))[0])  # 1.5 * sqrt(8 / 2)
    3.0
    """
    alike = (cdist(points, points) <= NEAR_NOTES) & (said[:, None] == said)
    error: Array = NOTE_ERROR * np.sqrt(np.maximum(alike.sum(axis=1) / MOST_ALIKE, 1))
    return error
