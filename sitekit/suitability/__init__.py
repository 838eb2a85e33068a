"""Curves, factors, scores and site classes."""
