"""What scripts/robustness counts, on a coarse beam and a coarse plan: every accepted step is in equilibrium.

Sources: statics (forces at every free node sum to nothing); the bounds, 2 % of the loads in the plan and 5 % in the
elevation, are the project's own: common practice, no source.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import pytest

ROOT = Path(__file__).parents[2]
sys.path.insert(0, str(ROOT / "scripts"))

from robustness import HEAD, MODELS, Row, measure, unbalanced  # noqa: E402

from fesplice import read  # noqa: E402
from fesplice.contracts import Outcome, State, Step  # noqa: E402
from fesplice.pipeline.views import setup  # noqa: E402
from fesplice.specimen import vary_many  # noqa: E402

COARSE = vary_many(
    read(MODELS / "as29-100-u.toml"),
    {"mesh.splice": "36 mm", "mesh.elsewhere": "120 mm", "plan.element": "40 mm", "analysis.max_steps": 24},
)


#: Share of the loads that an accepted step may be out of balance.
BOUND = {"plan": 0.02, "elevation": 0.05}


@pytest.fixture(scope="module", params=["elevation", "plan"])
def row(request) -> Row:
    """Through cracking."""
    return measure(COARSE, request.param)


def test_accepted_steps_balance_by_their_own_stresses(row: Row) -> None:
    assert row.steps == 24 and row.unconverged == 0
    assert 0.0 < row.worst < BOUND[row.view]
    assert row.share >= 0.7 and row.plain + row.relaxed <= row.steps


def test_the_table_has_a_cell_for_every_figure(row: Row) -> None:
    head, rule = HEAD.splitlines()
    assert row.line().count("|") == head.count("|") == rule.count("|")


def test_what_is_out_of_balance_is_seen() -> None:
    """Loads on a beam that has not moved are out of balance as a whole, and a node moved alone adds to that."""
    case = setup(COARSE, "elevation")
    model = case.model()
    u, load = np.zeros(model.n_free), 50e3
    rest = model.internal(u, model.fresh(), matrix=False)
    still = unbalanced(model, _step(u, load, rest.stress))
    assert still == pytest.approx(1.0), "nothing resists the loads yet"
    u[model.n_free // 2] = 0.01
    moved = model.internal(u, model.fresh(), matrix=False)
    loads = np.abs(load * model.f_ref + model.f_dead).sum()
    by_hand = np.abs(load * model.f_ref + model.f_dead - moved.force)[model.shifts].sum() / loads
    assert unbalanced(model, _step(u, load, moved.stress)) == pytest.approx(by_hand, rel=1e-9) and by_hand > 1.01


def _step(u, load, stress) -> Step:
    return Step(0, State(u, load, {}), stress, Outcome.converged, 0, 0.0, 0.0, 0.0, 0.0)
