"""Disc means at hook stations, against integrals over a circle in closed form.

Mean of a linear function over a disc is its centre value; of x^2 it is R^2/4 (plane geometry).
A radial stress p e_r (x) e_r has the mean p/2 I, while its positive major stress has the mean p.
Around a hole in a plate under tension: Kirsch 1898 (Timoshenko & Goodier, Theory of Elasticity).
"""

from __future__ import annotations

import numpy as np
import pytest

from fesplice.mesh import BarLine, Group, Mesh, Station
from fesplice.post.elevation.hooks import discs, station_tension, tension_history
from fesplice.post.points import gather

F_CT = {"closure": 3.0, "precast": 4.0}


def panel(size=5.0, at=((0.0, 0.0),), split=False) -> Mesh:
    """400 x 300 mm about the origin with stations ``at`` of a 25 mm bar; ``split``: precast left of x = -20."""
    x, y = np.meshgrid(np.arange(-200.0, 200.1, size), np.arange(-150.0, 150.1, size), indexing="ij")
    n = np.arange(x.size).reshape(x.shape)
    cells = np.stack([n[:-1, :-1], n[1:, :-1], n[1:, 1:], n[:-1, 1:]], -1).reshape(-1, 4).astype(np.int32)
    points = np.stack([x, y], -1).reshape(-1, 2)
    left = points[cells, 0].mean(axis=1) < (-20.0 if split else -1e9)
    groups = {
        name: Group("quad4", name, cells[part], {"thickness": np.full(part.sum(), 300.0)})
        for name, part in (("precast", left), ("closure", ~left))
        if part.any()
    }
    nodes = np.array([0, 1], np.int32)
    line = BarLine("A", "main", nodes, np.array([0.0, 1.0]), nodes * 0, 1.0, 25.0, 1, "bar", ("bar:A",), "bond:A")
    stations = tuple(Station(f"A/{k}", "A", xy) for k, xy in enumerate(at))
    return Mesh(points, groups, lines={"A": line}, stations=stations)


def fields_of(mesh: Mesh, rule) -> dict[str, np.ndarray]:
    """Stress of every concrete group from ``rule(x, y)`` -> (xx, yy, xy)."""
    out = {}
    for name in mesh.of_kind("quad4"):
        x, y = gather(mesh, (name,)).xy.T
        out[f"{name}/stress"] = np.stack(np.broadcast_arrays(*rule(x, y), x)[:3], -1).reshape(-1, 4, 3)
    return out


@pytest.mark.parametrize("diameters", [2.0, 3.0])
@pytest.mark.parametrize("size", [5.0, 10.0])
def test_disc_has_the_area_and_centre_of_a_circle(size, diameters):
    mesh = panel(size, at=((13.0, -7.0),))
    d = discs(mesh, diameters)
    assert d.area == pytest.approx([np.pi * (diameters * 25.0) ** 2], rel=0.01)
    assert d.weights @ d.points.xy == pytest.approx(np.array([[13.0, -7.0]]), abs=0.3)


def test_constant_tension_with_direction_and_ratio():
    turn = np.radians(25.0)
    c, s = np.cos(turn), np.sin(turn)
    mesh = panel()
    (disc,) = station_tension(mesh, fields_of(mesh, lambda x, y: (2.4 * c * c, 2.4 * s * s, 2.4 * c * s)), F_CT)
    assert disc.major == pytest.approx(2.4) and disc.angle == pytest.approx(25.0)
    assert disc.ratio == pytest.approx(0.8) and disc.positive == pytest.approx(2.4)
    assert disc.radius == 50.0


def test_linear_field_gives_the_centre_value():
    mesh = panel(at=((20.0, 30.0),))
    (disc,) = station_tension(mesh, fields_of(mesh, lambda x, y: (0.0, 1.0 + 0.02 * x + 0.03 * y, 0.0)), F_CT)
    assert disc.stress[1] == pytest.approx(1.0 + 0.4 + 0.9, rel=0.01)


def test_quadratic_field_gives_a_quarter_of_the_radius_squared():
    mesh = panel()
    (disc,) = station_tension(mesh, fields_of(mesh, lambda x, y: (x * x, 0.0, 0.0)), F_CT, diameters=3.0)
    assert disc.stress[0] == pytest.approx(75.0**2 / 4.0, rel=0.01)


def test_radial_tension_cancels_in_the_tensor_but_not_in_the_positive_mean():
    def radial(x, y):
        r = np.hypot(x, y)
        return 2.0 * x * x / r**2, 2.0 * y * y / r**2, 2.0 * x * y / r**2

    mesh = panel()
    (disc,) = station_tension(mesh, fields_of(mesh, radial), F_CT)
    assert disc.major == pytest.approx(1.0, rel=0.01)
    assert disc.positive == pytest.approx(2.0, rel=1e-6)


def kirsch(x, y, a=10.0, s=1.0):
    """Stress (xx, yy, xy) of an infinite plate with a hole of radius ``a`` under tension ``s`` along x; 0 inside."""
    r, t = np.hypot(x, y), np.arctan2(y, x)
    k = np.where(r > a, a / np.maximum(r, a), 0.0)
    c2, s2 = np.cos(2 * t), np.sin(2 * t)
    rr = 0.5 * s * ((1 - k**2) + (1 - 4 * k**2 + 3 * k**4) * c2)
    tt = 0.5 * s * ((1 + k**2) - (1 + 3 * k**4) * c2)
    rt = -0.5 * s * (1 + 2 * k**2 - 3 * k**4) * s2
    c, si = np.cos(t), np.sin(t)
    out = (
        rr * c * c + tt * si * si - 2 * rt * c * si,
        rr * si * si + tt * c * c + 2 * rt * c * si,
        (rr - tt) * c * si + rt * (c * c - si * si),
    )
    return tuple(np.where(r > a, v, 0.0) for v in out)


def test_mean_around_a_hole_matches_the_traction_on_the_rim():
    # The mean of a stress in equilibrium over a region is 1/A times the integral of t (x) x over its rim
    # (Hill 1963), here over the circle of the disc alone, since the hole's rim is free.
    radius, n = 50.0, 720
    t = np.linspace(0.0, 2 * np.pi, n, endpoint=False)
    x, y = radius * np.cos(t), radius * np.sin(t)
    xx, yy, xy = kirsch(x, y)
    mean_xx = ((xx * np.cos(t) + xy * np.sin(t)) * x).sum() * 2 * np.pi * radius / n / (np.pi * radius**2)
    mean_yy = ((xy * np.cos(t) + yy * np.sin(t)) * y).sum() * 2 * np.pi * radius / n / (np.pi * radius**2)
    mesh = panel(size=2.5)
    (disc,) = station_tension(mesh, fields_of(mesh, kirsch), F_CT)
    assert disc.stress[0] == pytest.approx(mean_xx, rel=0.01)
    assert disc.stress[1] == pytest.approx(mean_yy, abs=0.01)


def test_disc_keeps_to_the_concrete_of_its_station():
    mesh = panel(at=((0.0, 0.0), (-60.0, 0.0)), split=True)
    fields = fields_of(mesh, lambda x, y: (np.where(x < -20.0, 9.0, 1.5), 0.0, 0.0))
    cast, old = station_tension(mesh, fields, F_CT)
    assert cast.major == pytest.approx(1.5) and cast.ratio == pytest.approx(0.5)
    assert old.major == pytest.approx(9.0) and old.ratio == pytest.approx(9.0 / 4.0)
    # circle of 50 mm cut at 20 mm from its centre
    segment = 50.0**2 * np.arccos(0.4) - 20.0 * np.sqrt(50.0**2 - 20.0**2)
    assert cast.area == pytest.approx(np.pi * 50.0**2 - segment, rel=0.01)


def test_history_scales_with_the_load():
    mesh = panel(at=((0.0, 0.0), (40.0, 10.0)))
    unit = fields_of(mesh, lambda x, y: (1.0 + 0.0 * x, 0.0, 0.5))
    around = discs(mesh, 2.0)
    steps = [(k, 1e4 * k, {"closure/stress": k * unit["closure/stress"]}) for k in (1, 2, 4)]
    h = tension_history(around, steps, F_CT, 2.0)
    # Mohr: 0.5 + sqrt(0.5^2 + 0.5^2)
    assert h.major == pytest.approx(np.outer([1, 2, 4], [0.5 + np.sqrt(0.5)] * 2))
    assert h.angle == pytest.approx(np.pi / 8) and h.ratio == pytest.approx(h.major / 3.0)
    assert h.load.tolist() == [1e4, 2e4, 4e4] and h.names == ("A/0", "A/1")


def test_no_steps_and_no_stations_give_empty_histories():
    mesh = panel(at=())
    assert station_tension(mesh, fields_of(mesh, lambda x, y: (x, y, x)), F_CT) == ()
    h = tension_history(discs(panel(), 2.0), [], F_CT, 2.0)
    assert h.major.shape == (0, 1)
    bare = panel(at=())
    h = tension_history(discs(bare), [(1, 5.0, fields_of(bare, lambda x, y: (x, y, x)))], F_CT, 2.0)
    assert h.ratio.shape == (1, 0) and h.load.tolist() == [5.0]
