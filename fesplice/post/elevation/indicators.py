"""Indicators of every mechanism in the elevation, followed over the steps of a run.

What each measure is compared with is judgement where no source is named; the limit and its basis go
into the evidence. What a picture from the side cannot show is listed, with what drives it.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from fesplice.formulas import laps
from fesplice.formulas.bond import side_splitting as splitting_force
from fesplice.mesh import Mesh
from fesplice.post.elevation.hinge import WIDER
from fesplice.post.elevation.layout import Layout, layout, main_lines
from fesplice.post.elevation.trace import ElevationTrace, Snapshot, Spot
from fesplice.post.limits import CRUSHING, HOOK_SLIP, LOST, SPLIT, WIDE
from fesplice.post.mechanisms import Assessment, Indicator, Mechanism, assess

if TYPE_CHECKING:
    from collections.abc import Callable

    from fesplice.contracts import Floats
    from fesplice.post.elevation.interface import InterfaceTrace
    from fesplice.post.strength import Strength
    from fesplice.specimen.schema import Specimen


SPLIT_PLANE = "share of the hook's plane that has split"
STIRRUPS = "stirrup strain over yield strain"


def elevation_indicators(seen: ElevationTrace, mesh: Mesh, specimen: Specimen) -> list[Indicator]:
    """Indicators over all steps of an elevation, one array of n rows each."""
    closure = specimen.concrete.closure or specimen.concrete.precast
    lines = main_lines(mesh)
    limits = {name: specimen.steel[line.steel].yield_strength for name, line in lines.items()}
    hooked = [name for name, a in seen.laid.anchors.items() if a.hooked]
    slips = {name: values for name, values in seen.by_bar("slip").items() if name in hooked}
    used = {name: values / limits[name] for name, values in seen.by_bar("stress").items()}
    pressed = {name: values / (3.0 * closure.strength) for name, values in seen.by_bar("bearing").items()}
    pried, pried_at = _pried(seen)

    def by_bar(mechanism: Mechanism, what: str, by: dict[str, Floats], limit: float, unit: str, basis: str,
               growing: bool = True) -> Indicator:  # fmt: skip
        return Indicator(mechanism, what, _largest(by, len(seen.snapshots)), limit, unit, basis, growing, by)

    def at_spot(mechanism: Mechanism, what: str, read: Callable[[Snapshot], Spot], limit: float, unit: str,
                basis: str) -> Indicator:  # fmt: skip
        place = np.array([(read(s).x, read(s).y) for s in seen.snapshots])
        return Indicator(mechanism, what, seen.series(lambda s: read(s).value), limit, unit, basis, place=place)

    m = Mechanism
    found = [
        Indicator(m.prying, "crack along the bars at the hooks", pried, SPLIT, "mm", "twice the visible width",
                  place=pried_at),
        by_bar(m.hook_bearing, "mean bearing in the bend over 3 f_cm", pressed, 1.0, "", "cap of the bearing law"),
        by_bar(m.hook_bearing, "slip of the hook", slips, HOOK_SLIP, "mm", "slip at which hooks are compared"),
        at_spot(m.joint_opening, "widest joint", lambda s: s.joint, WIDE, "mm", "common limit of crack width"),
        by_bar(m.yielding, "bar stress over yield strength", used, 1.0, "", "measured yield strength", False),
        at_spot(m.crushing, "least principal strain of the compression zone", lambda s: s.compression, CRUSHING, "",
                "EN 1992-1-1, from memory"),
        at_spot(m.shear, "inclined crack outside the closure", lambda s: s.outside, WIDE, "mm",
                "common limit of crack width"),
        at_spot(m.shear, "inclined crack outside the closure, wider than every upright one", lambda s: s.diagonal, WIDE,
                "mm", "common limit of crack width"),
        at_spot(m.shear, "least principal strain of the web", lambda s: s.web, CRUSHING, "",
                "EN 1992-1-1, from memory"),
        Indicator(m.shear, "slanting crack of the web over the widest upright crack", seen.series(slants), WIDER, "",
                  "the beam turns about the wider", False,
                  place=np.array([(s.hinge.x, s.hinge.y) for s in seen.snapshots])),
    ]  # fmt: skip
    if split := seen.by_bar("split"):
        found.append(by_bar(m.side_splitting, SPLIT_PLANE, split, LOST, "", "half of its strength"))
    past, slid = seen.by_bar("past"), seen.by_bar("lead")
    match specimen.bond.splitting:
        case "branch":
            what = "share of the lead past its splitting peak"
            found.append(by_bar(m.bond_splitting, what, past, LOST, "", "half of the lead"))
        case "wedging":
            found.append(by_bar(m.bond_pullout, "slip of the lead", slid, 1.0, "mm", "pull-out peak, MC2010 6.1-1"))
            halved = specimen.bond.wedge_opening
            opened = seen.by_bar("opening")
            found.append(by_bar(m.bond_splitting, "opening beside the lead", opened, halved, "mm", "halves bond"))
        case _:
            found.append(by_bar(m.bond_pullout, "slip of the lead", slid, 1.0, "mm", "pull-out peak, MC2010 6.1-1"))
            what = "share of the lead past its bond peak"
            found.append(by_bar(m.bond_pullout, what, past, LOST, "", "half of the lead"))
    stirrups = [line for line in mesh.lines.values() if line.role == "stirrup"]
    if stirrups:
        steels = [specimen.steel[line.steel] for line in stirrups]
        legs = seen.series(lambda s: s.legs) / min(s.yield_strength / s.elastic_modulus for s in steels)
        found.append(Indicator(m.shear, STIRRUPS, legs, 1.0, "", "measured yield strength"))
    across = seen.interface
    if len(across.leg_x) and specimen.confinement.upright:
        f_y = specimen.steel[specimen.confinement.steel].yield_strength
        legs = across.leg_stress.max(axis=1) / f_y
        found.append(Indicator(m.tie_yielding, "stress of vertical legs over yield", legs, 1.0, "", "yield strength"))
    return found


def assess_elevation(seen: ElevationTrace, mesh: Mesh, specimen: Specimen, held: Strength) -> Assessment:
    """The elevation judged by the rules of :mod:`fesplice.post.mechanisms`; ``held`` is its strength."""
    carried = held.at(seen.load, np.maximum.accumulate(seen.bar_stress)), held.value
    return assess(
        "elevation", seen.bar_stress, seen.load, held.top_row, held.low_row if held.exact else None,
        elevation_indicators(seen, mesh, specimen), unseen(specimen), [s.step for s in seen.snapshots], carried,
        slants(seen.snapshots[held.top_row]) >= WIDER,
    )  # fmt: skip


def slants(s: Snapshot) -> float:
    """Slanting crack of the web over the widest upright crack or joint; 0 while no slanting one is wide."""
    return s.hinge.over(s.joint.value) if s.hinge.slanting >= WIDE else 0.0


def assess_pull(
    stress: Floats, load: Floats, split: Floats, slip: Floats, steel_yield: float, top: int, low: int | None
) -> Assessment:
    """Hooked bars pulled out of a joint, judged as in a lap: bar ``stress`` [MPa], ``load`` [N], share of the hooks'

    plane ``split`` and ``slip`` of the hook [mm] (n,) over the steps; ``top`` and ``low`` as in :func:`assess`.
    """
    m = Mechanism
    return assess("elevation", stress, load, top, low, [
        Indicator(m.side_splitting, SPLIT_PLANE, split, LOST, "", "half of its strength"),
        Indicator(m.hook_bearing, "slip of the hook", slip, HOOK_SLIP, "mm", "slip at which hooks are compared"),
        Indicator(m.yielding, "bar stress over yield strength", stress / steel_yield, 1.0, "", "input", False),
    ])  # fmt: skip


def unseen(specimen: Specimen) -> list[str]:
    """Mechanisms the elevation does not show, with what drives them."""
    row = specimen.bars.left
    found = ["side blow-out and spalling of the cover: events through the width"]
    if row.hook is not None and specimen.bond.hook_plane == "whole":
        radius = 0.5 * row.hook.bend_diameter + 0.5 * row.diameter
        per = row.area / (radius * row.diameter)
        found.append(
            "splitting in the plane of the hook: its radial pressure T/(r d_b) is "
            f"{per:.2f} times the bar stress at the bend"
        )
    elif row.hook is not None and specimen.confinement.in_sets:
        found.append(
            "splitting in the planes of the hooks: ties or stirrups cross them and hold them together, by how much is "
            "not in the law, so that these planes are left whole"
        )
    return found


def side_splitting(mesh: Mesh, specimen: Specimen) -> float:
    """Bar stress [MPa] at which MC2010's local splitting strength (6.1-5) is used up over the whole embedment.

    The rule is :func:`fesplice.formulas.bond.side_splitting`; nan without an anchored bar.
    """
    concrete, found = specimen.concrete.closure or specimen.concrete.precast, []
    for name, anchor in layout(mesh).anchors.items():
        line, row = mesh.lines[name], specimen.bars.left if name == "A" else specimen.bars.right or specimen.bars.left
        halves = 0.5 * laps.clear_gaps(row.positions, line.diameter)
        sides = laps.side_covers(row.positions, line.diameter, specimen.body.width)
        length, condition = abs(anchor.tip - anchor.face), specimen.bond.condition
        force = splitting_force(concrete.strength, line.diameter, halves, sides, length, condition)
        found.append(force * line.number / line.area)
    return min(found, default=float("nan"))


# ------------------------------------------------------------------ measures
def _largest(by: dict[str, Floats], n: int) -> Floats:
    return np.max(list(by.values()), axis=0) if by else np.zeros(n)


def _pried(seen: ElevationTrace) -> tuple[Floats, Floats]:
    """Widest opening of the plane near the hooks (n,) [mm], and where (n, 2); its height has no single value."""
    across = seen.interface
    near = _near_hooks(across, seen.laid)
    if not near.any():
        return np.zeros(len(seen.snapshots)), np.full((len(seen.snapshots), 2), np.nan)
    opening = across.opening[:, near]
    x = across.x[near][opening.argmax(axis=1)]
    return opening.max(axis=1), np.column_stack([x, np.full(len(x), np.nan)])


def _near_hooks(across: InterfaceTrace, laid: Layout) -> np.ndarray:
    """Pieces of the plane within 4 d_b of a bar's tip."""
    near = np.zeros(len(across.x), bool)
    for anchor in laid.anchors.values():
        x0, x1 = laid.about(anchor)
        near |= (across.x >= x0) & (across.x <= x1)
    return near
