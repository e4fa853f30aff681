"""Equations of electric circuits and their solutions.

Here: elements and their laws, assembly, operating point, small signal, the meter in an unpowered circuit.
Not here: parts as a technician names them (`board`), failure modes (`faults`). Rests on `errors` and `quantities`.
"""
