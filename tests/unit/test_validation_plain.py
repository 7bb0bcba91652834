"""Parts of the series on plain concrete and panels: meshes, energies, cracks, panel modes, against closed forms.

Sources: area under the softening curve G_F (Hordijk 1991, from memory); plane-stress Hooke's law (any
textbook); the rest is geometry.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parents[2] / "scripts"))

from validation import frame, mixed, notched, panels, plain, shapes  # noqa: E402
from validation.uniform import Uniform  # noqa: E402

from fesplice.contracts import State  # noqa: E402
from fesplice.laws import Elastic, SmearedCrack  # noqa: E402
from fesplice.model.assembly import Model  # noqa: E402

LAW = SmearedCrack(30e3, 0.2, 3.0, 0.12, 38.0, 2.2e-3, 50.0)


def areas(shape: shapes.Shape) -> float:
    """Sum of the (signed) areas of all cells."""
    total = 0.0
    for cells in shape.cells.values():
        xy = shape.points[cells]
        ahead = np.roll(xy, -1, axis=1)
        a = 0.5 * np.sum(xy[..., 0] * ahead[..., 1] - ahead[..., 0] * xy[..., 1], axis=1)
        assert np.all(a > 0.0)
        total += float(a.sum())
    return total


@pytest.mark.parametrize("kind", ["quad4", "tri3"])
@pytest.mark.parametrize("free", [False, True])
def test_notched_body_has_the_area_of_its_outline(kind: str, free: bool) -> None:
    beam = notched.Beam(50.0, 50.0, 125.0, 175.0, 25.0)
    shape = notched.body(beam, notched.Fineness(2.5, kind, free), 2.5)
    assert areas(shape) == pytest.approx(175.0 * 50.0 - 2.5 * 25.0, rel=1e-9)
    shape.mesh(50.0)  # no loose node, no bad cell


def test_grid_lines_pass_through_their_stops_and_keep_the_fine_size() -> None:
    stops = [0.0, 137.0, 300.0, 1000.0]
    x = shapes.ticks(stops, (100.0, 320.0), 10.0, 80.0)
    assert all(np.abs(x - s).min() < 1e-9 for s in stops) and np.all(np.diff(x) > 0.0)
    inside = (x[1:] > 100.0) & (x[1:] <= 320.0)
    assert np.diff(x)[inside] == pytest.approx(np.full(inside.sum(), 10.0), rel=0.25)
    assert np.diff(x).max() <= 80.0 * 1.1


def test_energy_of_an_open_crack_is_the_fracture_energy() -> None:
    end = 5.136 * 0.12 / 3.0
    assert notched.energy(LAW, np.array([0.0, end, 2.0 * end])) == pytest.approx([0.0, 0.12, 0.12], abs=1e-4)
    small = 0.001 * end  # at first half of the work f_t w comes back on unloading to the origin
    assert notched.energy(LAW, np.array([small]))[0] == pytest.approx(0.5 * 3.0 * small, rel=0.01)


def test_uniform_square_is_hookes() -> None:
    m = Uniform(Elastic(30e3, 0.2), 40.0, np.array([1.0, 0.0, 0.5]))
    u = np.array([2e-4, -1e-4, 3e-4])
    d = 30e3 / 0.96 * np.array([[1, 0.2, 0], [0.2, 1, 0], [0, 0, 0.4]])
    trial = m.internal(u, m.fresh())
    assert trial.force == pytest.approx(1600.0 * d @ u)
    assert trial.matrix.toarray() == pytest.approx(1600.0 * d, abs=1.0)
    assert m.read("strain", u) == pytest.approx(2e-4 + 1.5e-4)


def test_crack_is_found_where_the_body_opens() -> None:
    """A body torn along a line at 45 degrees by given displacements: the points lie on it, the chord rises at 45."""
    x = np.linspace(0.0, 200.0, 21)
    shape = shapes.grid(x, x, {"panel": [((0.0, 200.0), (0.0, 200.0))]})
    mesh = shape.mesh(1.0)
    m = Model(mesh, dict.fromkeys(mesh.groups, LAW), np.array([], int), np.zeros(2 * len(shape.points)))
    above = shape.points[:, 1] > shape.points[:, 0] + 1.0
    full = np.zeros(2 * len(shape.points))
    full[0::2], full[1::2] = np.where(above, -0.2, 0.0), np.where(above, 0.2, 0.0)
    u = m.restrict(full)
    history = m.internal(u, m.fresh()).history
    crack = mixed.crack(m, shape, LAW, State(u, 0.0, history), (0.0, 0.0), 0, 10.0)
    assert len(crack.points) > 15 and crack.angle == pytest.approx(45.0, abs=3.0)
    assert crack.points[1:, 1] - crack.points[1:, 0] == pytest.approx(np.zeros(len(crack.points) - 1), abs=15.0)


def test_series_read_every_row_that_can_be_computed() -> None:
    """Rows of the panel file with a load ratio, and one case per size and kind of mesh of the study."""
    text = (frame.DATA / panels.FILE).read_text(encoding="utf-8").splitlines()
    rows = [line.split(",") for line in text if line.startswith("PV")]
    assert [c.name for c in panels.cases(frame.DATA)] == [r[0] for r in rows if r[7] != ""]
    names = [c.name for c in plain.cases(frame.DATA)]
    assert len(names) == len(set(names)) and sum(n.startswith(("grid", "free")) for n in names) == 12


def test_band_of_petersson_is_the_one_the_data_state() -> None:
    assert plain.stated({"peak_N": [1, 2], "use": "pass_fail on peak with 0.68-0.95 kN"}) == (680.0, 950.0)
    assert plain.stated({"peak_N": [750, 850], "use": "indication"}) == (750.0, 850.0)


@pytest.mark.parametrize(
    ("test", "found", "same"),
    [
        ("Y both", "Y both then C", True), ("Y both", "C", False), ("C", "C", True), ("C", "Y y then C", False),
        ("Y y then C", "Y y then C", True), ("Y y then C", "Y y", False), ("premature", "C", True),
        ("Y both at cracking", "cracking", True), ("Y both", "cracking", False),
    ],
)  # fmt: skip
def test_modes_of_panels(test: str, found: str, same: bool) -> None:
    assert panels.agrees(test, found) is same
