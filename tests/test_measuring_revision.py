"""Terms at loggers, notes as weak readings, and the verdicts that changed."""

import numpy as np
import pandas as pd
import pytest
import shapely
from geopandas import GeoDataFrame
from pyproj import CRS

from sitekit.grid import Grid
from sitekit.io.schemas import SCHEMAS, empty_frame
from sitekit.measuring.correction import TERMS, fit_correction
from sitekit.measuring.nights import Offsets
from sitekit.measuring.notes import (
    COLD_NOTE,
    NOTE_ERROR,
    NOTES,
    observe_notes,
    tell_notes,
)
from sitekit.measuring.revision import (
    TERM_NAMES,
    compare_verdicts,
    join_observed,
    make_terms,
    observe_loggers,
    weigh_terms,
)
from sitekit.site import VECTORS, ElevationModel, Reference, Site

UTM = CRS.from_epsg(32633)
NAMES = list(TERMS)[:-1]


def made_site(reference=True):
    grid = Grid(UTM, 500_000.0, 5_130_000.0, 10.0, (20, 30))
    west, south, east, north = grid.bounds
    ground = np.linspace(140, 100, 20, dtype=np.float32)[:, None] + np.zeros(
        30, np.float32
    )
    inside = np.zeros(grid.shape, bool)
    inside[3:17, 3:27] = True
    return Site(
        name="made",
        grid=grid,
        elevation=ground,
        ground=ground,
        model=ElevationModel(("made.tif",), 10.0, "ground", 0.02),
        field=GeoDataFrame(
            {"name": [""]}, geometry=[shapely.box(west, south, east, north)], crs=UTM
        ),
        field_mask=inside,
        water_mask=np.zeros(grid.shape, bool),
        canopy_height=np.zeros(grid.shape, np.float32),
        evergreen=np.zeros(grid.shape, bool),
        vectors={name: empty_frame(SCHEMAS[name], UTM) for name in VECTORS},
        reference=Reference("the house", west + 55, north - 45) if reference else None,
        settings={"night_hours": 9.0},
    )


def layers_of(site):
    random = np.random.default_rng(2)
    made = {n: random.normal(0, 1, site.grid.shape).astype(np.float32) for n in NAMES}
    whole = sum(made.values()) - 0.003 * site.elevation
    zero = whole[4, 5] if site.reference else np.nanmedian(whole[site.field_mask])
    made["frost_night_offset"] = (whole - zero).astype(np.float32)
    return made


@pytest.mark.parametrize("reference", [True, False])
def test_the_terms_add_up_to_the_night_offset(reference):
    site = made_site(reference)
    layers = layers_of(site)
    terms = make_terms(site, layers)
    # Without a reference place one cell stands for the middle of the field.
    assert sum(terms.stack) == pytest.approx(
        layers["frost_night_offset"], abs=1e-4 if reference else 0.05
    )
    assert (terms.anchor is None) == (not reference)
    # A night of 9 h is the standard of strength (FAO 10, ch. 5).
    assert terms.strength == pytest.approx(1.0)


def test_stronger_nights_scale_all_terms_but_the_fall_with_height():
    site = made_site()
    terms = make_terms(site, layers_of(site))
    there = terms.at(site.grid, np.array([[500_105.0, 5_129_905.0]]))
    scaled = terms.as_read(there, 1.2)
    assert scaled[0, :-1] == pytest.approx(1.2 * there[0, :-1])
    assert scaled[0, -1] == there[0, -1]


def read_at(points, offset=-1.0):
    names = [f"L{i}" for i in range(len(points))]
    loggers = GeoDataFrame({"logger": names}, geometry=list(points), crs=UTM)
    table = pd.DataFrame(
        {"nights": 10, "offset": offset, "low": -1.2, "high": -0.8, "error": np.nan},
        index=names,
    )
    nights = pd.date_range("2025-05-01", periods=10)
    return loggers, Offsets(table, "L0", nights, 1.0, "the widest range")


def test_loggers_off_the_grid_are_said_and_left_out():
    site = made_site()
    terms = make_terms(site, layers_of(site))
    points = [shapely.Point(500_105, 5_129_905), shapely.Point(0, 0)]
    observed, names, remarks = observe_loggers(site, terms, *read_at(points))
    assert names == ["L0"]
    assert [r.about for r in remarks] == ["L1"]
    assert observed.zero.all()
    assert np.isfinite(observed.noise).all()


def noted(site, *notes):
    frame = GeoDataFrame(
        {"date": "", "kind": [k for k, _ in notes], "text": ""},
        geometry=[place for _, place in notes],
        crs=UTM,
    )
    site.vectors["notes"] = frame
    return site


def take(site, terms, offset):
    """Notes as weak readings."""
    return observe_notes(tell_notes(site, terms, offset), terms, site.grid)


def test_only_notes_against_the_map_are_readings_and_weak_ones():
    site = made_site()
    layers = layers_of(site)
    offset = np.zeros(site.grid.shape, np.float32)
    offset[:, 15:] = -4.0
    mild, cold = shapely.Point(500_055, 5_129_905), shapely.Point(500_255, 5_129_905)
    noted(
        site,
        ("fog", mild),
        ("fog", cold),
        ("early bare", cold),
        ("wind", mild),
        ("frost", shapely.Point(0, 0)),
    )
    middle = float(np.median(offset[site.field_mask]))
    observed = take(site, make_terms(site, layers), offset)
    assert len(observed.offset) == 2
    assert observed.offset[0] == pytest.approx(middle + COLD_NOTE)
    assert np.diag(observed.noise) == pytest.approx(NOTE_ERROR**2)
    assert not observed.zero.any()


def weight_of(site, *notes):
    """How firmly notes tell the offset of their places, as one mean reading."""
    mild = np.zeros(site.grid.shape, np.float32)
    terms = make_terms(site, layers_of(site))
    noise = take(noted(site, *notes), terms, mild).noise
    return float(np.linalg.inv(noise).sum())


FOG = [("fog", shapely.Point(500_105 + 4 * i, 5_129_905)) for i in range(10)]
KINDS = [*NOTES][:4]


def test_ten_notes_at_one_place_weigh_little_more_than_two():
    site = made_site()
    one, two, ten = (weight_of(site, *FOG[:count]) for count in (1, 2, 10))
    assert one == pytest.approx(1 / NOTE_ERROR**2)
    assert one < two < ten < 1.2 * two


def test_notes_of_other_kinds_at_the_same_place_share_their_error_too():
    site = made_site()
    mixed = [(KINDS[i % 4], place) for i, (_, place) in enumerate(FOG)]
    assert weight_of(site, *mixed) == pytest.approx(weight_of(site, *FOG))


def test_notes_of_one_kind_share_it_where_they_are_of_one_night():
    site = made_site()
    far = [("fog", shapely.Point(500_045 + 80 * i, 5_129_905)) for i in range(3)]
    apart = weight_of(site, *far)
    assert apart == pytest.approx(3 / NOTE_ERROR**2)
    dated = noted(site, *far)
    dated.vectors["notes"]["date"] = "2025-05-12"
    terms = make_terms(site, layers_of(site))
    noise = take(dated, terms, np.zeros(site.grid.shape, np.float32)).noise
    assert np.linalg.inv(noise).sum() < 0.5 * apart


def test_readings_and_notes_join():
    site = made_site()
    layers = layers_of(site)
    terms = make_terms(site, layers)
    place = shapely.Point(500_105, 5_129_905)
    seen, _, _ = observe_loggers(site, terms, *read_at([place]))
    notes = take(
        noted(site, ("fog", place)), terms, np.zeros(site.grid.shape, np.float32)
    )
    joined = join_observed(seen, notes)
    assert joined.terms.shape == (2, len(TERMS))
    assert list(joined.zero) == [True, False]


def test_weights_name_every_term_and_shares_add_up():
    site = made_site()
    terms = make_terms(site, layers_of(site))
    points = [shapely.Point(500_105 + 40 * i, 5_129_905) for i in range(4)]
    observed, _, _ = observe_loggers(site, terms, *read_at(points))
    fitted = fit_correction(observed, terms.anchor)
    doubt = np.full(site.grid.shape, 0.3, np.float32)
    table = weigh_terms(fitted, terms, site.field_mask, doubt)
    assert set(table["term"]) == set(TERM_NAMES.values())
    assert table["share"].sum() == pytest.approx(1.0)
    assert table["share"].is_monotonic_decreasing
    known = table.dropna(subset=["after"])
    assert len(known) == len(TERMS)
    assert (known["spread"] > 0).all()


def test_changed_verdicts_are_told_by_block_and_fruit():
    site = made_site()
    grid = site.grid
    x, y = np.meshgrid(grid.eastings[5:15], grid.northings[5:9])
    spots = pd.DataFrame(
        {"block": 1, "fruit": "pear", "easting_m": x.ravel(), "northing_m": y.ravel()}
    )
    blocks = pd.DataFrame({"block": [1], "area_m2": [4000.0]})
    before = {
        "site_class_pear": np.full(grid.shape, 3, np.uint8),
        "frost_night_offset": np.full(grid.shape, -0.5, np.float32),
    }
    after = {n: a.copy() for n, a in before.items()}
    after["site_class_pear"][:, :10] = 0
    after["frost_night_offset"][:, :10] = -2.5
    changes = compare_verdicts(spots, blocks, before, after, grid)
    assert len(changes) == 1
    row = changes.iloc[0]
    assert (row["before"], row["after"]) == ("with conditions", "refused")
    assert row["area_m2"] == pytest.approx(2000.0)
    assert "−2.5" in row["reason"]
    assert "not −0.5" in row["reason"]


def test_nothing_changed_is_an_empty_table_with_its_columns():
    site = made_site()
    same = {
        "site_class_pear": np.full(site.grid.shape, 3, np.uint8),
        "frost_night_offset": np.zeros(site.grid.shape, np.float32),
    }
    spots = pd.DataFrame(
        {"block": [1], "fruit": ["pear"], "easting_m": [500_055.0],
         "northing_m": [5_129_905.0]}
    )  # fmt: skip
    blocks = pd.DataFrame({"block": [1], "area_m2": [4000.0]})
    changes = compare_verdicts(spots, blocks, same, same, site.grid)
    assert changes.empty
    assert list(changes.columns)[:4] == ["block", "fruit", "before", "after"]
