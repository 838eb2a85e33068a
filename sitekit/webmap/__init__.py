"""The web map: one page that opens with the network off."""

from sitekit.webmap.map import write_map

__all__ = ["write_map"]
