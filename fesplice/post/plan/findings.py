"""Findings of a plan run: strength as bar stress at the faces, what it failed by, struts, thrust, ties, cracks.

The strength is read by the rule of the elevation (:mod:`fesplice.post.strength`). The load is the force per side.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from fesplice.contracts import Outcome
from fesplice.post.mechanisms import Assessment
from fesplice.post.plan.cracks import PlanCracks, Splitting
from fesplice.post.plan.forces import PlanForces, Strut, Thrust
from fesplice.post.plan.indicators import assess_plan
from fesplice.post.plan.layout import plan_layout
from fesplice.post.plan.trace import PlanTrace, TieState, anchored, tie_states, trace, yields_of
from fesplice.post.plan.truss import Truss, truss
from fesplice.post.runs import bar_columns, specimen_of
from fesplice.post.strength import ENDS, Strength, strength
from fesplice.post.values import Ended, Known, Told

if TYPE_CHECKING:
    from fesplice.store.run import Run


@dataclass(frozen=True, repr=False)
class PlanFindings(Told):
    """Findings of a plan run; at its strength unless said. N, mm, MPa.

    ``bar_stress`` by row and bar at the largest load, ``first_bar_stress`` at the strength. ``struts``,
    ``thrusts``, ``ties``, ``splitting``, ``truss`` at the strength; ``hand_thrust`` [N] is T s/l of the lapped gaps.
    ``residual``: worst balance of the strips between cuts, ``left_out`` what the members drawn at a node leave
    unbalanced, both as share of the bar force; ``peak_deflection`` the extension at the largest load.
    """

    view: str
    specimen: str
    outcome: Ended
    interface: str
    steps: int
    relaxed_steps: int
    peak_load: float
    peak_step: int
    peak_deflection: float
    strength: Strength
    strength_step: int
    bar_stress: dict[str, Known]
    first_bar_stress: dict[str, Known]
    yield_share: dict[str, Known]
    assessment: Assessment
    struts: tuple[Strut, ...]
    hand_thrust: dict[str, Known]
    thrusts: tuple[Thrust, ...]
    ties: tuple[TieState, ...]
    splitting: tuple[Splitting, ...]
    side_displacement: Known
    hook_share: dict[str, Known]
    slip: dict[str, Known]
    interface_lost: Known
    residual: Known
    left_out: Known
    truss: Truss


def plan_findings(run: Run, seen: PlanTrace | None = None, outcome: Outcome | None = None) -> PlanFindings:
    """Findings of a run, finished or not; arguments and faults as of the elevation's."""
    mesh, curve, specimen = run.mesh, run.curve, specimen_of(run)
    peak = run.indices.index(run.index_of_peak)
    laid = plan_layout(mesh)
    history = trace(run, laid) if seen is None else seen
    held = plan_strength(history, specimen.analysis.drop)
    top = held.row
    at = run.step(run.indices[top])
    forces, cracks = PlanForces(mesh, laid), PlanCracks(mesh, laid)
    cuts = forces.cuts(at.fields)
    stress = bar_columns(curve)
    pulls = forces.bar_forces(at.fields)
    model = truss(forces, at.fields)
    yields = yields_of(run)
    hooks = {b.line: anchored(at.fields, b.line, "force") for b in laid.bars if b.hooked}
    return PlanFindings(
        view="plan",
        specimen=run.specimen_name,
        outcome=run.outcome if outcome is None else outcome,
        interface=specimen.plan.interface,
        steps=len(history.step),
        relaxed_steps=sum(str(o) in Outcome.unconverged.spellings for o in curve["outcome"]),
        peak_load=float(history.load[peak]),
        peak_step=int(run.indices[peak]),
        peak_deflection=float(history.extension[peak]),
        strength=held,
        strength_step=int(run.indices[top]),
        bar_stress={name: float(v[peak]) for name, v in stress.items()},
        first_bar_stress={name: float(v[top]) for name, v in stress.items()},
        yield_share={b.line: float(stress[b.line][top]) / yields[mesh.lines[b.line].steel] for b in laid.bars},
        assessment=assess_plan(history, held, specimen),
        struts=tuple(forces.strut(c) for c in cuts),
        hand_thrust={c.gap.name: forces.demand(pulls[c.gap.below.line], c.gap) for c in cuts if c.gap.lapped},
        thrusts=forces.thrusts(at.fields, cuts),
        ties=tie_states(mesh, laid, at.fields, yields),
        splitting=cracks.read(at.fields),
        side_displacement=float(history.side[top]),
        hook_share={line: f / pulls[line] for line, f in hooks.items() if pulls[line] > 0.0},
        slip={line: anchored(at.fields, line, "slip") for line in hooks},
        interface_lost=float(history.interface_lost[top]),
        residual=model.residual,
        left_out=model.left_out,
        truss=model,
    )


def plan_strength(history: PlanTrace, ends: float = ENDS) -> Strength:
    """Strength of a plan, whose run ends at a fall of ``ends``."""
    return strength(history.extension, history.load, ends)
