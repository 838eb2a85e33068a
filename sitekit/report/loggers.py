"""The page of a logger plan: a map with the places, and a reading sheet."""

from base64 import b64encode
from collections.abc import Sequence
from datetime import date
from pathlib import Path

import shapely
from geopandas import GeoDataFrame

from sitekit import words
from sitekit.cartography import symbols
from sitekit.cartography.drawing import make_figure, make_sheet, write_figure
from sitekit.errors import OutputError
from sitekit.report import ground_map
from sitekit.report.markup import Markup, element, items, join, table
from sitekit.report.page import make_page, make_style, write_day
from sitekit.report.sections import section
from sitekit.report.swatches import swatch
from sitekit.results import Survey

RULES = (
    "Sensor at blossom height, 1.5 m, in white louvres or a shade tube, open side to "
    "the north (to the south in the southern hemisphere), never in the sun.",
    "At least 5 m from any bank, hedge, wall or tree; grass around it kept as it is "
    "on the rest of the ground.",
    "One reading every 10 to 15 minutes, all clocks set to one time, summer time off. "
    "Write the time zone on this sheet.",
    "All loggers side by side for one night before and one after, out of the wind: "
    "each within 0.3 °C of their mean. Write down by how much each is off.",
    "Leave them through bloom: at least eight, better ten clear still nights.",
    "Take one photo of each logger with its surroundings, and one as the list says.",
    "Ask neighbours and keepers of animals before a post goes in; ask before you dig.",
)
AFTER = (
    "Copy loggers.csv of this folder and one file for each logger, named after it, "
    "into a folder, add what the side-by-side test found as start_check_degc and "
    "end_check_degc, and run: sitekit revise site.toml FOLDER."
)
CAUTIONS = (
    "Not for setting out: a phone finds these places to some metres, which is enough.",
    "Frost classes stay estimates after readings too. The local code and licensed "
    "practice of the place decide on works.",
)


def write_logger_page(
    survey: Survey,
    places: GeoDataFrame,
    wrong: Sequence[float],
    path: Path,
    *,
    today: date,
) -> None:
    """Write the page of a logger plan.

    Parameters
    ----------
    survey : Survey
        The survey that places were chosen on.
    places : GeoDataFrame
        Places of loggers, the most decisive first.
    wrong : sequence of float
        Expected share of wrong verdicts, before any logger and after each.
    path : Path
        File to write, ``loggers.html``.
    today : date
        Date on the sheet.

    Raises
    ------
    OutputError
        Where the file cannot be written.
    """
    try:
        page = make_logger_page(survey, places, wrong, today=today)
        path.write_bytes(page.encode("utf-8"))
    except OSError as error:
        message = f"{path}: the page of loggers cannot be written ({error.strerror})."
        raise OutputError(message) from error


def make_logger_page(
    survey: Survey, places: GeoDataFrame, wrong: Sequence[float], *, today: date
) -> str:
    """Make the page; the same plan gives the same text.

    Parameters
    ----------
    survey : Survey
        The survey that places were chosen on.
    places : GeoDataFrame
        Places of loggers.
    wrong : sequence of float
        Expected share of wrong verdicts.
    today : date
        Date on the sheet.
    """
    style = make_style(survey.site.name, "Logger plan", today)
    title = f"{survey.site.name}: where thermometers decide most"
    purpose = f"{write_day(today)}. Planning help, not for setting out."
    main = element(
        "main",
        _places(survey, places, wrong),
        section("How to put them up", items(RULES)),
        _reading_sheet(places),
        section("Cautions", items(CAUTIONS)),
    )
    return make_page(title, purpose, style, main)


def _places(survey: Survey, places: GeoDataFrame, wrong: Sequence[float]) -> Markup:
    """Show the map, and the list of places with what each decides."""
    rows = [
        (
            str(row["logger"]),
            words.sentence(str(row["why"])),
            f"{row['easting_m']:.0f}, {row['northing_m']:.0f}",
            f"{row['lat']:.5f}, {row['lon']:.5f}",
            words.with_unit(float(row["elevation_m"]), "m"),
            words.offset(float(row["expected_degc"])),
        )
        for row in places.to_dict("records")
    ]
    heads = ("Logger", "Why there", "Easting, northing", "Lat, lon", "Height", "Map")
    before, after = (words.number(100 * share) for share in (wrong[0], wrong[-1]))
    gain = (
        f"Of the ground near a limit of frost, {before} % is expected to be judged "
        f"wrongly without a reading, and {after} % with these {len(places)}."
    )
    return section(
        "Where they go",
        element("p", gain, class_="headline"),
        _map(survey, places),
        table(
            heads,
            rows,
            caption="The most decisive first. Map: what a clear still night is "
            "expected to be there, against "
            f"{survey.site.reference_name}.",
            label="Places of loggers",
        ),
    )


def _map(survey: Survey, places: GeoDataFrame) -> Markup:
    """Draw the ground with a numbered ring at each place."""
    bounds = shapely.union_all(
        [
            shapely.box(*ground_map.find_bounds(survey)),
            shapely.box(*places.total_bounds).buffer(30.0),
        ]
    ).bounds
    left, low, right, top = survey.site.grid.bounds
    shown = (
        max(bounds[0], left),
        max(bounds[1], low),
        min(bounds[2], right),
        min(bounds[3], top),
    )
    shape = (shown[3] - shown[1]) / (shown[2] - shown[0])
    width = min(ground_map.WIDTH - 1, (ground_map.HEIGHT - 1) / shape)
    figure = make_figure(ground_map.WIDTH, width * shape + 1)
    sheet = make_sheet(figure, shown, ((ground_map.WIDTH - width) / 2, 0.5, width))
    ground_map.draw_ground(sheet, survey)
    for number, point in enumerate(places.geometry, start=1):
        symbols.draw_mark(sheet, (point.x, point.y), str(number))
    data = b64encode(write_figure(figure)).decode()
    alt = f"Map of {survey.site.name} with {len(places)} places for loggers"
    image = element("img", src=f"data:image/svg+xml;base64,{data}", alt=alt)
    caption = element(
        "figcaption",
        element("strong", "Places of loggers."),
        " The number is that of the logger; teeth of a frost pocket point inward; "
        "arrows: cold air running downhill. Not for setting out.",
        items(
            [
                join([swatch(name, line=True), name])
                for name in ground_map.list_signs(survey)
            ],
            class_="key",
        ),
    )
    return element("figure", element("div", image, class_="scrolls"), caption)


def _reading_sheet(places: GeoDataFrame) -> Markup:
    """Make the sheet to fill in, on one page."""
    rows = [
        (str(row["logger"]), words.sentence(str(row["photo"])), *[""] * 6)
        for row in places.to_dict("records")
    ]
    heads = (
        "Logger",
        "Photo",
        "Serial",
        "Off before",
        "Up: day, hour",
        "Height, shade",
        "Down: day, hour",
        "Off after",
    )
    lines = element("p", "Time zone: ................  Read by: ................")
    return section(
        "Reading sheet",
        lines,
        table(heads, rows, caption=AFTER, label="Reading sheet", class_="to-fill"),
        class_="new-page whole",
    )
