"""Figures, tables and text of a plan run."""
