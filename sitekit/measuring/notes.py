"""Notes of the grower as weak readings: what each says, and what it weighs."""

from collections.abc import Mapping

import numpy as np
from geopandas import GeoDataFrame
from numpy.typing import NDArray
from scipy.sparse import csr_array
from scipy.sparse.csgraph import connected_components
from scipy.spatial.distance import cdist

from sitekit.grid import Grid
from sitekit.measuring.correction import Observed
from sitekit.measuring.revision import Terms
from sitekit.site import Site

Array = NDArray[np.float64]

#: What a note of cold, of standing water (cold air gathers where water does) and of
#: early bare ground says of a clear still night against the middle of the field, and
#: how weakly. Common practice, no source. [degC]
COLD_NOTE, WATER_NOTE, WARM_NOTE, NOTE_ERROR = -1.5, -0.5, 0.5, 1.5
#: Notes of one kind from one night, and notes this near to each other [m], share this
#: much of their error. Common practice, no source. [degC]
NOTE_REACH, NOTE_SHARED = 50.0, 1.3
NOTES: Mapping[str, float] = {
    "fog": COLD_NOTE,
    "frost": COLD_NOTE,
    "blossom killed": COLD_NOTE,
    "late snow": COLD_NOTE,
    "standing water": WATER_NOTE,
    "early bare": WARM_NOTE,
}


def tell_notes(site: Site, terms: Terms, offset: NDArray[np.float32]) -> GeoDataFrame:
    """Set what notes of cold, water or early bare ground say against the map.

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
    notes : GeoDataFrame
        ``date``, ``kind``, ``text``, ``says_degc``, ``before_degc`` and ``counts``,
        true where the map does not bear the note out; each at one point.
    """
    notes = site.vectors["notes"]
    kept = notes[notes["kind"].isin(list(NOTES))].reset_index(drop=True)
    kept = kept.set_geometry(kept.geometry.representative_point())
    points = _points(kept)
    middle = float(np.nanmedian(offset[site.field_mask]))
    said = kept["kind"].map(NOTES).to_numpy(float)
    here = site.grid.sample(offset, points[:, 0], points[:, 1])
    against = np.where(said < 0, here > middle + said, here < middle + said)
    kept["says_degc"] = middle + said
    kept["before_degc"] = here
    kept["counts"] = np.isfinite(terms.at(site.grid, points)).all(axis=1) & against
    columns = ["date", "kind", "text", "says_degc", "before_degc", "counts"]
    return kept[[*columns, "geometry"]]


def observe_notes(notes: GeoDataFrame, terms: Terms, grid: Grid) -> Observed:
    """Take the notes that count as weak readings.

    Parameters
    ----------
    notes : GeoDataFrame
        As `tell_notes` gives them.
    terms : Terms
        Terms on the grid.
    grid : Grid
        The grid.

    Returns
    -------
    observed : Observed
        One weak reading for each note that counts.
    """
    kept = notes[notes["counts"].astype(bool)]
    points = _points(kept)
    return Observed(
        terms.at(grid, points),
        points,
        kept["says_degc"].to_numpy(float),
        _noise_of_notes(kept, points),
        np.zeros(len(kept), bool),
    )


def _points(notes: GeoDataFrame) -> Array:
    return np.column_stack([notes.geometry.x, notes.geometry.y]).astype(float)


def _noise_of_notes(notes: GeoDataFrame, points: Array) -> Array:
    """Relate the errors of notes: those of one happening share most of theirs."""
    if not len(notes):
        return np.zeros((0, 0))
    kinds, dates = (notes[name].astype(str).to_numpy() for name in ("kind", "date"))
    one_night = (kinds[:, None] == kinds) & (dates[:, None] == dates) & (dates != "")
    alike = one_night | (cdist(points, points) <= NOTE_REACH)
    groups = connected_components(csr_array(alike), directed=False)[1]
    own = (NOTE_ERROR**2 - NOTE_SHARED**2) * np.eye(len(groups))
    return np.asarray(NOTE_SHARED**2 * (groups[:, None] == groups) + own)
