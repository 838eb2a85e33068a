"""Every point to set out, by the two marks that its tapes are held to."""

import pandas as pd

from sitekit import words
from sitekit.handover.coordinates import write_level, write_position
from sitekit.handover.flow import Flow, Head
from sitekit.planting.setting_out import check_triangles, position_step
from sitekit.results import PlantingPlan

#: Size of the letters of the list. [pt]
SIZE = 7.8
#: What is shown of the tapes of a block.
SHOWN = ("id", "from_1_m", "from_2_m", "side")


def write_points(flow: Flow, plan: PlantingPlan) -> None:
    """Write the points held to A and B, then block by block those with own marks.

    Parameters
    ----------
    flow : Flow
        The pages.
    plan : PlantingPlan
        What is set out.
    """
    tapes = plan.block_tapes
    own = set() if tapes.empty else set(tapes["id"])
    flow.head("Points taped from A and B; tick when the peg stands")
    listed = plan.setting_out[~plan.setting_out["id"].isin(own)]
    step = position_step(plan.baseline)
    crossing = check_triangles(plan.setting_out, plan.baseline).set_index("id")
    rows = [_point_row(row, crossing, step) for _, row in listed.iterrows()]
    flow.table(_heads("from A", "from B"), rows, size=SIZE, ticks=True)
    if own:
        _write_blocks(flow, plan, tapes, step)


def _write_blocks(
    flow: Flow, plan: PlantingPlan, tapes: pd.DataFrame, step: float
) -> None:
    """Write the blocks whose plants lie too far from A and B for a tape."""
    points = plan.setting_out.set_index("id")
    for block, part in tapes.groupby("block", sort=False):
        one, other = part[["mark_1", "mark_2"]].iloc[0]
        places = points.loc[[one, other], ["easting_m", "northing_m"]].diff().iloc[1]
        apart = float((places**2).sum() ** 0.5)
        flow.head(f"Block {block}: taped from its own marks {one} and {other}")
        flow.text(
            f"Set {one} and {other} first, by instrument or by tape in stretches from "
            f"A and B, within {points.loc[one, 'tolerance_m']:.2f} m. Then tape {one} "
            f"to {other}: {apart:.2f} m; where it differs by more than 0.05 m, move "
            f"{other} along the line. Side: looking from {one} to {other}."
        )
        rows = [
            [
                *_place(name, points.loc[name], step),
                *(f"{tape:.2f}" for tape in taped),
                f"{points.loc[name, 'tolerance_m']:.2f}",
                side,
            ]
            for name, *taped, side in part[list(SHOWN)].to_numpy().tolist()
        ]
        marks = (f"from {str(name).rpartition('-')[2]}" for name in (one, other))
        flow.table(_heads(*marks), rows, size=SIZE, ticks=True)


def _heads(one: str, other: str) -> list[Head]:
    return [
        Head("id", 24),
        Head("what", 36),
        Head("easting", 20, "right"),
        Head("northing", 22, "right"),
        Head("level", 13, "right"),
        Head(one, 16, "right"),
        Head(other, 16, "right"),
        Head("±", 11, "right"),
        Head("side", 10),
    ]


def _place(name: object, row: pd.Series, step: float) -> list[str]:
    """Write what stands where."""
    return [
        str(name),
        str(row["what"]),
        write_position(row["easting_m"], step),
        write_position(row["northing_m"], step),
        write_level(row["level_m"]).replace(words.NOT_KNOWN, "?"),
    ]


def _point_row(row: pd.Series, crossing: pd.DataFrame, step: float) -> list[str]:
    side, poor = "", ""
    if row["id"] in crossing.index:
        side = str(crossing.loc[row["id"], "side"]).replace("on the line", "line")
        poor = " *" if crossing.loc[row["id"], "poor"] else ""
    return [
        *_place(row["id"], row, step),
        f"{row['from_a_m']:.2f}",
        f"{row['from_b_m']:.2f}",
        f"{row['tolerance_m']:.2f}",
        side + poor,
    ]
