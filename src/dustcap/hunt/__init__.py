"""From complaint, sightings and readings to suspects, the next check, and when to stop.

Rests on `predict` and the rooms below it. Knows no sound: a measurement arrives as plain evidence.
"""
