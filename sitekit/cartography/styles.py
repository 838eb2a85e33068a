"""Colours, patterns and breaks: the one place that says how a thing looks."""

from dataclasses import dataclass
from fnmatch import fnmatch
from math import atan, degrees
from typing import Literal

from sitekit.words import WETNESS_LIMITS, WETNESS_WORDS, WIND_LIMITS, WIND_WORDS

PAPER = "#FBF9F4"
RELIEF_PAPER = "#F6F2E7"
INK = "#22302F"
SECOND_INK = "#56625F"
HAIRLINE = "#CFC8B8"
STAMP = "#7A4A1E"
STAMP_TEXT = "#5E3714"
WATER = "#D5E3E8"
WATER_EDGE = "#2F6480"
COLD_AIR = "#1B2A5C"
COLD_AIR_TINT = "#5A72A6"
NO_DIG = "#7A1E4A"
HEDGE = "#4B5A1F"
CONTOUR = "#6B5B42"
CONTOUR_FIGURE = "#5B4D36"

SANS = 'system-ui, "Segoe UI", Roboto, Arial, "Liberation Sans", sans-serif'
SERIF = 'Charter, Georgia, "Liberation Serif", serif'

#: Families of colour, low to high; the question decides the family.
FAMILIES: dict[str, tuple[str, ...]] = {
    "difference": (
        "#3B4F8C",
        "#6C84B5",
        "#9DB0D1",
        "#CFD9E7",
        "#F3EFE4",
        "#F0DBAE",
        "#D9AC5E",
    ),
    "sun": ("#F6EFD9", "#F0DDA8", "#E3C06C", "#C2933B", "#8F6421", "#5A3B12"),
    "slope": ("#F7F4EA", "#E6DCCB", "#CDB9A0", "#AC9077", "#836552", "#553C31"),
    "held air": ("#E6ECF3", "#C3CFE2", "#94A8CB", "#6780B2", "#3B4F8C"),
    "last frost": ("#F5F1E6", "#DDE2E6", "#BCC8DB", "#94A8CB", "#6780B2", "#3B4F8C"),
    "loss": ("#F7F2E6", "#E3C9C0", "#C69A98", "#996772", "#5F3D4B"),
    "wet": ("#F3F1E6", "#C9DAD6", "#93B7B7", "#5A8A93", "#2B5564"),
    "score": ("#F1EDE0", "#CFD9C4", "#9DBCA4", "#5E917F", "#265C53"),
    "grey": ("#FBF9F4", "#D9D7CE", "#B0AFA8", "#858783", "#565C5A"),
}

#: How strongly the relief lies over a family: one-hue families lose their steps
#: under a strong relief.
RELIEF_OPACITY: dict[str, float] = {
    "difference": 0.6,
    "sun": 0.35,
    "slope": 0.35,
    "held air": 0.35,
    "last frost": 0.35,
    "loss": 0.35,
    "wet": 0.35,
    "score": 0.35,
    "grey": 0.0,
}


@dataclass(frozen=True)
class ClassStyle:
    """How ground of one site class is drawn.

    Parameters
    ----------
    name : str
        The class in words.
    fill : str
        Colour of the fill.
    opacity : float
        Opacity of the fill, 0 to 1.
    pattern : {"solid", "diagonal", "dots", "question", "crossed"}
        Pattern over the fill.
    ink : str
        Colour of the pattern.
    pitch : float
        Repeat of the pattern. [px]
    weight : float
        Width of its lines or radius of its dots. [px]
    dashed : bool
        Whether the outline is dashed.
    """

    name: str
    fill: str
    opacity: float
    pattern: Literal["solid", "diagonal", "dots", "question", "crossed"]
    ink: str
    pitch: float
    weight: float
    dashed: bool = False


#: One style for each code of `sitekit.words.SITE_CLASSES`.
CLASS_STYLES: tuple[ClassStyle, ...] = (
    ClassStyle("refused", PAPER, 0.45, "crossed", "#6B4E54", 9.0, 1.5),
    ClassStyle("test first", "#FFFFFF", 0.82, "question", INK, 24.0, 1.0, dashed=True),
    ClassStyle("hardy kinds only", "#D9C48A", 0.65, "dots", "#5F4B12", 9.0, 1.5),
    ClassStyle("with conditions", "#6FA594", 0.45, "diagonal", "#1F5A4F", 7.0, 2.2),
    ClassStyle("good", "#1F5A4F", 0.78, "solid", "#1F5A4F", 0.0, 0.0),
)


@dataclass(frozen=True)
class LayerStyle:
    """How a layer is asked for and coloured.

    Parameters
    ----------
    pattern : str
        Layer name, with ``*`` for any fruit or season.
    question : str
        The question that it answers.
    label : str
        Its label under the question.
    unit : str
        Unit of the breaks, for the first row of the key.
    family : str
        Name of the colours.
    breaks : tuple of float
        Limits between the classes, in the unit shown.
    words : tuple of str
        Words for the classes, where figures would say too much.
    blank_below : float or None
        No colour below this, in the unit shown.
    as_tangent : bool
        The layer is in degrees and shown in per cent.
    """

    pattern: str
    question: str
    label: str
    unit: str
    family: str
    breaks: tuple[float, ...]
    words: tuple[str, ...] = ()
    blank_below: float | None = None
    as_tangent: bool = False

    @property
    def limits(self) -> tuple[float, ...]:
        """The breaks in the unit of the layer's file."""
        if self.as_tangent:
            return tuple(degrees(atan(b / 100)) for b in self.breaks)
        return self.breaks

    @property
    def colours(self) -> tuple[str, ...]:
        """One colour for each class, low to high."""
        colours = FAMILIES[self.family]
        wanted = len(self.breaks) + 1
        # One degree has one colour on every layer: fewer breaks drop the cold end.
        return colours[-wanted:] if self.family == "difference" else colours[:wanted]


COLD = "Where is it cold?"
SUN = "Where is the sun?"
SEASON = "Is the season long enough?"
LAKE = "What does the lake do?"
STAND = "What may stand here?"

#: Layers in the order in which the questions are asked.
LAYER_STYLES: tuple[LayerStyle, ...] = (
    LayerStyle(
        "score_*",
        STAND,
        "Score of every spot, 0 to 100",
        "of 100",
        "score",
        (20, 40, 60, 80),
    ),
    LayerStyle(
        "poor_crop_years_*",
        STAND,
        "Poor-crop years in ten",
        "years in ten",
        "loss",
        (1, 2, 4, 6),
    ),
    LayerStyle(
        "frost_night_offset",
        COLD,
        "Clear still night, against the station",
        "°C",
        "difference",
        (-3, -2, -1, -0.5, 0.5, 1),
    ),
    LayerStyle(
        "pooling_depth",
        COLD,
        "Cold air held, depth",
        "m",
        "held air",
        (0.5, 1, 2, 4),
        blank_below=0.3,
    ),
    LayerStyle(
        "cold_air_depth",
        COLD,
        "Depth of the moving air",
        "m",
        "held air",
        (0.5, 1, 2, 4),
        blank_below=0.3,
    ),
    LayerStyle(
        "last_spring_frost",
        COLD,
        "Last spring frost, 1 year in 10 later",
        "date",
        "last frost",
        (),
    ),
    LayerStyle("frost_free_days", SEASON, "Days without frost", "days", "sun", ()),
    LayerStyle("heat_sum", SEASON, "Heat sum", "degree days", "sun", ()),
    LayerStyle(
        "sunshine_hours_ripening",
        SUN,
        "Sun hours a day while fruit ripens",
        "h",
        "sun",
        (4, 5, 6, 7, 8),
    ),
    LayerStyle(
        "sunshine_hours_growing",
        SUN,
        "Sun hours a day in summer",
        "h",
        "sun",
        (4, 5, 6, 7, 8),
    ),
    LayerStyle(
        "lake_effect_ice", LAKE, "At ice-out", "°C", "difference", (-1, -0.5, 0.5, 1)
    ),
    LayerStyle(
        "lake_effect_bloom", LAKE, "In bloom", "°C", "difference", (-1, -0.5, 0.5, 1)
    ),
    LayerStyle(
        "lake_effect_autumn", LAKE, "In autumn", "°C", "difference", (-1, -0.5, 0.5, 1)
    ),
    LayerStyle(
        "distance_to_water",
        LAKE,
        "Distance to the water",
        "m",
        "wet",
        (50, 100, 200, 400),
    ),
    LayerStyle(
        "wind_exposure",
        "Where does the wind come in?",
        "Sheltered to open",
        "",
        "grey",
        WIND_LIMITS,
        words=WIND_WORDS,
    ),
    LayerStyle(
        "slope",
        "Where is it steep?",
        "Slope in per cent",
        "%",
        "slope",
        (2, 5, 10, 15, 25),
        as_tangent=True,
    ),
    LayerStyle(
        "wetness_index",
        "Where is it wet?",
        "Wet ground, from the shape of the land",
        "",
        "wet",
        WETNESS_LIMITS,
        words=WETNESS_WORDS,
    ),
    LayerStyle(
        "relative_height",
        "Where is the low ground?",
        "Height above the low ground nearby",
        "m",
        "slope",
        (2, 5, 10, 20, 40),
    ),
    LayerStyle(
        "frost_night_offset_sd",
        "How sure is this?",
        "± on a clear still night",
        "°C",
        "grey",
        (0.5, 1, 1.5, 2),
    ),
)


def find_style(layer: str) -> LayerStyle | None:
    """Find how a layer looks; None for one that is only in the files."""
    return next((s for s in LAYER_STYLES if fnmatch(layer, s.pattern)), None)
