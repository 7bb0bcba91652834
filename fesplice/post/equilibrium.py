"""Global equilibrium of a run: support forces against the loads the specimen says it carries."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from fesplice.contracts import Floats
from fesplice.mesh import Mesh
from fesplice.post.points import gather

if TYPE_CHECKING:
    from fesplice.store.run import Run


@dataclass(frozen=True)
class Balance:
    """Global equilibrium; N and N mm about (0, 0).

    ``reactions`` sum of vertical support forces, ``loads`` sum of vertical loads (downward
    negative), ``thrust`` sum of horizontal support forces. ``residual`` = |sum of vertical forces| /
    sum of their absolutes, ``moment_residual`` likewise: does the whole stand? ``unbalanced`` = sum of
    the absolute forces out of balance at all free nodes / sum of absolute loads: does every
    part stand? The second is the harder one, for forces out of balance cancel in the whole.
    """

    reactions: float
    loads: float
    thrust: float
    residual: float
    moment_residual: float
    unbalanced: float


def balance(mesh: Mesh, reactions: Floats, loads: Sequence[tuple[float, float]]) -> Balance:
    """Balance of the support forces with the ``loads``, pairs (force in y [N], at x [mm]).

    ``reactions`` (n_dof): internal forces less loads, so zero at free nodes in equilibrium. Only the
    entries at support nodes are reactions: summed over all nodes, internal forces balance
    by themselves and say nothing.
    """
    held = [nodes for name, nodes in mesh.node_sets.items() if name.startswith("support:")]
    nodes = np.unique(np.concatenate(held)) if held else np.empty(0, int)
    everywhere = np.asarray(reactions, float)[: 2 * len(mesh.points)].reshape(-1, 2)
    r = everywhere[nodes]
    free = np.abs(np.delete(everywhere, nodes, axis=0)).sum()
    x, y = mesh.points[nodes].T
    load = np.array(list(loads), float).reshape(-1, 2)
    force = np.concatenate([r[:, 1], load[:, 0]])
    turning = np.concatenate([r[:, 1] * x - r[:, 0] * y, load[:, 0] * load[:, 1]])
    scale, turn = np.abs(force).sum(), np.abs(turning).sum()
    return Balance(
        float(r[:, 1].sum()), float(load[:, 0].sum()), float(r[:, 0].sum()),
        float(abs(force.sum()) / scale) if scale > 0.0 else 0.0,
        float(abs(turning.sum()) / turn) if turn > 0.0 else 0.0,
        float(free / np.abs(load[:, 0]).sum()) if np.abs(load[:, 0]).sum() > 0.0 else 0.0,
    )  # fmt: skip


@dataclass(frozen=True)
class Loads:
    """Vertical loads of a run: ``rams`` (n,) their x [mm], ``gear`` per ram, ``dead`` self-weight (at x), both [N].

    ``gear`` counts with the load: negative where the rams lift it.
    """

    rams: tuple[float, ...]
    gear: float
    dead: tuple[float, float]

    def at(self, load: float) -> list[tuple[float, float]]:
        """Pairs (force in y [N], at x [mm]) under ``load`` per ram [N]."""
        return [*((-(load + self.gear), x) for x in self.rams), self.dead]


def run_loads(run: Run) -> Loads:
    """Loads of a run, from its specimen: rams, loading gear, weight of the concrete over its full width."""
    from fesplice.specimen import read_text

    s = read_text(run.specimen_text, str(run.folder))
    mesh, dead = run.mesh, (0.0, 0.0)
    if s.loading.self_weight:
        points = gather(mesh)
        closure = s.concrete.closure or s.concrete.precast
        heavy = {"precast": s.concrete.precast.unit_weight, "closure": closure.unit_weight}
        per_area = np.array([heavy[mesh.groups[name].material] for name in points.names])[points.group]
        weight = points.area * s.body.width * per_area
        sense = -1.0 if s.loading.tension_face == "down" else 1.0
        dead = (sense * float(weight.sum()), float((weight * points.xy[:, 0]).sum() / weight.sum()))
    rams = [nodes for name, nodes in mesh.node_sets.items() if name.startswith("load:")]
    gear = s.loading.equipment_weight if s.loading.tension_face == "down" else -s.loading.equipment_weight
    return Loads(tuple(float(mesh.points[nodes, 0].mean()) for nodes in rams), gear, dead)


def run_balance(run: Run, index: int) -> Balance:
    """Global equilibrium of a stored step, from its reactions and the specimen's own loads."""
    step = run.step(index)
    row = run.indices.index(step.index)
    return balance(run.mesh, step.fields["reactions"], run_loads(run).at(float(run.curve["load_N"][row])))
