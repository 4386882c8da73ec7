"""Flockcare: foot health of a small flock of hens."""

__version__ = "1.1"
