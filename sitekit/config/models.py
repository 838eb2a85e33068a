"""The sections and keys of `site.toml`, as frozen models."""

from math import isfinite
from typing import Annotated, Any, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field

from sitekit.config.planting import LimitsSection, NeedSection, PricesSection


class _Section(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, strict=True)


class FileReference(_Section):
    """A file, and of several layers in it the one that is meant.

    Parameters
    ----------
    file : str
        Path, relative to the site file.
    layer : str or None
        Layer in it.
    """

    file: str = Field(min_length=1)
    layer: str | None = None


def _to_reference(value: object) -> object:
    if isinstance(value, str) and value:
        return {"file": value}
    if isinstance(value, dict) and set(value) <= {"file", "layer"} and "file" in value:
        return value
    message = 'a file name in quotes, or {file = "...", layer = "..."}, is wanted'
    raise ValueError(message)


def _to_path(value: object) -> object:
    """Take a file name, alone or as ``{file = "..."}``."""
    if isinstance(value, dict) and set(value) == {"file"}:
        return value["file"]
    return value


def _to_paths(value: object) -> tuple[str, ...]:
    items = value if isinstance(value, list | tuple) else [value]
    return _to_texts([_to_path(item) for item in items])


def _to_texts(value: object) -> tuple[str, ...]:
    items = value if isinstance(value, list | tuple) else [value]
    if not all(isinstance(item, str) and item for item in items):
        message = "a name in quotes, or a list of them, is wanted"
        raise ValueError(message)
    return tuple(items)


def _is_number(value: object) -> bool:
    return (
        isinstance(value, int | float)
        and not isinstance(value, bool)
        and isfinite(value)
    )


def _to_place(value: object) -> tuple[float, ...]:
    right = isinstance(value, list | tuple) and len(value) in (2, 3)
    right = right and all(_is_number(item) for item in value)  # type: ignore[attr-defined]
    if not right or not (abs(value[0]) <= 180 and abs(value[1]) <= 90):  # type: ignore[index]
        message = "[lon, lat] or [lon, lat, elevation_m] is wanted, longitude first"
        raise ValueError(message)
    return tuple(float(item) for item in value)  # type: ignore[attr-defined]


def _to_corners(value: object) -> tuple[tuple[float, float], ...]:
    right = isinstance(value, list | tuple) and len(value) >= 3
    pairs = list(value) if right else []  # type: ignore[call-overload]
    if not right or not all(
        isinstance(pair, list | tuple)
        and len(pair) == 2
        and all(_is_number(item) for item in pair)
        for pair in pairs
    ):
        message = "at least three corners [[lat, lon], ...] are wanted"
        raise ValueError(message)
    return tuple((float(pair[0]), float(pair[1])) for pair in pairs)


def _to_free(value: object) -> object:
    """Take plain values, and tables and lists of them; refuse what is no number."""
    if isinstance(value, list):
        return tuple(_to_free(item) for item in value)
    if isinstance(value, dict):
        return {str(key): _to_free(item) for key, item in value.items()}
    if isinstance(value, float) and not isfinite(value):
        message = "a finite number is wanted"
        raise ValueError(message)
    return value if isinstance(value, bool | int | float | str) else str(value)


Number = Annotated[float, Field(allow_inf_nan=False)]
Positive = Annotated[float, Field(gt=0, allow_inf_nan=False)]
File = Annotated[FileReference, BeforeValidator(_to_reference)]
Texts = Annotated[tuple[str, ...], BeforeValidator(_to_texts)]
Paths = Annotated[tuple[str, ...], BeforeValidator(_to_paths)]
Place = Annotated[tuple[float, ...], BeforeValidator(_to_place)]
Corners = Annotated[tuple[tuple[float, float], ...], BeforeValidator(_to_corners)]
Value = Annotated[Any, BeforeValidator(_to_free)]
FreeTable = dict[str, Value]


def _file(text: str, example: str) -> Any:  # noqa: ANN401  (what pydantic gives back)
    return Field(default=None, description=text, examples=[example])


class SiteSection(_Section):
    """What lies where: `[site]`."""

    name: str = Field(
        default="",
        description="Name for the map and the sheets.",
        examples=['"My holding"'],
    )
    elevation: Paths = Field(
        default=(),
        description="Raster of ground heights, or a list of them.",
        examples=['"elevation.tif"'],
    )
    elevation_crs: str | None = Field(
        default=None,
        description="Coordinate system of an elevation that names none.",
        examples=['"EPSG:32633"'],
    )
    z_unit: Literal["m", "ft", "us-ft"] | None = Field(
        default=None,
        description="Unit of its heights where the file names none: m, ft, us-ft.",
        examples=['"m"'],
    )
    surface: Literal["ground", "canopy"] | None = Field(
        default=None,
        description="Whether its heights are bare ground, or the top of the canopy.",
        examples=['"ground"'],
    )
    field: File | None = _file(
        "The field: polygons, or one walked line that closes.", '"field.geojson"'
    )
    corners: Corners | None = Field(
        default=None,
        description="In place of a file: corners as [lat, lon], as phones show them.",
        examples=["[[46.31, 15.01], [46.31, 15.02], [46.32, 15.02]]"],
    )
    water: File | None = _file(
        "Polygons of water: ice_out, ice_in, depth_m [m].", '"water.geojson"'
    )
    barriers: File | None = _file(
        "Hedges, walls, fences: kind, height_m [m], openness 0 to 1.",
        '{file = "holding.gpkg", layer = "barriers"}',
    )
    woodland: File | None = _file(
        "Woods: height_m [m], evergreen, openness; or a raster of canopy heights.",
        '"woodland.geojson"',
    )
    cover: File | None = _file("Ground cover: kind.", '"cover.geojson"')
    no_go: File | None = _file(
        "Ground not to be planted: name, reason.", '"no_go.geojson"'
    )
    neighbours: File | None = _file(
        "Ground and houses of others: name.", '"neighbours.geojson"'
    )
    buildings: File | None = _file(
        "Buildings: kind (house, barn), height_m [m].", '"buildings.geojson"'
    )
    access: File | None = _file("Tracks and gates.", '"access.geojson"')
    services: File | None = _file(
        "Buried and overhead lines: kind, certainty.", '"services.geojson"'
    )
    existing_trees: File | None = _file(
        "Fruit trees that stand: fruit, condition (thriving, weak, dead), bloom.",
        '"trees.geojson"',
    )
    mulched: File | None = _file("Ground under mulch.", '"mulched.geojson"')
    control_marks: File | None = _file(
        "Marks with known coordinates: name, kind (control, check), elevation_m.",
        '"control_marks.geojson"',
    )
    ground_tests: File | None = _file(
        "Test holes: result (good, slow, holds water).", '"ground_tests.geojson"'
    )
    notes: File | None = _file(
        "What was seen: date, kind (fog, frost, standing water ...), text.",
        '"notes.geojson"',
    )
    reference: Place | None = Field(
        default=None,
        description="Place that nights are compared with: [lon, lat].",
        examples=["[15.01, 46.31]"],
    )


class RecordsSection(_Section):
    """The record of a station: `[records]`."""

    file: Paths = Field(
        default=(),
        description="Daily minimum and maximum: CSV or GHCN-Daily; or a list of them.",
        examples=['"station.csv"'],
    )
    station: Place | None = Field(
        default=None,
        description="Where it stands: [lon, lat, elevation_m].",
        examples=["[15.01, 46.31, 705.0]"],
    )
    columns: dict[str, str] | None = Field(
        default=None,
        description="Names of its columns, where they are not date, tmin, tmax.",
        examples=['{date = "day", tmin = "min", tmax = "max"}'],
    )
    unit: Literal["degC", "degF"] = Field(
        default="degC",
        description="Unit of its temperatures: degC, degF.",
        examples=['"degC"'],
    )
    bloom: FreeTable | str | None = Field(
        default=None,
        description="Full bloom seen at the station, a day for each fruit or a file.",
        examples=['{apple = "05-02", plum = "04-20"}'],
    )


class GridSection(_Section):
    """Cell and reach: `[grid]`."""

    cell: Positive | None = Field(
        default=None,
        description="Cell, where it should be coarser than the elevation's [m].",
        examples=["5.0"],
    )
    margin: Annotated[Number, Field(ge=0)] | None = Field(
        default=None,
        description="Ground read about the field [m].",
        examples=["1000.0"],
    )
    max_cells: Annotated[int, Field(gt=0)] | None = Field(
        default=None,
        description="Largest number of cells.",
        examples=["4000000"],
    )


class FruitSection(_Section):
    """The fruit asked for: `[fruit]`."""

    kinds: Texts = Field(
        default=(),
        description="Fruit asked for; all where none is named.",
        examples=['["apple", "pear", "plum"]'],
    )
    folder: str | None = Field(
        default=None,
        min_length=1,
        description="Folder with fruit files of your own.",
        examples=['"fruit"'],
    )


class OutputsSection(_Section):
    """What is written where: `[outputs]`."""

    folder: str | None = Field(
        default=None,
        min_length=1,
        description="Folder to write to.",
        examples=['"survey"'],
    )
    layers: Texts = Field(
        default=(),
        description="Layers to write as files; the usual ones where none is named.",
        examples=['["slope", "pooling_depth"]'],
    )


class SiteModel(_Section):
    """The whole site file."""

    site: SiteSection = SiteSection()
    records: RecordsSection = RecordsSection()
    grid: GridSection = GridSection()
    fruit: FruitSection = FruitSection()
    need: NeedSection = NeedSection()
    limits: LimitsSection = LimitsSection()
    prices: PricesSection = PricesSection()
    outputs: OutputsSection = OutputsSection()
    settings: FreeTable = Field(
        default={},
        description="Settings by name, as `sitekit check --json` lists them.",
        examples=["relative_height_radius = 150.0"],
    )
