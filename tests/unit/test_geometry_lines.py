"""Bar lines over quadrilaterals: host search, cutting of lines, tributary lengths.

Sources: bilinear shape functions of the four-node quadrilateral (any textbook, e.g. Cook et al.
2002, section 6.2); the rest is plane geometry.
"""

from __future__ import annotations

import numpy as np
import pytest

from fesplice.contracts import InputFault
from fesplice.geometry import lines


def test_hosts_of_skewed_quads_map_back_and_outside_points_are_refused():
    points = np.array([[0.0, 0.0], [10.0, 1.0], [11.0, 9.0], [-1.0, 12.0], [22.0, 0.0], [20.0, 10.0]])
    quads = np.array([[0, 1, 2, 3], [1, 4, 5, 2]], np.int32)
    hosts = lines.Hosts(quads, points)
    rng = np.random.default_rng(3)
    for k in (0, 1):
        local = rng.uniform(-0.99, 0.99, (30, 2))
        at = np.einsum("nk,kd->nd", lines.shape_values(local), points[quads[k]])
        found, back = hosts.find(at)
        assert (found == k).all()
        assert back == pytest.approx(local, abs=1e-8)
    with pytest.raises(InputFault, match="outside the concrete"):
        hosts.find(np.array([[50.0, 5.0]]))
    with pytest.raises(InputFault, match="outside the concrete"):
        hosts.find(np.array([[5.0, -0.5]]))


def test_a_point_on_an_edge_goes_to_the_side_it_looks_towards():
    points = np.array([[0.0, 0.0], [1.0, 0.0], [1.0, 1.0], [0.0, 1.0], [2.0, 0.0], [2.0, 1.0]])
    hosts = lines.Hosts(np.array([[0, 1, 2, 3], [1, 4, 5, 2]], np.int32), points)
    edge = np.array([[1.0, 0.5]])
    for x, k, xi in ((0.5, 0, 1.0), (1.5, 1, -1.0)):
        quad, local = hosts.find(edge, np.array([[x, 0.5]]))
        assert quad[0] == k and local[0] == pytest.approx([xi, 0.0], abs=1e-9)


# ------------------------------------------------------------------ cutting
def test_a_piece_is_cut_into_equal_parts_no_longer_than_the_size():
    cuts = lines.divide(np.array([0.0, 0.0]), np.array([100.0, 0.0]), lambda xy: np.full(len(xy), 18.0))
    assert len(cuts) == 7
    assert np.diff(cuts) == pytest.approx(np.full(6, 1.0 / 6.0))


def test_parts_follow_a_growing_size():
    def size(xy):
        return 10.0 + 0.2 * xy[:, 0]

    cuts = 200.0 * lines.divide(np.array([0.0, 0.0]), np.array([200.0, 0.0]), size)
    parts, middle = np.diff(cuts), 0.5 * (cuts[1:] + cuts[:-1])
    assert (parts <= size(np.column_stack([middle, middle])) * 1.01).all()
    assert (np.diff(parts) > 0.0).all()
    # parts in proportion to the size: their number is the integral of 1/size, rounded up
    assert len(parts) == int(np.ceil(np.log(5.0) / 0.2))


@pytest.mark.parametrize("joint", [3.0, 8.0, 50.0, 96.0])
def test_a_joint_falls_inside_a_part_and_far_from_nodes(joint):
    marks = lines.around_joints(
        np.array([0.0, 0.0]), np.array([100.0, 0.0]), (joint,), lambda xy: np.full(len(xy), 10.0)
    )
    at = 100.0 * marks
    k = int(np.searchsorted(at, joint))
    assert at[k - 1] < joint < at[k]
    assert min(joint - at[k - 1], at[k] - joint) == pytest.approx(min(5.0, joint, 100.0 - joint))
    assert np.diff(at).min() >= 5.0


def test_tributary_lengths_reach_half_way():
    length, middle = lines.tributary(np.array([0.0, 2.0, 6.0, 7.0]))
    assert length == pytest.approx([1.0, 3.0, 2.5, 0.5])
    assert middle == pytest.approx([0.5, 2.5, 5.25, 6.75])
