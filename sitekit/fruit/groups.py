"""Groups of a fruit's varieties: bloom, ripening, hardiness, bud limits, and size."""

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

from sitekit.errors import nearest
from sitekit.fruit.winter import HARDINESS

#: What a fruit's bloom needs of a second kind, by the word in its file.
PARTNERS = {
    "yes": "needs a second kind in bloom at the same time",
    "better": "sets alone, more with a second kind",
    "no": "sets alone",
}
#: Keys of a fruit file that speak of its groups.
GROUP_KEYS = {"usual", "need", "need_bee_poor", "partner", "chill_hours", "sources"}
TABLES: Mapping[str, set[str]] = {
    "stage": {"name", "share", "t10", "t90", "kinds", "source"},
    "group": {
        "name",
        "bloom_sum",
        "days",
        "season_sum",
        "pick_sum",
        "hardiness",
        "kinds",
        "source",
    },
    "vigour": {
        "name",
        "spacing_m",
        "height_m",
        "full_crop_year",
        "yield_kg",
        "source",
    },
}
OPTIONAL = {"kinds", "pick_sum", "source"}
TEXTS = {"name", "kinds", "hardiness", "source"}
PAIRS = {"days", "spacing_m"}
#: Source of a number in a file that names none.
UNSOURCED = "the grower's own file"


@dataclass(frozen=True)
class Stage:
    """A stage of the flower and the frost that it stands.

    Parameters
    ----------
    name : str
        Name in trade words.
    share : float
        Share of the heat sum of full bloom at which it is reached.
    t10, t90 : float
        Temperature of half an hour that kills a tenth, nine tenths. [degC]
    kinds : str
        Kinds that it holds for; empty for all that have none of their own.
    """

    name: str
    share: float
    t10: float
    t90: float
    kinds: str = ""


@dataclass(frozen=True)
class Group:
    """Varieties of a fruit that bloom, ripen and stand the winter alike.

    Parameters
    ----------
    name : str
        Name in trade words; no variety of the trade.
    bloom_sum : float
        Warmth over 5 degC from 1 March (south: 1 September) to full bloom.
        [degC day]
    days : tuple of float
        From full bloom to picking, from the earliest to the latest kinds. [d]
    season_sum : float
        Warmth over 5 degC that it needs from April to October. [degC day]
    hardiness : str
        Class of winter hardiness, H1 (least) to H5.
    pick_sum : float
        Daily means over 0 degC that it needs from full bloom to picking; 0
        where none is known. [degC day]
    kinds : str
        Which stages of the fruit it has.
    """

    name: str
    bloom_sum: float
    days: tuple[float, float]
    season_sum: float
    hardiness: str
    pick_sum: float = 0.0
    kinds: str = ""

    @property
    def usual_days(self) -> float:
        """Middle of the days from full bloom to picking. [d]."""
        return sum(self.days) / 2


@dataclass(frozen=True)
class Vigour:
    """How large a tree becomes on a stock of some strength.

    Parameters
    ----------
    name : str
        ``very dwarf`` to ``strong``.
    spacing : tuple of float
        Between plants in the row, from and to. [m]
    height : float
        [m]
    full_crop_year : int
        Year after planting of the first full crop.
    crop : float
        Crop of a grown plant in a kind climate. [kg]
    """

    name: str
    spacing: tuple[float, float]
    height: float
    full_crop_year: int
    crop: float


@dataclass(frozen=True)
class Varieties:
    """Everything that a fruit file says of its groups.

    Parameters
    ----------
    usual : str
        Group that maps show.
    need, need_bee_poor : float
        Share of live blossom for a full crop, usually and in springs with few
        bees.
    partner : str
        Key of `PARTNERS`.
    chill_hours : float
        Hours of 0 to 7.2 degC that the least demanding kinds need. [h]
    stages, groups, vigours : tuple
        See `Stage`, `Group`, `Vigour`.
    sources : mapping of str to str
        Where the numbers of a key come from.
    """

    usual: str
    need: float
    need_bee_poor: float
    partner: str
    chill_hours: float
    stages: tuple[Stage, ...]
    groups: tuple[Group, ...]
    vigours: tuple[Vigour, ...]
    sources: Mapping[str, str]

    def group(self, name: str = "") -> Group:
        """Find a group by name, the usual one where none is named."""
        return next(g for g in self.groups if g.name == (name or self.usual))

    def stages_of(self, group: Group) -> tuple[Stage, ...]:
        """List the stages of a group in their order."""
        return tuple(s for s in self.stages if s.kinds == group.kinds)


def parse_varieties(
    table: Mapping[str, Any], file: str
) -> tuple[Varieties | None, list[str]]:
    """Read the groups of a fruit from the tables of its file.

    Parameters
    ----------
    table : mapping
        The file.
    file : str
        Its name, for messages.

    Returns
    -------
    varieties : Varieties or None
        None where the file has no groups, or a mistake.
    mistakes : list of str
        One sentence each.
    """
    if not any(key in table for key in (*TABLES, *GROUP_KEYS)):
        return None, []
    mistakes = [m for kind in TABLES for m in _table_mistakes(table, kind, file)]
    mistakes += _head_mistakes(table, file)
    if mistakes:
        return None, mistakes
    found = Varieties(
        usual=table["usual"],
        need=float(table["need"]),
        need_bee_poor=float(table.get("need_bee_poor", table["need"])),
        partner=table["partner"],
        chill_hours=float(table["chill_hours"]),
        stages=tuple(map(_stage, table["stage"])),
        groups=tuple(map(_group, table["group"])),
        vigours=tuple(map(_vigour, table.get("vigour", []))),
        sources=dict(table.get("sources", {})),
    )
    return found, _order_mistakes(found, file)


def _is_number(value: object) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool)


def _fits(key: str, value: object) -> bool:
    """Tell whether a value is of the kind that its key asks for."""
    if key in TEXTS:
        return isinstance(value, str)
    if key in PAIRS:
        return (
            isinstance(value, list)
            and len(value) == 2
            and all(map(_is_number, value))
            and value[0] <= value[1]
        )
    return _is_number(value)


def _table_mistakes(table: Mapping[str, Any], kind: str, file: str) -> list[str]:
    """List what is wrong with the tables of one kind."""
    mistakes = []
    if kind != "vigour" and not table.get(kind):
        mistakes.append(
            f"{file}: it speaks of groups but has no [[{kind}]]; give at least one."
        )
    for number, entry in enumerate(table.get(kind, []), start=1):
        where = f"{file}, {kind} {number}"
        mistakes += [
            f'{where}: unknown key "{key}".{nearest(key, TABLES[kind])}'
            for key in entry
            if key not in TABLES[kind]
        ]
        lacks = sorted(TABLES[kind] - OPTIONAL - set(entry))
        if lacks:
            mistakes.append(f"{where}: lacks {', '.join(lacks)}.")
        mistakes += [
            f'{where}: "{key}" must be {_wanted(key)}.'
            for key, value in entry.items()
            if key in TABLES[kind] and not _fits(key, value)
        ]
    return mistakes


def _wanted(key: str) -> str:
    """Say what a key asks for."""
    if key in TEXTS:
        return "text"
    return "two rising numbers" if key in PAIRS else "a number"


def _head_mistakes(table: Mapping[str, Any], file: str) -> list[str]:
    """List what is wrong with the keys above the tables."""
    mistakes = []
    need = table.get("need")
    if not _is_number(need) or not 0 < float(need or 0) <= 1:
        mistakes.append(
            f'{file}: "need" is the share of live blossom for a full crop, above 0 '
            "and up to 1."
        )
    if table.get("partner") not in PARTNERS:
        mistakes.append(f'{file}: "partner" is one of {", ".join(PARTNERS)}.')
    if not _is_number(table.get("chill_hours")):
        mistakes.append(f'{file}: "chill_hours" must be a number of hours.')
    names = [g.get("name") for g in table.get("group", [])]
    if table.get("usual") not in names:
        mistakes.append(f'{file}: "usual" must name one of its groups.')
    mistakes += [
        f'{file}, group {number}: "hardiness" is one of {", ".join(HARDINESS)}.'
        for number, group in enumerate(table.get("group", []), start=1)
        if group.get("hardiness") not in HARDINESS
    ]
    return mistakes


def _order_mistakes(varieties: Varieties, file: str) -> list[str]:
    """List stages out of order and limits that cannot be: a misprint shows here."""
    mistakes = []
    for group in varieties.groups:
        stages = varieties.stages_of(group)
        if not stages:
            mistakes.append(f'{file}: group "{group.name}" has no stages of its kinds.')
        for before, after in pairwise(stages):
            falls = after.t10 < before.t10 or after.t90 < before.t90
            if falls or after.share <= before.share:
                mistakes.append(
                    f'{file}: stage "{after.name}" must come after "{before.name}" '
                    "and stand no more frost; look for a misprint in t10, t90 or share."
                )
    mistakes += [
        f'{file}: stage "{s.name}": t90 must be colder than t10.'
        for s in varieties.stages
        if s.t90 >= s.t10
    ]
    return list(dict.fromkeys(mistakes))


def _stage(entry: Mapping[str, Any]) -> Stage:
    share, t10, t90 = (float(entry[key]) for key in ("share", "t10", "t90"))
    return Stage(entry["name"], share, t10, t90, entry.get("kinds", ""))


def _group(entry: Mapping[str, Any]) -> Group:
    return Group(
        name=entry["name"],
        bloom_sum=float(entry["bloom_sum"]),
        days=(float(entry["days"][0]), float(entry["days"][1])),
        season_sum=float(entry["season_sum"]),
        hardiness=entry["hardiness"],
        pick_sum=float(entry.get("pick_sum", 0.0)),
        kinds=entry.get("kinds", ""),
    )


def _vigour(entry: Mapping[str, Any]) -> Vigour:
    return Vigour(
        name=entry["name"],
        spacing=(float(entry["spacing_m"][0]), float(entry["spacing_m"][1])),
        height=float(entry["height_m"]),
        full_crop_year=int(entry["full_crop_year"]),
        crop=float(entry["yield_kg"]),
    )
