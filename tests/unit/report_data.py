"""A run written by hand, for tests of figures and page: simple fields with known values on a real mesh."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np

from fesplice.contracts import Outcome
from fesplice.geometry import build_mesh, elevation
from fesplice.mesh import Mesh
from fesplice.post.record import as_stored, findings
from fesplice.specimen import read_text
from fesplice.store import Run, RunWriter, StepRecord

SPECIMEN = """
name = "R-100-U"
note = "for tests"
[body]
width = "600 mm"
depth = "575 mm"
span = "4800 mm"
shear_span = "1500 mm"
closure = "560 mm"
[concrete.precast]
strength = "42 MPa"
[concrete.closure]
strength = "35 MPa"
tensile_strength = "1.95 MPa"
[steel.main]
yield_strength = "725 MPa"
ultimate_strength = "930 MPa"
[bars]
splice = "hooked"
lap = "460 mm"
spacing = "100 mm"
[bars.left]
size = "29"
number = 2
steel = "main"
depth = "515 mm"
[mesh]
splice = "35 mm"
elsewhere = "120 mm"
"""

#: Load per ram [N] of the steps; the largest is 132 kN, 0.6 of it lies nearest to the third step.
LOADS = (0.0, 40e3, 80e3, 110e3, 132e3, 120e3, 80e3)
#: Crack at x = 900 mm: opening [mm] at the largest load, and the angle of its normal [rad].
CRACK_AT, CRACK, NORMAL = 900.0, 0.4, 0.25
#: Bar stress at the joint face at the largest load [MPa].
FACE = 360.0
#: Uniform stress of the closure at the largest load [MPa]: xx, yy, xy.
STRESS = (1.2, 0.2, 0.5)

Fields = dict[str, np.ndarray]


def write_run(
    folder: Path,
    text: str = SPECIMEN,
    loads: tuple[float, ...] = LOADS,
    outcome: Outcome | None = Outcome.softened,
    change: Callable[[Mesh, Fields, float], None] | None = None,
    kept: bool = False,
) -> Run:
    """Write the run; ``change`` may alter the fields of each step (mesh, fields, share of the largest load).

    ``kept``: its manifest keeps the findings, as that of a computed run does.
    """
    s = read_text(text, "test")
    mesh = build_mesh(elevation(s), s.mesh)
    with RunWriter.create(
        folder, specimen_text=s.text, specimen_name=s.name, specimen_digest=s.digest, mesh=mesh,
        settings={"view": "elevation", "tolerances": {"force": 0.005}}, versions={"fesplice": "0.0", "numpy": "0.0"},
    ) as writer:  # fmt: skip
        peak = int(np.argmax(loads)) if loads else 0
        for k, load in enumerate(loads):
            share = max(k / peak if k <= peak else load / loads[peak], 0.0)
            values = fields(mesh, share)
            if change is not None:
                change(mesh, values, share)
            if k == 3:
                writer.attempt(
                    step=k, method="newton", size=0.4, outcome="diverged", iterations=6, residual=3.0, seconds=0.2
                )
            writer.attempt(
                step=k, method="newton", size=0.2, outcome="converged", iterations=4, residual=1e-4, seconds=0.1
            )
            writer.accept(StepRecord(k, columns(share, load, k), values, {"at": load}))
        if outcome is not None:
            found = as_stored(findings(Run(folder), stored=False, outcome=outcome)) if kept else {}
            writer.finish(outcome, found, ["a warning <for> people"])
    return Run(folder)


def columns(share: float, load: float, k: int) -> dict[str, float | str]:
    deflection = 2.0 * k + 0.2
    stress = FACE * share
    return {
        "load_N": load, "deflection_mm": deflection, "load_point_mm": 0.8 * deflection, "joint_left_mm": 0.3 * share,
        "joint_right_mm": 0.3 * share, "bar_stress_A_MPa": stress, "bar_stress_B_MPa": stress,
        "moment_Nmm": 1500.0 * load, "iterations": 4, "residual": 1e-4, "energy": 1e-6, "outcome": "converged",
    }  # fmt: skip


def fields(mesh: Mesh, share: float) -> Fields:
    n = 2 * len(mesh.points)
    bent = [g.cells.ravel() for g in mesh.of_kind("frame2").values()]
    turning = len(np.unique(np.concatenate(bent))) if bent else 0
    u = np.zeros(n + turning)
    x, y = mesh.points.T
    u[1:n:2] = -9.0 * share * (1.0 - (x / 2600.0) ** 2)
    u[0:n:2] = 9.0 * share * (x / 2600.0) * (400.0 - y) / 1300.0
    out: Fields = {"u": u, "reactions": np.zeros_like(u)}
    for name, g in mesh.groups.items():
        m = len(g.cells)
        xy = mesh.points[g.cells].mean(axis=1)
        if g.kind == "quad4":
            strain, stress, crack = np.zeros((m, 4, 3)), np.zeros((m, 4, 3)), np.zeros((m, 4, 3))
            strain[..., 0] = share * (400.0 - xy[:, 1, None]) * 1e-6
            if g.material == "closure":
                stress[...] = np.multiply(STRESS, share)
            left, right = mesh.points[g.cells, 0].min(axis=1), mesh.points[g.cells, 0].max(axis=1)
            here = (left <= CRACK_AT) & (right > CRACK_AT) & (xy[:, 1] < 300.0) & (g.material == "precast")
            # two points share a band 80 mm wide: the crack strain is opening over band
            crack[here] = (share * CRACK / 80.0, NORMAL, 80.0)
            out |= {f"{name}/strain": strain, f"{name}/stress": stress, f"{name}/crack": crack}
        elif g.kind in ("truss2", "frame2"):
            stress = FACE * share * bar_shape(xy[:, 0]) if name.split(":")[1] in ("A", "B") else np.zeros(m)
            out |= {f"{name}/stress": stress, f"{name}/strain": stress / 2e5, f"{name}/moment": np.zeros(m)}
        elif g.kind == "bond":
            tau = np.full(m, -3.0 * share)
            out |= {f"{name}/slip": tau / 60.0, f"{name}/tau": tau}
            out |= {f"{name}/gap": 0.0 * tau, f"{name}/bearing": 0.0 * tau}
        elif g.kind == "joint":
            opening = np.full((m, 2), 0.3 * share)
            out |= {f"{name}/opening": opening, f"{name}/slip": 0.0 * opening}
            out |= {f"{name}/normal": 0.0 * opening, f"{name}/shear": 0.0 * opening}
    return out


def bar_shape(x: np.ndarray) -> np.ndarray:
    """Share of the stress at the joint face: 1 outside the closure, falling evenly to 0 across it."""
    return np.clip(1.0 - (280.0 - np.abs(x)) / 400.0, 0.0, 1.0)
