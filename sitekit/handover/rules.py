"""Words of the pack: what stops the work, what is held, what is accepted.

Common practice, no source, where no other is named. Every limit defers to the
local code and to licensed practice.
"""

import numpy as np

from sitekit import words
from sitekit.results import Survey

STAMP = (
    "For pricing and setting out by tape; planning help, not a survey. Local codes and "
    "licensed practice decide."
)
SHORT_HOLDS = (
    "1  after marking out, before the first hole",
    "2  first hole opened to full depth, sides broken",
    "3  first mound or loosened strip; before back-fill",
)
SHORT_STOPS = (
    "water in a hole; soil that smears; an old drain; finds; any cable or pipe; "
    "anything you do not know."
)
SHORT_SERVICES = (
    "Lines shown are indicative only. Empty paper proves nothing. Ask the one-call "
    "service and every owner, scan, mark, dig trial holes by hand; no machine within "
    "500 mm."
)
#: Slope from which the machine's handbook is to be asked first. [degree]
STEEP = 10.0

#: Tolerances in plan by what is set out. [m]
TOLERANCES = (
    ("block mark", "±0.05 m; to the next mark within 0.10 m"),
    ("tree or bush", "±0.10 m; rows look crooked beyond it"),
    ("fence corner", "±0.25 m"),
    ("gate", "±0.10 m"),
    ("drain", "line ±0.25 m, level ±20 mm and never backwards"),
    ("mound", "height ±0.10 m, plan ±0.25 m"),
    ("loosened ground", "±0.5 m"),
)

#: Cautions by the part on whose sheet they stand.
CAUTIONS = {
    "digging": "Before any digging ask the national one-call service and all owners; "
    "private cables and pipes are not on it. A competent person scans, marks are put "
    "on the ground, trial holes are dug by hand; no machine within 500 mm; stop at "
    "anything unknown. The map's empty space proves nothing.",
    "overhead": "Overhead lines: look up before tipping a trailer, turning a chipper's "
    "chute or lifting long posts. Mark them on both sides.",
    "slopes": "Slopes come from elevation data and may be out. The machine's handbook, "
    "its operator and the weather decide: up and down on ride-on mowers, never across "
    "above their limits; no passengers; the lower side may be soft.",
    "holes": "No one goes into an unsupported trench. Cover or fence open holes: "
    "children, stock.",
    "wood": "Treated timber leaches: none as edging beside roots, none chipped, none "
    "burnt; an organic certificate may be lost. Chips without treated, painted or "
    "diseased wood; yew and the like kept from stock.",
    "fence": "Electric fence: certified energisers only, warning signs, away from "
    "public ways and lines; check the rules. Snow and hares short it.",
    "saws": "Chainsaw and chipper: trained people with protective gear; wind-thrown "
    "and hung-up trees are left to professionals; mind the nesting season.",
    "water": "Send neither water nor cold air to a neighbour without agreement. Drain "
    "outlets and work at the edge of water need consent in many places.",
    "permission": "Fence, filling, planting and felling near water, roads or monuments "
    "may need permission: ask first.",
    "wildlife": "Check guards and nets for caught animals. Culling and repellents "
    "follow local law; mind badger, otter and bird sites. No poison for rodents.",
    "standing": "This is planning help. Survey, electricity, excavation, felling and "
    "questions of law go to the licensed practice of the place; the local code wins.",
    "frost": "Frost classes from terrain are estimates; no class means that frost "
    "stays away. The lanes drawn for cold air are kept open in every season.",
}

HOLDS = (
    "After marking out: every peg stands, the diagonals are taped, before a hole.",
    "First trial hole beside each service that is crossed.",
    "First hole opened to full depth, sides broken, before a tree goes in.",
    "First 10 m of any trench, before it goes on.",
    "First loosened strip, opened with a spade; first mound, before the second.",
    "Fence line: string on its corners, before posts.",
    "Before back-fill of anything that will not be seen again: photo with a staff.",
)
STOPS = (
    "Water stands or runs into a hole.",
    "Soil smears under the spade or sticks to the wheel.",
    "An old drain, pipe, cable, duct or marker tape is met.",
    "Finds: worked stone, bone, ash layers, coins.",
    "The slope is beyond what the machine's handbook gives, or the lower side is soft.",
    "A peg or a baseline point is missing or has moved.",
    "A tape disagrees by more than the tolerance and the second try agrees with the "
    "first.",
    "Frozen or thaw-soft ground, or rain that stands in wheel marks.",
)
FORM = (
    "Date, weather, state of the ground",
    "Taped length A to B",
    "Points moved: id, from A, from B, why",
    "Services and drains met: where, how deep, photo number",
    "Drains as laid: points, depth, outlet",
    "Holes that held water: id",
    "Trees planted by block and fruit; guards and stakes used",
    "Mulch laid: loads, m³",
    "What is left on site; spare parts handed over",
    "Name and signature",
)


def find_steepest(survey: Survey) -> float:
    """Steepest ground under a plant; NaN where it is not known. [degree]."""
    plan = survey.plan
    if plan is None or plan.plants.empty or "slope" not in survey.layers:
        return float("nan")
    slopes = survey.site.grid.sample(
        survey.layers["slope"].to_numpy(),
        plan.plants.geometry.x,
        plan.plants.geometry.y,
    )
    known = slopes[np.isfinite(slopes)]
    return float(known.max()) if known.size else float("nan")


def tell_weather(survey: Survey) -> str:
    """Say when the ground may be worked, and how steep it is."""
    steepest = find_steepest(survey)
    text = "Work only when soil crumbles. Never on thaw-soft ground. "
    if not np.isfinite(steepest):
        return (
            f"{text}How steep the ground is: not known; the machine's handbook decides."
        )
    percent = words.percent(float(np.tan(np.radians(steepest))))
    return (
        f"{text}The steepest planted ground is about {percent}; the machine's handbook "
        "decides."
    )
