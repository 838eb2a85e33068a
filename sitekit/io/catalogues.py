"""Catalogues of open elevation, asked for what they hold of a place."""

import warnings
from collections.abc import Mapping, Sequence
from typing import Any

import requests
from pystac import Item
from pystac.errors import RequiredPropertyMissing, STACError, STACTypeError
from pystac_client import Client
from pystac_client.errors import ClientTypeError
from pystac_client.exceptions import APIError

from sitekit.errors import InputError
from sitekit.io.offers import Catalogue, Piece

#: How long a catalogue may take to answer. [s]
PATIENCE = 20
#: Pieces of one model taken for one site at most.
MOST_ITEMS = 64
#: Media types of a raster that can be read by window.
RASTER = ("image/tiff", "image/vnd.stac.geotiff")
Bounds = tuple[float, float, float, float]


#: How an answer shows that it is none of a STAC API.
ODD = (
    APIError,
    ClientTypeError,
    STACError,
    STACTypeError,
    RequiredPropertyMissing,
    requests.RequestException,
    LookupError,
    ValueError,
)


class Unreachable(Exception):
    """No catalogue answers at an address."""


def find_pieces(catalogue: Catalogue, bounds: Bounds) -> list[Piece]:
    """Ask a catalogue for the rasters that reach a place.

    Parameters
    ----------
    catalogue : Catalogue
        Where to ask.
    bounds : tuple of float
        West, south, east, north. [degree]

    Returns
    -------
    pieces : list of Piece
        The finest first, then the newest; empty where it holds none.

    Raises
    ------
    Unreachable
        Nothing answers.
    InputError
        It answers, but not as a STAC API does, or its items hold no raster.
    """
    try:
        with warnings.catch_warnings():
            # What is odd in a catalogue is the business of its makers.
            warnings.simplefilter("ignore")
            items, licence = _ask(catalogue, bounds)
    except (requests.ConnectionError, requests.Timeout) as problem:
        raise Unreachable(catalogue.address) from problem
    except ODD as problem:
        before = problem.__cause__ or problem.__context__
        if isinstance(before, requests.ConnectionError):
            raise Unreachable(catalogue.address) from problem
        told = " ".join(str(problem).split())[:160] or type(problem).__name__
        message = (
            f"{catalogue.address} does not answer as a STAC API with the collection "
            f"{catalogue.collection}: {told}. Check fetch_catalogue and "
            "fetch_collection, or bring a file."
        )
        raise InputError(message) from problem
    return pieces_of(items, catalogue, licence)


def _ask(catalogue: Catalogue, bounds: Bounds) -> tuple[list[Item], str]:
    """Search a collection; its items, and its licence and origin."""
    client = Client.open(catalogue.address, timeout=PATIENCE)
    search = client.search(
        collections=[catalogue.collection], bbox=bounds, max_items=MOST_ITEMS
    )
    items = list(search.items())
    return items, _attribution(client, catalogue) if items else ""


def pieces_of(
    items: Sequence[Item], catalogue: Catalogue, attribution: str = ""
) -> list[Piece]:
    """Take the raster of heights out of each item.

    Parameters
    ----------
    items : sequence of pystac.Item
        Items of one collection.
    catalogue : Catalogue
        Which asset is wanted.
    attribution : str
        Licence and origin of the collection.

    Returns
    -------
    pieces : list of Piece
        The finest first, then the newest.

    Raises
    ------
    InputError
        There are items, and none of them holds such an asset.
    """
    ordered = sorted(items, key=_fineness)
    found = [
        Piece(
            address,
            catalogue.name,
            catalogue.surface,
            attribution or str(item.properties.get("license", "")),
        )
        for item in ordered
        if (address := _asset(item, catalogue.asset))
    ]
    if items and not found:
        held = ", ".join(items[0].assets) or "none"
        wanted = f'"{catalogue.asset}"' if catalogue.asset else "that is a GeoTIFF"
        message = (
            f"{catalogue.address}, collection {catalogue.collection}: its items hold "
            f"no asset {wanted} (they hold {held}). Name one with fetch_asset."
        )
        raise InputError(message)
    return found


def _asset(item: Item, wanted: str) -> str:
    """Find the address of the raster of heights; empty where there is none."""
    if wanted:
        asset = item.assets.get(wanted)
        return asset.get_absolute_href() or "" if asset else ""
    for asset in item.assets.values():
        if str(asset.media_type or "").startswith(RASTER):
            return asset.get_absolute_href() or ""
    return ""


def _fineness(item: Item) -> tuple[float, float, str]:
    """Sort by cell, then the newest first; the name settles what is left."""
    cell = item.properties.get("gsd")
    when = item.datetime or item.common_metadata.start_datetime
    age = -when.timestamp() if when else 0.0
    return (float(cell) if cell else float("inf"), age, item.id)


def _attribution(client: Client, catalogue: Catalogue) -> str:
    """Write the licence and the providers of a collection."""
    collection = client.get_collection(catalogue.collection)
    told: Mapping[str, Any] = collection.to_dict() if collection else {}
    makers = [
        str(maker["name"])
        for maker in told.get("providers") or ()
        if set(maker.get("roles") or ()) & {"licensor", "producer"}
    ]
    title = str(told.get("title") or catalogue.collection)
    licence = str(told.get("license") or "not told")
    return f"{title}; {', '.join(makers)}; licence {licence}".replace("; ;", ";")
