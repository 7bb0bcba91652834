"""VTU and PVD export, read back by two general readers: meshio and pyvista (VTK).

Source of the principal values: Mohr's circle, worked by hand for the numbers below. Source of the
collection's form: VTK's own reader, through pyvista. Crack width = crack strain times band width
is the definition of the crack band (Bazant and Oh 1983).
"""

from __future__ import annotations

import subprocess
import sys
import xml.etree.ElementTree as ET
from pathlib import Path

import meshio
import numpy as np
import pytest
import pyvista

import fesplice
from fesplice.contracts import FolderFault
from fesplice.mesh import BarLine, Group, Mesh
from fesplice.store import Run, RunWriter, StepRecord
from fesplice.store.export import COLLECTION, collection, export
from fesplice.store.steps import CRACK, QUANTA

N = 9


def ints(*rows: list[int]) -> np.ndarray:
    return np.array(rows, np.int32)


def tensor(xx: float, yy: float, xy: float) -> np.ndarray:
    """The same components at the four points of one cell (1, 4, 3)."""
    return np.tile([xx, yy, xy], (1, 4, 1))


def mesh() -> Mesh:
    """Two squares and a triangle of 10 mm; a bar of three nodes through the squares at mid-height."""
    points = [[0, 0], [10, 0], [20, 0], [20, 10], [10, 10], [0, 10], [1, 5], [9, 5], [19, 5]]
    groups = {
        "precast": Group("quad4", "precast", ints([0, 1, 4, 5]), {"thickness": np.array([100.0])}),
        "bar:A": Group("truss2", "main", ints([6, 7])),
        "closure": Group("quad4", "closure", ints([1, 2, 3, 4]), {"thickness": np.array([80.0])}),
        "hook:A": Group("frame2", "main", ints([7, 8])),
        "plates": Group("tri3", "plate", ints([0, 1, 5]), {"thickness": np.array([100.0])}),
        "bond:A": Group("bond", "bond", ints([6, 0, 1, 4, 5], [7, 0, 1, 4, 5], [8, 1, 2, 3, 4])),
    }
    # The line runs against the node numbers, so an order taken from the numbers would show.
    line = BarLine(
        "A", "main", np.array([8, 7, 6], np.int32), np.array([0.0, 10.0, 18.0]), np.array([2, 1, 0], np.int32),
        645.0, 28.7, 1, "main", ("bar:A", "hook:A"), "bond:A",
    )  # fmt: skip
    return Mesh(np.array(points, float), groups, {}, {"A": line})


def fields(step: int) -> dict[str, np.ndarray]:
    """Stress (8, 2, 4) in the closure: principal values 10 and 0 by Mohr's circle."""
    # Normals at +89 and -89 degrees are 2 degrees apart: their mean is 90, not 0.
    crack = np.array([[[0.002, np.radians(89), 10.0], [0.002, np.radians(-89), 10.0]] * 2])
    return {
        "u": np.arange(2.0 * N + 2) * step,
        "reactions": np.arange(2.0 * N + 2),
        "precast/stress": tensor(1.0, -1.0, 0.0),
        "precast/strain": tensor(1e-4, -1e-4, 0.0),
        "precast/crack": np.zeros((1, 4, 3)),
        "closure/stress": tensor(8.0, 2.0, 4.0),
        # exx 8e-4, eyy 2e-4, gxy 8e-4 (half of it on the circle): principal 5e-4 +- 5e-4.
        "closure/strain": tensor(8e-4, 2e-4, 8e-4),
        "closure/crack": crack,
        "plates/stress": np.zeros((1, 1, 3)),
        "plates/strain": np.zeros((1, 1, 3)),
        "bar:A/stress": np.array([300.0]),
        "bar:A/strain": np.array([1.5e-3]),
        "hook:A/stress": np.array([100.0]),
        "hook:A/moment": np.array([5000.0]),
        "bond:A/slip": np.array([0.1, 0.2, 0.3]),
        "bond:A/tau": np.array([1.0, 2.0, 3.0]),
    }


@pytest.fixture(scope="module")
def run(tmp_path_factory: pytest.TempPathFactory) -> Run:
    folder = tmp_path_factory.mktemp("run") / "r"
    given = {"specimen_text": "", "specimen_name": 'Demo <"A" & B>\x07', "specimen_digest": "d"}
    with RunWriter.create(folder, mesh=mesh(), settings={}, versions={}, **given) as writer:
        for step in (1, 2, 3):
            writer.accept(StepRecord(step, {"load_N": 10.0 * step}, fields(step)))
    return Run(folder)


def test_concrete_read_back_by_meshio(run: Run):
    export(run)
    grid = meshio.read(run.folder / "export" / "concrete_000002.vtu")
    assert [(b.type, len(b.data)) for b in grid.cells] == [("quad", 2), ("triangle", 1)]
    np.testing.assert_array_equal(grid.points[grid.cells[0].data[1]][:, :2], [[10, 0], [20, 0], [20, 10], [10, 10]])
    np.testing.assert_array_equal(grid.points[:, 2], 0)
    quads = {name: blocks[0] for name, blocks in grid.cell_data.items()}
    np.testing.assert_allclose(quads["principal_tension_MPa"], [1, 10], rtol=1e-6)
    np.testing.assert_allclose(quads["principal_compression_MPa"], [-1, 0], atol=1e-6)
    # stored to whole multiples: a component is off by half of one, the major principal value by one and a half of
    # that at most (Mohr's circle: mean and radius)
    np.testing.assert_allclose(quads["principal_tensile_strain"], [1e-4, 1e-3], rtol=0.0, atol=0.75 * QUANTA["strain"])
    np.testing.assert_allclose(quads["stress_xy_MPa"], [0, 4])
    np.testing.assert_allclose(quads["crack_width_mm"], [0, 0.02], rtol=0.0, atol=0.5 * CRACK[0] * 10.0)
    np.testing.assert_allclose(np.abs(quads["crack_normal_deg"]), [np.nan, 90], atol=np.degrees(0.5 * CRACK[1]))
    off = np.hypot(0.5 * CRACK[0] * 10.0, 0.5 * CRACK[1] * 0.02)
    np.testing.assert_allclose(np.abs(quads["crack_mm"]), [[0, 0, 0], [0.02, 0, 0]], atol=off)
    np.testing.assert_array_equal(quads["part"], [0, 2])
    np.testing.assert_array_equal(quads["thickness_mm"], [100, 80])
    assert np.isnan(grid.cell_data["crack_width_mm"][1]).all()
    # Points 0 to 5 are the concrete's; step 2 doubles the displacements 0, 1, 2, ...
    np.testing.assert_allclose(grid.point_data["displacement_mm"][:, :2], 2 * np.arange(12.0).reshape(6, 2))
    np.testing.assert_allclose(grid.point_data["reaction_N"][:, :2], np.arange(12.0).reshape(6, 2))


def test_bars_read_back_by_pyvista(run: Run):
    export(run)
    grid = pyvista.read(run.folder / "export" / "bars_000001.vtu")
    assert (grid.n_points, grid.n_cells) == (3, 2)
    assert set(grid.celltypes) == {pyvista.CellType.LINE}
    # In the order of the line: nodes 8, 7, 6.
    np.testing.assert_array_equal(grid.points[:, 0], [19, 9, 1])
    np.testing.assert_array_equal(grid.point_data["arc_mm"], [0, 10, 18])
    np.testing.assert_allclose(grid.point_data["slip_mm"], [0.1, 0.2, 0.3], rtol=0.0, atol=0.5 * QUANTA["slip"])
    np.testing.assert_allclose(grid.point_data["bond_stress_MPa"], [1, 2, 3])
    np.testing.assert_allclose(grid.point_data["displacement_mm"][:, :2], [[16, 17], [14, 15], [12, 13]])
    np.testing.assert_allclose(grid.cell_data["stress_MPa"], [300, 100])
    np.testing.assert_allclose(grid.cell_data["moment_Nmm"], [0, 5000])
    np.testing.assert_allclose(grid.cell_data["strain"], [1.5e-3, np.nan], rtol=0.0, atol=0.5 * QUANTA["strain"])
    ends = [sorted(grid.get_cell(k).points[:, 0]) for k in range(2)]
    assert ends == [[1, 9], [9, 19]]


def test_collection_opens_as_a_series_of_two_parts(run: Run):
    path = export(run, "all")
    assert path == run.folder / "export" / COLLECTION
    reader = pyvista.get_reader(path)
    assert reader.time_values == [1, 2, 3]
    reader.set_active_time_value(3)
    blocks = reader.read()
    assert [b.n_cells for b in blocks] == [3, 2]
    np.testing.assert_allclose(np.ptp(blocks[0].point_data["displacement_mm"][:, 0]), 3 * 10)
    warped = blocks[0].warp_by_vector("displacement_mm")
    np.testing.assert_allclose(warped.points[1] - blocks[0].points[1], [6, 9, 0])


def test_chosen_steps_in_any_order_and_from_the_end(run: Run):
    path = export(run, [-1, 1, 3])
    entries = [e.attrib for e in ET.parse(path).iter("DataSet")]
    assert [e["timestep"] for e in entries] == ["1", "1", "3", "3"]
    assert all((path.parent / e["file"]).is_file() for e in entries)
    assert [e.attrib["timestep"] for e in ET.parse(export(run, 2)).iter("DataSet")] == ["2", "2"]


def test_collection_survives_any_name():
    hostile = "a\"b'c<d>&e]]>\x00\x1b\ud800\uffff-->\n"
    tree = ET.fromstring(collection(hostile, [(1, hostile, "x & y.vtu")]).encode("utf-8"))
    entry = next(tree.iter("DataSet"))
    assert entry.attrib["file"] == "x & y.vtu"
    assert entry.attrib["name"].startswith("a\"b'c<d>&e]]>")


def test_faults_are_told_and_leave_no_partial_files(run: Run, monkeypatch: pytest.MonkeyPatch):
    with pytest.raises(FolderFault, match="step 9 is not stored; steps 1 to 3 are"):
        export(run, 9)
    with pytest.raises(FolderFault, match="no step to export"):
        export(run, [])

    def full(*args, **kwargs):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(meshio, "write", full)
    with pytest.raises(FolderFault, match="No space left"):
        export(run, 1)
    assert not list(run.folder.rglob("*.partial"))


def test_quantities_not_held_are_left_out(tmp_path: Path):
    given = {"specimen_text": "", "specimen_name": "n", "specimen_digest": "d"}
    with RunWriter.create(tmp_path / "r", mesh=mesh(), settings={}, versions={}, **given) as writer:
        writer.accept(StepRecord(1, {"load_N": 0.0}, {"u": np.zeros(2 * N)}))
    path = export(Run(tmp_path / "r"))
    grid = meshio.read(path.parent / "concrete_000001.vtu")
    assert set(grid.cell_data) == {"part", "thickness_mm"}
    assert set(grid.point_data) == {"displacement_mm"}


def test_importing_the_store_loads_neither_hdf5_nor_the_exporter():
    code = "import sys, fesplice.store, fesplice.store.export; sys.exit(bool({'h5py', 'meshio'} & set(sys.modules)))"
    root = Path(fesplice.__file__).parents[1]
    assert subprocess.run([sys.executable, "-c", code], cwd=root, check=False).returncode == 0
