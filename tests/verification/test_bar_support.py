"""Hooks that lean on a transverse bar in their bend: the bar as a beam and dowel, and the hook with it.

Sources: Hetenyi (1946), infinite beam on an elastic foundation under a point load; the differential equation
E I w'''' + k w = p by finite differences; plastic hinges in a bar on crushing concrete (as Rasmussen 1963 has it,
from memory); equilibrium of forces. Other bounds are reasoned beside the check.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy import sparse
from scipy.sparse.linalg import splu

from fesplice import analyse
from fesplice.geometry import build_mesh, elevation
from fesplice.geometry.plan import plan
from fesplice.geometry.plan_mesh import plan_mesh
from fesplice.laws import BondSlip, SupportedBond, end_anchor
from fesplice.laws.bar_support import BarSupport, bar_support, beam_stiffness, beside, dowel_strength, shares
from fesplice.laws.hook import HookBar, pull
from fesplice.mesh import Mesh
from fesplice.model import build
from fesplice.model.bar_supports import hook_support
from fesplice.model.plan import laws as plan_laws
from fesplice.post.elevation.bars import anchorage
from fesplice.specimen import Specimen, read, vary, vary_many
from fesplice.specimen.transverse import transverse_bars

MODELS = Path(__file__).parents[2] / "models"
D, F_CM, F_Y = 16.0, 35.0, 460.0
K = 127.0 * 0.8 * F_CM**0.5 * D ** (1.0 / 3.0)  # 127 c1 sqrt(f_c)/d^(2/3) times d
EI = 200e3 * np.pi * D**4 / 64.0
BAR = HookBar(28.7, 229.6, 344.4, 90.0, F_CM, "good", 645.0, 725.0)
SLIPS = np.array([0.0, 0.01, 0.03, 0.1, 0.2, 0.35, 0.5, 0.75, 1.0])


def one(diameter: float = D) -> BarSupport:
    """Support of a single hook far from the ends of the bar."""
    return bar_support(diameter, 1, 200e3, F_Y, F_CM, 0.8, (0.0,), 1000.0, 28.7)


def by_differences(lengths: tuple[float, ...], step: float = 0.5) -> float:
    """Total force for 1 mm under all forces, from finite differences of the beam's energy with free ends."""
    x = np.linspace(0.0, sum(lengths), round(sum(lengths) / step) + 1)
    h, n = x[1] - x[0], len(x)
    curvature = sparse.diags([1.0, -2.0, 1.0], [0, 1, 2], shape=(n - 2, n)) / h**2
    weight = np.full(n, h)
    weight[[0, -1]] = 0.5 * h
    matrix = (EI * h * curvature.T @ curvature + sparse.diags(K * weight)).tocsc()
    at = [int(np.argmin(np.abs(x - z))) for z in np.cumsum(lengths[:-1])]
    flexible = splu(matrix).solve(np.eye(n)[:, at])[at]
    return float(np.linalg.solve(flexible, np.ones(len(at))).sum())


# ------------------------------------------------------------------ the bar
def test_far_from_its_ends_the_bar_is_an_infinite_beam() -> None:
    """2 sqrt(2) k^(3/4) (E I)^(1/4) for each hook; hooks far apart do not feel each other."""
    single = 2.0 * np.sqrt(2.0) * K**0.75 * EI**0.25
    assert beam_stiffness(np.array([1000.0, 1000.0]), K, EI) == pytest.approx(single, rel=1e-9)
    assert beam_stiffness(np.array([700.0, 600.0, 700.0]), K, EI) == pytest.approx(2.0 * single, rel=1e-6)


def test_at_a_free_end_a_quarter_is_left_and_a_short_bar_moves_as_a_whole() -> None:
    """Hetenyi: k/(2 b) at the end of a half-infinite beam; a bar much shorter than 1/b presses with k times length."""
    b = (K / (4.0 * EI)) ** 0.25
    assert beam_stiffness(np.array([2000.0, 0.0]), K, EI) == pytest.approx(K / (2.0 * b), rel=1e-9)
    assert beam_stiffness(np.array([2.0, 2.0]), K, EI) == pytest.approx(4.0 * K, rel=1e-3)


@pytest.mark.parametrize(
    "lengths", [(16.0, 450.0, 16.0), (116.0, 250.0, 116.0), (70.0, 40.0, 120.0, 30.0), (12.0, 28.0, 12.0), (0.0, 60.0)]
)
def test_finite_bar_under_several_hooks(lengths: tuple[float, ...]) -> None:
    assert beam_stiffness(np.array(lengths), K, EI) == pytest.approx(by_differences(lengths), rel=2e-3)


def test_lengths_beside_the_hooks() -> None:
    """Hooks of 30 mm at -100, 0 and 140 on a bar from -150 to 150: faces at -115, -85, -15, 15, 125, 155 (beyond)."""
    assert beside((0.0, -100.0, 140.0), 150.0, 30.0) == pytest.approx([35.0, 70.0, 110.0, 0.0])


def test_strength_is_that_of_a_bar_that_hinges() -> None:
    """A hinge at either face of the hook and one further out where the shear is nought, 3 f_cm between: 9 % above.

    One side: V = f_b d a with f_b d a^2/2 = 2 M_p, M_p = d^3 f_y/6 and f_b = 3 f_cm: V = sqrt(4 M_p f_b d), which is
    1.41 d^2 sqrt(f_c f_y) instead of 1.3; from equilibrium alone. At a short end and between close hooks it is length
    that limits.
    """
    moment, pressure = D**3 * F_Y / 6.0, 3.0 * F_CM * D
    hinged = 2.0 * np.sqrt(4.0 * moment * pressure)
    assert dowel_strength(np.array([900.0, 900.0]), D, F_Y, F_CM) == pytest.approx(hinged, rel=0.09)
    both = dowel_strength(np.array([15.0, 20.0, 15.0]), D, F_Y, F_CM)
    assert both == pytest.approx(pressure * 50.0) and both < 2.0 * hinged


def test_bars_side_by_side_share_and_thin_ones_vanish() -> None:
    two = bar_support(D, 2, 200e3, F_Y, F_CM, 0.8, (0.0,), 1000.0, 28.7)
    assert two.stiffness == pytest.approx(2.0 * one().stiffness) and two.strength == pytest.approx(2.0 * one().strength)
    nothing = one(1e-6)
    assert nothing.stiffness < 1e-2 and nothing.strength < 1e-6


# ------------------------------------------------------------------ the hook in one dimension
def test_a_bar_support_makes_a_hook_stiffer_and_stronger() -> None:
    """At every slip; and the bar gives at most its own strength, at 45 degrees: sqrt(1/2) of it along the lead.

    Bond beyond the bend gives way as the support takes over, so the gain may not be the whole of that.
    """
    bare, held = pull(BAR, SLIPS).force, pull(replace(BAR, support=one()), SLIPS).force
    assert np.all(held[1:] > 1.005 * bare[1:])
    assert held[-1] - bare[-1] < one().strength
    assert held[-1] > 1.04 * bare[-1]


def test_thinner_and_thinner_bars_end_at_the_hook_alone() -> None:
    bare = pull(BAR, SLIPS).force
    gain = [pull(replace(BAR, support=one(d)), SLIPS).force[-1] / bare[-1] - 1.0 for d in (16.0, 8.0, 4.0, 1e-6)]
    assert gain[0] > gain[1] > gain[2] > 0.0
    assert gain[3] == pytest.approx(0.0, abs=1e-9)


@pytest.mark.parametrize("angle", [90.0, 180.0])
def test_bond_bearing_and_support_hold_the_pull(angle: float) -> None:
    """All tractions along the bar, the support's among them, sum to the pull and to nothing across it."""
    bar = replace(BAR, angle=angle, tail=120.0, support=one())
    found = pull(bar, SLIPS)
    normal = np.column_stack([-found.tangent[:, 1], found.tangent[:, 0]])
    each = (found.tau * found.length)[:, None] * found.tangent + (found.bearing * found.length)[:, None] * normal
    assert each.sum(axis=0) == pytest.approx([-found.force[-1], 0.0], abs=2e-5 * found.force[-1])


def test_bend_on_a_bar_support_still_bears_with_t_over_r() -> None:
    """A bar without bond on the bend that hardly bends is a rope: T/R at the support as beside it, sqrt(2) T in sum.

    Whichever part of it the transverse bar takes: it is there that the rope goes in less.
    """
    bar = replace(BAR, on_bend=0.0, steel_yield=0.1, support=one())
    found = pull(bar, SLIPS)
    _, first, last = bar.line()
    around = slice(first, last + 1)
    normal = np.column_stack([-found.tangent[around, 1], found.tangent[around, 0]])
    total = ((found.bearing * found.length)[around, None] * normal).sum(axis=0)
    # the bearing of the node at either end of the bend is partly on lead and tail
    assert np.hypot(*total) == pytest.approx(np.sqrt(2.0) * found.force[-1], rel=0.02)
    inside = slice(first + 4, last - 3)
    assert found.bearing[inside] == pytest.approx(found.tension[inside] / bar.radius, rel=0.02)


def test_end_anchor_keeps_hooks_with_and_without_a_bar_support_apart() -> None:
    hook = (28.7, 229.6, 344.4, 90.0, F_CM, "good", 645.0, 725.0, 0.8)
    bare, held = end_anchor(*hook), end_anchor(*hook, one())
    assert float(held(np.array(1.0))[0]) > 1.04 * float(bare(np.array(1.0))[0])
    assert end_anchor(*hook) == bare == end_anchor(*hook, None)


# ------------------------------------------------------------------ the elevation and the plan
def hooked(**changes: str) -> tuple[Specimen, Mesh]:
    s = vary_many(read(MODELS / "as29-100-x.toml"), changes)
    return s, build_mesh(elevation(s), s.mesh)


@pytest.mark.parametrize("splitting", ["branch", "wedging"])
@pytest.mark.parametrize("size", ["12 mm", "18 mm", "40 mm"])
def test_support_of_a_row_does_not_depend_on_the_mesh(size: str, splitting: str) -> None:
    """Both rows, by hand: two hooks, on the inside of the bend, on what one D16 (15.9 mm) has beside them.

    Strength of A: 42 kN on one side, 3 f_cm on 15.9 mm to the bar's end on the other; of B twice 42 kN.
    The places where it acts lie within a bar diameter of the middle of the bend.
    """
    s, mesh = hooked(**{"mesh.splice": size, "mesh.elsewhere": "60 mm", "bond.splitting": splitting})
    laws = build.laws(s, mesh)
    for name, x in (("A", 1.0), ("B", -1.0)):
        law, group, found = laws[f"bond:{name}"], mesh.groups[f"bond:{name}"], hook_support(s, name, 35.0)
        assert isinstance(law, SupportedBond) and found is not None
        length = group.data["length"]
        section = 1.3 * 15.9**2 * np.sqrt(35.0 * 460.0)
        outside = min(section, 3.0 * 35.0 * 15.9 * 15.9) if name == "A" else section
        assert law.cap @ length == pytest.approx(2.0 * (section + outside))
        assert law.stiffness @ length == pytest.approx(2.0 * found.stiffness)
        acts = law.stiffness > 0.0
        # an inward push on the bar's own nodes, along their normals times the sense, points back and up: 45 degrees
        t = group.data["tangent"][acts]
        push = (law.sense[acts, None] * np.column_stack([-t[:, 1], t[:, 0]])).mean(axis=0)
        assert push == pytest.approx([-x * np.sqrt(0.5), np.sqrt(0.5)], abs=0.02)
        middle = np.array([x * 230.0 - x * (14.35 + 129.15 * (1 - np.sqrt(0.5))), 60.0 + 129.15 * (1 - np.sqrt(0.5))])
        assert np.hypot(*(mesh.points[mesh.lines[name].nodes[acts]] - middle).T).max() < 28.7


def test_rows_share_the_bars_and_an_odd_one_lies_with_a() -> None:
    s = read(MODELS / "as29-100-x.toml")
    assert [transverse_bars(vary(s, "confinement.number", n), r) for n in (1, 2, 5) for r in "AB"] == [1, 0, 1, 1, 3, 2]
    alone = vary(s, "confinement.number", 1)
    laws = build.laws(alone, build_mesh(elevation(alone), alone.mesh))
    assert isinstance(laws["bond:A"], SupportedBond) and type(laws["bond:B"]) is BondSlip


def test_without_such_a_bar_the_laws_are_what_they_were() -> None:
    """The same arrays bit for bit, and in every specimen without it no law with a support in either plane."""
    s, mesh = hooked()
    plain = read(MODELS / "as29-100-u.toml")
    held, bare = build.laws(s, mesh)["bond:A"], build.laws(plain, mesh)["bond:A"]
    assert isinstance(held, SupportedBond) and isinstance(held.bond, BondSlip) and isinstance(bare, BondSlip)
    for key in ("perimeter", "bearing", "bearing_cap", "bearing_width", "anchored"):
        assert np.array_equal(getattr(held.bond, key), getattr(bare, key))
    assert np.array_equal(held.bond.curve.top, bare.curve.top)
    for name in ("as29-100-u", "as29-100-t3", "as29-100-s3", "as29-cb"):
        other = read(MODELS / f"{name}.toml")
        found = build.laws(other, build_mesh(elevation(other), other.mesh))
        assert not any(isinstance(law, SupportedBond) for law in found.values())


def test_hooks_of_the_plan_stand_on_their_bar_support() -> None:
    """The curve of the anchors of row A and B, with the bar and without; no bond of the plan has a support."""
    held, bare = read(MODELS / "as29-100-x.toml"), read(MODELS / "as29-100-u.toml")
    found = {}
    for s in (held, bare):
        mesh = plan_mesh(plan(s), 25.0)
        law = plan_laws(s, mesh)
        assert not any(isinstance(one, SupportedBond) for one in law.values())
        found[s.name] = [float(law[f"anchor:{n}"].curve(np.array(1.0))[0]) for n in ("A1", "B1")]  # type: ignore
    with_bar, without = found[held.name], found[bare.name]
    assert without[0] == without[1] and with_bar[0] > 1.04 * without[0]
    assert with_bar[1] > with_bar[0]  # the hooks of A stand at the ends of their bar, those of B further in


@pytest.mark.parametrize("splitting", ["branch", "wedging"])
def test_hooks_of_the_elevation_slip_less_at_the_same_stress(tmp_path: Path, splitting: str) -> None:
    """Two coarse runs, with the bar and without: at 250 MPa at the tangent point less slip, and the bar is pressed.

    The bar takes no more than it has: the hook's radial force is sqrt(2) T, most of which the concrete bears.
    """
    slip, taken = [], []
    for k, name in enumerate(("as29-100-u", "as29-100-x")):
        coarse = {
            "mesh.splice": "60 mm", "mesh.elsewhere": "120 mm", "bond.splitting": splitting, "bond.hook_plane": "whole",
        }  # fmt: skip
        run = analyse(vary_many(read(MODELS / f"{name}.toml"), coarse | {"analysis.max_steps": 30}), tmp_path / name)
        group, rows = run.mesh.groups["bond:A"], []
        for step in run.steps():
            found = anchorage(run.mesh, step.fields, "A")
            support_force = np.asarray(step.fields["bond:A/seat"]) @ group.data["length"] if k else 0.0
            rows.append((found.tangent, found.slip_tangent, support_force))
        stress, slips, forces = np.array(rows).T
        assert stress.max() > 250.0
        slip.append(np.interp(250.0, stress, slips))
        taken.append(np.interp(250.0, stress, forces))
    assert slip[1] < 0.97 * slip[0]
    assert 0.05 < taken[1] / (np.sqrt(2.0) * 250.0 * 2 * 645.0) < 0.4


def test_shares_follow_the_length_that_is_covered() -> None:
    """8 mm about 12 on nodes at 0, 10, 20: from 8 to 16, of which the node at 10 stands for 8 to 15."""
    assert shares(np.array([0.0, 10.0, 20.0]), 12.0, 8.0) == pytest.approx([0.0, 7.0 / 8.0, 1.0 / 8.0])
