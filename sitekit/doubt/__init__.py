"""Doubt of the inputs, carried to night offsets."""
