"""A straight lap without ties under wedging bond: its strength beside the table, its mesh, its equilibrium.

Source: fib Model Code 2010, eq. 6.1-19, mean strength of a lap (c_max = c_min, K_tr = 0), written out here.
The effective width is calibrated on other laps by the same equation with elements of 0.6 d_b; 10 % is what
interpolation may cost, 5 % either way what the mesh may up to 0.75 d_b (engineering judgement).
"""

from __future__ import annotations

import runpy
from pathlib import Path

import numpy as np
import pytest

from fesplice.contracts import State
from fesplice.laws import WedgingBond
from fesplice.laws.wedge import effective_width
from fesplice.solve import Constant, Displacement, March, Stop

SCRIPT = runpy.run_path(str(Path(__file__).parents[2] / "scripts" / "effective_width.py"))
D, COVER, F_CM = 20.0, 30.0, 32.0
GOAL = 54.0 * (F_CM / 25.0) ** 0.25 * (25.0 / D) ** 0.2 * 20.0**0.55 * (COVER / D) ** 0.25
WIDTH = effective_width(D, COVER, COVER, F_CM)[0]


@pytest.fixture(scope="module")
def reached() -> dict[float, float]:
    return {size: SCRIPT["strength"](D, COVER, F_CM, WIDTH, size=size) for size in (0.75, 0.6, 0.5)}


def test_strength_beside_the_rows_of_the_table(reached: dict[float, float]) -> None:
    assert reached[0.6] == pytest.approx(GOAL, rel=0.10)


def test_strength_does_not_follow_the_mesh(reached: dict[float, float]) -> None:
    """Three meshes with fixed gauge points, each within 5 % of the middle one."""
    assert list(reached.values()) == pytest.approx([reached[0.6]] * 3, rel=0.05)


def test_wedges_push_nothing_but_themselves() -> None:
    """On the way up the wedge forces are |tau| d_b tan(45 degrees) bar by bar, and neither they nor the block's
    upper edge lift or press: the pairs balance within the block.
    """
    model = SCRIPT["lap"](D, COVER, F_CM, WIDTH)
    hold = Displacement(model.restrict(model.watch["pull"]))
    step = GOAL / 200e3 * 10.0 * D / 8.0
    start = State(np.zeros(model.n_free), 0.0, model.fresh())
    last = list(March(model, hold, Constant(step), start, stop=Stop(end=2.9 * step)))[-1]
    part = next(p for p in model.parts if isinstance(p.law, WedgingBond))
    stress = last.stress[part.name][:, 0]
    tau = np.abs(stress[:, 0]) / (np.pi * D)
    assert tau.max() > 2.0 and stress[:, 2] == pytest.approx(-tau * D)
    reactions = model.reactions(last.stress, last.state.load)
    held = np.setdiff1d(np.arange(model.n_dof), model.free)
    upward = reactions[held[held % 2 == 1]]
    assert upward.sum() == pytest.approx(0.0, abs=1e-6 * last.state.load)
    ring = np.zeros(model.n_dof)
    for rows, at, force, weight in zip(part.rows, part.unknowns, stress, part.weights[:, 0]):
        np.add.at(ring, at, rows[2] * force[2] * weight)
    assert np.abs(ring).sum() > 1e4 and ring.reshape(-1, 2).sum(axis=0) == pytest.approx([0.0, 0.0], abs=1e-6)
