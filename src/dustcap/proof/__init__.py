"""Limits with their sources, and verdicts with guard bands.

Rests on `sound`, `quantities` and `errors`.
"""
