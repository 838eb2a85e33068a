"""Parts 5 to 12 of the sheets: quantities, ground to keep, rules, acceptance, form."""

import numpy as np
import pandas as pd
from shapely import union_all

from sitekit import words
from sitekit.handover import rules
from sitekit.handover.flow import Flow, Head
from sitekit.handover.front import tell_missing
from sitekit.handover.rules import CAUTIONS
from sitekit.handover.zones import Zone, find_work, find_zones, planted_area
from sitekit.planting.services import STAND_OFF
from sitekit.results import PlantingPlan, Survey

#: Share of the trees that are taped at acceptance.
TAPED_SHARE = 0.10
#: Water nearer to the work than this asks for a permit first. [m]
NEAR_WATER = 50.0


def write_quantities(flow: Flow, plan: PlantingPlan) -> None:
    """Write part 5: what it takes, and what a metre of edge costs."""
    flow.part("5  Quantities")
    tell_missing(flow, plan, "need", "prices", "money", "mulch_m3")
    fruits = plan.plants.groupby("fruit").size()
    flow.text(
        "Plants by fruit: "
        + "; ".join(f"{words.fruit_name(str(f))} {n}" for f, n in fruits.items())
        + ". Quantities carry the waste that the site file sets; soil moved takes 1.2 "
        "to 1.3 times its room when loose. Costs are in the currency of the prices."
    )
    heads = [
        Head("year", 22),
        Head("item", 66),
        Head("quantity", 20, "right"),
        Head("unit", 16),
        Head("cost", 24, "right"),
        Head("note", 20),
    ]
    sources = list(dict.fromkeys(map(str, plan.quantities["source"])))
    rows = [_quantity(row, sources) for _, row in plan.quantities.iterrows()]
    flow.table(heads, rows, size=8)
    for number, source in enumerate(sources, start=1):
        flow.text(f"[{number}] {words.sentence(source)}", size=8)
    _write_years(flow, plan)
    _write_edges(flow, plan)


def _quantity(row: pd.Series, sources: list[str]) -> list[str]:
    year = "once" if row["year"] == 0 else f"year {int(row['year'])}"
    return [
        year,
        words.sentence(str(row["item"]))[:-1],
        _figure(row["quantity"]),
        str(row["unit"]),
        _figure(row["cost"]),
        f"[{sources.index(str(row['source'])) + 1}]",
    ]


def _figure(value: float) -> str:
    if not np.isfinite(value):
        return words.NOT_KNOWN
    digits = 0 if abs(value) >= 20 or float(value).is_integer() else 1
    return words.number(float(value), digits)


def _write_years(flow: Flow, plan: PlantingPlan) -> None:
    if plan.years.empty:
        return
    flow.head("By year")
    heads = [
        Head("year", 14),
        Head("blocks", 38),
        Head("new m²", 18, "right"),
        Head("trees", 16, "right"),
        Head("money", 18, "right"),
        Head("mulch m³", 20, "right"),
        Head("days", 14, "right"),
        Head("what binds", 36),
    ]
    names = ("area_m2", "trees", "money", "mulch_m3", "days")
    rows = [
        [
            str(int(row["year"])),
            str(row["blocks"]),
            *[_figure(row[name]) for name in names],
            str(row["binding"]),
        ]
        for _, row in plan.years.iterrows()
    ]
    flow.table(heads, rows, size=8)
    for sentence in plan.sentences:
        flow.text(sentence)


def _write_edges(flow: Flow, plan: PlantingPlan) -> None:
    if plan.edges.empty:
        return
    flow.head("Ways to hold the edge of the mulch")
    heads = [
        Head("edge", 42),
        Head("price a m", 24, "right"),
        Head("days a m", 24, "right"),
        Head("mulch saved m³", 30, "right"),
        Head("pays back, years", 32, "right"),
    ]
    rows = [
        [
            str(row["edge"]),
            _short(row["price_m"]),
            _short(row["days_m"]),
            _figure(row["mulch_saved_m3"]),
            _figure(row["pays_back_years"])
            if np.isfinite(row["pays_back_years"])
            else "never",
        ]
        for _, row in plan.edges.iterrows()
    ]
    flow.table(heads, rows, size=8)


def _short(value: float) -> str:
    return f"{value:g}" if np.isfinite(value) else words.NOT_KNOWN


def write_zones(flow: Flow, survey: Survey, plan: PlantingPlan) -> None:
    """Write part 6: where nothing is dug and nothing is driven."""
    flow.part("6  No-dig and no-drive ground")
    tell_missing(flow, plan, "access")
    zones = [zone for zone in find_zones(survey) if zone.kind != "service"]
    work = find_work(plan)
    if zones:
        flow.table(
            [
                Head("ground", 52),
                Head("area", 22, "right"),
                Head("from the work", 28, "right"),
                Head("why", 70),
            ],
            [
                [
                    zone.name,
                    words.area(zone.shape.area),
                    f"{zone.shape.distance(work):.1f} m",
                    zone.reason,
                ]
                for zone in zones
            ],
        )
    else:
        flow.text(
            "None was given in the site file (no_go, existing_trees): walk the ground "
            "with the owner and draw it in."
        )
    for text in _lanes(plan):
        flow.text(text)
    flow.text(
        "Spoil, mulch and materials: on the headland or where the owner shows; never "
        "in a cold-air lane, against a hedge, or over roots. Wash wheels and tools "
        "before they come and before they go."
    )
    flow.text(_gates(plan))
    for name in ("slopes", "overhead", "frost", "saws"):
        flow.caution(CAUTIONS[name])


def _lanes(plan: PlantingPlan) -> list[str]:
    """Say how much ground is kept open, kind by kind."""
    told = []
    for (kind, width), lanes in plan.lanes.groupby(["kind", "width_m"]):
        text = (
            f"{words.counted(len(lanes), str(kind))}, {width:g} m wide, "
            f"{words.area(float(lanes.area.sum()))} in all, kept open: "
        )
        cold = str(kind) == "cold-air lane"
        told.append(
            text
            + (
                "short grass, no spoil, no stack, no litter in the fence."
                if cold
                else "turning ground."
            )
        )
    return told


def _gates(plan: PlantingPlan) -> str:
    gates = plan.fence[plan.fence["kind"] == "gate"]
    if gates.empty:
        return (
            "Gates: none is planned; measure the narrowest way in before machines come."
        )
    widths = "; ".join(
        f"{name} {length:.1f} m"
        for name, length in zip(gates["id"], gates["length_m"], strict=True)
    )
    return f"Gates, clear width: {widths}. Measure the narrowest way in besides."


def write_services(flow: Flow, survey: Survey, plan: PlantingPlan) -> None:
    """Write part 7: pipes and cables, indicative only."""
    flow.part("7  Services")
    told = tell_missing(flow, plan, "services")
    zones = [zone for zone in find_zones(survey) if zone.kind == "service"]
    work = find_work(plan)
    if zones:
        flow.text("From the owner's records. Indicative only.")
        flow.table(
            [
                Head("service", 50),
                Head("how sure", 60),
                Head("may lie off", 24, "right"),
                Head("nearest work", 26, "right"),
            ],
            [
                [
                    zone.name,
                    zone.reason,
                    f"± {zone.uncertainty:g} m",
                    f"{zone.drawn.distance(work):.1f} m",
                ]
                for zone in zones
            ],
        )
        flow.text(_planted_over(plan, zones))
        crossed = [z.name for z in zones if z.shape.intersects(work)]
        if crossed:
            flow.text(
                f"Work lies within reach of: {words.listed(crossed)}. Trial holes "
                "by hand before anything else there."
            )
    elif not told:
        given = "services" in survey.site.given
        flow.text(
            "None of the lines given lies near the work."
            if given
            else "Missing: the site file names no record of services (services). "
            "Empty paper proves nothing."
        )
    flow.table(
        [Head("request", 84), Head("asked on", 30), Head("answer, number", 50)],
        [
            ["national one-call service", "", ""],
            ["owner of the ground: private pipes, cables, drains", "", ""],
            ["neighbours with rights through the ground", "", ""],
            [
                f"scan by the competent; no machine within {STAND_OFF * 1000:.0f} mm",
                "",
                "",
            ],
        ],
    )
    flow.caution(CAUTIONS["digging"])


def _planted_over(plan: PlantingPlan, zones: list[Zone]) -> str:
    """Name the plants that stand where a line may lie."""
    over = plan.plants[plan.plants.intersects(union_all([z.shape for z in zones]))]
    if over.empty:
        return "No plant stands where one of these lines may lie, as far as is told."
    shown = ", ".join(map(str, over["id"].head(40)))
    more = f" and {len(over) - 40} more" if len(over) > 40 else ""
    return (
        f"{words.counted(len(over), 'plant')} within reach of a line: {shown}{more}. "
        "Not dug before the line is found; moved or left out where it is near."
    )


def write_permits(flow: Flow, survey: Survey, plan: PlantingPlan) -> None:
    """Write part 8: whom to ask first, and why here."""
    flow.part("8  Permits: ask first")
    flow.table(
        [Head("what", 48), Head("why here", 78), Head("asked of, held by", 46)],
        [[what, why, ""] for what, why in _permits(survey, plan)],
    )
    for name in ("permission", "water", "wildlife", "fence", "standing"):
        flow.caution(CAUTIONS[name])


def _permits(survey: Survey, plan: PlantingPlan) -> list[tuple[str, str]]:
    work = find_work(plan)
    lines = plan.fence[plan.fence["kind"] == "fence line"]
    rows = [
        (
            "planting and change of use",
            f"{words.counted(len(plan.plants), 'plant')} on "
            f"{words.area(planted_area(plan))} of ground about them",
        ),
    ]
    if len(lines):
        length = float(lines["length_m"].sum())
        rows.append(
            ("fence", f"{length:.0f} m of fence; public ways, sight lines, deer")
        )
    water = survey.site.vectors["water"]
    if len(water):
        away = min(float(shape.distance(work)) for shape in water.geometry)
        near = "inside" if away <= NEAR_WATER else "beyond"
        rows.append(
            (
                "work near water",
                f"nearest water {away:.0f} m from the work, "
                f"{near} the {NEAR_WATER:.0f} m at which to ask",
            )
        )
    else:
        rows.append(("work near water", "no water was given in the site file: look"))
    rows.append(("felling, hedges, nesting season", "where a gap or a row needs it"))
    lacking = "not in the site's data: ask"
    if len(survey.site.vectors["no_go"]):
        lacking = "part 6 names what is known; the rest is not in the site's data: ask"
    rows.append(("monuments, nature, water intake", lacking))
    return rows


def write_rules(flow: Flow, survey: Survey, plan: PlantingPlan) -> None:
    """Write parts 9 and 10: where the work waits, and where it stops."""
    flow.part("9  Hold points: the owner must see before going on")
    first = str(plan.plants["id"].iloc[0]) if len(plan.plants) else "the first plant"
    corners = plan.fence[plan.fence["kind"] == "fence corner"]["id"].tolist()
    flow.points(
        [
            f"{rules.HOLDS[0]} {len(plan.setting_out)} points in all.",
            rules.HOLDS[1],
            f"{rules.HOLDS[2]} Begin with {first}.",
            *rules.HOLDS[3:5],
            f"{rules.HOLDS[5]} "
            + (
                f"Corners {corners[0]} to {corners[-1]}."
                if corners
                else "No fence here."
            ),
            rules.HOLDS[6],
        ]
    )
    flow.part("10  Stop rules: stop at once and call")
    flow.text(rules.tell_weather(survey))
    flow.points(list(rules.STOPS), numbered=True)
    for name in ("digging", "holes"):
        flow.caution(CAUTIONS[name])


def write_acceptance(flow: Flow, plan: PlantingPlan) -> None:
    """Write part 11: what is checked before the work is taken over."""
    flow.part("11  Acceptance checks")
    count = int(np.ceil(TAPED_SHARE * len(plan.plants)))
    places = np.linspace(0, len(plan.plants) - 1, count).round().astype(int)
    chosen = plan.plants["id"].iloc[places].tolist()
    flow.points(
        [
            f"Tape {count} of {len(plan.plants)} plants (one in ten) from the marks of "
            "their block: each within ±0.10 m.",
            "Tape every diagonal of part 3.",
            "Levels of drains and mounds; a bucket of water runs out of each drain.",
            "Gates swing and latch; fence wires or mesh tight, corners strutted.",
            "Guards: height, dug in, clear of the stem; graft unions above the ground.",
            "Mulch: depth at ten places, clear of every stem.",
            "As-laid sketch with photos made before back-fill; spare parts left.",
            "Nothing left on site but what is listed in part 12.",
        ]
    )
    flow.head("Plants to tape")
    shown = chosen[:60]
    more = f" and every tenth plant of the list, {count} in all" if count > 60 else ""
    flow.text(", ".join(map(str, shown)) + more + ".")


def write_form(flow: Flow, survey: Survey, plan: PlantingPlan) -> None:
    """Write part 12: what comes back from the contractor."""
    flow.need(200)
    flow.part("12  What the contractor writes back")
    by = plan.plants.groupby(["block", "fruit"]).size()
    flow.table(
        [
            Head("block", 24),
            Head("fruit", 40),
            Head("planned", 22, "right"),
            Head("planted", 30),
            Head("remarks", 56),
        ],
        [
            [f"block {block}", words.fruit_name(str(fruit)), str(n), "", ""]
            for (block, fruit), n in by.items()
        ],
    )
    for text in rules.FORM:
        flow.need(16)
        flow.text(text)
        flow.space(4)
        flow.paper.rules([[(20, flow.top), (194, flow.top)]], 0.4)
        flow.space(3)
    flow.text(
        f"Send it to the owner of {survey.site.name}; the plan is corrected from it."
    )
