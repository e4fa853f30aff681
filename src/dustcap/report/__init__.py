"""Papers and drawings from a job's results: the handover, plots.

Rests on `job`.
"""
