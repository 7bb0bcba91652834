"""Columns of a curve made again from a stored step, by view: what a run is held against (:mod:`verify`)."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from fesplice.contracts import Floats
from fesplice.mesh import Mesh
from fesplice.model.estimate import dead_moment
from fesplice.model.fields import bar_stress_at, critical_sections
from fesplice.specimen import Specimen

Values = Mapping[str, np.ndarray]
Columns = dict[str, Floats]


def beam_row(s: Specimen, mesh: Mesh, values: Values) -> dict[str, float]:
    """Of an elevation: what the supports carry [N], the bar stresses at the critical sections [MPa]."""
    held = [nodes for name, nodes in mesh.node_sets.items() if name.startswith("support:")]
    nodes = np.unique(np.concatenate(held))
    out = {"load_N": float(np.asarray(values["reactions"], float)[2 * nodes + 1].sum())}
    forces = {name: values[name] for line in mesh.lines.values() for name in _stresses(line.groups)}
    for line, x in critical_sections(s).items():
        out[f"bar_stress_{line}_MPa"] = bar_stress_at(mesh, forces, line, x)
    return out


def _stresses(groups: tuple[str, ...]) -> list[str]:
    return [f"{name}/stress" for name in groups]


def beam_loads(s: Specimen, columns: Columns, begun: bool) -> Columns:
    """Loads per ram and moments from what the supports carry; none where the steps have not ``begun`` at 0.

    At step 0 it is the dead load; the rest comes from two rams, or from one in the middle.
    """
    carried = columns["load_N"]
    rams = 1.0 if s.body.shear_span == 0.5 * s.body.span else 2.0
    load = (carried - carried[0]) / rams if begun else np.full(len(carried), np.nan)
    x = abs(critical_sections(s)["A"])
    arm = min(s.body.shear_span, 0.5 * s.body.span - x) * (0.5 if rams == 1.0 else 1.0)
    return columns | {"load_N": load, "moment_Nmm": load * arm + dead_moment(s, x)}


def slab_row(s: Specimen, mesh: Mesh, values: Values) -> dict[str, float]:
    """Of a plan: load per side [N] and stresses of the bars where they enter [MPa]."""
    out: dict[str, float] = {}
    for row, side in (("A", "left"), ("B", "right")):
        stress = np.asarray(values[f"grips:{side}/stress"], float)[:, 0]
        area = np.asarray(mesh.groups[f"grips:{side}"].data["area"])
        out[f"bar_stress_{row}_MPa"] = float((stress * area).sum() / area.sum())
        out |= {f"bar_stress_{row}{k}_MPa": float(one) for k, one in enumerate(stress, start=1)}
        if row == "A":
            out["load_N"] = float((stress * area).sum())
    return out


def slab_loads(s: Specimen, columns: Columns, begun: bool) -> Columns:
    """As they are: a slab is held by its bars alone."""
    return columns
