"""What a run says about itself in its manifest: settings, releases, warnings."""

from __future__ import annotations

import hashlib
import platform
from dataclasses import asdict
from functools import cache
from importlib.metadata import version
from pathlib import Path

from fesplice.contracts import ViewName
from fesplice.mesh import Mesh
from fesplice.model.bar_supports import hook_support
from fesplice.model.choice import Chosen, choose
from fesplice.model.estimate import expected_deflection
from fesplice.model.plan import Vertical, expected_extension
from fesplice.model.width import width_ratios
from fesplice.solve import Tolerances
from fesplice.specimen import Specimen
from fesplice.units import both

#: Steps to the expected peak deflection.
STEPS_TO_PEAK = 60
#: The same for a plan: with longer steps a strip that comes loose passes for a drop of the whole.
PLAN_STEPS = 120
#: A plan is given up at this many times the extension at which its failure is expected.
PLAN_END = 3.0
#: Tighter than for a beam: the nodes of the strut-and-tie model shall balance to 2 % of one bar's force.
PLAN_TOLERANCES = Tolerances(force=4e-3, force_with_energy=4e-3, balance=2e-2)


@cache
def program() -> str:
    """Digest of all that decides what a run computes: laws, elements, models, meshing, solver, rules of the file.

    A run is taken up, or returned as it stands, only by the very program that wrote it: a result of an earlier
    one must never pass for one of this.
    """
    home, digest = Path(__file__).resolve().parents[1], hashlib.sha256()
    rooms = ("laws", "elements", "solve", "model", "geometry", "specimen", "pipeline")
    files = [f for room in rooms for f in (home / room).rglob("*") if f.suffix in (".py", ".csv")]
    for file in sorted([*files, *home.glob("*.py")]):
        digest.update(file.relative_to(home).as_posix().encode())
        digest.update(file.read_bytes())
    return digest.hexdigest()[:12]


def settings(s: Specimen, chosen: Chosen | None = None) -> dict:
    """What steers a run beside the specimen and the mesh; ``chosen`` laws left out: those the specimen names."""
    return {
        "view": ViewName.elevation.value,
        "program": program(),
        "tolerances": asdict(Tolerances()),
        "steps_to_peak": STEPS_TO_PEAK,
        "expected_deflection_mm": expected_deflection(s),
        "laws": (chosen or choose(s)).as_dict(),
    }


def plan_settings(s: Specimen, vertical: Vertical | None, chosen: Chosen | None = None) -> dict:
    """The same for a plan; ``vertical`` as numbers, for the run hangs on them."""
    return {
        "view": ViewName.plan.value,
        "program": program(),
        "tolerances": asdict(PLAN_TOLERANCES),
        "steps_to_peak": PLAN_STEPS,
        "expected_extension_mm": expected_extension(s),
        "laws": (chosen or choose(s)).as_dict(),
        "vertical": {} if vertical is None else vertical.as_dict(),
    }


def versions() -> dict[str, str]:
    """Releases that take part in a run."""
    names = ("fesplice", "numpy", "scipy", "gmsh", "h5py")
    return {"python": platform.python_version(), **{name: version(name) for name in names}}


def warnings(s: Specimen, mesh: Mesh | None = None) -> list[str]:
    """What a reader of the run must know: what this plane cannot show, what was estimated.

    With the ``mesh`` of an elevation also the effective width of wedging bond.
    """
    out = unusual(s)
    wedges = s.bond.splitting == "wedging"
    f_cm = (s.concrete.closure or s.concrete.precast).strength
    if s.confinement.in_bends:
        out += [_support(s, row, f_cm) for row in ("A", "B")]
    elif s.confinement.about_pairs:
        out.append(
            "closed ties do nothing in the elevation: this run equals one without confinement"
            if s.bond.splitting != "branch"
            else "closed ties act in the elevation only through the splitting strength of the bond law"
        )
    least = min(row.diameter for row in (s.bars.left, s.bars.right) if row is not None)
    anchored = s.bars.splice == "hooked" or (wedges and s.bars.splice == "straight")
    if anchored and s.mesh.splice > 0.75 * least:
        out.append(
            f"mesh.splice is above 3/4 of the bar diameter, {both(0.75 * least, 'length')}: "
            "for a first look, too coarse for strengths"
        )
    if wedges and mesh is not None:
        ratios, remarks = width_ratios(s, mesh)
        out += remarks
        if s.bond.effective_width is None:
            table = "estimated by the table calibrated on MC2010 eq. 6.1-19"
            out += [f"effective width of bars {name}: {k:.2f} diameters, {table}" for name, k in ratios.items()]
    return out + _estimated(s)


def unusual(s: Specimen) -> list[str]:
    """Values of the specimen that are read but hardly meant."""
    return [f"WARNING: {doubt}" for doubt in s.doubts]


def _support(s: Specimen, row: str, f_cm: float) -> str:
    support = hook_support(s, row, f_cm)
    if support is None:
        return f"no transverse bar lies in the bends of row {row}"
    return (
        f"each hook {row} leans on the transverse bar in its bend, which adds at most "
        f"{both(support.strength, 'force')} at {support.stiffness / 1e3:.0f} kN/mm to the bearing of the concrete; "
        "that this bar ties the edge bars across the beam shows in the plan only"
    )


def plan_warnings(s: Specimen, vertical: Vertical | None) -> list[str]:
    """The same for a plan."""
    out = unusual(s) + [
        "the slab's thickness and the plane it hangs on are judgement (table [plan]): read the plan as a bracket of "
        "an open plane (plan.interface cracked) and an intact one"
    ]
    if vertical is None:
        out.append("no vertical stress across the plane was given: prying at the hooks does not weaken it here")
    if s.analysis.control != "deflection":
        out.append(f"analysis.control {s.analysis.control} is for the beam: the plan holds its crossheads' distance")
    return out + _estimated(s)


def _estimated(s: Specimen) -> list[str]:
    out = []
    for name, concrete in (("precast", s.concrete.precast), ("closure", s.concrete.closure)):
        if concrete is not None:
            out += [f"{name} concrete: {what} estimated by {formula}" for what, formula in concrete.estimated.items()]
    return out
