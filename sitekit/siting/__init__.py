"""Spots, blocks, frost pockets, and the answer in words."""
