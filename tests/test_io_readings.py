"""Readings of loggers: how files are written, and what is said about them."""

import numpy as np
import pandas as pd
import pytest
from pyproj import CRS

from sitekit.errors import ConfigError, InputError
from sitekit.io.reading_file import AT_A_TIME, check_zone, read_file
from sitekit.io.reading_text import find_formats, find_layout
from sitekit.io.readings import read_readings

UTM = CRS.from_epsg(32633)
TIMES = pd.date_range("2025-04-25 00:00", periods=24 * 14, freq="1h")
WARMTH = np.round(8 + 6 * np.sin((TIMES.hour.to_numpy() - 9) * np.pi / 12), 1)


def write(path, lines):
    path.write_text("\n".join([*lines, ""]), encoding="utf-8")
    return path


def lines_of(
    form="%Y-%m-%d %H:%M", separator=",", decimal=".", times=TIMES, values=WARMTH
):
    return [
        f"{t.strftime(form)}{separator}{str(v).replace('.', decimal)}"
        for t, v in zip(times, values, strict=True)
    ]


def one(path, zone="UTC"):
    read = read_file(path, zone)
    (series,) = read.by_logger.values()
    return series, read


def table(folder, rows=("L1,500100,5130100", "L2,500200,5130200")):
    write(folder / "loggers.csv", ["logger,easting,northing", *rows])


def read(path, zone="UTC"):
    return read_readings(path, UTM, 15.0, zone)


def said(readings, kind):
    return " | ".join(
        f"{r.about}: {r.text}" for r in readings.remarks if r.kind == kind
    )


@pytest.mark.parametrize(
    ("form", "separator", "decimal"),
    [
        ("%Y-%m-%d %H:%M", ",", "."),
        ("%Y-%m-%dT%H:%M:%SZ", ",", "."),
        ("%d.%m.%Y %H:%M", ";", ","),
        ("%d/%m/%y %H:%M:%S", "\t", "."),
        ("%m/%d/%Y %I:%M:%S %p", ",", "."),
        ("%m/%d/%y %I:%M %p", "|", "."),
        ("%d-%b-%Y %H:%M", ",", "."),
        ("%Y/%m/%d %H:%M", ";", "."),
        ("%d.%m.%Y;%H:%M:%S", ";", ","),
        ("%Y-%m-%d %H:%M:%S.000", ",", "."),
    ],
)
def test_every_usual_way_of_writing_gives_the_same_readings(
    tmp_path, form, separator, decimal
):
    heads = ["time", "temperature"]
    if form.count(";"):
        heads = ["date", "clock", "temperature"]
    series, _ = one(
        write(
            tmp_path / "a.csv",
            [separator.join(heads), *lines_of(form, separator, decimal)],
        )
    )
    assert list(series.index) == list(TIMES.tz_localize("UTC"))
    assert np.allclose(series.to_numpy(), WARMTH, atol=0.01)


def test_lines_before_the_head_and_a_counter_are_passed_over(tmp_path):
    rows = [f"{i},{line},85" for i, line in enumerate(lines_of(), start=1)]
    path = write(
        tmp_path / "a.csv",
        [
            "Plot title: meadow",
            "serial 1234",
            '"#","Date Time, GMT+01:00","Temp, °C","Batt, V"',
            *rows,
        ],
    )
    series, file = one(path)
    assert series.index[0] == pd.Timestamp("2025-04-24 23:00", tz="UTC")
    assert file.names_zone
    assert np.allclose(series, WARMTH, atol=0.01)


def test_a_file_without_a_head_gives_its_first_time_and_first_number(tmp_path):
    series, _ = one(write(tmp_path / "a.txt", lines_of()))
    assert len(series) == len(TIMES)
    assert np.allclose(series, WARMTH, atol=0.01)


def test_humidity_is_never_taken_for_temperature(tmp_path):
    rows = [f"{t:%Y-%m-%d %H:%M},87,{v}" for t, v in zip(TIMES, WARMTH, strict=True)]
    series, _ = one(write(tmp_path / "a.csv", ["time,humidity_pct,value", *rows]))
    assert np.allclose(series, WARMTH, atol=0.01)


def test_a_file_without_temperature_is_told_with_what_it_has(tmp_path):
    path = write(tmp_path / "a.csv", ["time,humidity_pct", *lines_of()])
    with pytest.raises(InputError, match=r"a\.csv: no column of temp.*humidity_pct"):
        find_layout(path)


@pytest.mark.parametrize("head", ["time,temp_f", 'time,"Temp, °F"', "time,degF"])
def test_a_head_that_says_fahrenheit_is_believed(tmp_path, head):
    fahrenheit = np.round(WARMTH * 1.8 + 32, 1)
    series, file = one(write(tmp_path / "a.csv", [head, *lines_of(values=fahrenheit)]))
    assert np.allclose(series, WARMTH, atol=0.06)
    assert "degF" in file.told[0]


def test_temperatures_that_no_air_has_in_degc_are_taken_as_degf_and_said(tmp_path):
    fahrenheit = np.round(WARMTH * 1.8 + 32, 1)
    series, file = one(
        write(tmp_path / "a.csv", ["time,temp", *lines_of(values=fahrenheit)])
    )
    assert np.allclose(series, WARMTH, atol=0.06)
    assert "no air is that warm" in file.told[0]


def test_impossible_and_missing_readings_are_dropped_and_counted(tmp_path):
    values = WARMTH.astype(object)
    values[5], values[9], values[11] = -144.0, "", "ERR"
    series, file = one(
        write(tmp_path / "a.csv", ["time,temp", *lines_of(values=values)])
    )
    assert len(series) == len(TIMES) - 3
    assert file.told == ("1 impossible temperatures dropped",)


def test_the_order_of_day_and_month_follows_from_the_days_of_the_spring(tmp_path):
    days = pd.date_range("2025-03-02 00:00", "2025-03-12 23:00", freq="1h")
    values = np.full(len(days), 4.5)
    path = write(
        tmp_path / "a.csv",
        ["time,temp", *lines_of("%d/%m/%Y %H:%M", times=days, values=values)],
    )
    series, _ = one(path)
    assert (series.index.month == 3).all()


def test_dates_that_can_be_read_in_two_ways_are_asked_about(tmp_path):
    day = pd.date_range("2025-03-02 00:00", periods=20, freq="1h")
    path = write(
        tmp_path / "a.csv",
        ["time,temp", *lines_of("%d/%m/%Y %H:%M", times=day, values=np.arange(20.0))],
    )
    with pytest.raises(InputError, match="day first or month first"):
        read_file(path, "UTC")


def test_a_zone_with_summer_time_loses_no_hour_and_doubles_none(tmp_path):
    true = pd.date_range("2025-10-25 12:00", periods=36, freq="1h", tz="UTC")
    local = true.tz_convert("Europe/Vienna").tz_localize(None)
    path = write(
        tmp_path / "a.csv",
        ["time,temp", *lines_of(times=local, values=np.arange(36.0))],
    )
    series, _ = one(path, "Europe/Vienna")
    assert list(series.index) == list(true)
    assert np.allclose(np.diff(series), 1.0)


def test_spring_forward_loses_no_reading(tmp_path):
    true = pd.date_range("2025-03-29 12:00", periods=36, freq="1h", tz="UTC")
    local = true.tz_convert("Europe/Vienna").tz_localize(None)
    path = write(
        tmp_path / "a.csv",
        ["time,temp", *lines_of(times=local, values=np.arange(36.0))],
    )
    series, _ = one(path, "Europe/Vienna")
    assert list(series.index) == list(true)


def test_a_zone_in_the_times_stands_above_the_option(tmp_path):
    path = write(
        tmp_path / "a.csv", ["time,temp", *lines_of("%Y-%m-%dT%H:%M:%S+02:00")]
    )
    series, _ = one(path, "-08:00")
    assert series.index[0] == pd.Timestamp("2025-04-24 22:00", tz="UTC")


def test_a_time_that_comes_twice_stands_once(tmp_path):
    path = write(tmp_path / "a.csv", ["time,temp", *lines_of(), lines_of()[3]])
    series, file = one(path)
    assert series.index.is_unique
    assert series.index.is_monotonic_increasing
    assert "1 times that came twice dropped" in file.told


def test_text_of_two_bytes_and_marks_at_the_start_are_read(tmp_path):
    for encoding in ("utf-16", "utf-8-sig", "latin-1"):
        path = tmp_path / f"{encoding}.csv"
        text = "\n".join(["time;Temp °C", *lines_of("%d.%m.%Y %H:%M", ";", ","), ""])
        path.write_text(text, encoding=encoding)
        series, _ = one(path)
        assert np.allclose(series, WARMTH, atol=0.01)


def test_a_picture_is_told_apart_from_readings(tmp_path):
    path = tmp_path / "photo.csv"
    path.write_bytes(bytes(range(256)) * 20)
    with pytest.raises(InputError, match=r"photo\.csv"):
        read_file(path, "UTC")


def test_zones_are_names_or_hours():
    assert check_zone("+5:30") == "+05:30"
    assert check_zone("Europe/Vienna") == "Europe/Vienna"
    for wrong in ("Middle/Earth", "+25:00", ""):
        with pytest.raises(ConfigError, match="--time-zone"):
            check_zone(wrong)


def test_a_day_above_twelve_settles_the_order():
    assert find_formats(["03/31/25 01:00 AM"]) == ("%m/%d/%y %I:%M %p",)
    assert find_formats(["nothing"]) == ()


# -- folders ----------------------------------------------------------------------------


def test_a_folder_gives_every_logger_and_passes_over_other_files(tmp_path):
    table(tmp_path)
    for name in ("L1", "l2"):
        write(tmp_path / f"{name}.csv", ["time,temp", *lines_of()])
    (tmp_path / "photo.jpg").write_bytes(b"\xff\xd8\xff")
    write(tmp_path / "shopping.txt", ["twine", "stakes"])
    (tmp_path / "old").mkdir()
    found = read(tmp_path)
    assert set(found.temperatures) == {"L1", "L2"}
    assert list(found.loggers["logger"]) == ["L1", "L2"]
    assert "shopping.txt" in said(found, "doubtful")
    assert "2 loggers" in said(found, "read")
    assert found.loggers.crs == UTM


def test_a_logger_without_a_file_is_said_and_left_out(tmp_path):
    table(tmp_path)
    write(tmp_path / "L1.csv", ["time,temp", *lines_of()])
    found = read(tmp_path)
    assert list(found.loggers["logger"]) == ["L1"]
    assert "no readings that can be used of L2" in said(found, "doubtful")


def test_a_file_without_a_place_is_said_and_left_out(tmp_path):
    table(tmp_path)
    for name in ("L1", "L2", "L9"):
        write(tmp_path / f"{name}.csv", ["time,temp", *lines_of()])
    found = read(tmp_path)
    assert '"L9" is not in loggers.csv' in said(found, "doubtful")


def test_one_file_may_hold_all_loggers(tmp_path):
    table(tmp_path)
    rows = [f"L{i},{line}" for line in lines_of() for i in (1, 2)]
    path = write(tmp_path / "all.csv", ["logger,time,temp", *rows])
    for where in (tmp_path, path):
        found = read(where)
        assert set(found.temperatures) == {"L1", "L2"}
        assert np.allclose(found.temperatures["L2"], WARMTH, atol=0.01)


def test_degrees_become_metres_of_the_grid(tmp_path):
    write(
        tmp_path / "loggers.csv",
        ["Logger;Lat;Lon;reference", "L1;46.32;15.0;yes", "L2;46.33;15.0;"],
    )
    for name in ("L1", "L2"):
        write(tmp_path / f"{name}.csv", ["time,temp", *lines_of()])
    loggers = read(tmp_path).loggers
    assert loggers.geometry.x.to_numpy() == pytest.approx(500_000.0, abs=0.01)
    # Source: length of a degree of latitude at 46° on WGS 84, 111.15 km (NGA 8350.2).
    assert np.diff(loggers.geometry.y) == pytest.approx(1111.5 * 0.9996, abs=1.0)
    assert list(loggers["reference"]) == [True, False]


def test_two_loggers_at_one_place_are_said(tmp_path):
    table(tmp_path, ("L1,500100,5130100", "L2,500100.4,5130100"))
    for name in ("L1", "L2"):
        write(tmp_path / f"{name}.csv", ["time,temp", *lines_of()])
    assert "L1 and L2 stand at one place" in said(read(tmp_path), "doubtful")


def test_times_without_a_zone_take_that_of_the_longitude_and_say_so(tmp_path):
    table(tmp_path)
    write(tmp_path / "L1.csv", ["time,temp", *lines_of()])
    found = read_readings(tmp_path, UTM, 15.0, None)
    assert "UTC+01:00" in said(found, "doubtful")
    assert found.temperatures["L1"].index[0] == pd.Timestamp(
        "2025-04-24 23:00", tz="UTC"
    )


@pytest.mark.parametrize(
    ("rows", "message"),
    [
        (["logger,lon", "L1,15"], "no columns lon, lat"),
        (["name,lon,lat", "L1,15,46"], 'no column "logger"'),
        (["logger,lon,lat", "L1,15,46", "l1,15,46"], "stands twice"),
        (["logger,lon,lat", "L1,15,"], 'logger "L1" has no place'),
    ],
)
def test_a_table_that_cannot_be_used_says_what_mends_it(tmp_path, rows, message):
    write(tmp_path / "loggers.csv", rows)
    write(tmp_path / "L1.csv", ["time,temp", *lines_of()])
    with pytest.raises(InputError, match=message):
        read(tmp_path)


@pytest.mark.parametrize(
    ("table", "said"),
    [
        ("", "cannot be read as a table"),
        ("logger\nA\n", "lon, lat"),
        ("logger,lon,lat\n", "names no logger"),
        ("logger,lon,lat\nA,15.0,95.0\n", '"A" has no place on Earth'),
        ("logger,easting,northing\nA,inf,0\n", '"A" has no place on Earth'),
    ],
)
def test_a_table_of_loggers_without_a_place_to_read_is_told(tmp_path, table, said):
    (tmp_path / "loggers.csv").write_text(table, encoding="utf-8")
    with pytest.raises(InputError, match=said):
        read(tmp_path)


@pytest.mark.parametrize("name", ["nothing", "nothing.csv"])
def test_readings_that_are_not_there_are_told_by_name(tmp_path, name):
    with pytest.raises(InputError, match=f"{name}: there is no such file or folder"):
        read(tmp_path / name)


def test_a_folder_without_a_table_or_without_readings_is_told(tmp_path):
    with pytest.raises(InputError, match=r"there is no loggers\.csv"):
        read(tmp_path)
    table(tmp_path)
    with pytest.raises(InputError, match="no file holds readings"):
        read(tmp_path)
    with pytest.raises(InputError, match="no such file"):
        read(tmp_path / "absent.csv")


def test_a_file_longer_than_one_bite_is_read_whole(tmp_path):
    count = AT_A_TIME + 5
    times = pd.date_range("2023-01-01", periods=count, freq="1min")
    frame = pd.DataFrame({"time": times.strftime("%Y-%m-%d %H:%M"), "temp": 1.5})
    frame.to_csv(tmp_path / "a.csv", index=False)
    series, _ = one(tmp_path / "a.csv")
    assert len(series) == count
    assert series.index[-1] == times[-1].tz_localize("UTC")


def test_a_folder_with_other_files_names_each_once_and_reads_the_rest(tmp_path):
    table(tmp_path, ("L1,500100,5130100", "L2,500300,5130100", "L3,500400,5130100"))
    write(tmp_path / "L1.csv", ["time,temp", *lines_of()])
    write(tmp_path / "costs.csv", ["item,price", "wire,3"])
    (tmp_path / "photo.jpg").write_bytes(b"\xff\xd8\xff")
    found = read(tmp_path)
    assert list(found.temperatures) == ["L1"]
    about = {r.about: r.text for r in found.remarks if r.kind == "doubtful"}
    assert about["costs.csv"].startswith("no line holds a time")
    assert "of L2 and L3" in about["loggers.csv"]
    assert any("1 logger," in r.text for r in found.remarks)
