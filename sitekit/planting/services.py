"""How far buried lines may lie off from how their owner tells it."""

import re

#: A line whose place is told without ± may lie this far off. [m]
NO_CERTAINTY = 5.0
#: No machine within this of a service. [m]
#: Source: distance of mechanical diggers from buried services in common guidance
#: for small works; the owner of the service may ask for more.
STAND_OFF = 0.5
_PLUS_MINUS = re.compile(r"±\s*(\d+(?:[.,]\d+)?)\s*m")


def find_stand_off(certainty: str) -> float:
    """Tell how far from a line as it is told nothing may be driven in. [m].

    Examples
    --------
    >>> find_stand_off("public record, ± 2 m")
    2.5
    """
    return find_uncertainty(certainty) + STAND_OFF


def find_uncertainty(certainty: str) -> float:
    """Read how far a line may lie off from how its owner tells it. [m].

    Examples
    --------
    >>> find_uncertainty("public record, ± 5 m"), find_uncertainty("")
    (5.0, 5.0)
    """
    found = _PLUS_MINUS.search(certainty)
    return float(found[1].replace(",", ".")) if found else NO_CERTAINTY
