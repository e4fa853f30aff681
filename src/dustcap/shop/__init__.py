"""Failure statistics of the shop, numbers in and numbers out.

Rests on `faults`, `quantities` and `errors`.
"""
