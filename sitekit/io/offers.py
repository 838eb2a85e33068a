"""Where open elevation is offered, and the settings that name other places."""

from dataclasses import dataclass
from typing import Annotated, Literal

from sitekit.errors import InputError
from sitekit.settings import Setting


@dataclass(frozen=True)
class Catalogue:
    """One collection of elevation in a STAC catalogue.

    Parameters
    ----------
    name : str
        In words.
    address : str
        Root of the STAC API.
    collection, asset : str
        Collection, and the asset of its items that holds the heights; where
        ``asset`` is empty, the first raster.
    surface : {"ground", "canopy"}
        Bare earth, or the top of what stands on it.
    """

    name: str
    address: str
    collection: str
    asset: str = ""
    surface: Literal["ground", "canopy"] = "ground"


#: Open catalogues, the finest bare earth first and the worldwide surface last.
#: Addresses and names of collections are from memory.
OPEN = (
    Catalogue(
        "the 1 m lidar mosaic of Canada, bare earth",
        "https://datacube.services.geo.ca/stac/api",
        "hrdem-mosaic-1m",
        "dtm",
    ),
    Catalogue(
        "the worldwide 30 m surface of Copernicus (tree tops and roofs, not ground)",
        "https://earth-search.aws.element84.com/v1",
        "cop-dem-glo-30",
        "data",
        "canopy",
    ),
)


@dataclass(frozen=True)
class Piece:
    """One raster of elevation that can be read by window.

    Parameters
    ----------
    address : str
        Where it lies.
    source : str
        What it is, in words.
    surface : {"ground", "canopy", ""}
        Bare earth, the top of what stands on it, or not known.
    attribution : str
        Licence and origin, as the catalogue tells them.
    """

    address: str
    source: str
    surface: Literal["ground", "canopy", ""] = ""
    attribution: str = ""


def choose_sources(
    *,
    fetch_catalogue: Annotated[
        str, Setting("1", "Root of a STAC API to fetch elevation from.")
    ] = "",
    fetch_collection: Annotated[
        str, Setting("1", "Collection of elevation in that catalogue.")
    ] = "",
    fetch_asset: Annotated[
        str, Setting("1", "Asset that holds the heights; empty takes the first raster.")
    ] = "",
    fetch_addresses: Annotated[
        tuple[str, ...],
        Setting("1", "Addresses of cloud-optimised GeoTIFFs, in place of a catalogue."),
    ] = (),
) -> tuple[Catalogue, ...] | tuple[Piece, ...]:
    """Choose where elevation is fetched from.

    Parameters
    ----------
    fetch_catalogue, fetch_collection, fetch_asset : str
        A catalogue of the user's own; the open ones where not given.
    fetch_addresses : tuple of str
        Rasters of the user's own; they come before any catalogue.

    Returns
    -------
    sources : tuple of Catalogue, or of Piece
        In the order in which they are tried; all pieces together are one.

    Raises
    ------
    InputError
        For a catalogue without a collection.
    """
    if fetch_addresses:
        return tuple(Piece(address, "the address given") for address in fetch_addresses)
    if not fetch_catalogue:
        return OPEN
    if not fetch_collection:
        message = (
            "fetch_catalogue: give fetch_collection too, its collection of heights."
        )
        raise InputError(message)
    named = f"collection {fetch_collection} of {fetch_catalogue}"
    return (Catalogue(named, fetch_catalogue, fetch_collection, fetch_asset),)
