"""Trying proposals on a site, each alone or all together."""

from collections.abc import Callable, Sequence
from functools import reduce
from typing import Annotated, Any

import numpy as np
import shapely
import xarray as xr
from geopandas import GeoDataFrame
from numpy.typing import NDArray

from sitekit import words
from sitekit.compare import judging
from sitekit.compare.changes import Row, change_site
from sitekit.compare.nights import (
    Night,
    change_of,
    draw_settings,
    run_night_of,
    with_openness,
)
from sitekit.layers.catalogue import find_layer
from sitekit.pipeline import Watch
from sitekit.results import Change, Comparison
from sitekit.settings import Setting
from sitekit.site import Site
from sitekit.siting.lines import draw_contours

TOGETHER = "together"
#: Best first.
ORDER = {judging.IMPROVED: 0, judging.NONE: 1, judging.WORSE: 2}
#: Paired draws run on cells of the moving air this many times as large.
COARSER = 2.0


def compare(
    site: Site,
    proposals: GeoDataFrame,
    *,
    together: bool = False,
    paired_draws: Annotated[
        int,
        Setting("1", "Paired draws for the doubt of a difference.", low=2, high=200),
    ] = 8,
    on_step: Callable[[str], None] = lambda _: None,
) -> Comparison:
    """Try proposals on a site.

    Parameters
    ----------
    site : Site
        The site as it is.
    proposals : GeoDataFrame
        One row a change, see `sitekit.io.proposals.read_proposals`.
    together : bool
        Try all at once instead of each alone.
    paired_draws : int
        Draws for the doubt of a difference, the same before and after.
    on_step : callable
        Called with the name of each step when it begins.

    Returns
    -------
    comparison : Comparison
        What each does, the one that helps most first.
    """
    rows = proposals.to_dict("records")
    changed = [change_site(site, row) for row in rows]
    watch = Watch(on_step)
    with watch.step("the night as it is"):
        trial = _Trial(site, run_night_of(site), paired_draws)
    tried = list(zip(rows, changed, strict=True))
    if together:
        tried = [(_joined(rows), reduce(change_site, rows, site))]
    made = []
    for row, one in tried:
        with watch.step(str(row["name"])):
            made.append(trial(row, one))
    made.sort(key=lambda c: (ORDER[c.verdict], -c.ground_milder_m2))
    return Comparison(site, tuple(made), draw_contours(site), watch.seconds)


def _joined(rows: Sequence[Row]) -> Row:
    """Make one proposal of all."""
    shapes = shapely.union_all([row["geometry"] for row in rows])
    return {"name": TOGETHER, "action": TOGETHER, "geometry": shapes, "width_m": np.nan}


class _Trial:
    """Tries one change against the night as it is."""

    def __init__(self, site: Site, before: Night, draws: int) -> None:
        self.site, self.before, self.draws = site, before, draws
        default = find_layer("frost_night_offset").settings["night_lapse"][0]
        self.lapse = float(site.settings.get("night_lapse", default))

    def __call__(self, row: Row, changed: Site) -> Change:
        """Run the night after the change, and judge it."""
        site, before = self.site, self.before
        same_sky = (
            changed.elevation is site.elevation
            and changed.canopy_height is site.canopy_height
        )
        sky = before.layers["sky_view_factor"] if same_sky else None
        after = run_night_of(changed, sky)
        change = change_of(before, after, site, changed, self.lapse)
        pool = judging.find_pool(site, before, row)
        judged = judging.ground_judged(site, pool, row)
        verdict, mean = judging.judge_change(change, judged, site.field_mask)
        doubt = self._doubt(changed, sky, judged)
        parts = judging.table_of_parts(site, change)
        receiver, warned = judging.find_receiver(site, before, after, row)
        milder, colder = parts["milder_m2"].sum(), parts["colder_m2"].sum()
        return Change(
            name=str(row["name"]),
            action=str(row["action"]),
            verdict=verdict,
            ground_milder_m2=float(milder),
            ground_colder_m2=float(colder),
            mean_change_degc=round(mean, 2) + 0.0,  # no minus before a nought
            mean_change_sd=round(doubt, 2),
            receiver=receiver,
            sentence=_sentence(row, verdict, mean, doubt, milder, colder, receiver),
            remarks=tuple(self._remarks(row, warned, receiver, verdict, pool)),
            place=row["geometry"],
            pool=pool,
            layers=self._dataset(judging.layers_told(before, after, change)),
            blocks=parts,
        )

    def _doubt(
        self, changed: Site, sky: NDArray[np.float32] | None, judged: NDArray[np.bool_]
    ) -> float:
        """Find the doubt of the mean change by paired draws."""
        flow_cell = find_layer("night_air").settings["flow_cell"][0]
        wide = max(
            float(self.site.settings.get("flow_cell", flow_cell)),
            self.site.grid.cell_size,
        )
        means = []
        for drawn, openness in draw_settings(self.site, self.draws):
            first, second = [
                run_night_of(
                    with_openness(one, openness),
                    self.before.layers["sky_view_factor"] if sky is not None else None,
                    flow_cell=COARSER * wide,
                    **drawn,
                )
                for one in (self.site, changed)
            ]
            change = change_of(first, second, self.site, changed, self.lapse)
            means.append(float(np.nanmean(change[judged])))
        return float(np.std(means, ddof=1))

    def _remarks(
        self,
        row: Row,
        warned: bool,
        receiver: str,
        verdict: str,
        pool: NDArray[np.bool_],
    ) -> list[str]:
        """Say what else to know of a change."""
        told = []
        if row["action"] == "gap":
            passed, depth = judging.gap_capacity(
                self.site, self.before, row, float(row["width_m"])
            )
            most = words.with_unit(passed, "m³/s", 0 if passed >= 2 else 1)
            told.append(
                f"The air stands {words.with_unit(depth, 'm', 1)} deep there: the gap "
                f"passes at most {most}."
            )
        if row["action"] in judging.ON_BARRIER:
            if judging.air_from_below(self.site, self.before, row, pool):
                told.append(
                    "The air below stands higher than the ground here: do not open it "
                    "before logging both sides."
                )
            else:
                told.append("Checked: cold air from below does not reach the opening.")
        if warned:
            told.append(
                f"More cold air reaches {_the(receiver)}: agree on it before you begin."
            )
        if verdict == judging.NONE:
            told.append(
                "Within some 30 m of itself a change may still help; that ground is "
                "not counted."
            )
        return told

    def _dataset(self, arrays: Any) -> xr.Dataset:  # noqa: ANN401 - a mapping of arrays
        """Wrap the layers on the grid."""
        made = {}
        for name, values in arrays.items():
            told = find_layer(name.rpartition("_")[0])
            made[name] = self.site.grid.wrap(
                values.astype(np.float32),
                name,
                units=told.units,
                long_name=f"{told.long_name}, {name.rpartition('_')[2]}",
                reference=told.reference,
            )
        return xr.Dataset(made)


def _sentence(
    row: Row,
    verdict: str,
    mean: float,
    doubt: float,
    milder: float,
    colder: float,
    receiver: str,
) -> str:
    """Tell a change in one sentence."""
    name = words.sentence(str(row["name"]))[:-1]
    if verdict == judging.NONE:
        return f"{name}: {verdict} in the pool that was asked about."
    sure = f"(±{words.NO_BREAK}{max(doubt, 0.5):.1g})"
    by = f"{words.offset(mean)} {sure} in the pool"
    if abs(mean) < words.LEVEL:
        by = f"in part of the pool only {sure}"
    if verdict == judging.WORSE:
        return f"{name}: {verdict}, {words.area(colder)} of field colder, {by}."
    freed = words.area(milder) if milder else "no ground"
    return (
        f"{name}: {verdict}; {freed} of field milder by half a degree or more, {by}; "
        f"the air goes to {_the(receiver)}."
    )


def _the(receiver: str) -> str:
    """Name who receives the air within a sentence.

    Examples
    --------
    >>> _the("neighbour: Low Acre"), _the("ground to the north")
    ('the neighbour “Low Acre”', 'ground to the north')
    """
    word, named, own = receiver.partition(": ")
    return f"the {word} “{own}”" if named else receiver
