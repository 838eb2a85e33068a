"""Many fields: the same answer as alone, whatever dies on the way."""

import errno
import json
import os
import signal
from dataclasses import replace
from pathlib import Path

import geopandas
import pandas as pd
import pytest
import rasterio
import shapely
from distributed import Client, LocalCluster
from typer.testing import CliRunner

from sitekit.cli.app import app
from sitekit.errors import ConfigError, InputError, OutputError
from sitekit.io.fields import read_fields
from sitekit.io.inputs import SiteRequest, read_request
from sitekit.io.vectors import VectorSource
from sitekit.pipeline import survey
from sitekit.region import RegionRequest, run, survey_region, write_region
from sitekit.region.field import (
    DONE,
    FAILED,
    FieldTask,
    sum_up,
    survey_batch,
    survey_field,
)
from sitekit.region.files import tabulate
from sitekit.words import SITE_CLASSES

# SRTM 3 arc-second, public domain, the clip of the samples: see its README.
GROUND = Path(__file__).parents[1] / "sample_rasters" / "jacksboro_3arcsec.tif"
MARGIN = 700.0
FRUIT = ("apple",)


def squares(count, side=270.0, step=900.0):
    """Fields in rows over the clip, and the coordinate system they are in."""
    with rasterio.open(GROUND) as ground:
        bounds = geopandas.GeoSeries([shapely.box(*ground.bounds)], crs=ground.crs)
    zone = bounds.estimate_utm_crs()
    west, south, *_ = bounds.to_crs(zone).total_bounds
    places = [
        (west + 2000 + step * (i % 4), south + 2000 + step * (i // 4))
        for i in range(count)
    ]
    shapes = [shapely.box(x, y, x + side, y + side) for x, y in places]
    names = [f"field {i}" for i in range(count)]
    return geopandas.GeoDataFrame({"field": names}, geometry=shapes, crs=zone)


@pytest.fixture(scope="module")
def fields(tmp_path_factory):
    """Seven fields: good ones, one off the elevation, one without a shape."""
    frame = squares(7)
    far = shapely.affinity.translate(frame.geometry[5], 200_000, 0)
    frame.loc[5, "geometry"] = far
    frame.loc[6, "geometry"] = shapely.Polygon()
    path = tmp_path_factory.mktemp("region") / "fields.gpkg"
    frame.to_file(path)
    return path


@pytest.fixture(scope="module")
def request_(fields):
    return RegionRequest(read_fields(fields), (GROUND,), FRUIT, MARGIN)


@pytest.fixture(scope="module")
def alone(request_):
    """The rows made one by one in this process."""
    return survey_batch(run._tasks(request_))


def test_a_field_in_a_region_is_the_same_as_a_survey_of_its_own(
    request_, alone, tmp_path
):
    for number in (0, 3):
        own = tmp_path / f"{number}.gpkg"
        request_.fields[["geometry"]].iloc[[number]].to_file(own)
        site = read_request(
            SiteRequest([GROUND], VectorSource(own), margin=MARGIN, fruit=FRUIT)
        )
        expected = sum_up(survey(site))
        row = alone[number]
        assert {name: row[name] for name in expected} == expected


def test_a_row_says_class_share_and_nights(alone):
    row = alone[0]
    assert row["status"] == DONE
    assert row["best_class_apple"] in SITE_CLASSES
    assert 0 <= row["good_share_apple"] <= 1
    assert row["lowest_offset_degc"] <= row["mean_offset_degc"]
    assert row["area_m2"] == pytest.approx(270**2, rel=1e-3)
    assert row["reason"]


def test_a_field_that_fails_has_a_row_with_its_reason(alone):
    assert [row["status"] for row in alone] == [DONE] * 5 + [FAILED] * 2
    assert "elevation" in alone[5]["reason"]
    assert "no shape" in alone[6]["reason"]


@pytest.mark.parametrize("workers", [1, 2, 4])
def test_the_number_of_workers_changes_no_result(
    request_, alone, workers, tmp_path, monkeypatch
):
    monkeypatch.setattr(run, "BATCH", 2)
    told, watched = [], []
    found = survey_region(
        replace(request_, workers=workers),
        tmp_path / "kept",
        on_done=lambda done, total: told.append((done, total)),
        on_start=watched.append,
    )
    assert found.rows == alone
    assert told[0] == (0, 7)
    assert told[-1] == (7, 7)
    assert told == sorted(told)
    assert watched[0].startswith("http")


def test_a_worker_that_is_killed_loses_nothing(request_, alone, tmp_path, monkeypatch):
    monkeypatch.setattr(run, "BATCH", 1)
    killed = []
    with (
        LocalCluster(
            n_workers=2, threads_per_worker=1, dashboard_address=":0"
        ) as cluster,
        Client(cluster) as client,
    ):
        workers = client.run(os.getpid)

        def kill(done, _total):
            if done and not killed:
                killed.append(min(workers.values()))
                os.kill(killed[0], signal.SIGKILL)

        found = survey_region(
            replace(request_, scheduler=cluster.scheduler_address),
            tmp_path / "kept",
            on_done=kill,
        )
        assert killed[0] not in client.run(os.getpid).values()
    assert found.rows == alone


def test_what_is_finished_is_not_done_again(request_, alone, tmp_path, monkeypatch):
    kept = tmp_path / "kept"
    kept.mkdir()
    for task, row in zip(run._tasks(request_), alone, strict=True):
        run._keep(kept, task, row)
    monkeypatch.setattr(
        run, "_engine", lambda _request: pytest.fail("nothing is left to do")
    )
    assert survey_region(request_, kept).rows == alone
    run.forget(kept)
    assert not kept.exists()


def task(**changes):
    shape = shapely.box(0, 0, 1, 1).wkb
    return replace(
        FieldTask("a", shape, "EPSG:32633", (str(GROUND),), FRUIT, MARGIN), **changes
    )


@pytest.mark.parametrize(
    "change",
    [
        {"shape": shapely.box(0, 0, 2, 1).wkb},
        {"fruit": ("plum",)},
        {"margin": 800.0},
        {"crs": "EPSG:32632"},
        {"settings": (("production", 0.0),)},
    ],
)
def test_another_question_is_another_task(change):
    assert task(**change).key != task().key
    assert task().key == task().key


def test_a_changed_elevation_is_another_task(tmp_path):
    copy = tmp_path / "ground.tif"
    copy.write_bytes(GROUND.read_bytes())
    before = task(elevation=(str(copy),)).key
    copy.write_bytes(GROUND.read_bytes() + b"\0")
    assert task(elevation=(str(copy),)).key != before


def test_a_row_that_was_cut_off_is_done_again(tmp_path):
    run._keep(tmp_path, task(), {"field": "a"})
    assert run._recall(tmp_path, task()) == {"field": "a"}
    kept = next(tmp_path.glob("*.json"))
    kept.write_text(kept.read_text()[:5])
    assert run._recall(tmp_path, task()) is None


def test_neighbours_share_a_batch():
    tasks = [
        task(name=str(i), shape=shapely.box(x, 0, x + 1, 1).wkb)
        for i, x in enumerate([0, 9000, 10, 9010, 20, 9020])
    ]
    bare = task(name="bare", shape=b"")
    batches = run._batches([bare, *tasks] * 8)
    assert [len(batch) for batch in batches] == [16, 16, 16, 8]
    assert len({t.name for t in batches[0]}) < 6
    assert [t.name for t in batches[-1]][-8:] == ["bare"] * 8


def test_a_dead_scheduler_is_told(request_, tmp_path, monkeypatch):
    monkeypatch.setattr(run, "PATIENCE", 1)
    with pytest.raises(ConfigError, match=r"nothing answers at tcp://127\.0\.0\.1:9"):
        survey_region(
            replace(request_, scheduler="tcp://127.0.0.1:9"), tmp_path / "kept"
        )


def test_an_unknown_fruit_and_a_missing_elevation_are_told(request_, tmp_path):
    with pytest.raises(ConfigError, match='Nearest: "plum"'):
        survey_region(replace(request_, fruit=("plumb",)), tmp_path / "kept")
    with pytest.raises(InputError, match="no such file"):
        survey_region(
            replace(request_, elevation=(tmp_path / "x.tif",)), tmp_path / "kept"
        )


def test_a_full_disk_is_told_and_what_was_finished_stays(tmp_path, monkeypatch):
    run._keep(tmp_path, task(), {"field": "a"})

    def full(*_args, **_options):
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(Path, "write_text", full)
    with pytest.raises(OutputError, match=r"No space left on device.*run again"):
        run._keep(tmp_path, task(name="b"), {"field": "b"})
    assert run._recall(tmp_path, task()) == {"field": "a"}


def test_a_disk_that_fills_up_in_the_middle_loses_nothing(
    request_, alone, tmp_path, monkeypatch
):
    kept, write, written = tmp_path / "kept", Path.write_text, []

    def fills(path, *given, **options):
        if path.suffix == ".part" and len(written) >= 3:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        written.append(path)
        return write(path, *given, **options)

    monkeypatch.setattr(run, "BATCH", 1)
    with monkeypatch.context() as full:
        full.setattr(Path, "write_text", fills)
        with pytest.raises(OutputError, match="make room and run again"):
            survey_region(replace(request_, workers=1), kept)
    assert len(list(kept.glob("*.json"))) == 3
    told = []
    found = survey_region(
        replace(request_, workers=1),
        kept,
        on_done=lambda done, total: told.append((done, total)),
    )
    assert told[0] == (3, 7)
    assert found.rows == alone


def test_a_fault_is_a_row_and_says_so():
    class KilledWorker(Exception):
        pass

    assert "died" in run._why(KilledWorker())
    assert (
        run._why(ZeroDivisionError("x")) == "a fault in sitekit: ZeroDivisionError: x"
    )
    assert survey_field(task(shape=b""))["status"] == FAILED


def test_a_batch_that_fails_is_tried_field_by_field(monkeypatch):
    # One field breaks whatever holds it; its neighbours must not fail with it.
    def breaks(batch):
        if any(t.name == "bad" for t in batch):
            raise ZeroDivisionError(len(batch))
        return [{"field": t.name, "status": DONE} for t in batch]

    monkeypatch.setattr(run, "survey_batch", breaks)
    batches = [[task(name="a"), task(name="bad"), task(name="b")], [task(name="c")]]
    with Client(processes=False, n_workers=1, dashboard_address=":0") as client:
        found = {
            one.name: told
            for batch, rows in run._run(client, batches)
            for one, told in zip(batch, rows, strict=True)
        }
    assert {name: told["status"] for name, told in found.items()} == {
        "a": DONE,
        "b": DONE,
        "c": DONE,
        "bad": FAILED,
    }
    assert found["bad"]["reason"] == "a fault in sitekit: ZeroDivisionError: 1"


def region_of(rows):
    frame = squares(len(rows))
    named = [
        {"field": name, **row} for name, row in zip(frame["field"], rows, strict=True)
    ]
    return run.Region(RegionRequest(frame, (GROUND,), FRUIT), named)


def row(site_class, share, night, status=DONE):
    return {
        "status": status,
        "reason": "as it is",
        "mean_offset_degc": night,
        "lowest_offset_degc": night,
        "best_class_apple": site_class,
        "good_share_apple": share,
    }


def test_fields_are_ranked_by_class_then_share_then_nights():
    table = tabulate(
        region_of(
            [
                row("test first", 0.9, 0.0),
                row("with conditions", 0.2, -1.0),
                row("with conditions", 0.2, 0.5),
                {"status": FAILED, "reason": "no"},
                row("with conditions", 0.8, -3.0),
            ]
        )
    )
    assert list(table["rank"][[0, 1, 2, 4]]) == [4, 3, 2, 1]
    assert pd.isna(table["rank"][3])


def test_the_folder_holds_both_tables_and_what_was_run(alone, request_, tmp_path):
    out = tmp_path / "region"
    write_region(run.Region(request_, alone), out)
    package = geopandas.read_file(out / "fields.gpkg", layer="fields")
    parquet = geopandas.read_parquet(out / "fields.parquet")
    told = json.loads((out / "run.json").read_text())
    for table in (package, parquet):
        assert list(table["field"]) == list(request_.fields["field"])
        assert list(table["status"]) == [row["status"] for row in alone]
    assert sorted(package["rank"].dropna()) == [1, 2, 3, 4, 5]
    assert (told["fields"], told["failed"], told["margin_m"]) == (7, 2, MARGIN)
    assert set(told["inputs"]) == {file.name for file in request_.elevation}
    assert len(told["warnings"]) == told["failed"]
    assert told["files"] == ["fields.gpkg", "fields.parquet"]


def run_command(*words):
    return CliRunner().invoke(app, ["region", *map(str, words)])


def test_the_command_writes_the_folder_and_forgets_what_it_kept(
    fields, tmp_path, alone, monkeypatch
):
    out = tmp_path / "region"
    kept = tmp_path / ".region-unfinished"
    kept.mkdir()
    request = RegionRequest(read_fields(fields), (GROUND,), FRUIT, MARGIN)
    for one, found in zip(run._tasks(request), alone, strict=True):
        run._keep(kept, one, found)
    words = (
        fields,
        "--elevation",
        GROUND,
        "--fruit",
        "apple",
        "--margin",
        MARGIN,
        "--out",
        out,
    )
    told = run_command(*words)
    assert told.exit_code == 0
    assert "7 fields: 5 surveyed, 2 failed" in told.output
    assert not kept.exists()
    assert (out / "fields.parquet").is_file()


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("--out", "x"), "--elevation"),
        (("--elevation", GROUND), "--out"),
        (("--elevation", GROUND, "--out", "x", "--margin", "-3"), "--margin"),
    ],
)
def test_the_command_says_what_is_missing(fields, tmp_path, monkeypatch, words, told):
    monkeypatch.chdir(tmp_path)
    result = run_command(fields, *words)
    assert isinstance(result.exception, ConfigError)
    assert told in str(result.exception)


def test_a_folder_with_foreign_files_is_refused_before_anything_runs(fields, tmp_path):
    (tmp_path / "out").mkdir()
    (tmp_path / "out" / "mine.txt").write_text("mine")
    result = run_command(fields, "--elevation", GROUND, "--out", tmp_path / "out")
    assert isinstance(result.exception, OutputError)
    assert (tmp_path / "out" / "mine.txt").read_text() == "mine"
