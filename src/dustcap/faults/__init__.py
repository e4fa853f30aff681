"""Failure modes, their rates, the suspects of a board, and samples of how severe each is.

Rests on `circuit`, `board` and `parts`.
"""
