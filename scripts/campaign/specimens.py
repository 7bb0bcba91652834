"""Part b: random specimens that are accepted, through both meshes and, one in five, through a short run."""

from __future__ import annotations

import functools
import random
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np

from campaign.trial import Tally, isolated
from fesplice.contracts import FespliceError, InputFault, NotConverged
from fesplice.geometry.meshing import build_mesh
from fesplice.geometry.plan import plan
from fesplice.geometry.plan_mesh import plan_mesh
from fesplice.geometry.planes import elevation
from fesplice.mesh import Mesh
from fesplice.pipeline import analyse
from fesplice.report.check import check_text
from fesplice.sizing import check
from fesplice.specimen import Specimen, read
from fesplice.specimen.read import vary_many

MODELS = Path(__file__).resolve().parents[2] / "models"
BASES = ("as29-100-u", "as29-100-x", "as29-100-s3", "as19-100-t3", "as19-0-u", "as29-cb", "strip-16")
SIZES = ("No. 4", "No. 6", "No. 9", "16", "19", "25", "29", "36", "phi 12", "phi 20", "phi 32")


def random_specimen(rng: random.Random) -> Specimen:
    """One that the reader accepts; most tries do not fit together and are thrown again."""
    while True:
        base = read(MODELS / f"{rng.choice(BASES)}.toml")
        d, r = base.body, rng.uniform

        def mm(value: float) -> str:
            return f"{value:.1f} mm"

        # whole numbers of elements over the smallest member keep a trial quick
        changes: dict[str, object] = {
            "body.depth": mm(d.depth * r(0.8, 1.5)),
            "body.span": mm(d.span * r(0.7, 1.6)),
            "body.shear_span": mm(d.shear_span * r(0.6, 1.3)),
            "body.closure": mm(d.closure * r(0.9, 1.6)),
            "body.plate_length": mm(r(60, 260)),
            "body.plate_thickness": mm(r(12, 60)),
            "body.overhang": mm(r(140, 420)),
            "bars.lap": mm(base.bars.lap * r(0.8, 1.4)) if base.bars.lap else None,
            "bars.spacing": rng.choice((mm(r(35, 160)), "contact")) if base.bars.right else None,
            "bars.left.size": rng.choice(SIZES),
            "bars.left.number": rng.choice((1, 2, 2, 3, 4)),
            "bars.left.cover": mm(r(30, 90)),
            "bars.left.depth": None,
            "concrete.precast.strength": f"{r(18, 110):.1f} MPa",
            "loading.tension_face": rng.choice(("down", "down", "up")),
            "loading.equipment_weight": f"{r(0, 6):.2f} kN",
            "bond.splitting": rng.choice(("branch", "wedging", "none")),
            "mesh.elsewhere": "130 mm",
            "mesh.splice": mm(d.depth / r(8.5, 14)),
            "analysis.max_steps": 2,
            "plan.element": mm(r(25, 45)),
            "plan.interface": rng.choice(("cohesive", "intact", "none")),
        }
        if base.name != "AS-STRIP-16":
            changes["body.width"] = mm(d.width * r(0.8, 1.8))
        chosen = rng.sample(sorted(changes), rng.randrange(3, 9))
        # coarse whatever else is chosen
        chosen += [
            k for k in ("mesh.elsewhere", "mesh.splice", "analysis.max_steps", "plan.element") if k not in chosen
        ]
        try:
            return vary_many(base, {k: changes[k] for k in chosen if changes[k] is not None or k == "bars.left.depth"})
        except InputFault:
            continue


def _sound(mesh: Mesh) -> str:
    """What is wrong with a mesh: turned or empty cells, points that are no numbers."""
    if not np.isfinite(mesh.points).all():
        return "points that are no numbers"
    for name, group in mesh.groups.items():
        if group.kind not in ("quad4", "tri3"):
            continue
        x, y = np.moveaxis(mesh.points[group.cells], 2, 0)
        area = 0.5 * (x * np.roll(y, -1, axis=1) - np.roll(x, -1, axis=1) * y).sum(axis=1)
        if (area <= 0.0).any():
            return f"{(area <= 0.0).sum()} cells of {name} are turned or empty"
    return ""


def _trial(k: int, seed: int, run: bool, work: Path) -> str:
    s = random_specimen(random.Random(f"{seed} b {k}"))
    (work / f"{k}.toml").write_text(s.text, encoding="utf-8")
    check_text(s, check(s))
    try:
        meshes = [build_mesh(elevation(s), s.mesh)]
        if s.bars.splice != "continuous":
            meshes.append(plan_mesh(plan(s), s.plan.element))
    except InputFault as fault:
        # what only the geometry can tell is told, with its key
        return "" if any("." in f.path for f in fault.faults) else f"refused without a key: {fault}"[:300]
    if fault := next(filter(None, map(_sound, meshes)), ""):
        return fault
    if run:
        for view in ("elevation", "plan")[: len(meshes)]:
            try:
                analyse(s, work / f"{k}-{view}", view=view)
            except NotConverged:
                continue
            except FespliceError as fault:
                return f"{view}: {fault}"[:300]
    (work / f"{k}.toml").unlink()
    return ""


def trials(number: int, seed: int, work: Path) -> Iterator[tuple[str, Callable[[], str]]]:
    """``number`` specimens, one in five computed."""
    work.mkdir(parents=True)
    for k in range(number):
        yield f"b specimen {k} (seed {seed})", functools.partial(_trial, k, seed, k % 5 == 0, work)


def run(number: int, seed: int, work: Path) -> Tally:
    """Part b."""
    tally = Tally("b  random specimens through both meshes, 1 in 5 computed")
    isolated(trials(number, seed, work), tally, batch=20)
    return tally
