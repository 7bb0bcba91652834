"""Calibrates the effective width per bar of wedging bond on straight laps without ties.

One pair of straight bars, lapped over 20 diameters in a block as long as the lap, is pulled from both
ends; there is no transverse steel and nothing holds the cover. The width of the concrete at bar level,
b_e = k d_b per bar, is changed (above and below the gauges the block is as wide as the pair with half its
clear spacing, 2 d_b + 2 cover) until the bar stress at the largest load is the mean strength of fib
Model Code 2010, eq. 6.1-19, with K_tr = 0 and c_max = c_min. Nothing else is fitted. Concrete: missing
properties estimated from f_cm as for a specimen. The block is as high as cover, half a bar and six
diameters; its upper edge is held against moving up or down (freeing it changes the strength by 2 %).
Elements of 0.6 d_b: with 0.75 d_b the laps are 2 to 5 % stronger, with 0.5 d_b as much weaker.

About 3 minutes on one idle core for the 27 rows. ``--check`` computes laps beside the table instead.
"""

from __future__ import annotations

import argparse
import csv
import math
import time
from dataclasses import dataclass, replace
from itertools import product
from pathlib import Path

import numpy as np
from threadpoolctl import threadpool_limits

from fesplice.contracts import Law, NotConverged, State
from fesplice.formulas.steel import Curve
from fesplice.geometry import planes
from fesplice.geometry.meshing import build_mesh
from fesplice.geometry.surroundings import Stretch
from fesplice.laws import Bar, BondSlip, SmearedCrack, WedgingBond
from fesplice.laws.bond import bearing_modulus, envelope
from fesplice.laws.wedge import ANGLE, REFERENCE, TABLE, effective_width
from fesplice.model.assembly import Model, number_unknowns
from fesplice.model.width import band_share
from fesplice.provisions import mc2010
from fesplice.solve import Constant, Displacement, March, Stop
from fesplice.specimen import estimates

DIAMETERS, COVERS, STRENGTHS = (16.0, 25.0, 36.0), (1.0, 2.0, 3.0), (25.0, 40.0, 70.0)
LAP = 20.0  # lap length in diameters
CLOSE = 0.02  # the target is met this well
ELASTIC = Curve(200e3, (1.0, 2.0), (200e3, 200e3))
HEADER = """# Effective width of the concrete at bar level per bar, k = b_e / d_b, for bond that wedges at 45 degrees
# with w1 = 0.05 mm. Made by scripts/effective_width: straight laps of 20 d_b without ties, k such that the
# strength is that of fib Model Code 2010, eq. 6.1-19 (K_tr = 0, c_max = c_min). Columns: bar diameter [mm],
# cover / diameter, mean cylinder strength [MPa], k, bar stress reached with it and by the equation [MPa].
"""


@dataclass(frozen=True)
class Size:
    """One element size everywhere [mm]."""

    splice: float

    @property
    def elsewhere(self) -> float:
        return self.splice


def lap(d: float, cover: float, f_cm: float, k: float, *, length: float = LAP, size: float = 0.6) -> Model:
    """The block: ``cover`` [mm], lap ``length`` and element ``size`` in diameters; 1 N x load pulls each bar.

    Watches "pull", half the distance [mm] by which the two bar ends have moved apart.
    """
    half, level = 0.5 * length * d, cover + 0.5 * d
    height = level + 6.0 * d
    width = 2.0 * (d + cover)  # of a pair with half its clear spacing to either side
    area = 0.25 * np.pi * d**2

    def bar(name: str, start: float) -> planes.Path:
        held = Stretch(-np.inf, np.inf, cover, cover, 0.0, length * d)
        return planes.Path(
            name,
            "main",
            np.array([[start, level], [-start, level]]),
            np.zeros(2, np.int32),
            area,
            d,
            1,
            "main",
            None,
            "good",
            False,
            False,
            True,
            cover,
            (held,),
        )

    block = planes.Block("block", "monolith", -half, half, 0.0, height, width, "precast")
    net = planes.NetStrip(level, -half, half, 2.0 * d)
    plane = planes.Plane(
        "lap",
        (block,),
        (bar("A", -half), bar("B", half)),
        (),
        (),
        (-half, 0.0, half),
        (level,),
        half,
        (net,),
        (),
        "",
    )
    mesh = build_mesh(plane, Size(size * d))
    concrete = mesh.groups["precast"]
    xy = mesh.points[concrete.cells]
    share = band_share(xy.min(axis=1), xy.max(axis=1), level, d)
    thickness = concrete.data["thickness"] - share * (width - 2.0 * k * d)
    groups = dict(mesh.groups) | {"precast": replace(concrete, data={**concrete.data, "thickness": thickness})}
    mesh = replace(mesh, groups=groups)

    laws: dict[str, Law] = {"precast": _concrete(f_cm)}
    for name, g in mesh.groups.items():
        if g.kind == "truss2":
            laws[name] = Bar(ELASTIC)
        elif g.kind == "bond":
            laws[name] = _bond(f_cm, d, len(g.cells))
    n_dof, _, _ = number_unknowns(mesh)
    nodes = np.unique(concrete.cells)
    top = nodes[np.abs(mesh.points[nodes, 1] - height) < 1e-6]
    middle = top[np.argmin(np.abs(mesh.points[top, 0]))]
    left, right = mesh.lines["A"].nodes[0], mesh.lines["B"].nodes[0]
    force, pull = np.zeros(n_dof), np.zeros(n_dof)
    force[2 * left], force[2 * right] = -1.0, 1.0
    pull[2 * left], pull[2 * right] = -0.5, 0.5
    return Model(mesh, laws, np.sort(np.append(2 * top + 1, 2 * middle)), force, watch={"pull": pull})


def _concrete(f_cm: float) -> SmearedCrack:
    return SmearedCrack(
        modulus=estimates.elastic_modulus(f_cm, "quartzite"),
        poisson=0.2,
        tensile_strength=estimates.tensile_strength(f_cm)[0],
        fracture_energy=estimates.fracture_energy(f_cm),
        strength=f_cm,
        peak_strain=estimates.peak_strain(f_cm),
        crushing_energy=estimates.crushing_energy(f_cm),
        crack="rotating",
        stiffening=0.0,
    )


def _bond(f_cm: float, d: float, n: int) -> WedgingBond:
    one = np.ones(n)
    curve = envelope(f_cm, d * one, "good", 0.5 * d * one, np.zeros(n, bool), one, 0.0 * one)
    pull_out = BondSlip(
        curve, np.pi * d * one, bearing_modulus(f_cm * one, d * one, 0.8), 3.0 * f_cm * one, d * one, 0.0 * one
    )
    return WedgingBond(pull_out, d * np.tan(np.radians(ANGLE)) * one, REFERENCE)


def target(d: float, cover: float, f_cm: float, length: float = LAP) -> float:
    """Bar stress [MPa] of MC2010 eq. 6.1-19 without ties."""
    return mc2010.lap_stress(f_cm=f_cm, phi=d, l_b=length * d, c_min=cover, c_max=cover).value


def strength(d: float, cover: float, f_cm: float, k: float, *, length: float = LAP, size: float = 0.6) -> float:
    """Bar stress [MPa] at the largest load of the lap, past smaller drops on the way."""
    with threadpool_limits(1):
        model = lap(d, cover, f_cm, k, length=length, size=size)
        expected = target(d, cover, f_cm, length)
        step = expected / 200e3 * 0.5 * length * d / 40.0
        start = State(np.zeros(model.n_free), 0.0, model.fresh())
        hold = Displacement(model.restrict(model.watch["pull"]))
        highest = 0.0
        try:
            for found in March(model, hold, Constant(step), start, stop=Stop(drop=0.3, end=150.0 * step)):
                highest = max(highest, found.state.load)
        except NotConverged:
            pass  # the fall after the peak is steeper than the march can follow; the peak stands
    return highest / (0.25 * np.pi * d**2)


def calibrate(d: float, cover: float, f_cm: float, k: float) -> tuple[float, float]:
    """k and the stress reached with it: secants of log(stress) over log(k) from the guess ``k``."""
    goal = target(d, cover, f_cm)
    tried: list[tuple[float, float]] = []
    for _ in range(8):
        reached = strength(d, cover, f_cm, k)
        tried.append((k, reached))
        if abs(reached / goal - 1.0) < CLOSE:
            break
        power = 2.5
        if len(tried) > 1 and tried[-1][0] != tried[-2][0]:
            (k0, s0), (k1, s1) = tried[-2:]
            power = float(np.clip(math.log(s1 / s0) / math.log(k1 / k0), 1.0, 5.0))
        k *= (goal / reached) ** (1.0 / power)
    return min(tried, key=lambda pair: abs(pair[1] / goal - 1.0))


def make(path: Path) -> None:
    """The rows of the table that are not there yet, one by one; it takes its place when it is complete."""
    part = path.with_suffix(".partial")
    if not part.exists():
        path.parent.mkdir(exist_ok=True)
        part.write_text(HEADER + "diameter_mm,cover_ratio,f_cm_MPa,k,reached_MPa,target_MPa\n", encoding="utf-8")
    with part.open(encoding="utf-8") as file:
        rows = list(csv.DictReader(line for line in file if not line.startswith("#")))
    done = {(float(r["diameter_mm"]), float(r["cover_ratio"]), float(r["f_cm_MPa"])) for r in rows}
    k = 4.0
    for d, ratio, f_cm in product(DIAMETERS, COVERS, STRENGTHS):
        if (d, ratio, f_cm) in done:
            continue
        began = time.perf_counter()
        k, reached = calibrate(d, ratio * d, f_cm, k)
        goal = target(d, ratio * d, f_cm)
        with part.open("a", encoding="utf-8") as file:
            file.write(f"{d:g},{ratio:g},{f_cm:g},{k:.3f},{reached:.1f},{goal:.1f}\n")
        took = time.perf_counter() - began
        what = f"d {d:g} mm, cover {ratio:g} d, f_cm {f_cm:g} MPa"
        print(f"{what}: k {k:.3f}, {reached / goal:.3f} of the target ({took:.0f} s)", flush=True)
    part.replace(path)


def check() -> None:
    """Laps beside the table by its interpolation: strength against eq. 6.1-19, other lengths, finer meshes."""
    laps = [(20.0, 1.5, 32.0, {}), (30.0, 2.5, 50.0, {}), (25.0, 2.0, 35.0, {})]
    laps += [(25.0, 2.0, 35.0, {"length": n}) for n in (10.0, 15.0, 30.0)]
    laps += [(25.0, 2.0, 35.0, {"size": h}) for h in (0.75, 0.5, 0.375)]
    for d, ratio, f_cm, options in laps:
        k, _ = effective_width(d, ratio * d, ratio * d, f_cm)
        goal = target(d, ratio * d, f_cm, options.get("length", LAP))
        reached = strength(d, ratio * d, f_cm, k, **options)
        print(f"d {d:g}, cover {ratio:g} d, f_cm {f_cm:g}, {options}: k {k:.2f}, {reached:.0f} of {goal:.0f} MPa, "
              f"{reached / goal:.3f}")  # fmt: skip


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--check", action="store_true", help="compute laps beside the table")
    check() if parser.parse_args().check else make(TABLE)
