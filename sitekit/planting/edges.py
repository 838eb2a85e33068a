"""The edge of the mulch: what holds grass back, and when it pays."""

import pandas as pd

from sitekit.planting.mulch import mulch_of
from sitekit.planting.terms import EDGES, Limits, Prices

#: What the table says of each edge.
SAYS = {
    "none": "grass creeps in; the mulch of the edge is lost each year",
    "spade-cut strip": "cut to spade depth twice a year; works where it is done",
    "mown strip": "holds little against grass that runs under the ground",
    "cardboard lap": "30 cm beyond the edge, under the mulch, laid anew",
    "untreated board": "no treated timber beside roots; runners pass below it",
    "steel": "lasts; sharp, so bent over or kept low where people walk",
    "animal run": "birds or ducks keep the border bare; fence and daily care",
}
SOURCE = "common practice, no source; an open question of the trade"


def compare_edges(edge_m: float, limits: Limits, prices: Prices) -> pd.DataFrame:
    """Compare the ways to hold the edge of mulched ground.

    Parameters
    ----------
    edge_m : float
        Length of the edge. [m]
    limits : Limits
        Creep of grass, depth of mulch.
    prices : Prices
        Price, work, life and effect of each edge; price of mulch and of a day.

    Returns
    -------
    edges : DataFrame
        ``edge``, ``price_m``, ``days_m`` (a year), ``mulch_saved_m3`` (a year),
        ``cost`` (to make it), ``pays_back_years`` (by the mulch it saves, valued
        as if bought, and the work of spreading it; infinite where it wears out
        before, NaN where neither mulch nor a day has a price), ``source``.
    """
    mulch = mulch_of(limits)
    bought = max(prices.mulch_m3, prices.bought_mulch_m3)
    worth = bought + prices.days_mulch_m3 * prices.day
    rows = []
    for edge in EDGES[1:]:
        saved = mulch.depth * limits.grass_creep_m * prices.edge_holds[edge] * edge_m
        cost = prices.edge_price[edge] * edge_m
        yearly = saved * worth - prices.edge_days[edge] * edge_m * prices.day
        pays = _pay_back(cost, yearly, prices.edge_years[edge], worth)
        rows.append(
            {
                "edge": edge,
                "price_m": prices.edge_price[edge],
                "days_m": prices.edge_days[edge],
                "mulch_saved_m3": saved,
                "cost": cost,
                "pays_back_years": pays,
                "source": f"{SAYS[edge]} ({SOURCE})",
            }
        )
    return pd.DataFrame(rows)


def _pay_back(cost: float, yearly: float, lasts: float, worth: float) -> float:
    """Tell after how many years an edge has paid for itself."""
    if worth <= 0:
        return float("nan")
    years = cost / yearly if yearly > 0 else float("inf")
    return years if years <= lasts else float("inf")
