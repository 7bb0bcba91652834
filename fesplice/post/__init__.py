"""Findings from a run on disk. Sees the mesh and stored fields, never a model or a law.

    points      integration points, lines through elements       layout   joints, anchors, bar row
    concrete    principal values, crack pattern, widths           hooks    principal tension at stations
    bars        profiles along bar lines, anchorage               forces   cuts, lift, equilibrium
    failure     what failed first, with evidence                  summary  one screen of findings
"""
