"""What stands in the corner of a sheet: scale bar and north arrow."""

from math import cos, floor, log10, radians, sin

import shapely
from shapely import LineString

from sitekit import words
from sitekit.cartography import styles
from sitekit.cartography.drawing import Sheet, draw_area, draw_lines, write_text
from sitekit.cartography.symbols import LABEL


def round_length(length: float) -> float:
    """Round a length down to 1, 2 or 5 times a power of ten.

    Examples
    --------
    >>> round_length(270.0), round_length(99.0)
    (200.0, 50.0)
    """
    power = 10.0 ** floor(log10(length))
    return next(f * power for f in (5.0, 2.0, 1.0) if f * power <= length)


def draw_corner(sheet: Sheet, convergence: float, most: float = 40.0) -> None:
    """Lay scale bar and north arrow into the lower left corner, on paper.

    Parameters
    ----------
    sheet : Sheet
        Where; nothing else is written there.
    convergence : float
        Bearing of grid north from true north. [degree]
    most : float
        Longest that the bar may be. [mm]
    """
    west, south = sheet.bounds[:2]
    length = round_length(sheet.metres(most))
    box = shapely.box(
        west, south, west + length + sheet.metres(26), south + sheet.metres(18)
    )
    draw_area(sheet, box, styles.PAPER, 0.85, order=LABEL + 0.9)
    draw_scale_bar(sheet, (16, 4), length)
    draw_north(sheet, (8, 4), convergence)
    sheet.taken.append(box)


def draw_scale_bar(sheet: Sheet, place: tuple[float, float], length: float) -> None:
    """Draw a scale bar.

    Parameters
    ----------
    sheet : Sheet
        Where.
    place : tuple of float
        Left end, from the lower left corner of the frame. [mm]
    length : float
        How much ground it measures. [m]
    """
    west = sheet.bounds[0] + sheet.metres(place[0])
    south = sheet.bounds[1] + sheet.metres(place[1])
    thick = sheet.metres(1.3)
    for i in range(4):
        piece = shapely.box(
            west + length * i / 4, south, west + length * (i + 1) / 4, south + thick
        )
        fill = styles.INK if i % 2 == 0 else styles.PAPER
        draw_area(sheet, piece, fill, 1.0, order=LABEL + 1)
        draw_lines(sheet, [piece.boundary], styles.INK, 0.7, order=LABEL + 1)
    for part in (0.0, 0.5, 1.0):
        figure = words.number(length * part, 0 if length >= 2 else 1)
        text = f"{figure}{words.NO_BREAK}m" if part == 1 else figure
        where = (west + length * part, south + thick + sheet.metres(1.6))
        write_text(sheet, where, text, 6.5, order=LABEL + 1)


def draw_north(sheet: Sheet, place: tuple[float, float], convergence: float) -> None:
    """Draw an arrow to true north.

    Parameters
    ----------
    sheet : Sheet
        Where.
    place : tuple of float
        Foot of the arrow, from the lower left corner of the frame. [mm]
    convergence : float
        Bearing of grid north from true north. [degree]
    """
    x = sheet.bounds[0] + sheet.metres(place[0])
    y = sheet.bounds[1] + sheet.metres(place[1])
    # True north lies at minus the convergence from the top of the sheet.
    turn = radians(-convergence)
    length = sheet.metres(9)
    tip = (x + length * sin(turn), y + length * cos(turn))
    barb = (
        tip[0] + sheet.metres(3) * sin(turn + radians(205)),
        tip[1] + sheet.metres(3) * cos(turn + radians(205)),
    )
    draw_lines(
        sheet, [LineString([(x, y), tip, barb])], styles.INK, 1.6, order=LABEL + 1
    )
    where = (tip[0], tip[1] + sheet.metres(2))
    write_text(sheet, where, "true N", 6.5, order=LABEL + 1)
