"""A survey corrected by readings and notes: before, after, and what changed."""

from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd
import shapely
from geopandas import GeoDataFrame
from numpy.typing import NDArray

from sitekit import words
from sitekit.grid import Grid
from sitekit.io.readings import ONE_PLACE, Readings
from sitekit.layers.catalogue import CATALOGUE
from sitekit.measuring.checks import check_temperatures
from sitekit.measuring.correction import (
    TERMS,
    Correction,
    Observed,
    correct_map,
    fit_correction,
    leave_one_out,
)
from sitekit.measuring.nights import (
    LEAST_NIGHTS,
    Offsets,
    find_minima,
    find_offsets,
    tell_apart,
)
from sitekit.measuring.notes import observe_notes, tell_notes
from sitekit.measuring.revision import (
    Revision,
    Terms,
    compare_verdicts,
    join_observed,
    make_terms,
    observe_loggers,
    weigh_terms,
)
from sitekit.pipeline import survey, usual_layers
from sitekit.results import Survey
from sitekit.site import Remark, Site
from sitekit.siting.answer import ASKED_FIRST

OFFSET, DOUBT = "frost_night_offset", "frost_night_offset_sd"
#: Layers that a revision reads besides those that are written.
READ = (*list(TERMS)[:-1], OFFSET, DOUBT, "barrier_doubt")
COLUMNS = (
    "logger",
    "nights",
    "observed_degc",
    "low_degc",
    "high_degc",
    "modelled_before_degc",
    "modelled_after_degc",
    "left_out_error_degc",
)
Arrays = Mapping[str, NDArray[Any]]


def revise(
    site: Site,
    readings: Readings | None = None,
    *,
    on_step: Callable[[str], None] = lambda _: None,
) -> tuple[Survey, Revision]:
    """Correct the survey of a site by readings of loggers and by its notes.

    Parameters
    ----------
    site : Site
        What was read.
    readings : Readings, optional
        Readings of loggers; without them the notes alone count.
    on_step : callable
        Called with the name of each step when it begins.

    Returns
    -------
    survey : Survey
        The survey again, corrected; as it was where there were not enough nights.
    revision : Revision
        What changed and why.
    """
    wanted = tuple(site.layers) or tuple(usual_layers())
    before = survey(
        replace(site, layers=tuple(dict.fromkeys((*wanted, *READ)))), on_step=on_step
    )
    arrays = {str(n): layer.to_numpy() for n, layer in before.layers.items()}
    asked = _only(before, site, wanted)
    on_step("readings")
    terms = make_terms(site, arrays)
    noted = tell_notes(site, terms, arrays[OFFSET])
    notes = observe_notes(noted, terms, site.grid)
    seen, names, offsets, remarks = _observe(site, terms, readings)
    if readings is not None and (offsets is None or len(names) < 2):
        return asked, _not_enough(site, readings, offsets, remarks)
    observed = notes if seen is None else join_observed(seen, notes)
    if not len(observed.offset):
        return asked, _nothing(site, remarks)
    fitted = fit_correction(observed, terms.anchor)
    offset, doubt = correct_map(
        fitted, terms.stack, (site.grid.eastings, site.grid.northings)
    )
    given = {**_unmoved(arrays), OFFSET: offset, DOUBT: doubt}
    after = _survey_again(site, wanted, given, readings, on_step)
    table = _table(site, names, offsets, observed, fitted, terms, arrays[OFFSET])
    known = table["left_out_error_degc"].dropna()
    left_out = float(np.sqrt((known**2).mean())) if len(known) else np.nan
    changed = {str(n): layer.to_numpy() for n, layer in after.layers.items()}
    verdicts = compare_verdicts(
        before.spots, before.blocks, arrays, {**given, **changed}, site.grid
    )
    revision = Revision(
        loggers=table,
        reference=offsets.reference if offsets else site.reference_name,
        nights=len(offsets.nights) if offsets else 0,
        chosen_by=offsets.chosen_by if offsets else "",
        weights=weigh_terms(fitted, terms, site.field_mask, arrays["barrier_doubt"]),
        left_out=left_out,
        changes=verdicts,
        notes=_after(noted, offset, site.grid),
        remarks=tuple(remarks),
        changed=True,
        summary=_summary(len(table), offsets, len(notes.offset), left_out, verdicts),
    )
    return _stamped(after, revision), revision


def _survey_again(
    site: Site,
    wanted: tuple[str, ...],
    given: Arrays,
    readings: Readings | None,
    on_step: Callable[[str], None],
) -> Survey:
    """Survey with the corrected offset and what is left of its doubt."""
    found = survey(replace(site, layers=wanted), given=given, on_step=on_step)
    inputs = {**site.inputs, **(readings.inputs if readings else {})}
    return replace(found, site=replace(site, inputs=inputs))


def _only(found: Survey, site: Site, names: tuple[str, ...]) -> Survey:
    """Keep the layers that were asked for."""
    extra = [n for n in READ if n not in names and n in found.layers]
    return replace(found, site=site, layers=found.layers.drop_vars(extra))


def _unmoved(arrays: Arrays) -> dict[str, NDArray[Any]]:
    """Choose the layers that no reading moves, so that they are not made again."""
    moved = {OFFSET, DOUBT}
    while True:
        more = {n for n, e in CATALOGUE.items() if moved.intersection(e.needs)} - moved
        if not more:
            break
        moved |= more
    return {n: a for n, a in arrays.items() if n in CATALOGUE and n not in moved}


def _observe(
    site: Site, terms: Terms, readings: Readings | None
) -> tuple[Observed | None, list[str], Offsets | None, list[Remark]]:
    """Check readings, and set their offsets beside the modelled terms."""
    if readings is None:
        return None, [], None, []
    longitude = site.grid.longitude
    checks = pd.DataFrame(readings.loggers.drop(columns="geometry"))
    kept, faults = check_temperatures(readings.temperatures, checks, longitude)
    remarks = [*readings.remarks, *faults]
    minima, ranges = find_minima(kept, longitude)
    loggers = readings.loggers
    named = [n for n in loggers.loc[loggers["reference"], "logger"] if n in minima]
    days = site.records[0].days if site.records else None
    offsets = find_offsets(
        minima,
        ranges,
        site.grid.latitude,
        reference=named[0] if named else "",
        days=days,
    )
    remarks += tell_apart(minima, offsets)
    if not offsets.enough or _at_one_place(loggers):
        return None, [], offsets, remarks
    seen, names, more = observe_loggers(site, terms, loggers, offsets)
    return seen, names, offsets, [*remarks, *more]


def _table(
    site: Site,
    names: list[str],
    offsets: Offsets | None,
    observed: Observed,
    fitted: Correction,
    terms: Terms,
    before: NDArray[np.float32],
) -> GeoDataFrame:
    """Make the table of loggers."""
    if offsets is None:
        return _no_loggers(site)
    count = len(names)
    points = observed.points[:count]
    rows = offsets.table.loc[names]
    after, _ = fitted.predict(terms.at(site.grid, points), points)
    errors, _ = leave_one_out(observed, terms.anchor, count)
    columns = {
        "logger": names,
        "nights": rows["nights"].to_numpy(int),
        "observed_degc": rows["offset"].to_numpy(float),
        "low_degc": rows["low"].to_numpy(float),
        "high_degc": rows["high"].to_numpy(float),
        "modelled_before_degc": site.grid.sample(before, points[:, 0], points[:, 1]),
        "modelled_after_degc": after,
        "left_out_error_degc": errors,
    }
    table = pd.DataFrame(columns).round(2)
    return GeoDataFrame(table, geometry=shapely.points(points), crs=site.grid.crs)


def _after(
    notes: GeoDataFrame, offset: NDArray[np.float32], grid: Grid
) -> GeoDataFrame:
    """Tell what the corrected map says at the notes."""
    after = grid.sample(offset, notes.geometry.x, notes.geometry.y)
    return notes.assign(after_degc=after)


def _no_loggers(site: Site) -> GeoDataFrame:
    return GeoDataFrame({n: [] for n in COLUMNS}, geometry=[], crs=site.grid.crs)


def _at_one_place(loggers: GeoDataFrame) -> bool:
    """Whether loggers stand so near to each other that they are one."""
    first = loggers.geometry.iloc[0]
    return bool((loggers.distance(first) < ONE_PLACE).all())


def _not_enough(
    site: Site,
    readings: Readings,
    offsets: Offsets | None,
    remarks: list[Remark],
) -> Revision:
    """Say what is lacking; the map stays as it is."""
    nights = len(offsets.nights) if offsets else 0
    told = len(offsets.table) if offsets else 0
    if len(readings.loggers) < 2:
        lack = (
            "One logger tells no difference between places: add a second one, 20 to "
            "40 m higher or lower"
        )
    elif _at_one_place(readings.loggers):
        lack = (
            "All loggers stand at one place: they tell no difference. Write where "
            "each stood into loggers.csv"
        )
    else:
        lack = (
            f"Not enough nights: {nights} clear still nights with "
            f"{words.counted(told, 'logger')}, at least {LEAST_NIGHTS} with two are "
            "needed"
        )
    return _unchanged(site, f"{lack}. The map is as it was.", remarks, nights)


def _nothing(site: Site, remarks: list[Remark]) -> Revision:
    """Say that there is nothing to correct the map by."""
    summary = "No readings, and no note against the map: it is as it was."
    return _unchanged(site, summary, remarks, 0)


def _unchanged(
    site: Site, summary: str, remarks: list[Remark], nights: int
) -> Revision:
    columns = ["block", "fruit", "before", "after", "area_m2", "reason"]
    return Revision(
        loggers=_no_loggers(site),
        reference=site.reference_name,
        nights=nights,
        chosen_by="",
        weights=pd.DataFrame(columns=["term", "before", "after", "spread", "share"]),
        left_out=np.nan,
        changes=pd.DataFrame(columns=columns),
        notes=GeoDataFrame({"counts": []}, geometry=[], crs=site.grid.crs),
        remarks=tuple(remarks),
        changed=False,
        summary=summary,
    )


def _summary(
    loggers: int,
    offsets: Offsets | None,
    notes: int,
    left_out: float,
    changes: pd.DataFrame,
) -> str:
    """Tell the revision in one sentence."""
    by = []
    if offsets is not None:
        by.append(f"{loggers} loggers on {len(offsets.nights)} clear still nights")
    if notes:
        by.append(f"{words.counted(notes, 'note')} as weak readings")
    text = f"Corrected by {words.listed(by)}"
    if np.isfinite(left_out):
        text += f"; a logger left out is met to ±{words.with_unit(left_out, '°C', 1)}"
    ranks = [words.SITE_CLASSES.index(c) for c in changes["before"]]
    after = [words.SITE_CLASSES.index(c) for c in changes["after"]]
    lowered = sum(a < b for a, b in zip(after, ranks, strict=True))
    raised = len(changes) - lowered
    text += f". {len(changes)} verdicts withdrawn"
    return f"{text}: {lowered} lowered, {raised} raised."


def _stamped(found: Survey, revision: Revision) -> Survey:
    """Say on every output what the night figures rest on now.

    What two thermometers would settle is not asked for again once they have stood.
    """
    told = found.answer
    if not revision.loggers.empty:
        told = replace(
            told,
            measures=tuple(
                m for m in told.measures if ASKED_FIRST not in m.what.lower()
            ),
            unknowns=tuple(u for u in told.unknowns if ASKED_FIRST not in u.lower()),
        )
    return replace(found, answer=replace(told, stamp=revision.summary))
