"""Commands: words in, one `job` call, text or JSON out.

Rests on `job`, `report`, `demo`, `web` and `bench`.
"""
