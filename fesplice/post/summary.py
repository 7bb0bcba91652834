"""One screen of findings from a run on disk: loads, stresses, failure, prying tie, equilibrium.

Two strengths are told, since bond and hook may peak apart: the load before the first drop of
15 %, and the largest load on the way to three times the deflection of that peak.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from fesplice.contracts import Floats
from fesplice.mesh import Mesh
from fesplice.post.bars import anchorage
from fesplice.post.concrete import HAIRLINE, VISIBLE, CrackSpot, crack_pattern, widest
from fesplice.post.failure import Event, Verdict, events, trace, verdict
from fesplice.post.forces import balance, block_lift, run_loads, tie_cuts
from fesplice.post.layout import Layout, layout, main_lines
from fesplice.post.points import Fields, Points, gather

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


def strength(deflection: Floats, load: Floats, drop: float = DROP, reach: float = REACH) -> Strength:
    """First drop of at least the share ``drop``, and the largest load afterwards."""
    best = np.maximum.accumulate(load)
    low = np.flatnonzero(load <= (1.0 - drop) * best)
    nan = float("nan")
    if not len(low):
        k = int(np.argmax(load))
        return Strength(False, float(load[k]), k, float(deflection[k]), nan, -1, nan, nan)
    k = int(np.argmax(load[: low[0] + 1]))
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


def cracking(
    points: Points, steps: Iterable[tuple[int, float, Fields]], limit: Mapping[str, float], materials: Mapping[str, str]
) -> Cracking:
    """Cracking over (step number, load, fields); ``limit`` = f_ct / E by material, ``materials`` of groups.

    A crack often lets the load fall within its step: the larger of the loads before and after counts.
    """
    bound = np.array([limit[materials[name]] for name in points.names])[points.group]
    first, visible, before = (math.nan, -1), (math.nan, -1), -math.inf
    for number, load, fields in steps:
        strain, _, band = points.values(fields, "crack").T
        width = float((strain * band).max(initial=0.0))
        if first[1] < 0 and (width >= HAIRLINE or bool((strain >= bound).any())):
            first = (max(load, before), number)
        if width >= VISIBLE:
            visible = (max(load, before), number)
            break
        before = load
    return Cracking(first[0], first[1], visible[0], visible[1])


# ------------------------------------------------------------------ prying tie
@dataclass(frozen=True)
class Tie:
    """The prying tie of one anchored bar line; N, mm.

    At the largest load: ``demand`` concrete tension across bar level within 4 d_b of the hook,
    ``capacity`` f_ct x net area, ``legs`` force of legs and tails that cross the same line, ``usage``
    demand / capacity, ``lift`` of the block and ``open_length``. ``highest_usage`` up to that load.
    """

    line: str
    demand: float
    capacity: float
    usage: float
    legs: float
    lift: float
    open_length: float
    highest_usage: float


def ties(
    mesh: Mesh, steps: Iterable[tuple[Fields, Floats]], strengths: Mapping[str, float], plan: Layout
) -> tuple[Tie, ...]:
    """Ties at the last of ``steps``, pairs (fields, u) up to the largest load."""
    highest = dict.fromkeys(plan.anchors, 0.0)
    last = None
    for fields, u in steps:
        cuts = tie_cuts(mesh, fields, strengths, plan, only="bend")
        last = (cuts, u)
        for line in highest:
            highest[line] = max(highest[line], cuts[f"{line}/bend"].usage)
    if last is None:
        return ()
    found = []
    for line, a in plan.anchors.items():
        c, up = last[0][f"{line}/bend"], block_lift(mesh, last[1], a, plan)
        found.append(Tie(line, c.tension, c.capacity, c.usage, c.bar_force, up.largest, up.open_length, highest[line]))
    return tuple(found)


# ------------------------------------------------------------------ the screen
@dataclass(frozen=True)
class Summary:
    """Findings of a run; loads per ram [N], lengths [mm], stresses [MPa]; nan where nothing is known.

    ``bar_stress`` at the joint face, ``yield_share`` of f_y, ``hook_share`` and ``slip`` at the tangent
    point by main bar line, ``joint_opening`` by side, ``ties``, ``widest_crack``: all at the largest load.
    ``residual`` and ``moment_residual``: global equilibrium there; ``worst_residual`` over all steps.
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
    bar_stress: dict[str, float]
    yield_share: dict[str, float]
    hook_share: dict[str, float]
    slip: dict[str, float]
    joint_opening: dict[str, float]
    widest_crack: CrackSpot | None
    ties: tuple[Tie, ...]
    verdict: Verdict
    events: tuple[Event, ...]
    residual: float
    moment_residual: float
    worst_residual: float

    @property
    def tie_usage(self) -> float:
        """Largest demand / capacity of the prying ties up to the largest load; nan without ties."""
        return max((t.highest_usage for t in self.ties), default=math.nan)

    def as_dict(self) -> dict[str, Any]:
        """Plain numbers, texts, lists and dicts, fit for JSON: nan becomes None."""
        return _plain({**asdict(self), "tie_usage": self.tie_usage})


def _plain(value: Any) -> Any:
    if isinstance(value, dict):
        return {str(k): _plain(v) for k, v in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(v) for v in value]
    if isinstance(value, float) and not math.isfinite(value):
        return None
    return value


def summarise(run: Run) -> Summary:
    """Findings of a run, finished or not; raises :class:`FolderFault` when it has no step yet."""
    from fesplice.specimen import read_text

    mesh, curve, specimen = run.mesh, run.curve, read_text(run.specimen_text, str(run.folder))
    peak = run.indices.index(run.index_of_peak)
    load, deflection = np.asarray(curve["load_N"], float), np.asarray(curve["deflection_mm"], float)
    plan, points = layout(mesh), gather(mesh)
    concretes = {"precast": specimen.concrete.precast}
    concretes["closure"] = specimen.concrete.closure or specimen.concrete.precast
    f_ct = {name: float(c.tensile_strength) for name, c in concretes.items()}
    limit = {name: float(c.tensile_strength / c.elastic_modulus) for name, c in concretes.items()}
    materials = {name: g.material for name, g in mesh.groups.items()}
    yields = {name: float(specimen.steel[line.steel].yield_strength) for name, line in main_lines(mesh).items()}

    rows = list(zip(run.indices, load, deflection))
    at_peak = run.step(run.indices[peak])
    moments = trace(mesh, ((i, p, d, run.step(i).fields) for i, p, d in rows), plan)
    holds = {name: anchorage(mesh, at_peak.fields, name, plan) for name in main_lines(mesh)}
    loads = run_loads(run)
    balances = [balance(mesh, run.step(i).fields["reactions"], loads.at(p)) for i, p, _ in rows]
    found = widest(crack_pattern(mesh, at_peak.fields, points=points), 1)
    top, low = ((k, run.step(run.indices[k]).fields) for k in _span(load, peak))
    return Summary(
        specimen=run.specimen_name,
        outcome=run.outcome.value,
        steps=len(rows),
        loose_steps=sum(str(o) == "loose" for o in curve["outcome"]),
        cracking=cracking(points, ((i, p, run.step(i).fields) for i, p, _ in rows), limit, materials),
        peak_load=float(load[peak]),
        peak_step=int(run.indices[peak]),
        peak_deflection=float(deflection[peak]),
        strength=strength(deflection, load),
        drop_after_peak=float(1.0 - load[peak:].min() / load[peak]) if load[peak] > 0.0 else math.nan,
        bar_stress={name: a.face for name, a in holds.items()},
        yield_share={name: a.face / yields[name] for name, a in holds.items()},
        hook_share={name: a.hook_share for name, a in holds.items()},
        slip={name: a.slip_tangent for name, a in holds.items()},
        joint_opening={s: float(curve[f"joint_{s}_mm"][peak]) for s in ("left", "right") if plan.joints},
        widest_crack=found[0] if found else None,
        ties=ties(mesh, ((s.fields, s.u) for s in map(run.step, run.indices[: peak + 1])), f_ct, plan),
        verdict=verdict(mesh, moments, top, low, yields, plan),
        events=events(moments, yields),
        residual=balances[peak].residual,
        moment_residual=balances[peak].moment_residual,
        worst_residual=max(b.residual for b in balances),
    )


def _span(load: Floats, peak: int) -> tuple[int, int]:
    """Rows between which growth shows what failed: the peak and the end of the drop after it.

    A run that ends at its largest load is read over its last step.
    """
    if peak == len(load) - 1:
        return max(peak - 1, 0), peak
    low = np.flatnonzero(load[peak:] <= (1.0 - DROP) * load[peak])
    return peak, peak + int(low[0]) if len(low) else len(load) - 1
