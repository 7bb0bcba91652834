"""Section cuts, lift, bond and bearing resultants, global equilibrium, against closed forms.

Bending stress M y / I and the resultant of its tension half, tau = Q S / (I b): elementary beam theory.
A bar of force T around a circular bend presses with T / R (statics). A rigid motion separates nothing.
"""

from __future__ import annotations

import numpy as np
import pytest

from fesplice.mesh import BEND, LEAD, TAIL, BarLine, Group, Mesh
from fesplice.post.elevation.forces import cut, lift, zone_forces
from fesplice.post.equilibrium import balance
from fesplice.post.points import gather

F_CT = {"closure": 3.0}
B, D = 300.0, 400.0


def beam(nx=10, ny=16, length=800.0, thickness=B, extra=None) -> Mesh:
    """Beam 0..length by 0..400 mm; its points stand first."""
    x, y = np.meshgrid(np.linspace(0, length, nx + 1), np.linspace(0, D, ny + 1), indexing="ij")
    n = np.arange(x.size).reshape(x.shape)
    cells = np.stack([n[:-1, :-1], n[1:, :-1], n[1:, 1:], n[:-1, 1:]], -1).reshape(-1, 4).astype(np.int32)
    groups = {"closure": Group("quad4", "closure", cells, {"thickness": np.broadcast_to(thickness, len(cells))})}
    points = np.stack([x, y], -1).reshape(-1, 2)
    sets = {"support:left": n[0, :1], "support:right": n[-1, :1], "load:mid": n[nx // 2, -1:]}
    return Mesh(points, groups, sets) if extra is None else extra(points, groups)


def stress_field(mesh: Mesh, rule) -> dict[str, np.ndarray]:
    x, y = gather(mesh).xy.T
    return {"closure/stress": np.stack(np.broadcast_arrays(*rule(x, y), x)[:3], -1).reshape(-1, 4, 3)}


# ------------------------------------------------------------------ cuts
@pytest.mark.parametrize("ny", [16, 15, 7])
def test_bending_stress_on_an_upright_cut(ny):
    # tension at the bottom: sigma = -M (y - D/2) / I; the neutral axis cuts through elements when ny is odd
    moment, inertia = 60e6, B * D**3 / 12.0
    mesh = beam(ny=ny)
    fields = stress_field(mesh, lambda x, y: (-moment * (y - D / 2) / inertia, 0.0, 0.0))
    c = cut(mesh, fields, (330.0, D), (330.0, 0.0), F_CT)
    assert c.net == pytest.approx(0.0, abs=1e-3)
    assert c.tension == pytest.approx(moment / (2.0 * D / 3.0))
    assert c.tension_length == pytest.approx(D / 2)
    assert c.moment == pytest.approx(moment)
    assert c.capacity == pytest.approx(3.0 * B * D)


def test_lifted_corner_on_a_level_cut():
    # sigma_yy falls linearly from 4 MPa at x = 0 to zero at 300 and goes on: tension triangle 4 * 300 / 2
    mesh = beam(nx=11)
    c = cut(mesh, stress_field(mesh, lambda x, y: (0.0, 4.0 - x / 75.0, 0.0)), (0.0, 190.0), (800.0, 190.0), F_CT)
    assert c.tension == pytest.approx(600.0 * B)
    assert c.tension_length == pytest.approx(300.0)
    assert c.net == pytest.approx((4.0 * 800.0 - 800.0**2 / 150.0) * B)
    assert c.utilisation == pytest.approx(600.0 / (3.0 * 800.0))


def test_shear_stress_of_a_beam_sums_to_the_shear_force():
    # parabola 6 Q (y D - y^2) / (b D^3); its piecewise reading through 2 x 2 points is exact for the integral
    force = 40e3
    mesh = beam()
    fields = stress_field(mesh, lambda x, y: (0.0, 0.0, 6.0 * force * (y * D - y * y) / (B * D**3)))
    assert cut(mesh, fields, (330.0, 0.0), (330.0, D), F_CT).shear == pytest.approx(-force, rel=1e-6)
    assert cut(mesh, fields, (330.0, D), (330.0, 0.0), F_CT).shear == pytest.approx(-force, rel=1e-6)


def test_oblique_cut_of_a_uniaxial_field():
    # traction on a plane at 45 deg of sigma_xx = 2: normal 1, over the length L sqrt 2
    mesh = beam()
    c = cut(mesh, stress_field(mesh, lambda x, y: (2.0, 0.0, 0.0)), (200.0, 0.0), (600.0, 400.0), F_CT)
    assert c.net == pytest.approx(400.0 * np.sqrt(2.0) * B)
    assert c.tension == pytest.approx(c.net) and abs(c.shear) == pytest.approx(c.net)


def test_net_thickness_counts():
    thin = np.full(160, 300.0)
    thin[:16] = 120.0
    mesh = beam(thickness=thin)
    c = cut(mesh, stress_field(mesh, lambda x, y: (0.0, 1.0, 0.0)), (0.0, 190.0), (800.0, 190.0), F_CT)
    assert c.net == pytest.approx(80.0 * 120.0 + 720.0 * 300.0) and c.capacity == pytest.approx(3.0 * c.net)


def test_bars_crossing_a_cut_add_their_normal_force():
    def with_leg(points, groups):
        # one upright leg at x = 100, one bar inclined by 3:4 around x = 300, one level bar
        ends = np.array([[100.0, 20], [100, 380], [150, 0], [450, 400], [0, 30], [800, 30]])
        k = len(points)
        for name, at in (("T1", k), ("S1", k + 2), ("A", k + 4)):
            cell = np.array([[at, at + 1]], np.int32)
            groups[f"bar:{name}"] = Group("truss2", "bar", cell, {"area": np.array([200.0])})
        lines = {
            name: BarLine(name, role, np.array([at, at + 1]), np.array([0.0, 1.0]), np.zeros(2, int), 200.0, 16.0, 1,
                          "bar", (f"bar:{name}",), f"bond:{name}")
            for name, role, at in (("T1", "confinement", k), ("S1", "stirrup", k + 2), ("A", "main", k + 4))
        }  # fmt: skip
        return Mesh(np.concatenate([points, ends]), groups, lines=lines)

    mesh = beam(extra=with_leg)
    fields = stress_field(mesh, lambda x, y: (0.0, 0.0, 0.0))
    fields |= {f"bar:{n}/stress": np.array([s]) for n, s in (("T1", 350.0), ("S1", -100.0), ("A", 500.0))}
    c = cut(mesh, fields, (0.0, 200.0), (800.0, 200.0), F_CT)
    assert c.force_of("confinement") == pytest.approx(350.0 * 200.0)
    assert c.force_of("stirrup") == pytest.approx(-100.0 * 200.0 * 0.8)
    assert c.force_of("main") == 0.0 and c.total == pytest.approx(70e3 - 16e3)
    assert [b.x for b in c.bars] == pytest.approx([100.0, 300.0])
    assert cut(mesh, fields, (150.0, 200.0), (800.0, 200.0), F_CT).force_of("confinement") == 0.0
    assert cut(mesh, fields, (700.0, 0.0), (700.0, D), F_CT).force_of("main") == pytest.approx(100e3)


# ------------------------------------------------------------------ lift
def test_rigid_motion_lifts_nothing():
    mesh = beam()
    u = (0.02 * np.stack([-mesh.points[:, 1], mesh.points[:, 0]], -1) + [0.5, -3.0]).ravel()
    up = lift(mesh, u, (25.0, 75.0), (0.0, 800.0))
    assert np.abs(up.opening).max() < 1e-12 and up.open_length == 0.0


def test_wedge_opening_has_its_largest_value_and_open_length():
    # the part above y = 50 turns about x = 800: opening 0.2 (1 - x / 800), above 0.05 mm over 600 mm
    mesh = beam(nx=16)
    x, y = mesh.points.T
    u = np.stack([0.0 * x, np.where(y > 40.0, 0.2 * (1.0 - x / 800.0), 0.0)], -1).ravel()
    up = lift(mesh, u, (25.0, 50.0), (0.0, 800.0))
    assert up.largest == pytest.approx(0.2) and up.where == 0.0
    assert up.open_length == pytest.approx(600.0)
    part = lift(mesh, u, (25.0, 50.0), (400.0, 800.0))
    assert part.largest == pytest.approx(0.1) and part.open_length == pytest.approx(200.0)


# ------------------------------------------------------------------ bond and bearing
def hook(tension=50e3, radius=90.0, chords=24) -> tuple[Mesh, dict[str, np.ndarray]]:
    """Lead along +x, quarter bend upwards, tail: T is taken by bond over 300 mm of lead in part, T/R in the bend.

    Half the force goes by bond on the lead; the rest stays constant through the bend (bearing T/R), and
    is taken by bond on the tail.
    """
    bend = np.linspace(0.0, np.pi / 2, chords + 1)
    lead = np.stack([np.linspace(0.0, 300.0, 31), np.zeros(31)], -1)
    around = np.stack([300.0 + radius * np.sin(bend), radius * (1.0 - np.cos(bend))], -1)
    tail = np.stack([np.full(30, 300.0 + radius), radius + np.linspace(10.0, 300.0, 30)], -1)
    xy = np.concatenate([lead, around[1:], tail])
    zone = np.repeat([LEAD, BEND, TAIL], [30, chords + 1, 30])
    step = np.diff(xy, axis=0)
    length = np.hypot(*step.T)
    chord = step / length[:, None]
    tangent = np.concatenate([chord[:1], chord[:-1] + chord[1:], chord[-1:]])
    tangent /= np.hypot(*tangent.T)[:, None]
    share = 0.5 * (np.concatenate([[0.0], length]) + np.concatenate([length, [0.0]]))
    n, ids = len(xy), np.arange(len(xy), dtype=np.int32)
    host = np.arange(n, n + 4, dtype=np.int32)
    corners = np.array([[-50.0, -50.0], [500.0, -50.0], [500.0, 500.0], [-50.0, 500.0]])
    data = {"tangent": tangent, "length": share, "diameter": np.full(n, 20.0), "number": np.full(n, 2.0), "zone": zone}
    bond = Group("bond", "bond", np.concatenate([ids[:, None], np.tile(host, (n, 1))], 1).astype(np.int32), data)
    arc = np.concatenate([[0.0], np.cumsum(length)])
    line = BarLine("A", "main", ids, arc, zone, 628.0, 20.0, 2, "bar", (), "bond:A")
    groups = {"closure": Group("quad4", "closure", host[None], {"thickness": np.ones(1)}), "bond:A": bond}
    perimeter = 2.0 * np.pi * 20.0
    tau = np.where(zone == LEAD, 0.5 * tension / (perimeter * share[zone == LEAD].sum()), 0.0)
    tau = np.where(zone == TAIL, 0.5 * tension / (perimeter * share[zone == TAIL].sum()), tau)
    curved = np.isin(np.arange(len(length)), np.arange(30, 30 + chords)) * length
    in_bend = 0.5 * (np.concatenate([[0.0], curved]) + np.concatenate([curved, [0.0]])) / share
    # pulled towards -x the bar drags the concrete back, and the bend presses on its inner side, along +normal
    fields = {"bond:A/tau": -tau, "bond:A/bearing": 0.5 * tension / radius * in_bend}
    return Mesh(np.concatenate([xy, corners]), groups, lines={"A": line}), fields


def test_bend_pressing_with_t_over_r_pushes_back_and_up():
    mesh, fields = hook()
    lead, bend, tail = zone_forces(mesh, fields, "A")
    # statics of the free bend: T along -x at its start is held by T downwards at its end
    assert bend.bearing == pytest.approx((-25e3, 25e3), rel=0.01)
    assert bend.bond == pytest.approx((0.0, 0.0), abs=1e-9)
    assert lead.along == pytest.approx(-25e3) and lead.up == pytest.approx(0.0, abs=1e-9)
    assert tail.up == pytest.approx(-25e3, rel=0.01)
    assert lead.along + bend.along + tail.along == pytest.approx(-50e3, rel=0.01)
    assert bend.up + tail.up == pytest.approx(0.0, abs=0.01 * 25e3)


def test_bend_resultant_converges_with_the_chords():
    errors = []
    for chords in (12, 24, 48):
        mesh, fields = hook(chords=chords)
        errors.append(abs(zone_forces(mesh, fields, "A")[1].bearing[1] / 25e3 - 1.0))
    assert errors[2] < errors[1] < errors[0]


# ------------------------------------------------------------------ equilibrium
def test_balance_of_a_simple_beam():
    # 90 kN at a third of 1200 mm and 8 kN in the middle: reactions 60 + 4 and 30 + 4
    mesh = beam(nx=12, length=1200.0)
    r = np.zeros(2 * len(mesh.points) + 5)
    r[2 * mesh.node_sets["support:left"] + 1], r[2 * mesh.node_sets["support:right"] + 1] = 64e3, 34e3
    b = balance(mesh, r, [(-90e3, 400.0), (-8e3, 600.0)])
    assert b.reactions == pytest.approx(98e3) and b.loads == pytest.approx(-98e3)
    assert b.residual == pytest.approx(0.0, abs=1e-12) and b.moment_residual == pytest.approx(0.0, abs=1e-12)


def test_balance_sees_a_missing_force_and_a_shifted_one():
    mesh = beam(nx=12, length=1200.0)
    r = np.zeros(2 * len(mesh.points))
    r[2 * mesh.node_sets["support:left"] + 1], r[2 * mesh.node_sets["support:right"] + 1] = 50e3, 50e3
    assert balance(mesh, r, [(-98e3, 600.0)]).residual == pytest.approx(2.0 / 198.0)
    shifted = balance(mesh, r, [(-100e3, 630.0)])
    assert shifted.residual == pytest.approx(0.0, abs=1e-12)
    assert shifted.moment_residual == pytest.approx(3e6 / (60e6 + 63e6))


def test_out_of_balance_at_free_nodes_does_not_hide():
    # forces at all nodes sum to zero by themselves; only those at supports may count
    mesh = beam(nx=12, length=1200.0)
    r = np.zeros(2 * len(mesh.points))
    r[2 * mesh.node_sets["support:left"] + 1], r[2 * mesh.node_sets["support:right"] + 1] = 49e3, 49e3
    r[2 * 40 + 1] = 2e3
    b = balance(mesh, r, [(-100e3, 600.0)])
    assert b.residual == pytest.approx(2.0 / 198.0) and b.unbalanced == pytest.approx(0.02)


def test_opposite_forces_out_of_balance_cancel_in_the_whole_but_are_told():
    mesh = beam(nx=12, length=1200.0)
    r = np.zeros(2 * len(mesh.points))
    r[2 * mesh.node_sets["support:left"] + 1], r[2 * mesh.node_sets["support:right"] + 1] = 50e3, 50e3
    r[2 * 40], r[2 * 41] = 7e3, -7e3
    b = balance(mesh, r, [(-100e3, 600.0)])
    assert b.residual == pytest.approx(0.0, abs=1e-12) and b.unbalanced == pytest.approx(0.14)
