"""Markup that escapes by construction: text is text until an element holds it."""

from collections.abc import Iterable
from html import escape

from sitekit.cartography.ties import tie_units

#: Elements that have no end.
VOID = ("img", "meta", "link", "br")


class Markup(str):
    """Text that is markup already and is not escaped again."""

    __slots__ = ()


def join(parts: Iterable[str]) -> Markup:
    """Put parts one after another; those that are not markup are escaped and tied."""
    return Markup(
        "".join(
            part if isinstance(part, Markup) else escape(tie_units(part))
            for part in parts
        )
    )


def element(tag: str, *children: str, **attributes: str) -> Markup:
    """Make an element.

    Parameters
    ----------
    tag : str
        Its name.
    *children : str
        What it holds; escaped unless it is `Markup`.
    **attributes : str
        Its attributes; an underscore at the end is dropped (``class_``), one
        within becomes a hyphen.

    Examples
    --------
    >>> element("p", "2 < 3", class_="note")
    '<p class="note">2 &lt; 3</p>'
    """
    given = "".join(
        f' {name.rstrip("_").replace("_", "-")}="{escape(value)}"'
        for name, value in attributes.items()
    )
    end = "" if tag in VOID else f"{join(children)}</{tag}>"
    return Markup(f"<{tag}{given}>{end}")


def items(texts: Iterable[str], tag: str = "ul", **attributes: str) -> Markup:
    """Make a list, or nothing where there is nothing to list."""
    made = [element("li", text) for text in texts]
    return element(tag, *made, **attributes) if made else Markup("")


def table(
    heads: Iterable[str],
    rows: Iterable[Iterable[str]],
    *,
    caption: str = "",
    label: str = "",
    class_: str = "",
) -> Markup:
    """Make a table; the first cell of each row is its head.

    Parameters
    ----------
    heads : iterable of str
        Heads of the columns.
    rows : iterable of iterable of str
        Cells, row by row.
    caption : str
        Stands under it, for all to read.
    label : str
        Its name for those who listen to it.
    class_ : str
        How it is laid out.
    """
    head = element("tr", *(element("th", text, scope="col") for text in heads))
    body = []
    for first, *rest in rows:
        cells = [element("td", text) for text in rest]
        body.append(element("tr", element("th", first, scope="row"), *cells))
    made = element(
        "table",
        *([element("caption", caption)] if caption else []),
        element("thead", head),
        element("tbody", *body),
        aria_label=label or caption,
    )
    return element("div", made, class_=f"scrolls {class_}".strip())


def css_text(text: str) -> str:
    r"""Write a text as a string of a style sheet, letter by letter where needed.

    Examples
    --------
    >>> css_text('A "b"')
    '"A \\22 b\\22 "'
    """
    made = [
        letter if letter.isalnum() or letter in " .,:-" else f"\\{ord(letter):x} "
        for letter in text
    ]
    return f'"{"".join(made)}"'
