"""Findings of an elevation run: the beam seen from the side."""
