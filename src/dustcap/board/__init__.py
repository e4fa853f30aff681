"""The board: how a unit is made, as it is written down in a ``*.board.toml``.

In here: the description (`model`), what kinds of parts there are (`kinds`), reading and writing it (`read`, `write`),
blocks from the library (`blocks`, `library`), places and areas (`places`), what differs between two revisions
(`compare`), and the way from a board to a circuit with its tolerances (`circuit`, `tolerances`).
Not in here: what can fail (`faults`) and any solving (`circuit`, the room). Rests on errors, quantities and circuit.
"""
