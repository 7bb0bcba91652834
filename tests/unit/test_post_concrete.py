"""Crack pattern and widths on fields with known cracks.

Crack width = crack strain x band width: Bazant & Oh, Materials and Structures 16 (1983).
"""

from __future__ import annotations

import numpy as np
import pytest

from fesplice.mesh import Group, Mesh
from fesplice.post.concrete import crack_pattern, widest


def panel(nx: int, ny: int, size=20.0) -> Mesh:
    """Squares of ``size`` mm."""
    x, y = np.meshgrid(np.arange(nx + 1) * size, np.arange(ny + 1) * size, indexing="ij")
    n = np.arange(x.size).reshape(x.shape)
    quads = np.stack([n[:-1, :-1], n[1:, :-1], n[1:, 1:], n[:-1, 1:]], -1).reshape(-1, 4).astype(np.int32)
    groups = {"closure": Group("quad4", "closure", quads, {"thickness": np.full(len(quads), 300.0)})}
    return Mesh(np.stack([x, y], -1).reshape(-1, 2), groups)


def cracked(mesh: Mesh, strain, angle=0.0, band=20.0) -> dict[str, np.ndarray]:
    """Crack field from ``strain(x, y)`` at the element centres."""
    g = mesh.groups["closure"]
    x, y = mesh.points[g.cells].mean(axis=1).T
    out = np.empty((len(g.cells), 4, 3))
    out[..., 0] = np.broadcast_to(strain(x, y), x.shape)[:, None]
    out[..., 1], out[..., 2] = angle, band
    return {"closure/crack": out}


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
