"""Daily records of stations: forms, units, checks in words, notes of bloom."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pyproj import CRS
from vega_datasets import data

from sitekit.climate.frost import last_frost
from sitekit.climate.seasons import make_seasons
from sitekit.errors import InputError
from sitekit.io.records import RecordSource, read_records
from sitekit.io.records_checks import check_days, usual_mean

UTM = CRS.from_epsg(32633)
MIDDLE = (15.0, 46.3)


def calendar(start="2001-01-01", end="2004-12-31", mean=9.0, swing=9.0, seed=1):
    """Days with a season and some noise; no two alike."""
    dates = pd.date_range(start, end)
    random = np.random.default_rng(seed)
    season = mean - swing * np.cos(2 * np.pi * dates.day_of_year.to_numpy() / 365.25)
    noise = random.normal(0, 1.5, len(dates))
    return pd.DataFrame(
        {
            "date": dates.strftime("%Y-%m-%d"),
            "tmin": (season + noise - 5).round(1),
            "tmax": (season + noise + 5).round(1),
        }
    )


def read(path, **given):
    source = RecordSource(files=(path,), station=(15.0, 46.3, 700.0), **given)
    records, remarks = read_records(source, UTM, MIDDLE)
    return records[0], [f"{r.kind}: {r.about}: {r.text}" for r in remarks]


def write(tmp_path, table, name="station.csv", **options):
    path = tmp_path / name
    table.to_csv(path, index=False, **options)
    return path


def test_a_plain_table_comes_back_as_it_is(tmp_path):
    table = calendar()
    record, remarks = read(write(tmp_path, table))
    assert len(record.days) == len(table)
    np.testing.assert_array_equal(record.days["tmin"], table["tmin"])
    np.testing.assert_array_equal(record.days["tmax"], table["tmax"])
    assert record.elevation == 700.0
    assert record.latitude == 46.3
    assert record.easting == pytest.approx(500_000, abs=0.01)
    assert remarks == ["read: station.csv: 2001 to 2004, 1461 days"]


@pytest.mark.parametrize("separator", [",", ";", "\t"])
def test_any_usual_separator_is_known(tmp_path, separator):
    table = calendar()
    record, _ = read(write(tmp_path, table, sep=separator))
    np.testing.assert_array_equal(record.days["tmax"], table["tmax"])


def test_a_comma_may_stand_for_the_point(tmp_path):
    table = calendar()
    record, _ = read(write(tmp_path, table, sep=";", decimal=","))
    np.testing.assert_array_equal(record.days["tmin"], table["tmin"])


@pytest.mark.parametrize(
    "form", ["%d.%m.%Y", "%d/%m/%Y", "%m/%d/%Y", "%d.%m.%y", "%d-%b-%Y", "%Y/%m/%d"]
)
def test_dates_are_read_in_the_one_order_of_the_file(tmp_path, form):
    table = calendar()
    dates = pd.to_datetime(table["date"])
    told = table.assign(date=dates.dt.strftime(form))
    record, remarks = read(write(tmp_path, told))
    assert record.days["date"].dt.strftime("%Y-%m-%d").tolist() == list(table["date"])
    np.testing.assert_array_equal(record.days["tmin"], table["tmin"])
    assert remarks == ["read: station.csv: 2001 to 2004, 1461 days"]


def test_days_up_to_the_twelfth_are_told_apart_from_months_by_their_order(tmp_path):
    table = calendar("2001-03-01", "2001-03-11")
    dates = pd.to_datetime(table["date"])
    for form in ("%d/%m/%Y", "%m/%d/%Y"):
        told = table.assign(date=dates.dt.strftime(form))
        record, _ = read(write(tmp_path, told))
        assert (record.days["date"].dt.month == 3).all()


def test_a_date_of_either_order_is_refused_where_nothing_tells_them_apart(tmp_path):
    path = tmp_path / "bloom.csv"
    path.write_text("fruit,full_bloom\npear,04/05/2003\n")
    with pytest.raises(InputError, match="may begin with the day or the month"):
        read(write(tmp_path, calendar()), bloom=path)


@pytest.mark.parametrize("held", [b"", b"\xff\xfe\x00", b'fruit,"full\n'])
def test_notes_of_bloom_that_are_no_table_are_told(tmp_path, held):
    (tmp_path / "bloom.csv").write_bytes(held)
    with pytest.raises(InputError, match=r"bloom\.csv"):
        read(write(tmp_path, calendar()), bloom=tmp_path / "bloom.csv")


def test_columns_of_other_names_are_mapped(tmp_path):
    table = calendar().rename(columns={"date": "Tag", "tmin": "low", "tmax": "high"})
    columns = {"date": "Tag", "tmin": "low", "tmax": "high"}
    record, _ = read(write(tmp_path, table), columns=columns)
    assert record.days["tmin"].iloc[0] == table["low"].iloc[0]


def test_fahrenheit_becomes_celsius(tmp_path):
    table = calendar()
    table[["tmin", "tmax"]] = table[["tmin", "tmax"]] * 1.8 + 32
    record, remarks = read(write(tmp_path, table), unit="degF")
    np.testing.assert_allclose(record.days["tmin"], calendar()["tmin"], atol=1e-9)
    assert not any("Fahrenheit" in text for text in remarks)


def test_wind_and_cloud_are_taken_where_they_are(tmp_path):
    table = calendar().assign(wind_night=1.5, cloud_night=0.25)
    record, _ = read(write(tmp_path, table))
    assert set(record.days["wind"]) == {1.5}
    assert set(record.days["cloud"]) == {0.25}
    bare, _ = read(write(tmp_path, calendar(), "bare.csv"))
    assert bare.days[["wind", "cloud"]].isna().all(axis=None)


def test_several_stations_are_read_the_first_speaks(tmp_path):
    files = (
        write(tmp_path, calendar(), "near.csv"),
        write(tmp_path, calendar(seed=2), "far.csv"),
    )
    source = RecordSource(files=files, station=(15.0, 46.3, 700.0))
    records, remarks = read_records(source, UTM, MIDDLE)
    assert [r.name for r in records] == ["near", "far"]
    assert np.isnan(records[1].elevation)
    assert any(r.about == "far.csv" and "field is taken" in r.text for r in remarks)


# -- a real record ---------------------------------------------------------------------


def test_a_public_record_gives_the_last_frosts_that_pandas_finds(tmp_path):
    # Daily weather of Seattle 2012 to 2015, NOAA, as the package vega-datasets carries
    # it (BSD-3-Clause); read through our reader, recomputed with pandas alone.
    table = data.seattle_weather()
    path = write(tmp_path, table)
    source = RecordSource(files=(path,), station=(-122.3, 47.4, 120.0))
    records, _ = read_records(source, CRS.from_epsg(32610), (-122.3, 47.4))
    seasons = make_seasons(records[0])
    assert seasons.complete.all()
    dates = pd.to_datetime(table["date"])
    for limit in (0.0, -2.0):
        found = last_frost(seasons.tmin, seasons.day_of(7, 24), limit)
        for year, column in zip(seasons.years, found, strict=True):
            spring = (dates.dt.year == year) & (dates < f"{year}-07-24")
            cold = dates[spring & (table["temp_min"] <= limit)]
            expected = np.nan if cold.empty else cold.max().day_of_year - 1
            np.testing.assert_equal(column, expected)


def test_hours_given_as_days_are_refused(tmp_path):
    path = write(
        tmp_path,
        data.seattle_temps().assign(tmin=lambda t: t["temp"], tmax=lambda t: t["temp"]),
    )
    with pytest.raises(InputError, match=r"24 rows a day.*one row a day"):
        read(path)


# -- oddities --------------------------------------------------------------------------


def odd(change):
    """Check a calendar after a change; what is left, and what is said."""
    table = calendar().assign(wind=np.nan, cloud=np.nan)
    table["date"] = pd.to_datetime(table["date"])
    changed = change(table)
    days, remarks = check_days(table if changed is None else changed, "x.csv", 46.3)
    return days, [r.text for r in remarks]


def test_a_good_record_is_passed_over_in_silence():
    days, told = odd(lambda _table: None)
    assert told == []
    assert len(days) == 1461


def put(column, rows, value):
    def change(table):
        table.loc[rows, column] = value

    return change


def test_days_out_of_order_are_put_in_order():
    days, told = odd(lambda table: table.sample(frac=1, random_state=3))
    assert days["date"].is_monotonic_increasing
    assert told == ["its days were out of order"]


def test_a_day_that_stands_twice_counts_once():
    def twice(table):
        extra = table.iloc[[10]].assign(tmin=-30.0)
        return pd.concat([table.iloc[:11], extra, table.iloc[11:]])

    days, told = odd(twice)
    assert len(days) == 1461
    assert days["tmin"].iloc[10] > -20
    assert told == ["1 day stood twice; the first counts"]


def test_impossible_values_are_left_out():
    days, told = odd(put("tmax", 100, 999.0))
    assert np.isnan(days["tmax"].iloc[100])
    assert told[0] == "1 value left out: impossible"


def test_a_minimum_over_the_maximum_is_left_out():
    days, told = odd(put("tmin", [5, 6], 40.0))
    assert len(days) == 1459
    assert told[0] == "2 days left out: whose minimum lies over the maximum"
    assert "2 days of" in told[1]


def test_a_slip_that_stands_out_from_both_neighbours_is_left_out():
    days, told = odd(put("tmin", 700, -40.0))
    assert np.isnan(days["tmin"].iloc[700])
    assert told[0] == "1 value left out: over 22 °C off both neighbours"


def test_a_cold_spell_is_no_slip():
    _, told = odd(put("tmin", range(700, 704), [-20, -21, -20.5, -19]))
    assert told == []


def test_a_sensor_that_stands_still_is_left_out():
    def freeze(table):
        table.loc[300:311, ["tmin", "tmax"]] = table.loc[
            300, ["tmin", "tmax"]
        ].to_numpy()

    days, told = odd(freeze)
    assert told[0] == "12 days left out: on which the sensor stood still"
    assert len(days) == 1461 - 12


def test_a_long_gap_is_told_with_its_begin():
    _, told = odd(lambda table: table.drop(range(400, 450)))
    begin = (pd.Timestamp("2001-01-01") + pd.Timedelta(days=400)).strftime("%Y-%m-%d")
    assert told[0].endswith(f"the longest gap is 50 days from {begin}")


def test_one_year_is_too_little_and_says_so():
    _, told = odd(lambda table: table.iloc[:365])
    assert "365 days are too few for years" in told[0]


def test_fahrenheit_read_as_celsius_is_noticed():
    def warm(table):
        table[["tmin", "tmax"]] = table[["tmin", "tmax"]] * 1.8 + 32

    _, told = odd(warm)
    assert "is it Fahrenheit" in told[-1]


def test_celsius_taken_for_fahrenheit_is_noticed():
    def cold(table):
        table[["tmin", "tmax"]] = (table[["tmin", "tmax"]] - 32) / 1.8

    _, told = odd(cold)
    assert "Celsius taken for Fahrenheit" in told[-1]


def test_the_usual_mean_is_that_of_the_zones():
    # North, Cahalan & Coakley 1981, Rev. Geophys. 19: mean of the globe 14.97 degC.
    sines = np.linspace(-1, 1, 2001)
    means = [usual_mean(np.degrees(np.arcsin(s))) for s in sines]
    assert np.mean(means) == pytest.approx(14.97, abs=0.02)
    assert usual_mean(0) > usual_mean(46) > usual_mean(60) > usual_mean(90)
    assert usual_mean(-46) == usual_mean(46)


@settings(max_examples=30, deadline=None)
@given(st.integers(0, 9), st.floats(0.0, 0.3))
def test_whatever_is_left_is_in_order_once_and_possible(seed, share):
    random = np.random.default_rng(seed)
    table = calendar(seed=seed).assign(wind=np.nan, cloud=np.nan)
    table["date"] = pd.to_datetime(table["date"])
    for column in ("tmin", "tmax"):
        wild = random.random(len(table)) < share
        table.loc[wild, column] = random.uniform(-200, 200, int(wild.sum()))
    days, _ = check_days(table.sample(frac=1, random_state=seed), "x.csv", 46.3)
    assert days["date"].is_monotonic_increasing
    assert days["date"].is_unique
    assert (days["tmin"].dropna() >= -70).all()
    assert (days["tmax"].dropna() <= 57).all()
    assert not (days["tmin"] > days["tmax"]).any()


# -- what cannot be read ---------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("", "is empty"),
        ("date,tmin,tmax\n", "no temperature that can be used"),
        ("date,tmin\n2001-01-01,1\n", "has no column tmax"),
        (
            "date,tmin,tmax\n2001-01-01,1,2\nyesterday,1,2\n",
            'line 3: "yesterday" is not a date',
        ),
        ("date,tmin,tmax\n2001-01-01,cold,2\n", 'line 2: "cold" is not a number'),
        (
            "date,tmin,tmax\n2001-01-01,a,2\n2001-01-02,b,2\n",
            r"\(1 more of that kind\)",
        ),
        ("date,tmin,tmax\n2001-01-01,,\n", "no temperature that can be used"),
    ],
)
def test_a_bad_file_is_told_with_its_line(tmp_path, text, told):
    path = tmp_path / "station.csv"
    path.write_text(text)
    with pytest.raises(InputError, match=told):
        read(path)


def test_a_missing_file_and_a_missing_column_are_told(tmp_path):
    with pytest.raises(InputError, match="no such file"):
        read(tmp_path / "none.csv")
    path = write(tmp_path, calendar())
    with pytest.raises(InputError, match=r'no column "tmim".* Nearest: "tmin"'):
        read(path, columns={"tmin": "tmim"})


def test_empty_cells_are_missing_and_no_error(tmp_path):
    table = calendar().astype({"tmin": object})
    table.loc[10, "tmin"] = ""
    table.loc[11, "tmin"] = "NA"
    record, remarks = read(write(tmp_path, table))
    assert record.days["tmin"].isna().sum() == 2
    assert "2 days of" in remarks[0]


# -- bloom -----------------------------------------------------------------------------


def test_notes_of_bloom_come_from_a_table(tmp_path):
    path = tmp_path / "bloom.csv"
    path.write_text(
        "tree,fruit,year,full_bloom\nby the well,pear,2003,2003-04-27\n,plum,2004,\n"
    )
    record, remarks = read(write(tmp_path, calendar()), bloom=path)
    (note,) = record.bloom.to_dict("records")
    assert note == {
        "fruit": "pear",
        "year": 2003,
        "day": pd.Timestamp("2003-04-27"),
        "place": "by the well",
    }
    assert "read: bloom.csv: 1 note of bloom" in remarks


def test_a_day_for_each_fruit_is_of_the_last_year_of_the_record(tmp_path):
    bloom = {"apple": "05-02", "plum": "2003-04-20"}
    record, _ = read(write(tmp_path, calendar()), bloom=bloom)
    assert record.bloom["year"].tolist() == [2004, 2003]
    assert record.bloom["day"].dt.strftime("%m-%d").tolist() == ["05-02", "04-20"]


@pytest.mark.parametrize(
    ("bloom", "told"),
    [
        ({"apple": "May"}, '"May" of apple is not a day'),
        (Path("none.csv"), "no such file"),
    ],
)
def test_bad_notes_of_bloom_are_told(tmp_path, bloom, told):
    with pytest.raises(InputError, match=told):
        read(write(tmp_path, calendar()), bloom=bloom)


def test_a_table_of_bloom_without_its_columns_is_told(tmp_path):
    path = tmp_path / "bloom.csv"
    path.write_text("tree,day\na,2003-04-27\n")
    with pytest.raises(InputError, match="no column fruit"):
        read(write(tmp_path, calendar()), bloom=path)
