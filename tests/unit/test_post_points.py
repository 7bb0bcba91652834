"""Integration points and lines through elements, against plane geometry (area, length, linear functions)."""

from __future__ import annotations

import numpy as np
import pytest

from fesplice.mesh import Group, Mesh
from fesplice.post.points import concrete_groups, cross, gather, natural


def skewed(nx=7, ny=5, shake=0.25, seed=3) -> Mesh:
    """A 70 x 50 mm panel of quadrilaterals whose inner nodes are moved; a plate on top."""
    x, y = np.meshgrid(np.arange(nx + 1.0), np.arange(ny + 1.0), indexing="ij")
    p = np.stack([x, y], -1)
    p[1:-1, 1:-1] += np.random.default_rng(seed).uniform(-shake, shake, p[1:-1, 1:-1].shape)
    n = np.arange(p[..., 0].size).reshape(nx + 1, ny + 1)
    cells = np.stack([n[:-1, :-1], n[1:, :-1], n[1:, 1:], n[:-1, 1:]], -1).reshape(-1, 4).astype(np.int32)
    top = np.array([[0.0, 50.0], [70.0, 50.0], [70.0, 60.0], [0.0, 60.0]])
    points = np.concatenate([10.0 * p.reshape(-1, 2), top])
    plate = np.arange(len(points) - 4, len(points), dtype=np.int32)[None]
    groups = {
        "closure": Group("quad4", "closure", cells, {"thickness": np.full(len(cells), 300.0)}),
        "plates": Group("quad4", "plate", plate, {"thickness": np.full(1, 300.0)}),
    }
    return Mesh(points, groups)


def fields_of(mesh: Mesh, rule) -> dict[str, np.ndarray]:
    """``closure/stress`` from ``rule(x, y)`` -> three components, at the integration points."""
    xy = gather(mesh).xy
    return {"closure/stress": np.stack(rule(*xy.T), -1).reshape(-1, 4, 3)}


def test_points_carry_the_area_and_its_moments():
    # area, static moments and second moment of a rectangle 70 x 50
    p = gather(skewed())
    assert p.area.sum() == pytest.approx(3500.0)
    assert p.area @ p.xy[:, 0] == pytest.approx(3500.0 * 35.0)
    assert p.area @ p.xy[:, 1] ** 2 == pytest.approx(70.0 * 50.0**3 / 3.0)


def test_plates_are_no_concrete():
    assert concrete_groups(skewed()) == ("closure",)


def test_pieces_of_an_oblique_line_fill_it_without_gap_or_overlap():
    line = cross(skewed(), (0.0, 3.0), (70.0, 41.0))
    assert line.span[0, 0] == pytest.approx(0.0, abs=1e-6)
    assert line.span[-1, 1] == pytest.approx(np.hypot(70.0, 38.0))
    assert line.span[1:, 0] == pytest.approx(line.span[:-1, 1])


def test_a_line_longer_than_the_body_meets_only_the_body():
    line = cross(skewed(), (-30.0, 20.0), (100.0, 20.0))
    assert line.length.sum() == pytest.approx(70.0)
    assert line.span[0, 0] == pytest.approx(30.0)


@pytest.mark.parametrize("y", [0.0, 50.0])
def test_a_line_on_the_edge_belongs_to_the_body(y):
    assert cross(skewed(), (0.0, y), (70.0, y)).length.sum() == pytest.approx(70.0)


def test_a_line_between_two_rows_belongs_to_the_row_on_its_left():
    mesh = skewed(shake=0.0)
    line = cross(mesh, (0.0, 20.0), (70.0, 20.0))
    assert line.length.sum() == pytest.approx(70.0)
    middles = mesh.points[mesh.groups["closure"].cells[line.element], 1].mean(axis=1)
    assert middles == pytest.approx(np.full(7, 25.0))


def test_linear_fields_are_read_exactly_along_a_line():
    # on rectangles: a linear function is linear in the natural coordinates
    mesh = skewed(shake=0.0)
    fields = fields_of(mesh, lambda x, y: (2.0 + 0.1 * x - 0.3 * y, 0.5 * x, y))
    line = cross(mesh, (4.0, 2.0), (63.0, 47.0))
    x, y = np.moveaxis(line.xy(line.span), -1, 0)
    want = np.stack([2.0 + 0.1 * x - 0.3 * y, 0.5 * x, y], -1)
    assert line.at_ends(fields, "stress") == pytest.approx(want, abs=1e-6)


def test_natural_coordinates_of_distorted_elements_give_the_point_back():
    mesh = skewed()
    corners = mesh.points[mesh.groups["closure"].cells]
    centre = corners.mean(axis=1)
    assert natural(corners, centre) == pytest.approx(np.zeros_like(centre), abs=1e-9)
    middle = 0.5 * (corners[:, 1] + corners[:, 2])
    assert natural(corners, middle) == pytest.approx(np.tile([1.0, 0.0], (len(corners), 1)), abs=1e-9)


def test_triangles_hold_one_value():
    points = np.array([[0.0, 0.0], [30.0, 0.0], [0.0, 30.0]])
    group = Group("tri3", "closure", np.array([[0, 1, 2]], np.int32), {"thickness": np.ones(1)})
    mesh = Mesh(points, {"fill": group})
    assert gather(mesh).area == pytest.approx([450.0])
    assert gather(mesh).xy == pytest.approx(np.array([[10.0, 10.0]]))
    line = cross(mesh, (0.0, 10.0), (30.0, 10.0))
    assert line.length == pytest.approx([20.0])
    ends = line.at_ends({"fill/stress": np.array([[[1.0, 2.0, 3.0]]])}, "stress")
    assert ends[0, 1] == pytest.approx([1.0, 2.0, 3.0])
