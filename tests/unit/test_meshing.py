"""Meshes of the elevation: every model of the repository and one hundred random specimens.

Sources: areas, lengths and mirror images are plane geometry; natural coordinates are checked
with the bilinear shape functions of the four-node quadrilateral (any textbook, e.g. Cook et al.
2002, section 6.2). Stated quality: structured rectangles, so every corner is square (scaled
corner Jacobian 1; at least 0.3 is asked of any mesh) and no element is longer than 8 widths.
"""

from __future__ import annotations

import threading
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest

from fesplice.contracts import InputFault
from fesplice.geometry import bars, clash, planes
from fesplice.geometry.meshing import build_mesh
from fesplice.mesh import BEND, LEAD, TAIL, check, quality
from fesplice.specimen.read import read, read_text, vary

MODELS = Path(__file__).parents[2] / "models"
FILES = sorted([*MODELS.glob("*.toml"), *MODELS.glob("plain/*.toml")])
N_RANDOM = 100


@dataclass(frozen=True)
class Sizes:
    splice: float
    elsewhere: float


@pytest.fixture(scope="module")
def beam():
    s = read(MODELS / "as29-100-u.toml")
    plane = planes.elevation(s)
    return s, plane, build_mesh(plane, s.mesh)


# ------------------------------------------------------------------ what every mesh must satisfy
def areas(xy):
    nxt = np.roll(xy, -1, axis=1)
    return 0.5 * (xy[..., 0] * nxt[..., 1] - nxt[..., 0] * xy[..., 1]).sum(axis=1)


def concrete(mesh):
    return {n: g for n, g in mesh.groups.items() if n in ("precast", "closure")}


def assert_sound(s, plane, mesh):
    check(mesh, smallest_quality=0.3)
    assert quality(mesh) > 0.999
    assert_elements(s, mesh)
    assert_net_width(s, plane, mesh)
    assert_joints(s, mesh)
    assert_points(s, mesh)
    closure = {tuple(c) for c in mesh.groups["closure"].cells} if s.body.closure > 0.0 else set()
    for path in plane.paths:
        assert_line(s, path, mesh, closure)
    if s.bars.right is None or np.isclose(s.bars.left.embedment, s.bars.right.embedment):
        assert_mirrored(s, mesh)


def assert_elements(s, mesh):
    total = 0.0
    for name, g in mesh.of_kind("quad4").items():
        xy = mesh.points[g.cells]
        area = areas(xy)
        assert area.min() > 0.0
        edges = np.linalg.norm(np.roll(xy, -1, axis=1) - xy, axis=2)
        assert (edges.max(axis=1) / edges.min(axis=1)).max() <= 8.0
        total += area.sum() if name in concrete(mesh) else 0.0
    assert total == pytest.approx((s.body.span + 2.0 * s.body.overhang) * s.body.depth, rel=1e-9)
    if "closure" in mesh.groups:
        inner = areas(mesh.points[mesh.groups["closure"].cells]).sum()
        assert inner == pytest.approx(s.body.closure * s.body.depth, rel=1e-9)


def assert_net_width(s, plane, mesh):
    """Concrete missing in the bar row = sum over bars of diameter x covered length x row height."""
    removed = sum(
        ((s.body.width - g.data["thickness"]) * areas(mesh.points[g.cells])).sum() for g in concrete(mesh).values()
    )
    expected = 0.0
    for m in bars.main_shapes(s):
        x0, x1, _, _ = m.outside
        expected += len(m.positions) * m.diameter * (x1 - x0)
    height = set()
    for g in concrete(mesh).values():
        row = mesh.points[g.cells[g.data["bar_row"] > 0.0]]
        height |= set(np.ptp(row[..., 1], axis=1).round(6))
        assert (g.data["thickness"] > 0.0).all()
        assert np.ptp(g.data["thickness"][g.data["bar_row"] == 0.0]) == 0.0
    assert len(height) == 1
    assert removed == pytest.approx(expected * height.pop(), rel=1e-6)
    for level in plane.levels:
        assert any(
            np.isclose(mesh.points[g.cells[g.data["bar_row"] > 0]][..., 1].mean(), level, atol=0.3 * s.mesh.splice)
            for g in concrete(mesh).values()
        )


def assert_joints(s, mesh):
    joints = mesh.of_kind("joint")
    assert len(joints) == (2 if s.body.closure > 0.0 else 0)
    for name, g in joints.items():
        p = mesh.points[g.cells]
        assert p[:, 0] == pytest.approx(p[:, 2]) and p[:, 1] == pytest.approx(p[:, 3])
        assert np.linalg.norm(p[:, 1] - p[:, 0], axis=1).sum() == pytest.approx(s.body.depth)
        assert np.unique(g.cells[:, :2]).size == np.unique(g.cells[:, 2:]).size == len(g.cells) + 1
        assert not set(g.cells[:, :2].ravel()) & set(g.cells[:, 2:].ravel())
        closure = set(mesh.groups["closure"].cells.ravel())
        inner, outer = (g.cells[:, 2:], g.cells[:, :2]) if name == "joint:left" else (g.cells[:, :2], g.cells[:, 2:])
        assert set(inner.ravel()) <= closure and not set(outer.ravel()) & closure
        side = name.removeprefix("joint:")
        minus, plus = mesh.node_sets[f"opening:{side}"]
        assert mesh.points[minus] == pytest.approx(mesh.points[plus])
        assert mesh.points[minus, 1] == 0.0 and minus in g.cells[:, :2] and plus in g.cells[:, 2:]


def assert_points(s, mesh):
    half = 0.5 * s.body.span
    want = {"support:left": (-half, -s.body.plate_thickness), "support:right": (half, -s.body.plate_thickness)}
    top = s.body.depth + s.body.plate_thickness
    if s.body.shear_span < half - 1e-6:
        want |= {"load:left": (-half + s.body.shear_span, top), "load:right": (half - s.body.shear_span, top)}
    else:
        want["load:mid"] = (0.0, top)
    want["midspan"] = (0.0, 0.0)
    for name, at in want.items():
        (node,) = mesh.node_sets[name]
        assert mesh.points[node] == pytest.approx(at, abs=1e-6)
    plates = set(mesh.groups["plates"].cells.ravel())
    body = set(np.concatenate([g.cells.ravel() for g in concrete(mesh).values()]))
    touching = len(plates & body)
    assert touching >= 2 * (len(want) - 1)


def assert_line(s, path, mesh, closure):
    line = mesh.lines[path.name]
    bond = mesh.groups[line.bond]
    points = mesh.points[line.nodes]
    assert (bond.cells[:, 0] == line.nodes).all()
    chords = np.linalg.norm(np.diff(points, axis=0), axis=1)
    length = np.linalg.norm(np.diff(path.points, axis=0), axis=1).sum()
    assert bond.data["length"].sum() == pytest.approx(length)
    assert chords.sum() == pytest.approx(length) == line.arc[-1]
    assert chords.min() > 1e-3
    # bars follow on each other without a gap, truss first
    cells = np.concatenate([mesh.groups[g].cells for g in line.groups])
    assert (cells == np.column_stack([line.nodes[:-1], line.nodes[1:]])).all()

    local = bond.data["local"]
    assert np.abs(local).max() <= 1.0
    xi, eta = local[:, :1], local[:, 1:]
    n = 0.25 * np.hstack([(1 - xi) * (1 - eta), (1 + xi) * (1 - eta), (1 + xi) * (1 + eta), (1 - xi) * (1 + eta)])
    back = np.einsum("nk,nkd->nd", n, mesh.points[bond.cells[:, 1:]])
    assert np.abs(back - points).max() < 1e-7
    assert np.linalg.norm(bond.data["tangent"], axis=1) == pytest.approx(np.ones(len(points)))
    assert (bond.data["cmax"] >= bond.data["cmin"]).all() and (bond.data["cmin"] > 0.0).all()

    for x in bars.joint_positions(s):
        assert np.abs(points[:, 0] - x).min() > 1e-3
    if s.body.closure > 0.0:
        inside = np.abs(points[:, 0]) < 0.5 * s.body.closure
        hosted = np.array([tuple(c) in closure for c in bond.cells[:, 1:]])
        assert (hosted == inside).all()
    if path.frame_from is not None:
        frame = mesh.groups[f"hook:{path.name}"]
        first_bend = int(np.argmax(line.zone == BEND))
        start = int(np.flatnonzero(line.nodes == frame.cells[0, 0])[0])
        lead = line.arc[first_bend] - line.arc[start]
        assert 5.0 * path.diameter - 1e-6 <= lead or start == 0
        assert list(np.unique(line.zone)) == [LEAD, BEND, TAIL]
        assert frame.cells[-1, 1] == line.nodes[-1]


def assert_mirrored(s, mesh):
    def cloud(xy):
        rounded = xy.round(4) + 0.0
        return rounded[np.lexsort((rounded[:, 1], rounded[:, 0]))]

    concrete_nodes = np.unique(np.concatenate([g.cells.ravel() for g in mesh.of_kind("quad4").values()]))
    points = mesh.points[concrete_nodes]
    assert np.abs(cloud(points) - cloud(points * [-1.0, 1.0])).max() < 1e-3
    if "B" in mesh.lines and np.isclose(s.bars.left.depth, s.bars.right.depth):
        a, b = mesh.points[mesh.lines["A"].nodes], mesh.points[mesh.lines["B"].nodes]
        if a.shape == b.shape and s.bars.left.hook == s.bars.right.hook:
            assert np.abs(a - b * [-1.0, 1.0]).max() < 1e-6


# ------------------------------------------------------------------ models and random specimens
@pytest.mark.parametrize("path", FILES, ids=[f.stem for f in FILES])
def test_every_model_is_meshed_soundly(path):
    s = read(path)
    plane = planes.elevation(s)
    assert_sound(s, plane, build_mesh(plane, s.mesh))


def random_text(rng) -> str:
    """A specimen file as a laboratory might write it; not every one can be built."""
    kind = rng.choice(["hooked", "hooked", "hooked", "straight", "continuous"])
    size = rng.choice(["16", "19", "22", "25", "29", "32", "36"])
    d = {"16": 15.9, "19": 19.1, "22": 22.2, "25": 25.4, "29": 28.7, "32": 32.3, "36": 35.8}[size]
    angle = rng.choice([90, 90, 180])
    depth = round(rng.uniform(24.0, 32.0) * d)
    width = round(rng.uniform(300.0, 1000.0))
    cover = rng.uniform(25.0, 60.0)
    lap = round(rng.uniform(12.0, 28.0) * d, 1)
    closure = round(lap + rng.uniform(25.0, 220.0), 1)
    if kind == "continuous" and rng.random() < 0.6:
        closure = 0.0
    central = closure == 0.0 and rng.random() < 0.5
    span = round(closure + rng.uniform(5.0, 9.0) * depth)
    shear = 0.5 * span if central else round(0.5 * (span - closure) * rng.uniform(0.55, 0.85))
    plate = rng.choice([80.0, 100.0, 150.0])
    number = int(rng.integers(1, 5))
    lines_ = [
        'name = "random beam"',
        "[body]",
        f'width = "{width} mm"\ndepth = "{depth} mm"\nspan = "{span} mm"\nshear_span = "{shear} mm"',
        f'overhang = "{rng.uniform(80.0, 300.0):.1f} mm"\nclosure = "{closure} mm"\nplate_length = "{plate} mm"',
        f'plate_thickness = "{rng.choice([20.0, 30.0, 50.0])} mm"',
        '[concrete.precast]\nstrength = "42 MPa"',
        '[concrete.closure]\nstrength = "35 MPa"' if closure > 0.0 else "",
        '[steel.main]\nyield_strength = "725 MPa"\nultimate_strength = "930 MPa"',
        f'[bars]\nsplice = "{kind}"',
    ]
    if kind != "continuous":
        spacing = "contact" if rng.random() < 0.3 else f"{rng.uniform(1.2, 6.0) * d:.1f} mm"
        lines_ += [f'lap = "{lap} mm"\nspacing = "{spacing}"']
    lines_ += [f'[bars.left]\nsize = "{size}"\nnumber = {number}\nsteel = "main"\ncover = "{cover:.1f} mm"']
    if kind == "hooked":
        lines_ += [f"[bars.left.hook]\nangle = {angle}"]
    if rng.random() < 0.7:
        through = "true" if rng.random() < 0.5 else "false"
        lines_ += [f'[compression_bars]\nsize = "13"\nnumber = {rng.integers(2, 5)}\nsteel = "main"']
        lines_ += [f'cover = "{rng.uniform(40.0, 60.0):.1f} mm"\nthrough_closure = {through}']
    if rng.random() < 0.8:
        lines_ += [
            f'[stirrups]\nsize = "10"\nspacing = "{rng.uniform(80.0, 250.0):.0f} mm"\nlegs = {rng.choice([2, 3, 4])}'
        ]
        lines_ += [f'steel = "main"\ncover = "{rng.uniform(15.0, 24.0):.1f} mm"']
    if closure > 0.0:
        lines_ += random_confinement(rng, kind, lap)
    lines_ += [f'[mesh]\nsplice = "{rng.uniform(16.0, 25.0):.1f} mm"\nelsewhere = "{rng.uniform(40.0, 80.0):.0f} mm"']
    return "\n".join(lines_)


def random_confinement(rng, kind, lap) -> list[str]:
    choice = rng.choice(["none", "ties", "stirrups", "hooked_transverse_bar"])
    if choice == "none" or (choice == "hooked_transverse_bar" and kind != "hooked"):
        return []
    text = [f'[confinement]\nkind = "{choice}"\nsize = "10"\nsteel = "main"']
    if choice == "hooked_transverse_bar":
        return [*text, "number = 2"]
    number = int(rng.integers(1, 7))
    return [*text, f'number = {number}\nspacing = "{lap / max(number, 2):.1f} mm"\nlegs = {rng.choice([2, 4])}']


def test_one_hundred_random_specimens_are_meshed_soundly():
    rng = np.random.default_rng(29)
    kinds: dict[str, int] = {}
    refused = meshed = 0
    while meshed < N_RANDOM:
        text = random_text(rng)
        try:
            s = read_text(text)
        except InputFault:
            refused += 1
            assert refused < 3 * N_RANDOM
            continue
        if clash.clashes(s):
            refused += 1
            continue
        plane = planes.elevation(s)
        assert_sound(s, plane, build_mesh(plane, s.mesh))
        meshed += 1
        label = s.bars.splice if s.bars.left.hook is None else f"hooked {s.bars.left.hook.angle:.0f}"
        for key in (label, s.confinement.kind, "closure" if s.body.closure > 0.0 else "monolith"):
            kinds[key] = kinds.get(key, 0) + 1
    wanted = (
        "hooked 90",
        "hooked 180",
        "straight",
        "continuous",
        "monolith",
        "ties",
        "stirrups",
        "hooked_transverse_bar",
    )
    assert all(kinds.get(k, 0) >= 3 for k in wanted), kinds


# ------------------------------------------------------------------ the demonstration beam
def test_element_sizes_are_as_wished(beam):
    s, plane, mesh = beam
    xy = np.concatenate([mesh.points[g.cells] for g in concrete(mesh).values()])
    middle, width, height = xy.mean(axis=1), np.ptp(xy[..., 0], axis=1), np.ptp(xy[..., 1], axis=1)
    fine = np.abs(middle[:, 0]) < 280.0 + 575.0
    assert width[fine].max() <= 18.0 + 1e-6 and height.max() <= 18.0 + 1e-6
    assert width.max() <= 50.0 * 1.02
    assert 5000 <= len(xy) <= 6500


def test_bars_lie_in_the_middle_of_their_row(beam):
    s, plane, mesh = beam
    bond = mesh.groups["bond:A"]
    lead = bond.data["zone"] == LEAD
    assert np.abs(bond.data["local"][lead, 1]).max() < 1e-6
    assert np.diff(mesh.lines["A"].arc).max() <= 50.0 + 1e-6


def test_thickness_loses_both_rows_in_the_lap_and_one_outside(beam):
    s, _, mesh = beam
    g = mesh.groups["closure"]
    middle = mesh.points[g.cells].mean(axis=1)
    row = g.data["bar_row"] > 0.0
    lap = row & (np.abs(middle[:, 0]) < 210.0)
    beside = row & (np.abs(middle[:, 0]) > 250.0)
    assert g.data["thickness"][lap] == pytest.approx(600.0 - 4 * 28.7)
    assert g.data["thickness"][beside] == pytest.approx(600.0 - 2 * 28.7)


def test_anchors_are_at_the_beam_ends_and_at_both_ends_of_legs(beam):
    _, _, mesh = beam
    anchored = mesh.groups["bond:A"].data["anchored"]
    assert anchored[0] == 1.0 and anchored[1:].sum() == 0.0
    leg = mesh.groups["bond:S1"].data["anchored"]
    assert leg[0] == leg[-1] == 1.0 and leg[1:-1].sum() == 0.0
    assert mesh.groups["bar:S1"].data["area"] == pytest.approx(2 * 71.0)


def test_a_constant_force_in_a_bend_leaves_no_tangential_force_on_a_node(beam):
    """Equilibrium of a chain of chords under one tension T, nodes loaded along the bond normal alone."""
    _, _, mesh = beam
    line, bond = mesh.lines["A"], mesh.groups["bond:A"]
    step = np.diff(mesh.points[line.nodes], axis=0)
    unit = step / np.linalg.norm(step, axis=1)[:, None]
    unbalanced = unit[1:] - unit[:-1]
    along = (unbalanced * bond.data["tangent"][1:-1]).sum(axis=1)
    assert np.abs(along).max() < 1e-12
    # and the bearing over the bend's inner nodes is T/R
    inner = np.flatnonzero(bond.data["zone"][1:-1] == BEND)[1:-1]
    radius = 0.5 * 9.0 * 28.7
    bearing = np.linalg.norm(unbalanced[inner], axis=1) / bond.data["length"][1:-1][inner]
    assert bearing == pytest.approx(1.0 / radius, rel=2e-3)


def test_gauge_points_stand_on_both_sides_of_the_lead(beam):
    _, _, mesh = beam
    for name in ("A", "B"):
        bond = mesh.groups[f"bond:{name}"]
        points = mesh.points[mesh.lines[name].nodes]
        xi, eta = bond.data["gauge_local"][..., :1], bond.data["gauge_local"][..., 1:]
        n = 0.25 * np.concatenate(
            [(1 - xi) * (1 - eta), (1 + xi) * (1 - eta), (1 + xi) * (1 + eta), (1 - xi) * (1 + eta)], axis=2
        )
        at = np.einsum("ngk,ngkd->ngd", n, mesh.points[bond.data["gauge_hosts"]])
        lead = bond.data["zone"] == LEAD
        # the normal of a bar running in -x points down
        up = 1.0 if name == "A" else -1.0
        assert at[lead, 0] == pytest.approx(points[lead] + [0.0, up * 0.75 * 28.7], abs=1e-7)
        assert at[lead, 1] == pytest.approx(points[lead] - [0.0, up * 0.75 * 28.7], abs=1e-7)
        assert at[~lead].mean(axis=1) == pytest.approx(points[~lead], abs=1e-7)


def test_a_second_mesh_is_the_same_also_from_another_thread(beam):
    s, plane, mesh = beam
    found = []
    worker = threading.Thread(target=lambda: found.append(build_mesh(plane, s.mesh)))
    worker.start()
    worker.join()
    assert found[0].digest == mesh.digest
    assert build_mesh(plane, s.mesh).digest == mesh.digest


def test_an_open_gmsh_session_of_the_caller_survives(beam):
    import gmsh

    s, plane, mesh = beam
    gmsh.initialize(readConfigFiles=False, interruptible=False)
    try:
        gmsh.option.setNumber("General.Terminal", 0)
        gmsh.model.add("mine")
        gmsh.model.geo.addPoint(1.0, 2.0, 3.0)
        gmsh.model.geo.synchronize()
        assert build_mesh(plane, s.mesh).digest == mesh.digest
        assert gmsh.isInitialized() and gmsh.model.getCurrent() == "mine"
        assert len(gmsh.model.getEntities(0)) == 1
    finally:
        gmsh.finalize()


def test_meshing_is_silent(beam, capfd):
    s, plane, _ = beam
    build_mesh(plane, s.mesh)
    assert capfd.readouterr() == ("", "")


def test_a_coarser_wish_gives_fewer_elements_on_the_same_plane(beam):
    s, plane, mesh = beam
    coarse = build_mesh(plane, Sizes(40.0, 80.0))
    assert_sound(vary(s, "mesh.splice", "40 mm"), plane, coarse)
    assert len(coarse.points) < 0.4 * len(mesh.points)


@pytest.mark.parametrize("sizes", [Sizes(0.0, 50.0), Sizes(-1.0, 50.0), Sizes(50.0, 18.0), Sizes(float("nan"), 50.0)])
def test_impossible_sizes_are_refused(beam, sizes):
    with pytest.raises(InputFault, match="element sizes"):
        build_mesh(beam[1], sizes)
