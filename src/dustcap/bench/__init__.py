"""The outside world: audio devices, meters, cameras' files.

Rests on `errors` and `quantities`.
"""
