"""Cracks inclined to the grid: strips in tension on turned, leaning and free meshes, beams notched beside midspan.

No published test: the energy of a strip is G_F times its section whatever the mesh (crack band, Bazant & Oh 1983),
and a beam on upright columns is held against the same beam on columns that follow its crack.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import partial
from pathlib import Path

import numpy as np

from fesplice.laws import Elastic, SmearedCrack
from fesplice.model.assembly import Model
from validation import leaning, notched
from validation.case import Case, Found, Settings
from validation.leaning import Offset
from validation.notched import March
from validation.plain import concrete, found
from validation.target import Row, Target

#: Energy over G_F times the section, and last stress over f_t when the strip has lengthened by w_c.
ENERGY, LAST = (0.95, 1.10), 0.03
#: How far energy and loads, and the peak, of a beam may be from the grid along its crack.
NEAR, PEAK = 0.08, 0.03
#: Mouth openings [mm] at which loads are compared.
OPENINGS = np.array([0.05, 0.10, 0.20])
GRIDS = (("turned", 0.0), ("turned", 15.0), ("turned", 30.0), ("turned", 45.0), ("lean", 0.3), ("free", 0.0))
#: Sides of the elements [mm].
STRIPS, BEAMS = (10.0, 5.0, 2.5), (5.0, 2.5)
BESIDE = (0.0, 25.0, 50.0)
#: Softer middle of the strip, over the tensile strength of the rest.
WEAKER = 0.9
#: Shear of the reference grids, over the distance from notch to load; the lowest energy counts.
SHEARS = (0.9, 1.0)
TARGET = Target(band=0.0)


def law(settings: Settings, alone: bool = True) -> SmearedCrack:
    """Concrete of 38 MPa with E = 30 GPa, f_t = 3 MPa, G_F = 0.12 N/mm; with principal axes where not ``alone``."""
    return replace(concrete(settings, 38.0, modulus=30e3, tensile=3.0, energy=0.12), alone=alone)


# ------------------------------------------------------------------ strips
def torn(kind: str, amount: float, size: float, one: SmearedCrack, step: float) -> tuple[Model, March, float, float]:
    """A strip torn apart: model, march, energy over G_F times the section, stress left at w_c over the strength."""
    weak = replace(one, tensile_strength=WEAKER * one.tensile_strength)
    m = leaning.pulled(leaning.strip(kind, amount, size), one, weak, Elastic(100.0 * one.modulus, one.poisson))
    end = 5.136 * one.fracture_energy / weak.tensile_strength
    path = notched.follow(m, "end", 0.001 * step, down_to=0.0, end=1.2 * end)
    energy = path.dissipated / (one.fracture_energy * leaning.HEIGHT)
    return m, path, energy, float(leaning.loads_at(path, np.array([end]))[0]) / (leaning.HEIGHT * weak.tensile_strength)


def strip(kind: str, amount: float, size: float, settings: Settings, folder: Path) -> Found:
    """Energy of a strip over G_F times its section."""
    m, path, energy, last = torn(kind, amount, size * settings.mesh, law(settings), settings.step)
    _, _, before, stays = torn(kind, amount, size * settings.mesh, law(settings, alone=False), settings.step)
    extras: dict[str, float | str] = {
        "last_stress_over_strength": last, "energy_by_principal_axes": before, "last_by_principal_axes": stays,
    }  # fmt: skip
    return found(energy, "torn", m, path, extras, {"travel_mm": list(path.held), "force_N_per_mm": list(path.load)})


# ------------------------------------------------------------------ beams
def bent(
    beam: Offset, size: float, lean: float, one: SmearedCrack, step: float, down_to: float = 0.08
) -> tuple[Model, March]:
    """A beam by the opening of its mouth, as a rule down to 8 % of the peak."""
    m = leaning.bent(beam, one, leaning.body(beam, size, lean))
    return m, notched.follow(m, "mouth", 0.0016 * step, down_to=down_to, end=2.0)


def beam(beside: float, size: float, settings: Settings, folder: Path) -> Found:
    """Energy of a beam on upright columns over that on columns along its crack; peak and loads likewise."""
    b, h = Offset(beside), size * settings.mesh
    m, path = bent(b, h, 0.0, law(settings), settings.step)
    _, before = bent(b, h, 0.0, law(settings, alone=False), settings.step)
    along = [bent(b, h, s * beside, law(settings, alone=False), settings.step)[1] for s in SHEARS if beside > 0.0]
    best = min(along, key=lambda p: leaning.spent(p, 0.08), default=before)
    energy = leaning.spent(best, 0.08)
    extras: dict[str, float | str] = {
        "energy_over_crack_area": leaning.spent(path, 0.08) / (law(settings).fracture_energy * b.width * b.crack),
        "peak_ratio": path.peak / best.peak,
        "energy_ratio_by_principal_axes": leaning.spent(before, 0.08) / energy,
    }
    at, there, was = (leaning.loads_at(p, OPENINGS) for p in (path, best, before))
    for k, w in enumerate(OPENINGS):
        extras[f"load_ratio_at_{w:g}_mm"] = float(at[k] / there[k])
        extras[f"load_ratio_at_{w:g}_mm_by_principal_axes"] = float(was[k] / there[k])
    curve = {"mouth_mm": list(path.held), "load_N": list(path.load)}
    return found(leaning.spent(path, 0.08) / energy, "crack towards the load", m, path, extras, curve)


# ------------------------------------------------------------------ the series
def named(kind: str, amount: float) -> str:
    """A grid in words."""
    return {"turned": f"turned {amount:g} deg", "lean": "leaning columns", "free": "free quads"}[kind]


def cases(data: Path) -> list[Case]:
    """All cases; they need no data."""
    out = [
        Case("inclined", f"strip {named(kind, amount)} {size:g}", "energy over G_F times area", "-",
             partial(strip, kind, amount, size), band=ENERGY, source="Bazant & Oh (1983)",
             quick=(kind, amount, size) == ("turned", 45.0, 10.0))
        for kind, amount in GRIDS for size in STRIPS
    ]  # fmt: skip
    return out + [
        Case("inclined", f"beam notched {beside:g} beside {size:g}", "energy over that along the crack", "-",
             partial(beam, beside, size), band=(1.0 - NEAR, 1.0 + NEAR), source="the grid sheared along the crack")
        for beside in BESIDE for size in BEAMS
    ]  # fmt: skip


def summary(rows: Sequence[Row]) -> list[str]:
    """Both tables, each value beside that of principal axes, which reinforced concrete keeps."""
    have = [r for r in rows if r.found is not None]
    out = ["Strips (principal axes in brackets: the law of concrete with bars):", "",
           "| grid, side [mm] | energy | last stress [% of strength] | met |", "|---|--:|--:|---|"]  # fmt: skip
    for name, f in ((r.case.name, r.found) for r in have if r.case.name.startswith("strip ")):
        assert f is not None
        last, was = (100.0 * float(f.extras[k]) for k in ("last_stress_over_strength", "last_by_principal_axes"))
        good = ENERGY[0] <= f.prediction <= ENERGY[1] and last < 100.0 * LAST
        before = float(f.extras["energy_by_principal_axes"])
        met = "yes" if good else "**no**"
        out.append(f"| {name[6:]} | {f.prediction:.3f} ({before:.3f}) | {last:.1f} ({was:.1f}) | {met} |")
    at = " | ".join(f"load at {w:g} mm" for w in OPENINGS)
    out += ["", "Beams notched beside midspan, over the same on columns along the crack (principal axes in brackets):",
            "", f"| mm beside, side [mm] | energy | peak | {at} | met |",
            "|---|--:|--:|" + "--:|" * len(OPENINGS) + "---|"]  # fmt: skip
    for name, f in ((r.case.name, r.found) for r in have if r.case.name.startswith("beam ")):
        assert f is not None
        loads = [float(f.extras[f"load_ratio_at_{w:g}_mm"]) for w in OPENINGS]
        was = [float(f.extras[f"load_ratio_at_{w:g}_mm_by_principal_axes"]) for w in OPENINGS]
        peak, before = float(f.extras["peak_ratio"]), float(f.extras["energy_ratio_by_principal_axes"])
        good = abs(peak - 1.0) <= PEAK and all(abs(v - 1.0) <= NEAR for v in (f.prediction, *loads))
        both = " | ".join(f"{a:.3f} ({b:.3f})" for a, b in zip(loads, was, strict=True))
        met = "yes" if good else "**no**"
        out.append(f"| {name[13:]} | {f.prediction:.3f} ({before:.3f}) | {peak:.3f} | {both} | {met} |")
    return [*out, ""]
