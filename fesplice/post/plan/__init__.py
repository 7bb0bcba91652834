"""Findings of a plan run: the slab at bar level seen from above."""
