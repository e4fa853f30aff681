"""What each check would read under each suspect, over the tolerances of the parts.

Rests on `circuit`, `board` and `faults`.
"""
