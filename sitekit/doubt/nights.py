"""The clear still night with each unsure input at both ends of its range."""

from collections.abc import Callable, Iterable, Iterator, Mapping
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Annotated, Any

import numba
import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from sitekit.doubt.coarse import flow_cell_of, make_coarser
from sitekit.doubt.inputs import (
    COVER,
    END_WEIGHT,
    HEIGHTS,
    REST,
    TO_END,
    UNSURE,
    Unsure,
)
from sitekit.doubt.noise import draw_errors, elevation_error_of
from sitekit.grid import Grid
from sitekit.kernels.refine import refine
from sitekit.layers import make_layers
from sitekit.layers.catalogue import CATALOGUE, all_settings
from sitekit.layers.inputs import gather_inputs
from sitekit.layers.night import air_sources, night_air, night_length
from sitekit.layers.offset import ALWAYS, COVER_UNKNOWN, OFFSET
from sitekit.settings import Setting, settings_of
from sitekit.site import Site

Arrays = Mapping[str, NDArray[Any]]

COLD, AIR, SKY = "night_cold", "night_air", "sky_view_factor"
BACKGROUND = "background_warmth"
#: Layers that stay as they are unless what they hang on is changed.
KEPT = (
    OFFSET,
    COLD,
    "elevation",
    "pooling_depth",
    "held_air",
    BACKGROUND,
    "crest_warmth",
    "concave_warmth",
    "pool_warmth",
    "still_warmth",
    "sky_warmth",
    "cover_warmth",
    "lake_warmth_bloom",
)
DRAG_ROW = 2
#: Variances of few draws are smoothed over this many cells.
SMOOTHED = 5
SEED = 20


@dataclass(frozen=True)
class Trial:
    """One night to be run with one input changed.

    Parameters
    ----------
    unsure : Unsure
        The input.
    high : bool
        At the upper end.
    changed : dict
        What `Nights.run` is given.
    weight : float
        Of the square of its effect in the variance.
    """

    unsure: Unsure
    high: bool
    changed: dict[str, Any]
    weight: float = END_WEIGHT


@dataclass(frozen=True)
class Effect:
    """What one input at one end of its range does, or one draw of heights.

    Parameters
    ----------
    unsure : Unsure
        The input.
    high : bool
        At the upper end; for what differs from place to place, milder.
    offset, cold : (row, column) ndarray of float32
        Change of the night offset, and of the cold that decides classes. [degC]
    weight : float
        Of its square in the variance.
    """

    unsure: Unsure
    high: bool
    offset: NDArray[np.float32]
    cold: NDArray[np.float32]
    weight: float = END_WEIGHT


@dataclass(frozen=True)
class Carried:
    """Doubt of the inputs carried to the night offset.

    Parameters
    ----------
    grid : Grid
        Coarser cells on which it was carried.
    effects : tuple of Effect
        What each input does.
    """

    grid: Grid
    effects: tuple[Effect, ...]

    @cached_property
    def variances(self) -> dict[str, NDArray[np.float32]]:
        """Variance of the night offset by group of inputs. [degC²]."""
        found: dict[str, NDArray[np.float32]] = {}
        for effect in self.effects:
            part = np.float32(effect.weight) * effect.offset**2
            group = effect.unsure.group
            found[group] = found[group] + part if group in found else part
        if HEIGHTS in found:
            found[HEIGHTS] = _smooth(found[HEIGHTS])
        return found

    def height_doubt(self, grid: Grid) -> NDArray[np.float32]:
        """Bring the doubt from errors of the heights to the cells of a survey.

        Parameters
        ----------
        grid : Grid
            The survey's grid.

        Returns
        -------
        doubt : (row, column) ndarray of float32
            Standard deviation. [degC]
        """
        factor = round(self.grid.cell_size / grid.cell_size)
        return refine(np.sqrt(self.variances[HEIGHTS]), factor, grid.shape)

    @property
    def spread(self) -> NDArray[np.float32]:
        """Standard deviation of the night offset. [degC]."""
        total = np.zeros(self.grid.shape, np.float32)
        for part in self.variances.values():
            total += part
        return np.sqrt(total)


def carry_doubt(
    site: Site,
    *,
    unsure: Iterable[Unsure] = UNSURE,
    doubt_draws: Annotated[
        int,
        Setting(
            "1",
            "Draws of errors of the heights; 0 carries no doubt of any input.",
            low=0,
            high=100,
        ),
    ] = 8,
) -> Carried | None:
    """Carry the doubt of every unsure input to the night offset.

    Parameters
    ----------
    site : Site
        The site.
    unsure : iterable of Unsure
        Inputs, one changed at a time.
    doubt_draws : int
        See the setting.

    Returns
    -------
    carried : Carried or None
        What each does, on coarser cells; None without draws.

    References
    ----------
    Hong, H. P., "An efficient point estimate method for probabilistic analysis",
    Reliability Engineering and System Safety 59, 1998: 2 m + 1 points. Here the ends
    of the range of 90 % take the place of 1.73 standard deviations.
    """
    if not doubt_draws:
        return None
    nights = Nights(make_coarser(site))
    trials = [trial for each in unsure for trial in nights.both_ends(each)]
    trials += nights.draw_heights(doubt_draws)
    effects = (*nights.try_all(trials), *nights.place_by_place())
    return Carried(nights.site.grid, effects)


class Nights:
    """Nights of one site on its coarser cells, each made anew only where it differs.

    Parameters
    ----------
    site : Site
        The site on coarser cells.
    """

    def __init__(self, site: Site) -> None:
        self.site = site
        self.settings = {**site.settings, "flow_cell": flow_cell_of(site)}
        self.inputs = gather_inputs(site)
        self.inputs[SKY] = self._make([SKY], self.inputs, self.settings)[SKY]
        hours = _known(night_length, self.settings)
        self.hours = night_length(latitude=site.grid.latitude, **hours)
        self.inputs[AIR] = self._run_air(self.inputs, self.settings)
        self.base = self._make(KEPT, self.inputs, self.settings)

    def run(
        self,
        *,
        settings: Mapping[str, Any] | None = None,
        given: Arrays | None = None,
        drag: float = 1.0,
    ) -> dict[str, NDArray[Any]]:
        """Make the night with some inputs changed.

        Parameters
        ----------
        settings : mapping, optional
            Settings that differ from the site's.
        given : mapping of str to ndarray, optional
            Inputs that differ.
        drag : float
            How many times as rough the ground is.

        Returns
        -------
        layers : dict of str to (row, column) ndarray
            Offset, cold and the terms.
        """
        changed = {**self.settings, **(settings or {})}
        inputs = {**self.inputs, **(given or {})}
        roots = {*(given or {}), *_layers_with(settings or {})}
        moved = _moved({*roots, AIR} if drag != 1 else roots)
        if AIR in moved:
            inputs[AIR] = self._run_air(inputs, changed, drag)
        inputs |= {n: a for n, a in self.base.items() if n not in moved}
        return self._make(KEPT, inputs, changed)

    def _run_air(
        self, inputs: Arrays, settings: Mapping[str, Any], drag: float = 1.0
    ) -> NDArray[np.float32]:
        sources = air_sources(
            inputs["cover"],
            inputs[SKY],
            inputs["canopy_height"],
            inputs["water"],
            **_known(air_sources, settings),
        )
        sources[DRAG_ROW] *= drag
        return night_air(
            inputs["survey_elevation"],
            sources,
            inputs["water"],
            inputs["barrier_pieces"],
            self.hours,
            cell_size=self.site.grid.cell_size,
            **_known(night_air, settings),
        )

    def _make(
        self, names: Iterable[str], inputs: Arrays, settings: Mapping[str, Any]
    ) -> dict[str, NDArray[Any]]:
        made, _ = make_layers(names, inputs, self.site.grid, settings)
        return {str(name): layer.to_numpy() for name, layer in made.items()}

    def try_all(self, trials: Iterable[Trial]) -> list[Effect]:
        """Run nights with something changed, as many at once as there are threads.

        A night on so few cells gains little from a second thread of its own.
        """

        def try_one(trial: Trial) -> Effect:
            numba.set_num_threads(1)
            found = self.run(**trial.changed)
            offset, cold = (found[n] - self.base[n] for n in (OFFSET, COLD))
            return Effect(trial.unsure, trial.high, offset, cold, trial.weight)

        with ThreadPoolExecutor(numba.get_num_threads()) as pool:
            return list(pool.map(try_one, trials))

    def both_ends(self, unsure: Unsure) -> list[Trial]:
        """Change an input to both ends of its range; nothing where it is nil."""
        return [
            Trial(unsure, high, changed)
            for high, changed in zip((False, True), self._ends(unsure), strict=False)
        ]

    def _ends(self, unsure: Unsure) -> Iterator[dict[str, Any]]:
        if unsure.name == "openness":
            yield from self._open_barriers(unsure)
        elif unsure.name == "drag":
            for end in unsure.ends(1.0):
                yield {"drag": end}
        elif unsure.name == "background":
            for end in unsure.ends(1.0):
                scaled = (end * self.base[BACKGROUND]).astype(np.float32)
                yield {"given": {BACKGROUND: scaled}}
        elif self._counts(unsure.name):
            default = all_settings()[unsure.name][0]
            middle = float(self.settings.get(unsure.name, default))
            for end in unsure.ends(middle):
                yield {"settings": {unsure.name: end}}

    def _counts(self, name: str) -> bool:
        """Tell whether a setting can matter: water only where there is some."""
        if name == "water_mixing":
            return bool(self.site.water_mask.any())
        if name == "lake_share":
            return len(self.inputs["lake_table"]) > 0
        return True

    def _open_barriers(self, unsure: Unsure) -> Iterator[dict[str, Any]]:
        """Make every barrier less open, and more open."""
        barriers = self.site.vectors["barriers"]
        if barriers.empty:
            return
        openness = barriers["openness"].to_numpy(float)
        for sign in (-1, 1):
            if guessed_openness(self.site):
                ends = openness * unsure.factor**sign
            else:
                ends = openness + sign * unsure.added
            opened = barriers.assign(openness=np.clip(ends, 0, 1))
            vectors = {**self.site.vectors, "barriers": opened}
            inputs = gather_inputs(replace(self.site, vectors=vectors))
            names = ("barrier_height", "barrier_pieces")
            yield {"given": {n: inputs[n] for n in names}}

    def draw_heights(self, draws: int) -> list[Trial]:
        """Draw errors of the heights."""
        model, grid = self.site.model, self.site.grid
        error, reach = elevation_error_of(
            model, **_known(elevation_error_of, self.settings)
        )
        unsure = Unsure("elevation_error", HEIGHTS, added=error)
        random = np.random.default_rng(SEED)
        trials = []
        for _ in range(draws):
            errors = draw_errors(grid.shape, grid.cell_size, error, reach, random)
            given = {n: self.inputs[n] + errors for n in ("survey_elevation", "ground")}
            trials.append(Trial(unsure, True, {"given": given}, 1 / draws))
        return trials

    def place_by_place(self) -> Iterator[Effect]:
        """Tell what differs from place to place and hangs on no number."""
        unknown = np.float32(1) - self.inputs["cover_known"]
        for name, group, spread in (
            ("cover", COVER, COVER_UNKNOWN * unknown),
            ("rest", REST, np.full(self.site.grid.shape, ALWAYS)),
        ):
            end = (TO_END * spread).astype(np.float32)
            for high, offset in ((False, -end), (True, end)):
                yield Effect(Unsure(name, group), high, offset, -offset)


def guessed_openness(site: Site) -> bool:
    """Tell whether the openness of any barrier was taken from its kind."""
    return any(r.about == "barriers" and r.kind == "doubtful" for r in site.remarks)


def _known(function: Callable[..., Any], settings: Mapping[str, Any]) -> dict[str, Any]:
    return {n: v for n, v in settings.items() if n in settings_of(function)}


def _layers_with(settings: Iterable[str]) -> set[str]:
    """Name the layers that have one of some settings."""
    names = set(settings)
    return {n for n, entry in CATALOGUE.items() if names.intersection(entry.settings)}


def _moved(roots: Iterable[str]) -> set[str]:
    """Name what hangs on some inputs or layers, themselves included."""
    moved = set(roots)
    while True:
        more = {n for n, e in CATALOGUE.items() if moved.intersection(e.needs)} - moved
        if not more:
            return moved
        moved |= more


def _smooth(values: NDArray[np.float32]) -> NDArray[np.float32]:
    smooth: NDArray[np.float32] = ndimage.uniform_filter(
        np.nan_to_num(values), SMOOTHED, mode="nearest"
    )
    return smooth
