"""The steps of the technician's job, one file a step. The only room that opens a database session.

Rests on every room but `bench`, `report`, `demo`, `web` and `cli`, which call it.
"""
