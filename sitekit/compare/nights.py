"""The night of a site before and after a change, on one zero."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sitekit.doubt.inputs import TO_END, UNSURE
from sitekit.layers import make_layers, season
from sitekit.layers.catalogue import all_settings
from sitekit.layers.inputs import gather_inputs
from sitekit.layers.night import night_length
from sitekit.settings import settings_of
from sitekit.site import Site

#: Layers that a comparison tells of, and those that it reads besides.
TOLD = ("pooling_depth", "cold_air_depth", "frost_night_offset")
READ = ("cold_air_speed", "night_warmth", "catchment_area", "sky_view_factor")
#: What steers pools most; how unsure each is stands with the other inputs.
STEERS = ("production", "mixing_hours", "pool_cold")
OPENNESS = "openness"
BY_NAME = {unsure.name: unsure for unsure in UNSURE}


@dataclass(frozen=True)
class Night:
    """One night: layers by name, and its strength and lapse."""

    layers: Mapping[str, NDArray[np.float32]]
    strength: float


def run_night_of(
    site: Site, sky: NDArray[np.float32] | None = None, **changed: float
) -> Night:
    """Make the layers of a clear still night.

    Parameters
    ----------
    site : Site
        The site.
    sky : (row, column) ndarray, optional
        Open sky where it is known already.
    **changed : float
        Settings that differ from those of the site.

    Returns
    -------
    night : Night
        The layers.
    """
    inputs: dict[str, NDArray[Any]] = gather_inputs(site)
    settings = {**site.settings, **changed}
    if sky is not None:
        inputs["sky_view_factor"] = sky
    made, _ = make_layers(
        [*TOLD, *READ[: 3 if sky is not None else 4]], inputs, site.grid, settings
    )
    arrays = {str(name): layer.to_numpy() for name, layer in made.items()}
    if sky is not None:
        arrays["sky_view_factor"] = sky
    return Night(arrays, strength_of(site, settings))


def strength_of(site: Site, settings: Mapping[str, Any]) -> float:
    """Tell how strongly the standard night of a site cools.

    Parameters
    ----------
    site : Site
        The site.
    settings : mapping
        Its settings.

    Returns
    -------
    strength : float
        Against a night of 9 h.
    """
    chosen = {n: v for n, v in settings.items() if n in settings_of(night_length)}
    hours = night_length(latitude=site.grid.latitude, **chosen)
    return season.night_strength(float(hours))


def change_of(
    before: Night, after: Night, site: Site, changed: Site, lapse: float
) -> NDArray[np.float32]:
    """Tell the change of the night minimum, positive where it becomes milder.

    The reference place moves with neither: a change that reaches it shows as what
    it is.

    Parameters
    ----------
    before, after : Night
        The two nights.
    site, changed : Site
        The site as it is and as it would be.
    lapse : float
        Fall of the minimum with height. [degC m⁻¹]

    Returns
    -------
    change : (row, column) ndarray of float32
        After less before. [degC]
    """
    warmer = after.layers["night_warmth"] - before.layers["night_warmth"]
    higher = changed.elevation - site.elevation
    change: NDArray[np.float32] = (before.strength * warmer - lapse * higher).astype(
        np.float32
    )
    return change


def draw_settings(site: Site, draws: int) -> Iterator[tuple[dict[str, float], float]]:
    """Draw what steers pools, the same for before and after.

    Parameters
    ----------
    site : Site
        The site; its own settings are the middle where they are set.
    draws : int
        How many.

    Yields
    ------
    settings : dict
        Settings of one draw.
    openness : float
        What to add to every openness.
    """
    random = np.random.default_rng(1)
    usual = all_settings()
    middles = {n: float(site.settings.get(n, usual[n][0])) for n in STEERS}
    for _ in range(draws):
        drawn = {}
        for name in STEERS:
            spread = np.log(BY_NAME[name].factor) / TO_END
            drawn[name] = middles[name] * float(np.exp(random.normal(0, spread)))
        yield drawn, float(random.normal(0, BY_NAME[OPENNESS].added / TO_END))


def with_openness(site: Site, shift: float) -> Site:
    """Shift the openness of every barrier.

    Parameters
    ----------
    site : Site
        The site.
    shift : float
        What to add.

    Returns
    -------
    shifted : Site
        The site with other barriers.
    """
    barriers = site.vectors["barriers"].copy()
    barriers["openness"] = np.clip(barriers["openness"] + shift, 0, 1)
    return replace(site, vectors={**site.vectors, "barriers": barriers})
