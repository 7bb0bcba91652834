"""Findings of an elevation run: loads, stresses, what it failed by, prying tie, equilibrium.

Two strengths are told, since bond and hook may peak apart (:mod:`fesplice.post.strength`).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from fesplice.contracts import Floats, Outcome
from fesplice.mesh import Mesh
from fesplice.post.concrete import HAIRLINE, VISIBLE, CrackSpot, crack_pattern, widest
from fesplice.post.elevation.bars import anchorage
from fesplice.post.elevation.forces import SectionCut, block_lift
from fesplice.post.elevation.indicators import assess_elevation, side_splitting
from fesplice.post.elevation.layout import Layout, main_lines
from fesplice.post.elevation.prying import Prying, prying
from fesplice.post.elevation.trace import ElevationTrace, Snapshot, Spot, trace
from fesplice.post.limits import CRUSHING, LOST
from fesplice.post.mechanisms import Assessment
from fesplice.post.runs import specimen_of
from fesplice.post.strength import Strength, strength
from fesplice.post.values import Ended, Known, Told

if TYPE_CHECKING:
    from fesplice.store.run import Run


# ------------------------------------------------------------------ cracking
@dataclass(frozen=True)
class Cracking:
    """Loads per ram [N] and steps at which the first crack forms and becomes visible; nan and -1 if never.

    The first crack: crack strain above f_ct / E or width above ``HAIRLINE``; visible: ``VISIBLE``.
    """

    first: Known
    first_step: int
    visible: Known
    visible_step: int


def cracking(snapshots: Sequence[Snapshot], limit: Mapping[str, float]) -> Cracking:
    """Cracking from the trace of a run; ``limit`` = f_ct / E by concrete.

    A crack often lets the load fall within its step: the larger of the loads before and after counts.
    """
    first, visible, before = (math.nan, -1), (math.nan, -1), -math.inf
    for m in snapshots:
        width = max(spot.value for spot in m.cracks.values())
        if first[1] < 0 and (width >= HAIRLINE or any(m.strain[name] >= limit[name] for name in m.strain)):
            first = (max(m.load, before), m.step)
        if visible[1] < 0 and width >= VISIBLE:
            visible = (max(m.load, before), m.step)
        before = m.load
    return Cracking(first[0], first[1], visible[0], visible[1])


# ------------------------------------------------------------------ prying tie
@dataclass(frozen=True)
class Tie:
    """The prying tie of one anchored bar line; N, mm, MPa.

    At the largest load: ``index`` of prying (1 where the plane over the bars is torn, see
    :mod:`fesplice.post.elevation.prying`) with the ``torn`` share of the plane, the ``tension`` on it and the strength
    it has ``left``, at the worst place ``x``; ``highest_index`` up to that load. ``demand`` concrete tension across bar
    level within 4 d_b of the hook, ``capacity`` f_ct x net area, ``utilisation`` demand / capacity, ``bars`` force of
    tails and legs that cross the same line, ``lift`` of the block and ``open_length``; ``highest_utilisation`` up to
    that load.
    """

    line: str
    index: Known
    highest_index: Known
    torn: Known
    tension: Known
    left: Known
    x: Known
    demand: Known
    capacity: Known
    utilisation: Known
    bars: Known
    lift: Known
    open_length: Known
    highest_utilisation: Known


def ties(
    cuts: Sequence[Mapping[str, SectionCut]], pried: Mapping[str, Prying], mesh: Mesh, u: Floats, laid: Layout
) -> tuple[Tie, ...]:
    """Ties at the last of ``cuts``, the ``bend`` cuts of every step up to the largest load, where ``u`` holds."""
    found, row = [], len(cuts) - 1
    for line, a in laid.anchors.items():
        c, up = cuts[-1][f"{line}/bend"], block_lift(mesh, u, a, laid)
        highest = max(at[f"{line}/bend"].utilisation for at in cuts)
        p = pried[line]
        torn, tension, left, x = (float(v[row]) for v in (p.torn, p.demand, p.left, p.x))
        found.append(Tie(
            line, float(p.index[row]), float(p.index[: row + 1].max()), torn, tension, left, x, c.tension, c.capacity,
            c.utilisation, c.bar_force, up.largest, up.open_length, highest,
        ))  # fmt: skip
    return tuple(found)


# ------------------------------------------------------------------ bond of the lead
@dataclass(frozen=True)
class BondLoss:
    """Half of a lead is past its bond peak: ``step``, largest load [N] until then, deflection [mm] at that load, and
    the bar stress [MPa] at the joint face; -1 and nan where bond held. In a lap: what straight bond alone would give.
    """

    step: int
    load: Known
    deflection: Known
    bar_stress: Known


def bond_loss(seen: ElevationTrace) -> BondLoss:
    """The first lead to lose its bond."""
    for k, s in enumerate(seen.snapshots):
        if any(share >= LOST for share in s.past.values()):
            top = int(np.argmax(seen.load[: k + 1]))
            stress = float(seen.bar_stress[: k + 1].max())
            return BondLoss(s.step, float(seen.load[top]), float(seen.deflection[top]), stress)
    return BondLoss(-1, math.nan, math.nan, math.nan)


# ------------------------------------------------------------------ events
@dataclass(frozen=True)
class Event:
    """The first step at which something is seen: load per ram [N], deflection [mm], and where (x, y) [mm] if known."""

    what: str
    step: int
    load: float
    deflection: float
    x: Known = math.nan
    y: Known = math.nan


def events(snapshots: Sequence[Snapshot], yields: Mapping[str, float]) -> tuple[Event, ...]:
    """Events in order of appearance; ``yields`` = yield strength [MPa] by main bar line.

    Bars of both sides that do the same within one step are told as one event.
    """
    found: list[Event] = []

    def put(what: str, spot: Callable[[Snapshot], Spot], limit: float) -> None:
        if first := next((s for s in snapshots if spot(s).value >= limit), None):
            at = spot(first)
            found.append(Event(what, first.step, first.load, first.deflection, at.x, at.y))

    def put_bars(what: str, test: Callable[[Snapshot, str], bool], lines: Sequence[str]) -> None:
        firsts = {line: next((k for k, s in enumerate(snapshots) if test(s, line)), -1) for line in lines}
        rows = {line: k for line, k in firsts.items() if k >= 0}
        while rows:
            row = min(rows.values())
            together = [line for line, k in rows.items() if k <= row + 1]
            s = snapshots[row]
            found.append(Event(what.format(" and ".join(together)), s.step, s.load, s.deflection))
            rows = {line: k for line, k in rows.items() if line not in together}

    put(f"a joint is open by {VISIBLE} mm", lambda s: s.joint, VISIBLE)
    put(f"a crack at bar level in the splice is {VISIBLE} mm wide", lambda s: s.bar_level, VISIBLE)
    put(f"an inclined crack is {VISIBLE} mm wide", lambda s: s.cracks["inclined"], VISIBLE)
    # elsewhere (under ribs, in bends, beside a plate) concrete bears more than that held by what lies around it
    put(f"concrete of the compression zone is compressed beyond {CRUSHING}", lambda s: s.compression, CRUSHING)
    put(f"concrete of the web is compressed beyond {CRUSHING}", lambda s: s.web, CRUSHING)
    leads = list(snapshots[0].past) if snapshots else []
    put_bars("half of the lead of bars {} is past its bond peak", lambda s, line: s.past[line] >= LOST, leads)
    put_bars("bars {} yield at the joint face", lambda s, line: s.stress[line] >= yields[line], list(yields))
    return tuple(sorted(found, key=lambda e: e.step))


# ------------------------------------------------------------------ all of it
@dataclass(frozen=True, repr=False)
class ElevationFindings(Told):
    """Findings of a run; loads per ram [N], lengths [mm], stresses [MPa]; nan where nothing is known.

    ``bar_stress`` at the joint face, ``yield_share`` of f_y, ``hook_share`` and ``slip`` at the tangent
    point by main bar line, ``joint_opening`` at the tension face by side, ``joint_widest`` over the
    height (nan without joints), ``ties``, ``widest_crack``: all at the largest load.
    ``assessment``: what the view failed by, at which bar stress, on what evidence.
    ``side_splitting``: bar stress at which by a formula hooks split the cover beside them, which no view shows.
    ``residual`` and ``moment_residual``: global equilibrium at the largest load, ``unbalanced`` forces left at free
    nodes; ``worst_*`` over all steps, ``worst_step`` the least balanced one
    (see :class:`fesplice.post.equilibrium.Balance`).
    """

    view: str
    specimen: str
    outcome: Ended
    steps: int
    relaxed_steps: int
    cracking: Cracking
    peak_load: float
    peak_step: int
    peak_deflection: float
    strength: Strength
    drop_after_peak: Known
    bond_loss: BondLoss
    bar_stress: dict[str, Known]
    yield_share: dict[str, Known]
    hook_share: dict[str, Known]
    slip: dict[str, Known]
    joint_opening: dict[str, Known]
    joint_widest: Known
    joint_widest_y: Known
    widest_crack: CrackSpot | None
    ties: tuple[Tie, ...]
    assessment: Assessment
    side_splitting: Known
    events: tuple[Event, ...]
    residual: Known
    moment_residual: Known
    unbalanced: Known
    worst_residual: Known
    worst_unbalanced: Known
    worst_step: int


def elevation_findings(
    run: Run, seen: ElevationTrace | None = None, outcome: Outcome | None = None
) -> ElevationFindings:
    """Findings of a run, finished or not; ``seen`` its trace if it was read already, ``outcome`` how it ended if the
    folder does not know yet. Raises :class:`FolderFault` when it has no step yet.
    """
    seen = trace(run) if seen is None else seen
    mesh, curve, specimen = run.mesh, run.curve, specimen_of(run)
    laid, snapshots = seen.laid, seen.snapshots
    peak = run.indices.index(run.index_of_peak)
    concretes = {"precast": specimen.concrete.precast}
    splice = concretes["closure"] = specimen.concrete.closure or specimen.concrete.precast
    limit = {name: float(c.tensile_strength / c.elastic_modulus) for name, c in concretes.items()}
    yields = {name: float(specimen.steel[line.steel].yield_strength) for name, line in main_lines(mesh).items()}
    at_peak = run.step(run.indices[peak])
    holds = {name: anchorage(mesh, at_peak.fields, name, laid) for name in main_lines(mesh)}
    opened = cracking(snapshots, limit)
    found = widest(crack_pattern(mesh, at_peak.fields), 1)
    held = strength(seen.deflection, seen.load, specimen.analysis.drop)
    load, balances = seen.load, seen.balances
    return ElevationFindings(
        view="elevation",
        specimen=run.specimen_name,
        outcome=run.outcome if outcome is None else outcome,
        steps=len(snapshots),
        relaxed_steps=sum(str(o) in Outcome.unconverged.spellings for o in curve["outcome"]),
        cracking=opened,
        peak_load=float(load[peak]),
        peak_step=int(run.indices[peak]),
        peak_deflection=float(seen.deflection[peak]),
        strength=held,
        drop_after_peak=float(1.0 - load[peak:].min() / load[peak]) if load[peak] > 0.0 else math.nan,
        bond_loss=bond_loss(seen),
        bar_stress={name: a.face for name, a in holds.items()},
        yield_share={name: a.face / yields[name] for name, a in holds.items()},
        hook_share={name: a.hook_share for name, a in holds.items()},
        slip={name: a.slip_tangent for name, a in holds.items()},
        joint_opening={s: float(curve[f"joint_{s}_mm"][peak]) for s in ("left", "right") if laid.joints},
        joint_widest=snapshots[peak].joint.value if laid.joints else math.nan,
        joint_widest_y=snapshots[peak].joint.y if laid.joints else math.nan,
        widest_crack=found[0] if found else None,
        ties=ties(seen.ties[: peak + 1], prying(seen.interface, laid, splice), mesh, at_peak.u, laid),
        assessment=assess_elevation(seen, mesh, specimen, held),
        side_splitting=side_splitting(mesh, specimen) if specimen.bars.left.hook is not None else math.nan,
        events=events(snapshots, yields),
        residual=balances[peak].residual,
        moment_residual=balances[peak].moment_residual,
        unbalanced=balances[peak].unbalanced,
        worst_residual=max(b.residual for b in balances),
        worst_unbalanced=max(b.unbalanced for b in balances),
        worst_step=int(run.indices[int(np.argmax([b.unbalanced for b in balances]))]),
    )
