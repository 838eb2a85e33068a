"""The page that shows what proposals do: one file that needs nothing else."""

from base64 import b64encode
from collections.abc import Sequence
from datetime import date
from importlib.metadata import version
from pathlib import Path

import pandas as pd

from sitekit import words
from sitekit.cartography.drawing import write_figure
from sitekit.errors import OutputError
from sitekit.report import comparison_maps as maps
from sitekit.report.blocks import written
from sitekit.report.comparison_key import NO_CHANGE, key_rules, show_key
from sitekit.report.markup import Markup, element, items, join, table
from sitekit.report.page import make_page, make_style, write_day
from sitekit.report.sections import section
from sitekit.results import Change, Comparison
from sitekit.site import Site

STAMP = (
    "From terrain only. No thermometer has stood on this ground yet: night figures may "
    "be out by 1.5 °C."
)
NOTHING = "none found"
#: A verdict, as `Change.verdict` writes it.
WORSE = "worse"
#: Heads of the table of all proposals.
HEADS = (
    "Proposal",
    "What is done",
    "Verdict",
    "Field milder",
    "Field colder",
    "Mean change of the ground asked about",
    "Who receives the air",
)
CAUTIONS = (
    "Do not send cold air to a neighbour or towards a house without agreement, and put "
    "thermometers on both sides before a barrier is opened.",
    "Before any digging, a bank or a drain included, ask the national one-call service "
    "and every owner of pipes and cables. Empty ground on this page proves nothing. "
    "Stop at anything unknown.",
    "Felling and hedge work wait until nests are empty. Saw and chipper are for "
    "trained people with protective gear; hung and wind-thrown trees for "
    "professionals.",
    "Cutting a hedge, felling, filling and ditching may need a permit, near water, "
    "roads and monuments above all: ask first. The local code decides.",
    "This is planning help. Survey, digging, felling and questions of law go to the "
    "licensed practice of the place.",
    "Not for setting out: places on these maps are good to some metres only.",
)
LIMITS = (
    "A gap in the wrong place still helps within about 30 m of itself. That is no cure "
    "of the pool, and that ground stays out of the verdict where the pool reaches "
    "further.",
    "Differences are surer than the figures themselves, because what is not known is "
    "the same before and after. Trust which proposal is the better one more than how "
    "many degrees it brings.",
    "A leaky hedge gains little from an opening: the air runs through it already. How "
    "open the hedge stands at bloom decides most; look before cutting.",
    "Clear still nights only. No change means that frost stays away.",
)


def write_comparison(comparison: Comparison, path: Path, *, today: date) -> None:
    """Write the page that shows what proposals do.

    Parameters
    ----------
    comparison : Comparison
        The proposals that were tried.
    path : Path
        File to write, ``compare.html``.
    today : date
        Date on the sheet.

    Raises
    ------
    OutputError
        Where the file cannot be written.
    """
    try:
        path.write_bytes(make_comparison(comparison, today=today).encode("utf-8"))
    except OSError as error:
        message = f"{path}: the comparison cannot be written ({error.strerror})."
        raise OutputError(message) from error


def make_comparison(comparison: Comparison, *, today: date) -> str:
    """Make the page; the same comparison gives the same text.

    Parameters
    ----------
    comparison : Comparison
        The proposals that were tried.
    today : date
        Date on the sheet.
    """
    site = comparison.site
    style = make_style(site.name, STAMP, today, ("comparison.css",)) + key_rules()
    title = f"{site.name}: what each change does"
    purpose = f"{write_day(today)}. Planning help, not for setting out."
    return make_page(title, purpose, style, _main(comparison))


def _main(comparison: Comparison) -> Markup:
    changes = comparison.changes
    return element(
        "main",
        _answer(changes),
        _proposals(changes),
        *(_show_change(comparison, i) for i in range(len(changes))),
        section("Cautions", items(CAUTIONS)),
        section("How far to trust it", items(LIMITS)),
        _sources(comparison.site),
    )


def _answer(changes: Sequence[Change]) -> Markup:
    """Tell the best change in one sentence, then those that fail, then the stamp."""
    best = changes[0].sentence if changes else "No proposal was tried."
    return section(
        "The answer",
        element("p", words.sentence(best), class_="headline"),
        *(element("p", text) for text in _name_failed(changes[1:])),
        element("p", STAMP, class_="stamp"),
        class_="whole",
    )


def _name_failed(changes: Sequence[Change]) -> list[str]:
    """Name the proposals that do not help."""
    told = []
    for verdict, text in (
        (NO_CHANGE, "Tried too, no change found"),
        (WORSE, "Tried too, and worse than now"),
    ):
        names = [change.name for change in changes if change.verdict == verdict]
        told += [f"{text}: {words.listed(names)}."] if names else []
    return told


def _proposals(changes: Sequence[Change]) -> Markup:
    """List all proposals, so that a reader sees which is worth the work."""
    if not changes:
        return Markup("")
    rows = [_proposal(change, number) for number, change in enumerate(changes, start=1)]
    half = words.offset(maps.LEAST).lstrip("+")
    note = (
        f"Clear still night. Milder, colder: field ground by {half} or more. Ground "
        "asked about: the cold pool that the proposal should free, or the field near "
        "it where there is none; the maps outline it. Its mean is told to half a "
        f"degree; a smaller one is written ±0{words.NO_BREAK}°C."
    )
    return section(
        "All proposals",
        table(HEADS, rows, label="All proposals"),
        element("p", note, class_="quiet"),
        class_="proposals",
    )


def _proposal(change: Change, number: int) -> list[str]:
    return [
        element("a", change.name, href=f"#change-{number}"),
        maps.name_action(change),
        change.verdict,
        _area(change.ground_milder_m2),
        _area(change.ground_colder_m2),
        _mean(change),
        change.receiver,
    ]


def _area(square_metres: float) -> str:
    """Write changed ground; none is no figure."""
    return NOTHING if square_metres < 0.5 else words.area(square_metres)


def _mean(change: Change) -> str:
    """Write a mean change and its ±, to half a degree."""
    sure = max(round(change.mean_change_sd * 2) / 2, 0.5)
    return f"{words.offset(change.mean_change_degc)} (±{words.NO_BREAK}{sure:g})"


def _show_change(comparison: Comparison, index: int) -> Markup:
    """Show one change: sentence, maps, key, remarks, parts of the field."""
    change = comparison.changes[index]
    title = element(
        "h2", change.name, element("span", f", {change.verdict}", class_="verdict")
    )
    remarks = items(map(words.sentence, change.remarks), class_="remarks")
    return element(
        "section",
        title,
        element("p", words.sentence(change.sentence), class_="told"),
        _maps(comparison, change),
        join([element("h3", "What else to know"), remarks]) if remarks else "",
        _parts(change),
        class_="change",
        id=f"change-{index + 1}",
    )


def _maps(comparison: Comparison, change: Change) -> Markup:
    site = comparison.site
    bounds = maps.find_window(site, change)
    shown = []
    for name, figure in maps.draw_maps(comparison, change).items():
        data = b64encode(write_figure(figure)).decode()
        alt = maps.describe_map(change, bounds, name)
        image = element("img", src=f"data:image/svg+xml;base64,{data}", alt=alt)
        shown.append(element("div", element("p", maps.MAPS[name]), image))
    caption = element("figcaption", show_key(comparison))
    return element("figure", element("div", *shown), caption, class_="maps")


def _parts(change: Change) -> Markup:
    """Make the table by part of the field."""
    if change.blocks.empty:
        return Markup("")
    rows = [_part(row) for _, row in change.blocks.iterrows()]
    heads = ("Part of the field", "Milder", "Colder", "Mean change")
    return table(heads, rows, label=f"{change.name}, by part of the field")


def _part(row: pd.Series) -> list[str]:
    return [
        written(row["name"]) or "the field",
        _area(row["milder_m2"]),
        _area(row["colder_m2"]),
        words.offset(row["mean_change_degc"]),
    ]


def _sources(site: Site) -> Markup:
    told = [f"{name}, sha256 {sha[:12]}" for name, sha in sorted(site.inputs.items())]
    made = element("p", f"Made with sitekit {version('sitekit')}.")
    return section("Where it comes from", items(told), made, class_="sources")
