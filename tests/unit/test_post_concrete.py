"""Crack pattern, widths and spacing on fields with known cracks.

Crack width = crack strain x band width: Bazant & Oh, Materials and Structures 16 (1983). A rigid motion
strains nothing. Principal values: Mohr's circle (any textbook).
"""

from __future__ import annotations

import numpy as np
import pytest

from fesplice.elements import ELEMENTS
from fesplice.mesh import Group, Mesh
from fesplice.post.concrete import crack_pattern, cracks_along, principal_strains, principal_stresses, widest
from fesplice.post.points import gather


def panel(nx=60, ny=6, size=20.0, joint_at=None) -> Mesh:
    """Squares of ``size`` mm; nodes are doubled at a vertical joint after column ``joint_at``."""
    blocks = [(0, nx)] if joint_at is None else [(0, joint_at), (joint_at, nx)]
    points, cells, edges, first = [], [], [], 0
    for a, b in blocks:
        x, y = np.meshgrid(np.arange(a, b + 1) * size, np.arange(ny + 1) * size, indexing="ij")
        n = first + np.arange(x.size).reshape(x.shape)
        points.append(np.stack([x, y], -1).reshape(-1, 2))
        cells.append(np.stack([n[:-1, :-1], n[1:, :-1], n[1:, 1:], n[:-1, 1:]], -1).reshape(-1, 4))
        edges.append((n[0], n[-1]))
        first += x.size
    quads = np.concatenate(cells).astype(np.int32)
    groups = {"closure": Group("quad4", "closure", quads, {"thickness": np.full(len(quads), 300.0)})}
    if joint_at is not None:
        minus, plus = edges[0][1], edges[1][0]
        four = np.stack([minus[:-1], minus[1:], plus[:-1], plus[1:]], 1).astype(np.int32)
        normal = np.tile([1.0, 0.0], (ny, 1))
        groups["joint:left"] = Group("joint", "joint", four, {"thickness": np.full(ny, 300.0), "normal": normal})
    return Mesh(np.concatenate(points), groups)


def cracked(mesh: Mesh, strain, angle=0.0, band=20.0) -> dict[str, np.ndarray]:
    """Crack field from ``strain(x, y)`` at the element centres."""
    g = mesh.groups["closure"]
    x, y = mesh.points[g.cells].mean(axis=1).T
    out = np.empty((len(g.cells), 4, 3))
    out[..., 0] = np.broadcast_to(strain(x, y), x.shape)[:, None]
    out[..., 1], out[..., 2] = angle, band
    return {"closure/crack": out}


def test_pure_shear_stress_is_tension_at_45_degrees():
    mesh = panel(4, 3)
    stress = np.zeros((12, 4, 3))
    stress[..., 2] = 2.5
    p = principal_stresses(mesh, {"closure/stress": stress})
    assert p.major == pytest.approx(2.5) and p.minor == pytest.approx(-2.5)
    assert p.angle == pytest.approx(np.pi / 4)


def test_rigid_rotation_gives_no_strain_and_no_crack():
    mesh = panel(5, 4)
    g = mesh.groups["closure"]
    u = 1e-2 * np.stack([-mesh.points[:, 1], mesh.points[:, 0]], -1) + [0.3, -0.7]
    b, _ = ELEMENTS["quad4"].kinematics(mesh.points[g.cells], g.data)
    strain = np.einsum("eqsd,ed->eqs", b, u[g.cells].reshape(len(g.cells), 8))
    p = principal_strains(mesh, {"closure/strain": strain})
    assert np.abs(p.major).max() < 1e-15 and np.abs(p.minor).max() < 1e-15
    crack = np.stack([np.maximum(p.major - 1e-4, 0.0), p.angle, np.full_like(p.major, 20.0)], -1)
    assert len(crack_pattern(mesh, {"closure/crack": crack.reshape(-1, 4, 3)})) == 0


def test_segment_lies_across_the_normal_and_carries_strain_times_band():
    mesh = panel(3, 3)
    cracks = crack_pattern(mesh, cracked(mesh, lambda x, y: 0.01 * (x > 40.0), angle=np.radians(30.0)))
    assert len(cracks) == 12 and cracks.width == pytest.approx(0.2)
    assert np.degrees(cracks.angle) == pytest.approx(-60.0)
    direction = cracks.segments[:, 1] - cracks.segments[:, 0]
    normal = np.array([np.cos(np.radians(30.0)), np.sin(np.radians(30.0))])
    assert direction @ normal == pytest.approx(0.0, abs=1e-12)
    # four points share a 20 mm square, so each segment is 10 mm long
    assert np.hypot(*direction.T) == pytest.approx(10.0)


def test_smallest_width_is_a_threshold():
    mesh = panel(4, 1)
    fields = cracked(mesh, lambda x, y: np.array([0.0, 0.0004, 0.0006, 0.01]))
    assert len(crack_pattern(mesh, fields, smallest=0.01)) == 8
    assert len(crack_pattern(mesh, fields, smallest=0.1)) == 4


def test_widest_cracks_are_sorted_and_apart():
    mesh = panel(60, 1)
    fields = cracked(mesh, lambda x, y: 0.01 * np.exp(-(((x - 300.0) / 60.0) ** 2)) + 0.004 * (x > 1100))
    spots = widest(crack_pattern(mesh, fields), count=2, apart=400.0)
    # centres of elements lie 10 mm off the multiples of 20
    assert spots[0].x == pytest.approx(300.0, abs=20.0) and spots[0].width == pytest.approx(0.2, rel=0.05)
    assert spots[1].x > 1100.0 and spots[1].width == pytest.approx(0.08)
    assert spots[0].group == "closure"


def test_five_cracks_in_a_tie_are_found_with_width_and_spacing():
    # widths and places chosen; each crack smeared over one or two columns
    mesh = panel(60, 2)

    def strain(x, y):
        e = np.full_like(x, 1e-5)
        for at, width in ((110.0, 0.10), (310.0, 0.20), (530.0, 0.16), (830.0, 0.30)):
            e[np.isclose(x, at)] = width / 20.0
        e[np.isclose(x, 1010.0) | np.isclose(x, 1030.0)] = 0.24 / 40.0
        return e

    found = cracks_along(mesh, cracked(mesh, strain), (0.0, 0.0), (1200.0, 0.0), smallest=0.05)
    assert found.position == pytest.approx([110.0, 310.0, 530.0, 830.0, 1020.0], abs=2.0)
    assert found.width == pytest.approx([0.10, 0.20, 0.16, 0.30, 0.24], rel=0.02)
    assert found.mean_spacing == pytest.approx((1020.0 - 110.0) / 4, abs=1.0)
    assert found.max_spacing == pytest.approx(300.0, abs=2.0)
    assert not found.joint.any()


def test_width_over_a_band_is_the_separation_of_its_sides():
    # strains of a smooth band integrate to its opening, whatever the number of elements
    mesh = panel(60, 1)
    fields = cracked(mesh, lambda x, y: 0.5 / (80.0 * np.sqrt(np.pi)) * np.exp(-(((x - 600.0) / 80.0) ** 2)))
    found = cracks_along(mesh, fields, (0.0, 10.0), (1200.0, 10.0))
    assert found.width == pytest.approx([0.5], rel=1e-6)
    assert found.position == pytest.approx([600.0], abs=1e-6)


def test_inclined_crack_counts_its_width_across_itself():
    # a crack at 60 deg to a horizontal line: the line runs band / cos(30 deg) inside the band
    mesh = panel(60, 1)
    fields = cracked(mesh, lambda x, y: 0.01 * np.isclose(x, 510.0), angle=np.radians(30.0))
    found = cracks_along(mesh, fields, (0.0, 10.0), (1200.0, 10.0))
    assert found.width == pytest.approx([0.01 * 20.0 * np.cos(np.radians(30.0))])


def test_open_joint_is_a_crack_on_the_line():
    mesh = panel(20, 4, joint_at=10)
    fields = cracked(mesh, lambda x, y: 0.0 * x)
    y = np.arange(5) * 20.0
    opening = 0.4 - 0.004 * y
    fields["joint:left/opening"] = np.stack([opening[:-1], opening[1:]], 1)
    for level, want in ((0.0, 0.4), (50.0, 0.2)):
        found = cracks_along(mesh, fields, (0.0, level), (400.0, level))
        assert found.position == pytest.approx([200.0]) and found.width == pytest.approx([want])
        assert found.joint.tolist() == [True]


def test_uncracked_line_has_no_cracks():
    mesh = panel(10, 2)
    found = cracks_along(mesh, cracked(mesh, lambda x, y: 0.0 * x), (0.0, 0.0), (200.0, 0.0))
    assert len(found.position) == 0 and np.isnan(found.mean_spacing)
    assert len(gather(mesh)) == 80
