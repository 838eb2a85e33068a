"""Invented holdings: inputs like a user's own, to try everything on."""

from sitekit.demo.holding import write_holding
from sitekit.demo.southern import write_southern_holding

__all__ = ["write_holding", "write_southern_holding"]
