"""Reading of everything about one site, onto one grid."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from dataclasses import field as value
from pathlib import Path
from typing import Any, Literal, NoReturn, ParamSpec, TypeVar

import numpy as np
from geopandas import GeoDataFrame
from numpy.typing import NDArray

from sitekit import words
from sitekit.errors import CoverageError, InputError, SitekitError, nearest
from sitekit.grid import Grid
from sitekit.io.barriers import (
    burn_mask,
    burn_woodland,
    settle_barriers,
    settle_woodland,
)
from sitekit.io.canopy import is_raster, read_canopy
from sitekit.io.elevation import ElevationReading, read_elevation
from sitekit.io.field import (
    FieldReading,
    field_from_corners,
    field_from_outline,
    read_field,
)
from sitekit.io.hashes import hash_files
from sitekit.io.placing import find_reference, place_frame
from sitekit.io.records import RecordSource, read_records
from sitekit.io.remarks import missing_inputs, read_inputs
from sitekit.io.schemas import SCHEMAS, empty_frame, unknown_words
from sitekit.io.vectors import VectorSource, read_vector, reproject
from sitekit.io.water import find_level_water, water_frame, with_levels
from sitekit.site import VECTORS, Record, Remark, Site

Arguments = ParamSpec("Arguments")
Result = TypeVar("Result")
Canopy = tuple[NDArray[np.float32], NDArray[np.bool_]]


@dataclass(frozen=True)
class SiteRequest:
    """What is to be read about one site: plain paths and values.

    Parameters
    ----------
    elevation : sequence of Path
        One or more rasters.
    field : VectorSource or None
        The field; else `corners`.
    outline : GeoDataFrame or None
        The field where it was read already, under `name`.
    corners : sequence of (latitude, longitude)
        Corners of the field as a phone shows them. [degree]
    vectors : mapping of str to VectorSource
        Other inputs by their name in `sitekit.site.VECTORS`; ``woodland`` may be
        a raster of canopy heights.
    name : str
        Name for the sheets.
    reference : (longitude, latitude[, elevation]) or None
        Place that nights are compared with. [degree, m]
    records : RecordSource
        Records of stations, and where the first of them stands.
    elevation_crs : str or None
        Coordinate system of an elevation that names none.
    z_unit : {"m", "ft", "us-ft"} or None
        Unit of its heights; ``None`` takes the file's.
    surface : {"ground", "canopy"} or None
        What its heights are; ``None`` judges by its cell.
    cell, margin : float or None
        Cell of the grid and ground read about the field. [m]
    max_cells : int or None
        Largest number of cells.
    fruit : sequence of str
        Fruit asked for; all where none is named.
    fruit_folder : Path or None
        Folder of the grower's own fruit files.
    layers : sequence of str
        Layers asked for; the usual ones where none is named.
    settings : mapping
        Settings that the user changed, by name.
    need, limits, prices : mapping
        What the planting plan reads, checked; empty where not given.
    """

    elevation: Sequence[Path]
    field: VectorSource | None = None
    outline: GeoDataFrame | None = None
    corners: Sequence[Sequence[float]] = ()
    vectors: Mapping[str, VectorSource] = value(default_factory=dict)
    name: str = ""
    reference: Sequence[float] | None = None
    records: RecordSource = value(default_factory=RecordSource)
    elevation_crs: str | None = None
    z_unit: Literal["m", "ft", "us-ft"] | None = None
    surface: Literal["ground", "canopy"] | None = None
    cell: float | None = None
    margin: float | None = None
    max_cells: int | None = None
    fruit: Sequence[str] = ()
    fruit_folder: Path | None = None
    layers: Sequence[str] = ()
    settings: Mapping[str, Any] = value(default_factory=dict)
    need: Mapping[str, Any] = value(default_factory=dict)
    limits: Mapping[str, Any] = value(default_factory=dict)
    prices: Mapping[str, Any] = value(default_factory=dict)


def read_request(request: SiteRequest) -> Site:
    """Read everything about one site onto one grid.

    Parameters
    ----------
    request : SiteRequest
        Files and values.

    Returns
    -------
    site : Site
        Everything read, with remarks on what was read, mended, is doubtful or
        missing.

    Raises
    ------
    InputError
        One sentence for each file that cannot be used; a single mistake keeps
        its own class.
    """
    mistakes: list[SitekitError] = []
    ground = _attempt(mistakes, read_outline, request)
    raw = {
        name: frame
        for name, source in request.vectors.items()
        if (frame := _attempt(mistakes, _read_raw, name, source)) is not None
    }
    elevation = _attempt(mistakes, _read_elevation, request, ground) if ground else None
    if mistakes or ground is None or elevation is None:
        _raise(mistakes)
    return _assemble(request, ground, elevation, raw)


def _attempt(
    mistakes: list[SitekitError],
    function: Callable[Arguments, Result],
    *args: Arguments.args,
    **kwargs: Arguments.kwargs,
) -> Result | None:
    try:
        return function(*args, **kwargs)
    except SitekitError as mistake:
        mistakes.append(mistake)
        return None


def _raise(mistakes: Sequence[SitekitError]) -> NoReturn:
    if len(mistakes) == 1:
        raise mistakes[0]
    raise InputError(*(text for mistake in mistakes for text in mistake.mistakes))


def read_outline(request: SiteRequest) -> FieldReading:
    """Read the field of a request, from its file, outline or corners.

    Raises
    ------
    InputError
        Where none is given, or what is given is no field.
    """
    if request.field is not None:
        reading = read_field(request.field)
        if not len(request.corners):
            return reading
        unused = Remark("doubtful", "corners", "not used, since a field is named")
        return replace(reading, remarks=(*reading.remarks, unused))
    if request.outline is not None:
        return field_from_outline(request.outline, request.name)
    if len(request.corners):
        return field_from_corners(request.corners)
    message = "No field is named. Give a file with its outline, or its corners."
    raise InputError(message)


def _read_elevation(request: SiteRequest, ground: FieldReading) -> ElevationReading:
    if not request.elevation:
        message = "No elevation is named. Give a raster of ground heights."
        raise InputError(message)
    try:
        return read_elevation(
            [Path(path) for path in request.elevation],
            ground.frame,
            elevation_crs=request.elevation_crs,
            z_unit=request.z_unit,
            surface=request.surface,
            cell=request.cell,
            margin=request.margin,
            max_cells=request.max_cells,
        )
    except CoverageError as error:
        if request.field is not None or request.outline is not None:
            raise
        message = f"{error} Corners are read as [lat, lon]; are they swapped?"
        raise CoverageError(message) from error


def _read_raw(name: str, source: VectorSource) -> GeoDataFrame | None:
    """Read a vector input as it is; ``None`` stands for a raster of canopy."""
    if name not in SCHEMAS:
        message = f'No input is called "{name}".{nearest(name, SCHEMAS)}'
        raise InputError(message)
    if name == "woodland" and is_raster(source.file):
        return None
    return read_vector(source, name, SCHEMAS[name])


def _assemble(
    request: SiteRequest,
    ground: FieldReading,
    reading: ElevationReading,
    raw: Mapping[str, GeoDataFrame],
) -> Site:
    grid = reading.grid
    remarks = [*ground.remarks, *reading.remarks]
    field_frame = reproject(ground.frame, grid.crs, "the field")
    field_mask = _field_mask(field_frame, grid)
    vectors = _place(request, raw, grid, remarks)
    given = frozenset(name for name in request.vectors if len(vectors[name]))
    vectors["water"] = _settle_water(vectors["water"], reading, field_mask, remarks)
    canopy, evergreen = _settle_canopy(request, vectors, grid, remarks)
    _settle_barriers(request, vectors, remarks)
    given |= {"woodland"} if len(vectors["woodland"]) else frozenset()
    reference = find_reference(
        request.reference,
        request.records.station,
        vectors["buildings"],
        reading.elevation,
        grid,
    )
    records, told = read_records(request.records, grid.crs, _middle(field_frame, grid))
    remarks += told
    counts = {name: len(vectors[name]) for name in request.vectors}
    remarks = [
        *read_inputs(request.field, ground.area, request.vectors, counts),
        *remarks,
        *missing_inputs(
            given | _sections(request, records),
            has_water=not vectors["water"].empty,
        ),
    ]
    return Site(
        name=request.name or (request.field.file.stem if request.field else "site"),
        grid=grid,
        elevation=reading.elevation,
        ground=reading.ground,
        model=reading.model,
        field=field_frame,
        field_mask=field_mask,
        water_mask=burn_mask(vectors["water"], grid),
        canopy_height=canopy,
        evergreen=evergreen,
        vectors=vectors,
        given=given,
        reference=reference,
        records=records,
        remarks=tuple(remarks),
        fruit=tuple(request.fruit),
        fruit_folder=request.fruit_folder,
        layers=tuple(request.layers),
        settings=dict(request.settings),
        need=dict(request.need),
        limits=dict(request.limits),
        prices=dict(request.prices),
        inputs=hash_files(_files_read(request)),
    )


def _sections(request: SiteRequest, records: Sequence[Record]) -> set[str]:
    """Name the sections of the site file that were given."""
    told = {"records": records, "need": request.need or request.limits}
    return {name for name, given in told.items() if given}


def _middle(field_frame: GeoDataFrame, grid: Grid) -> tuple[float, float]:
    """Longitude and latitude of the middle of the field. [degree]."""
    middle = field_frame.union_all().centroid
    longitude, latitude = grid.degrees(middle.x, middle.y)
    return float(longitude), float(latitude)


def _field_mask(field_frame: GeoDataFrame, grid: Grid) -> NDArray[np.bool_]:
    mask = burn_mask(field_frame, grid)
    if not mask.any():
        message = (
            f"The field holds no cell of {grid.cell_size:g} m. Give an elevation with "
            "smaller cells."
        )
        raise InputError(message)
    return mask


def _place(
    request: SiteRequest,
    raw: Mapping[str, GeoDataFrame],
    grid: Grid,
    remarks: list[Remark],
) -> dict[str, GeoDataFrame]:
    """Bring every vector input onto the grid; an empty frame where not given."""
    vectors = {name: empty_frame(SCHEMAS[name], grid.crs) for name in VECTORS}
    for name, frame in raw.items():
        file = request.vectors[name].name
        if frame.empty:
            remarks.append(Remark("doubtful", file, f"holds no feature for {name}"))
            continue
        vectors[name], said = place_frame(frame, name, grid, file)
        remarks += said
        if name != "barriers":
            remarks += [
                Remark("doubtful", file, text)
                for text in unknown_words(vectors[name], SCHEMAS[name])
            ]
    return vectors


def _settle_water(
    water: GeoDataFrame,
    reading: ElevationReading,
    field_mask: NDArray[np.bool_],
    remarks: list[Remark],
) -> GeoDataFrame:
    """Take the water given with its level, else find level water."""
    grid = reading.grid
    if not water.empty:
        return with_levels(water, grid, reading.elevation)
    labels, levels = find_level_water(
        reading.elevation, field_mask, grid.cell_size, reading.model.step
    )
    if not levels.size:
        return water
    found = water_frame(labels, levels, grid)
    order = np.argsort(-found.area.to_numpy())[:3]
    listed = words.listed(
        [
            f"{words.area(found.area.iloc[i])} at {found['level_m'].iloc[i]:.1f} m"
            for i in order
        ]
    )
    more = f", and {levels.size - 3} smaller" if levels.size > 3 else ""
    text = f"level ground is taken for water: {listed}{more}; give water to correct it"
    remarks.append(Remark("doubtful", "water", text))
    return found


def _settle_canopy(
    request: SiteRequest,
    vectors: dict[str, GeoDataFrame],
    grid: Grid,
    remarks: list[Remark],
) -> Canopy:
    source = request.vectors.get("woodland")
    if source is not None and is_raster(source.file):
        canopy, vectors["woodland"], said = read_canopy(source.file, grid)
        remarks += said
        return canopy, np.zeros(grid.shape, bool)
    if source is not None:
        vectors["woodland"], said = settle_woodland(vectors["woodland"], source.name)
        remarks += said
    return burn_woodland(vectors["woodland"], grid)


def _settle_barriers(
    request: SiteRequest, vectors: dict[str, GeoDataFrame], remarks: list[Remark]
) -> None:
    source = request.vectors.get("barriers")
    if source is not None:
        vectors["barriers"], said = settle_barriers(
            vectors["barriers"], vectors["water"], source.name
        )
        remarks += said


def _files_read(request: SiteRequest) -> list[Path]:
    """List every file of a request."""
    files = [Path(path) for path in request.elevation]
    files += [request.field.file] if request.field else []
    files += [source.file for source in request.vectors.values()]
    files += request.records.files
    bloom = request.records.bloom
    files += [bloom] if isinstance(bloom, Path) else []
    own = request.fruit_folder
    return files + (sorted(own.glob("*.toml")) if own else [])
