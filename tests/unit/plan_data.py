"""A plan run written by hand, for tests of figures and pages: simple fields with known values on a real mesh."""

from __future__ import annotations

import runpy
from pathlib import Path

import numpy as np

from fesplice.contracts import Outcome
from fesplice.geometry.plan import plan
from fesplice.geometry.plan_mesh import plan_mesh
from fesplice.mesh import Mesh
from fesplice.post.record import as_stored, findings
from fesplice.specimen import read_text, vary_many
from fesplice.store import Run, RunWriter, StepRecord

_TEXT = runpy.run_path(str(Path(__file__).with_name("report_data.py")))["SPECIMEN"]
_TIES = {"kind": "ties", "size": "D10", "spacing": "85 mm", "number": 6, "steel": "main"}
#: A specimen with ties on a coarse plan.
TEXT = vary_many(read_text(_TEXT), {"confinement": _TIES, "plan.element": "40 mm"}).text

#: Load per side [N]: the strength is that of the third step, 0.6 of it lies nearest to the second.
LOADS = (0.0, 250e3, 400e3, 100e3)
#: Stress of the slab at the strength [MPa]: xx, yy, xy.
STRESS = (0.0, -2.0, -3.0)
#: Bar stress [MPa] of every bar at the strength, strain of the ties by their number over a thousand.
BAR, STRAIN = 420.0, 1e-3
#: Opening [mm] of the crack beside y = 0 at the strength, and the angle of its normal [rad].
CRACK, NORMAL = 0.12, 0.5 * np.pi
#: Outward displacement [mm] of both side faces at the strength.
OUT = 0.08

Fields = dict[str, np.ndarray]


def write_plan(
    folder: Path,
    text: str = TEXT,
    loads: tuple[float, ...] = LOADS,
    outcome: Outcome = Outcome.softened,
    kept: bool = False,
) -> Run:
    """Write the run: all fields follow the load, but the crack, which goes on to open.

    ``kept``: its manifest keeps the findings, as that of a computed run does.
    """
    s = read_text(text, "test")
    mesh = plan_mesh(plan(s), s.plan.element)
    with RunWriter.create(
        folder, specimen_text=s.text, specimen_name=s.name, specimen_digest=s.digest, mesh=mesh,
        settings={"view": "plan", "vertical": {}}, versions={"fesplice": "0.0", "numpy": "0.0"},
    ) as writer:  # fmt: skip
        for k, load in enumerate(loads):
            share = load / max(*loads, 1.0)
            writer.attempt(
                step=k, method="newton", size=0.2, outcome="converged", iterations=4, residual=1e-4, seconds=0.1
            )
            writer.accept(StepRecord(k, columns(mesh, share, load, k), fields(mesh, share, k), {"at": load}))
        found = as_stored(findings(Run(folder), stored=False, outcome=outcome)) if kept else {}
        writer.finish(outcome, found, ["a warning <for> people"])
    return Run(folder)


def columns(mesh: Mesh, share: float, load: float, k: int) -> dict[str, float | str]:
    bars = {f"bar_stress_{n}_MPa": BAR * share for n, line in mesh.lines.items() if line.role == "main"}
    return {
        "load_N": load, "extension_mm": 0.4 * k, "bar_stress_A_MPa": BAR * share, "bar_stress_B_MPa": BAR * share,
        **bars, "side_low_mm": OUT * share, "side_high_mm": OUT * share, "interface_lost": 0.1 * k, "iterations": 4,
        "residual": 1e-4, "energy": 1e-6, "outcome": "converged",
    }  # fmt: skip


def fields(mesh: Mesh, share: float, k: int) -> Fields:
    n = len(mesh.points)
    u = np.zeros(2 * n + 200)
    y = mesh.points[:, 1]
    u[1 : 2 * n : 2] = OUT * share * y / 300.0
    out: Fields = {"u": u, "reactions": np.zeros(2 * n)}
    for name, g in mesh.groups.items():
        m = len(g.cells)
        if g.kind == "quad4":
            stress, strain, crack = (np.zeros((m, 4, 3)) for _ in range(3))
            stress[...] = np.multiply(STRESS, share)
            strain[..., 1] = 1e-4 * share
            low, high = (getattr(mesh.points[g.cells, 1], f)(axis=1) for f in ("min", "max"))
            here = (low <= 1.0) & (high > 1.0)
            # the end stands past a drop: there the crack is twice as wide as at the strength
            crack[here] = (0.5 * k * CRACK / 40.0, NORMAL, 40.0)
            out |= {f"{name}/stress": stress, f"{name}/strain": strain, f"{name}/crack": crack}
        elif g.kind in ("truss2", "frame2"):
            line = name.split(":")[1]
            strain = share * STRAIN * int(line[1]) if line.startswith("T") else share * BAR / 2e5
            out |= {f"{name}/strain": np.full(m, strain), f"{name}/stress": np.full(m, strain * 2e5)}
            out[f"{name}/moment"] = np.zeros(m)
        elif g.kind == "bond":
            out |= {f"{name}/{q}": np.zeros(m) for q in ("slip", "gap", "tau", "bearing")}
        elif g.kind == "anchor":
            out |= {f"{name}/slip": np.full(m, 0.1 * share), f"{name}/force": np.full(m, 100e3 * share)}
        elif name.startswith("grips:"):
            out |= {f"{name}/slip": np.zeros((m, 2)), f"{name}/stress": np.tile([BAR * share, 0.0], (m, 1))}
        elif name == "interface":
            out |= {f"{name}/slip": np.zeros((m, 2)), f"{name}/stress": np.zeros((m, 2))}
    return out
