"""Planting: rows, plants, lanes, fence and setting-out."""
