"""Loggers: where to put them, what their readings say, and what they correct."""
