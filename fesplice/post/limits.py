"""Limits at which measures of either view count as a mechanism, each with its basis, in one table.

Judgement where no source is named.
"""

#: Openings that count as a mechanism [mm]: twice what the eye sees, and the usual limit in service.
SPLIT, WIDE = 0.1, 0.3
#: Share of a lead past its bond peak that counts as lost.
LOST = 0.5
#: Slip of a hook at its tangent point at which its resistance is read in tests of single hooks [mm].
HOOK_SLIP = 1.0
#: Ultimate strain of concrete in compression: EN 1992-1-1 Table 3.1 up to C50/60 (from memory).
CRUSHING = 0.0035
#: Outward movement of a side face at which the edge strip has come loose [mm]: the opening at which the plane it
#: hangs on, with the fracture energy of the concrete, holds no more.
LOOSE = 0.15
#: Strength of a bottle-shaped strut as share of f_c: 0.85 x 0.75 (ACI 318-19, 23.4.3; from memory).
STRUT = 0.64
#: Least angle between a strut and the bars [degree]: below it the force passes by bond shear, and no strut is judged
#: (ACI 318-19, 23.2.7; from memory).
STEEP = 25.0
#: A bond point is past its peak when it carries less than this share of its largest stress while slipping on.
PAST = 0.8
