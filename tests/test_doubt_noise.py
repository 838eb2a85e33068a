"""Errors of heights that hang together."""

import numpy as np
import pytest

from sitekit.doubt.noise import draw_errors, elevation_error_of
from sitekit.site import ElevationModel

SHAPE, CELL = (128, 160), 5.0


def model(cell, surface="ground", noise=0.05):
    return ElevationModel(("heights.tif",), cell, surface, noise)


def draw(seed=1, error=0.3, reach=40.0, shape=SHAPE):
    return draw_errors(shape, CELL, error, reach, np.random.default_rng(seed))


@pytest.fixture(scope="module")
def many():
    return np.stack([draw(seed) for seed in range(40)])


def alike(many, cells):
    """Correlation of errors so many cells apart."""
    here, there = many[:, :, :-cells].ravel(), many[:, :, cells:].ravel()
    return float(np.corrcoef(here, there)[0, 1])


def test_errors_have_the_standard_deviation_asked_for(many):
    assert many.std() == pytest.approx(0.3, rel=0.05)
    assert abs(many.mean()) < 0.02


@pytest.mark.parametrize("cells", [2, 4, 8, 16])
def test_errors_hang_together_by_an_exponential_law(many, cells):
    # Source: the law itself, exp(-distance/range).
    assert alike(many, cells) == pytest.approx(np.exp(-cells * CELL / 40.0), abs=0.05)


def test_they_hang_together_alike_to_the_north(many):
    assert alike(many.transpose(0, 2, 1), 8) == pytest.approx(np.exp(-1.0), abs=0.05)


def test_one_edge_does_not_know_the_other(many):
    west, east = many[:, :, 0].ravel(), many[:, :, -1].ravel()
    assert abs(np.corrcoef(west, east)[0, 1]) < 0.1


def test_a_short_range_makes_every_cell_its_own():
    found = draw(reach=0.5)
    assert abs(np.corrcoef(found[:, 1:].ravel(), found[:, :-1].ravel())[0, 1]) < 0.03


def test_the_same_seed_gives_the_same_errors():
    np.testing.assert_array_equal(draw(3), draw(3))
    assert not np.array_equal(draw(3), draw(4))


def test_errors_grow_with_their_size_and_keep_their_shape():
    np.testing.assert_allclose(draw(error=0.6), 2 * draw(error=0.3), rtol=1e-5)


def test_errors_are_single_precision_and_on_the_grid():
    found = draw(shape=(3, 7))
    assert found.dtype == np.float32
    assert found.shape == (3, 7)


@pytest.mark.parametrize(
    ("cell", "error"),
    [
        # Source: ASPRS, Positional Accuracy Standards for Digital Geospatial Data,
        # 2014, vertical class of 10 cm (from memory).
        (1.0, 0.1),
        # Source: Gesch et al. 2014, accuracy of the USGS National Elevation Dataset
        # (from memory: 0.8 to 1.6 m).
        (10.0, 0.8),
        # Source: Copernicus DEM Product Handbook, 4 m at 90 % (from memory).
        (30.0, 1.7),
    ],
)
def test_heights_are_as_wrong_as_their_source(cell, error):
    assert elevation_error_of(model(cell))[0] == error


def test_coarser_heights_are_never_surer():
    errors = [elevation_error_of(model(cell))[0] for cell in (0.5, 2, 4, 10, 30, 90)]
    assert errors == sorted(errors)


def test_tops_of_trees_are_no_ground():
    assert elevation_error_of(model(1.0, "canopy"))[0] >= 1.5


def test_heights_are_never_surer_than_their_own_noise():
    assert elevation_error_of(model(1.0, noise=0.4))[0] == 0.4


def test_the_range_is_some_cells_of_the_source():
    assert elevation_error_of(model(4.0))[1] == 20.0


def test_a_user_who_knows_better_says_it():
    found = elevation_error_of(
        model(1.0), elevation_error=0.25, elevation_error_range=90.0
    )
    assert found == (0.25, 90.0)
