"""Fruit: one TOML file each, with sources."""

from sitekit.fruit.fruit import Factor, Fruit, fruit_names, parse_fruit, read_fruit

__all__ = ["Factor", "Fruit", "fruit_names", "parse_fruit", "read_fruit"]
