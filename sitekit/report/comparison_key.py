"""The key of the page that shows what proposals do."""

from urllib.parse import quote

import numpy as np

from sitekit.cartography import styles
from sitekit.cartography.symbols import GROWING
from sitekit.report import comparison_degrees as degrees
from sitekit.report.markup import Markup, element, items, join
from sitekit.report.swatches import slug, swatch
from sitekit.results import Comparison
from sitekit.site import Site

#: Size of a little picture of a class of degrees, and of a line. [px]
BOX, STROKE = (60, 22), (30, 16)
#: What is said of changes too small to be called one.
NO_CHANGE = "no change found"


def show_key(comparison: Comparison) -> Markup:
    """Show what colours, lines and marks of the three maps mean.

    Parameters
    ----------
    comparison : Comparison
        Only what its site has is named.
    """
    return join([_key_to_degrees(comparison.site), _key_to_lines(comparison)])


def key_rules() -> str:
    """Write the style rules that put each little picture in its place."""
    drawn = {
        f"degrees-{code}": _draw_box(colour, degrees.find_pitch(upper))
        for code, (_, upper, colour) in enumerate(degrees.list_classes())
    }
    return "".join(
        f'.{slug(name)} {{ background-image: url("data:image/svg+xml,{quote(svg)}"); }}'
        "\n"
        for name, svg in (drawn | _draw_strokes()).items()
    )


def _draw_box(colour: str, pitch: float) -> str:
    """Draw a class of degrees: its colour, its level lines."""
    width, height = BOX
    heights = np.arange(pitch / 2, height, pitch) if pitch else np.empty(0)
    lines = "".join(f"M0 {y:g}h{width}" for y in heights)
    return _svg(
        BOX,
        f'<path d="M0 0h{width}v{height}H0z" fill="{colour}"/>'
        f'<path d="{lines}" stroke="{styles.COLD_AIR}" '
        f'stroke-width="{degrees.LINE}" fill="none"/>'
        f'<path d="M.5 .5h{width - 1}v{height - 1}H.5z" fill="none" '
        f'stroke="{styles.INK}"/>',
    )


def _draw_strokes() -> dict[str, str]:
    """Draw the lines and marks that only this page has, by name."""
    paper, place = styles.PAPER, styles.STAMP
    drawn = {
        "place of the change": _line("M3 8h24", paper, 6)
        + _line("M3 8h24", place, 2.6),
        "ground asked about": _line("M4 2h22v12H4z", styles.COLD_AIR, 1.5),
        "neighbour": _line("M1 8h28", styles.INK, 0.9, ' stroke-dasharray="5 3"'),
        "building": f'<path d="M9 3h12v10H9z" fill="{styles.INK}" opacity=".75"/>',
    }
    return {name: _svg(STROKE, content) for name, content in drawn.items()}


def _line(path: str, colour: str, width: float, dash: str = "") -> str:
    return (
        f'<path d="{path}" fill="none" stroke="{colour}" stroke-width="{width}"{dash}/>'
    )


def _svg(size: tuple[int, int], content: str) -> str:
    width, height = size
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}" '
        f'width="{width}" height="{height}" preserveAspectRatio="none">{content}</svg>'
    )


def _key_to_degrees(site: Site) -> Markup:
    """Show the colours: the same on all three maps."""
    boxes = [
        element(
            "li",
            element("span", class_=f"swatch degrees-{code}"),
            degrees.name_class(low, high),
        )
        for code, (low, high, _) in enumerate(degrees.list_classes())
    ]
    head = (
        f"°C on a clear still night against {site.reference_name}; lined: colder. "
        f"Third map: ochre gained, blue lost; no tint: {NO_CHANGE}."
    )
    strip = element("ul", *boxes, class_="breaks")
    return join([element("p", head), element("div", strip, class_="scrolls")])


def _key_to_lines(comparison: Comparison) -> Markup:
    site = comparison.site
    barriers = site.vectors["barriers"]
    kinds = set(barriers["kind"]) if len(barriers) else set()
    drawn = {
        "place of the change": True,
        "ground asked about": True,
        "field edge": True,
        "hedge or wood": bool(kinds & set(GROWING)),
        "wall, bank or fence": bool(kinds - set(GROWING)),
        "neighbour": not site.vectors["neighbours"].empty,
        "building": not site.vectors["buildings"].empty,
        "water": site.has_water,
        "height line": not comparison.contours.empty,
    }
    lines = [join([swatch(n, line=True), n]) for n, shown in drawn.items() if shown]
    return items([*lines, "“?”: not known"], class_="key")
