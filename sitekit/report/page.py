"""One page of HTML that needs nothing else: its head, its foot, its style."""

from base64 import b64encode
from datetime import date
from hashlib import sha256
from importlib.resources import files

from sitekit.report.markup import Markup, css_text, element
from sitekit.report.swatches import swatch_rules

#: Letters of a name that the foot of a page holds.
FOOT_NAME = 50


def make_page(title: str, purpose: str, style: str, main: Markup) -> str:
    """Make a page; the same content gives the same text.

    Parameters
    ----------
    title, purpose : str
        Its title, and what stands below it.
    style : str
        Style sheet, see `make_style`.
    main : Markup
        What the page holds.

    Returns
    -------
    page : str
        HTML that asks nothing of any network.
    """
    head = element(
        "head",
        element("meta", charset="utf-8"),
        element("meta", http_equiv="Content-Security-Policy", content=_policy(style)),
        element("meta", name="viewport", content="width=device-width, initial-scale=1"),
        element("title", title),
        element("link", rel="icon", href="data:,"),
        element("style", Markup(style)),
    )
    heading = element(
        "header", element("h1", title), element("p", purpose, class_="purpose")
    )
    page = element("html", head, element("body", heading, main), lang="en-GB")
    return f"<!DOCTYPE html>\n{page}\n"


def make_style(name: str, stamp: str, today: date, more: tuple[str, ...] = ()) -> str:
    """Make a style sheet, with the foot of the pages and the little pictures.

    Parameters
    ----------
    name : str
        Of the site, for the foot.
    stamp : str
        What the page rests on; its first statement stands in the foot.
    today : date
        Date on the sheet.
    more : tuple of str
        Style sheets of ``report/page`` besides that of the report.
    """
    folder = files("sitekit.report").joinpath("page")
    sheets = [folder.joinpath(s).read_text("utf-8") for s in ("report.css", *more)]
    short = name if len(name) <= FOOT_NAME else f"{name[: FOOT_NAME - 1]}…"
    foot = css_text(f"{short}, {write_day(today)}. {_first_statement(stamp)}")
    return "".join(sheets).replace("FOOT", foot) + swatch_rules()


def write_day(when: date) -> str:
    """Write a date for people.

    Examples
    --------
    >>> write_day(date(2026, 11, 25))
    '25 November 2026'
    """
    return f"{when.day} {when:%B} {when.year}"


def _first_statement(stamp: str) -> str:
    """Cut a text at its first full stop or semicolon, never within a figure."""
    return stamp.partition("; ")[0].partition(". ")[0].removesuffix(".")


def _policy(style: str) -> str:
    """Allow this style and pictures within the file, and nothing else."""
    digest = b64encode(sha256(style.encode("utf-8")).digest()).decode()
    return f"default-src 'none'; img-src data:; style-src 'sha256-{digest}'"
