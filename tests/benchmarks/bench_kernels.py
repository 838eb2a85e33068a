"""Our kernels beside richdem in the same process, on one ground: rates and ratios."""

import numpy as np
import richdem
from ground import CELL, make_ground
from telling import copy_rate, quickest, say

from sitekit.kernels import accumulation, fill, horizon, sunlight, terrain

SIDES = (1000, 4000)
DIRECTIONS, SUNS = 32, 480


def peers(ground):
    """Calls of ours and of richdem that do the same, by name."""
    theirs = richdem.rdarray(ground, no_data=-9999)
    theirs.geotransform = (0, CELL, 0, 0, 0, -CELL)
    filled = fill.fill(ground)
    their_filled = richdem.rdarray(filled, no_data=-9999)
    their_filled.geotransform = theirs.geotransform
    return {
        "slope and aspect": (
            lambda: (terrain.slope(ground, CELL), terrain.aspect(ground, CELL)),
            lambda: [
                richdem.TerrainAttribute(theirs, attrib=a)
                for a in ("slope_degrees", "aspect")
            ],
        ),
        "filling": (
            lambda: fill.fill(ground),
            lambda: richdem.FillDepressions(theirs, epsilon=False, in_place=False),
        ),
        "directions and catchments": (
            lambda: accumulation.find_catchment_areas(
                accumulation.find_directions(filled), CELL**2
            ),
            lambda: richdem.FlowAccumulation(their_filled, method="D8"),
        ),
    }


def say_sun(ground):
    """Print the rates of horizons and of sun steps: no peer stands in the extras."""
    cells = ground.size
    took = quickest(lambda: horizon.find_horizons(ground, ground, 8, CELL)) / 8
    say(f"  horizons: {cells / took / 1e6:.0f} Mcell/s for each direction")
    codes = horizon.find_horizons(ground, ground, DIRECTIONS, CELL)
    slope, aspect = terrain.slope(ground, CELL), terrain.aspect(ground, CELL)
    random = np.random.default_rng(7)
    suns = random.uniform(0.1, 0.6, (8, SUNS)).astype(np.float32)
    suns[3] *= DIRECTIONS
    suns[4] *= 100
    took = quickest(lambda: sunlight.sum_sunlight(codes, slope, aspect, suns))
    say(f"  sun: {cells * SUNS / took / 1e9:.2f} G cell-steps/s")


def run():
    """Print rates and ratios for two sizes."""
    copied = copy_rate()
    say(f"copy of float32: {copied:.0f} Mcell/s on one thread")
    for side in SIDES:
        ground = make_ground(side)
        say(f"{side**2 / 1e6:.0f} M cells")
        for name, (ours, theirs) in peers(ground).items():
            mine, peer = quickest(ours), quickest(theirs)
            rate = side**2 / mine / 1e6
            say(
                f"  {name}: {rate:.1f} Mcell/s, {peer / mine:.1f} times richdem, "
                f"{100 * rate / copied:.1f} % of the copy rate"
            )
        if side == SIDES[0]:
            say_sun(ground)


if __name__ == "__main__":
    run()
