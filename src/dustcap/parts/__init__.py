"""Facts about single parts: value codes, preferred values, capacitor life, energy and discharge.

Rests on `errors` and `quantities`.
"""
