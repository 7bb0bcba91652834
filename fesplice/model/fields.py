"""What of an accepted step goes to disk: fields per group, and the line of the response curve."""

from __future__ import annotations

import numpy as np

from fesplice.algebra import principal, principal_strain
from fesplice.contracts import BondLaw, CrackedConcrete, Floats, Step
from fesplice.laws import BentBar, HookPlane, SupportedBond
from fesplice.mesh import Mesh
from fesplice.model.assembly import LawGroup, Model
from fesplice.model.estimate import dead_moment
from fesplice.specimen.schema import Specimen


def fields(model: Model, step: Step) -> dict[str, Floats]:
    """Arrays by ``group/quantity``, with ``u`` and ``reactions`` over all unknowns."""
    full = model.expand(step.state.u)
    out: dict[str, Floats] = {"u": full, "reactions": model.reactions(step.stress, step.state.load)}
    for part in model.parts:
        kind = model.mesh.groups[part.name].kind
        strain, stress = part.strain(full), step.stress[part.name]
        put = _FIELDS[kind]
        for key, values in put(part, strain, stress, step.state.history[part.name]).items():
            for name, rows in part.groups.items():
                out[f"{name}/{key}"] = values[rows]
    return out


def _membrane(part: LawGroup, strain: Floats, stress: Floats, history) -> dict[str, Floats]:
    crack = np.zeros_like(strain)
    law = part.law
    if isinstance(law, CrackedConcrete) and "band" in history:
        e1, _, cos2, sin2 = principal_strain(strain)
        # stress across the direction of the major strain, so that fixed cracks are served too
        mean, half = 0.5 * (stress[..., 0] + stress[..., 1]), 0.5 * (stress[..., 0] - stress[..., 1])
        across = mean + half * cos2 + stress[..., 2] * sin2
        along = 2.0 * mean - across
        elastic = (across - law.poisson * along) / law.modulus
        cracked = history["tension"][..., 0] > law.tensile_strength / law.modulus
        crack[..., 0] = np.where(cracked, np.maximum(e1 - elastic, 0.0), 0.0)
        crack[..., 1] = principal(strain, engineering=True)[2]
        crack[..., 2] = history["band"][..., 0]
    return {"strain": strain, "stress": stress, "crack": crack}


def _truss(part: LawGroup, strain: Floats, stress: Floats, history) -> dict[str, Floats]:
    return {"strain": strain[:, 0, 0], "stress": stress[:, 0, 0]}


def _frame(part: LawGroup, strain: Floats, stress: Floats, history) -> dict[str, Floats]:
    assert isinstance(part.law, BentBar)
    return {
        "strain": strain[..., 0].mean(axis=1),
        "stress": stress[..., 0].mean(axis=1) / part.law.area,
        "moment": stress[..., 1].mean(axis=1),
    }


def _bond(part: LawGroup, strain: Floats, stress: Floats, history) -> dict[str, Floats]:
    law = part.law
    assert isinstance(law, BondLaw)
    out = {
        "slip": strain[:, 0, 0],
        "gap": strain[:, 0, 1],
        "tau": stress[:, 0, 0] / law.perimeter,
        "bearing": stress[:, 0, 1],
    }
    if law.reads_opening:  # it wedges: opening between the gauge points, force that drives them apart [N/mm]
        out |= {"opening": strain[:, 0, 2], "wedge": -stress[:, 0, 2]}
    if isinstance(law, SupportedBond):  # hooks lean on a transverse bar: its part of the bearing [N/mm]
        out["seat"] = law.push(strain[..., 1], history["play"][..., 0])[:, 0]
    return out


def _plane(part: LawGroup, strain: Floats, stress: Floats, history) -> dict[str, Floats]:
    """Slide of the hooks' plane, opening beside the lead [mm], force per length [N/mm]; shares of the strength left

    in all, and of that the cover's.
    """
    law, reached = part.law, history["plane"]
    assert isinstance(law, HookPlane)
    return {
        "slide": strain[:, 0, 0],
        "opening": strain[:, 0, 1],
        "force": stress[:, 0, 0],
        "left": law.left(reached[..., 0], reached[..., 1])[:, 0],
        "cover": law.cover(reached[..., 1])[0][:, 0],
    }


def _joint(part: LawGroup, strain: Floats, stress: Floats, history) -> dict[str, Floats]:
    return {"opening": strain[..., 0], "slip": strain[..., 1], "normal": stress[..., 0], "shear": stress[..., 1]}


def _link(part: LawGroup, strain: Floats, stress: Floats, history) -> dict[str, Floats]:
    """Displacement (n_e, 2) [mm] and traction (n_e, 2) [MPa] along and across the link's axis."""
    return {"slip": strain[:, 0], "stress": stress[:, 0]}


def _anchor(part: LawGroup, strain: Floats, stress: Floats, history) -> dict[str, Floats]:
    return {"slip": strain[:, 0, 0], "force": stress[:, 0, 0]}


_FIELDS = {
    "quad4": _membrane, "tri3": _membrane, "truss2": _truss, "frame2": _frame, "bond": _bond, "joint": _joint,
    "link": _link, "anchor": _anchor, "plane": _plane,
}  # fmt: skip


def critical_sections(specimen: Specimen) -> dict[str, float]:
    """Where along x [mm] the stress of each main line is quoted: joint face, lap end, or midspan."""
    if specimen.body.closure > 0.0:
        at = 0.5 * specimen.body.closure
    else:
        at = 0.0 if specimen.bars.splice == "continuous" else 0.5 * specimen.bars.lap
    return {"A": -at} if specimen.bars.splice == "continuous" else {"A": -at, "B": at}


def bar_stress_at(mesh: Mesh, values: dict[str, Floats], line: str, x: float) -> float:
    """Stress [MPa] of a main line where it crosses ``x``: the bar element that spans it."""
    for name in mesh.lines[line].groups:
        g = mesh.groups[name]
        ends = mesh.points[g.cells, 0]
        inside = (ends.min(axis=1) <= x) & (ends.max(axis=1) >= x) & (np.ptp(ends, axis=1) > 0.0)
        if inside.any():
            return float(values[f"{name}/stress"][np.flatnonzero(inside)[0]])
    return float("nan")


def columns(specimen: Specimen, model: Model, step: Step, values: dict[str, Floats]) -> dict[str, float | str]:
    """The step's line of ``curve.csv``; deflections count from the unloaded beam, downward positive."""
    u = step.state.u
    out: dict[str, float | str] = {
        "load_N": step.state.load,
        "deflection_mm": model.read("deflection", u),
        "load_point_mm": model.read("load_point", u),
    }
    for side in ("left", "right"):
        out[f"joint_{side}_mm"] = model.read(f"joint_{side}", u) if f"joint_{side}" in model.watch else float("nan")
    sections = critical_sections(specimen)
    for line in ("A", "B"):
        stress = bar_stress_at(model.mesh, values, line, sections[line]) if line in sections else float("nan")
        out[f"bar_stress_{line}_MPa"] = stress
    x = abs(sections["A"])
    arm = min(specimen.body.shear_span, 0.5 * specimen.body.span - x)
    if specimen.body.shear_span == 0.5 * specimen.body.span:
        arm = 0.5 * arm  # one central ram: each support carries half
    out["moment_Nmm"] = step.state.load * arm + dead_moment(specimen, x)
    out |= {
        "iterations": step.iterations,
        "residual": step.residual,
        "energy": step.energy,
        "outcome": step.outcome.name,
    }
    return out
