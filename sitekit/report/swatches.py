"""Little pictures for tables and keys: a pattern or a line beside its word."""

from urllib.parse import quote

from sitekit.cartography import styles
from sitekit.cartography.styles import ClassStyle
from sitekit.report.markup import Markup, element
from sitekit.words import REFUSED

SIDE = 16
LONG = 30


def slug(name: str) -> str:
    """Turn a name into the name of a style class."""
    return name.replace(",", "").replace(" ", "-")


def swatch(name: str, *, line: bool = False) -> Markup:
    """Make the place where a little picture stands; the word follows it."""
    kind = "swatch line" if line else "swatch"
    return element("span", class_=f"{kind} {slug(name)}")


def draw_class_swatch(style: ClassStyle) -> str:
    """Draw the pattern of a site class as SVG."""
    dash = ' stroke-dasharray="3 2"' if style.dashed else ""
    tint = f'<path d="M0 0h16v16H0z" fill="{style.fill}" fill-opacity='
    edge = f'<path d="M.5 .5h15v15h-15z" fill="none" stroke="{styles.INK}"{dash}/>'
    return _svg(SIDE, f'{tint}"{style.opacity}"/>{_pattern(style)}{edge}')


def _pattern(style: ClassStyle) -> str:
    up = "M-2 6L6-2M-2 13L13-2M-2 20L20-2M5 20L20 5M12 20L20 12"
    down = "M10-2L18 6M3-2L18 13M-2 0L16 18M-2 9L7 18"
    line = f'<path fill="none" stroke="{style.ink}" stroke-width="{style.weight}" d='
    if style.pattern == "diagonal":
        return f'{line}"{up}"/>'
    if style.pattern == "crossed":
        return f'{line}"{up}{down}"/>'
    if style.pattern == "dots":
        places = ((3.5, 3.5), (12.5, 3.5), (8, 8), (3.5, 12.5), (12.5, 12.5))
        return "".join(
            f'<circle cx="{x}" cy="{y}" r="{style.weight}" fill="{style.ink}"/>'
            for x, y in places
        )
    if style.pattern == "question":
        return (
            f'<text x="8" y="12.5" text-anchor="middle" font-size="12" '
            f'font-weight="bold" font-family="Arial,sans-serif" '
            f'fill="{style.ink}">?</text>'
        )
    return ""


def draw_line_swatches() -> dict[str, str]:
    """Draw the lines of the key as SVG, by name."""
    cold, ink = styles.COLD_AIR, styles.INK
    dash = "14 4 2 4"
    ticks = "".join(f"M{x} 5v5" for x in (4, 11, 18, 25))
    return {
        "field edge": _svg(LONG, _line("M1 8h28", ink, 2.2, f'"{dash}"')),
        "frost pocket": _svg(
            LONG,
            f'<path d="M0 5h30v11H0z" fill="{styles.COLD_AIR_TINT}" '
            f'fill-opacity=".2"/>{_line(f"M0 5h30{ticks}", cold, 1.6)}',
        ),
        "cold-air path": _svg(LONG, _line("M1 8h28M15 4l6 4-6 4", cold, 2.2)),
        "hedge or wood": _svg(
            LONG, _line("M3 8h26", styles.HEDGE, 4.5, '".01 6" stroke-linecap="round"')
        ),
        "wall, bank or fence": _svg(LONG, _line("M2 8h28", styles.HEDGE, 6, '"2 5"')),
        "water": _svg(
            LONG,
            f'<path d="M1 2h28v12H1z" fill="{styles.WATER}" '
            f'stroke="{styles.WATER_EDGE}" stroke-width="1.5"/>',
        ),
        "height line": _svg(LONG, _line("M1 8h28", styles.CONTOUR, 1)),
    }


def draw_mark_swatches() -> dict[str, str]:
    """Draw the marks of the key as SVG, by name."""
    ink, paper = styles.INK, styles.PAPER
    crossed = styles.CLASS_STYLES[REFUSED]
    letter = (
        '<text x="15" y="11" text-anchor="middle" font-size="9" '
        f'font-family="Arial,sans-serif" fill="{styles.STAMP_TEXT}">a</text>'
    )
    return {
        "no-go": _svg(
            LONG, _line("M8 1h14v14H8zM8 1l14 14M22 1L8 15", crossed.ink, 1.2)
        ),
        "tree, thriving": _svg(LONG, _ring(3.2, ink, ink)),
        "tree, weak": _svg(LONG, _ring(3.2, paper, ink)),
        "tree, dead": _svg(LONG, _line("M12 5l6 6M18 5l-6 6", ink, 1.2)),
        "your note": _svg(LONG, _ring(6.5, paper, styles.STAMP) + letter),
        "reference": _svg(LONG, _ring(6, "none", ink) + _ring(2.8, "none", ink)),
    }


def _ring(radius: float, fill: str, edge: str) -> str:
    return f'<circle cx="15" cy="8" r="{radius}" fill="{fill}" stroke="{edge}"/>'


def _line(path: str, colour: str, width: float, dash: str = "") -> str:
    dashed = f" stroke-dasharray={dash}" if dash else ""
    return (
        f'<path d="{path}" fill="none" stroke="{colour}" '
        f'stroke-width="{width}"{dashed}/>'
    )


def _svg(width: int, content: str) -> str:
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {SIDE}" '
        f'width="{width}" height="{SIDE}">{content}</svg>'
    )


def swatch_rules() -> str:
    """Write the style rules that put each little picture in its place."""
    drawn = {s.name: draw_class_swatch(s) for s in styles.CLASS_STYLES}
    drawn |= draw_line_swatches() | draw_mark_swatches()
    return "".join(
        f".{slug(name)} {{ background-image: "
        f'url("data:image/svg+xml,{quote(svg)}"); }}\n'
        for name, svg in drawn.items()
    )
