"""Why ground has its class, in one sentence with the value at that place."""

from collections.abc import Callable, Mapping
from functools import cache
from math import radians, tan
from string import Formatter

from sitekit import words
from sitekit.fruit import Factor, Fruit
from sitekit.layers.offset import HELD_COUNTS, MOST_HELD
from sitekit.suitability.ground import LAND_SLOPE, Cause
from sitekit.suitability.score import ENOUGH

#: Membership from which a factor is not worth naming.
NEARLY_ALL = 0.97
#: What a reason may name beside layers, in words, and the layers that tell it: the
#: held air, and how cold the night is.
HELD, NIGHT = "held", "night"
TOLD_BY = {
    HELD: {"pooling_depth", "held_air"},
    NIGHT: {"frost_night_offset", "night_cold", "held_air"},
}
#: Held air that is worth naming. [m]
LEAST_HELD = 0.1
#: Night offset from which a place is told against the reference place. [degC]
LEAST_COLDER = -0.25
UNTESTED = "drainage not tested"


def path_words(margin: float) -> str:
    """Say how near a cold-air path is.

    Examples
    --------
    >>> path_words(0.2), path_words(0.9), path_words(1.5)
    ('here', 'so near that its air stands here', 'close by')
    """
    if margin < 0.5:
        return "here"
    return "so near that its air stands here" if margin < 1 else "close by"


def held_words(depth: float, standing: float = 0.0) -> str:
    r"""Say how much cold air is held by the land, or stands though it has a way out.

    Examples
    --------
    >>> held_words(0.0)
    'no cold air held'
    >>> held_words(0.0, 1.4)
    '1.4\xa0m of cold air that runs off too slowly'
    """
    if depth >= LEAST_HELD:
        return f"{words.with_unit(depth, 'm', 1)} of cold air held"
    if standing >= LEAST_HELD:
        return (
            f"{words.with_unit(standing, 'm', 1)} of cold air that runs off too slowly"
        )
    return "no cold air held"


def night_words(values: Mapping[str, float], reference: str) -> str:
    r"""Say how cold a clear still night is.

    Where it is no colder than at the reference place, against the milder ground
    nearby, which is what the class goes by.

    Examples
    --------
    >>> cold = {"frost_night_offset": 0.4, "night_cold": 3.1, "held_air": 0.0}
    >>> night_words(cold, "the house")
    '3\xa0°C colder than on the milder ground nearby'
    """
    offset = values["frost_night_offset"]
    if not offset >= LEAST_COLDER:
        return f"{words.offset(offset)} against {reference}"
    held = HELD_COUNTS * min(values["held_air"], MOST_HELD)
    colder = words.offset(values["night_cold"] - held).lstrip("+±")
    return f"{colder} colder than on the milder ground nearby"


#: How the value of each layer is written.
VALUE_WORDS: Mapping[str, Callable[[float], str]] = {
    "pooling_depth": lambda v: words.with_unit(v, "m", 1),
    "frost_night_offset": words.offset,
    "low_ground_height": lambda v: words.with_unit(v, "m", 0 if v >= 2 else 1),
    "path_margin": path_words,
    "relative_height": lambda v: words.with_unit(v, "m", 0 if v >= 2 else 1),
    "slope": lambda v: words.percent(tan(radians(v))),
    "sunshine_hours_growing": words.hours,
    "sunshine_hours_ripening": words.hours,
    "wetness_index": lambda v: words.graded(
        v, words.WETNESS_LIMITS, words.WETNESS_WORDS
    ),
    "wind_exposure": lambda v: words.graded(v, words.WIND_LIMITS, words.WIND_WORDS),
    "distance_to_water": lambda v: words.with_unit(v, "m"),
}


#: What is said of ground where something other than a factor decides.
GROUND_WORDS: Mapping[int, str] = {
    Cause.BLOCKED: "it is kept free: no-go ground, a building, a service or wood",
    Cause.HOLDS_WATER: "a test hole here held water",
    Cause.STANDING_WATER: "water was seen standing here",
    Cause.OLD_YARD: "a yard or filling was here, so the soil may be packed",
    Cause.LEVEL: "the slope is only {slope}, so water may stand here",
    Cause.COARSE: "cells of {cell} cannot carry a verdict, walk and measure first",
    Cause.SLOW: "a test hole here drained slowly",
    Cause.NOT_TESTED: "nothing in the shape of the land speaks against it",
}


def write_value(layer: str, value: float) -> str:
    """Write the value of a layer as its reason does."""
    if layer in VALUE_WORDS:
        return VALUE_WORDS[layer](value)
    return words.number(value, 1)


def layers_named(fruit: Fruit) -> set[str]:
    """Name the layers whose values the reasons of a fruit may tell."""
    told = {LAND_SLOPE}
    for factor in fruit.factors:
        told |= {factor.layer, *_names_in(factor.say)}
    for name in TOLD_BY.keys() & told:
        told = told - {name} | TOLD_BY[name]
    return told - {"value", "reference"}


@cache
def _names_in(say: str) -> tuple[str, ...]:
    """Names that the text of a factor has in braces."""
    return tuple(name for _, name, _, _ in Formatter().parse(say) if name)


def say_factor(factor: Factor, values: Mapping[str, float], reference: str) -> str:
    """Write what a factor finds at a place, as half a sentence.

    Parameters
    ----------
    factor : Factor
        The factor; its text may name its own ``{value}``, any other layer, the
        ``{held}`` air and the ``{night}`` in words, and the ``{reference}`` place.
    values : mapping of str to float
        Values of the layers at the place.
    reference : str
        Name of the reference place.

    Returns
    -------
    text : str
        Half a sentence.
    """
    texts = {"reference": reference}
    for name in _names_in(factor.say):
        if name == HELD:
            texts[name] = held_words(values["pooling_depth"], values["held_air"])
        elif name == NIGHT:
            texts[name] = night_words(values, reference)
        elif name != "reference":
            layer = factor.layer if name == "value" else name
            texts[name] = write_value(layer, values[layer])
    return factor.say.format(**texts)


def give_reason(
    fruit: Fruit,
    cause: int,
    limiting: int,
    values: Mapping[str, float],
    suits: float,
    *,
    tested: bool,
    source_cell: float,
    reference: str = "the reference place",
) -> str:
    """Write why ground has its class.

    Parameters
    ----------
    fruit : Fruit
        The fruit.
    cause : int
        What decides the class: number of a factor or a `Cause`.
    limiting : int
        Number of the factor with the lowest membership.
    values : mapping of str to float
        Values of the layers at the place.
    suits : float
        That lowest membership.
    tested : bool
        Whether a test hole speaks for the place.
    source_cell : float
        Cell of the elevation that was given. [m]
    reference : str
        Name of the reference place.

    Returns
    -------
    reason : str
        One sentence; it ends *drainage not tested* where that is so.
    """
    weakest = fruit.factors[limiting]
    finding = say_factor(weakest, values, reference)
    short = suits < ENOUGH
    if cause in GROUND_WORDS:
        main = GROUND_WORDS[cause].format(
            slope=words.percent(tan(radians(values[LAND_SLOPE]))),
            cell=words.with_unit(source_cell, "m"),
        )
        joined = f"{main}; {finding}" if short else f"{main}{_nearest(finding, suits)}"
    else:
        factor = fruit.factors[cause]
        joined = say_factor(factor, values, reference)
        if not short:
            joined = f"nothing speaks against it{_nearest(finding, suits)}"
    return words.sentence(add_untested(joined, tested))


def add_untested(text: str, tested: bool) -> str:
    """End half a sentence with *drainage not tested* where that is so."""
    return text if tested else f"{text}; {UNTESTED}"


def end_reason(reason: str, *, tested: bool) -> str:
    """Let a reason end with *drainage not tested* where that is so, once.

    Examples
    --------
    >>> end_reason("It is steep; drainage not tested; it seldom ripens.", tested=False)
    'It is steep; it seldom ripens; drainage not tested.'
    """
    text = reason.rstrip(".").replace(f"; {UNTESTED}", "")
    return f"{add_untested(text, tested)}."


def add_finding(reason: str, finding: str, *, tested: bool) -> str:
    """Add what else speaks against ground to a reason.

    Examples
    --------
    >>> add_finding("The slope is 20 %.", "it seldom ripens", tested=True)
    'The slope is 20 %; it seldom ripens.'
    """
    if not finding:
        return reason
    return end_reason(f"{reason.rstrip('.')}; {finding}.", tested=tested)


def _nearest(finding: str, suits: float) -> str:
    """Name what comes nearest to speaking against ground; nothing where none does."""
    return f" (nearest: {finding})" if suits < NEARLY_ALL else ""
