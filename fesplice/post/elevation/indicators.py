"""Signs of every mechanism in the elevation, followed over the steps of a run.

What each measure is compared with is judgement where no source is named; the limit and its basis go
into the evidence. What a picture from the side cannot show is listed, with what drives it.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from fesplice.formulas import laps
from fesplice.formulas.bond import side_splitting as splitting_force
from fesplice.mesh import BEND, LEAD, Mesh
from fesplice.post.elevation.interface import VerticalTrace
from fesplice.post.elevation.layout import layout, main_lines
from fesplice.post.elevation.trace import CRUSHING, FLAT, Tracer
from fesplice.post.mechanisms import Reading, Sign, read_plane
from fesplice.post.points import Fields

if TYPE_CHECKING:
    from fesplice.post.elevation.findings import Strength
    from fesplice.specimen.schema import Specimen
    from fesplice.store.run import Run

#: Openings that count as a mechanism [mm]: twice what the eye sees, and the usual limit in service.
SPLIT, WIDE = 0.1, 0.3
#: Share of a lead past its bond peak that counts as lost.
LOST = 0.5
#: Slip of a hook at its tangent point at which its resistance is read [mm].
HOOK_SLIP = 1.0


def elevation_signs(run: Run, specimen: Specimen, vertical: VerticalTrace) -> list[Sign]:
    """Signs over all steps of an elevation run, one array of n rows each."""
    mesh = run.mesh
    plan = layout(mesh)
    tracer = Tracer(mesh, plan)
    closure = specimen.concrete.closure or specimen.concrete.precast
    limits = {name: specimen.steel[line.steel].yield_strength for name, line in main_lines(mesh).items()}
    shear = [line for line in mesh.lines.values() if line.role == "stirrup"]
    rows: dict[str, list[float]] = {}

    def put(name: str, value: float) -> None:
        rows.setdefault(name, []).append(float(value))

    load, deflection = np.asarray(run.curve["load_N"], float), np.asarray(run.curve["deflection_mm"], float)
    for k, step in enumerate(run.steps()):
        m = tracer.note(step.index, load[k], deflection[k], step.fields)
        put("past", max(m.past.values(), default=0.0))
        put("slip", max(m.lead.values(), default=0.0))
        put("hook slip", max((m.slip[name] for name, a in plan.anchors.items() if a.hooked), default=0.0))
        put("opening", _lead_opening(mesh, step.fields))
        put("bearing", _bend_bearing(mesh, step.fields) / (3.0 * closure.strength))
        put("joint", m.joint.value)
        put("yield", max(m.stress[name] / limits[name] for name in limits))
        put("crushing", m.crushing.value)
        put("shear", _inclined(tracer, step.fields, plan.cast))
        put("legs", max((_highest(mesh, step.fields, line.groups) for line in shear), default=0.0))
    near = _near_hooks(vertical, mesh)
    pried = vertical.opening[:, near].max(axis=1) if near.any() else np.zeros(len(load))
    at = {name: np.array(values) for name, values in rows.items()}
    wedging = specimen.bond.splitting == "wedging"
    signs = [
        Sign("prying", "crack along the bars at the hooks", pried, SPLIT, "mm", "twice the visible width"),
        Sign("hook_bearing", "mean bearing in the bend over 3 f_cm", at["bearing"], 1.0, "", "cap of the bearing law"),
        Sign("hook_bearing", "slip of the hook", at["hook slip"], HOOK_SLIP, "mm", "slip at which hooks are compared"),
        Sign("joint_opening", "widest joint", at["joint"], WIDE, "mm", "common limit of crack width"),
        Sign("yielding", "bar stress over yield strength", at["yield"], 1.0, "", "measured yield strength", False),
        Sign("crushing", "least principal strain", at["crushing"], CRUSHING, "", "EN 1992-1-1, from memory"),
        Sign("shear", "inclined crack outside the closure", at["shear"], WIDE, "mm", "common limit of crack width"),
    ]
    if specimen.bond.splitting == "branch":
        splits = "share of the lead past its bond peak (splitting branch)"
        signs.append(Sign("bond_splitting", splits, at["past"], LOST, "", "half of the lead"))
    else:
        pulls = "share of the lead past its bond peak"
        signs.append(Sign("bond_pullout", "slip of the lead", at["slip"], 1.0, "mm", "pull-out peak, MC2010 6.1-1"))
        if not wedging:
            signs.append(Sign("bond_pullout", pulls, at["past"], LOST, "", "half of the lead"))
    if wedging:
        halved = specimen.bond.wedge_opening
        signs.append(Sign("bond_splitting", "opening beside the lead", at["opening"], halved, "mm", "halves bond"))
    if shear:
        f_y = min(specimen.steel[line.steel].yield_strength for line in shear)
        signs.append(Sign("shear", "stirrup stress over yield", at["legs"] / f_y, 1.0, "", "measured yield strength"))
    if len(vertical.leg_x) and specimen.confinement.upright:
        f_y = specimen.steel[specimen.confinement.steel].yield_strength
        legs = vertical.leg_stress.max(axis=1) / f_y
        signs.append(Sign("tie_yielding", "stress of vertical legs over yield", legs, 1.0, "", "yield strength"))
    return signs


def read_elevation(run: Run, specimen: Specimen, held: Strength, vertical: VerticalTrace) -> Reading:
    """The elevation judged by the rules of :mod:`fesplice.post.mechanisms`; ``held`` is its strength."""
    low = held.lowest_row if held.dropped else None
    signs = elevation_signs(run, specimen, vertical)
    load = np.asarray(run.curve["load_N"], float)
    hidden = unseen(specimen, run.mesh)
    return read_plane("elevation", vertical.bar_stress, load, held.first_row, low, signs, hidden)


def unseen(specimen: Specimen, mesh: Mesh) -> list[str]:
    """Mechanisms the elevation does not show, with what drives them."""
    row = specimen.bars.left
    found = ["side blow-out and spalling of the cover: events through the width"]
    if row.hook is not None:
        radius = 0.5 * row.hook.bend_diameter + 0.5 * row.diameter
        per = row.area / (radius * row.diameter)
        found.append(
            "splitting in the plane of the hook: its radial pressure T/(r d_b) is "
            f"{per:.2f} times the bar stress at the bend"
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
def _lead_opening(mesh: Mesh, fields: Fields) -> float:
    """Mean opening between the gauge points beside the leads of the main bars [mm]; 0 without wedging."""
    found = [0.0]
    for line in main_lines(mesh).values():
        if f"{line.bond}/opening" in fields:
            lead = line.zone == LEAD
            wedge = np.asarray(fields[f"{line.bond}/wedge"], float)
            here = lead & (wedge > 0.0)
            if here.any():
                found.append(float(np.asarray(fields[f"{line.bond}/opening"], float)[here].mean()))
    return max(found)


def _bend_bearing(mesh: Mesh, fields: Fields) -> float:
    """Mean bearing pressure of concrete over the bends, per bar diameter [MPa]; 0 without hooks.

    What a transverse bar inside the bend takes is not borne by the concrete there.
    """
    found = [0.0]
    for line in main_lines(mesh).values():
        bend = line.zone == BEND
        if bend.any():
            q = np.asarray(fields[f"{line.bond}/bearing"], float).reshape(-1)[bend]
            if f"{line.bond}/seat" in fields:
                q = q - np.asarray(fields[f"{line.bond}/seat"], float).reshape(-1)[bend]
            found.append(float(np.abs(q).mean()) / (line.number * line.diameter))
    return max(found)


def _inclined(tracer: Tracer, fields: Fields, cast: tuple[float, float]) -> float:
    """Widest inclined crack outside the closure and away from plates [mm]."""
    strain, normal, band = tracer.points.values(fields, "crack").T
    lean = np.degrees(np.arccos(np.clip(np.abs(np.sin(normal)), 0.0, 1.0)))
    x = tracer.points.xy[:, 0]
    here = ((x < cast[0]) | (x > cast[1])) & (lean > FLAT) & (lean < 90.0 - FLAT)
    return float((np.maximum(strain, 0.0) * band * here).max(initial=0.0))


def _highest(mesh: Mesh, fields: Fields, groups: tuple[str, ...]) -> float:
    return max(float(np.asarray(fields[f"{g}/stress"], float).max()) for g in groups)


def _near_hooks(vertical: VerticalTrace, mesh: Mesh) -> np.ndarray:
    """Pieces of the plane within 4 d_b of a bar's tip."""
    plan = layout(mesh)
    near = np.zeros(len(vertical.x), bool)
    for anchor in plan.anchors.values():
        x0, x1 = plan.about(anchor)
        near |= (vertical.x >= x0) & (vertical.x <= x1)
    return near
