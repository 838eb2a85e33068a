"""Palettes, patterns, breaks and relief images: how everything looks, as data."""
