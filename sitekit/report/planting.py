"""How far this year: the planting plan as a section of the report."""

from collections.abc import Iterator
from math import isfinite, isinf

from sitekit import words
from sitekit.report.markup import Markup, element, items, join, table
from sitekit.results import PlantingPlan, Survey

#: What is told of every year, and how.
YEAR_HEADS = (
    "Year",
    "Blocks",
    "Trees",
    "New mulch",
    "Kept before it",
    "Mulch",
    "Days",
    "Money",
    "What stops it",
)
EDGE_HEADS = (
    "Edge",
    "Price a metre",
    "Days a metre and year",
    "Mulch saved a year",
    "To make it",
    "Pays back",
)
#: What figures of money are in: the program knows no currency.
CURRENCY = "Money, here and below: in the currency of the prices."
#: Why there is no plan.
NOT_ASKED = (
    "No planting plan was asked for. Name what you need in [need], or what you have a "
    "year in [limits] of the site file, and the plan says how far each year."
)
NO_GROUND = (
    "No planting plan and no hand-over pack: no block is better than test first. Dig "
    "the test holes where the map says test first, or name hardier fruit, and survey "
    "again."
)


def how_far(survey: Survey) -> list[Markup]:
    """Tell how far this year, the years after, and what an edge costs.

    Parameters
    ----------
    survey : Survey
        What was found.

    Returns
    -------
    content : list of Markup
        One sentence where there is no plan.
    """
    plan = survey.plan
    if plan is None:
        asked = bool(survey.site.need or survey.site.limits)
        return [element("p", NO_GROUND if asked else NOT_ASKED)]
    content = [items(map(words.sentence, plan.sentences))]
    content += list(_tables(plan))
    lacking = [words.sentence(text) for text in plan.missing.values()]
    if lacking:
        content += [element("h3", "The plan lacks"), items(lacking)]
    return content


def _tables(plan: PlantingPlan) -> Iterator[Markup]:
    if plan.years["trees"].sum():
        yield table(
            YEAR_HEADS,
            _year_rows(plan),
            caption=CURRENCY,
            label="How far each year",
            class_="plain",
        )
    if plan.edges["mulch_saved_m3"].sum():
        note = (
            "Mulch that is saved counts as if it were bought. The cheap edge is an "
            "open question of the trade; figures are common practice, no source, and "
            "can be changed in the site file."
        )
        made = table(
            EDGE_HEADS, _edge_rows(plan), label="Edges of the mulch", class_="plain"
        )
        yield join([made, element("p", note, class_="quiet")])


def _year_rows(plan: PlantingPlan) -> Iterator[list[str]]:
    for row in plan.years.to_dict("records"):
        yield [
            str(row["year"]),
            str(row["blocks"]) or "none",
            str(row["trees"]),
            words.area(float(row["area_m2"])),
            words.area(float(row["kept_m2"])),
            words.with_unit(float(row["mulch_m3"]), "m³", 1),
            words.number(float(row["days"]), 1),
            words.number(float(row["money"])),
            str(row["binding"]),
        ]


def _edge_rows(plan: PlantingPlan) -> Iterator[list[str]]:
    for row in plan.edges.to_dict("records"):
        yield [
            str(row["edge"]),
            words.number(float(row["price_m"]), 2),
            words.number(float(row["days_m"]), 3),
            words.with_unit(float(row["mulch_saved_m3"]), "m³", 1),
            words.number(float(row["cost"])),
            write_pay_back(float(row["pays_back_years"])),
        ]


def write_pay_back(years: float) -> str:
    """Write when an edge has paid for itself.

    Examples
    --------
    >>> write_pay_back(float("inf")), write_pay_back(0.0)
    ('not while it lasts', 'at once')
    """
    if isinf(years):
        return "not while it lasts"
    if not isfinite(years):
        return words.NOT_KNOWN
    return "at once" if years == 0 else words.with_unit(years, "years", 1)
