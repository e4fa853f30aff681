"""Measuring with sound: stimulus, alignment, response, harmonics, noise, hum, crackle, polarity.

Pure: samples and rate in, small result objects out, with valid band and uncertainty. Rests on `errors`, `quantities`.
"""
