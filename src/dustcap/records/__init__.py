"""Jobs as ordered, immutable entries in a database, and files kept by their content's hash.

Knows no numeric room. Rests on `errors`.
"""
