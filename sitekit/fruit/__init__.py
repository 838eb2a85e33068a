"""Fruit: one TOML file each, with sources."""
