"""One pass over the steps of a plan: what every finding, figure and judgement of it reads."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from fesplice.contracts import Floats, FolderFault
from fesplice.post.limits import PAST
from fesplice.post.plan.cracks import PlanCracks
from fesplice.post.plan.forces import PlanForces
from fesplice.post.plan.layout import PlanLayout, plan_layout, x_of
from fesplice.post.runs import bar_columns, specimen_of
from fesplice.post.values import Known
from fesplice.store.run import believing

if TYPE_CHECKING:
    from fesplice.mesh import Mesh
    from fesplice.store.run import Run


@dataclass(frozen=True)
class TieState:
    """One line of transverse steel: its x [mm], largest stress [MPa] and strain, share of yield, and their y."""

    line: str
    x: Known
    stress: Known
    strain: Known
    utilisation: Known
    y: Known


@dataclass(frozen=True)
class PlanTrace:
    """Measures over the steps of a run, one row per step; N, mm, MPa.

    ``bar_stress`` and ``yield_utilisation`` (n,) largest of all bars, the latter over the yield strength of each
    bar's own steel; ``splitting`` and ``split_length`` (n, k) by gap, ``side_crack`` (n, 2) widest crack beside
    the edge bars, ``thrust`` (n, 2) on the edge bars, ``strut_stress`` (n,) and ``strut_angle`` (n,) of the
    lapped gaps' most loaded strut, ``hook_slip`` and ``hook_force`` (n, m) by bar, ``bond_past`` (n, m) share of
    its lead past the bond peak, ``bond_opening`` (n,) largest mean opening beside a lead that wedges,
    ``tie_utilisation`` (n,) largest share of yield, ``interface_lost`` (n,) share of the plane past its peak,
    ``side`` (n,) largest outward movement of a side face.
    """

    step: Floats
    load: Floats
    extension: Floats
    bar_stress: Floats
    yield_utilisation: Floats
    gaps: tuple[str, ...]
    bars: tuple[str, ...]
    splitting: Floats
    split_length: Floats
    side_crack: Floats
    thrust: Floats
    strut_force: Floats
    strut_stress: Floats
    strut_angle: Floats
    hook_slip: Floats
    hook_force: Floats
    bond_past: Floats
    bond_opening: Floats
    tie_utilisation: Floats
    interface_lost: Floats
    side: Floats


@believing
def trace(run: Run, laid: PlanLayout | None = None) -> PlanTrace:
    """Read every step of a plan run once; raises :class:`FolderFault` when it has no step yet."""
    if not run.n_steps:
        raise FolderFault(str(run.folder), "no step is stored yet")
    mesh = run.mesh
    laid = plan_layout(mesh) if laid is None else laid
    forces, cracks = PlanForces(mesh, laid), PlanCracks(mesh, laid)
    curve = run.curve
    stress = bar_columns(curve)
    yields = yields_of(run)
    bond = {b.line: _Lead(mesh, b.line) for b in laid.bars}
    gathered: dict[str, list] = {name: [] for name in (
        "splitting", "split_length", "side_crack", "thrust", "strut_force", "strut_stress", "strut_angle", "hook_slip",
        "hook_force", "bond_past", "bond_opening", "tie_utilisation",
    )}  # fmt: skip
    for step in run.steps():
        fields = step.fields
        cuts = forces.cuts(fields)
        struts = [forces.strut(c) for c in cuts if c.gap.lapped]
        most = max(struts, key=lambda s: s.force, default=None)
        seen = cracks.read(fields)
        gaps = len(laid.gaps)
        row = {
            "splitting": [s.opening for s in seen[:gaps]],
            "split_length": [s.length for s in seen[:gaps]],
            "side_crack": [s.widest for s in seen[gaps:]],
            "thrust": [t.force for t in forces.thrusts(fields, cuts)],
            "strut_force": 0.0 if most is None else most.force,
            "strut_stress": 0.0 if most is None else most.stress,
            "strut_angle": math.nan if most is None else most.inclination,
            "hook_slip": [anchored(fields, b.line, "slip") for b in laid.bars],
            "hook_force": [anchored(fields, b.line, "force") for b in laid.bars],
            "bond_past": [bond[b.line].past(fields) for b in laid.bars],
            "bond_opening": max((bond[b.line].opening(fields) for b in laid.bars), default=0.0),
            "tie_utilisation": max((t.utilisation for t in tie_states(mesh, laid, fields, yields)), default=0.0),
        }
        for name, value in row.items():
            gathered[name].append(value)
    n = len(gathered["thrust"])
    single = {k: v[:n] for k, v in stress.items() if len(k) > 1}
    rows = np.array(list(single.values()))
    limits = np.array([yields[mesh.lines[k].steel] for k in single])
    arrays = {name: np.array(values, float) for name, values in gathered.items()}
    return PlanTrace(
        step=np.asarray(curve["step"], float)[:n],
        load=np.asarray(curve["load_N"], float)[:n],
        extension=np.asarray(curve["extension_mm"], float)[:n],
        bar_stress=rows.max(axis=0),
        yield_utilisation=(rows / limits[:, None]).max(axis=0),
        gaps=tuple(g.name for g in laid.gaps),
        bars=tuple(b.line for b in laid.bars),
        interface_lost=np.asarray(curve["interface_lost"], float)[:n],
        side=np.maximum(np.asarray(curve["side_low_mm"], float), np.asarray(curve["side_high_mm"], float))[:n],
        **arrays,
    )


def anchored(fields: Mapping[str, np.ndarray], line: str, what: str) -> float:
    """``force`` [N] or ``slip`` [mm] of the end anchor of a bar; 0 for a bar without one."""
    name = f"anchor:{line}/{what}"
    return float(np.asarray(fields[name]).reshape(-1)[0]) if name in fields else 0.0


class _Lead:
    """What the bond points of one bar have reached so far; steps must come in order."""

    def __init__(self, mesh: Mesh, line: str):
        self.name = mesh.lines[line].bond
        self.length = np.asarray(mesh.groups[self.name].data["length"], float)
        self.highest, self.furthest = np.zeros(len(self.length)), np.zeros(len(self.length))

    def past(self, fields: Mapping[str, np.ndarray]) -> float:
        """Share of the length that carries less than ``PAST`` of its largest bond stress while it slips on."""
        tau, slip = (np.abs(np.asarray(fields[f"{self.name}/{k}"], float).reshape(-1)) for k in ("tau", "slip"))
        over = (tau < PAST * self.highest) & (slip >= self.furthest)
        self.highest, self.furthest = np.maximum(self.highest, tau), np.maximum(self.furthest, slip)
        return float(self.length[over].sum() / self.length.sum())

    def opening(self, fields: Mapping[str, np.ndarray]) -> float:
        """Mean opening [mm] beside the bar where bond wedges, else 0."""
        if f"{self.name}/opening" not in fields:
            return 0.0
        opening = np.maximum(np.asarray(fields[f"{self.name}/opening"], float).reshape(-1), 0.0)
        return float((opening * self.length).sum() / self.length.sum())


def tie_states(
    mesh: Mesh, laid: PlanLayout, fields: Mapping[str, np.ndarray], yields: Mapping[str, float]
) -> tuple[TieState, ...]:
    """Every line of transverse steel at one step; ``yields`` [MPa] by steel."""
    found = []
    for name in laid.across:
        line = mesh.lines[name]
        for group in line.groups:
            stress = np.asarray(fields[f"{group}/stress"], float).reshape(-1)
            strain = np.asarray(fields[f"{group}/strain"], float).reshape(-1)
            k = int(np.argmax(strain))
            y = float(mesh.points[mesh.groups[group].cells[k], 1].mean())
            utilisation = float(stress[k]) / yields[line.steel]
            found.append(TieState(name, x_of(mesh, name), float(stress[k]), float(strain[k]), utilisation, y))
    return tuple(found)


def yields_of(run: Run) -> dict[str, float]:
    """Yield strength [MPa] by steel of the run's specimen."""
    return {name: float(steel.yield_strength) for name, steel in specimen_of(run).steel.items()}
