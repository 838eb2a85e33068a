"""The whole pack in one folder."""

from datetime import date
from pathlib import Path

import pandas as pd

from sitekit.handover import front, work
from sitekit.handover.flow import Flow
from sitekit.handover.paper import Paper, write_pages
from sitekit.handover.plan import PlanSet, plan_sheets, write_plan
from sitekit.handover.scales import A3, A4
from sitekit.io.exchange import (
    points_of,
    write_geojson,
    write_gpx,
    write_kml,
    write_setting_out_csv,
)
from sitekit.results import PlantingPlan, Survey


def write_handover(
    survey: Survey, folder: Path, *, today: date | None = None
) -> list[Path]:
    """Write the contractor's pack of a survey that has a planting plan.

    Parameters
    ----------
    survey : Survey
        What was found and planned.
    folder : Path
        Folder to write to; made where it is missing.
    today : date, optional
        Date on the sheets; today where not given.

    Returns
    -------
    files : list of Path
        What was written; empty where there is no plan or no plant in it.

    Raises
    ------
    OutputError
        A place that cannot be written.
    """
    plan = survey.plan
    if plan is None or plan.plants.empty:
        return []
    day = today or date.today()
    folder.mkdir(parents=True, exist_ok=True)
    drawn = [plan_sheets(plan, form) for form in (A3, A4)]
    files = []
    for made in drawn:
        files.append(folder / f"plan-{made.form.name.lower()}.pdf")
        write_plan(files[-1], survey, made, day)
    files.append(folder / "sheets.pdf")
    pages = make_sheets(survey, plan, drawn, day)
    write_pages(files[-1], pages, f"{survey.site.name}: hand-over sheets")
    return files + _write_lists(folder, survey, plan)


def make_sheets(
    survey: Survey, plan: PlantingPlan, drawn: list[PlanSet], today: date
) -> list[Paper]:
    """Lay out the twelve parts.

    Parameters
    ----------
    survey : Survey
        What was found.
    plan : PlantingPlan
        What is set out.
    drawn : list of PlanSet
        The plans.
    today : date
        Date of issue.

    Returns
    -------
    pages : list of Paper
        In order.
    """
    flow = Flow(
        f"{survey.site.name}   {today:%d %b %Y}   revision {plan.revision}   "
        "planning help, not a survey"
    )
    place = front.write_front(flow, survey, plan, drawn, today)
    front.write_marks(flow, survey, plan)
    front.write_setting_out(flow, survey, plan)
    front.write_drawings(flow, survey, plan, drawn)
    work.write_quantities(flow, plan)
    work.write_zones(flow, survey, plan)
    work.write_services(flow, survey, plan)
    work.write_permits(flow, survey, plan)
    work.write_rules(flow, survey, plan)
    work.write_acceptance(flow, plan)
    work.write_form(flow, survey, plan)
    front.write_contents(flow, place, survey.site.grid.convergence)
    return flow.finish()


def _write_lists(folder: Path, survey: Survey, plan: PlantingPlan) -> list[Path]:
    crs, title = survey.site.grid.crs, f"{survey.site.name}: setting out"
    listed = plan.setting_out
    names = ("csv", "gpx", "kml", "geojson")
    csv, gpx, kml, geojson = (folder / f"setting_out.{name}" for name in names)
    write_setting_out_csv(csv, listed)
    write_gpx(gpx, listed, crs, title)
    write_kml(kml, listed, crs, title)
    write_geojson(geojson, points_of(listed, crs))
    tapes = folder / "block_tapes.csv"
    write_setting_out_csv(tapes, plan.block_tapes)
    tables = {
        "quantities.csv": plan.quantities,
        "plan_years.csv": plan.years,
        "plants.csv": pd.DataFrame(plan.plants.drop(columns="geometry")),
    }
    for name, table in tables.items():
        _write_table(folder / name, table)
    return [csv, tapes, gpx, kml, geojson, *(folder / name for name in tables)]


def _write_table(path: Path, table: pd.DataFrame) -> None:
    table.round(2).to_csv(path, index=False, lineterminator="\n", encoding="utf-8")
