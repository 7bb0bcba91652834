"""What crosses the plane between slab and body in the plan, and how hard it can clamp: a free body of the slab.

A cut through the bends, from the side, tension face below:

            body            |  |          tails stand here, 12 d_b long
    ----------------------- | -|- ----    plane of the plan: bend centres, where tails begin; legs and tails cross it
       bend layer      ____/   |          concrete inside the bends, above the bars
    ======================= == | ====     bar level; legs of closed stirrups cross it, tails do not
       cover layer             |
    ---------------------------+-----     tension face; stirrups close here

A tail that is pulled out of the body presses its bend upwards on the concrete inside it, which lies above the bars:
it holds the bend layer on the body. Below the bars there is nothing of it; the cover layer hangs on the bend layer by
the concrete at bar level and by legs of closed stirrups alone. So of a pull of the slab sideways,

    legs     hold all of it
    tails    hold the share 1 - c of the bend layer, and of the cover layer's c as much as bar level hands on

with c = (cover + d_b/2) / thickness of the slab, and what bar level hands on taken as the share h of its strength
that the elevation leaves there: 1 uncracked and without vertical tension, 0 along an open crack.

A tail gives no more than its bond in the body: 4 t_b l / d_b over its straight length l, t_b = 2 f_t as beside the
crack itself (tension chord, Marti et al. 1998), and no more than yield. Of this, vertical tension across the plane is
carried first, as in legs, spread over the strip about the tails. The tension that a tail has from its own hook takes no
share of it: it is balanced by pressure of the bend on the concrete inside, across this very plane.

A plane whose concrete holds nothing (``plan.interface`` = "cracked", the lower end of the bracket) is one with a crack
open all over: bar level hands on nothing, h = 0, and all vertical tension that the concrete could have brought, f_t, is
left to the steel first. No state that the elevation may find leaves the plane less.
"""

from __future__ import annotations

import numpy as np

from fesplice.contracts import Floats
from fesplice.laws.cohesive import CrossingSteel, interface_strength
from fesplice.mesh import Mesh
from fesplice.specimen.schema import BarRow, Specimen

#: Bond stress along steel that a crack pulls over tensile strength (tension chord, Marti et al. 1998; from memory).
CHORD = 2.0


def crossing_steel(specimen: Specimen, mesh: Mesh, stress: Floats, legs: Floats) -> CrossingSteel | None:
    """Legs that already carry ``legs`` (n_e,) [MPa] and tails under vertical ``stress`` (n_e,) [MPa] across the plane.

    None where no steel crosses it.
    """
    p, concrete = specimen.plan, specimen.concrete.closure or specimen.concrete.precast
    data, kinds = mesh.groups["interface"].data, []
    lost = p.interface == "cracked"
    tension = np.full(len(stress), concrete.tensile_strength) if lost else np.maximum(stress, 0.0)
    handed = interface_strength(concrete.tensile_strength, tension) / concrete.tensile_strength
    if (ratio := np.asarray(data["leg_ratio"], float)).any():
        steel = specimen.steel[specimen.confinement.steel]
        carried = tension / np.where(ratio > 0.0, ratio, np.inf) if lost else legs
        kinds.append((ratio, steel, specimen.confinement.diameter, steel.yield_strength - carried))
    for name, row in (("A", specimen.bars.left), ("B", specimen.bars.right or specimen.bars.left)):
        if p.interface_tails and (ratio := np.asarray(data[f"tail_{name}_ratio"], float)).any():
            steel = specimen.steel[row.steel]
            cover = cover_layer(row, p.thickness)
            held = 1.0 - cover * (1.0 - handed)
            limit = min(tail_stress(row, concrete.tensile_strength), steel.yield_strength)
            left = limit - tension / np.where(ratio > 0.0, ratio, np.inf)
            kinds.append((held * ratio, steel, row.diameter, left))
    if not kinds:
        return None
    bond = CHORD * concrete.tensile_strength
    return CrossingSteel(
        ratio=np.stack([ratio for ratio, *_ in kinds], axis=-1),
        pull=np.array([2.0 * np.sqrt(steel.elastic_modulus * bond / d) for _, steel, d, _ in kinds]),
        left=np.stack([left for *_, left in kinds], axis=-1),
        friction=p.interface_friction,
        dilation=p.interface_dilation,
    )


def cover_layer(row: BarRow, thickness: float) -> float:
    """Share of the slab's ``thickness`` [mm] that lies below the bars' axes."""
    return min(1.0, (row.cover + 0.5 * row.diameter) / thickness)


def tail_stress(row: BarRow, tensile: float) -> float:
    """Stress [MPa] at the start of a tail when all its bond is used up; ``tensile`` strength of the body [MPa]."""
    assert row.hook is not None
    return 4.0 * CHORD * tensile * row.hook.tail / row.diameter
