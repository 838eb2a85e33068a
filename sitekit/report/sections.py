"""The sections of the report, each one heading and what stands under it."""

from base64 import b64encode
from collections.abc import Iterable, Mapping, Sequence
from importlib.metadata import version
from itertools import pairwise

from sitekit import words
from sitekit.cartography import styles
from sitekit.cartography.drawing import write_figure
from sitekit.cartography.notes import list_cautions, tell_use
from sitekit.report import cross_section, ground_map, tables
from sitekit.report.blocks import Block
from sitekit.report.markup import Markup, element, items, join
from sitekit.report.swatches import swatch
from sitekit.results import Survey

#: A table of more blocks than this may go over a page.
MOST_WHOLE = 12
#: Trees and notes for the map that are told in full.
MOST_FOR = 3
#: Letters of a checksum that are printed.
SHORT = 12


def section(title: str, *content: str, class_: str = "") -> Markup:
    """Make a section; nothing where it holds nothing."""
    inside = join(content)
    if not inside:
        return Markup("")
    given = {"class_": class_} if class_ else {}
    return element("section", element("h2", title), inside, **given)


def answer(survey: Survey) -> Markup:
    """Tell the answer: one sentence in large type, then where, which, not there."""
    told = survey.answer
    lines = (
        ("Where", told.where),
        ("Which fruit", told.fruit),
        ("Not there", told.not_there),
    )
    rows = [
        element("div", element("dt", name), element("dd", words.sentence(text)))
        for name, text in lines
        if text
    ]
    return section(
        "The answer",
        element("p", words.sentence(told.headline), class_="headline"),
        element("dl", *rows) if rows else "",
        element("p", words.sentence(told.stamp), class_="stamp"),
        class_="whole",
    )


def before_you_spend(survey: Survey) -> Markup:
    """Tell what to measure first, at most three things."""
    texts = [
        join(
            [
                element("strong", f"{m.what.rstrip('.')}."),
                " ",
                words.sentence(m.decides),
            ]
        )
        for m in survey.answer.measures[:3]
    ]
    return section("Before you spend", items(texts, "ol"), class_="whole")


def which_fruit(survey: Survey, blocks: Sequence[Block], shown: int) -> Markup:
    """Show block and fruit, the best blocks only."""
    if not blocks:
        return section("Which fruit where", element("p", "No block was found."))
    note = "“?”: nobody has dug there; neither good nor bad."
    if tables.find_years(survey):
        note = f"Under the class: poor-crop years in ten, with their range. {note}"
    if len(blocks) > shown:
        note = f"The best {shown} of {len(blocks)} blocks; the rest follow. {note}"
    made = list(tables.fruit_tables(survey, blocks[:shown], "Which fruit where"))
    more = [element("p", note, class_="quiet")]
    return section("Which fruit where", *made[:1], *more, class_="whole")


def other_fruit(survey: Survey, blocks: Sequence[Block], shown: int) -> Markup:
    """Show blocks and fruit that page one has no room for."""
    label = "Which fruit where, continued"
    wide = list(tables.fruit_tables(survey, blocks[:shown], label))[1:]
    rest = list(tables.fruit_tables(survey, blocks[shown:], label))
    return section("Other blocks and fruit", *wide, *(rest if blocks[shown:] else []))


def the_ground(survey: Survey, blocks: Sequence[Block]) -> Markup:
    """Show the map and the section through the best block."""
    bounds = ground_map.find_bounds(survey)
    about = (
        "Each block as its best fruit finds it. The teeth of a frost pocket point "
        "inward; arrows: cold air running downhill on clear still nights."
        f"{_height_step(survey)} {tell_use(survey)}"
    )
    figures = [
        figure(
            write_figure(ground_map.draw_map(survey)),
            _describe_map(survey, blocks),
            "The holding.",
            about,
            key=_key(survey, blocks),
        )
    ]
    found = cross_section.find_section(survey, blocks[0], bounds) if blocks else None
    if found is not None:
        about = _describe_section(found)
        drawn = cross_section.draw_section(survey, found, list(blocks))
        title = f"Section {found.direction} through block {blocks[0].number}."
        figures.append(figure(write_figure(drawn), f"{title} {about}", title, about))
    return section("The ground", *figures, class_="new-page")


def _height_step(survey: Survey) -> str:
    heights = (
        sorted(set(survey.contours["elevation_m"])) if len(survey.contours) else []
    )
    if len(heights) < 2:
        return ""
    step = min(b - a for a, b in pairwise(heights))
    digits = 0 if step == int(step) else 1
    return f" Height lines every {words.with_unit(step, 'm', digits)}."


def figure(svg: bytes, alt: str, title: str, about: str, key: str = "") -> Markup:
    """Set a drawing with its caption.

    Parameters
    ----------
    svg : bytes
        The drawing.
    alt : str
        What it shows, for those who listen.
    title, about : str
        Caption: a few words in bold, and the rest.
    key : str
        The key under it.
    """
    data = f"data:image/svg+xml;base64,{b64encode(svg).decode()}"
    image = element("div", element("img", src=data, alt=alt), class_="scrolls")
    caption = element("figcaption", element("strong", title), " ", about, key)
    return element("figure", image, caption)


def _describe_map(survey: Survey, blocks: Sequence[Block]) -> str:
    told = [f"block {b.title}, {b.best_class}" for b in blocks]
    pockets = len(survey.frost_pockets)
    held = f"{pockets} frost pocket{'' if pockets == 1 else 's'}" if pockets else ""
    parts = [f"Map of {survey.site.name}", *told, *([held] if held else [])]
    return f"{'; '.join(parts)}."


def _describe_section(found: cross_section.Section) -> str:
    stretch = (
        "Heights and lengths are drawn alike."
        if found.stretch == 1
        else f"Heights are drawn {found.stretch} times as large as lengths."
    )
    if found.pool_depth == 0:
        return f"No held cold air was found on this line. {stretch}"
    deep = words.with_unit(found.pool_depth, "m", 1)
    return (
        f"Lined: cold air held on a clear still night, {deep} at the deepest. {stretch}"
    )


def _key(survey: Survey, blocks: Sequence[Block]) -> Markup:
    """Say what each pattern and line of the map is; only what is drawn."""
    present = {b.best_class for b in blocks}
    patterns = [
        join([swatch(s.name), s.name])
        for s in reversed(styles.CLASS_STYLES)
        if s.name in present
    ]
    lines = [
        join([swatch(name, line=True), label])
        for name, label in _signs(survey).items()
        if label
    ]
    return items([*patterns, *lines], class_="key")


def _signs(survey: Survey) -> dict[str, str]:
    """Name the lines and marks of the map; no name where none is drawn."""
    site = survey.site
    trees = set(survey.existing_trees["condition"])
    reference = site.reference.name if site.reference else ""
    drawn = {
        **dict.fromkeys(ground_map.list_signs(survey), True),
        "height line": not survey.contours.empty,
        "tree, thriving": "thriving" in trees,
        "tree, dead": "dead" in trees,
        "tree, weak": bool(trees - {"thriving", "dead"}),
        "your note": not survey.notes.empty,
    }
    named = {name: name for name, shown in drawn.items() if shown}
    night = f"{reference}, what nights are told against" if reference else ""
    return named | {"reference": night}


def ground_by_block(survey: Survey, blocks: Sequence[Block]) -> Markup:
    """Show the middle values of each block."""
    if not blocks:
        return Markup("")
    note = "Middle of each block, except where it says deepest."
    return section(
        "The ground by block",
        tables.ground_table(survey, blocks),
        element("p", note, class_="quiet"),
        class_=_kept_whole(blocks),
    )


def _kept_whole(blocks: Sequence[Block]) -> str:
    """Keep a short table on one page."""
    return "whole" if len(blocks) <= MOST_WHOLE else ""


def why(blocks: Sequence[Block]) -> Markup:
    """Give the reason of each class."""
    if not blocks:
        return Markup("")
    return section("Why", tables.reason_table(blocks), class_=_kept_whole(blocks))


def trees_and_notes(survey: Survey) -> Markup:
    """Set the grower's trees and notes against the map, contradictions first."""
    against, agree = survey.answer.contradictions, survey.answer.agreements
    parts = []
    if against:
        title = element("h3", "Against the map: the test you can make today")
        parts += [title, items(map(words.sentence, against), class_="against")]
    if agree:
        told = [words.sentence(text) for text in agree[:MOST_FOR]]
        if len(agree) > MOST_FOR:
            told.append(f"And {len(agree) - MOST_FOR} more in the table.")
        parts += [element("h3", "For the map"), items(told)]
    if len(survey.existing_trees):
        parts.append(tables.tree_table(survey))
    if len(survey.notes):
        parts.append(tables.note_table(survey))
    return section("Your own trees and notes", *parts)


def not_known(survey: Survey) -> Markup:
    """Tell what is not known, what was assumed, and what more would add."""
    parts = [items(map(words.sentence, survey.answer.unknowns))]
    for kind, title in (
        ("doubtful", "Doubtful: what was assumed"),
        ("missing", "Missing: what it would add"),
    ):
        told = _remarks(survey, kind)
        parts += [element("h3", title), items(told)] if told else []
    absent = _absent(survey.absent)
    if absent:
        parts += [element("h3", "Not made, and what each would need"), items(absent)]
    return section("Not known", *parts)


def _remarks(survey: Survey, kind: str) -> list[str]:
    return [
        words.sentence(f"{r.about.replace('_', ' ')}: {r.text}")
        for r in survey.site.remarks
        if r.kind == kind
    ]


def _absent(absent: Mapping[str, str]) -> list[str]:
    """Group the layers that were not made by what they need."""
    together: dict[str, list[str]] = {}
    for layer, need in absent.items():
        together.setdefault(need, []).append(layer)
    return [
        words.sentence(
            f"{tables.list_layers([tables.name_layer(name) for name in layers])}: "
            f"needs {need}"
        )
        for need, layers in together.items()
    ]


def resolution(survey: Survey) -> Markup:
    """Tell what this elevation can show."""
    told = survey.answer.resolution
    return section(
        "What this elevation can show",
        element("p", words.sentence(told)) if told else "",
    )


def cautions(survey: Survey) -> Markup:
    """List the cautions that apply."""
    told = list_cautions(survey) if survey.answer.cautions else []
    return section("Cautions", items(map(words.sentence, told)))


def sources(survey: Survey) -> Markup:
    """Tell where everything comes from, so that it can be checked."""
    lists = (
        ("Files", [f"{name}, sha256 {sha[:SHORT]}" for name, sha in _files(survey)]),
        ("Elevation", _elevation(survey)),
        ("Changed while reading", _remarks(survey, "mended")),
        ("Settings that differ", _settings(survey.site.settings)),
        ("Methods", _methods(survey)),
    )
    parts: list[str] = []
    for title, texts in lists:
        parts += [element("h3", title), items(texts)] if texts else []
    made = element("p", f"Made with sitekit {version('sitekit')}.")
    return section("Where it comes from", *parts, made, class_="sources")


def _files(survey: Survey) -> Iterable[tuple[str, str]]:
    return sorted(survey.site.inputs.items())


def _elevation(survey: Survey) -> list[str]:
    model, grid = survey.site.model, survey.site.grid
    kind = "bare ground" if model.surface == "ground" else "top of what stands on it"
    cell = words.with_unit(model.source_cell, "m", 1).replace(".0", "")
    noise = words.with_unit(model.noise, "m", 2)
    told = [
        f"{words.listed(model.sources)}: {kind}, a height every {cell}, "
        f"noise ±{words.NO_BREAK}{noise}.",
        f"Grid: {grid.crs.name}, cells of "
        f"{words.with_unit(grid.cell_size, 'm', 1).replace('.0', '')}.",
    ]
    return [*told, *([model.attribution] if model.attribution else [])]


def _settings(settings: Mapping[str, object]) -> list[str]:
    return [f"{name}: {value}" for name, value in sorted(settings.items())]


def _named(layers: list[str], survey: Survey) -> str:
    """Name layers; the night is told against the reference place of this site."""
    named = tables.list_layers(layers)
    return named.replace("the station", survey.site.reference_name)


def _methods(survey: Survey) -> list[str]:
    """Group the layers by the published source of their method."""
    together: dict[str, list[str]] = {}
    for name, layer in survey.layers.data_vars.items():
        reference = str(layer.attrs.get("reference", "")).replace("degC", "°C")
        if reference:
            shown = tables.name_layer(str(name), str(layer.attrs.get("long_name", "")))
            together.setdefault(reference, []).append(shown)
    return [
        words.sentence(f"{_named(layers, survey)}: {reference}")
        for reference, layers in together.items()
    ]
