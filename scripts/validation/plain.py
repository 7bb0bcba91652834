"""Plain concrete: energies of one element, notched beams, size effect, objectivity of the mesh, mixed mode.

What a researcher measures goes in (dimensions, E, f_t, f_c, G_F where given); everything else comes
from the product's own estimates.
"""

from __future__ import annotations

import csv
import re
import tomllib
from collections.abc import Sequence
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np

from fesplice.contracts import Floats
from fesplice.laws import SmearedCrack
from fesplice.model.assembly import Model
from fesplice.specimen import estimates
from validation import mixed, notched
from validation.case import Case, Found, Settings
from validation.notched import Beam, Fineness, March
from validation.target import Row
from validation.uniform import Uniform

TESTS = "fracture_tests.toml"
CURVE = "gregoire_hn50_load_cmod.csv"

PETERSSON = Beam(depth=200.0, width=50.0, span=2000.0, length=2200.0, notch=100.0)
#: Cylinder strength of Petersson's concrete, not reported in the data and without influence here [MPa].
PETERSSON_STRENGTH = 40.0
#: Half-notched beams of Gregoire et al.: width, depths, span and length over depth, clip from edge to edge [mm].
GREGOIRE = (50.0, (50.0, 100.0, 200.0, 400.0), 2.5, 3.5, 20.0)
#: Sizes of the study of the mesh [mm]; the ligament is 100 mm deep.
SIZES = (20.0, 10.0, 5.0)


def concrete(
    settings: Settings,
    strength: float,
    *,
    modulus: float | None = None,
    poisson: float = 0.2,
    tensile: float | None = None,
    energy: float | None = None,
) -> SmearedCrack:
    """The product's concrete without bars; what was not measured is estimated from the strength."""
    return SmearedCrack(
        modulus=modulus or estimates.elastic_modulus(strength),
        poisson=poisson,
        tensile_strength=tensile or estimates.tensile_strength(strength)[0],
        fracture_energy=energy or estimates.fracture_energy(strength),
        strength=strength,
        peak_strain=estimates.peak_strain(strength),
        crushing_energy=estimates.crushing_energy(strength),
        crack=settings.crack,
        alone=True,
    )


def middle(value: Any) -> float:
    """A measured number, or the middle of a remembered range (a list, or a text "75-150")."""
    if isinstance(value, str):
        value = [float(v) for v in value.split("-")]
    return float(np.mean(value))


# ------------------------------------------------------------------ one element
def one_element(side: float, crushed: bool, settings: Settings, folder: Path) -> Found:
    """Work of a square element torn or crushed to nothing, per area, over the energy of the law."""
    law = concrete(settings, 38.0, modulus=30e3, tensile=3.0, energy=0.12)
    side = side * settings.mesh
    m = Uniform(law, side, np.array([-1.0 if crushed else 1.0, 0.0, 0.0]))
    if crushed:
        whole, first = law.crushing_energy, law.peak_strain
        end = first + 1.6 * whole / law.strength / side
        size = end / 300.0
    else:
        whole, first = law.fracture_energy, 0.0
        end, size = 6.0 * whole / law.tensile_strength / side, 0.1 * law.tensile_strength / law.modulus
    path = notched.follow(m, "strain", size * settings.step, down_to=1e-3, end=end, steps=5000)
    late = path.held >= first - 1e-9
    work = float(np.trapezoid(path.load[late], path.held[late])) * side
    return found(work / whole, "crushed" if crushed else "torn", m, path, {}, {})


# ------------------------------------------------------------------ notched beams
def found(
    prediction: float,
    mode: str,
    m: Model | Uniform,
    path: March,
    extras: dict[str, float | str],
    curve: dict[str, list[float]],
) -> Found:
    """What the table wants of a march."""
    tally = path.tally
    return Found(
        prediction,
        mode,
        m.n_free,
        tally.steps,
        tally.failed,
        tally.loose,
        tally.iterations,
        passed=bool(path.load[-1] < 0.9 * path.peak),
        ending=path.ending,
        extras=extras,
        curve=curve,
    )


def bend(
    beam: Beam, law: SmearedCrack, fineness: Fineness, settings: Settings, down_to: float, slit: float | None = None
) -> tuple[Model, March, dict[str, float | str], dict[str, list[float]]]:
    """A notched beam by its mouth opening, with peak, opening there, and energy against the cracked area."""
    slit = fineness.size if slit is None else slit
    shape = notched.body(beam, fineness, slit)
    m = notched.model(beam, law, shape, slit)
    w1 = law.fracture_energy / law.tensile_strength
    path = notched.follow(m, "mouth", 0.04 * w1 * settings.step, down_to=down_to, end=100.0 * w1)
    cracked, *_ = notched.opened(m, shape, path.last.state.u, beam, law)
    extras: dict[str, float | str] = {
        "mouth_at_peak_mm": float(path.held[path.load.argmax()]),
        "last_load_over_peak": float(path.load[-1] / path.peak),
        "energy_over_cracked_area": path.dissipated / cracked,
        "cracked_share_of_ligament": cracked / (law.fracture_energy * beam.width * beam.ligament),
    }
    return m, path, extras, {"mouth_mm": list(path.held), "load_N": list(path.load)}


def petersson(data: dict[str, Any], settings: Settings, folder: Path) -> Found:
    """Peak load of Petersson's beam."""
    law = petersson_concrete(data, settings)
    m, path, extras, curve = bend(PETERSSON, law, Fineness(10.0 * settings.mesh), settings, 0.08)
    extras |= {"remembered_low_N": float(data["peak_N"][0]), "remembered_high_N": float(data["peak_N"][1])}
    return found(path.peak, "crack above the notch", m, path, extras, curve)


def petersson_concrete(data: dict[str, Any], settings: Settings) -> SmearedCrack:
    """E, f_t and G_F as measured."""
    return concrete(
        settings,
        PETERSSON_STRENGTH,
        modulus=float(data["E"]),
        poisson=float(data["nu"]),
        tensile=float(data["ft"]),
        energy=1e-3 * float(data["GF_N_per_m"]),
    )


def objectivity(data: dict[str, Any], kind: str, free: bool, size: float, settings: Settings, folder: Path) -> Found:
    """Petersson's beam on one of the meshes of the study; all have a notch of one column or 10 mm (free)."""
    law = petersson_concrete(data, settings)
    fineness = Fineness(size * settings.mesh, kind, free)
    m, path, extras, curve = bend(PETERSSON, law, fineness, settings, 0.08, 10.0 if free else None)
    return found(path.peak, "crack above the notch", m, path, extras, curve)


def gregoire(
    data: dict[str, Any], depth: float, modulus: float | None, band: Floats | None, settings: Settings, folder: Path
) -> Found:
    """A half-notched beam; against the measured envelopes (mouth, lower, upper) where there are any."""
    width, _, span, length, gauge = GREGOIRE
    beam = Beam(depth, width, span * depth, length * depth, 0.5 * depth, gauge if depth == 50.0 else 0.4 * depth)
    law = concrete(settings, float(data["fc"]), modulus=modulus, tensile=float(data["ft"]))
    size = max(2.5, depth / 40.0) * settings.mesh
    m, path, extras, curve = bend(beam, law, Fineness(size), settings, 0.08)
    prediction = path.peak
    if band is not None:
        within = band[:, 0] <= path.held[-1]
        at = np.interp(band[within, 0], path.held, path.load)
        low, high = band[within, 1], band[within, 2]
        inside = (at >= 0.95 * low) & (at <= 1.05 * high)
        extras["share_of_curve_in_band"] = float(inside.mean())
        extras["worst_over_upper"] = float((at / high).max())
        extras["worst_over_lower"] = float((at / low).min())
        curve |= {"measured_mouth_mm": list(band[:, 0]), "measured_low_N": list(band[:, 1])}
        curve |= {"measured_high_N": list(band[:, 2])}
    else:  # nominal stress of the net section
        prediction = 1.5 * path.peak * beam.span / (width * beam.ligament**2)
    extras["peak_N"] = path.peak
    return found(prediction, "crack above the notch", m, path, extras, curve)


# ------------------------------------------------------------------ mixed mode
def turning(name: str, data: dict[str, Any], settings: Settings, folder: Path) -> Found:
    """Peak load [kN] and the path of a crack that must turn, on a free mesh."""
    if name == "arrea":
        law = concrete(settings, float(data["fc"]), modulus=float(data["E"]), poisson=float(data["nu"]))
        m, shape = mixed.shear_beam(law, 12.0 * settings.mesh, True)
        path = notched.follow(m, "mouth", 0.002 * settings.step, down_to=0.3, end=0.3)
        line = mixed.crack(m, shape, law, path.last.state, (0.0, 82.0), 1, 12.0)
        right = bool(line.end[0] > 0.0 and line.end[1] > 82.0 + 0.5 * (306.0 - 82.0))
        side = "towards the near load" if right else "WRONG SIDE"
    else:
        law = concrete(
            settings,
            float(data["fc"]),
            modulus=float(data["E"]),
            poisson=float(data["nu"]),
            tensile=float(data["ft"]),
            energy=1e-3 * middle(data["GF_N_per_m"]),
        )
        m, shape = mixed.l_panel(law, 7.0 * settings.mesh, True)
        path = notched.follow(m, "mouth", 0.002 * settings.step, down_to=0.25, end=1.0)
        line = mixed.crack(m, shape, law, path.last.state, (250.0, 250.0), 0, 10.0)
        right = bool(line.end[0] < 125.0 and line.end[1] > 250.0 - 7.0 * settings.mesh)
        side = "WRONG SIDE" if not right else "into the leg, rising" if line.angle < 178.0 else "into the leg, level"
    extras: dict[str, float | str] = {
        "crack_end_x_mm": line.end[0],
        "crack_end_y_mm": line.end[1],
        "crack_angle_deg": line.angle,
        "crack_points": line.text(30.0),
    }
    curve = {"held_mm": list(path.held), "load_kN": list(1e-3 * path.load)}
    return found(1e-3 * path.peak, side, m, path, extras, curve)


def agrees(test: str, f: str) -> bool:
    """Only the side to which a crack turns can be wrong here; a level crack where it should rise is told as wrong."""
    return not test or test == f


# ------------------------------------------------------------------ the series
def cases(data: Path) -> list[Case]:
    """All cases; those whose data are not in ``data`` are left out."""
    file = data / TESTS
    tests = tomllib.loads(file.read_text(encoding="utf-8")) if file.exists() else {}
    out = [
        Case("plain", f"one element {'crushed' if c else 'torn'} {side:g}", "work per area over G", "-",
             partial(one_element, side, c), test=1.0, band=(1.0, 1.0), use="pass_fail",
             source="Bazant & Oh (1983)" if not c else "Nakamura & Higai (2001)", quick=side == 20.0)
        for c in (False, True)
        for side in (10.0, 20.0, 40.0)
    ]  # fmt: skip
    if (t := tests.get("petersson1981")) is not None:
        out.append(Case(
            "plain", "Petersson 1981", "peak load", "N", partial(petersson, t), band=stated(t), use="indication",
            source=f"Petersson (1981); peak remembered as {t['peak_N'][0]} to {t['peak_N'][1]} N", memory=True,
        ))  # fmt: skip
        for kind, free in (("quad4", False), ("quad4", True), ("tri3", False), ("tri3", True)):
            for size in SIZES:
                name = f"{'free' if free else 'grid'} {'quads' if kind == 'quad4' else 'triangles'} {size:g}"
                out.append(Case(
                    "plain", name, "peak load", "N", partial(objectivity, t, kind, free, size), use="indication",
                    source="Petersson's beam on other meshes", quick=name == "grid quads 20",
                ))  # fmt: skip
    if (t := tests.get("gregoire2013")) is not None:
        band = envelope(data)
        peaks = (float(band[:, 1].max()), float(band[:, 2].max())) if band is not None else None
        where = "Gregoire, Rojas-Solano & Pijaudier-Cabot (2013)"
        for note, modulus, use in (("", float(t["E"]), "pass_fail"), (", E from f_c", None, "indication")):
            out.append(Case(
                "plain", f"Gregoire D50 half notch{note}", "peak load", "N", partial(gregoire, t, 50.0, modulus, band),
                band=peaks, use=use, source=where,
            ))  # fmt: skip
        for depth in GREGOIRE[1]:
            out.append(Case(
                "plain", f"Gregoire size effect D{depth:g}", "nominal strength of the net section", "MPa",
                partial(gregoire, t, depth, float(t["E"]), None), use="indication", source=where, memory=True,
            ))  # fmt: skip
    for key, name in (("arrea_ingraffea1982_B", "arrea"), ("winkler2001_L", "winkler")):
        if (t := tests.get(key)) is not None:
            label = {"arrea": "Arrea & Ingraffea 1982 B", "winkler": "Winkler 2001 L-panel"}[name]
            way = {"arrea": "towards the near load", "winkler": "into the leg, rising"}[name]
            low, high = t["peak_kN"]
            out.append(Case(
                "plain", label, "peak load", "kN", partial(turning, name, t), band=(float(low), float(high)), mode=way,
                use="indication", source=label, memory=True,
            ))  # fmt: skip
    return out


def stated(data: dict[str, Any]) -> tuple[float, float]:
    """The band [N] that the data call passing ("... with 0.68-0.95 kN"), or the remembered one."""
    hit = re.search(r"with ([\d.]+)-([\d.]+) kN", str(data.get("use", "")))
    low, high = (1e3 * float(v) for v in hit.groups()) if hit else data["peak_N"]
    return float(low), float(high)


def envelope(data: Path) -> Floats | None:
    """Measured (mouth [mm], lowest, highest load [N]) of the half-notched beams 50 mm deep."""
    file = data / CURVE
    if not file.exists():
        return None
    lines = [line for line in file.read_text(encoding="utf-8").splitlines() if not line.startswith("#")]
    return np.array([[float(v) for v in row] for row in list(csv.reader(lines))[1:]])


def summary(rows: Sequence[Row]) -> list[str]:
    """Objectivity of the mesh against the fine grid of quadrilaterals, and the effect of size."""
    by = {r.case.name: r.found for r in rows if r.found is not None}
    out = []
    base = by.get("grid quads 5")
    if base is not None:
        out += ["Mesh objectivity on Petersson's beam, peak against that of `grid quads 5` and energy used against",
                "G_F times the cracked area (openings of the ligament put through the softening curve):", "",
                "| mesh | peak | energy | last load/peak | within 5 % |", "|---|--:|--:|--:|---|"]  # fmt: skip
        for name, f in by.items():
            if not name.startswith(("grid ", "free ")):
                continue
            peak, energy = f.prediction / base.prediction, float(f.extras["energy_over_cracked_area"])
            last = float(f.extras["last_load_over_peak"])
            good = abs(peak - 1.0) <= 0.05 and abs(energy - 1.0) <= 0.05 and last <= 0.10
            out.append(f"| {name} | {peak:.3f} | {energy:.3f} | {last:.3f} | {'yes' if good else '**no**'} |")
        out += [
            "",
            "Without bars the axes of a crack follow its jump, so that cracks that do not run along edges hardly",
            "lock on free meshes any more; what is left, and turned grids, stand in the series `inclined`.",
            "",
        ]
    trend = [(d, by[f"Gregoire size effect D{d:g}"]) for d in GREGOIRE[1] if f"Gregoire size effect D{d:g}" in by]
    if len(trend) > 1:
        s = [f.prediction for _, f in trend]
        falls = all(b < a for a, b in zip(s, s[1:]))
        out.append(
            "Size effect, half-notched: nominal strength "
            + ", ".join(f"{v:.2f}" for v in s) + " MPa for D = " + ", ".join(f"{d:g}" for d, _ in trend)
            + f" mm; it falls with every size: {'yes' if falls else '**no**'}."
        )  # fmt: skip
    return out
