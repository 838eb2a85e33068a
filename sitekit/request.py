"""From a site file to what is to be read."""

from pathlib import Path

from sitekit.config import SiteFile, read_config
from sitekit.config.planting import NeedSection
from sitekit.errors import ConfigError, nearest
from sitekit.fruit import fruit_names
from sitekit.io.inputs import SiteRequest, read_request
from sitekit.io.records import RecordSource
from sitekit.io.vectors import VectorSource
from sitekit.pipeline import check_names, check_settings
from sitekit.site import Site


def read_site(site_file: Path | str) -> Site:
    """Read everything that a site file names.

    Parameters
    ----------
    site_file : Path or str
        The site file, ``site.toml``.

    Returns
    -------
    site : Site
        Everything read, on one grid.

    Raises
    ------
    ConfigError
        Every mistake in the site file, one sentence each.
    InputError
        Every file that cannot be used.
    """
    return read_request(request_from_file(read_config(Path(site_file))))


def check_request(request: SiteRequest) -> None:
    """Check the fruit, layers and settings of a request.

    Raises
    ------
    ConfigError
        With one sentence for each that is not known.
    """
    mistakes = check_settings(request.settings)
    mistakes += check_names(request.fruit, request.fruit_folder, request.layers)
    if mistakes:
        raise ConfigError(*mistakes)


def request_from_file(file: SiteFile) -> SiteRequest:
    """Turn a site file into a request, its names and settings checked.

    Parameters
    ----------
    file : SiteFile
        A site file that was read.

    Returns
    -------
    request : SiteRequest
        Plain paths and values.

    Raises
    ------
    ConfigError
        For settings, fruit and layers that are not known.
    """
    contents = file.contents
    folder = contents.fruit.folder
    request = SiteRequest(
        elevation=file.elevation,
        field=VectorSource(*file.field) if file.field else None,
        corners=contents.site.corners or (),
        vectors={name: VectorSource(*source) for name, source in file.vectors.items()},
        name=contents.site.name,
        reference=contents.site.reference,
        records=_records(file),
        elevation_crs=contents.site.elevation_crs,
        z_unit=contents.site.z_unit,
        surface=contents.site.surface,
        cell=contents.grid.cell,
        margin=contents.grid.margin,
        max_cells=contents.grid.max_cells,
        fruit=contents.fruit.kinds,
        fruit_folder=file.locate(folder) if folder else None,
        layers=contents.outputs.layers,
        settings=contents.settings,
        need=contents.need.given(),
        limits=contents.limits.given(),
        prices=contents.prices.given(),
    )
    _check(file, request)
    return request


def _records(file: SiteFile) -> RecordSource:
    """Say what is to be read of stations."""
    records = file.contents.records
    bloom = records.bloom
    return RecordSource(
        files=tuple(file.locate(name) for name in records.file),
        station=records.station,
        columns=records.columns or {},
        unit=records.unit,
        bloom=file.locate(bloom) if isinstance(bloom, str) else bloom,
    )


def _check(file: SiteFile, request: SiteRequest) -> None:
    """Check names and settings; a mistake is told with its line."""
    mistakes = []
    for name, value in request.settings.items():
        mistakes += [
            f"{file.where('settings', name)}: {text}"
            for text in check_settings({name: value})
        ]
    mistakes += [
        f"{file.where('need', name)}: {text}"
        for name in file.contents.need.fruit
        for text in _check_wanted(name, request)
    ]
    mistakes += [
        f"{file.where('fruit', 'kinds')}: {text}"
        for text in check_names(request.fruit, request.fruit_folder, ())
    ]
    mistakes += [
        f"{file.where('outputs', 'layers')}: {text}"
        for text in check_names((), None, request.layers)
    ]
    if mistakes:
        raise ConfigError(*mistakes)


def _check_wanted(name: str, request: SiteRequest) -> list[str]:
    """Say of a name in the need that it is neither a key nor a fruit."""
    if not check_names([name], request.fruit_folder, ()):
        return []
    known = [*NeedSection.model_fields, *fruit_names()]
    hint = nearest(name, known) or f" Known: {', '.join(known)}."
    return [f'unknown key "{name}" in [need].{hint}']
