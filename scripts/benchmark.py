"""One Newton iteration on beams of rising size: law, assembly, factor, solve; growth and memory; goals.

Each size runs in a process of its own, so that its peak memory is its own, and is read before
the libraries for comparison do anything. The parts are timed in turn, repeat by repeat, and
medians are printed: processor time of the one thread unless ``--wall`` asks for the clock.

The beam is four times as long as deep, in quadrilaterals of 2 x 2 points. Its state is that of a
real iteration after cracking: a uniform curvature past the first crack is committed, then the
curvature gathers at cracks a given distance apart while the concrete between them unloads.
"""

from __future__ import annotations

import argparse
import json
import os
import resource
import subprocess
import sys
import time
from collections.abc import Callable, Mapping
from pathlib import Path

import numpy as np
import scipy
import skfem
from scipy.sparse.linalg import splu
from skfem.helpers import ddot, sym_grad, trace

from fesplice.contracts import Floats, History
from fesplice.formulas.steel import idealised
from fesplice.laws import Bar, SmearedCrack
from fesplice.mesh import Group, Mesh
from fesplice.model.assembly import Model
from fesplice.solve.linear import Factorisation

SIZES = (5_000, 20_000, 100_000, 300_000)
TIME = {5_000: 12.0, 20_000: 65.0, 100_000: 480.0, 300_000: 1900.0}  # goals [ms]
SHARE = {20_000: 0.35, 100_000: 0.25}  # goals: all but the factorisation
GAIN, GROWTH, MEMORY = 2.4, 1.25, 1.5  # goals: times SciPy's default at 100k, exponent, GiB at 100k
ONE_THREAD = {f"{library}_NUM_THREADS": "1" for library in ("OMP", "OPENBLAS", "MKL", "NUMEXPR", "NUMBA")}
DEPTH, SLENDER, CRACKS = 500.0, 4, 250.0  # depth and distance of cracks [mm]
PARTS = ("law", "assembly", "factor", "solve")


class Timed:
    """A law that adds up the time it takes."""

    n_strain = 3

    def __init__(self, law: SmearedCrack, clock: Callable[[], float]):
        self.law, self.clock, self.spent = law, clock, 0.0
        self.fresh = law.fresh

    def respond(self, *args, **options):
        """As the law itself."""
        began = self.clock()
        answer = self.law.respond(*args, **options)
        self.spent += self.clock() - began
        return answer


# ------------------------------------------------------------------ the case
def beam(unknowns: int) -> Mesh:
    """Structured quadrilaterals, nodes numbered up and along, and one row of bars near the tension face."""
    ny = round(np.sqrt(unknowns / 2 / SLENDER))
    nx = round(unknowns / 2 / ny)
    step = DEPTH / (ny - 1)
    x, y = np.meshgrid(np.arange(nx) * step, np.arange(ny) * step, indexing="ij")
    corner = (np.arange(nx - 1)[:, None] * ny + np.arange(ny - 1)).ravel()
    cells = np.stack([corner, corner + ny, corner + ny + 1, corner + 1], axis=1).astype(np.int32)
    node = np.arange(nx) * ny + round(0.1 * ny)
    bars = np.stack([node[:-1], node[1:]], axis=1).astype(np.int32)
    groups = {
        "concrete": Group("quad4", "concrete", cells, {"thickness": np.full(len(cells), 300.0)}),
        "bars": Group("truss2", "steel", bars, {"area": np.full(len(bars), 1500.0)}),
    }
    return Mesh(np.stack([x.ravel(), y.ravel()], axis=1), groups)


def bent(points: Floats, curvature: Callable[[Floats], Floats]) -> Floats:
    """Displacements of plane sections under ``curvature`` (x), with some shear."""
    x = np.linspace(0.0, points[:, 0].max(), 20_001)
    turn = np.cumsum(curvature(x)) * (x[1] - x[0])
    drop = np.cumsum(turn) * (x[1] - x[0])
    u = np.empty(2 * len(points))
    u[0::2] = -np.interp(points[:, 0], x, turn) * (points[:, 1] - 0.7 * DEPTH)
    u[1::2] = np.interp(points[:, 0], x, drop) + 2e-5 * points[:, 0]
    return u


def cracked(model: Model) -> tuple[Floats, Mapping[str, History]]:
    """Displacements and committed history in the middle of a step."""

    step = np.ptp(model.mesh.points[model.mesh.groups["concrete"].cells[0], 0])

    def at(scale: float, gathered: float) -> Floats:
        def curvature(x: Floats) -> Floats:
            crack = np.floor(x / step) == np.floor((np.floor(x / CRACKS) + 0.5) * CRACKS / step)
            return scale * ((1.0 - gathered) + gathered * crack * CRACKS / step)

        return model.restrict(bent(model.mesh.points, curvature))

    history = model.fresh()
    for scale, gathered in ((4e-7, 0.0), (1e-6, 0.5), (4e-6, 0.9)):
        history = model.internal(at(scale, gathered), history, matrix=False).history
    return at(4.05e-6, 0.9), history


# ------------------------------------------------------------------ what is compared
def skfem_assembly(mesh: Mesh) -> Callable[[], object]:
    """Stiffness of linear elasticity on the same quadrilaterals with the same points, by scikit-fem."""
    grid = skfem.MeshQuad(mesh.points.T.copy(), mesh.groups["concrete"].cells.T.astype(np.int64))
    basis = skfem.Basis(grid, skfem.ElementVector(skfem.ElementQuad1()), intorder=2)

    @skfem.BilinearForm
    def stiffness(u, v, w):
        e = sym_grad(u)
        return 2.0 * 12.5e3 * ddot(e, sym_grad(v)) + 8.3e3 * trace(e) * trace(sym_grad(v))

    return lambda: stiffness.assemble(basis)


def measure(unknowns: int, repeats: int, clock: Callable[[], float]) -> dict:
    """Medians [ms] of one size, and what else is told of it."""
    mesh = beam(unknowns)
    law = Timed(SmearedCrack(30e3, 0.2, 2.8, 0.14, 35.0, 0.0022, 50.0), clock)
    bottom = np.flatnonzero(mesh.points[:, 1] == 0.0)
    f_ref = np.zeros(2 * len(mesh.points))
    f_ref[2 * np.flatnonzero(mesh.points[:, 1] == DEPTH) + 1] = -1.0
    fixed = np.array([2 * bottom[0], 2 * bottom[0] + 1, 2 * bottom[-1] + 1])
    began = clock()
    steel = Bar(idealised(200e3, 420.0, 620.0, 0.01, 0.1))
    model = Model(mesh, {"concrete": law, "bars": steel}, fixed, f_ref)
    built = clock() - began
    u, history = cracked(model)
    fronts = Factorisation(model.internal(u, history).matrix).fronts
    rhs = np.column_stack([model.internal(u, history).force, model.f_ref])

    def ours() -> dict[str, float]:
        law.spent, start = 0.0, clock()
        trial = model.internal(u, history)
        assembled = clock()
        factor = Factorisation(trial.matrix, fronts=fronts)
        factored = clock()
        factor.solve(rhs)
        return {
            "law": law.spent,
            "assembly": assembled - start - law.spent,
            "factor": factored - assembled,
            "solve": clock() - factored,
        }

    for _ in range(3):
        ours()
    memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 2**20

    matrix = model.internal(u, history).matrix
    assemble = skfem_assembly(mesh)
    assemble()
    rows = []
    for _ in range(repeats):
        row = ours()
        start = clock()
        default = splu(matrix)
        factored = clock()
        default.solve(rhs)
        solved = clock()
        assemble()
        row |= {"SciPy factor": factored - start, "SciPy solve": solved - factored, "scikit-fem": clock() - solved}
        rows.append(row)
    out = {key: 1e3 * float(np.median([row[key] for row in rows])) for key in rows[0]}
    old, now = history["concrete"]["tension"], model.internal(u, history).history["concrete"]
    return out | {
        "unknowns": model.n_free,
        "memory": memory,
        "build": 1e3 * built,
        "cracked": float((now["tension"][..., 0] > 2.8 / 30e3).mean()),
        "opening": float((now["tension"] > old).any(axis=-1).mean()),
    }


# ------------------------------------------------------------------ telling
def tell(found: dict[int, dict]) -> bool:
    """Print tables and goals; True when every goal was met."""
    others = ("SciPy factor", "SciPy solve", "gain", "scikit-fem", "GiB", "build", "cracked")
    heads = ("unknowns", *PARTS, "iteration", *others)
    print(" ".join(f"{head:>{max(9, len(head))}}" for head in heads))
    for r in found.values():
        r["iteration"] = sum(r[part] for part in PARTS)
        r["gain"] = (r["law"] + r["assembly"] + r["SciPy factor"] + r["SciPy solve"]) / r["iteration"]
        r["GiB"] = r["memory"]
        cells = [f"{r['unknowns']:d}", *(f"{r[h]:.1f}" for h in heads[1:9]), f"{r['scikit-fem']:.0f}"]
        cells += [f"{r['GiB']:.2f}", f"{r['build']:.0f}", f"{100 * r['cracked']:.0f} %"]
        print(" ".join(f"{cell:>{max(9, len(head))}}" for cell, head in zip(cells, heads, strict=True)))
    print("\ntimes in ms; gain: the same iteration with SciPy's default factorisation over ours;")
    print("scikit-fem: assembly of the elastic stiffness, to set beside assembly; cracked: share of points\n")

    goals = [(f"iteration at {n} unknowns [ms]", TIME[n], r["iteration"], "at most") for n, r in found.items()]
    for n, share in SHARE.items():
        if n in found:
            rest = 1.0 - found[n]["factor"] / found[n]["iteration"]
            goals.append((f"all but the factorisation at {n} [%]", 100 * share, 100 * rest, "at most"))
    if 100_000 in found:
        goals.append(("times SciPy's default iteration at 100000", GAIN, found[100_000]["gain"], "at least"))
        goals.append(("peak memory at 100000 [GiB]", MEMORY, found[100_000]["memory"], "at most"))
    if len(found) > 1:
        sizes = np.log([r["unknowns"] for r in found.values()])
        exponent = np.polyfit(sizes, np.log([r["iteration"] for r in found.values()]), 1)[0]
        goals.append(("growth exponent of the iteration", GROWTH, float(exponent), "at most"))
    met = True
    for name, goal, value, sense in goals:
        hit = value <= goal if sense == "at most" else value >= goal
        met &= hit
        print(f"{name:<44} goal {sense:>8} {goal:>7g}   measured {value:>8.4g}   {'met' if hit else 'MISSED'}")
    return met


def main() -> int:
    """Measure every size in a process of its own and print; exit 1 when a goal was missed."""
    parser = argparse.ArgumentParser(description=str(__doc__).splitlines()[0])
    parser.add_argument("--quick", action="store_true", help="leave out the largest mesh")
    parser.add_argument("--wall", action="store_true", help="time by the clock, not by the processor")
    parser.add_argument("--repeats", type=int, help="repeats of every size (default 15 to 3 by size)")
    parser.add_argument("--study", action="store_true", help="speed-up of a study by two workers instead")
    parser.add_argument("--prediction", action="store_true", help="one prediction with its pages instead")
    parser.add_argument("--size", type=int, help=argparse.SUPPRESS)
    options = parser.parse_args()
    if options.prediction:
        program = Path(__file__).with_name("benchmark_prediction.py")
        return subprocess.run([sys.executable, program], check=False).returncode
    if options.study:
        return subprocess.run([sys.executable, Path(__file__).with_name("benchmark_study.py")], check=False).returncode
    clock = time.perf_counter if options.wall else time.thread_time
    if options.size:
        repeats = options.repeats or max(3, min(15, 600_000 // options.size))
        print(json.dumps(measure(options.size, repeats, clock)))
        return 0
    print(f"numpy {np.__version__}, scipy {scipy.__version__}, scikit-fem {skfem.__version__}, one thread\n")
    found = {}
    for size in SIZES[:-1] if options.quick else SIZES:
        command = [sys.executable, __file__, *sys.argv[1:], "--size", str(size)]
        done = subprocess.run(command, check=True, capture_output=True, text=True, env=os.environ | ONE_THREAD)
        found[size] = json.loads(done.stdout)
    return 0 if tell(found) else 1


if __name__ == "__main__":
    sys.exit(main())
