"""Numba loops on plain arrays, and nothing else."""
