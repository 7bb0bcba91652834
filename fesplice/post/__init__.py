"""Findings from a run on disk. Sees the mesh and stored fields, never a model or a law.

points       integration points of the concrete, straight lines laid through its elements
layout       joint faces, anchored bar ends and bar row, as the mesh tells them
concrete     principal strains and stresses, crack pattern, widths and spacing along a line
hooks        principal tension at the hook stations, over discs of 2 and 3 bar diameters
bars         stress, slip and bond along bar lines; joint face, tangent point, hook share
forces       section cuts, prying tie, lift, resultants of bond and bearing
equilibrium  support forces against loads, forces left out of balance
failure      trace of events, what failed first and the evidence
summary      one screen of findings, fit for JSON
"""
