"""`map.html`: folium's map, our own page round it, and a policy that seals it.

folium makes the map and its pictures. Its head, its loading of scripts from
elsewhere and its random names are left out: Leaflet is written into the page, all
words and shapes go in as data, and the policy allows only the two scripts and the
style whose hashes it names.
"""

import json
from base64 import b64encode
from collections.abc import Mapping
from datetime import date
from hashlib import sha256
from importlib.metadata import files
from importlib.resources import files as own_files
from pathlib import Path
from typing import Any

import folium
import numpy as np
from branca.element import Figure
from numpy.typing import NDArray
from shapely import box

from sitekit import words
from sitekit.cartography import styles
from sitekit.cartography.asked import list_fruit
from sitekit.cartography.images import Picture, draw_relief
from sitekit.cartography.ties import tie_units
from sitekit.errors import OutputError
from sitekit.results import Survey
from sitekit.webmap import answer, shapes
from sitekit.webmap.questions import ask_ground
from sitekit.webmap.reading import make_reading
from sitekit.webmap.spots import draw_spots

PURPOSE = "Where to extend the orchard."
#: Parts of the page's script, in the order in which they run.
SCRIPTS = ("words.js", "ground.js", "draw.js", "margin.js", "tools.js", "start.js")
#: Names that folium gives to the map and its pictures in the page.
MAP_NAME = "survey"


def write_map(survey: Survey, path: Path, *, today: date | None = None) -> None:
    """Write the web map of a survey, whole in one file.

    Parameters
    ----------
    survey : Survey
        What was found.
    path : Path
        The file to write.
    today : date, optional
        Date on the sheet; the day of writing where it is left out.

    Raises
    ------
    OutputError
        Where the file cannot be written.
    """
    page = make_page(survey, today or date.today())
    try:
        # The policy holds hashes of these very bytes: no line end may change.
        path.write_text(page, encoding="utf-8", newline="")
    except OSError as error:
        message = (
            f'"{path}" cannot be written: {error.strerror}. Choose another folder.'
        )
        raise OutputError(message) from error


def make_page(survey: Survey, today: date) -> str:
    """Make the text of the page.

    Parameters
    ----------
    survey : Survey
        What was found.
    today : date
        Date on the sheet.

    Returns
    -------
    page : str
        HTML; the same for the same survey and day.
    """
    options, layers = ask_ground(survey)
    relief = draw_relief(survey.site.elevation, survey.site.grid)
    pictures = {"relief": relief, **layers}
    data = {"pictures": list(pictures), **gather(survey, options, today)}
    script = "\n".join(
        [
            '"use strict";\n(() => {',
            make_folium_script(survey, pictures),
            *(_own(name) for name in SCRIPTS),
            "})();",
        ]
    )
    style = f"{_leaflet('leaflet.css')}\n{_own('page.css')}"
    leaflet = _leaflet("leaflet.js")
    parts = {
        "policy": _policy(leaflet, script, style),
        "style": style,
        "patterns": make_patterns(),
        "data": _as_data(data),
        "leaflet": leaflet,
        "script": script,
    }
    page = _own("page.html")
    for name, part in parts.items():
        page = page.replace(f"<!--{name}-->", part, 1)
    return page


def gather(
    survey: Survey, options: list[dict[str, Any]], today: date
) -> dict[str, Any]:
    """Gather everything that the page shows, as plain data.

    Parameters
    ----------
    survey : Survey
        What was found.
    options : list of dict
        The questions, from `ask_ground`.
    today : date
        Date on the sheet.

    Returns
    -------
    data : dict
        Words and shapes; see the functions that make them.
    """
    grid = survey.site.grid
    blocks = answer.draw_blocks(survey)
    badges = [
        shapes.middle(row["geometry"])
        for row in shapes.rows(survey.blocks.drop_duplicates("block"))
    ]
    field = shapes.rings(box(*survey.site.field.total_bounds), grid)[0][0]
    return {
        "told": answer.tell_answer(survey),
        "purpose": f"{PURPOSE} {today.day} {today:%B %Y}",
        "fruit": [
            {"id": fruit, "name": words.fruit_name(fruit, plural=True)}
            for fruit in list_fruit(survey)
        ],
        "first": answer.choose_fruit(survey),
        "classes": [vars(style) for style in styles.CLASS_STYLES],
        "options": options,
        "blocks": blocks,
        "spots": draw_spots(survey),
        "view": field,
        "paper": shapes.draw_paper(grid),
        "missing": shapes.draw_mask(_unknown_ground(survey), grid),
        "field": shapes.draw_field(survey),
        "water": shapes.draw_water(survey),
        "barriers": shapes.draw_barriers(survey),
        "contours": shapes.draw_contours(survey, badges),
        "pockets": shapes.draw_pockets(survey),
        "paths": shapes.draw_paths(survey),
        "no_go": shapes.draw_no_go(survey),
        "trees": shapes.draw_trees(survey),
        "notes": shapes.draw_notes(survey),
        "reading": make_reading(survey),
    }


def _unknown_ground(survey: Survey) -> NDArray[np.bool_]:
    """Tell where no height is known: white with "?" under everything."""
    site = survey.site
    return ~np.isfinite(site.elevation) & ~site.water_mask


def make_folium_script(survey: Survey, pictures: Mapping[str, Picture]) -> str:
    """Let folium make the map and its pictures.

    Parameters
    ----------
    survey : Survey
        What was found.
    pictures : mapping of str to Picture
        Pictures by name.

    Returns
    -------
    script : str
        ``map_survey``, and ``overlays``, the pictures in the order given.
    """
    grid = survey.site.grid
    made = folium.Map(
        location=[round(grid.latitude, 6), round(grid.longitude, 6)],
        zoom_start=15,
        tiles=None,
        zoom_control=False,
        max_zoom=22,
        min_zoom=9,
        zoom_snap=0.25,
        zoom_delta=0.5,
        zoom_animation=False,
        fade_animation=False,
        marker_zoom_animation=False,
        inertia=False,
        attribution_control=False,
    )
    made._id = MAP_NAME  # folium draws a random one
    for number, (name, picture) in enumerate(pictures.items()):
        overlay = folium.raster_layers.ImageOverlay(
            image=picture.address,
            bounds=[list(corner) for corner in picture.frame.corners],
            show=False,
            pane="relief" if name == "relief" else "colour",
        )
        overlay._id = str(number)
        overlay.add_to(made)
    figure = Figure()
    figure.add_child(made)
    figure.render()
    script = str(figure.script.render())
    listed = ", ".join(f"image_overlay_{number}" for number in range(len(pictures)))
    return f"{script}\nconst overlays = [{listed}];"


def make_patterns() -> str:
    """Write the fill patterns of the classes, from the one table of styles."""
    made = []
    for code, style in enumerate(styles.CLASS_STYLES):
        side = style.pitch or 8
        ground = (
            f'<rect width="{side}" height="{side}" fill="{style.fill}" '
            f'fill-opacity="{style.opacity}"/>'
        )
        made.append(
            f'<pattern id="class-{code}" patternUnits="userSpaceOnUse" '
            f'width="{side}" height="{side}"{_turned(style)}>'
            f"{ground}{_marks(style)}</pattern>"
        )
    return "".join(made)


def _turned(style: styles.ClassStyle) -> str:
    turned = {"diagonal": 45, "crossed": 45}.get(style.pattern)
    return f' patternTransform="rotate({turned})"' if turned else ""


def _marks(style: styles.ClassStyle) -> str:
    """Write the marks of one repeat of a pattern."""
    pitch, weight = style.pitch, style.weight
    stroke = f'stroke="{style.ink}" stroke-width="{weight}"'
    upright = f'<path d="M{pitch / 2} 0V{pitch}" {stroke}/>'
    level = f'<path d="M0 {pitch / 2}H{pitch}" {stroke}/>'
    dots = "".join(
        f'<circle cx="{pitch * at}" cy="{pitch * at}" r="{weight}" fill="{style.ink}"/>'
        for at in (0.25, 0.75)
    )
    question = (
        f'<text x="{pitch / 2}" y="{pitch * 0.7}" text-anchor="middle" '
        f'font-size="14" fill="{style.ink}">?</text>'
    )
    return {
        "solid": "",
        "diagonal": upright,
        "dots": dots,
        "question": question,
        "crossed": upright + level,
    }[style.pattern]


def _own(name: str) -> str:
    """Read a file of the page that lies beside this module."""
    return (own_files("sitekit.webmap") / "page" / name).read_text(encoding="utf-8")


def _leaflet(name: str) -> str:
    """Read a file of Leaflet as its package brings it, without outside links."""
    found = next(f for f in files("XStatic-Leaflet") or () if f.name == name)
    text = found.read_text(encoding="utf-8")
    outside = "url(" if name.endswith(".css") else "sourceMappingURL"
    return "\n".join(line for line in text.splitlines() if outside not in line)


def _policy(leaflet: str, script: str, style: str) -> str:
    """Write the policy that lets only these very texts run."""
    scripts = " ".join(_hash(text) for text in (leaflet, script))
    return (
        f"default-src 'none'; img-src data:; script-src {scripts}; "
        f"style-src {_hash(style)}; base-uri 'none'; form-action 'none'"
    )


def _hash(text: str) -> str:
    digest = b64encode(sha256(text.encode("utf-8")).digest()).decode("ascii")
    return f"'sha256-{digest}'"


def _as_data(data: Mapping[str, Any]) -> str:
    """Write data so that no text in it can end the element that holds it."""
    text = json.dumps(data, ensure_ascii=False, separators=(",", ":"), allow_nan=False)
    return tie_units(text).replace("<", "\\u003c")
