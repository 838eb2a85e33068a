"""Invented holdings: inputs like a user's own, to try everything on."""

from sitekit.demo.demo import write_demo
from sitekit.demo.holding import write_holding
from sitekit.demo.southern import write_southern_holding

__all__ = ["write_demo", "write_holding", "write_southern_holding"]
