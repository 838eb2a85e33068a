"""The clear still night on made ground: air, terms of the minimum, published bounds."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pyproj import CRS

from sitekit.grid import Grid
from sitekit.layers import make_layers, terms
from sitekit.layers.cover import COVERS, cover_code, of_cover
from sitekit.layers.faces import PIECE
from sitekit.layers.night import air_sources

CELL = 8.0
GRASS = cover_code("short grass")


def mesh(rows, columns, cell=CELL):
    """East and north of the cell middles from the south-west corner."""
    x = (np.arange(columns) + 0.5) * cell
    y = (rows - np.arange(rows) - 0.5) * cell
    return np.meshgrid(x, y)


def night_layers(elevation, *names, cell=CELL, settings=None, **more):
    """Layers of open short grass, but for what is given otherwise."""
    z = np.ascontiguousarray(elevation, np.float32)
    none = np.zeros(z.shape, bool)
    lakes = np.empty((0, *z.shape), np.float32)
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
    grid = Grid(CRS.from_epsg(32633), 500_000.0, 5_130_000.0, cell, z.shape)
    chosen = {"night_hours": 9.0} | (settings or {})
    made, absent = make_layers(names, inputs | more, grid, chosen)
    assert absent == {}
    return {name: made[name].to_numpy() for name in names}


def offset(elevation, **more):
    return night_layers(elevation, "frost_night_offset", **more)["frost_night_offset"]


# -- what makes the cold air -------------------------------------------------------------


def sources(cover, sky=1.0, canopy=0.0, water=False, **settings):
    shape = (3, 4)
    return air_sources(
        np.full(shape, cover, np.uint8),
        np.full(shape, sky, np.float32),
        np.full(shape, canopy, np.float32),
        np.full(shape, water, bool),
        **settings,
    )[:, 0, 0]


def test_a_hectare_of_open_grass_makes_20_000_cubic_metres_in_an_hour():
    # A shallow share of 0.18 of the 10 to 12 m³ m⁻² h⁻¹ of open grassland. Source of
    # the whole: Städtebauliche Klimafibel, Wirtschaftsministerium Baden-Württemberg,
    # 6.2.1.
    made, deficit, drag, decay = sources(GRASS)
    assert made * 3600 * 10_000 == pytest.approx(20_000)
    assert made * 3600 / 11 == pytest.approx(0.18, abs=0.005)
    assert deficit == 4.0
    assert drag == pytest.approx(0.03)
    assert decay * 3600 == pytest.approx(1 / 1.5)


def test_open_water_makes_none_and_its_decay_is_a_speed():
    made, _, _, decay = sources(cover_code("open water"), water=True)
    assert made == 0
    assert decay == pytest.approx(0.0005)


def test_half_the_sky_makes_half_the_air_but_crowns_see_it_all():
    open_ground = sources(GRASS)[0]
    assert sources(GRASS, sky=0.5)[0] == pytest.approx(open_ground / 2)
    wood = cover_code("wood")
    assert sources(wood, sky=0.2, canopy=12.0)[0] == pytest.approx(1.3 * open_ground)


def test_wood_makes_more_air_that_is_less_cold_and_slower():
    # Source: Städtebauliche Klimafibel 6.2.1: forest cools a larger volume less deeply.
    grass, wood = sources(GRASS), sources(cover_code("wood"), canopy=12.0)
    assert wood[0] > grass[0]
    assert wood[1] < grass[1]
    assert wood[2] > grass[2]


def test_covers_are_warmer_or_colder_as_printed():
    # Sources of the signs: bare moist soil warmer, tall grass and mulch colder (Snyder
    # & de Melo-Abreu 2005, FAO ENRS 10; O'Connell & Snyder 1999, California
    # Agriculture 53(5): mulch 0.5 to 1.2 degC lower).
    warmth = {name: COVERS[cover_code(name)].warmth for c in COVERS for name in c.names}
    assert warmth["short grass"] == 0
    assert warmth["bare moist"] > 0
    assert 0 > warmth["tall grass"] > -0.5
    assert -1.2 <= warmth["mulch"] <= -0.5
    assert warmth["snow"] < warmth["peat"] < warmth["mulch"]
    codes = np.array([[cover_code("peat"), GRASS]], np.uint8)
    assert of_cover("warmth", codes).tolist() == [[-1.0, 0.0]]


def test_a_word_for_ground_that_is_not_known_counts_as_short_grass():
    assert cover_code("moon dust") == GRASS


# -- the terms ---------------------------------------------------------------------------


def air(depth, speed=0.0, colder=4.0):
    return np.array([depth, speed, colder, 0.0], np.float32).reshape(4, 1, 1)


def pool(*what, **settings):
    return terms.pool_warmth(air(*what), **settings).item()


def test_a_pool_has_the_cold_of_its_depth():
    # By hand: h_e = h - z (1 - e^(-h/z)), z 0.75; -2 (1 - e^(-h_e / 1.33)).
    for depth, expected in ((0.0, 0.0), (0.5, -0.193), (1.5, -0.946), (4.0, -1.827)):
        assert pool(depth) == pytest.approx(expected, abs=0.001)
    assert pool(50.0) == pytest.approx(-2.0)


def test_air_below_the_blossom_hardly_counts():
    assert -0.03 < pool(0.15) < 0


def test_a_stream_of_1_7_metres_a_second_is_half_as_cold():
    # Source of the speed: strong inversions in orchards need less than 1.7 m/s (Shaw
    # 2001, Niagara).
    assert pool(4.0, 1.7) == pytest.approx(pool(4.0) / 2)
    assert pool(4.0, 0.2) < 0.95 * pool(4.0, 1.0) < 0


def test_colder_air_makes_a_colder_pool():
    assert pool(3.0, 0.0, 5.0) == pytest.approx(1.25 * pool(3.0))


@given(
    depth=st.floats(0, 40, width=32),
    deeper=st.floats(0.125, 5, width=32),
    speed=st.floats(0, 5, width=32),
)
def test_the_deeper_and_stiller_the_colder(depth, deeper, speed):
    assert pool(depth + deeper, speed) <= pool(depth, speed) + 1e-6
    assert pool(depth, speed) >= pool(depth) - 1e-6


def test_still_air_is_0_35_colder_and_half_of_it_at_0_15_metres_a_second():
    still = [terms.still_warmth(air(0.1, u)).item() for u in (0.0, 0.15, 1.5)]
    assert still[:2] == pytest.approx([-0.35, -0.175])
    assert -0.01 < still[2] < 0


def background(height, **settings):
    z = np.full((5, 5), height, np.float32)
    canopy = settings.pop("canopy", np.zeros_like(z))
    form = np.zeros((3, 5, 5), np.float32)
    return terms.background_warmth(z, form, canopy, cell_size=CELL, **settings)[2, 2]


def test_the_background_rises_evenly_and_then_by_its_log():
    # Source: 6.2 degC per 100 m above the floor of a broad valley (Hočevar & Martsolf
    # 1971, Agric. Meteorol. 8: 371-383), of which 0.055 is the background's part.
    assert background(20.0) == pytest.approx(1.1)
    assert background(60.0) == pytest.approx(3.3)
    assert background(60.0 * np.e) == pytest.approx(6.6, rel=1e-5)
    assert background(-5.0) == 0
    assert background(60.0, background_strength=1.5) == pytest.approx(4.95)


def test_closed_wood_has_a_fifth_of_the_background_and_half_a_wood_between():
    wood = np.full((5, 5), 15, np.float32)
    assert background(60.0, canopy=wood) == pytest.approx(0.2 * 3.3)
    z = np.full((100, 100), 30, np.float32)
    half = np.zeros_like(z)
    half[:, 50:] = 12
    made = terms.background_warmth(
        z, np.zeros((3, *z.shape), np.float32), half, cell_size=CELL
    )
    assert made[50, [5, 50, 95]] == pytest.approx(
        [1.65, 0.6 * 1.65, 0.2 * 1.65], rel=0.03
    )
    # What the grower measured stands above what the wood suggests.
    assert background(60.0, canopy=wood, background_strength=1.0) == pytest.approx(3.3)


def test_the_crest_is_0_6_colder_and_a_plain_has_none():
    # Source of the sign: Young 1921, Monthly Weather Review 49 (every hill studied).
    def crest(z, low, high):
        form = np.array([low, high, 0], np.float32).reshape(3, 1, 1)
        return terms.crest_warmth(np.full((1, 1), z, np.float32), form).item()

    assert crest(100, 0, 100) == pytest.approx(-0.6, abs=0.005)
    assert crest(85, 0, 100) == pytest.approx(-0.6 / np.e, abs=0.005)
    assert crest(0, 0, 0) == 0
    assert crest(5, 0, 5) > -0.15


def test_concave_ground_cools_by_its_depth_and_no_more_than_0_6():
    # Source of the sign: Lindkvist, Gustavsson & Bogren 2000, Agr. For. Met. 102.
    made = [concave(z) for z in (12, 10, 9, 7, 0)]
    assert made == pytest.approx([0, 0, -0.2, -0.6, -0.6])


def concave(z, speed=0.0, pool=0.0):
    """Concave ground whose mean around is 10 m high."""
    one = np.ones((1, 1), np.float32)
    form = np.array([0, 0, 10], np.float32).reshape(3, 1, 1)
    air = np.array([1, speed, 4, 0], np.float32).reshape(4, 1, 1)
    return terms.concave_warmth(z * one, form, air, pool * one).item()


@pytest.mark.parametrize(
    ("speed", "pool", "added"),
    [(0.0, -2.0, -0.6), (1.5, 0.0, -0.6), (1.5, -0.2, -0.402), (1.5, -1.0, 0.0)],
)
def test_running_air_and_concave_ground_are_not_counted_twice(speed, pool, added):
    # Standing air leaves concave ground its whole cold; of running air (99 % of it at
    # ten times the speed at which it is half still) the colder of the two counts.
    assert concave(0, speed, pool) == pytest.approx(added, abs=1e-3)


def test_what_hides_the_sky_keeps_warm_in_proportion():
    # Source: minima in forest gaps fall linearly with the open sky (Groot & Carlson
    # 1996, Can. J. For. Res. 26: 1531).
    sky = np.array([[1.0, 0.75, 0.5, 0.0]], np.float32)
    assert terms.sky_warmth(sky).tolist() == [[0, 1, 2, 4]]


# -- published bounds on made ground -------------------------------------------------------


def broad_valley():
    """A floor of 300 m that falls 0.4 %, sides of 12 % to 60 m up, then of 4 %."""
    x, y = mesh(200, 375)
    away = np.maximum(np.abs(x - 1500) - 150, 0)
    height = np.where(away < 500, 0.12 * away, 60 + 0.04 * (away - 500))
    return 500 + 0.004 * y + height, height


def hollow():
    """A hollow of 18 m in a plain, on cells of 4 m."""
    x, y = mesh(300, 300, 4.0)
    away = np.hypot(x - 600, y - 600)
    return 200 - 18 * np.exp(-((away / 110) ** 2)), away


def hill():
    """A hill of 60 m on a plain."""
    x, y = mesh(160, 160)
    away = np.hypot(x - 640, y - 640)
    return 200 + 60 * np.exp(-((away / 220) ** 2)), away


@pytest.fixture(scope="module")
def valley_night():
    elevation, height = broad_valley()
    inner = slice(60, -60)
    return offset(elevation)[inner], height[inner]


def test_a_broad_valley_warms_by_6_degrees_in_100_metres(valley_night):
    # Source: +6.2 degC per 100 m above the floor at dawn, clear and calm (Hočevar &
    # Martsolf 1971, Agric. Meteorol. 8: 371-383).
    made, height = valley_night
    low = height <= 60
    slope = np.polyfit(height[low], made[low], 1)[0]
    assert 0.04 < slope < 0.08


def test_the_range_across_a_broad_valley_is_below_10_degrees(valley_night):
    # Source: range across the valley often 10 degC (the same).
    made, _ = valley_night
    assert 3 < np.ptp(made) < 10


def test_the_floor_of_a_broad_valley_is_its_coldest_ground(valley_night):
    made, height = valley_night
    middle = made[made.shape[0] // 2]
    assert height[made.shape[0] // 2][middle.argmin()] < 1


def test_the_bottom_of_a_hollow_of_18_metres_is_3_to_5_degrees_colder_than_its_rim():
    # Source: air at the bottom against air at rim height in a hollow of this depth in
    # south-east Michigan (doi 10.1007/BF02273978).
    elevation, away = hollow()
    made = offset(elevation, cell=4.0)
    fall = made[away < 10].mean() - made[(away > 230) & (away < 300)].mean()
    # Measured -3.02; -2.98 on cells of 8 m.
    assert -5 < fall < -3


def test_the_top_of_a_hill_is_not_its_warmest_place():
    # Source: hilltops colder than a point some way below (Young 1921).
    elevation, away = hill()
    made = offset(elevation)
    top = made[away < 12].mean()
    assert made.max() > top + 0.05
    warmest = away.ravel()[made.argmax()]
    assert 20 < warmest < 150


@pytest.mark.parametrize("ground", [broad_valley, hollow, hill])
def test_no_two_places_near_each_other_differ_by_a_quarter_degree_a_metre(ground):
    # Source: 15.6 degC in 68.6 m of height (Young 1921, Pomona), the largest printed.
    z = ground()[0]
    made = offset(z)
    steepest = 0.0
    reach = int(150 / CELL)
    for down in range(0, reach + 1, 3):
        for right in range(-reach, reach + 1, 3):
            near = (
                slice(None, z.shape[0] - down),
                slice(max(-right, 0), z.shape[1] - max(right, 0)),
            )
            far = (slice(down, None), slice(max(right, 0), z.shape[1] - max(-right, 0)))
            rise = np.abs(z[near] - z[far])
            steep = np.abs(made[near] - made[far])[rise >= 20] / rise[rise >= 20]
            steepest = max(steepest, steep.max(initial=0.0))
    assert steepest <= 0.25


def test_a_larger_catchment_does_not_make_a_full_pool_ever_colder():
    # Source: minima in basins of very different catchment are alike (Whiteman et al.
    # 2004, J. Appl. Met. 43: 1224).
    x, y = mesh(100, 100)
    away = np.hypot(x - 400, y - 400)
    basin = 200 - 10 * np.exp(-((away / 70) ** 2))
    wide = basin + 0.06 * np.maximum(away - 150, 0)
    bottoms = [
        night_layers(z, "pool_warmth")["pool_warmth"][away < 10].mean()
        for z in (basin, wide)
    ]
    assert bottoms[1] == pytest.approx(bottoms[0], abs=0.25)


# -- no ground is known by its numbers ------------------------------------------------------


def dimple():
    x, y = mesh(60, 60)
    away = np.hypot(x - 200, y - 260)
    return 300 + 0.03 * y + 0.01 * x - 6 * np.exp(-((away / 45) ** 2))


@pytest.mark.parametrize("change", [np.flipud, np.fliplr, np.rot90, np.transpose])
def test_mirrored_and_turned_ground_has_its_night_mirrored_and_turned(change):
    z = dimple()
    turned = offset(change(z))
    assert turned == pytest.approx(change(offset(z)), abs=0.02)


def test_raised_ground_has_the_same_night():
    z = dimple()
    assert offset(z + 512.0) == pytest.approx(offset(z), abs=0.01)


def test_ground_moved_by_cells_has_its_night_moved_with_it():
    # Both are cut from one ground, 10 cells apart: a hill with a hollow in its top.
    x, y = mesh(90, 90)
    away = np.hypot(x - 360, y - 360)
    z = 300 - 0.04 * away - 8 * np.exp(-((away / 50) ** 2))
    parts = [(slice(0, 80), slice(0, 80)), (slice(10, 90), slice(10, 90))]
    one, other = (night_layers(z[part], "pool_warmth")["pool_warmth"] for part in parts)
    assert one.min() < -1.2
    assert one[30:60, 30:60] == pytest.approx(other[20:50, 20:50], abs=0.05)


def test_noise_in_the_ground_moves_the_night_a_little():
    z = dimple()
    rough = z + np.random.default_rng(2).normal(0, 0.05, z.shape)
    difference = offset(rough) - offset(z)
    assert 0 < np.sqrt((difference**2).mean()) < 0.1


def test_a_deeper_hollow_is_colder():
    z = dimple()
    x, y = mesh(60, 60)
    inside = np.hypot(x - 200, y - 260) < 12
    deeper = z - 3 * np.exp(-(((x - 200) ** 2 + (y - 260) ** 2) / 45**2))
    bottoms = [
        night_layers(ground, "night_warmth")["night_warmth"][inside].mean()
        for ground in (z, deeper)
    ]
    assert bottoms[1] < bottoms[0] - 0.2


# -- the layers of the air ----------------------------------------------------------------


def test_depth_and_speed_are_missing_where_the_ground_is():
    z = dimple()
    z[:5, :7] = np.nan
    made = night_layers(z, "cold_air_depth", "cold_air_speed")
    for values in made.values():
        assert (np.isnan(values) == np.isnan(z)).all()
    known = np.isfinite(z)
    assert made["cold_air_depth"][known].min() >= 0


def test_drainage_has_the_depth_and_speed_that_are_printed():
    # Speeds of slope winds 0.2 to 1 m/s (from memory), of drainage up to 3 m/s; depth
    # at most 0.05 of the drop for the whole cold layer (Horst & Doran 1986), of which
    # this shallow one is a part.
    _, y = mesh(120, 60)
    made = night_layers(400 + 0.10 * y, "cold_air_depth", "cold_air_speed")
    foot = (slice(90, 110), slice(20, 40))
    drop = 0.10 * (y.max() - y[foot])
    assert (made["cold_air_depth"][foot] < 0.05 * drop).all()
    assert 0.2 < made["cold_air_speed"][foot].mean() < 3


def test_a_closed_edge_holds_the_air():
    z = np.full((40, 40), 100.0) + 0.02 * mesh(40, 40)[1]
    opened = night_layers(z, "cold_air_depth")["cold_air_depth"]
    closed = night_layers(z, "cold_air_depth", settings={"closed_edges": ("south",)})
    assert closed["cold_air_depth"][-1].min() > opened[-1].max() + 1


def test_more_production_makes_deeper_air_and_none_makes_none():
    z = dimple()

    def depth(**settings):
        made = night_layers(z, "cold_air_depth", settings=settings)
        return made["cold_air_depth"].mean()

    assert depth(production=1.0) < depth(production=2.0)
    assert depth(production=0.0) == 0
