"""Figures, tables and text of an elevation run."""
