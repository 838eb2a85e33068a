"""Ground that machines and spades keep off: services, roots, kept ground."""

from dataclasses import dataclass

import shapely
from shapely.geometry.base import BaseGeometry

from sitekit import words
from sitekit.planting.services import find_stand_off, find_uncertainty
from sitekit.results import PlantingPlan, Survey

#: Zones further from the work than this are not on the sheets. [m]
NEAR = 40.0
#: Roots of a grown tree reach about this far. [m]; common practice, no source.
ROOTS = 5.0


@dataclass(frozen=True)
class Zone:
    """Ground where nothing is dug and nothing is driven.

    Parameters
    ----------
    name : str
        In words.
    kind : {"service", "roots", "kept ground"}
        What it keeps.
    reason : str
        Why, and how sure its place is.
    uncertainty : float
        How far it may lie from where it is drawn. [m]
    drawn : geometry
        The thing itself. [m]
    shape : geometry
        The ground to keep off. [m]
    """

    name: str
    kind: str
    reason: str
    uncertainty: float
    drawn: BaseGeometry
    shape: BaseGeometry


def find_zones(survey: Survey) -> list[Zone]:
    """Find the zones near the work: services, then kept ground, then roots.

    Parameters
    ----------
    survey : Survey
        With a plan.

    Returns
    -------
    zones : list of Zone
        Those within `NEAR` of what is set out.
    """
    vectors = survey.site.vectors
    zones = [
        _service(row, shape)
        for row, shape in _each(vectors["services"], "name", "kind", "certainty")
    ]
    zones += [
        _kept(row, shape) for row, shape in _each(vectors["no_go"], "name", "reason")
    ]
    zones += [
        _roots(row, shape)
        for row, shape in _each(vectors["existing_trees"], "fruit", "condition")
    ]
    work = find_work(survey.plan) if survey.plan else shapely.Point()
    return [zone for zone in zones if zone.shape.distance(work) <= NEAR]


def find_work(plan: PlantingPlan) -> BaseGeometry:
    """Gather everything that is built or dug: plants, fence, test holes. [m]."""
    things = [
        shape
        for frame in (plan.plants, plan.fence, plan.test_holes)
        for shape in frame.geometry
    ]
    return shapely.union_all(things)


def planted_area(plan: PlantingPlan) -> float:
    """Area about the plants of each block, not what lies between blocks. [m²]."""
    blocks = plan.plants.dissolve(by="block")
    return float(blocks.geometry.convex_hull.area.sum())


def _each(frame: object, *names: str) -> list[tuple[list[str], BaseGeometry]]:
    """Read some columns as text, empty where a cell or the column is missing."""
    rows = []
    for index in range(len(frame)):  # type: ignore[arg-type]
        record = frame.iloc[index]  # type: ignore[attr-defined]
        texts = [record.get(name) for name in names]
        plain = [text if isinstance(text, str) else "" for text in texts]
        rows.append((plain, record["geometry"]))
    return rows


def _service(row: list[str], line: BaseGeometry) -> Zone:
    name, kind, certainty = row
    far = find_uncertainty(certainty)
    told = certainty or "how sure its place is was not told"
    return Zone(
        name or kind or "service",
        "service",
        f"{told}; indicative only",
        far,
        line,
        line.buffer(find_stand_off(certainty)),
    )


def _kept(row: list[str], shape: BaseGeometry) -> Zone:
    name, reason = row
    around = shape if shape.area > 0 else shape.buffer(2.0)
    return Zone(
        name or "kept ground", "kept ground", reason or "kept", 0.0, shape, around
    )


def _roots(row: list[str], point: BaseGeometry) -> Zone:
    fruit, condition = row
    name = f"old {words.fruit_name(fruit or 'tree')}, roots"
    reason = f"{condition or 'standing'} tree: not dug, not driven over"
    return Zone(name, "roots", reason, 0.0, point, point.buffer(ROOTS))
