"""The letters of a page, drawn as one: a list of two thousand trees has many lines."""

from dataclasses import dataclass
from typing import Literal

import numpy as np
from matplotlib.artist import Artist
from matplotlib.backend_bases import GraphicsContextBase, RendererBase
from matplotlib.font_manager import FontProperties

from sitekit.cartography.drawing import MM_PER_INCH, measure_text

Align = Literal["left", "center", "right"]
#: How much of its width a line lies to the left of its place.
BEFORE: dict[Align, float] = {"left": 0.0, "center": 0.5, "right": 1.0}
#: Above all lines and fills.
ORDER = 10.0


@dataclass(frozen=True)
class Line:
    """One line of text.

    Parameters
    ----------
    place : tuple of float
        Where its base line begins, has its middle or ends. [mm]
    text : str
        What it says.
    font : FontProperties
        Family, weight and size.
    colour : str
        Colour.
    align : {"left", "center", "right"}
        Which part of it lies at the place.
    """

    place: tuple[float, float]
    text: str
    font: FontProperties
    colour: str
    align: Align


class Letters(Artist):
    """All lines of text of a page.

    The library's own text lays each line out in a box of its own before it is drawn,
    which takes longer than all the rest of a long list.
    """

    def __init__(self) -> None:
        super().__init__()
        self.lines: list[Line] = []
        self.set_zorder(ORDER)

    def draw(self, renderer: RendererBase) -> None:
        """Draw the lines in the order in which they were written."""
        transform = self.get_transform()
        for line in self.lines:
            x, y = transform.transform(line.place)
            if line.align != "left":
                x -= BEFORE[line.align] * _width(line, renderer)
            ink: GraphicsContextBase = renderer.new_gc()
            ink.set_foreground(line.colour)
            renderer.draw_text(ink, x, y, line.text, line.font, 0)
            ink.restore()
        self.stale = False


def _width(line: Line, renderer: RendererBase) -> float:
    """Measure a line in the renderer's points."""
    if line.font.get_weight() == "bold":
        box = renderer.get_text_width_height_descent(line.text, line.font, False)
        return float(box[0])
    wide = measure_text(line.text, line.font.get_size_in_points())
    pixel = float(np.asarray(renderer.points_to_pixels(1)))
    return wide * 72 / MM_PER_INCH * pixel
