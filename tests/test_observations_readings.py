"""Readings of real loggers through the reader and the correction.

The files lie beside the checkout and are read where they are.
"""

import sys

import numpy as np
import pandas as pd
import pytest
import rasterio
from pyproj import CRS

from sitekit.grid import Grid
from sitekit.io.readings import read_readings
from sitekit.layers import make_layers
from sitekit.layers.faces import PIECE
from sitekit.layers.season import night_strength
from sitekit.measuring.checks import check_temperatures
from sitekit.measuring.correction import (
    TERMS,
    Observed,
    fit_correction,
    leave_one_out,
)
from sitekit.measuring.nights import choose_nights, find_minima, find_offsets

pytestmark = pytest.mark.observations

#: Night of the middle of the season at 35.9° N. [h]
NIGHT = 13.3
LONGITUDE, LATITUDE = -106.51, 35.86


def tell(text):
    sys.stderr.write(f"\n    measured: {text}\n")


def rmse(error):
    return float(np.sqrt(np.mean(np.asarray(error) ** 2)))


# Source of the loggers: A. Mahood, doi 10.5281/zenodo.14768076 (MIT licence).


@pytest.fixture(scope="module")
def basin(observations):
    return observations("basin-meadow")


@pytest.fixture(scope="module")
def readings(basin, tmp_path_factory):
    """The hourly readings as one file a logger, as an owner would have them."""
    made = tmp_path_factory.mktemp("basin")
    hourly = pd.read_csv(basin / "hourly.csv")
    loggers = pd.read_csv(basin / "loggers.csv")
    table = loggers.rename(
        columns={"easting_epsg26913": "easting", "northing_epsg26913": "northing"}
    )
    table[["logger", "easting", "northing"]].to_csv(made / "loggers.csv", index=False)
    for name in loggers["logger"]:
        kept = hourly[[hourly.columns[0], name]].dropna()
        kept.columns = ["time", "temp"]
        kept.to_csv(made / f"{name}.csv", index=False)
    return read_readings(made, CRS.from_epsg(26913), LONGITUDE, "UTC")


@pytest.fixture(scope="module")
def offsets(readings):
    checks = pd.DataFrame(readings.loggers.drop(columns="geometry"))
    kept, faults = check_temperatures(readings.temperatures, checks, LONGITUDE)
    tell("; ".join(f"{r.about} {r.text}" for r in faults) or "no faults")
    minima, ranges = find_minima(kept, LONGITUDE)
    # rs2 overlaps too little to be scored (README of the data): 18 loggers.
    return find_offsets(minima.drop(columns="rs2"), ranges, LATITUDE)


@pytest.fixture(scope="module")
def observed(basin, readings, offsets):
    """Terms of the model at the loggers, beside what they read on clear nights."""
    with rasterio.open(basin / "elevation.tif") as raster:
        z = raster.read(1).astype(np.float32)
        grid = Grid(
            CRS.from_wkt(raster.crs.to_wkt()),
            raster.transform.c,
            raster.transform.f,
            raster.transform.a,
            z.shape,
        )
    none, lakes = np.zeros(z.shape, bool), np.empty((0, *z.shape), np.float32)
    inputs = {
        "survey_elevation": z,
        "ground": z,
        "canopy_height": np.zeros_like(z),
        "water": none,
        "cover": np.zeros(z.shape, np.uint8),
        "height_doubt": np.zeros_like(z),
        "cover_known": none,
        "barrier_pieces": np.empty((0, len(PIECE))),
        "field": ~none,
        "reference_cell": np.empty(0, np.intp),
        "lake_table": np.empty((0, 5)),
        "lake_distance": lakes,
        "lake_fetch": lakes,
        "sky_view_factor": np.ones_like(z),
    }
    names = list(TERMS)[:-1]
    made, _ = make_layers(names, inputs, grid, {"night_hours": NIGHT})
    rows = readings.loggers.set_index("logger").loc[list(offsets.table.index)]
    x, y = rows.geometry.x, rows.geometry.y
    strength = night_strength(NIGHT)
    terms = [strength * grid.sample(made[n].values, x, y) for n in names]
    terms.append(-0.003 * grid.sample(z, x, y))
    table = np.column_stack(terms)
    return Observed(
        table - table[0],
        np.column_stack([x, y]),
        offsets.table["offset"].to_numpy(),
        np.diag(offsets.table["error"].to_numpy() ** 2),
        np.ones(len(table), bool),
    )


def test_the_reader_gives_the_minima_that_were_taken_by_hand(basin, readings):
    minima, _ = find_minima(readings.temperatures, LONGITUDE)
    nights = pd.read_csv(basin / "nights.csv", parse_dates=["night"])
    wanted = nights.pivot_table(index="night", columns="logger", values="tmin_degc")
    both = minima.reindex(index=wanted.index, columns=wanted.columns)
    off = (both - wanted).to_numpy()
    off = off[np.isfinite(off)]
    assert off.size > 400
    assert np.median(np.abs(off)) < 0.5


def test_clear_nights_are_mostly_those_chosen_by_hand(basin, readings):
    _, ranges = find_minima(readings.temperatures, LONGITUDE)
    kinds = pd.read_csv(basin / "kinds_of_night.csv", parse_dates=["night"])
    clear = set(kinds.loc[kinds["kind"] == "clear", "night"])
    chosen = set(choose_nights(ranges)[0]) & set(kinds["night"])
    tell(f"{len(chosen & clear)} of {len(chosen)} chosen nights are clear by hand too")
    assert len(chosen & clear) > 0.7 * len(chosen)


def test_offsets_are_those_of_least_squares(basin, offsets):
    seen = pd.read_csv(basin / "offsets.csv").set_index("logger")["offset"]
    both = pd.concat([seen, offsets.table["offset"]], axis=1, keys=["a", "b"]).dropna()
    error = (both["a"] - both["b"]) - (both["a"] - both["b"]).mean()
    tell(f"offsets against least squares: rms {rmse(error):.2f} degC, {len(both)}")
    assert len(both) >= 15
    assert rmse(error) < 0.6


def left_out(observed, without):
    """Left-out errors, and the share that 90 % intervals hold."""
    for index in without:
        observed = observed.without(index)
    errors, spreads = leave_one_out(observed)
    return errors, float(np.mean(np.abs(errors) <= 1.645 * spreads))


def test_the_revision_left_out_beats_the_regressions(observed, offsets):
    model = observed.terms.sum(axis=1)
    centred = (model - model.mean()) - (observed.offset - observed.offset.mean())
    errors, held = left_out(observed, [])
    # vg4 is colder by day and on dull nights too, and its log has faulty readings:
    # it is scored with and without (README of the data).
    rest, rest_held = left_out(observed, [list(offsets.table.index).index("vg4")])
    fitted = fit_correction(observed)
    tell(
        f"basin: model alone, centred {rmse(centred):.2f} degC; revised, left out "
        f"{rmse(errors):.2f}, 90 % intervals hold {held:.0%} of {len(errors)}; without "
        f"vg4 {rmse(rest):.2f}, {rest_held:.0%} of {len(rest)}; "
        f"k {fitted.weights[0]:.2f} ± {fitted.spread[0]:.2f}; left out, height and "
        "position give 2.39 (without vg4 2.49), the log of the height 1.49 (1.31)"
    )
    # Measured 1.13 and 0.94; regressions left out from the README of the data.
    assert len(errors) == 18
    assert rmse(errors) < 1.49
    assert rmse(rest) < 1.31
    # Measured 15 of 18 and 15 of 17.
    assert held >= 0.8
    assert 0.85 <= rest_held <= 0.95


def test_two_loggers_of_the_basin_find_a_strong_background(observed, offsets):
    # k was found afterwards to be 1.5 here (fit to all loggers).
    names = list(offsets.table.index)
    pair = [names.index("vg1"), names.index("vg2")]
    fitted = fit_correction(
        Observed(
            observed.terms[pair],
            observed.points[pair],
            observed.offset[pair],
            observed.noise[np.ix_(pair, pair)],
            observed.zero[pair],
        )
    )
    tell(f"k from vg1 and vg2 alone: {fitted.weights[0]:.2f}")
    assert 0.5 < fitted.weights[0] < 2.5
