"""A survey: what was found on a site. The only argument of every writer."""

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
import pandas as pd
import xarray as xr
from geopandas import GeoDataFrame
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from sitekit.site import Site

#: The first revision of a pack.
FIRST_REVISION = "A"


@dataclass(frozen=True)
class Measure:
    """One thing to measure before money is spent.

    Parameters
    ----------
    what : str
        The thing to do, in bold: ``Two test holes in block 1``.
    decides : str
        What it decides, one sentence.
    """

    what: str
    decides: str


@dataclass(frozen=True)
class Answer:
    """The answer in words, the same on every output.

    Parameters
    ----------
    headline : str
        One sentence: which block, which fruit.
    where, fruit, not_there : str
        One sentence each; empty where there is nothing to say.
    stamp : str
        What the answer rests on: ``From terrain only. ...``.
    measures : tuple of Measure
        At most three things to measure first, the most decisive first.
    unknowns : tuple of str
        What is not known, one sentence each.
    contradictions : tuple of str
        Where the grower's own notes and trees speak against the map.
    agreements : tuple of str
        Where they speak for it.
    resolution : str
        What this elevation can show, in one sentence.
    cautions : tuple of str
        Cautions that apply.
    years : tuple of str
        What the record of a station says, one sentence each; empty without one.
    """

    headline: str
    where: str
    fruit: str
    not_there: str
    stamp: str
    measures: tuple[Measure, ...]
    unknowns: tuple[str, ...]
    contradictions: tuple[str, ...]
    agreements: tuple[str, ...]
    resolution: str
    cautions: tuple[str, ...]
    years: tuple[str, ...] = ()


@dataclass(frozen=True)
class Baseline:
    """Two points that can be found on the ground, for tapes.

    Parameters
    ----------
    names : tuple of str
        Names of A and B.
    points : (2, 2) tuple of float
        Easting and northing of A and of B. [m]
    levels : tuple of float
        Height of A and of B; NaN where not known. [m]
    accuracy : float
        Standard error of their positions. [m]
    surveyed : bool
        Whether they are control marks; else two things the owner names, and
        positions are printed no finer than `accuracy`.
    """

    names: tuple[str, str]
    points: tuple[tuple[float, float], tuple[float, float]]
    levels: tuple[float, float]
    accuracy: float
    surveyed: bool


@dataclass(frozen=True)
class PlantingPlan:
    """What stands where, in which year, and what it takes.

    Parameters
    ----------
    rows : GeoDataFrame
        Lines: ``block``, ``row``, ``fruit``, ``group``, ``bearing_deg``,
        ``spacing_m``, ``row_spacing_m``, ``plants``, ``length_m``.
    plants : GeoDataFrame
        Points: ``id`` (block-row-number), ``block``, ``row``, ``number``,
        ``fruit``, ``group``, ``year`` of planting (1 is this year, 0 where no
        year can pay for it), ``partner`` (id of a pollination partner within
        reach, empty where none is needed or found), ``partner_m``, ``lonely``.
    lanes : GeoDataFrame
        Polygons kept open: ``kind`` (cold-air lane, headland), ``width_m``.
    fence : GeoDataFrame
        Lines and points: ``id``, ``kind`` (fence line, fence corner, gate),
        ``block``, ``length_m``.
    test_holes : GeoDataFrame
        Points: ``id``, ``order``, ``block``, ``decides``.
    setting_out : DataFrame
        ``id``, ``what``, ``easting_m``, ``northing_m``, ``level_m``,
        ``from_a_m``, ``from_b_m``, ``tolerance_m``; one row a point.
    baseline : Baseline
        The two points that tapes are held to.
    block_marks : GeoDataFrame
        Points beside the blocks, pegged first: ``id`` (``B1-M1``), ``block``.
    block_tapes : DataFrame
        One row a plant: ``block``, ``id``, ``mark_1``, ``mark_2``,
        ``from_mark_1_m``, ``from_mark_2_m``, ``angle_deg`` at the plant.
    need : DataFrame
        One row a fruit group: ``fruit``, ``group``, ``kg``, ``trees_good``,
        ``trees_usual``, ``trees_bad``, ``bad_years``, ``planned``, ``reason``.
    quantities : DataFrame
        ``year``, ``item``, ``quantity``, ``unit``, ``price``, ``cost``,
        ``source``; ``year`` 0 for things that are bought once.
    edges : DataFrame
        Ways to hold the edge of mulch: ``edge``, ``price_m``, ``days_m``,
        ``mulch_saved_m3``, ``cost``, ``pays_back_years``, ``source``.
    years : DataFrame
        One row a year: ``year``, ``blocks`` (text), ``area_m2``, ``kept_m2``,
        ``trees``, ``money``, ``mulch_m3``, ``days``, ``binding`` (the limit that
        binds, in words), ``ceiling_m2``.
    sentences : tuple of str
        How far this year, which limit binds, what would change it.
    missing : mapping of str to str
        Parts of the hand-over that lack an input: what is missing, and what
        would mend it.
    revision : str
        Which revision of the pack this is.
    storage : DataFrame
        Stored fruit by month: ``fruit``, ``group``, ``month`` (1 to 12),
        ``stock_kg`` at its start, ``eaten_kg``, ``lost_kg``.
    """

    rows: GeoDataFrame
    plants: GeoDataFrame
    lanes: GeoDataFrame
    fence: GeoDataFrame
    test_holes: GeoDataFrame
    setting_out: pd.DataFrame
    baseline: Baseline
    block_marks: GeoDataFrame
    block_tapes: pd.DataFrame
    need: pd.DataFrame
    quantities: pd.DataFrame
    edges: pd.DataFrame
    years: pd.DataFrame
    sentences: tuple[str, ...]
    missing: Mapping[str, str]
    revision: str = FIRST_REVISION
    storage: pd.DataFrame = field(default_factory=pd.DataFrame)


@dataclass(frozen=True)
class YearsTold:
    """The years of a station record, ready to be drawn and printed.

    Parameters
    ----------
    station : str
        Name of the record.
    last_frosts : DataFrame
        Last frost of spring at the station: ``year``, ``day`` (of the year, NaN in a
        year without frost), ``later`` (years in ten that are later, by rank).
    last_frost_law : DataFrame
        The fitted law: ``day``, ``later``, and ``low``, ``high`` of its 90 % interval
        (years in ten with a later frost); empty where too few years have frost.
    nights : DataFrame
        Nights of bloom time at the station: ``degc`` (lower edge of a degree),
        ``clear`` and ``other`` (nights a spring).
    fruit : str
        The fruit that differs most from the best block to the worst; empty where no
        fruit has groups or there is no block.
    places : DataFrame
        The best block for it, then the worst: ``block``, ``group``, ``still_degc``
        (clear still night against the station), ``full_bloom`` and ``last_frost``
        (middle year, day of the year; the last night that kills a tenth of open
        flowers), ``poor`` and ``years`` (counts), ``halves`` (one sentence).
    bloom : DataFrame
        The same blocks by year: ``block``, ``year``, ``opens``, ``full_bloom``,
        ``falls``, ``last_frost`` (days of the year in which spring lies, NaN where
        they do not come), ``poor`` (bool).
    """

    station: str
    last_frosts: pd.DataFrame
    last_frost_law: pd.DataFrame
    nights: pd.DataFrame
    fruit: str
    places: pd.DataFrame
    bloom: pd.DataFrame


@dataclass(frozen=True)
class DoubtTold:
    """What the answer hangs on, the most decisive first.

    Parameters
    ----------
    inputs : DataFrame
        One row a group of inputs: ``input`` (in words), ``degc`` (standard deviation
        that it gives to clear still nights, over the field; NaN where it moves none),
        ``turned`` (verdicts that turn somewhere in its range of 90 %).
    verdicts : int
        Verdicts in all, one for each block and fruit.
    mind : tuple of str
        What would change the answer, one sentence or two each.
    """

    inputs: pd.DataFrame
    verdicts: int
    mind: tuple[str, ...]


@dataclass(frozen=True)
class Survey:
    """Everything found on one site.

    Parameters
    ----------
    site : Site
        What was read.
    layers : xarray.Dataset
        Layers on (y, x), one variable each, with units and long name.
    spots : GeoDataFrame
        Candidate positions, one row for each fruit and position.
    blocks : GeoDataFrame
        Blocks, one row for each block and fruit.
    fruit_by_block : DataFrame
        The table of fruit and block.
    frost_pockets, cold_air_paths, contours : GeoDataFrame
        Polygons, lines, lines.
    existing_trees, notes : GeoDataFrame
        The grower's trees and notes, with what the map says there.
    answer : Answer
        The answer in words.
    absent : mapping of str to str
        Layers that were not made, and what each would need.
    seconds : mapping of str to float
        Time of each step. [s]
    plan : PlantingPlan or None
        The planting plan; None where nothing was asked for, or no block is
        better than *test first*.
    years : YearsTold or None
        The years of the record; None without one.
    doubt : DoubtTold or None
        What the answer hangs on; None where it was not asked, or where readings have
        corrected the map and tell it better.
    """

    site: Site
    layers: xr.Dataset
    spots: GeoDataFrame
    blocks: GeoDataFrame
    fruit_by_block: pd.DataFrame
    frost_pockets: GeoDataFrame
    cold_air_paths: GeoDataFrame
    contours: GeoDataFrame
    existing_trees: GeoDataFrame
    notes: GeoDataFrame
    answer: Answer
    absent: Mapping[str, str]
    seconds: Mapping[str, float]
    plan: PlantingPlan | None = None
    years: YearsTold | None = None
    doubt: DoubtTold | None = None


@dataclass(frozen=True)
class Change:
    """What one proposal does, or all of them together.

    Parameters
    ----------
    name, action : str
        Name as written; ``gap``, ``lift``, ``remove``, ``add``, ``cut``, ``bank``,
        or ``together``.
    verdict : str
        ``improved, not cured``, ``worse`` or ``no change found``.
    ground_milder_m2, ground_colder_m2 : float
        Field ground at least 0.5 degC milder, colder. [m²]
    mean_change_degc, mean_change_sd : float
        Mean change over the pool that was asked about, and its standard
        uncertainty by paired draws. [degC]
    receiver : str
        Who or what receives the air; never empty.
    sentence : str
        What it does, in one sentence.
    remarks : tuple of str
        What else to know: capacity of a gap, cold air from below, a neighbour.
    place : shapely geometry
        Where the change is.
    pool : (row, column) ndarray of bool
        The ground that was asked about.
    layers : xarray.Dataset
        ``pooling_depth``, ``cold_air_depth`` and ``frost_night_offset``, each as
        ``_before``, ``_after`` and ``_change``; positive change is milder.
    blocks : DataFrame
        ``name``, ``milder_m2``, ``colder_m2``, ``mean_change_degc`` by part of the
        field.
    """

    name: str
    action: str
    verdict: str
    ground_milder_m2: float
    ground_colder_m2: float
    mean_change_degc: float
    mean_change_sd: float
    receiver: str
    sentence: str
    remarks: tuple[str, ...]
    place: BaseGeometry
    pool: NDArray[np.bool_]
    layers: xr.Dataset
    blocks: pd.DataFrame


@dataclass(frozen=True)
class Comparison:
    """Proposals tried on one site.

    Parameters
    ----------
    site : Site
        The site as it is.
    changes : tuple of Change
        One for each proposal, the one that frees most ground first.
    contours : GeoDataFrame
        Height lines.
    seconds : mapping of str to float
        Time of each step. [s]
    """

    site: Site
    changes: tuple[Change, ...]
    contours: GeoDataFrame
    seconds: Mapping[str, float] = field(default_factory=dict)
