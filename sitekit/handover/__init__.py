"""The contractor's pack: plan sheets, details, setting-out, quantities, rules."""

from sitekit.handover.pack import write_handover

__all__ = ["write_handover"]
