"""From a site file to what is to be read."""

from collections.abc import Iterator, Mapping
from dataclasses import replace
from pathlib import Path

from sitekit.config import SiteFile, SiteModel, read_config
from sitekit.config.planting import NeedSection
from sitekit.errors import ConfigError, CrsError, nearest
from sitekit.fruit import fruit_names
from sitekit.io.hashes import hash_files
from sitekit.io.inputs import SiteRequest, read_request
from sitekit.io.projection import parse_crs
from sitekit.io.records import COLUMNS, RecordSource
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
    path = Path(site_file)
    site = read_request(request_from_file(read_site_file(path)))
    return replace(site, inputs={**hash_files([path]), **site.inputs})


def read_site_file(path: Path, *, need_elevation: bool = True) -> SiteFile:
    """Read a site file, its names and settings checked as well.

    Parameters
    ----------
    path : Path
        The file.
    need_elevation : bool
        Whether it must name an elevation that is there.

    Returns
    -------
    file : SiteFile
        What it says.

    Raises
    ------
    ConfigError
        Every mistake in it, one sentence each, in the order of its lines.
    """
    return read_config(path, need_elevation=need_elevation, check=_check)


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
        A site file that was read and checked.

    Returns
    -------
    request : SiteRequest
        Plain paths and values.
    """
    contents = file.contents
    folder = contents.fruit.folder
    return SiteRequest(
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


def _check(file: SiteFile) -> Iterator[tuple[int, str]]:
    """Check names and settings; each mistake comes with its line."""
    for section, key, texts in _wrong(file.contents, _fruit_folder(file)):
        line = file.line_of(section, key) or 0
        for text in texts:
            yield line, f"{file.where(section, key)}: {text}"


def _wrong(
    contents: SiteModel, folder: Path | None
) -> Iterator[tuple[str, str, list[str]]]:
    """Say by section and key what is not known."""
    yield "site", "elevation_crs", _check_crs(contents.site.elevation_crs)
    yield "records", "columns", _check_columns(contents.records.columns or {})
    if isinstance(contents.records.bloom, dict):
        names = tuple(contents.records.bloom)
        yield "records", "bloom", check_names(names, folder, ())
    for name, value in contents.settings.items():
        yield "settings", name, check_settings({name: value})
    for name in contents.need.fruit:
        yield "need", name, _check_wanted(name, folder)
    yield "fruit", "kinds", check_names(contents.fruit.kinds, folder, ())
    yield "outputs", "layers", check_names((), None, contents.outputs.layers)


def _fruit_folder(file: SiteFile) -> Path | None:
    """Find the folder of the grower's own fruit; its absence is told elsewhere."""
    folder = file.locate(file.contents.fruit.folder or "")
    return folder if file.contents.fruit.folder and folder.is_dir() else None


def _check_crs(text: str | None) -> list[str]:
    """Say of a coordinate system that it is not known."""
    try:
        if text is not None:
            parse_crs(text, "elevation_crs")
    except CrsError as error:
        return list(error.mistakes)
    return []


def _check_columns(columns: Mapping[str, str]) -> list[str]:
    """Say which names of columns no record has."""
    return [
        f'unknown name "{name}" in columns of [records].'
        f"{nearest(name, COLUMNS) or ' Known: ' + ', '.join(COLUMNS) + '.'}"
        for name in columns
        if name not in COLUMNS
    ]


def _check_wanted(name: str, folder: Path | None) -> list[str]:
    """Say of a name in the need that it is neither a key nor a fruit."""
    if not check_names([name], folder, ()):
        return []
    known = [*NeedSection.model_fields, *fruit_names()]
    hint = nearest(name, known) or f" Known: {', '.join(known)}."
    return [f'unknown key "{name}" in [need].{hint}']
