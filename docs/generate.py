"""Write the reference pages from the code; ``--check`` fails where one lags behind.

Run it as ``python docs/generate.py`` after a change of a layer, setting, fruit, key of
the site file, column of an input, or command.
"""

import sys
from collections.abc import Callable, Iterable, Sequence
from math import isinf
from pathlib import Path
from typing import Any

import typer
from pydantic import BaseModel

from sitekit.cli.app import app
from sitekit.config.models import SiteModel
from sitekit.fruit import Varieties, fruit_names, read_fruit
from sitekit.fruit.groups import PARTNERS
from sitekit.fruit.winter import HARDINESS
from sitekit.io.schemas import FIELD, SCHEMAS, Schema
from sitekit.layers import CATALOGUE, Layer
from sitekit.layers.cover import COVERS
from sitekit.pipeline import TUNED, known_settings
from sitekit.settings import settings_of
from sitekit.siting.maps import CLIMATE, NEEDS
from sitekit.words import SITE_CLASSES, fruit_name

FOLDER = Path(__file__).parent / "reference"
HEAD = "<!-- Written by docs/generate.py from the code; do not edit it here. -->"


def table(heads: Sequence[str], rows: Iterable[Sequence[object]]) -> str:
    """Write a table in Markdown."""
    lines = ["| " + " | ".join(heads) + " |", "|" + "---|" * len(heads)]
    for row in rows:
        cells = [str(cell).replace("|", "\\|").replace("\n", " ") for cell in row]
        lines.append("| " + " | ".join(cells) + " |")
    return "\n".join(lines)


def page(title: str, *parts: str) -> str:
    """Put a page together."""
    return "\n\n".join([HEAD, f"# {title}", *parts]) + "\n"


def listed(names: Iterable[str]) -> str:
    """Write names as code, with commas."""
    return ", ".join(f"`{name}`" for name in names)


def summary(function: Callable[..., Any]) -> str:
    """Take the first sentence of a docstring."""
    return (function.__doc__ or "").strip().split("\n\n")[0].replace("\n", " ")


def layer_row(entry: Layer) -> tuple[str, ...]:
    """Describe one layer in a row."""
    return (
        f"`{entry.name}`",
        entry.long_name,
        entry.units,
        summary(entry.function),
        listed(entry.needs) or "the grid",
        entry.reference,
    )


def write_layers() -> str:
    """Write the page of layers."""
    heads = ("name", "shown as", "unit", "what it is", "made from", "source")
    written = [layer_row(e) for e in CATALOGUE.values() if e.written]
    steps = [layer_row(e) for e in CATALOGUE.values() if not e.written]
    classes = ", ".join(f"{code} {text}" for code, text in enumerate(SITE_CLASSES))
    return page(
        "Layers",
        "A survey writes these as `layers/NAME.tif`: Float32, nodata NaN, "
        "lossless, with "
        "unit and description in the metadata of the band. A layer whose input is "
        "missing is not written, and the report says so. `[outputs] layers` in "
        "the site "
        "file names others.",
        table(heads, written),
        "Besides, for each fruit asked for:",
        table(
            ("name", "unit", "what it is"),
            [
                (
                    "`score_<fruit>`",
                    "1",
                    "100 times the lowest membership; 0 where refused, NaN outside the "
                    "field and on water",
                ),
                (
                    "`site_class_<fruit>`",
                    "code",
                    f"Byte, nodata 255: {classes}; the names stand in the band's tags",
                ),
            ],
        ),
        f"And with {NEEDS} ([years](../method/years.md)):",
        table(
            ("name", "unit", "what it is", "source"),
            [
                *((f"`{n}`", unit, text, s) for n, (unit, text, s) in CLIMATE.items()),
                (
                    "`poor_crop_years_<fruit>`",
                    "years in ten",
                    "years in ten in which frost leaves less than half a crop of the "
                    "fruit's usual group",
                    "limits of each stage in the fruit file",
                ),
            ],
        ),
        "## Steps on the way",
        "Made where another layer needs them, and written only when asked for. "
        "Some hold "
        "several bands or are no raster; those cannot be written.",
        table(heads, steps),
    )


def limits(low: float, high: float) -> str:
    """Write what a number may be."""
    if isinf(low) and isinf(high):
        return "any"
    if isinf(high):
        return f"from {low:g}"
    return f"up to {high:g}" if isinf(low) else f"{low:g} to {high:g}"


def users(name: str) -> str:
    """Name the layers and steps that read a setting."""
    layers = [e.name for e in CATALOGUE.values() if name in e.settings]
    steps = [f.__name__ for f in TUNED if name in settings_of(f)]
    return listed(dict.fromkeys([*layers, *steps]))


def write_settings() -> str:
    """Write the page of settings."""
    rows = [
        (
            f"`{name}`",
            f"`{default!r}`",
            setting.units,
            ""
            if isinstance(default, str | tuple)
            else limits(setting.low, setting.high),
            setting.text,
            setting.source,
            users(name),
        )
        for name, (default, setting) in known_settings().items()
    ]
    return page(
        "Settings",
        "Numbers of the methods that `[settings]` in the site file may change. "
        "`sitekit check site.toml --json` lists them too.",
        "```toml\n[settings]\nrelative_height_radius = 100.0\n"
        'closed_edges = ["west"]\n```',
        table(
            ("name", "default", "unit", "allowed", "what it does", "source", "read by"),
            rows,
        ),
    )


def varieties_of(varieties: Varieties) -> list[str]:
    """Describe the groups of a fruit: bloom, limits of frost, size."""
    sources = varieties.sources
    return [
        f"Groups; maps show *{varieties.usual}*. A full crop needs "
        f"{varieties.need:g} of the blossom alive, in springs with few bees "
        f"{varieties.need_bee_poor:g} ({sources['need']}). Its bloom "
        f"{PARTNERS[varieties.partner]}. Least winter chill: "
        f"{varieties.chill_hours:g} h of 0 to 7.2 °C ({sources['chill_hours']}).",
        table(
            (
                "group",
                "full bloom [°C day]",
                "days to picking",
                "April to October [°C day]",
                "bloom to picking [°C day]",
                "hardiness",
            ),
            [
                (
                    g.name,
                    f"{g.bloom_sum:g}",
                    f"{g.days[0]:g} to {g.days[1]:g}",
                    f"{g.season_sum:g}",
                    f"{g.pick_sum:g}" if g.pick_sum else "",
                    g.hardiness,
                )
                for g in varieties.groups
            ],
        ),
        f"Sources: bloom: {sources['bloom_sum']}; days: {sources['days']}; season: "
        f"{sources['season_sum']}; hardiness: {sources['hardiness']}.",
        table(
            ("stage", "of the bloom sum", "kills a tenth [°C]", "nine tenths [°C]"),
            [
                (
                    f"{s.name}{f' ({s.kinds})' if s.kinds else ''}",
                    f"{s.share:.2f}",
                    f"{s.t10:g}",
                    f"{s.t90:g}",
                )
                for s in varieties.stages
            ],
        ),
        f"Sources: limits: {sources['t10']}; shares: {sources['share']}.",
        table(
            ("stock", "in the row [m]", "height [m]", "full crop, year", "crop [kg]"),
            [
                (
                    v.name,
                    f"{v.spacing[0]:g} to {v.spacing[1]:g}",
                    f"{v.height:g}",
                    v.full_crop_year,
                    f"{v.crop:g}",
                )
                for v in varieties.vigours
            ],
        ),
        f"Source: {sources['yield_kg']}.",
    ]


def write_fruit() -> str:
    """Write the page of fruit."""
    parts = [
        "One TOML file a fruit, in `sitekit/fruit/catalogue/`. To change a "
        "number, copy "
        "a file into a folder of your own, edit it, and name the folder as "
        "`[fruit] folder` in the site file: your files come first. A file with a new "
        "name is a new fruit, asked for by that name in `kinds`.",
        "Each `[[factor]]` reads one layer. `rising` and `falling` curves have two "
        'points, `hump` has four; `unit = "%"` gives slopes in per cent. `floor` is '
        "the lowest membership: above 0 the factor alone refuses no ground. `lack` is "
        "the class of ground that falls short (membership below 0.7). `say` is the "
        "reason in words; in it `{value}` is the value at that place. How "
        "scores become "
        "classes: [classes](../method/classes.md).",
        "`[[group]]` are varieties that bloom, ripen and stand the winter alike; "
        "`[[stage]]` are the stages of the flower with the half hour of frost that "
        "kills a tenth and nine tenths; `[[vigour]]` is the size on stocks of some "
        "strength. Heat sums are over 5 °C by a single sine, from 1 March (south: 1 "
        "September). A file without groups is valid: its ground is judged, and "
        "nothing is told in years. `[sources]` says where the numbers of a key come "
        "from. Classes of hardiness, wood / buds / roots in °C: "
        + "; ".join(
            f"{name} {h.wood:g} / {h.bud:g} / {h.root:g}"
            for name, h in HARDINESS.items()
        )
        + " (common practice, no source).",
    ]
    for name in fruit_names():
        fruit = read_fruit(name)
        parts.append(f"## {fruit_name(name).capitalize()} (`{name}`)")
        parts.append(
            f"{fruit.spacing:g} m in the row, {fruit.row_spacing:g} m between rows. "
            f"Source: {fruit.spacing_source}."
        )
        parts.append(
            table(
                ("layer", "curve", "points", "floor", "falls short", "source"),
                [
                    (
                        f"`{f.layer}`",
                        f.curve,
                        " to ".join(f"{p:.3g}" for p in f.points),
                        f"{f.floor:g}",
                        SITE_CLASSES[f.lack],
                        f.source,
                    )
                    for f in fruit.factors
                ],
            )
        )
        if fruit.varieties:
            parts += varieties_of(fruit.varieties)
    return page("Fruit", *parts)


def columns_of(name: str, schema: Schema) -> tuple[str, ...]:
    """Describe one vector input in a row."""
    columns = [
        f"`{c}` ({column.meaning}{': ' if column.choices else ''}"
        f"{', '.join(column.choices)})"
        for c, column in schema.columns.items()
    ]
    if schema.free:
        columns.append("others are kept")
    return (
        f"`{name}`",
        schema.meaning,
        ", ".join(schema.shapes),
        "; ".join(columns),
        schema.adds.removeprefix("would ") or "needed",
    )


def write_site_file() -> str:
    """Write the page of the site file."""
    parts = [
        "`sitekit new DIR` writes one with a comment at every key. Paths are relative "
        "to it. An unknown key is an error that names the nearest known one; all "
        "mistakes are told at once. Points are `[lon, lat]` or `[lon, lat, "
        "elevation_m]`; only `corners` is lat, lon. Any vector file may be "
        '`{file = "holding.gpkg", layer = "mere"}`; a bare file name means its only '
        "layer, else the layer named as the key.",
    ]
    for name, section in SiteModel.model_fields.items():
        parts.append(f"## `[{name}]`")
        kind = section.annotation
        if not (isinstance(kind, type) and issubclass(kind, BaseModel)):
            example = (section.examples or [""])[0]
            parts.append(f"{section.description} As in `{example}`.")
            continue
        rows = [
            (f"`{key}`", item.description, f"`{(item.examples or [''])[0]}`")
            for key, item in kind.model_fields.items()
        ]
        parts.append(table(("key", "what it is", "for example"), rows))
    parts += [
        "In `[need]` any fruit may stand with kilograms a year, or as `pear = {kg = "
        '900, use = "dried", group = "autumn"}`; uses are fresh, stored, juice, '
        "dried. In `[limits]` money, mulch, days and trees are a number for every "
        "year, or a list by year whose last holds on. A survey plans the planting "
        "where `[need]` or `[limits]` is given and a block is better than *test "
        "first*. The example beside each key is its default; money has no unit.",
        "## What the vector files hold",
        "Any vector file that GDAL reads, in any coordinate system. Columns that are "
        "missing take a default, and doubtful ones are said.",
        table(
            ("input", "what it is", "shapes", "columns", "what it adds"),
            [
                columns_of("field", FIELD),
                *(columns_of(name, schema) for name, schema in SCHEMAS.items()),
            ],
        ),
        "## Kinds of ground cover",
        table(
            (
                "`kind`",
                "cold air made, against short grass",
                "colder than the air above [K]",
                "drag",
                "night minimum at 1.5 m [degC]",
            ),
            [
                (listed(c.names), c.production, c.deficit, c.drag, f"{c.warmth:+g}")
                for c in COVERS
            ],
        ),
    ]
    return page("Site file", *parts)


def write_commands() -> str:
    """Write the page of commands."""
    group = typer.main.get_command(app)
    parts = [
        f"{app.info.help} `sitekit --version` tells the version; `python -m "
        "sitekit` is "
        "the same command.",
        "Exit status: 0 done; 2 bad input or bad usage, with one sentence a "
        "mistake and "
        "nothing written; 1 a bug. Progress is shown on a terminal only. An "
        "option that "
        "takes several values is repeated.",
    ]
    for name, command in group.commands.items():  # type: ignore[attr-defined]
        parts.append(f"## `sitekit {name}`")
        parts.append(str(command.help).strip())
        parts.append(f"```\n{str(command.epilog).removeprefix('Example: ')}\n```")
        rows = []
        for parameter in command.params:
            if parameter.param_type_name == "argument":
                shown = parameter.name.upper()
            else:
                shown = ", ".join(parameter.opts)
            rows.append((f"`{shown}`", getattr(parameter, "help", "") or ""))
        parts.append(table(("argument or option", "what it is"), rows))
    return page("Commands", *parts)


PAGES: dict[str, Callable[[], str]] = {
    "layers.md": write_layers,
    "settings.md": write_settings,
    "fruit.md": write_fruit,
    "site-file.md": write_site_file,
    "commands.md": write_commands,
}


def lagging() -> list[str]:
    """Name the pages that are not what the code says."""
    return [
        name
        for name, write in PAGES.items()
        if not (FOLDER / name).is_file()
        or (FOLDER / name).read_text(encoding="utf-8") != write()
    ]


def main(arguments: Sequence[str]) -> None:
    """Write the pages, or check them."""
    if "--check" in arguments:
        late = lagging()
        if late:
            message = f"docs/reference lags: {', '.join(late)}. Run docs/generate.py."
            raise SystemExit(message)
        return
    FOLDER.mkdir(exist_ok=True)
    for name, write in PAGES.items():
        (FOLDER / name).write_text(write(), encoding="utf-8")


if __name__ == "__main__":
    main(sys.argv[1:])
