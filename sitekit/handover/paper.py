"""Paper in millimetres: pages with text and rules, written as one PDF.

Everything is placed from the lower left corner of the page, so that what is
drawn 100 mm long measures 100 mm on a print at 100 %.
"""

from collections.abc import Iterable, Sequence
from functools import cache
from pathlib import Path
from typing import Any

import matplotlib as mpl
from matplotlib.axes import Axes
from matplotlib.backends.backend_pdf import PdfPages
from matplotlib.collections import LineCollection
from matplotlib.figure import Figure
from matplotlib.font_manager import FontProperties, fontManager
from matplotlib.patches import Rectangle

from sitekit.cartography import styles
from sitekit.cartography.drawing import MM_PER_INCH, find_family, make_figure
from sitekit.cartography.drawing import measure_text as measure_line
from sitekit.handover.letters import Align, Letters, Line

#: Letters of titles, as in the report.
SERIF = ("Charter", "Georgia", "Liberation Serif", "DejaVu Serif")
#: A bold line is wider than a plain one by this.
BOLD_WIDER = 1.09
#: Distance of lines of text, in the size of the letters.
LEADING = 1.3


@cache
def find_serif() -> list[str]:
    """List the fonts for titles that this machine has."""
    known = set(fontManager.get_font_names())
    return [name for name in SERIF if name in known] or find_family()


def pitch(size: float) -> float:
    """Distance of two lines of text of a size in points. [mm]."""
    return size * LEADING * MM_PER_INCH / 72


def wrap(text: str, size: float, width: float, *, bold: bool = False) -> list[str]:
    """Break a text into lines that fit.

    Parameters
    ----------
    text : str
        Words; a word that is wider than the line is cut.
    size : float
        Size of the letters. [pt]
    width : float
        Room for a line. [mm]
    bold : bool
        Whether the letters are bold.

    Returns
    -------
    lines : list of str
        At least one.
    """
    room = width / (BOLD_WIDER if bold else 1.0)
    space = measure_line(" ", size)
    lines, used = [""], 0.0
    for word in _short_words(text, size, room):
        wide = measure_line(word, size)
        if lines[-1] and used + space + wide > room:
            lines.append("")
            used = 0.0
        lines[-1] += f" {word}" if lines[-1] else word
        used += wide + (space if used else 0.0)
    return lines


def _short_words(text: str, size: float, room: float) -> list[str]:
    """Split at spaces, and cut words that no line holds."""
    words = []
    for given in text.split(" "):
        word = given
        while len(word) > 1 and measure_line(word, size) > room:
            cuts = range(1, len(word))
            fits = max(
                (n for n in cuts if measure_line(word[:n], size) <= room), default=1
            )
            words.append(word[:fits])
            word = word[fits:]
        words.append(word)
    return [word for word in words if word]


class Paper:
    """One page.

    Parameters
    ----------
    width, height : float
        Size. [mm]
    """

    def __init__(self, width: float, height: float) -> None:
        self.width, self.height = width, height
        self.figure: Figure = make_figure(width, height)
        self.axes: Axes = self.figure.add_axes((0, 0, 1, 1))
        self.axes.set(xlim=(0, width), ylim=(0, height))
        self.axes.axis("off")
        self.letters = Letters()
        self.axes.add_artist(self.letters)

    def write(
        self,
        place: tuple[float, float],
        text: str,
        size: float,
        *,
        bold: bool = False,
        align: Align = "left",
        color: str = styles.INK,
        family: Sequence[str] = (),
    ) -> None:
        """Write one line, its base line at a place. [mm]."""
        font = FontProperties(
            # Each further family is looked up for each text: only where it is needed.
            family=tuple(family or find_family()[: 1 if text.isascii() else None]),
            size=size,
            weight="bold" if bold else "normal",
        )
        self.letters.lines.append(Line(place, text, font, color, align))

    def paragraph(
        self,
        place: tuple[float, float],
        text: str,
        size: float,
        width: float,
        *,
        bold: bool = False,
        color: str = styles.INK,
    ) -> float:
        """Write lines downward from a place, and tell where the next one goes.

        Parameters
        ----------
        place : tuple of float
            Left and top of the text. [mm]
        text : str
            What to write.
        size : float
            Size of the letters. [pt]
        width : float
            Room for a line. [mm]
        bold : bool
            Whether the letters are bold.
        color : str
            Colour.

        Returns
        -------
        top : float
            Where the text ends. [mm]
        """
        left, top = place
        for line in wrap(text, size, width, bold=bold):
            top -= pitch(size)
            self.write(
                (left, top + pitch(size) * 0.25), line, size, bold=bold, color=color
            )
        return top

    def rules(
        self,
        lines: Sequence[Sequence[tuple[float, float]]],
        weight: float = 0.6,
        colour: str = styles.INK,
        **more: Any,  # noqa: ANN401  # handed to matplotlib as it is
    ) -> None:
        """Draw lines. [mm], weight in points."""
        made = LineCollection(
            [list(line) for line in lines], colors=colour, linewidths=weight, **more
        )
        self.axes.add_collection(made, autolim=False)

    def box(
        self,
        place: tuple[float, float],
        size: tuple[float, float],
        *,
        fill: str = "none",
        weight: float = 0.6,
        **more: Any,  # noqa: ANN401  # handed to matplotlib as it is
    ) -> None:
        """Draw a rectangle from its lower left corner. [mm]."""
        given: dict[str, Any] = {"edgecolor": styles.INK, "linewidth": weight}
        more = given | {"facecolor": fill} | more
        self.axes.add_patch(Rectangle(place, *size, **more))


def write_pages(path: Path, pages: Iterable[Paper], title: str) -> None:
    """Write pages as one PDF with its fonts in it.

    Parameters
    ----------
    path : Path
        The file.
    pages : iterable of Paper
        In order; of a generator only one is held at a time.
    title : str
        Title in the file.
    """
    settings: Any = {"pdf.fonttype": 42, "font.family": find_family()}
    # No date in the file: the same pack gives the same bytes.
    about: Any = {"Title": title, "Creator": "sitekit", "CreationDate": None}
    with mpl.rc_context(settings), PdfPages(path, metadata=about) as document:
        for page in pages:
            document.savefig(page.figure)
