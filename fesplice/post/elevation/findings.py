"""One screen of findings from a run on disk: loads, stresses, failure, prying tie, equilibrium.

Two strengths are told, since bond and hook may peak apart: the load before the first drop of
15 %, and the largest load on the way to three times the deflection of that peak.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from fesplice.contracts import Floats
from fesplice.mesh import Mesh
from fesplice.post.concrete import HAIRLINE, VISIBLE, CrackSpot, crack_pattern, widest
from fesplice.post.elevation.bars import anchorage
from fesplice.post.elevation.forces import SectionCut, block_lift, lay_ties, read_cut
from fesplice.post.elevation.layout import Layout, layout, main_lines
from fesplice.post.elevation.trace import Event, Moment, Tracer, Verdict, events, verdict
from fesplice.post.equilibrium import balance, run_loads

if TYPE_CHECKING:
    from fesplice.store.run import Run

#: A fall of this share of the load is a drop; the later strength is sought up to this multiple of deflection.
DROP, REACH = 0.15, 3.0


# ------------------------------------------------------------------ strength
@dataclass(frozen=True)
class Strength:
    """Strength of a response curve; loads [N], deflections [mm], rows of the curve.

    ``first`` before the first drop (the largest of all when ``dropped`` is False) at row ``first_row``;
    ``lowest`` over the drop, at ``lowest_row``; ``later`` the largest load from there to ``REACH`` times
    the deflection of the first peak (nan without a drop).
    """

    dropped: bool
    first: float
    first_row: int
    first_deflection: float
    lowest: float
    lowest_row: int
    later: float
    later_deflection: float


def strength(
    deflection: Floats, load: Floats, cracked: int = 0, drop: float = DROP, reach: float = REACH
) -> Strength:
    """First drop of at least the share ``drop``, and the largest load afterwards.

    The fall at first cracking, up to the row ``cracked``, is no failure if the load rises above it again.
    """
    if load[cracked:].max() > load[: cracked + 1].max():
        best = np.concatenate([np.zeros(cracked), np.maximum.accumulate(load[cracked:])])
    else:
        best = np.maximum.accumulate(load)
    low = np.flatnonzero((load <= (1.0 - drop) * best) & (best > 0.0))
    nan = float("nan")
    if not len(low):
        k = int(np.argmax(load))
        return Strength(False, float(load[k]), k, float(deflection[k]), nan, -1, nan, nan)
    k = int(np.flatnonzero(load[: low[0] + 1] == best[low[0]])[0])
    # the drop goes on while the load falls
    end = int(low[0])
    while end + 1 < len(load) and load[end + 1] < load[end]:
        end += 1
    later = np.flatnonzero((np.arange(len(load)) > end) & (deflection <= reach * deflection[k]))
    j = int(later[np.argmax(load[later])]) if len(later) else -1
    return Strength(
        True, float(load[k]), k, float(deflection[k]), float(load[end]), end,
        float(load[j]) if j >= 0 else nan, float(deflection[j]) if j >= 0 else nan,
    )  # fmt: skip


# ------------------------------------------------------------------ cracking
@dataclass(frozen=True)
class Cracking:
    """Loads per ram [N] and steps at which the first crack forms and becomes visible; nan and -1 if never.

    The first crack: crack strain above f_ct / E or width above ``HAIRLINE``; visible: ``VISIBLE``.
    """

    first: float
    first_step: int
    visible: float
    visible_step: int


def cracking(moments: Sequence[Moment], limit: Mapping[str, float]) -> Cracking:
    """Cracking from the trace of a run; ``limit`` = f_ct / E by concrete.

    A crack often lets the load fall within its step: the larger of the loads before and after counts.
    """
    first, visible, before = (math.nan, -1), (math.nan, -1), -math.inf
    for m in moments:
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
    """The prying tie of one anchored bar line; N, mm.

    At the largest load: ``demand`` concrete tension across bar level within 4 d_b of the hook,
    ``capacity`` f_ct x net area, ``usage`` demand / capacity, ``bars`` force of tails and legs that
    cross the same line, ``lift`` of the block and ``open_length``. ``highest_usage`` up to that load.
    """

    line: str
    demand: float
    capacity: float
    usage: float
    bars: float
    lift: float
    open_length: float
    highest_usage: float


def ties(
    cuts: Sequence[Mapping[str, SectionCut]], mesh: Mesh, u: Floats, plan: Layout
) -> tuple[Tie, ...]:
    """Ties at the last of ``cuts``, the ``bend`` cuts of every step up to the largest load, where ``u`` holds."""
    found = []
    for line, a in plan.anchors.items():
        c, up = cuts[-1][f"{line}/bend"], block_lift(mesh, u, a, plan)
        highest = max(at[f"{line}/bend"].usage for at in cuts)
        found.append(Tie(line, c.tension, c.capacity, c.usage, c.bar_force, up.largest, up.open_length, highest))
    return tuple(found)


# ------------------------------------------------------------------ bond of the lead
@dataclass(frozen=True)
class BondLoss:
    """Largest load [N] up to the step at which half of a lead is past its bond peak; with it the
    deflection [mm] and the bar stress [MPa] at the joint face by line. All nan where bond held.
    """

    line: str
    load: float
    deflection: float
    bar_stress: dict[str, float]


def bond_loss(moments: Sequence[Moment]) -> BondLoss:
    """The first lead to lose its bond: in a lap the strength that straight bond alone would give."""
    for k, m in enumerate(moments):
        if lost := [line for line, share in m.past.items() if share >= 0.5]:
            top = max(moments[: k + 1], key=lambda at: at.load)
            return BondLoss(lost[0], top.load, top.deflection, dict(top.stress))
    return BondLoss("", math.nan, math.nan, {})


# ------------------------------------------------------------------ the screen
@dataclass(frozen=True)
class Summary:
    """Findings of a run; loads per ram [N], lengths [mm], stresses [MPa]; nan where nothing is known.

    ``bar_stress`` at the joint face, ``yield_share`` of f_y, ``hook_share`` and ``slip`` at the tangent
    point by main bar line, ``joint_opening`` at the tension face by side, ``joint_widest`` over the
    height (nan without joints), ``ties``, ``widest_crack``: all at the largest load.
    ``first_bar_stress``: at the joint face before the first drop, which ``verdict`` explains.
    ``residual`` and ``moment_residual``: global equilibrium there, ``unbalanced`` forces left at free
    nodes; ``worst_*`` over all steps, ``worst_step`` the least balanced one
    (see :class:`fesplice.post.equilibrium.Balance`).
    """

    specimen: str
    outcome: str
    steps: int
    loose_steps: int
    cracking: Cracking
    peak_load: float
    peak_step: int
    peak_deflection: float
    strength: Strength
    drop_after_peak: float
    bond_loss: BondLoss
    bar_stress: dict[str, float]
    first_bar_stress: dict[str, float]
    yield_share: dict[str, float]
    hook_share: dict[str, float]
    slip: dict[str, float]
    joint_opening: dict[str, float]
    joint_widest: float
    joint_widest_y: float
    widest_crack: CrackSpot | None
    ties: tuple[Tie, ...]
    verdict: Verdict
    events: tuple[Event, ...]
    residual: float
    moment_residual: float
    unbalanced: float
    worst_residual: float
    worst_unbalanced: float
    worst_step: int

    @property
    def tie_usage(self) -> float:
        """Largest demand / capacity of the prying ties up to the largest load; nan without ties."""
        return max((t.highest_usage for t in self.ties), default=math.nan)

    def as_dict(self) -> dict[str, Any]:
        """Plain numbers, texts, lists and dicts, fit for JSON: nan becomes None."""
        return plain({**asdict(self), "tie_usage": self.tie_usage})


def plain(value: Any) -> Any:
    """``value`` with nothing but what JSON knows: nan becomes None."""
    if isinstance(value, dict):
        return {str(k): plain(v) for k, v in value.items()}
    if isinstance(value, list | tuple):
        return [plain(v) for v in value]
    if isinstance(value, float) and not math.isfinite(value):
        return None
    return value


def summarise(run: Run) -> Summary:
    """Findings of a run, finished or not; raises :class:`FolderFault` when it has no step yet."""
    from fesplice.specimen import read_text

    mesh, curve, specimen = run.mesh, run.curve, read_text(run.specimen_text, str(run.folder))
    peak = run.indices.index(run.index_of_peak)
    load, deflection = np.asarray(curve["load_N"], float), np.asarray(curve["deflection_mm"], float)
    plan = layout(mesh)
    concretes = {"precast": specimen.concrete.precast}
    concretes["closure"] = specimen.concrete.closure or specimen.concrete.precast
    f_ct = {name: float(c.tensile_strength) for name, c in concretes.items()}
    limit = {name: float(c.tensile_strength / c.elastic_modulus) for name, c in concretes.items()}
    yields = {name: float(specimen.steel[line.steel].yield_strength) for name, line in main_lines(mesh).items()}

    # one pass over the steps: reading them costs more than judging them
    tracer, laid, loads = Tracer(mesh, plan), lay_ties(mesh, plan, "bend"), run_loads(run)
    moments, balances, cuts = [], [], []
    for row, step in enumerate(run.steps()):
        moments.append(tracer.note(step.index, float(load[row]), float(deflection[row]), step.fields))
        balances.append(balance(mesh, step.fields["reactions"], loads.at(float(load[row]))))
        if row <= peak:
            cuts.append({name: read_cut(line, step.fields, f_ct) for name, line in laid.items()})
    at_peak = run.step(run.indices[peak])
    holds = {name: anchorage(mesh, at_peak.fields, name, plan) for name in main_lines(mesh)}
    opened = cracking(moments, limit)
    found = widest(crack_pattern(mesh, at_peak.fields, points=tracer.points), 1)
    held = strength(deflection, load, settled(moments, opened))
    top, low = ((k, run.step(run.indices[k]).fields) for k in _span(load, peak, held))
    return Summary(
        specimen=run.specimen_name,
        outcome=run.outcome.value,
        steps=len(moments),
        loose_steps=sum(str(o) == "loose" for o in curve["outcome"]),
        cracking=opened,
        peak_load=float(load[peak]),
        peak_step=int(run.indices[peak]),
        peak_deflection=float(deflection[peak]),
        strength=held,
        drop_after_peak=float(1.0 - load[peak:].min() / load[peak]) if load[peak] > 0.0 else math.nan,
        bond_loss=bond_loss(moments),
        bar_stress={name: a.face for name, a in holds.items()},
        first_bar_stress=dict(moments[held.first_row].stress),
        yield_share={name: a.face / yields[name] for name, a in holds.items()},
        hook_share={name: a.hook_share for name, a in holds.items()},
        slip={name: a.slip_tangent for name, a in holds.items()},
        joint_opening={s: float(curve[f"joint_{s}_mm"][peak]) for s in ("left", "right") if plan.joints},
        joint_widest=moments[peak].joint.value if plan.joints else math.nan,
        joint_widest_y=moments[peak].joint.y if plan.joints else math.nan,
        widest_crack=found[0] if found else None,
        ties=ties(cuts, mesh, at_peak.u, plan),
        verdict=verdict(mesh, moments, top, low, yields, plan),
        events=events(moments, yields),
        residual=balances[peak].residual,
        moment_residual=balances[peak].moment_residual,
        unbalanced=balances[peak].unbalanced,
        worst_residual=max(b.residual for b in balances),
        worst_unbalanced=max(b.unbalanced for b in balances),
        worst_step=int(run.indices[int(np.argmax([b.unbalanced for b in balances]))]),
    )


def settled(moments: Sequence[Moment], opened: Cracking) -> int:
    """Row by which both cracks and joints have opened visibly, if they ever do: falls until then may be theirs."""
    cracks = [k for k, m in enumerate(moments) if m.step == opened.visible_step]
    joints = [k for k, m in enumerate(moments) if m.joint.value >= VISIBLE][:1]
    return max(cracks + joints, default=0)


def _span(load: Floats, peak: int, held: Strength) -> tuple[int, int]:
    """Rows between which growth shows what failed: the first drop, or what followed the largest load.

    A run that ends at its largest load is read over its last step.
    """
    if held.dropped:
        return held.first_row, held.lowest_row
    return (max(peak - 1, 0), peak) if peak == len(load) - 1 else (peak, len(load) - 1)
