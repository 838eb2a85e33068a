"""Rows of a record from midwinter to midwinter, on both sides of the equator."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sitekit.climate.seasons import Seasons


def make_seasons(*, south, years=(2019, 2020, 2021)):
    month = "07" if south else "01"
    shape = (len(years), 366)
    return Seasons(
        years=np.array(years),
        starts=np.array([f"{y}-{month}-01" for y in years], "datetime64[D]"),
        tmin=np.zeros(shape, np.float32),
        tmax=np.zeros(shape, np.float32),
        clear=np.zeros(shape, np.float32),
        complete=np.ones(len(years), bool),
        south=south,
    )


def test_a_date_of_the_north_lies_in_its_own_year():
    seasons = make_seasons(south=False)
    assert seasons.day_of(1, 1).tolist() == [0, 0, 0]
    assert seasons.day_of(3, 1).tolist() == [59, 60, 59]
    assert seasons.day_of(12, 31).tolist() == [364, 365, 364]


def test_a_date_of_the_south_may_lie_in_the_next_year():
    seasons = make_seasons(south=True)
    assert seasons.day_of(7, 1).tolist() == [0, 0, 0]
    assert seasons.day_of(9, 1).tolist() == [62, 62, 62]
    assert seasons.day_of(1, 24).tolist() == [207, 207, 207]
    assert seasons.day_of(6, 30).tolist() == [365, 364, 364]


@given(
    st.booleans(),
    st.dates(
        min_value=np.datetime64("2019-07-01").item(),
        max_value=np.datetime64("2019-12-31").item(),
    ),
)
def test_the_column_leads_back_to_the_date(south, date):
    seasons = make_seasons(south=south)
    found = seasons.starts + seasons.day_of(date.month, date.day)
    assert {str(d)[5:] for d in found} == {date.isoformat()[5:]}


@pytest.mark.parametrize("south", [False, True])
def test_columns_rise_through_the_season(south):
    seasons = make_seasons(south=south)
    months = [7, 8, 9, 10, 11, 12] if south else [1, 2, 3, 4, 5, 6]
    later = [1, 2, 3, 4, 5, 6] if south else [7, 8, 9, 10, 11, 12]
    columns = np.stack([seasons.day_of(m, 15) for m in [*months, *later]])
    assert (np.diff(columns, axis=0) >= 28).all()
