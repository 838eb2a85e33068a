"""Plants of pieces that lie side by side keep their distance."""

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st
from scipy.spatial.distance import cdist

from sitekit.planting.grounds import cut_off
from sitekit.planting.ordering import keep_apart
from sitekit.planting.rows import lay_rows


def rows_on(ground, spacing):
    return lay_rows(ground, spacing=spacing, row_spacing=spacing + 1)


def test_plants_on_both_sides_of_a_cut_keep_the_larger_spacing():
    left, right = shapely.box(0, 0, 40, 60), shapely.box(40, 0, 80, 60)
    first, second = rows_on(left, 3.0), rows_on(right, 5.0)
    apart = keep_apart(second, [(first.positions, first.spacing)])
    assert 0 < apart.sum() < len(apart)
    assert cdist(second.positions[apart], first.positions).min() >= 5.0 - 1e-6
    gone = cdist(second.positions[~apart], first.positions).min(axis=1)
    assert (gone < 5.0).all()


def test_without_neighbours_every_plant_stays():
    layout = rows_on(shapely.box(0, 0, 30, 30), 4.0)
    assert keep_apart(layout, []).all()
    assert keep_apart(layout, [(np.empty((0, 2)), 4.0)]).all()
    far = layout.positions + 500.0
    assert keep_apart(layout, [(far, 4.0)]).all()


@pytest.mark.parametrize("bearing", [0.0, 37.0, 90.0, 155.0])
def test_a_strip_of_some_area_is_cut_along_the_rows(bearing):
    ground = shapely.box(0, 0, 50, 30)
    part = cut_off(ground, 400.0, bearing)
    assert part.area == pytest.approx(400.0, abs=0.5)
    assert part.difference(ground.buffer(0.01)).area == pytest.approx(0)


@given(st.floats(1.0, 1400.0), st.floats(0.0, 179.0))
def test_part_and_rest_are_the_whole(area, bearing):
    ground = shapely.box(0, 0, 50, 30)
    part = cut_off(ground, area, bearing)
    rest = ground.difference(part)
    assert part.area + rest.area == pytest.approx(ground.area, abs=0.5)
