"""What a night offset hangs on that nobody has measured here, and how unsure it is."""

from dataclasses import dataclass
from math import sqrt

#: Standard deviations from the middle of a range of 90 % to its ends.
TO_END = 1.645
#: Weight of the two ends together: a parabola through them and the middle has the
#: variance of a normal law.
END_WEIGHT = 1 / (2 * TO_END**2)

#: Names of groups of inputs as a grower reads them.
BACKGROUND = "how strongly low ground cools here"
AIR = "how much cold air is made and carried off"
POOL = "how cold a pool of air becomes"
OPENNESS = "openness of hedges and walls"
SHAPE = "crests and concave ground"
LAPSE = "fall of the minimum with height"
SKY = "what hides the sky"
LAKE = "warmth of the lake"
HEIGHTS = "errors of the heights"
YEARS = "length of the record"
COVER = "ground cover that is not drawn"
REST = "what no input explains"


@dataclass(frozen=True)
class Unsure:
    """One number that may differ from what is taken.

    Parameters
    ----------
    name : str
        Name of its setting, or what is changed: ``drag``, ``openness``,
        ``background``.
    group : str
        Group of inputs that it belongs to.
    factor : float
        Range of 90 %: this many times as large or small; 0 where it is added to.
    added : float
        Range of 90 %: this much more or less.
    source : str
        Where the range comes from.
    """

    name: str
    group: str
    factor: float = 0.0
    added: float = 0.0
    source: str = "from memory"

    def ends(self, middle: float) -> tuple[float, float]:
        """Give the ends of the range of 90 % about a value.

        Examples
        --------
        >>> Unsure("pool_cold", POOL, factor=2.0).ends(3.0)
        (1.5, 6.0)
        >>> Unsure("sky_effect", SKY, added=2.0).ends(1.0)
        (0.0, 3.0)
        """
        if self.factor:
            return middle / self.factor, middle * self.factor
        return max(middle - self.added, 0.0), middle + self.added


#: Ranges: published where it says so; the rest set by judgement on one basin.
UNSURE: tuple[Unsure, ...] = (
    Unsure(
        "background",
        BACKGROUND,
        factor=2.2,
        source="0.12 to 1.5 found at loggers of six places",
    ),
    Unsure("background_gradient", BACKGROUND, factor=1.4, source="Hočevar 1971"),
    Unsure("background_height", BACKGROUND, factor=1.6),
    Unsure("production", AIR, factor=sqrt(6.0 / 0.7)),
    Unsure("mixing_hours", AIR, factor=sqrt(3.8 / 0.6)),
    # Drag ×/÷ 2 and deficit ×/÷ 1.5: a steady stream knows only their ratio.
    Unsure("drag", AIR, factor=2.23),
    Unsure("water_mixing", AIR, factor=3.0),
    Unsure("pool_cold", POOL, factor=1.4),
    Unsure("pool_scale", POOL, factor=1.6),
    Unsure("sensor_depth", POOL, factor=1.55),
    Unsure("stream_speed", POOL, factor=1.6, source="Shaw 2001"),
    Unsure("still_cold", POOL, factor=1.8),
    Unsure("still_speed", POOL, factor=1.8),
    Unsure("openness", OPENNESS, factor=2.0, added=0.1),
    Unsure("crest_cold", SHAPE, factor=2.0),
    Unsure("concave_cold", SHAPE, factor=2.0),
    Unsure("night_lapse", LAPSE, added=0.002, source="Minder et al. 2010"),
    Unsure("sky_effect", SKY, added=2.0, source="Groot & Carlson 1996"),
    Unsure("lake_share", LAKE, factor=1.8),
)
