"""Sheets that fill from the top: headings, paragraphs, lists, tables, drawings."""

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from sitekit.cartography import styles
from sitekit.cartography.drawing import measure_text
from sitekit.handover.letters import Align
from sitekit.handover.paper import Paper, find_serif, pitch, wrap

WIDTH, HEIGHT = 210.0, 297.0
LEFT, RIGHT, TOP, BOTTOM = 20.0, 16.0, 16.0, 18.0
BODY, SMALL = 9.5, 8.5
ROOM = WIDTH - LEFT - RIGHT
#: Figures keep this from the end of their column. [mm]
GAP = 4.0
#: Figures whose letters are one or two spaces wide, and so stand under each other.
_FIGURE = re.compile(r"[\d.?]+")

Line = list[tuple[float, float]]


@dataclass(frozen=True)
class Head:
    """One column of a table.

    Parameters
    ----------
    text : str
        What it holds.
    width : float
        [mm]
    align : {"left", "center", "right"}
        Side on which its cells stand.
    """

    text: str
    width: float
    align: Align = "left"


class Flow:
    """Pages of A4, filled from the top.

    Parameters
    ----------
    foot : str
        Stands at the foot of each page, before its number.
    """

    def __init__(self, foot: str) -> None:
        self.foot = foot
        self.pages: list[Paper] = []
        self.contents: list[tuple[str, int]] = []
        self._hairlines: list[Line] = []
        self._boxes: list[Line] = []
        self.top = 0.0
        self.turn()

    def _draw_lines(self) -> None:
        """Draw the fine lines of the page at once: one by one they take long."""
        if self._hairlines:
            self.paper.rules(self._hairlines, 0.3, styles.HAIRLINE)
        if self._boxes:
            self.paper.rules(self._boxes, 0.6)
        self._hairlines, self._boxes = [], []

    def turn(self) -> None:
        """Begin a page."""
        self._draw_lines()
        self.pages.append(Paper(WIDTH, HEIGHT))
        self.top = HEIGHT - TOP

    @property
    def paper(self) -> Paper:
        """The page that is being filled."""
        return self.pages[-1]

    def need(self, height: float) -> bool:
        """Begin a page unless so much of this one is free; tell whether it did."""
        if self.top - height >= BOTTOM:
            return False
        self.turn()
        return True

    def space(self, height: float) -> None:
        """Leave some paper. [mm]."""
        self.top -= height

    def title(self, text: str, size: float = 22.0) -> None:
        """Write the title of the pack."""
        for line in wrap(text, size, ROOM):
            self.top -= pitch(size)
            self.paper.write(
                (LEFT, self.top + 2), line, size, bold=True, family=find_serif()
            )

    def part(self, text: str, needed: float = 45.0) -> None:
        """Begin a part: rule, heading, and an entry of the contents."""
        self.need(needed)
        self.contents.append((text, len(self.pages)))
        self.top -= 5.0
        self.paper.rules([[(LEFT, self.top), (WIDTH - RIGHT, self.top)]], 1.0)
        self.top -= pitch(14) + 0.5
        self.paper.write((LEFT, self.top + 1), text, 14, bold=True, family=find_serif())
        self.top -= 1.5

    def head(self, text: str) -> None:
        """Write a small heading, kept with what follows."""
        self.need(18.0)
        self.top -= 2.0
        self.top = self.paper.paragraph(
            (LEFT, self.top), text, BODY + 0.5, ROOM, bold=True
        )

    def text(self, text: str, *, size: float = BODY, indent: float = 0.0) -> None:
        """Write a paragraph, over the end of a page where it must."""
        for line in wrap(text, size, ROOM - indent):
            self.need(pitch(size))
            self.top = self.paper.paragraph(
                (LEFT + indent, self.top), line, size, WIDTH
            )
        self.top -= 1.2

    def points(self, texts: Sequence[str], *, numbered: bool = False) -> None:
        """Write a list; each point has a box to tick, or a number."""
        for i, text in enumerate(texts, start=1):
            lines = wrap(text, BODY, ROOM - 9)
            self.need(pitch(BODY) * len(lines))
            at = self.top - pitch(BODY)
            if numbered:
                self.paper.write((LEFT + 1, at + 1), str(i), BODY, bold=True)
            else:
                self.paper.box((LEFT + 1, at + 0.5), (3.0, 3.0))
            self.text(text, indent=8.0)

    def caution(self, text: str) -> None:
        """Write a caution between two rules at its left."""
        lines = wrap(text, BODY, ROOM - 24)
        height = pitch(BODY) * len(lines)
        self.need(height + 3)
        self.top -= 0.8
        self.paper.write(
            (LEFT + 2, self.top - pitch(BODY) + 1),
            "Caution",
            BODY,
            bold=True,
            color=styles.STAMP_TEXT,
        )
        self.paper.rules(
            [[(LEFT, self.top), (LEFT, self.top - height)]], 2.0, styles.STAMP
        )
        self.top = self.paper.paragraph((LEFT + 22, self.top), text, BODY, ROOM - 24)
        self.top -= 1.6

    def table(
        self,
        heads: Sequence[Head],
        rows: Sequence[Sequence[str]],
        *,
        size: float = SMALL,
        ticks: bool = False,
    ) -> None:
        """Write a table, its head again on each page.

        Parameters
        ----------
        heads : sequence of Head
            Columns; cells of left columns are wrapped.
        rows : sequence of sequence of str
            Cells.
        size : float
            Size of the letters. [pt]
        ticks : bool
            Whether each row ends with a box to tick.
        """
        self.need(pitch(size) * 3)
        self._heads(heads, size)
        for row in rows:
            cells = [
                _cell(text, head, size) for text, head in zip(row, heads, strict=True)
            ]
            height = max(len(lines) for lines in cells) * pitch(size) + 0.9
            if self.need(height):
                self._heads(heads, size)
            self._row(heads, cells, size)
            if ticks:
                x = LEFT + sum(head.width for head in heads) + 1
                self._boxes.append(_square(x, self.top - pitch(size) + 0.6, 2.6))
            self.top -= height
            self._hairlines.append([(LEFT, self.top), (WIDTH - RIGHT, self.top)])
        self.top -= 2.0

    def _heads(self, heads: Sequence[Head], size: float) -> None:
        if not any(head.text for head in heads):
            return
        self.top -= pitch(size) + 0.5
        x = LEFT
        for head in heads:
            self._write(x, self.top + 1.0, head.text, head, size, bold=True)
            x += head.width
        self.paper.rules([[(LEFT, self.top), (WIDTH - RIGHT, self.top)]], 0.8)

    def _row(
        self, heads: Sequence[Head], cells: Sequence[list[str]], size: float
    ) -> None:
        ends = np.cumsum([LEFT, *(head.width for head in heads)])
        figures: list[tuple[float, str]] = []
        for left, end, head, lines in zip(ends, ends[1:], heads, cells, strict=False):
            if head.align == "right" and _FIGURE.fullmatch(lines[0]):
                figures.append((end - GAP, lines[0]))
                continue
            self._figures(figures, size)
            figures = []
            for number, line in enumerate(lines, start=1):
                y = self.top - number * pitch(size) + 0.5
                self._write(left, y, line, head, size)
        self._figures(figures, size)

    def _figures(self, figures: Sequence[tuple[float, str]], size: float) -> None:
        """Write the figures of neighbouring columns as one line."""
        if figures:
            place = (figures[-1][0], self.top - pitch(size) + 0.5)
            self.paper.write(place, join_figures(figures, size), size, align="right")

    def _write(
        self,
        x: float,
        y: float,
        text: str,
        head: Head,
        size: float,
        *,
        bold: bool = False,
    ) -> None:
        at = {"left": x, "center": x + head.width / 2, "right": x + head.width - GAP}
        if text:
            self.paper.write(
                (at[head.align], y), text, size, bold=bold, align=head.align
            )

    def drawing(
        self, height: float, draw: Callable[[Paper, tuple[float, float]], None]
    ) -> None:
        """Keep room for a drawing and have it drawn from its lower left corner."""
        self.need(height + 2)
        self.top -= height
        draw(self.paper, (LEFT, self.top))
        self.top -= 2.0

    def finish(self) -> list[Paper]:
        """Write the foot of every page, and give the pages."""
        self._draw_lines()
        for number, page in enumerate(self.pages, start=1):
            page.rules([[(LEFT, 13), (WIDTH - RIGHT, 13)]], 0.5)
            page.write((LEFT, 9), self.foot, 7.5, color=styles.SECOND_INK)
            page.write(
                (WIDTH - RIGHT, 9),
                f"{number} of {len(self.pages)}",
                7.5,
                align="right",
            )
        return self.pages


def _cell(text: str, head: Head, size: float) -> list[str]:
    """Wrap a cell of a left column; figures are never broken."""
    if head.align != "left":
        return [text]
    return wrap(text, size, head.width - 2)


def join_figures(figures: Sequence[tuple[float, str]], size: float) -> str:
    """Put the figures of a row into one line, each ending where its column does.

    One line is written much faster than many short ones.

    Parameters
    ----------
    figures : sequence of (float, str)
        Right end of each figure, from left to right, and the figure. [mm]
    size : float
        Size of the letters. [pt]

    Returns
    -------
    line : str
        Figures with as many spaces between them as fit; ends where the last does.
    """
    space = measure_text(" ", size)
    line = figures[0][1]
    for (before, _), (end, figure) in pairwise(figures):
        free = end - before - measure_text(figure, size)
        line += " " * max(1, round(free / space)) + figure
    return line


def _square(x: float, y: float, side: float) -> Line:
    """Outline of a box to tick. [mm]."""
    return [(x, y), (x + side, y), (x + side, y + side), (x, y + side), (x, y)]
