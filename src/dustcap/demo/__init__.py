"""The invented scenario: boards, a simulated unit, recordings, history; seeded; the tests use it too.

Rests on `job`, `board` and `sound`.
"""
