"""Virtual gauges on the steel across the bars, which lies outside the elevation: ties, transverse legs, hooked bars.

Both planes share the bar stress at the joint face: a load per ram is a bar stress of the elevation, and the plan
is read where its bars first carry that. Readings are zeroed in the state under own weight, as on the day.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from fesplice.contracts import Floats
from fesplice.post.plan.findings import plan_strength
from fesplice.post.plan.layout import plan_layout
from fesplice.post.plan.trace import trace
from fesplice.post.runs import bar_columns, specimen_of

if TYPE_CHECKING:
    from fesplice.store.run import Run

#: Places along the lap at which a line across is worth a gauge (judgement); lines at one place read much alike.
COUNT = 2


@dataclass(frozen=True)
class TieGauge:
    """A gauge on one line across at (x, y) [mm] of the plan; ``strain`` (n,) at the loads asked for [-]."""

    line: str
    x: float
    y: float
    strain: Floats


@dataclass(frozen=True)
class TieReadings:
    """Gauges by x, the bar stress [MPa] at which the plan is strongest, and where the loads lie (n,) [MPa]."""

    gauges: tuple[TieGauge, ...]
    reached: float
    wanted: Floats


def read_ties(elevation: Run, plan: Run, loads: Sequence[float], count: int = COUNT) -> TieReadings:
    """Lines across at the ``count`` places that strain most at the last of ``loads`` [N] per ram, the first of each.

    Beyond the strength of the plan they are read at its strength; between steps on a straight line.
    """
    mesh, laid = plan.mesh, plan_layout(plan.mesh)
    wanted, dead = _bar_stress(elevation, loads)
    history = trace(plan, laid)
    top = plan_strength(history, specimen_of(plan).analysis.drop).row
    stress = np.maximum.accumulate(history.bar_stress[: top + 1])
    # of steps at one bar stress the first counts: what came later stands past a small drop
    rows = np.concatenate([[0], np.flatnonzero(np.diff(stress) > 0.0) + 1])
    places = np.interp(np.clip([dead, *wanted], 0.0, stress[-1]), stress[rows], np.arange(len(rows)))
    near = sorted({int(r) for p in places for r in (np.floor(p), np.ceil(p))})
    fields = {k: plan.step(plan.indices[rows[k]]).fields for k in near}
    found = []
    for name in laid.across:
        for group in mesh.lines[name].groups:
            strain = {k: np.asarray(f[f"{group}/strain"], float).reshape(-1) for k, f in fields.items()}
            read = np.array([_between(strain, p) for p in places])
            read = read[1:] - read[0]
            at = int(np.argmax(read[-1]))
            x, y = mesh.points[mesh.groups[group].cells[at]].mean(axis=0)
            found.append(TieGauge(name, float(x), float(y), read[:, at]))
    hardest: dict[float, TieGauge] = {}
    for gauge in sorted(found, key=lambda g: -g.strain[-1]):
        hardest.setdefault(round(gauge.x, 3), gauge)
    chosen = sorted(list(hardest.values())[:count], key=lambda g: g.x)
    return TieReadings(tuple(chosen), float(stress[-1]), wanted)


def _between(values: dict[int, Floats], place: float) -> Floats:
    low, high = int(np.floor(place)), int(np.ceil(place))
    return values[low] + (place - low) * (values[high] - values[low])


def _bar_stress(run: Run, loads: Sequence[float]) -> tuple[Floats, float]:
    """Bar stress [MPa] of the elevation at the loads, and under own weight; its largest above the largest load."""
    load = np.asarray(run.curve["load_N"], float)
    stress = np.max(list(bar_columns(run.curve).values()), axis=0)
    peak = int(np.nanargmax(load))
    highest = np.maximum.accumulate(load[: peak + 1])
    rows = np.concatenate([[0], np.flatnonzero(np.diff(highest) > 0.0) + 1])
    return np.interp(loads, highest[rows], stress[rows]), float(stress[0])
