"""A page one can play: a run, or both views of a prediction, as one file that opens from disk and fetches nothing.

    viewer     the page of a run or of a prediction                (page)
    scene      what one view shows: shape, fields, bars, curve     (scene)
    bars       stress, slip and bond along every bar, by step      (bars)
    places     stations, gauges, struts and ties, by step          (places)
    pack       arrays as few bytes                                  (pack)

The numbers are those of figures and findings: the same means over elements, profiles, gauges, struts and ties. What
stands in the page is coded in eight or sixteen bits; :mod:`pack` says what that costs. The page itself is drawn by the
scripts beside this file, on a canvas.
"""

from __future__ import annotations

from fesplice.report.viewer.page import viewer

__all__ = ["viewer"]
