"""Fetching elevation: a STAC API and a file server on this machine stand for the web."""

import json
import threading
import time
from contextlib import contextmanager
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from itertools import pairwise

import geopandas
import numpy as np
import pystac
import pytest
import rasterio
import shapely
from affine import Affine
from hypothesis import given, settings
from hypothesis import strategies as st
from pystac.validation.stac_validator import JsonSchemaSTACValidator
from rasterio.windows import from_bounds
from typer.testing import CliRunner

from sitekit.cli.app import app
from sitekit.errors import CoverageError, InputError, OutputError
from sitekit.io import catalogues, fetch, remote
from sitekit.io.catalogues import Unreachable, find_pieces, pieces_of
from sitekit.io.field import field_from_outline
from sitekit.io.offers import OPEN, Catalogue, Piece, choose_sources

UTM = "EPSG:32633"
WEST, NORTH, CELL, SIDE = 500_000.0, 5_130_000.0, 5.0, 1400


def heights():
    rows, columns = np.mgrid[:SIDE, :SIDE]
    return (500 + 0.05 * columns + 0.2 * rows + np.sin(columns / 9)).astype(np.float32)


@pytest.fixture(scope="module")
def ground(tmp_path_factory):
    """A cloud-optimised GeoTIFF of 7 km by 7 km, and its bytes."""
    path = tmp_path_factory.mktemp("web") / "ground.tif"
    with rasterio.open(
        path,
        "w",
        driver="COG",
        width=SIDE,
        height=SIDE,
        count=1,
        dtype="float32",
        crs=UTM,
        nodata=-9999,
        transform=Affine(CELL, 0, WEST, 0, -CELL, NORTH),
        compress="deflate",
        blocksize=256,
    ) as raster:
        raster.write(heights(), 1)
    return path


class Web(ThreadingHTTPServer):
    """Files and a catalogue, and what was asked of them."""

    daemon_threads = True

    def __init__(self, ground):
        super().__init__(("127.0.0.1", 0), Answer)
        self.files = {"/ground.tif": ground.read_bytes()}
        self.pages = {}
        self.sent = 0
        self.asked = []

    @property
    def root(self):
        return f"http://127.0.0.1:{self.server_port}"

    def handle_error(self, request, client_address):
        """Say nothing of a client that went away."""


class Answer(BaseHTTPRequestHandler):
    """Answers as a file server does, or as a bad one by the name of the folder."""

    protocol_version = "HTTP/1.1"

    def log_message(self, *args):
        """Say nothing."""

    def do_HEAD(self):
        self.do_GET(body=False)

    def do_POST(self):
        self.rfile.read(int(self.headers.get("Content-Length", 0)))
        self.do_GET()

    def do_GET(self, *, body=True):
        path = self.path.partition("?")[0]
        self.server.asked.append((path, self.headers.get("Range", "")))
        kind, _, name = path[1:].partition("/")
        if kind == "away":
            self.send_response(302)
            self.send_header("Location", f"{self.server.root}/{name}")
            self.send_header("Content-Length", "0")
            self.end_headers()
            return
        if kind == "round":
            self.send_response(302)
            self.send_header("Location", f"{self.server.root}/round/x")
            self.send_header("Content-Length", "0")
            self.end_headers()
            return
        if kind == "stall" and self.headers.get("Range") != "bytes=0-0":
            time.sleep(4)
        if path in self.server.pages:
            self.send_json(self.server.pages[path])
        elif (file := f"/{name}" if name else path) in self.server.files:
            self.send_file(self.server.files[file], kind if name else "", body=body)
        else:
            self.send_response(404)
            self.send_header("Content-Length", "0")
            self.end_headers()

    def send_json(self, page):
        text = json.dumps(page).encode()
        self.send_response(200)
        self.send_header("Content-Type", "application/geo+json")
        self.send_header("Content-Length", str(len(text)))
        self.end_headers()
        self.wfile.write(text)

    def send_file(self, data, kind, *, body):
        size = len(data)
        if kind == "cut":
            data = data[: size // 3]
        asked = self.headers.get("Range", "")
        first, last = 0, size - 1
        if asked.startswith("bytes="):
            start, _, stop = asked[6:].partition("-")
            first, last = int(start), min(int(stop or size - 1), size - 1)
        part = data[first : last + 1]
        self.send_response(206 if asked else 200)
        told = size * 7 if kind == "lie" else size
        if asked:
            self.send_header("Content-Range", f"bytes {first}-{last}/{told}")
        self.send_header("Accept-Ranges", "bytes")
        self.send_header("ETag", '"one"')
        self.send_header("Content-Length", str(len(part)))
        self.end_headers()
        if body:
            self.server.sent += len(part)
            self.wfile.write(part)


@contextmanager
def serving(ground):
    server = Web(ground)
    thread = threading.Thread(target=server.serve_forever, daemon=True)
    thread.start()
    yield server
    server.shutdown()
    server.server_close()
    thread.join()


@pytest.fixture
def web(ground):
    with serving(ground) as server:
        yield server


@pytest.fixture(autouse=True)
def impatient(monkeypatch):
    monkeypatch.setattr(remote, "PATIENCE", 1)
    monkeypatch.setattr(catalogues, "PATIENCE", 1)
    monkeypatch.setitem(remote.OPTIONS, "GDAL_HTTP_MAX_RETRY", "0")
    monkeypatch.setitem(remote.OPTIONS, "VSI_CACHE", "NO")


def field(east=3000.0, south=3500.0, side=300.0):
    corner = (WEST + east, NORTH - south)
    box = shapely.box(corner[0], corner[1], corner[0] + side, corner[1] + side)
    outline = geopandas.GeoDataFrame(geometry=[box], crs=UTM)
    return field_from_outline(outline, "the field")


def stac(web, *, items=None, asset="dtm", extra=None):
    """Put a catalogue with one collection on the server."""
    west, south, east, north = 14.9, 46.2, 15.2, 46.4
    item = {
        "type": "Feature",
        "stac_version": "1.1.0",
        "id": "tile",
        "collection": "heights",
        "geometry": shapely.geometry.mapping(shapely.box(west, south, east, north)),
        "bbox": [west, south, east, north],
        "properties": {"datetime": "2024-05-01T00:00:00Z", "gsd": 5, **(extra or {})},
        # An item of a collection has to point at it.
        "links": [
            {"rel": "collection", "href": f"{web.root}/stac/collections/heights"}
        ],
        "assets": {
            "thumb": {"href": f"{web.root}/t.png", "type": "image/png"},
            asset: {
                "href": f"{web.root}/ground.tif",
                "type": "image/tiff; application=geotiff; profile=cloud-optimized",
            },
        },
    }
    links = [
        {"rel": "self", "href": f"{web.root}/stac"},
        {"rel": "root", "href": f"{web.root}/stac"},
        {"rel": "data", "href": f"{web.root}/stac/collections"},
        {
            "rel": "search",
            "href": f"{web.root}/stac/search",
            "type": "application/geo+json",
        },
    ]
    web.pages["/stac"] = {
        "type": "Catalog",
        "stac_version": "1.1.0",
        "id": "made",
        "description": "a catalogue that was made up",
        "conformsTo": [
            "https://api.stacspec.org/v1.0.0/core",
            "https://api.stacspec.org/v1.0.0/item-search",
            "https://api.stacspec.org/v1.0.0/collections",
        ],
        "links": links,
    }
    web.pages["/stac/collections/heights"] = {
        "type": "Collection",
        "stac_version": "1.1.0",
        "id": "heights",
        "title": "Heights of a made land",
        "description": "heights",
        "license": "CC-BY-4.0",
        "providers": [{"name": "the survey", "roles": ["producer"]}],
        "extent": {
            "spatial": {"bbox": [[west, south, east, north]]},
            "temporal": {"interval": [["2024-01-01T00:00:00Z", None]]},
        },
        "links": [],
    }
    found = [item] if items is None else items
    web.pages["/stac/search"] = {
        "type": "FeatureCollection",
        "features": found,
        "links": [],
    }
    return Catalogue("the made heights", f"{web.root}/stac", "heights", "dtm")


def get(web, tmp_path, sources, **options):
    return fetch.fetch_elevation(
        field(), sources, tmp_path / "elevation.tif", tmp_path / "cache", **options
    )


# -- a window of a file ----------------------------------------------------------------


def test_a_window_is_the_same_as_that_of_the_whole_file(web, tmp_path, ground):
    got = get(web, tmp_path, [Piece(f"{web.root}/ground.tif", "given")], margin=500.0)
    with rasterio.open(got.path) as fetched, rasterio.open(ground) as whole:
        window = from_bounds(*fetched.bounds, transform=whole.transform)
        expected = whole.read(1, window=window)
        np.testing.assert_array_equal(fetched.read(1), expected)
        assert fetched.crs == whole.crs
        assert fetched.res == whole.res
    west, _, east, north = field().frame.total_bounds
    assert fetched.bounds.left <= west - 500
    assert fetched.bounds.top >= north + 500
    assert fetched.bounds.right - fetched.bounds.left < east - west + 1000 + 10 * CELL


def test_only_the_blocks_of_the_window_are_sent(web, tmp_path, ground):
    get(web, tmp_path, [Piece(f"{web.root}/ground.tif", "given")], margin=300.0)
    # 900 m are 180 cells: at most 2 by 2 blocks of 256, of 30 in the file.
    assert web.sent < 0.25 * ground.stat().st_size


def test_a_second_time_nothing_but_the_head_is_sent(web, tmp_path):
    piece = [Piece(f"{web.root}/ground.tif", "given")]
    first = get(web, tmp_path, piece)
    before, web.sent = web.sent, 0
    second = get(web, tmp_path, piece)
    assert web.sent < before / 4
    assert second == first


def test_a_broken_transfer_goes_on_where_it_stopped(web, tmp_path, monkeypatch):
    monkeypatch.setattr(remote, "BLOCKS_AT_ONCE", 1)
    piece = [Piece(f"{web.root}/ground.tif", "given")]
    read, groups = remote._read_group, []
    dead = rasterio.errors.RasterioIOError("the line is dead")

    def breaks(raster, group, keep):
        if len(groups) == 3:
            raise dead
        groups.append(group)
        return read(raster, group, keep)

    monkeypatch.setattr(remote, "_read_group", breaks)
    with pytest.raises(InputError, match=r"read to the end: the line is dead.*kept"):
        get(web, tmp_path, piece, margin=1500.0)
    assert not (tmp_path / "elevation.tif").exists()
    kept = len(list((tmp_path / "cache").rglob("*.npy")))
    assert kept == 3
    monkeypatch.setattr(remote, "_read_group", read)
    get(web, tmp_path, piece, margin=1500.0)
    assert len(list((tmp_path / "cache").rglob("*.npy"))) > kept


def test_changed_content_is_read_anew(web, tmp_path):
    told = remote.ask(f"{web.root}/ground.tif")
    assert told.key == remote.ask(f"{web.root}/ground.tif").key
    web.files["/ground.tif"] += b"\0"
    assert told.key != remote.ask(f"{web.root}/ground.tif").key


@settings(max_examples=40, deadline=None)
@given(
    start=st.integers(0, 5000),
    length=st.integers(1, 3000),
    block=st.sampled_from([1, 64, 256, 512]),
)
def test_steps_cover_the_window_once_in_whole_blocks(start, length, block):
    most = 8000
    steps = remote._steps(start, length, block, most)
    assert steps[0][0] <= start
    assert steps[-1][1] >= min(start + length, most)
    assert all(a < b for a, b in steps)
    assert all(before[1] == after[0] for before, after in pairwise(steps))
    assert all(a % block == 0 for a, _ in steps)
    assert all(b - a <= remote.BLOCKS_AT_ONCE * block for a, b in steps)


def test_a_window_that_cannot_be_held_is_told(web, tmp_path, monkeypatch):
    monkeypatch.setattr(remote, "MOST_CELLS", 100)
    with pytest.raises(
        CoverageError, match=r"too many to hold. Give \[grid\] a smaller"
    ):
        get(web, tmp_path, [Piece(f"{web.root}/ground.tif", "given")])


def test_missing_cells_stay_missing(tmp_path, ground):
    path = tmp_path / "holes.tif"
    with rasterio.open(ground) as whole:
        profile = {**whole.profile, "driver": "GTiff"}
    values = heights()
    values[700:720, 600:640] = -9999
    with rasterio.open(path, "w", **profile) as raster:
        raster.write(values, 1)
    with serving(path) as server:
        server.files["/ground.tif"] = path.read_bytes()
        got = get(server, tmp_path, [Piece(f"{server.root}/ground.tif", "given")])
    with rasterio.open(got.path) as fetched:
        assert np.isnan(fetched.read(1)).sum() == 20 * 40


# -- bad servers -----------------------------------------------------------------------


@pytest.mark.parametrize(
    ("path", "told"),
    [
        ("nothing.tif", "the server answers 404"),
        ("cut/ground.tif", "cannot be read to the end"),
        ("lie/ground.tif", None),
        ("stall/ground.tif", "cannot be read to the end"),
        ("round/x", "without end"),
        ("text", "cannot be read to the end"),
    ],
)
def test_a_bad_server_is_told_in_a_sentence(web, tmp_path, path, told):
    web.files["/text"] = b"this is no raster"
    sources = [Piece(f"{web.root}/{path}", "given")]
    if told is None:
        # A size that is a lie does no harm where the ranges are right.
        assert get(web, tmp_path, sources).path.exists()
        return
    with pytest.raises(InputError, match=told):
        get(web, tmp_path, sources)
    assert not (tmp_path / "elevation.tif").exists()
    assert not list(tmp_path.glob(".*"))


def test_a_silent_server_is_told(web, tmp_path, monkeypatch):
    monkeypatch.setattr(Answer, "do_GET", lambda _self, **_given: time.sleep(3))
    with pytest.raises(InputError, match="silent for 1 s"):
        get(web, tmp_path, [Piece(f"{web.root}/ground.tif", "given")])


def test_an_address_that_leads_elsewhere_is_followed_and_said(web, tmp_path, ground):
    with serving(ground) as other:
        web.pages.clear()
        away = Piece(f"{other.root}/away/ground.tif", "given")
        assert remote.ask(away.address).led_to == ""
        monkey = Answer.do_GET

        def leads(self, *, body=True):
            if self.server is other:
                self.send_response(302)
                self.send_header("Location", f"{web.root}/ground.tif")
                self.send_header("Content-Length", "0")
                self.end_headers()
            else:
                monkey(self, body=body)

        Answer.do_GET = leads
        try:
            got = get(web, tmp_path, [away])
        finally:
            Answer.do_GET = monkey
    assert got.remarks == (f"the address led on to 127.0.0.1:{web.server_port}",)


def test_leaving_encryption_is_refused(monkeypatch):
    class Led:
        status_code, url, headers = 200, "http://elsewhere.invalid/x.tif", {}

        def __enter__(self):
            return self

        def __exit__(self, *args):
            return None

    monkeypatch.setattr(remote.requests, "get", lambda *_args, **_options: Led())
    with pytest.raises(InputError, match=r"not encrypted\. Not followed"):
        remote.ask("https://somewhere.invalid/x.tif")


@pytest.mark.parametrize("address", ["/etc/hosts", "ftp://x.invalid/a", "data:,x"])
def test_only_web_addresses_are_fetched(address):
    with pytest.raises(InputError, match="no web address"):
        remote.ask(address)


# -- catalogues ------------------------------------------------------------------------


def test_a_catalogue_gives_the_heights_with_licence_and_origin(web, tmp_path):
    got = get(web, tmp_path, [stac(web)], margin=200.0)
    assert got.source == "the made heights"
    assert got.surface == "ground"
    assert got.attribution == "Heights of a made land; the survey; licence CC-BY-4.0"
    with rasterio.open(got.path) as fetched:
        assert fetched.tags()["TIFFTAG_COPYRIGHT"] == got.attribution
        assert fetched.tags()[fetch.MARK] == "the made heights"


def test_the_place_is_asked_for_in_degrees(web):
    west, south, east, north = fetch.bounds_about(field(), 1000.0)
    assert 14.9 < west < east < 15.1
    assert 46.2 < south < north < 46.4
    # 2.3 km of northing at 111.2 km a degree.
    assert north - south == pytest.approx(2.3 / 111.2, rel=0.01)


def item(name, *, gsd=None, when="2020-01-01T00:00:00Z", assets=None):
    made = pystac.Item(
        name,
        shapely.geometry.mapping(shapely.box(14, 46, 16, 47)),
        [14, 46, 16, 47],
        pystac.utils.str_to_datetime(when),
        {} if gsd is None else {"gsd": gsd},
    )
    for key, (href, kind) in (
        assets or {"data": (f"https://made.invalid/{name}.tif", "image/tiff")}
    ).items():
        made.add_asset(key, pystac.Asset(href, media_type=kind))
    return made


CATALOGUE = Catalogue("made", "https://made.invalid/stac", "heights")


def test_the_finest_comes_first_then_the_newest():
    items = [
        item("unknown"),
        item("coarse", gsd=30),
        item("old", gsd=1, when="2001-01-01T00:00:00Z"),
        item("new", gsd=1),
    ]
    pieces = pieces_of(items, CATALOGUE)
    assert [p.address.rpartition("/")[2][:-4] for p in pieces] == [
        "new",
        "old",
        "coarse",
        "unknown",
    ]


def test_without_a_name_the_first_raster_is_taken():
    assets = {
        "thumb": ("t.png", "image/png"),
        "dtm": ("https://made.invalid/d.tif", "image/tiff; x=1"),
    }
    assert pieces_of([item("a", assets=assets)], CATALOGUE)[0].address.endswith(
        "/d.tif"
    )


@pytest.mark.parametrize("asset", ["", "dsm"])
def test_items_without_a_usable_asset_are_told(asset):
    wanted = Catalogue("made", "https://made.invalid/stac", "heights", asset)
    items = [item("a", assets={"thumb": ("t.png", "image/png")})]
    with pytest.raises(InputError, match=r"no asset.*they hold thumb.*fetch_asset"):
        pieces_of(items, wanted)


def test_what_the_made_catalogue_serves_keeps_the_published_schemas(web):
    # Source: JSON schemas of the STAC specification 1.1.0, as pystac carries them.
    stac(web)
    checker = JsonSchemaSTACValidator()
    kinds = pystac.STACObjectType
    (item,) = json.loads(json.dumps(web.pages["/stac/search"]))["features"]
    checker.validate_core(item, kinds.ITEM, "1.1.0")
    heights = web.pages["/stac/collections/heights"]
    checker.validate_core(heights, kinds.COLLECTION, "1.1.0")
    checker.validate_core(web.pages["/stac"], kinds.CATALOG, "1.1.0")
    with pytest.raises(pystac.STACValidationError):
        checker.validate_core(item | {"assets": []}, kinds.ITEM, "1.1.0")


def test_a_catalogue_that_holds_nothing_here_is_passed_over(web, tmp_path):
    empty = stac(web, items=[])
    with pytest.raises(CoverageError, match=r"reaches this field. Or bring a file"):
        get(web, tmp_path, [empty])


def test_a_raster_beside_the_place_is_passed_over(web, tmp_path):
    far = field(east=90_000.0)
    with pytest.raises(CoverageError, match="reaches this field"):
        fetch.fetch_elevation(
            far,
            [Piece(f"{web.root}/ground.tif", "given")],
            tmp_path / "elevation.tif",
            tmp_path / "cache",
        )


def test_offline_is_told_at_once_with_what_to_bring(tmp_path):
    dead = Catalogue("made", "http://127.0.0.1:9/stac", "heights")
    with pytest.raises(CoverageError, match=r"offline.*bring a file.*elevation = "):
        get(None, tmp_path, [dead, dead])


def test_after_a_dead_catalogue_the_next_is_asked(web, tmp_path):
    dead = Catalogue("dead", "http://127.0.0.1:9/stac", "heights")
    assert get(web, tmp_path, [dead, stac(web)]).source == "the made heights"


def test_a_page_that_is_no_catalogue_is_told(web):
    web.pages["/page"] = {"hello": "world"}
    with pytest.raises(InputError, match="does not answer as a STAC API"):
        find_pieces(Catalogue("x", f"{web.root}/page", "heights"), (14, 46, 15, 47))
    with pytest.raises(Unreachable):
        find_pieces(Catalogue("x", "http://127.0.0.1:9/", "heights"), (14, 46, 15, 47))


# -- settings, files, the command ------------------------------------------------------


def test_addresses_come_before_a_catalogue_and_that_before_the_open_ones():
    assert choose_sources() == OPEN
    own = choose_sources(fetch_catalogue="https://x.invalid", fetch_collection="dtm")
    assert [(c.address, c.collection) for c in own] == [("https://x.invalid", "dtm")]
    given_ = choose_sources(
        fetch_addresses=("https://x.invalid/a.tif",), fetch_catalogue="y"
    )
    assert [p.address for p in given_] == ["https://x.invalid/a.tif"]
    with pytest.raises(InputError, match="give fetch_collection"):
        choose_sources(fetch_catalogue="https://x.invalid")


def test_the_open_catalogues_begin_with_bare_earth_and_end_with_the_worldwide_surface():
    assert OPEN[0].surface == "ground"
    assert OPEN[-1].surface == "canopy"
    assert "not ground" in OPEN[-1].name


def test_two_pieces_are_one_model(web, tmp_path, ground):
    with rasterio.open(ground) as whole:
        for name, left in (("west", 0), ("east", 600)):
            window = rasterio.windows.Window(left, 0, 700 if left else 600, SIDE)
            profile = {**whole.profile, "driver": "GTiff", "width": window.width}
            profile["transform"] = whole.window_transform(window)
            path = tmp_path / f"{name}.tif"
            with rasterio.open(path, "w", **profile) as part:
                part.write(whole.read(1, window=window), 1)
            web.files[f"/{name}.tif"] = path.read_bytes()
    pieces = [Piece(f"{web.root}/{name}.tif", "given") for name in ("west", "east")]
    got = get(web, tmp_path, pieces, margin=500.0)
    with rasterio.open(got.path) as fetched, rasterio.open(ground) as whole:
        window = from_bounds(*fetched.bounds, transform=whole.transform)
        np.testing.assert_array_equal(fetched.read(1), whole.read(1, window=window))


def test_a_file_of_the_grower_is_never_replaced(web, tmp_path):
    mine = tmp_path / "elevation.tif"
    mine.write_bytes(b"mine")
    with pytest.raises(OutputError, match=r"was not fetched\. Move it away"):
        get(web, tmp_path, [Piece(f"{web.root}/ground.tif", "given")])
    assert mine.read_bytes() == b"mine"
    assert not web.asked


def site_file(tmp_path, settings=""):
    field().frame.to_crs("EPSG:4326").to_file(tmp_path / "field.geojson")
    path = tmp_path / "site.toml"
    path.write_text(
        f'[site]\nfield = "field.geojson"\n[grid]\nmargin = 400\n[settings]\n{settings}\n'
    )
    return path


def run(*words):
    return CliRunner().invoke(app, [*map(str, words)])


def test_from_a_walked_outline_to_an_elevation_that_can_be_checked(
    web, tmp_path, monkeypatch
):
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    stac(web)
    path = site_file(
        tmp_path,
        f'fetch_catalogue = "{web.root}/stac"\nfetch_collection = "heights"\n'
        'fetch_asset = "dtm"',
    )
    told = run("fetch", path)
    assert told.exit_code == 0, told.output
    assert "licence CC-BY-4.0" in told.output
    text = path.read_text().replace("[site]", '[site]\nelevation = "elevation.tif"')
    path.write_text(text)
    checked = run("check", path)
    assert checked.exit_code == 0, checked.output
    assert "Cells of 5\xa0m show hollows" in checked.output


def test_the_command_tells_a_program_what_it_wrote(web, tmp_path, monkeypatch):
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    path = site_file(tmp_path, f'fetch_addresses = ["{web.root}/ground.tif"]')
    told = json.loads(run("fetch", path, "--json").stdout)
    assert told["path"].endswith("elevation.tif")
    assert told["cell"] == CELL
    assert told["remarks"] == []


def test_a_surface_of_tree_tops_is_said(web, tmp_path, monkeypatch):
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    surface = [Piece(f"{web.root}/ground.tif", "a surface", "canopy", "open")]
    monkeypatch.setattr(fetch, "find_pieces", lambda *_args: surface)
    told = run("fetch", site_file(tmp_path))
    assert 'surface = "canopy"' in told.output
