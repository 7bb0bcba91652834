"""A strip in tension torn apart in its weakest element row: the work is G_F times the area, whatever the mesh.

Source: crack band of Bazant & Oh (1983), in whose terms the work per area of crack may not
depend on the element size; the softening curve is integrated to its end.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from fesplice.contracts import State
from fesplice.laws import SmearedCrack
from fesplice.mesh import Group, Mesh
from fesplice.model.assembly import Model
from fesplice.solve import Constant, Displacement, March, Stop, Tolerances

LENGTH, HEIGHT, THICK, G_F = 240.0, 120.0, 50.0, 0.12
LAW = SmearedCrack(30e3, 0.2, 3.0, G_F, 38.0, 2.2e-3, 50.0)


def strip(size: float, skew: float) -> Model:
    """Strip held at x = 0 and pulled at x = ``LENGTH``; one element column half as strong; columns may lean."""
    nx, ny = round(LENGTH / size), round(HEIGHT / size)
    x, y = np.meshgrid(np.arange(nx + 1) * size, np.arange(ny + 1) * size, indexing="ij")
    x = x + skew * (y - 0.5 * HEIGHT) * (1 - np.abs(2 * x / LENGTH - 1))  # straight ends
    points = np.stack([x.ravel(), y.ravel()], axis=1)
    i, j = (a.ravel() for a in np.meshgrid(np.arange(nx), np.arange(ny), indexing="ij"))
    corner = i * (ny + 1) + j
    cells = np.stack([corner, corner + ny + 1, corner + ny + 2, corner + 1], axis=1).astype(np.int32)
    weak = i == nx // 2
    groups = {
        name: Group("quad4", name, part, {"thickness": np.full(len(part), THICK)})
        for name, part in (("strong", cells[~weak]), ("weak", cells[weak]))
    }
    end = np.arange(nx * (ny + 1), (nx + 1) * (ny + 1))
    share = np.full(ny + 1, 1.0 / ny)
    share[[0, -1]] *= 0.5
    f_ref = np.zeros(2 * len(points))
    f_ref[2 * end] = share
    held = np.concatenate([2 * np.arange(ny + 1), [1]])
    laws = {"strong": LAW, "weak": replace(LAW, tensile_strength=0.5 * LAW.tensile_strength)}
    return Model(Mesh(points, groups), laws, held, f_ref, watch={"end": f_ref})


def torn(model: Model, step: float = 0.004) -> tuple[np.ndarray, np.ndarray]:
    """Elongation (work-conjugate mean over the end) and force until nothing is left."""
    start = State(np.zeros(model.n_free), 0.0, model.fresh())
    hold = Displacement(model.restrict(model.watch["end"]))
    stop = Stop(end=0.5, not_before=np.inf)
    steps = list(March(model, hold, Constant(step), start, stop=stop, tolerances=Tolerances.strict()))
    return (np.array([model.read("end", s.state.u) for s in steps]), np.array([s.state.load for s in steps]))


@pytest.mark.parametrize("size", [40.0, 20.0, 10.0])
def test_work_is_the_fracture_energy_times_the_area(size: float) -> None:
    end, force = torn(strip(size, 0.0))
    area = HEIGHT * THICK
    assert np.trapezoid(force, end) == pytest.approx(G_F * area, rel=0.01)
    assert force.max() == pytest.approx(1.5 * area, rel=0.02)
    assert force[-1] < 0.01 * force.max()


def test_leaning_columns_still_give_the_energy_of_the_straight_crack() -> None:
    """Columns at 17 degrees from the crack: Oliver's width keeps the work within 1 %.

    Small steps: with 0.004 mm the strip may open at one edge first, which the last digits decide.
    """
    end, force = torn(strip(20.0, 0.3), step=0.001)
    assert np.trapezoid(force, end) == pytest.approx(G_F * HEIGHT * THICK, rel=0.01)
