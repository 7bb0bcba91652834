"""Figures of the theory manual, drawn from the program's own functions: laws, interfaces, anchors, meshes.

python scripts/manual_build/figures.py FOLDER
"""

from __future__ import annotations

import sys
from collections.abc import Callable
from pathlib import Path

import matplotlib

matplotlib.use("svg")
import matplotlib.pyplot as plt  # noqa: E402
import numpy as np  # noqa: E402
from matplotlib.axes import Axes  # noqa: E402
from matplotlib.collections import PolyCollection  # noqa: E402
from matplotlib.figure import Figure  # noqa: E402

from fesplice import read  # noqa: E402
from fesplice.formulas.bond import tau_split  # noqa: E402
from fesplice.formulas.steel import idealised  # noqa: E402
from fesplice.geometry import build_mesh, elevation  # noqa: E402
from fesplice.geometry.plan import plan  # noqa: E402
from fesplice.geometry.plan_mesh import plan_mesh  # noqa: E402
from fesplice.laws import bond, cracking  # noqa: E402
from fesplice.laws.cohesive import interface_residual, interface_strength  # noqa: E402
from fesplice.laws.concrete import SmearedCrack  # noqa: E402
from fesplice.laws.joint import ColdJoint  # noqa: E402
from fesplice.laws.wedge import effective_width  # noqa: E402
from fesplice.mesh import Mesh  # noqa: E402
from fesplice.model import plan as plan_model  # noqa: E402
from fesplice.model.bar_supports import hook_support  # noqa: E402
from fesplice.model.build import concrete_numbers  # noqa: E402
from fesplice.specimen import Specimen, vary_many  # noqa: E402

ROOT = Path(__file__).resolve().parents[2]
SPECIMEN = ROOT / "models" / "as29-100-t3.toml"
INK = ("#1b4f8f", "#b8431c", "#3b7d3b", "#6c4a9b", "#555555")
MESH = {"mesh.splice": "36 mm", "mesh.elsewhere": "120 mm"}


def _constants(law: SmearedCrack) -> cracking.Constants:
    return cracking.Constants(
        law.modulus, law.poisson, law.tensile_strength, law.fracture_energy, law.strength, law.peak_strain,
        law.crushing_energy, law.softening_floor, law.curve == "exponential", law.crack == "fixed", law.biaxial,
    )  # fmt: skip


def _labelled(ax: Axes, x: str, y: str) -> None:
    ax.set_xlabel(x)
    ax.set_ylabel(y)
    ax.grid(True, color="#dddddd", linewidth=0.5)
    ax.spines[["top", "right"]].set_visible(False)


def _pair(width: float = 8.0, height: float = 3.1) -> tuple[Figure, Axes, Axes]:
    figure, (left, right) = plt.subplots(1, 2, figsize=(width, height), layout="constrained")
    return figure, left, right


# ------------------------------------------------------------------ concrete and steel
def tension(s: Specimen) -> Figure:
    """Softening for three bands; tension stiffening over it."""
    law = SmearedCrack.built(concrete_numbers(s.concrete.closure or s.concrete.precast, "rotating"))
    c, figure, left, right = _constants(law), *_pair()
    e = np.linspace(1e-9, 6e-3, 900)
    for colour, band in zip(INK, (10.0, 20.0, 50.0)):
        left.plot(1e3 * e, [cracking.softening(c, x, band)[0] for x in e], color=colour, label=f"band {band:.0f} mm")
    _labelled(left, "strain [‰]", "tension [MPa]")
    left.legend(frameon=False)
    e = np.linspace(1e-9, 3e-3, 600)
    for colour, limit in zip(INK, (cracking.UNBOUNDED, 0.8, 0.3)):
        name = "no bound" if limit == cracking.UNBOUNDED else f"bars have {limit:g} MPa left"
        right.plot(1e3 * e, [cracking.tension(c, x, 50.0, 1.0, limit)[0] for x in e], color=colour, label=name)
    right.plot(1e3 * e, [cracking.softening(c, x, 50.0)[0] for x in e], color=INK[4], linestyle="--", label="softening")
    _labelled(right, "strain [‰]", "with tension stiffening [MPa]")
    right.legend(frameon=False)
    return figure


def compression(s: Specimen) -> Figure:
    """Crushing for three bands; what lateral cracks leave of it."""
    law = SmearedCrack.built(concrete_numbers(s.concrete.closure or s.concrete.precast, "rotating"))
    c, figure, left, right = _constants(law), *_pair()
    e = np.linspace(0.0, 0.012, 600)
    for colour, band in zip(INK, (10.0, 20.0, 50.0)):
        left.plot(
            1e3 * e, [cracking.crushing(c, x, band, 1.0)[0] for x in e], color=colour, label=f"band {band:.0f} mm"
        )
    _labelled(left, "compressive strain [‰]", "compression [MPa]")
    left.legend(frameon=False)
    x = np.linspace(0.0, 8.0, 400)
    right.plot(x, [cracking.lateral_softening(c, v * c.peak_strain)[0] for v in x], color=INK[0])
    right.set_ylim(0.0, 1.05)
    _labelled(right, r"lateral strain / $\varepsilon_0$", r"factor $\beta$")
    return figure


def steel(s: Specimen) -> Figure:
    """The main bars of the example, and a steel with a plateau."""
    figure, ax = plt.subplots(figsize=(4.6, 3.0), layout="constrained")
    e = np.linspace(0.0, 0.07, 700)
    ax.plot(1e3 * e, s.steel[s.bars.left.steel].monotonic(e)[0], color=INK[0], label="no plateau given")
    ax.plot(1e3 * e, idealised(200e3, 460.0, 640.0, 0.015, 0.05)(e)[0], color=INK[1], label="plateau to 15 ‰")
    _labelled(ax, "strain [‰]", "stress [MPa]")
    ax.legend(frameon=False)
    return figure


# ------------------------------------------------------------------ bond
def _envelope(split: float, ktr: float, f_cm: float = 35.0, d: float = 28.7) -> bond.Envelope:
    one = np.array([1.0])
    return bond.envelope(f_cm, d * one, "good", 0.5 * d * one, np.array([split > 0.0]), split * one, ktr * one)


def bond_slip(s: Specimen) -> Figure:
    """Pull-out and both splitting branches; strength over the anchored length."""
    figure, left, right = _pair()
    slip = np.linspace(0.0, 20.0, 1500)[None, :]
    d, f_cm = 28.7, 35.0
    one = np.array([1.0])
    plain = float(tau_split(f_cm, d * one, 1.5 * d * one, 2.0 * d * one, 0.0 * one, "good")[0])
    tied = float(tau_split(f_cm, d * one, 1.5 * d * one, 2.0 * d * one, 0.24 * one, "good")[0])
    for colour, (split, ktr, name) in zip(
        INK, ((0.0, 0.0, "pull-out"), (0.6 * plain, 0.0, "splitting, no ties"), (0.6 * tied, 0.24, "splitting, ties"))
    ):
        left.plot(slip[0], _envelope(split, ktr)(slip)[0][0], color=colour, label=name)
    _labelled(left, "slip [mm]", "bond stress [MPa]")
    left.legend(frameon=False)
    ratio = np.linspace(1.0, 60.0, 300)
    right.plot(ratio, bond.length_factor(np.full_like(ratio, d), ratio * d), color=INK[0], label="mean over the length")
    some = np.linspace(1.0, 60.0, 40)
    branch = [bond.splitting_strength(f_cm, d, r * d, plain, 0.0, "good", 0.5 * d) / plain for r in some]
    right.plot(some, branch, color=INK[1], label="strength of the branch")
    right.set_ylim(0.0, 1.05)
    right.legend(frameon=False)
    _labelled(right, "anchored length / bar diameter", "share of the local splitting strength")
    return figure


def wedging(s: Specimen) -> Figure:
    """Share of bond over the opening; calibrated effective width."""
    figure, left, right = _pair()
    w = np.linspace(0.0, 0.5, 300)
    for colour, reference in zip(INK, (0.02, s.bond.wedge_opening, 0.1)):
        left.plot(w, 1.0 / (1.0 + w / reference), color=colour, label=f"$w_1$ = {reference:g} mm")
    _labelled(left, "opening beside the bar [mm]", "share of the pull-out bond")
    left.legend(frameon=False)
    cover = np.linspace(0.8, 4.0, 60)
    for colour, d in zip(INK, (16.0, 25.0, 32.0)):
        width = [effective_width(d, c * d, c * d, 35.0)[0] for c in cover]
        right.plot(cover, width, color=colour, label=f"{d:.0f} mm bars")
    _labelled(right, "cover / bar diameter", "effective width / bar diameter")
    right.legend(frameon=False)
    return figure


# ------------------------------------------------------------------ interfaces and anchors
def joint(s: Specimen) -> Figure:
    """Cold joint in opening, and in sliding under three pressures."""
    j = s.joint
    law = ColdJoint(j.tensile_strength, j.fracture_energy, j.friction, j.cohesion)
    figure, left, right = _pair()
    w = np.linspace(-2e-5, 0.05, 500)
    left.plot(1e3 * w, _path(law, np.stack([w, 0.0 * w], axis=-1))[:, 0], color=INK[0])
    _labelled(left, "opening [µm]", "normal traction [MPa]")
    slip = np.linspace(0.0, 0.4, 400)
    for colour, pressure in zip(INK, (0.0, 1.0, 3.0)):
        held = np.full_like(slip, -pressure / law.stiffness)
        shear = _path(law, np.stack([held, slip], axis=-1))[:, 1]
        right.plot(slip, shear, color=colour, label=f"pressure {pressure:g} MPa")
    _labelled(right, "sliding [mm]", "shear traction [MPa]")
    right.legend(frameon=False)
    return figure


def interface(s: Specimen) -> Figure:
    """Cohesive interface of the plan: strength under vertical stress; traction with and without the tails of hooks."""
    concrete, p = s.concrete.closure or s.concrete.precast, s.plan
    figure, left, right = _pair()
    vertical = np.linspace(-3.0, 2.2, 400)
    strength = interface_strength(concrete.tensile_strength, vertical)
    left.plot(vertical, strength, color=INK[0], label="strength")
    left.plot(vertical, interface_residual(p.interface_friction, vertical), color=INK[1], linestyle="--",
              label="residual")  # fmt: skip
    _labelled(left, "vertical stress, tension positive [MPa]", "shear stress [MPa]")
    left.legend(frameon=False)
    d = np.concatenate([np.linspace(0.0, 0.06, 200), np.linspace(0.061, 1.0, 300)])
    mesh = plan_mesh(plan(s), s.plan.element)
    for colour, tails in zip(INK, (False, True)):
        law = plan_model.interface_law(vary_many(s, {"plan.interface_tails": tails}), mesh)
        k = int(np.argmax(mesh.groups["interface"].data["tail_A_ratio"]))
        slip = np.tile(d, (len(law.strength), 1))
        right.plot(d, law.envelope(slip)[0][k], color=colour, label="with tails of hooks" if tails else "no steel")
    _labelled(right, "displacement of slab and body [mm]", "traction at a hook [MPa]")
    right.legend(frameon=False)
    return figure


def _path(law: object, strain: np.ndarray) -> np.ndarray:
    """Stress of one point led along ``strain`` (n, n_s), history kept from row to row."""
    history, out = law.fresh((1, 1)), []  # type: ignore[attr-defined]
    for row in strain:
        found = law.respond(row[None, None, :], history, np.ones((1, 1)))  # type: ignore[attr-defined]
        history = found.history
        out.append(found.stress[0, 0])
    return np.array(out)


def anchor(s: Specimen) -> Figure:
    """Force of one hook against its slip: sizes, angles, a transverse bar in the bend."""
    figure, ax = plt.subplots(figsize=(5.6, 3.4), layout="constrained")
    f_cm = (s.concrete.closure or s.concrete.precast).strength
    leaning = read(ROOT / "models" / "as29-100-x.toml")
    shown = [
        ("No. 29, 90°", s, None), ("No. 29, 180°", vary_many(s, {"bars.left.hook.angle": 180}), None),
        ("No. 19, 90°", read(ROOT / "models" / "as19-100-u.toml"), None),
        ("No. 29, 90°, on a bar of 16 mm", leaning, hook_support(leaning, "A", f_cm)),
    ]  # fmt: skip
    for colour, (name, one, leant) in zip(INK, shown):
        curve = plan_model.anchor_law(one, one.bars.left, f_cm, leant).curve
        ax.plot(curve.slip, np.array(curve.force) / one.bars.left.area, color=colour, label=name)
    ax.set_xlim(0.0, 6.0)
    _labelled(ax, "slip at the tangent point [mm]", "bar stress held by the hook [MPa]")
    ax.legend(frameon=False)
    return figure


# ------------------------------------------------------------------ meshes
def meshes(s: Specimen) -> Figure:
    """Half of the elevation and the whole plan of the example, on coarse meshes."""
    s = vary_many(s, MESH)
    figure, (top, low) = plt.subplots(2, 1, figsize=(7.5, 5.4), layout="constrained", height_ratios=(1.0, 1.6))
    side = build_mesh(elevation(s), s.mesh)
    _drawn(top, side)
    top.set_xlim(-700.0, 700.0)
    _drawn(low, plan_mesh(plan(s), s.plan.element))
    half = 0.5 * s.body.closure
    low.set_xlim(-1.15 * half, 1.15 * half)
    for ax, name in ((top, "elevation"), (low, "plan at bar level")):
        ax.set_aspect("equal")
        ax.set_title(name, loc="left", fontsize=9)
        ax.axis("off")
    return figure


def _drawn(ax: Axes, mesh: Mesh) -> None:
    for g in mesh.of_kind("quad4").values():
        face = {"closure": "#f3ead8", "plate": "#bbbbbb"}.get(g.material, "#eef1f4")
        cells = list(mesh.points[g.cells])
        ax.add_collection(PolyCollection(cells, facecolor=face, edgecolor="#9aa4ad", linewidth=0.3))
    for line in mesh.lines.values():
        colour = INK[1] if line.role == "main" else INK[2]
        ax.plot(*mesh.points[line.nodes].T, color=colour, linewidth=1.8 if line.role == "main" else 0.9)
    ax.autoscale_view()


FIGURES: dict[str, Callable[[Specimen], Figure]] = {
    "tension": tension, "compression": compression, "steel": steel, "bond": bond_slip, "wedging": wedging,
    "joint": joint, "interface": interface, "anchor": anchor, "meshes": meshes,
}  # fmt: skip


def draw(folder: Path) -> list[Path]:
    """All figures as SVG into ``folder``; the same bytes for the same program."""
    folder.mkdir(parents=True, exist_ok=True)
    s, out = read(SPECIMEN), []
    with plt.rc_context({"svg.hashsalt": "fesplice", "font.size": 9, "axes.linewidth": 0.7}):
        for name, make in FIGURES.items():
            figure = make(s)
            out.append(folder / f"{name}.svg")
            figure.savefig(out[-1], metadata={"Date": None})
            plt.close(figure)
    return out


if __name__ == "__main__":
    for path in draw(Path(sys.argv[1])):
        print(path)
