"""Vertical state of the plane over the bars, read back from a run written with known fields.

Source: the fields are made (uniform stress, one flat and one upright crack), so every value follows by hand.
"""

from __future__ import annotations

import runpy
from pathlib import Path

import numpy as np
import pytest

from fesplice.mesh import Mesh
from fesplice.post.elevation.interface import InterfaceTrace
from fesplice.post.elevation.layout import layout
from fesplice.post.elevation.trace import trace
from fesplice.store.steps import QUANTA

DATA = runpy.run_path(str(Path(__file__).with_name("report_data.py")))

WIDTH = 0.2


def crack_over_the_bars(mesh: Mesh, values: dict[str, np.ndarray], share: float) -> None:
    """A flat crack in the row above the bars left of midspan; an upright one right of it."""
    above = next(iter(layout(mesh).anchors.values())).above
    for name, g in mesh.groups.items():
        if g.kind == "quad4" and g.material == "closure":
            middle = mesh.points[g.cells].mean(axis=1)
            row = (middle[:, 1] > above[0]) & (middle[:, 1] < above[1])
            values[f"{name}/crack"][row & (middle[:, 0] < 0.0)] = (share * WIDTH / 35.0, 0.5 * np.pi, 35.0)
            values[f"{name}/crack"][row & (middle[:, 0] > 0.0)] = (share * WIDTH / 35.0, 0.0, 35.0)


@pytest.fixture(scope="module")
def state(tmp_path_factory: pytest.TempPathFactory) -> InterfaceTrace:
    folder: Path = tmp_path_factory.mktemp("vertical") / "run"
    return trace(DATA["write_run"](folder, change=crack_over_the_bars)).interface


def test_the_plane_spans_the_closure(state: InterfaceTrace) -> None:
    assert state.length.sum() == pytest.approx(560.0)
    assert state.x.min() > -280.0 and state.x.max() < 280.0
    assert state.bar_stress.max() == pytest.approx(DATA["FACE"])
    assert state.stress.shape == state.opening.shape == (len(DATA["LOADS"]), len(state.x))


def test_stress_and_flat_cracks_and_no_upright_ones(state: InterfaceTrace) -> None:
    full = state.at(DATA["FACE"])
    assert full.stress == pytest.approx(DATA["STRESS"][1], abs=0.5 * QUANTA["stress"])
    assert full.opening[0, state.x < 0.0] == pytest.approx(WIDTH, rel=1e-4)
    assert full.opening[0, state.x > 0.0] == pytest.approx(0.0)


def test_between_two_steps_in_proportion_and_held_beyond_the_largest(state: InterfaceTrace) -> None:
    half = state.at(0.5 * DATA["FACE"])
    assert half.bar_stress[0] == pytest.approx(0.5 * DATA["FACE"])
    assert half.stress == pytest.approx(0.5 * DATA["STRESS"][1], abs=0.5 * QUANTA["stress"])
    assert half.opening.max() == pytest.approx(0.5 * WIDTH, rel=1e-4)
    assert state.at(900.0).bar_stress[0] == pytest.approx(DATA["FACE"])


def test_without_stirrups_in_the_closure_no_legs_cross(state: InterfaceTrace) -> None:
    assert state.leg_x.shape == (0,) and state.at(100.0).leg_stress.shape == (1, 0)
