"""Bench tool for bringing failed powered loudspeakers back: from complaint to proven repair."""

__version__ = "0.1.0"
