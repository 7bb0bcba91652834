"""Findings of a plan run from disk: strength as bar stress at the faces, mode, struts, thrust, ties, cracks.

The same two strengths as in the elevation: before the first drop of 15 %, and the
largest afterwards. The load is the force per side.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from fesplice.contracts import Floats
from fesplice.post.elevation.findings import Strength, plain, strength
from fesplice.post.elevation.trace import PAST
from fesplice.post.mechanisms import Reading
from fesplice.post.plan.cracks import OPEN, PlanCracks, Splitting
from fesplice.post.plan.forces import PlanForces, Strut, Thrust
from fesplice.post.plan.indicators import plan_reading
from fesplice.post.plan.layout import PlanLayout, plan_layout, x_of
from fesplice.post.plan.truss import Truss, truss

if TYPE_CHECKING:
    from fesplice.mesh import Mesh
    from fesplice.specimen.schema import Specimen
    from fesplice.store.run import Run


@dataclass(frozen=True)
class TieState:
    """One line of transverse steel: its x [mm], largest stress [MPa] and strain, share of yield, and their y."""

    line: str
    x: float
    stress: float
    strain: float
    usage: float
    y: float


@dataclass(frozen=True)
class PlanTrace:
    """Measures over the steps of a run, one row per step; N, mm, MPa.

    ``bar_stress`` and ``yield_usage`` (n,) largest of all bars, the latter over the yield strength of each bar's own
    steel; ``splitting`` and ``split_length`` (n, k) by gap, ``side_crack`` (n, 2) widest crack beside the edge bars,
    ``thrust`` (n, 2) on the edge bars, ``strut_stress`` (n,) and ``strut_angle`` (n,) of the lapped gaps' most loaded
    strut, ``hook_slip`` and ``hook_force`` (n, m) by bar, ``bond_past`` (n, m) share of its lead past the bond peak,
    ``bond_opening`` (n,) largest mean opening beside a lead that wedges, ``tie_usage`` (n,) largest share of yield,
    ``plane_lost`` (n,) share of the plane past its peak, ``side`` (n,) largest outward movement of a side face.
    """

    step: Floats
    load: Floats
    extension: Floats
    bar_stress: Floats
    yield_usage: Floats
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
    tie_usage: Floats
    plane_lost: Floats
    side: Floats


@dataclass(frozen=True)
class PlanVerdict:
    """What failed first, in a word and a sentence, with evidence."""

    kind: str
    what: str
    evidence: tuple[str, ...]


@dataclass(frozen=True)
class PlanSummary:
    """Findings of a plan run; at the first drop's strength unless said. N, mm, MPa.

    ``bar_stress`` by row and bar at the largest load, ``first_bar_stress`` before the first drop. ``struts``,
    ``thrusts``, ``ties``, ``splitting``, ``truss`` at the strength; ``hand_thrust`` [N] is T s/l of the lapped gaps.
    ``residual``: worst balance of the strips between cuts, ``left_out`` what the members drawn at a node leave
    unbalanced, both as share of the bar force; ``peak_deflection`` the extension at the largest load.
    """

    plane: str
    specimen: str
    outcome: str
    hanging: str
    steps: int
    loose_steps: int
    peak_load: float
    peak_step: int
    peak_deflection: float
    strength: Strength
    strength_step: int
    bar_stress: dict[str, float]
    first_bar_stress: dict[str, float]
    yield_share: dict[str, float]
    verdict: PlanVerdict
    struts: tuple[Strut, ...]
    hand_thrust: dict[str, float]
    thrusts: tuple[Thrust, ...]
    ties: tuple[TieState, ...]
    splitting: tuple[Splitting, ...]
    side_displacement: float
    hook_share: dict[str, float]
    slip: dict[str, float]
    plane_lost: float
    residual: float
    left_out: float
    truss: Truss

    def as_dict(self) -> dict[str, Any]:
        """Plain numbers, texts, lists and dicts, fit for JSON: nan becomes None."""
        return plain(asdict(self))


def bar_columns(curve: Mapping[str, np.ndarray]) -> dict[str, Floats]:
    """Bar stresses of the curve [MPa] by row ("A") and bar ("A1")."""
    head, tail = "bar_stress_", "_MPa"
    return {n[len(head) : -len(tail)]: np.asarray(v, float) for n, v in curve.items() if n.startswith(head)}


def trace(run: Run, laid: PlanLayout | None = None) -> PlanTrace:
    """Measures over all steps of a plan run."""
    mesh = run.mesh
    laid = plan_layout(mesh) if laid is None else laid
    forces, cracks = PlanForces(mesh, laid), PlanCracks(mesh, laid)
    curve = run.curve
    stress = bar_columns(curve)
    yields = _yields(run)
    bond = {b.line: _Lead(mesh, b.line) for b in laid.bars}
    gathered: dict[str, list] = {name: [] for name in (
        "splitting", "split_length", "side_crack", "thrust", "strut_force", "strut_stress", "strut_angle", "hook_slip",
        "hook_force", "bond_past", "bond_opening", "tie_usage",
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
            "hook_slip": [_anchor(fields, b.line, "slip") for b in laid.bars],
            "hook_force": [_anchor(fields, b.line, "force") for b in laid.bars],
            "bond_past": [bond[b.line].past(fields) for b in laid.bars],
            "bond_opening": max((bond[b.line].opening(fields) for b in laid.bars), default=0.0),
            "tie_usage": max((t.usage for t in tie_states(mesh, laid, fields, yields)), default=0.0),
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
        yield_usage=(rows / limits[:, None]).max(axis=0),
        gaps=tuple(g.name for g in laid.gaps),
        bars=tuple(b.line for b in laid.bars),
        plane_lost=np.asarray(curve["plane_lost"], float)[:n],
        side=np.maximum(np.asarray(curve["side_low_mm"], float), np.asarray(curve["side_high_mm"], float))[:n],
        **arrays,
    )


def _anchor(fields: Mapping[str, np.ndarray], line: str, what: str) -> float:
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
            usage = float(stress[k]) / yields[line.steel]
            found.append(TieState(name, x_of(mesh, name), float(stress[k]), float(strain[k]), usage, y))
    return tuple(found)


def specimen_of(run: Run) -> Specimen:
    """The specimen of a run, from the text the run keeps."""
    from fesplice.specimen import read_text

    return read_text(run.specimen_text, str(run.folder))


def _yields(run: Run) -> dict[str, float]:
    return {name: float(steel.yield_strength) for name, steel in specimen_of(run).steel.items()}


def summarise_plan(run: Run) -> PlanSummary:
    """Findings of a plan run, finished or not; raises :class:`FolderFault` when it has no step yet."""
    mesh, curve, specimen = run.mesh, run.curve, specimen_of(run)
    peak = run.indices.index(run.index_of_peak)
    laid = plan_layout(mesh)
    history = trace(run, laid)
    held = plan_strength(history)
    top = held.first_row
    at = run.step(run.indices[top])
    forces, cracks = PlanForces(mesh, laid), PlanCracks(mesh, laid)
    cuts = forces.cuts(at.fields)
    stress = bar_columns(curve)
    pulls = forces.bar_forces(at.fields)
    reading = plan_reading(history, held, specimen)
    model = truss(forces, at.fields)
    yields = _yields(run)
    anchored = {b.line: _anchor(at.fields, b.line, "force") for b in laid.bars if b.hooked}
    return PlanSummary(
        plane="plan",
        specimen=run.specimen_name,
        outcome=run.outcome.value,
        hanging=specimen.plan.hanging,
        steps=len(history.step),
        loose_steps=sum(str(o) == "loose" for o in curve["outcome"]),
        peak_load=float(history.load[peak]),
        peak_step=int(run.indices[peak]),
        peak_deflection=float(history.extension[peak]),
        strength=held,
        strength_step=int(run.indices[top]),
        bar_stress={name: float(v[peak]) for name, v in stress.items()},
        first_bar_stress={name: float(v[top]) for name, v in stress.items()},
        yield_share={b.line: float(stress[b.line][top]) / yields[mesh.lines[b.line].steel] for b in laid.bars},
        verdict=_verdict(reading),
        struts=tuple(forces.strut(c) for c in cuts),
        hand_thrust={c.gap.name: forces.demand(pulls[c.gap.below.line], c.gap) for c in cuts if c.gap.lapped},
        thrusts=forces.thrusts(at.fields, cuts),
        ties=tie_states(mesh, laid, at.fields, yields),
        splitting=cracks.read(at.fields),
        side_displacement=float(history.side[top]),
        hook_share={line: f / pulls[line] for line, f in anchored.items() if pulls[line] > 0.0},
        slip={line: _anchor(at.fields, line, "slip") for line in anchored},
        plane_lost=float(history.plane_lost[top]),
        residual=model.residual,
        left_out=model.left_out,
        truss=model,
    )


def plan_strength(history: PlanTrace) -> Strength:
    """Strength of a plan; cracks that have not opened ``OPEN`` anywhere are no failure."""
    opened = np.flatnonzero(np.maximum(history.splitting.max(axis=1), history.side_crack.max(axis=1)) > OPEN)
    return strength(history.extension, history.load, int(opened[0]) if len(opened) else 0)


def _verdict(reading: Reading) -> PlanVerdict:
    if reading.governing is None:
        return PlanVerdict("none yet", reading.sentence, ())
    kind = reading.governing.name if reading.certain else "none yet"
    return PlanVerdict(kind, reading.sentence, reading.governing.evidence)
