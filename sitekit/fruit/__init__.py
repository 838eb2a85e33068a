"""Fruit: one TOML file each, with sources; bloom, frost, ripening, winter, chill."""

from sitekit.fruit.fruit import Factor, Fruit, fruit_names, parse_fruit, read_fruit
from sitekit.fruit.groups import Group, Stage, Varieties, Vigour

__all__ = [
    "Factor",
    "Fruit",
    "Group",
    "Stage",
    "Varieties",
    "Vigour",
    "fruit_names",
    "parse_fruit",
    "read_fruit",
]
