"""Beams under a central load: Vecchio & Shim (2004) and Bresler & Scordelis (1963), with discrete bars and bond-slip.

Every row becomes a specimen that is computed and judged as a user's is, into a run folder; only the one row of main
bars is laid out as two layers. The names of its modes are translated (:func:`published`). What the tables do not
give is taken by rules that are the same for every row:

- Layers 64 and 128 mm above the soffit (Vecchio & Shim), or 64 mm apart with the stated centroid
  (Bresler & Scordelis); bars end 25 mm from the beam's end, held there by plates or hooks.
- Axial tensile strength 0.9 of the splitting strength (EN 1992-1-1, 3.1.2(8)); everything
  else that was not measured is estimated by the product's own formulas.
- Steel with a yield plateau to 1 % and 1.5 times the yield strength at 12 % (hot-rolled bars,
  common practice, no source); stirrups of wire with 1.08 times at 5 %.
- Clear cover of the stirrups 25 mm, top bars right inside them; plates 150 mm long; the beam's weight acts
  and its deflection is taken off, as dial gauges see it. A beam has failed when its load fell by 15 %.
"""

from __future__ import annotations

import csv
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path

import numpy as np

from fesplice.contracts import NotConverged, Outcome
from fesplice.geometry import build_mesh, elevation
from fesplice.geometry.planes import NetStrip, Plane
from fesplice.model.estimate import expected_deflection, yield_deflection
from fesplice.pipeline import analyse
from fesplice.pipeline.manifest import STEPS_TO_PEAK
from fesplice.post.elevation.findings import ElevationFindings
from fesplice.post.mechanisms import Mechanism
from fesplice.post.record import findings
from fesplice.specimen import Specimen, read_text
from fesplice.store import Run
from validation import beam_state
from validation.case import Case, Found, Settings
from validation.tally import counted
from validation.target import Row

FILES = {
    "beams_vecchio_shim.csv": "Vecchio & Shim, ASCE J. Struct. Eng. 130-3 (2004) 460-469",
    "beams_bresler_scordelis.csv": "Bresler & Scordelis, ACI Journal 60-1 (1963) 51-74",
}
#: Elements over the depth; one size throughout, since diagonal cracks run anywhere.
OVER_DEPTH = 16
COVER, OVERHANG, LAYERS = 25.0, 220.0, (64.0, 128.0)
SPLITTING = 0.9


@dataclass(frozen=True)
class Layer:
    """Bars of one layer: height above the soffit [mm], number, area of one [mm2], yield strength [MPa]."""

    y: float
    number: int
    area: float
    strength: float

    @property
    def diameter(self) -> float:
        """Of a round bar of this area [mm]."""
        return math.sqrt(4.0 * self.area / math.pi)


@dataclass(frozen=True)
class Beam:
    """One row: sizes in mm and mm2, strengths in MPa; 0 where there are no such bars or no measurement."""

    name: str
    width: float
    depth: float
    span: float
    layers: tuple[Layer, ...]
    top_area: float
    top_strength: float
    spacing: float
    leg_area: float
    leg_strength: float
    strength: float
    modulus: float
    splitting: float
    peak_strain: float
    load: float
    deflection: float
    mode: str
    use: str
    confirmed: bool


def read_rows(path: Path) -> list[Beam]:
    """Rows of either file; columns that a file does not have count as not given."""
    with path.open(encoding="utf-8") as lines:
        return [_beam(r) for r in csv.DictReader(line for line in lines if not line.startswith("#"))]


def _beam(r: dict[str, str]) -> Beam:
    def get(*keys: str) -> float:
        return next((float(r[k]) for k in keys if r.get(k, "") not in ("", None)), 0.0)

    depth = get("h_mm")
    if "n_M30" in r:
        layers = [Layer(LAYERS[0], int(get("n_M30")), 700.0, get("fy_M30_MPa"))]
        if get("n_M25"):
            layers.append(Layer(LAYERS[1], int(get("n_M25")), 500.0, get("fy_M25_MPa")))
    else:
        n = int(get("n_No9"))
        upper, apart = n // 2, LAYERS[1] - LAYERS[0]
        low = depth - get("d_mm") - apart * upper / n
        layers = [Layer(low, n - upper, 645.0, get("fy_MPa")), Layer(low + apart, upper, 645.0, get("fy_MPa"))]
    return Beam(
        name=r["beam"],
        width=get("b_mm"),
        depth=depth,
        span=get("span_mm"),
        layers=tuple(layers),
        top_area=get("As_top_3M10_mm2", "As_top_mm2"),
        top_strength=get("fy_M10_MPa", "fy_top_MPa"),
        spacing=get("stirrup_s_mm"),
        leg_area=0.5 * get("Asv_2legs_mm2"),
        leg_strength=get("fyv_MPa"),
        strength=get("fc_MPa"),
        modulus=get("Ec_MPa"),
        splitting=get("f_sp_MPa"),
        peak_strain=get("eps_c0_permille"),
        load=get("Pu_kN"),
        deflection=get("defl_at_Pu_mm"),
        mode=r["failure"],
        use=r.get("use") or "pass_fail",
        confirmed=r["beam"] == "VS-OA1",
    )


# ------------------------------------------------------------------ the specimen
def specimen_of(beam: Beam, settings: Settings) -> Specimen:
    """The beam with one row of bars at the common centroid; see :func:`plane_of` for the layers."""
    total = sum(b.number * b.area for b in beam.layers)
    level = sum(b.number * b.area * b.y for b in beam.layers) / total
    number = max(b.number for b in beam.layers)
    size = beam.depth / OVER_DEPTH * settings.mesh
    out = [
        f'name = "{beam.name}"',
        "[body]",
        f'width = "{beam.width:g} mm"',
        f'depth = "{beam.depth:g} mm"',
        f'span = "{beam.span:g} mm"',
        f'shear_span = "{0.5 * beam.span:g} mm"',
        'closure = "0 mm"',
        f'overhang = "{OVERHANG:g} mm"',
        "[concrete.precast]",
        f'strength = "{beam.strength:g} MPa"',
    ]
    if beam.modulus:
        out.append(f'elastic_modulus = "{beam.modulus:g} MPa"')
    if beam.splitting:
        out.append(f'tensile_strength = "{SPLITTING * beam.splitting:.4g} MPa"')
    if beam.peak_strain:
        out.append(f"peak_strain = {1e-3 * beam.peak_strain:g}")
    for k, layer in enumerate(beam.layers):
        out += _steel(f"layer{k}", layer.strength, 1.5, 0.12)
    out += [
        "[bars]",
        'splice = "continuous"',
        'side_cover = "40 mm"',
        "[bars.left]",
        f'diameter = "{beam.layers[0].diameter:.5g} mm"',
        f'area = "{total / number:.6g} mm2"',
        f"number = {number}",
        'steel = "layer0"',
        f'depth = "{beam.depth - level:.6g} mm"',
    ]
    if beam.top_area:
        count = max(2, round(beam.top_area / 129.0) if beam.name.startswith("BS") else 3)
        one = beam.top_area / count
        out += _steel("top", beam.top_strength, 1.5, 0.12)
        out += [
            "[compression_bars]",
            f'diameter = "{math.sqrt(4.0 * one / math.pi):.4g} mm"',
            f'area = "{one:.5g} mm2"',
            f"number = {count}",
            'steel = "top"',
            f'cover = "{COVER + 7.0:g} mm"',
            "through_closure = true",
        ]
    if beam.spacing:
        out += _steel("legs", beam.leg_strength, 1.08, 0.05, hardening=0.0)
        out += [
            "[stirrups]",
            f'diameter = "{math.sqrt(4.0 * beam.leg_area / math.pi):.4g} mm"',
            f'area = "{beam.leg_area:.5g} mm2"',
            f'spacing = "{beam.spacing:g} mm"',
            'steel = "legs"',
            f'cover = "{COVER:g} mm"',
        ]
    out += ["[bond]", f"slip = {str(settings.bond == 'slip').lower()}"]
    if settings.splitting != "default":
        out.append(f'splitting = "{settings.splitting}"')
    out += [
        "[mesh]",
        f'splice = "{size:.5g} mm"',
        f'elsewhere = "{size:.5g} mm"',
        "[analysis]",
        "drop = 0.15",
        f'crack_model = "{settings.crack}"',
        f"tension_stiffening = {str(settings.stiffening).lower()}",
    ]
    text = "\n".join(out) + "\n"
    first = read_text(text, beam.name)
    step = settings.step * expected_deflection(first) / STEPS_TO_PEAK
    text += f'step = "{step:.5g} mm"\nend_deflection = "{4.0 * yield_deflection(first):.5g} mm"\n'
    return read_text(text, beam.name)


def _steel(name: str, strength: float, ratio: float, rupture: float, hardening: float = 0.01) -> list[str]:
    out = [
        f"[steel.{name}]",
        f'yield_strength = "{strength:g} MPa"',
        f'ultimate_strength = "{ratio * strength:.5g} MPa"',
        f"rupture_strain = {rupture:g}",
    ]
    return out + ([f"hardening_strain = {hardening:g}"] if hardening else [])


def plane_of(beam: Beam, s: Specimen) -> Plane:
    """The elevation with the one line of main bars replaced by a line per layer ("A", "A2")."""
    plane = elevation(s)
    (one,) = [p for p in plane.paths if p.role == "main"]
    x0, x1 = one.points[:, 0]
    lines, strips = [], []
    for k, layer in enumerate(beam.layers):
        lines.append(replace(
            one,
            name="A" if k == 0 else f"A{k + 1}",
            points=np.array([[x0, layer.y], [x1, layer.y]]),
            area=layer.number * layer.area,
            diameter=layer.diameter,
            number=layer.number,
            steel=f"layer{k}",
            clear_cover=layer.y - 0.5 * layer.diameter,
        ))  # fmt: skip
        strips.append(NetStrip(layer.y, x0, x1, layer.number * layer.diameter))
    others = tuple(p for p in plane.paths if p.role != "main")
    levels = tuple(layer.y for layer in beam.layers)
    return replace(plane, paths=(*lines, *others), levels=levels, net=tuple(strips))


# ------------------------------------------------------------------ the run
def published(mode: Mechanism, ties: bool) -> str:
    """The name that the sources give to what the judge found; a mode that they do not know keeps its own.

    A reading of this project, not of the sources: shear is shear-compression (VC) where stirrups yield (``ties``), else
    diagonal tension (DT); yielding or crushing of the compression zone is flexure-compression (FC).
    """
    match mode:
        case Mechanism.shear:
            return "VC" if ties else "DT"
        case Mechanism.yielding | Mechanism.crushing:
            return "FC"
    return mode.words


def run_beam(beam: Beam, settings: Settings, folder: Path) -> Found:
    """Compute the beam past its peak as a user's run, on a mesh with its layers of bars."""
    s = specimen_of(beam, settings)
    free: list[int] = []
    ending = ""
    try:
        run = analyse(
            s, folder, mesh=build_mesh(plane_of(beam, s), s.mesh), begin=lambda model: free.append(model.n_free)
        )  # fmt: skip
    except NotConverged as fault:
        run, ending = Run(folder), str(fault)
    return found(beam, run, free[0] if free else 2 * len(run.mesh.points), ending)


def found(beam: Beam, run: Run, unknowns: int, ending: str = "") -> Found:
    """What a run of a beam says; the load is the largest, as tests give it."""
    seen, curve, tally = findings(run), run.curve, counted(run)
    assert isinstance(seen, ElevationFindings), "beams are seen from the side"
    judged = seen.assessment
    load, deflection = (np.asarray(curve[name], float) for name in ("load_N", "deflection_mm"))
    load, deflection = load / 1e3, deflection - deflection[0]
    top = int(np.argmax(load))
    states = {s.mechanism: s for s in judged.states}
    plateau = run.outcome is Outcome.target_reached and load[-1] > 0.85 * load[top]
    extras: dict[str, float | str] = {
        "deflection_at_peak_mm": float(deflection[top]),
        "deflection_test_mm": beam.deflection,
        "deflection_ratio": beam.deflection / float(deflection[top]),
        "what": judged.failure,
    }
    extras |= beam_state.at_peak(run)
    for what, other in beam_state.moved(run, seen).items():
        extras[f"mode_with_{what}"] = published(other.mode, beam_state.stirrups_yield(other))
    for mechanism in (Mechanism.shear, Mechanism.crushing, Mechanism.yielding):
        extras[f"{mechanism}_at_strength"] = states[mechanism].utilisation
        extras[f"{mechanism}_over_drop"] = states[mechanism].growth
    return Found(
        prediction=float(load[top]),
        mode=published(judged.mode, beam_state.stirrups_yield(judged)),
        unknowns=unknowns,
        steps=run.n_steps,
        failed=tally.failed,
        loose=int(np.sum(np.isin(curve["outcome"], list(Outcome.unconverged.spellings)))),
        iterations=tally.iterations,
        passed=run.outcome is Outcome.softened or (plateau and states[Mechanism.yielding].reached),
        ending=ending or run.outcome.value,
        extras=extras,
        curve={
            "deflection [mm]": [float(v) for v in deflection],
            "load [kN]": [float(v) for v in load],
            "measured deflection [mm]": [beam.deflection],
            "measured load [kN]": [beam.load],
        },
    )


def summary(rows: Sequence[Row]) -> list[str]:
    """The state at the peak beside what is published, and modes under other numbers of the judge."""
    done = [(r, r.found) for r in rows if r.found is not None]
    low, high = beam_state.CRACK
    out = [
        f"State at the peak. Published widest cracks of VS-OA1 to OA3 at failure: {low:.2f} to {high:.2f} mm (Bernardi "
        "et al. 2016); nothing is known of strains. Strain: least principal strain of the compression zone within one "
        "depth of the load, over e_0.",
        "",
        "| beam | slanting, upright, widest crack [mm] | deflection: test, computed [mm] | strain over e_0 |",
        "|---|---|---|--:|",
    ]
    for r, f in done:
        e = f.extras
        wide = ", ".join(f"{float(e[f'{k}_crack_at_peak_mm']):.2f}" for k in ("slanting", "upright", "widest"))
        sag = f"{float(e['deflection_test_mm']):.1f}, {float(e['deflection_at_peak_mm']):.1f}"
        out.append(f"| {r.case.name} | {wide} | {sag} | {float(e['strain_beside_load_over_peak_strain']):.1f} |")
    keys = sorted({k for _, f in done for k in f.extras if k.startswith("mode_with_")})
    out += ["", "Modes with one number of the judge moved (`fesplice/post/elevation/hinge.py`):", ""]
    for key in keys:
        other = [r.case.name for r, f in done if f.extras.get(key, f.mode) != f.mode]
        right = sum(r.agrees(r.case.mode, str(f.extras.get(key, f.mode))) for r, f in done)
        told = f"{len(other)} change ({', '.join(other)})" if other else "none changes"
        out.append(f"- {key.removeprefix('mode_with_')}: {told}; {right} of {len(done)} as the source names them")
    return [*out, ""]


def cases(data: Path) -> list[Case]:
    """A case per row of the files that are there."""
    found = []
    for file, source in FILES.items():
        if not (data / file).is_file():
            continue
        for beam in read_rows(data / file):
            found.append(Case(
                series="beams",
                name=beam.name,
                quantity="central load at failure",
                unit="kN",
                run=partial(run_beam, beam),
                test=beam.load,
                mode=beam.mode,
                use=beam.use,  # type: ignore[arg-type]
                source=source,
                memory=not beam.confirmed,
                quick=beam.name == "BS-OA1",
            ))  # fmt: skip
    return found
