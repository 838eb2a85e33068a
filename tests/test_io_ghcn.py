"""GHCN-Daily: months of fixed width, rows by station, tables with attributes.

Forms after the archive's readme.txt: ID 1-11, YEAR 12-15, MONTH 16-17, ELEMENT 18-21,
then VALUE (5), MFLAG, QFLAG, SFLAG for each of 31 days; tenths of a degree; -9999.
"""

import numpy as np
import pandas as pd
import pytest
from pyproj import CRS

from sitekit.errors import InputError
from sitekit.io.ghcn import is_ghcn, read_ghcn
from sitekit.io.records import RecordSource, read_records

NAME = "XX000012345"


def month(year, number, element, values, flags=None):
    """One line of a .dly file."""
    flags = flags or {}
    cells = "".join(
        f"{value:5d} {flags.get(day, ' ')}S"
        for day, value in enumerate(values, start=1)
    )
    return f"{NAME}{year:04d}{number:02d}{element}{cells}"


def dly(flags=None):
    low = [-50 + d for d in range(31)]
    high = [60 + d for d in range(31)]
    february = [10] * 28 + [-9999] * 3
    lines = [
        month(2001, 1, "TMIN", low, flags),
        month(2001, 1, "TMAX", high),
        month(2001, 1, "PRCP", [0] * 31),
        month(2001, 2, "TMIN", february),
        month(2001, 2, "TMAX", [v + 100 if v > 0 else v for v in february]),
    ]
    return "\n".join(lines) + "\n"


def read(tmp_path, text, name="x.dly"):
    path = tmp_path / name
    path.write_text(text)
    return read_ghcn(path, text)


def test_a_line_has_the_length_of_the_archive():
    assert len(month(2001, 1, "TMIN", [0] * 31)) == 269


def test_months_become_days_in_degrees(tmp_path):
    days, place = read(tmp_path, dly())
    assert place is None
    assert len(days) == 31 + 28
    assert days["date"].iloc[0] == pd.Timestamp("2001-01-01")
    assert days["tmin"].iloc[[0, 30, 31]].tolist() == [-5.0, -2.0, 1.0]
    assert days["tmax"].iloc[[0, 30, 31]].tolist() == [6.0, 9.0, 11.0]


def test_a_value_with_a_quality_flag_is_left_out(tmp_path):
    days, _ = read(tmp_path, dly(flags={3: "I", 4: "G"}))
    assert np.isnan(days["tmin"].iloc[2:4]).all()
    assert np.isfinite(days["tmax"].iloc[2:4]).all()


def test_days_that_a_month_has_not_are_missing(tmp_path):
    text = month(2003, 2, "TMIN", [5] * 31) + "\n" + month(2003, 2, "TMAX", [9] * 31)
    days, _ = read(tmp_path, text)
    assert len(days) == 28


def rows():
    return (
        f"{NAME},20010101,TMIN,-52,,,S,0700\n"
        f"{NAME},20010101,TMAX,61,,,S,\n"
        f"{NAME},20010102,TMIN,-31,,I,S,\n"
        f"{NAME},20010102,TMAX,75,,,S,\n"
        f"{NAME},20010102,PRCP,12,,,S,\n"
    )


def test_rows_by_station_become_days(tmp_path):
    days, _ = read(tmp_path, rows(), "x.csv")
    assert days["tmin"].iloc[0] == -5.2
    assert np.isnan(days["tmin"].iloc[1])
    assert days["tmax"].tolist() == [6.1, 7.5]


def table():
    return (
        '"STATION","DATE","LATITUDE","LONGITUDE","ELEVATION","NAME","TMAX",'
        '"TMAX_ATTRIBUTES","TMIN","TMIN_ATTRIBUTES"\n'
        f'"{NAME}","2001-01-01","60.5","15.25","210.0","MADE","   61",",,S","  -52",",,S"\n'
        f'"{NAME}","2001-01-02","60.5","15.25","210.0","MADE","   75",",,S","  -31",",I,S"\n'
    )


def test_a_table_with_attributes_tells_its_place(tmp_path):
    days, place = read(tmp_path, table(), "x.csv")
    assert place == (15.25, 60.5, 210.0)
    assert days["tmin"].iloc[0] == -5.2
    assert np.isnan(days["tmin"].iloc[1])
    assert days["tmax"].tolist() == [6.1, 7.5]


def test_a_table_without_attributes_holds_degrees(tmp_path):
    text = f"STATION,DATE,TMAX,TMIN\n{NAME},2001-01-01,6.1,-5.2\n"
    days, place = read(tmp_path, text, "x.csv")
    assert (days["tmin"].iloc[0], days["tmax"].iloc[0]) == (-5.2, 6.1)
    assert place is None


@pytest.mark.parametrize("text", [dly(), rows(), table()])
def test_every_form_is_known_by_its_first_line(tmp_path, text):
    assert is_ghcn(tmp_path / "x.csv", text)
    assert not is_ghcn(tmp_path / "x.csv", "date,tmin,tmax\n2001-01-01,1,2\n")


@pytest.mark.parametrize(
    ("text", "told"),
    [
        (dly() + "XX000012345200113TMIN\n", "line 6 is not a month"),
        (dly().replace("  -50", "  -5x", 1), "line 1 is not a month"),
        (rows() + f"{NAME},20010103,TMIN,cold,,,S,\n", "line 6 is not a row"),
        (month(2001, 1, "PRCP", [0] * 31), "no minimum or maximum"),
        (month(2001, 1, "TMIN", [-9999] * 31), "no minimum or maximum"),
    ],
)
def test_what_cannot_be_read_is_told(tmp_path, text, told):
    with pytest.raises(InputError, match=told):
        read(tmp_path, text)


def test_the_place_of_the_file_is_taken_where_none_is_given(tmp_path):
    path = tmp_path / "station.csv"
    path.write_text(table())
    records, remarks = read_records(
        RecordSource(files=(path,)), CRS.from_epsg(32633), (14.0, 46.0)
    )
    assert records[0].latitude == 60.5
    assert records[0].elevation == 210.0
    assert not any("field is taken" in r.text for r in remarks)
