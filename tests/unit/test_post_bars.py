"""Bar profiles and anchorage against equilibrium of a bar under constant bond.

d(sigma)/dx = 4 tau / d_b: equilibrium of a round bar (any textbook on bond).
"""

from __future__ import annotations

import numpy as np
import pytest

from fesplice.mesh import BEND, LEAD, TAIL, BarLine, Group, Mesh, Station
from fesplice.post.elevation.bars import anchorage, arc_at, face_arcs, profile
from fesplice.post.elevation.layout import layout

DB, RADIUS, TAU, PULL = 20.0, 80.0, 4.0, 400.0


def splice(step=10.0, mirrored=True) -> tuple[Mesh, dict[str, np.ndarray]]:
    """Closure |x| <= 250 between precast parts to |x| = 800, hooks' outside at 200, bars at y = 60.

    Constant bond TAU from the joint face (where the bar carries PULL) through hook to the bar end.
    """
    groups: dict[str, Group] = {}
    points, lines, stations, fields = [], {}, [], {}
    count = 0

    def grid(x, y):
        nonlocal count
        xx, yy = np.meshgrid(x, y, indexing="ij")
        n = count + np.arange(xx.size).reshape(xx.shape)
        points.append(np.stack([xx, yy], -1).reshape(-1, 2))
        count += xx.size
        return n, np.stack([n[:-1, :-1], n[1:, :-1], n[1:, 1:], n[:-1, 1:]], -1).reshape(-1, 4)

    levels = np.array([0.0, 25.0, 50.0, 70.0, 95.0, *np.linspace(120, 500, 16)])
    left, a = grid(np.linspace(-800, -250, 12), levels)
    mid, cast = grid(np.linspace(-250, 250, 21), levels)
    right, c = grid(np.linspace(250, 800, 12), levels)
    for name, cells in (("precast", np.concatenate([a, c])), ("closure", cast)):
        groups[name] = Group("quad4", name, cells.astype(np.int32), {"thickness": np.full(len(cells), 300.0)})
    for name, m, p in (("left", left[-1], mid[0]), ("right", mid[-1], right[0])):
        four = np.stack([m[:-1], m[1:], p[:-1], p[1:]], 1).astype(np.int32)
        groups[f"joint:{name}"] = Group("joint", "joint", four, {"thickness": np.full(len(four), 300.0)})

    bend = np.linspace(0, np.pi / 2, 13)[1:]
    tangent_x = 200.0 - DB / 2 - RADIUS
    lead_x = np.append(np.arange(-785.0, -250.0, step), np.arange(-245.0, tangent_x + 1e-9, step))
    lead_x = np.unique(np.append(lead_x, tangent_x))
    xy = np.concatenate([
        np.stack([lead_x, np.full(len(lead_x), 60.0)], -1),
        np.stack([tangent_x + RADIUS * np.sin(bend), 60.0 + RADIUS * (1 - np.cos(bend))], -1),
        np.stack([np.full(20, tangent_x + RADIUS), 60.0 + RADIUS + np.arange(10.0, 201.0, 10.0)], -1),
    ])  # fmt: skip
    zone = np.repeat([LEAD, BEND, TAIL], [len(lead_x), 12, 20])
    zone[len(lead_x) - 1] = BEND
    arc = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(xy, axis=0).T))])
    face = -250.0 + 785.0
    for name, side in (("A", 1.0), ("B", -1.0))[: 2 if mirrored else 1]:
        n = len(xy)
        ids = count + np.arange(n)
        points.append(xy * [side, 1.0])
        count += n
        split = n - 40
        pairs = np.stack([ids[:-1], ids[1:]], 1)
        # the frame part is stored last to first: order along the line must not depend on storage
        for part, cells in ((f"bar:{name}", pairs[:split]), (f"hook:{name}", pairs[split:][::-1])):
            groups[part] = Group("truss2", "bar", cells.astype(np.int32), {"area": np.full(len(cells), 628.0)})
        middle = 0.5 * (arc[:-1] + arc[1:])
        sigma = PULL - np.maximum(middle - face, 0.0) * 4.0 * TAU / DB
        fields[f"bar:{name}/stress"], fields[f"hook:{name}/stress"] = sigma[:split], sigma[split:][::-1]
        fields[f"bar:{name}/strain"], fields[f"hook:{name}/strain"] = sigma[:split] / 2e5, sigma[split:][::-1] / 2e5
        length = 0.5 * (np.append(0.0, np.diff(arc)) + np.append(np.diff(arc), 0.0))
        host = np.tile(mid[0, 2] * 0 + np.array([mid[0, 2], mid[1, 2], mid[1, 3], mid[0, 3]]), (n, 1))
        data = {"length": length, "zone": zone, "diameter": np.full(n, DB), "number": np.full(n, 2.0)}
        cells = np.concatenate([ids[:, None], host], 1).astype(np.int32)
        groups[f"bond:{name}"] = Group("bond", "bond", cells, data)
        fields[f"bond:{name}/slip"] = -np.interp(arc, [face, arc[-1]], [0.4, 0.1])
        fields[f"bond:{name}/tau"] = np.where(arc > face, -TAU, 0.0)
        fields[f"bond:{name}/gap"] = fields[f"bond:{name}/bearing"] = np.zeros(n)
        lines[name] = BarLine(name, "main", ids.astype(np.int32), arc, zone.astype(np.int32), 628.0, DB, 2, "bar",
                              (f"bar:{name}", f"hook:{name}"), f"bond:{name}")  # fmt: skip
        for place, at in (("tangent", len(lead_x) - 1), ("bend-end", len(lead_x) + 11), ("tail-end", n - 1)):
            stations.append(Station(f"{name}/{place}", name, (side * xy[at, 0], xy[at, 1])))
    return Mesh(np.concatenate(points), groups, {}, lines, tuple(stations)), fields


def test_layout_reads_the_splice_from_the_mesh():
    mesh, _ = splice()
    plan = layout(mesh)
    assert plan.joints == pytest.approx((-250.0, 250.0))
    a, b = plan.anchors["A"], plan.anchors["B"]
    assert a.hooked and b.hooked and (a.sign, b.sign) == (1.0, -1.0)
    assert (a.face, b.face) == pytest.approx((-250.0, 250.0))
    assert (a.tip, b.tip) == pytest.approx((200.0, -200.0))
    assert a.level == pytest.approx(60.0) and a.row == pytest.approx((50.0, 70.0))
    assert a.above == pytest.approx((70.0, 95.0)) and a.tail == pytest.approx((190.0, 340.0))


def test_layout_without_partner_or_joint_still_has_a_face():
    mesh, _ = splice()
    groups = {k: g for k, g in mesh.groups.items() if not k.startswith("joint")}
    plan = layout(Mesh(mesh.points, groups, {}, mesh.lines, mesh.stations))
    # the lap starts where the partner's hook ends
    assert plan.anchors["A"].face == pytest.approx(-200.0) and plan.anchors["B"].face == pytest.approx(200.0)


@pytest.mark.parametrize("line", ["A", "B"])
def test_stress_falls_by_the_bond_along_the_bar(line):
    mesh, fields = splice()
    state = profile(mesh, fields, line)
    assert np.all(np.diff(state.middle) > 0.0)
    face = face_arcs(mesh, line)[0]
    assert state.arc[0] == 0.0 and face == pytest.approx(535.0)
    for beyond in (55.0, 200.0, 380.0):
        assert state.stress_at(face + beyond) == pytest.approx(PULL - beyond * 4.0 * TAU / DB, abs=1e-9)
    inside = state.arc > face
    assert state.tau[inside] == pytest.approx(-TAU)
    assert state.strain == pytest.approx(state.stress / 2e5)


def test_anchorage_at_face_tangent_and_end_of_bend():
    mesh, fields = splice()
    got = anchorage(mesh, fields, "B")
    # 360 mm of lead, then a quarter circle of the centre line (12 chords)
    lead = 110.0 + 250.0
    arc = 12 * 2 * RADIUS * np.sin(np.pi / 48)
    assert got.face == pytest.approx(PULL, abs=1e-6)
    assert got.tangent == pytest.approx(PULL - lead * 4 * TAU / DB, rel=0.01)
    assert got.bend_end == pytest.approx(PULL - (lead + arc) * 4 * TAU / DB, rel=0.01)
    assert got.hook_share == pytest.approx(got.tangent / PULL)
    assert got.slip_face == pytest.approx(0.4, rel=5e-3) and got.largest == pytest.approx(PULL)


def test_arc_of_a_point_is_that_of_its_foot():
    mesh, _ = splice()
    assert arc_at(mesh, "A", (-300.0, 55.0)) == pytest.approx(485.0)
    assert arc_at(mesh, "B", (300.0, 65.0)) == pytest.approx(485.0)


def test_unknown_line_is_a_key_error():
    mesh, fields = splice()
    with pytest.raises(KeyError):
        profile(mesh, fields, "Z")
