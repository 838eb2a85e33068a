"""Doubt of the inputs, carried to the night of made ground."""

from dataclasses import replace

import numpy as np
import pytest
import shapely
from geopandas import GeoDataFrame
from pyproj import CRS

from sitekit.demo import write_holding
from sitekit.demo.terrain import SOUTH, WEST
from sitekit.doubt import inputs, nights
from sitekit.doubt.inputs import TO_END, UNSURE
from sitekit.doubt.nights import Nights, carry_doubt, guessed_openness
from sitekit.doubt.noise import draw_errors, elevation_error_of
from sitekit.grid import Grid
from sitekit.io.inputs import SiteRequest, read_request
from sitekit.io.schemas import SCHEMAS, empty_frame
from sitekit.io.vectors import VectorSource
from sitekit.layers.catalogue import all_settings
from sitekit.layers.inputs import gather_inputs
from sitekit.site import VECTORS, ElevationModel, Reference, Remark, Site

UTM = CRS.from_epsg(32633)
CELL = 16.0
OFFSET = "frost_night_offset"
#: Groups of no input: what differs from place to place.
LOCAL = (inputs.COVER, inputs.REST)


def frame(columns, shapes):
    return GeoDataFrame(columns, geometry=shapes, crs=UTM)


def valley(hedge=True, **more):
    """A floor of 200 m, sides of 12 % with a hollow, the house at the top."""
    grid = Grid(UTM, 500_000.0, 5_130_000.0 + 48 * CELL, CELL, (48, 50))
    west, south, _, _ = grid.bounds
    x = (grid.eastings - west)[None, :]
    y = (grid.northings - south)[:, None]
    heights = 100 + 0.004 * x + np.where(y < 200, 0, 0.12 * (y - 200))
    heights = heights - 5 * np.exp(-((x - 500) ** 2 + (y - 330) ** 2) / 60**2)
    heights = heights.astype(np.float32)
    vectors = {name: empty_frame(SCHEMAS[name], grid.crs) for name in VECTORS}
    if hedge:
        line = shapely.LineString(
            [(west + 150, south + 250), (west + 450, south + 252)]
        )
        columns = {"kind": ["hedge"], "height_m": [3.0], "openness": [0.2]}
        vectors["barriers"] = frame(columns, [line])
    field = np.zeros(grid.shape, bool)
    field[14:42, 6:44] = True
    none = np.zeros(grid.shape, bool)
    made = Site(
        name="made valley",
        grid=grid,
        elevation=heights,
        ground=heights,
        model=ElevationModel(("made.tif",), 4.0, "ground", 0.1),
        field=frame({"name": [""]}, [shapely.box(*grid.bounds)]),
        field_mask=field,
        water_mask=none,
        canopy_height=np.zeros(grid.shape, np.float32),
        evergreen=none,
        vectors=vectors,
        reference=Reference("the house", west + 700, south + 700),
    )
    return replace(made, **more)


def only(*names):
    return [each for each in UNSURE if each.name in names]


def part(carried, group, field=None):
    """Standard deviation that a group gives, root of the mean over the ground."""
    values = carried.variances.get(group)
    if values is None:
        return 0.0
    return float(np.sqrt(values[slice(None) if field is None else field].mean()))


def ends(carried, name):
    found = [e.offset for e in carried.effects if e.unsure.name == name]
    assert len(found) == 2
    return found


@pytest.fixture(scope="module")
def site():
    return valley()


@pytest.fixture(scope="module")
def carried(site):
    return carry_doubt(site)


# -- what is carried -------------------------------------------------------------------------


def test_the_same_site_gives_the_same_doubt(site):
    few = only("drag", "openness")
    one, other = (carry_doubt(site, unsure=few, doubt_draws=2) for _ in range(2))
    for group, variance in one.variances.items():
        np.testing.assert_array_equal(variance, other.variances[group])


def test_without_draws_nothing_is_carried(site):
    assert carry_doubt(site, doubt_draws=0) is None


def test_every_input_is_changed_to_both_ends(carried):
    names = [e.unsure.name for e in carried.effects]
    for each in UNSURE:
        wanted = 0 if each.name in ("water_mixing", "lake_share") else 2
        assert names.count(each.name) == wanted, each.name


def test_nothing_is_unsure_at_the_reference_place_but_the_ground_itself(site, carried):
    cell = tuple(int(v) for v in site.grid.cells(*_house(site)))
    for effect in carried.effects:
        if effect.unsure.group not in LOCAL:
            assert effect.offset[cell] == pytest.approx(0.0, abs=1e-5)


def _house(site):
    return site.reference.easting, site.reference.northing


def test_the_spread_is_the_root_of_all_variances(carried):
    total = sum(v.astype(float) for v in carried.variances.values())
    np.testing.assert_allclose(carried.spread, np.sqrt(total), rtol=1e-4)


def test_two_thermometers_matter_most_in_a_valley(site, carried):
    # Source: 109 loggers at four sites, where k differed from 0.12 to 1.5: the
    # strength of the background is the number that differs most.
    parts = {g: part(carried, g, site.field_mask) for g in carried.variances}
    shared = {g: v for g, v in parts.items() if g not in LOCAL}
    assert max(shared, key=shared.__getitem__) == inputs.BACKGROUND
    assert shared[inputs.BACKGROUND] > 1.0


@pytest.mark.parametrize("name", ["production", "openness", "background", "pool_cold"])
def test_a_range_twice_as_wide_widens_the_share_of_its_input(site, carried, name):
    each = next(u for u in UNSURE if u.name == name)
    wide = replace(each, factor=each.factor**2, added=2 * each.added)
    one = carry_doubt(site, unsure=[each], doubt_draws=1)
    two = carry_doubt(site, unsure=[wide], doubt_draws=1)
    group = each.group
    share = [
        float(c.variances[group].mean() / (c.spread**2).mean()) for c in (one, two)
    ]
    assert share[1] > 1.3 * share[0] > 0


def test_without_barriers_their_openness_is_no_doubt():
    found = carry_doubt(valley(hedge=False), unsure=only("openness"), doubt_draws=1)
    assert inputs.OPENNESS not in found.variances
    assert part(found, inputs.OPENNESS) == 0.0


def test_openness_is_doubted_behind_the_hedge_and_not_on_the_hill(site, carried):
    variance = np.sqrt(carried.variances[inputs.OPENNESS])
    row, column = site.grid.cells(site.grid.west + 300, site.grid.bounds[1] + 262)
    assert variance[row, column] > 0.1
    assert variance[:10].max() < 0.02


def test_a_tighter_hedge_holds_more_air(site, carried):
    row, column = site.grid.cells(site.grid.west + 300, site.grid.bounds[1] + 262)
    less, more = ends(carried, "openness")
    assert less[row, column] < 0 < more[row, column]


def test_openness_that_was_guessed_is_doubted_more(site):
    said = Remark("doubtful", "barriers", "openness of 1 hedge is not given")
    guessed = replace(site, remarks=(said,))
    assert guessed_openness(guessed)
    assert not guessed_openness(site)
    few = only("openness")
    drawn, taken = (carry_doubt(s, unsure=few, doubt_draws=1) for s in (site, guessed))
    # 0.2 drawn: 0.1 to 0.3; guessed: 0.1 to 0.4.
    assert part(taken, inputs.OPENNESS) > part(drawn, inputs.OPENNESS)
    assert np.array_equal(ends(taken, "openness")[0], ends(drawn, "openness")[0])


# -- sizes that are known in closed form -----------------------------------------------------


def test_a_background_twice_as_strong_doubles_its_term(site, carried):
    made = Nights(site)
    term = made.base["background_warmth"]
    strength = np.sqrt(float(made.hours) / 9.0)
    cell = tuple(int(v) for v in site.grid.cells(*_house(site)))
    factor = only("background")[0].factor
    wanted = strength * (factor - 1) * (term - term[cell])
    np.testing.assert_allclose(ends(carried, "background")[1], wanted, atol=1e-4)


def test_the_lapse_moves_a_night_by_height_alone(site, carried):
    cell = tuple(int(v) for v in site.grid.cells(*_house(site)))
    rise = site.elevation - site.elevation[cell]
    low, high = ends(carried, "night_lapse")
    np.testing.assert_allclose(high, -0.002 * rise, atol=1e-4)
    np.testing.assert_allclose(low, 0.002 * rise, atol=1e-4)


def test_what_no_input_explains_is_0_8_degrees_everywhere(carried):
    np.testing.assert_allclose(np.sqrt(carried.variances[inputs.REST]), 0.8, rtol=1e-3)


def test_cover_that_is_drawn_is_no_doubt(site, carried):
    np.testing.assert_allclose(np.sqrt(carried.variances[inputs.COVER]), 0.5, rtol=1e-3)
    drawn = empty_frame(SCHEMAS["cover"], site.grid.crs)
    drawn = frame({"kind": ["short grass"]}, [shapely.box(*site.grid.bounds)])
    known = replace(site, vectors={**site.vectors, "cover": drawn})
    found = carry_doubt(known, unsure=[], doubt_draws=1)
    assert part(found, inputs.COVER) == 0.0


def test_a_setting_of_the_user_is_the_middle_of_its_range(site):
    mine = replace(site, settings={"pool_cold": 4.0})
    usual, doubled = (
        carry_doubt(s, unsure=only("pool_cold"), doubt_draws=1) for s in (site, mine)
    )
    # But for concave ground, where running air counts only beyond its own cold.
    assert part(doubled, inputs.POOL) == pytest.approx(
        2 * part(usual, inputs.POOL), rel=0.01
    )


def test_heights_that_are_exact_are_no_doubt_and_wrong_ones_are(site):
    parts = []
    for error in (1e-6, 0.2, 0.8):
        told = replace(site, settings={"elevation_error": error})
        parts.append(part(carry_doubt(told, unsure=[], doubt_draws=3), inputs.HEIGHTS))
    assert parts[0] < 0.01 < parts[1] < parts[2]


def test_the_doubt_of_heights_reaches_the_cells_of_the_survey(site, carried):
    found = carried.height_doubt(site.grid)
    assert found.shape == site.grid.shape
    np.testing.assert_allclose(
        found, np.sqrt(carried.variances[inputs.HEIGHTS]), rtol=1e-5
    )


# -- against truths drawn from the same ranges -----------------------------------------------


def _opened(site, shift):
    barriers = site.vectors["barriers"]
    opened = barriers.assign(openness=np.clip(barriers["openness"] + shift, 0, 1))
    made = gather_inputs(replace(site, vectors={**site.vectors, "barriers": opened}))
    return {name: made[name] for name in ("barrier_height", "barrier_pieces")}


def _truth(made, random):
    """A night with every input drawn at once, and heights with errors."""
    settings, drag, shift = {}, 1.0, 0.0
    for each in UNSURE:
        away = random.normal() / TO_END
        if each.name == "drag":
            drag = each.factor**away
        elif each.name == "openness":
            shift = away * each.added
        elif each.name == "background":
            # Over open ground the strength of the background is 1.
            settings["background_strength"] = each.factor**away
        else:
            middle = all_settings()[each.name][0]
            settings[each.name] = (
                middle * each.factor**away
                if each.factor
                else max(middle + away * each.added, 0.0)
            )
    site = made.site
    error, reach = elevation_error_of(site.model)
    errors = draw_errors(site.grid.shape, CELL, error, reach, random)
    given = {n: made.inputs[n] + errors for n in ("survey_elevation", "ground")}
    given |= _opened(site, shift)
    found = made.run(settings=settings, given=given, drag=drag)
    return (found[OFFSET] - made.base[OFFSET])[site.field_mask]


@pytest.fixture(scope="module")
def truths(site):
    random = np.random.default_rng(5)
    made = Nights(site)
    return np.stack([_truth(made, random) for _ in range(60)])


def test_intervals_of_90_percent_hold_85_to_95_percent_of_drawn_nights(
    site, carried, truths
):
    shared = sum(v for g, v in carried.variances.items() if g not in LOCAL)
    inside = np.abs(truths) <= TO_END * np.sqrt(shared)[site.field_mask]
    assert 0.85 <= inside.mean() <= 0.95


def test_they_hold_as_many_with_what_no_input_explains(site, carried, truths):
    random = np.random.default_rng(6)
    rest = random.normal(size=truths.shape) * np.hypot(0.8, 0.5)
    inside = np.abs(truths + rest) <= TO_END * carried.spread[site.field_mask]
    assert 0.85 <= inside.mean() <= 0.95


# -- the invented holding, against 64 joint draws ----------------------------------------------

#: Mean over a box against Upper Hedge Field, and its standard deviation over 64 joint
#: draws of the ranges without k on cells of 8 m, by an independent prototype. [degC]
DRAWN = {
    "meadow": ((500, 900, 140, 200), 0.7),
    "hedge foot": ((140, 300, 303, 321), 0.6),
    "east foot": ((600, 800, 303, 321), 0.4),
    "shelf": ((600, 800, 486, 520), 0.1),
    "dell": ((405, 455, 486, 545), 0.3),
    "Down Edge": ((500, 800, 762, 850), 0.3),
}
UPPER = (300, 800, 380, 460)


@pytest.fixture(scope="module")
def holding(tmp_path_factory):
    folder = write_holding(tmp_path_factory.mktemp("averlow")).parent
    package = folder / "holding.gpkg"
    site = read_request(
        SiteRequest(
            elevation=[folder / "elevation.tif"],
            field=VectorSource(package, "field"),
            vectors={name: VectorSource(package, name) for name in VECTORS},
        )
    )
    wanted = [each for each in UNSURE if each.name != "background"]
    with pytest.MonkeyPatch.context() as patch:
        # The draws moved the air on cells of 8 m; usually they are of 16 m here.
        patch.setattr(nights, "flow_cell_of", lambda _: 8.0)
        return carry_doubt(site, unsure=wanted, doubt_draws=1)


def _parts(carried, box):
    """Variance by input of the mean over a box against Upper Hedge Field."""
    x, y = carried.grid.eastings - WEST, carried.grid.northings - SOUTH

    def mean(values, box):
        west, east, south, north = box
        rows = (y >= south) & (y <= north)
        return values[np.ix_(rows, (x >= west) & (x <= east))].mean()

    found = {}
    for effect in carried.effects:
        if effect.unsure.group in (*LOCAL, inputs.HEIGHTS):
            continue
        change = mean(effect.offset, box) - mean(effect.offset, UPPER)
        name = effect.unsure.name
        found[name] = found.get(name, 0.0) + effect.weight * float(change) ** 2
    return found


@pytest.mark.parametrize("place", DRAWN)
def test_one_at_a_time_comes_near_to_joint_draws(holding, place):
    box, wanted = DRAWN[place]
    found = np.sqrt(sum(_parts(holding, box).values()))
    assert found == pytest.approx(wanted, abs=0.12)


@pytest.mark.parametrize(
    ("place", "names"),
    [
        # Rank correlations of those draws: p -0.68 at the hedge foot with φ +0.50,
        # p -0.70 in the dell, γ +0.94 at Down Edge, a -0.38 and p -0.30 on the meadow.
        ("hedge foot", {"production", "openness"}),
        ("dell", {"production"}),
        ("Down Edge", {"background_gradient"}),
        ("meadow", {"pool_cold", "production"}),
    ],
)
def test_the_same_inputs_steer_a_place_as_in_joint_draws(holding, place, names):
    parts = _parts(holding, DRAWN[place][0])
    order = sorted(parts, key=parts.__getitem__, reverse=True)
    assert set(order[: len(names)]) == names
