"""What scripts/couple reads from a plan run: the force a bar hands over, and the lever of the couple.

Sources: statics. A bar hands over by bond and hook what pulls it at its face; the thrust on an edge strip balances
the moment of its bar about the cut. Values by hand where numbers stand.
"""

from __future__ import annotations

import math
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parents[2] / "scripts"))

from couple import NEAR, Case, Edge, Row, edges, page, transfer  # noqa: E402

from fesplice.contracts import State  # noqa: E402
from fesplice.geometry.plan import plan  # noqa: E402
from fesplice.geometry.plan_mesh import plan_mesh  # noqa: E402
from fesplice.model.fields import fields  # noqa: E402
from fesplice.model.plan import plan_model  # noqa: E402
from fesplice.post.plan.forces import PlanForces  # noqa: E402
from fesplice.solve import Adaptive, Displacement, March, Stop  # noqa: E402

#: 29 bars of 500 kN that lap 100 mm apart, hooks 173 mm apart: 500 x 100/173 = 289 kN.
BY_HAND = Edge(pull=500e3, spacing=100.0, thrust=280e3, hooks=173.0, centroids=-20.0, statics=200.0, hook_share=0.5,
               handed=1.0, far=0.2)  # fmt: skip


def slab(case: Case, extension: float, steps: int):
    """Forces and fields of a free slab of coarse elements whose crossheads have moved apart by ``extension`` [mm]."""
    s = case.specimen("30 mm")
    model = plan_model(s, plan_mesh(plan(s), s.plan.element))
    hold = Displacement(model.restrict(model.watch["extension"]))
    start = State(np.zeros(model.n_free), 0.0, model.fresh())
    size = extension / steps
    pace, stop = Adaptive(size, largest=1.0, size=size), Stop(end=extension - 1e-9)
    step = list(March(model, hold, pace, start, stop=stop, patient=True))[-1]
    return PlanForces(model.mesh), fields(model, step)


@pytest.fixture(scope="module", params=[("100 mm", "hooked bar"), ("60 mm", "ties")], ids=["x", "ties"])
def pulled(request):
    """Cracked."""
    return slab(Case(*request.param), 1.2, 8)


def test_bars_hand_over_what_pulls_them(pulled) -> None:
    """Bond and hook sum to the force at the face within 2 %; the hook alone or the bond alone does not."""
    forces, values = pulled
    pulls = forces.bar_forces(values)
    for bar in forces.laid.bars:
        mine = transfer(forces.mesh, values, bar)
        assert mine.force == pytest.approx(pulls[bar.line], rel=0.02)
        assert 0.1 < mine.hook < 0.9
        # between the face and the far end of the hook's patch, on the bar's own side
        reach = float(forces.mesh.groups[f"anchor:{bar.line}"].data["reach"][0])
        assert bar.face * bar.sign < mine.x * bar.sign < (bar.end + bar.sign * reach) * bar.sign


def test_thrust_balances_the_moment_of_its_strip(pulled) -> None:
    """Where the run's own normal forces act, the thrust is that of statics; the bar's bending is what is left out."""
    forces, values = pulled
    for edge in edges(forces, values):
        assert edge.handed == pytest.approx(1.0, abs=0.02)
        assert edge.thrust == pytest.approx(edge.by("statics"), rel=NEAR)


def test_mirrored_edges_read_alike() -> None:
    """Before cracking both edge bars are images of each other, to the accuracy of the solution."""
    low, high = edges(*slab(Case("100 mm", "stirrups"), 0.05, 1))
    assert low.thrust > 0.0
    for what in ("pull", "thrust", "hooks", "centroids", "statics", "hook_share"):
        assert getattr(low, what) == pytest.approx(getattr(high, what), rel=1e-4), what


def test_page_tells_what_lies_outside() -> None:
    """280 against 289 and 250 kN are inside 15 %, a lever that points backwards gives none; 200 kN is outside."""
    assert BY_HAND.by("hooks") == pytest.approx(289.0e3, rel=1e-3) and BY_HAND.by("statics") == pytest.approx(250e3)
    assert math.isnan(BY_HAND.by("centroids"))
    good = Row(Case("100 mm", "ties"), "strength", 775.0, 2.0, (BY_HAND, BY_HAND), True)
    text = page([good])
    assert "289 (-3 %)" in text and "250 (+12 %)" in text and "**none**" in text
    assert "T s/(l_s - 2r) 1 of 1; T s/l, centroids 0 of 1" in text
    poor = replace(good, edges=(replace(BY_HAND, thrust=200e3),))
    assert "**289 (-31 %)**" in page([poor]) and "T s/(l_s - 2r) 0 of 1" in page([poor])
