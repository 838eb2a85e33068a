"""One site: read, surveyed, and told in a few sentences."""

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from pathlib import Path
from time import perf_counter
from typing import Any, TypeVar

import rioxarray  # noqa: F401 - gives the layers their coordinate system
import xarray as xr
from numpy.typing import NDArray

from sitekit.climate.place import shift_places
from sitekit.climate.years import RecordYears, count_years, tell_record
from sitekit.doubt.nights import Carried, carry_doubt
from sitekit.doubt.noise import elevation_error_of
from sitekit.errors import ConfigError, FruitError, LayerError, nearest
from sitekit.fruit import Fruit, fruit_names, read_fruit
from sitekit.io.offers import choose_sources
from sitekit.io.water import make_shore
from sitekit.layers import CATALOGUE, find_layer, make_layers
from sitekit.layers.catalogue import all_settings
from sitekit.layers.inputs import gather_inputs
from sitekit.layers.offset import HEIGHT_DOUBT, OFFSET
from sitekit.planting.baseline import choose_baseline
from sitekit.planting.bearing import choose_bearing
from sitekit.planting.block_marks import place_block_marks
from sitekit.planting.lanes import find_setbacks, plan_cold_air_lanes
from sitekit.planting.plan import plan_planting, with_plan
from sitekit.planting.plants import find_partners
from sitekit.planting.setting_out import name_revision
from sitekit.results import Survey
from sitekit.settings import Setting, settings_of
from sitekit.site import Site
from sitekit.siting.answer import compose_answer
from sitekit.siting.blocks import find_closed_ground, group_into_blocks
from sitekit.siting.contrast import tell_years
from sitekit.siting.evidence import compare_notes, compare_trees
from sitekit.siting.groups import tabulate_groups, take_reasons
from sitekit.siting.lines import draw_contours, find_cold_air_paths
from sitekit.siting.maps import CLIMATE, NEEDS, name_need, wrap_verdicts, wrap_years
from sitekit.siting.mind import tell_doubt
from sitekit.siting.places import READ_BY_SITING, Places
from sitekit.siting.pockets import find_frost_pockets
from sitekit.siting.spots import block_numbers, choose_spots
from sitekit.siting.tables import describe_blocks, tabulate_fruit
from sitekit.siting.years import limit_verdicts
from sitekit.suitability.ground import LAND_SLOPE, judge, make_ground
from sitekit.suitability.reasons import layers_named
from sitekit.suitability.score import score_fruit

#: Functions outside the catalogue of layers that have settings.
TUNED: tuple[Callable[..., Any], ...] = (
    choose_sources,
    elevation_error_of,
    carry_doubt,
    make_ground,
    shift_places,
    count_years,
    find_frost_pockets,
    find_cold_air_paths,
    group_into_blocks,
    choose_spots,
    find_setbacks,
    plan_cold_air_lanes,
    choose_bearing,
    find_partners,
    choose_baseline,
    place_block_marks,
    name_revision,
)
#: Layers that the years of a record read besides.
READ_BY_CLIMATE = (
    "direct_irradiation_growing",
    "lake_effect_ice",
    "lake_effect_bloom",
    "lake_effect_autumn",
)


def known_settings() -> dict[str, tuple[Any, Setting]]:
    """List every setting that a site file may change.

    Returns
    -------
    settings : dict
        Name to default and what it is.
    """
    found = all_settings()
    for function in TUNED:
        found.update(settings_of(function))
    return dict(sorted(found.items()))


def check_settings(settings: Mapping[str, Any]) -> list[str]:
    """Check the names and values of settings.

    Parameters
    ----------
    settings : mapping
        Settings by name.

    Returns
    -------
    mistakes : list of str
        One sentence for each setting that is not known or out of range.
    """
    known = known_settings()
    mistakes = []
    for name, value in settings.items():
        if name not in known:
            mistakes.append(f'unknown setting "{name}".{nearest(name, known)}')
            continue
        wrong = _wrong_value(value, *known[name])
        if wrong:
            mistakes.append(f'setting "{name}" {wrong}')
    return mistakes


def check_names(
    fruit: Sequence[str], fruit_folder: Path | None, layers: Sequence[str]
) -> list[str]:
    """Check the names of fruit and layers.

    Parameters
    ----------
    fruit : sequence of str
        Fruit asked for.
    fruit_folder : Path or None
        Folder of the grower's own fruit files.
    layers : sequence of str
        Layers asked for.

    Returns
    -------
    mistakes : list of str
        One sentence for each name that is not known.
    """
    mistakes: list[str] = []
    for name in fruit:
        try:
            read_fruit(name, fruit_folder)
        except FruitError as error:
            mistakes += error.mistakes
    for name in layers:
        if name in CLIMATE or name.startswith("poor_crop_years_"):
            continue
        try:
            find_layer(name)
        except LayerError as error:
            mistakes += error.mistakes
    return mistakes


def _wrong_value(value: object, default: object, setting: Setting) -> str:
    """Say what is wrong with the value of a setting; empty where nothing is."""
    if isinstance(default, int | float) and not isinstance(default, bool):
        if isinstance(value, bool) or not isinstance(value, int | float):
            return f"must be a number [{setting.units}], as {default}."
        if not setting.low <= value <= setting.high:
            return f"is {value}; it must lie from {setting.low:g} to {setting.high:g}."
        return ""
    if isinstance(value, list):
        value = tuple(value)
    if setting.choices and isinstance(value, str) and value not in setting.choices:
        return f'is "{value}"; allowed: {", ".join(setting.choices)}.'
    if setting.choices and isinstance(value, tuple):
        strange = [str(v) for v in value if v not in setting.choices]
        if strange:
            return f'holds "{strange[0]}"; allowed: {", ".join(setting.choices)}.'
    return "" if isinstance(value, type(default)) else f"must look like {default!r}."


@dataclass
class Watch:
    """Tells which step runs and how long each took.

    Parameters
    ----------
    on_step : callable
        Called with the name of a step when it begins.
    """

    on_step: Callable[[str], None] = lambda _: None
    seconds: dict[str, float] = field(default_factory=dict)

    @contextmanager
    def step(self, name: str) -> Iterator[None]:
        """Time a step."""
        self.on_step(name)
        start = perf_counter()
        yield
        self.seconds[name] = round(perf_counter() - start, 3)


def survey(
    site: Site,
    *,
    given: Mapping[str, NDArray[Any]] | None = None,
    on_step: Callable[[str], None] = lambda _: None,
) -> Survey:
    """Survey a site: layers, scores, spots, blocks and the answer.

    Parameters
    ----------
    site : Site
        What was read.
    given : mapping of str to (row, column) ndarray, optional
        Layers that are known already, such as a night offset corrected by readings.
    on_step : callable
        Called with the name of each step when it begins.

    Returns
    -------
    survey : Survey
        Everything found.

    Raises
    ------
    ConfigError
        For a setting, fruit or layer that is not known.
    """
    mistakes = check_settings(site.settings)
    mistakes += check_names(site.fruit, site.fruit_folder, site.layers)
    if mistakes:
        raise ConfigError(*mistakes)
    watch = Watch(on_step)
    fruits = [read_fruit(n, site.fruit_folder) for n in site.fruit or fruit_names()]
    asked = [n for n in site.layers if n in CATALOGUE] or usual_layers()
    made, absent, carried = _find_layers(site, asked, fruits, given or {}, watch)
    with watch.step("scores"):
        ground = _judge(site, made, fruits)
    with watch.step("years"):
        years = _tuned(count_years, site, ground.layers, fruits)
        places = ground if years is None else _limit(ground, years)
        if years is None:
            absent |= dict.fromkeys(_wanted(CLIMATE, site), NEEDS)
    closed = find_closed_ground(site, places.ground.blocked)
    with watch.step("blocks"):
        groups = _tuned(group_into_blocks, site, places.verdicts, closed)
        blocks = describe_blocks(groups, places)
        table, drawn = tabulate_fruit(blocks), None
        if years is not None:
            table = tabulate_groups(
                groups, describe_blocks(groups, ground), blocks, years, fruits
            )
            blocks = take_reasons(blocks, table)
            drawn = tell_years(groups, table, years, fruits)
    with watch.step("spots"):
        spots = _tuned(choose_spots, site, groups, places.verdicts, places, closed)
    with watch.step("pockets"):
        pockets = _tuned(
            find_frost_pockets,
            site,
            places.layers["pooling_depth"],
            places.layers["depression_depth"],
            places.layers["frost_night_offset"],
            places.layers["path_margin"],
        )
    with watch.step("lines"):
        paths = _tuned(
            find_cold_air_paths,
            site,
            places.layers["flow_direction"],
            places.layers["catchment_area"],
        )
        contours = draw_contours(site)
    with watch.step("answer"):
        trees, notes = compare_trees(places), compare_notes(places)
        told = () if years is None else tell_record(years, fruits)
        answer = compose_answer(site, blocks, pockets, trees, notes, absent, told)
        doubt = tell_doubt(groups, ground, places, carried, years)
    with watch.step("plan"):
        block_of = block_numbers(site, groups)
        plan = plan_planting(places, blocks, table, block_of, paths, years)
    return Survey(
        site=site,
        layers=_with_fruit(made[[n for n in asked if n in made]], places, years),
        spots=spots,
        blocks=blocks if plan is None else with_plan(blocks, plan, site),
        fruit_by_block=table,
        frost_pockets=pockets,
        cold_air_paths=paths,
        contours=contours,
        existing_trees=trees,
        notes=notes,
        answer=answer,
        absent=absent,
        seconds=watch.seconds,
        plan=plan,
        years=drawn,
        doubt=doubt,
    )


def usual_layers() -> list[str]:
    """Name the layers that a survey writes unless asked otherwise."""
    return [name for name, entry in CATALOGUE.items() if entry.written]


def _find_layers(
    site: Site,
    asked: Sequence[str],
    fruits: Sequence[Fruit],
    given: Mapping[str, NDArray[Any]],
    watch: Watch,
) -> tuple[xr.Dataset, dict[str, str], Carried | None]:
    """Make the layers asked for and those that fruit and siting read, and the doubt."""
    factors = [name for fruit in fruits for name in layers_named(fruit)]
    climate = READ_BY_CLIMATE if site.records else ()
    names = list(dict.fromkeys([*asked, *READ_BY_SITING, *factors, *climate]))
    carried = None
    if OFFSET not in given:
        with watch.step("doubt"):
            carried = _tuned(carry_doubt, site)
    heights = {HEIGHT_DOUBT: carried.height_doubt(site.grid)} if carried else {}
    with watch.step("layers"):
        # The inputs go straight on: a name for them here would hold them all.
        made, absent = make_layers(
            names,
            {**_inputs(site), **given, **heights},
            site.grid,
            site.settings,
            watch.on_step,
        )
    made[OFFSET].attrs["relative_to"] = site.reference_name
    lacking = {n: name_need(need) for n, need in absent.items() if n in asked}
    return made, lacking, carried


def _inputs(site: Site) -> dict[str, NDArray[Any]]:
    """Gather what the layers are made from."""
    inputs = gather_inputs(site)
    if site.has_water:
        shore, level = make_shore(site.vectors["water"], site.grid.cell_size / 2)
        inputs |= {"shore": shore, "shore_level": level} if len(shore) else {}
    return inputs


def _judge(site: Site, made: xr.Dataset, fruits: Sequence[Fruit]) -> Places:
    """Score the field for each fruit and hold the classes to what the soil allows."""
    arrays: dict[str, NDArray[Any]] = {str(n): v.to_numpy() for n, v in made.items()}
    ground = _tuned(make_ground, site)
    judged = site.field_mask & ~site.water_mask
    verdicts = {
        fruit.name: judge(
            score_fruit(fruit, arrays, judged), ground, arrays[LAND_SLOPE]
        )
        for fruit in fruits
    }
    return Places(site, arrays, verdicts, ground)


def _limit(ground: Places, years: RecordYears) -> Places:
    """Hold the verdicts on the ground to what the years of the record leave."""
    site = ground.site
    judged = site.field_mask & ~site.water_mask
    verdicts, told = limit_verdicts(ground.verdicts, years, judged)
    return replace(ground, verdicts=verdicts, years=told)


def _wanted(names: Iterable[str], site: Site) -> list[str]:
    """Keep the layers that are asked for; all where none is named."""
    return [name for name in names if not site.layers or name in site.layers]


def _with_fruit(
    layers: xr.Dataset, places: Places, years: RecordYears | None
) -> xr.Dataset:
    """Add the layers of fruit and of years, and the coordinate system."""
    site = places.site
    added = wrap_verdicts(places.verdicts, site)
    if years is not None:
        fruits = {name: verdict.fruit for name, verdict in places.verdicts.items()}
        added |= wrap_years(years, fruits, site, tuple(site.layers))
    # Known to whoever opens the layers in a notebook: their coordinate system.
    # In place: a copy would hold every layer twice.
    known: xr.Dataset = layers.assign(added).rio.write_crs(site.grid.crs, inplace=True)
    return known


Result = TypeVar("Result")


def _tuned(function: Callable[..., Result], site: Site, *arguments: object) -> Result:
    """Call a function with the settings of the site that it knows."""
    chosen = {n: v for n, v in site.settings.items() if n in settings_of(function)}
    return function(site, *arguments, **chosen)
