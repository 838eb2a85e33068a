"""The page of a corrected survey: what the readings changed, and why."""

from math import isfinite

from sitekit import words
from sitekit.measuring.correction import SENSOR
from sitekit.measuring.notes import NOTE_ERROR, NOTE_REACH, NOTES
from sitekit.measuring.revision import Revision
from sitekit.report.markup import Markup, element, items, table
from sitekit.report.sections import section
from sitekit.report.tables import write_date

#: Rows of changed verdicts that are shown.
MOST_CHANGES = 12
#: Shares of the doubt below this are not shown.
LEAST_SHARE = 0.005
#: Loggers further off than this when left out are named. [degC]
FAR = 1.0


def show_revision(revision: Revision | None) -> Markup:
    """Tell what readings and notes changed; nothing for a survey without any.

    Parameters
    ----------
    revision : Revision or None
        What changed.

    Returns
    -------
    page : Markup
        A section that begins a page.
    """
    if revision is None:
        return Markup("")
    title = "What the readings changed"
    summary = element("p", revision.summary, class_="headline")
    remarks = [
        f"{words.sentence(r.about)[:-1]}: {r.text}."
        for r in revision.remarks
        if r.kind in ("mended", "doubtful")
    ]
    told = [element("h3", "About the readings"), items(remarks)] if remarks else []
    if not revision.changed:
        return section(title, summary, *told, class_="new-page")
    return section(
        title,
        summary,
        _basis(revision),
        element("h3", "Verdicts that changed"),
        _changes(revision),
        *_loggers(revision),
        *_notes(revision),
        element("h3", "Which input matters most now"),
        _weights(revision),
        element("h3", "What would change this map again"),
        items(_decisive(revision), "ol"),
        *told,
        class_="new-page",
    )


def _basis(revision: Revision) -> Markup:
    texts = []
    if len(revision.loggers):
        texts.append(
            f"Night minima against {revision.reference}, on clear still nights told by "
            f"{revision.chosen_by}. A reading counts to ±{SENSOR} °C and the spread of "
            "its nights."
        )
    counted = int(revision.notes["counts"].sum())
    if counted:
        texts.append(
            f"{words.counted(counted, 'note')} against the map count as weak readings, "
            f"to ±{NOTE_ERROR} °C each. Notes of one kind from one night, "
            f"and notes within {NOTE_REACH:.0f} m of each other, share most of that "
            "error: ten at one place weigh little more than two. Common practice, no "
            "source."
        )
    return element("p", " ".join(texts))


def _changes(revision: Revision) -> Markup:
    rows = [
        (
            f"Block {row['block']}, {words.fruit_name(str(row['fruit']))}",
            str(row["before"]),
            str(row["after"]),
            words.area(float(row["area_m2"])),
            words.sentence(str(row["reason"])),
        )
        for row in revision.changes.head(MOST_CHANGES).to_dict("records")
    ]
    if not rows:
        return element("p", "No verdict changed.")
    more = len(revision.changes) - len(rows)
    note = f" {more} smaller changes are not shown." if more > 0 else ""
    caption = f"Numbers are those of the blocks before the readings.{note}"
    heads = ("Ground", "Before", "Now", "Area", "Why")
    return table(
        heads, rows, caption=caption, label="Verdicts that changed", class_="plain"
    )


def _loggers(revision: Revision) -> list[Markup]:
    """Show observed and modelled, before and after, and the error left out."""
    if revision.loggers.empty:
        return []

    def told(value: object) -> str:
        return words.number(float(str(value)), 1)

    rows = [
        (
            str(row["logger"]),
            str(row["nights"]),
            f"{told(row['observed_degc'])} ({told(row['low_degc'])} to "
            f"{told(row['high_degc'])})",
            told(row["modelled_before_degc"]),
            told(row["modelled_after_degc"]),
            told(row["left_out_error_degc"]),
        )
        for row in revision.loggers.to_dict("records")
    ]
    heads = (
        "Logger",
        "Nights",
        "Seen, and 20 to 80 % of nights",
        "Map before",
        "Map now",
        "Error when left out",
    )
    far = revision.loggers["left_out_error_degc"].abs() > FAR
    which = words.listed([str(n) for n in revision.loggers.loc[far, "logger"]])
    note = f" Without its own reading the map misses {which} by more." if which else ""
    caption = (
        "All in °C. Left out: the map made from all other loggers, less what this "
        f"one read; ±{words.number(revision.left_out, 1)} °C over all.{note}"
    )
    return [
        element("h3", "Loggers"),
        table(heads, rows, caption=caption, label="Loggers"),
    ]


def _notes(revision: Revision) -> list[Markup]:
    """Show what each note says, and the map before and after."""
    if revision.notes.empty:
        return []

    def told(value: object) -> str:
        return words.number(float(str(value)), 1)

    rows = [
        (
            f"{words.sentence(str(row['kind']))[:-1]}, {write_date(row['date'])}",
            str(row["text"]),
            f"{told(row['says_degc'])} or {_way(str(row['kind']))}",
            told(row["before_degc"]),
            told(row["after_degc"]) if row["counts"] else "the map bears it out",
        )
        for row in revision.notes.to_dict("records")
    ]
    heads = ("Note", "In your words", "Says", "Map before", "Map now")
    caption = "All in °C on clear still nights, against the reference place."
    return [
        element("h3", "Notes"),
        table(heads, rows, caption=caption, label="Notes"),
    ]


def _way(kind: str) -> str:
    """Say to which side a note leaves room."""
    return "colder" if NOTES[kind] < 0 else "milder"


def _weights(revision: Revision) -> Markup:
    """Show the share of each input in the doubt that is left, as bars."""
    rows = []
    for row in revision.weights.to_dict("records"):
        share = float(row["share"])
        if share < LEAST_SHARE:
            continue
        weight = float(row["after"])
        spread = words.number(float(row["spread"]), 2)
        now = f"{words.number(weight, 2)} ± {spread}" if isfinite(weight) else "–"
        bar = element("meter", value=f"{share:.3f}", min="0", max="1")
        whole = element("span", bar, f" {words.number(100 * share)} %")
        rows.append((str(row["term"]), now, whole))
    return table(
        ("Input", "Its weight now (1 before)", "Share of the doubt left"),
        rows,
        caption="The mean over the field; the longest bar is what to measure next.",
        label="Which input matters most",
    )


def _decisive(revision: Revision) -> list[str]:
    """List what would change the map, the most decisive first."""
    texts = {
        "what no term explains": "More loggers on the ground that is to be planted: "
        "each speaks for about a hundred metres around.",
        "height above the low ground": "One more logger 20 to 40 m above "
        "the lowest ground.",
        "pools and paths of cold air": "A logger in the deepest frost pocket and one "
        "at its rim.",
        "openness of hedges and walls": "Look through the lowest metre of each hedge "
        "at bloom.",
        "the lake": "A logger at the shore and one 300 m inland at the same height.",
        "ground cover": "Draw what grows on the ground.",
    }
    order = [str(term) for term in revision.weights["term"]]
    return [texts[t] for t in order if t in texts][:4]
