"""The board description: kinds, reading and writing, the library of blocks, places and areas, board to circuit.

Rests on `errors`, `quantities` and `circuit`.
"""
