"""Numbered steps that bring an older record up to the tables of `schema`."""
