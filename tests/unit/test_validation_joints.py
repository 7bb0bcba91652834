"""Joints in the plan, a series that decides nothing; and the page on mesh, step and thickness.

Sources: statics; factor of spacing of the descriptive equation (Ajaam, Yasso, Darwin, O'Reilly & Sperry 2018,
0.0974 s/d_b + 0.391 up to 1; from memory).
"""

from __future__ import annotations

import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

ROOT = Path(__file__).parents[2]
sys.path.insert(0, str(ROOT / "scripts"))

import objectivity  # noqa: E402
from validation import frame, hook_points, hooks, joint_plan, joints_in_plan  # noqa: E402
from validation.case import Found, Settings  # noqa: E402
from validation.target import Row  # noqa: E402

from fesplice.contracts import State  # noqa: E402
from fesplice.solve import Constant, LoadFactor, March, Stop, Tolerances  # noqa: E402

COLUMN = hooks.equation_column(30.0, 25.0, 250.0)


def test_rows_are_those_of_both_series_and_none_counts() -> None:
    """Nine tests, the 12 points and 8 spacings; no use of them is counted; a missing table is no fault."""
    chosen = joints_in_plan.spread(joints_in_plan.cases(frame.DATA))
    points = {c.name for c in hook_points.spread(hook_points.cases(frame.DATA))}
    assert len(chosen) == 9 + 12 + 8 and not joints_in_plan.TARGET.counts
    assert {c.name for c in chosen if c.use == "surrogate"} == points
    assert {c.name for c in hooks.cases(frame.DATA)} <= {c.name for c in chosen}
    assert all(c.test is None for c in chosen if c.name.startswith("spacing-"))
    assert joints_in_plan.cases(frame.DATA / "nothing") == []


def test_slab_by_hand() -> None:
    """0.72 x 250 = 180 mm, half above and half below; a column that ends 50 mm above the bars leaves 90 + 50."""
    assert joint_plan.thickness(COLUMN) == pytest.approx(180.0)
    assert joint_plan.thickness(replace(COLUMN, height=COLUMN.arm + 100.0)) == pytest.approx(140.0)
    levels = joint_plan.plane(COLUMN).levels
    assert levels == pytest.approx((-87.5, 87.5))  # seven diameters of 25 mm


def test_spacings_by_hand() -> None:
    """Four diameters of 25 mm: 76 + 100 + 25 + 76 = 277 mm wide; the equation's factor 0.7806, and 1 from 6.25 on."""
    c = joints_in_plan.spaced(4.0)
    assert c.width == pytest.approx(277.0) and c.spacing == pytest.approx(100.0)
    assert joints_in_plan.by_equation(4.0) == pytest.approx(0.7806)
    assert joints_in_plan.by_equation(6.26) == 1.0 == joints_in_plan.by_equation(12.0)


def test_planes_give_back_what_the_bars_are_pulled_with() -> None:
    """Statics before anything cracks: the body's forces along the bars sum to the load, those across to nothing."""
    model = joint_plan.model(COLUMN, Settings(mesh=2.0, splitting="wedging"))
    start = State(np.zeros(model.n_free), 0.0, model.fresh())
    march = March(model, LoadFactor(model.n_free), Constant(20e3), start, stop=Stop(steps=1),
                  tolerances=Tolerances.strict())  # fmt: skip
    step = list(march)[-1]
    reactions = model.reactions(step.stress, step.state.load)
    (body,) = model.mesh.node_sets["body"]
    assert reactions[2 * body] == pytest.approx(step.state.load, rel=1e-3)
    assert abs(reactions[2 * body + 1]) < 1e-6 * step.state.load
    assert "crosshead:right" not in model.mesh.node_sets


def test_a_joint_fails_by_itself_in_the_plan_and_closer_bars_hold_less() -> None:
    """Coarse: both pulls fall, and bars three diameters apart hold less than those seven apart."""
    force = {}
    for ratio in (3.0, 7.0):
        c = joints_in_plan.spaced(ratio)
        found = joints_in_plan.run(hooks.Row("made", c, float("nan"), "indication", ""), Settings(mesh=2.0), alone=True)
        assert found.passed and found.curve["force_kN"][-1] < 0.9 * found.prediction
        force[ratio] = found.prediction
    assert 0.5 < force[3.0] / force[7.0] < 0.95


def test_page_tells_tests_points_and_spacing_apart() -> None:
    """Made rows: two tests, two points and three spacings, one of them off the equation's factor by far."""
    cases = {c.name: c for c in joints_in_plan.cases(frame.DATA)}
    kinds = {"indication": 0, "surrogate": 0}
    rows = []
    for case in cases.values():
        if case.test is None or kinds[case.use] == 2:
            continue
        kinds[case.use] += 1
        found = Found(case.test / 2.0, "", 1, 1, 0, 0, 1, True, "", {
            "elevation_kN": case.test, "lesser_kN": case.test / 2.0, "decides": "plan"})  # fmt: skip
        rows.append((case, found))
    for ratio, force in ((2.0, 58.58), (4.0, 50.0), (7.0, 100.0)):
        rows.append(
            (cases[f"spacing-{ratio:g}"], Found(force, "", 1, 1, 0, 0, 1, True, "", {"spacing_over_db": ratio}))
        )
    text = "\n".join(joints_in_plan.summary([Row(case, _Record(found)) for case, found in rows]))  # type: ignore[arg-type]
    assert "| tests: plan | 2 | 0.90 to 1.15, COV 16 % | 2.000 | 0.0 % |" in text
    assert "| points: elevation | 2 | 0.95 to 1.05, COV 9 % | 1.000 | 0.0 % |" in text
    assert "| tests: lesser of both | 2 | 0.90 to 1.15, COV 16 % | 2.000 | 0.0 % | 2 |" in text
    assert "| 2 | 0.59 | 0.59 | +0 % |" in text and "| 4 | 0.50 | 0.78 | -36 % |" in text
    assert "**missed** by 1 of 3" in text


class _Record:
    def __init__(self, found: Found):
        self.found = found


def test_objectivity_prints_what_is_missed() -> None:
    """One specimen of made strengths: 4 % off is within, 6 % is not; the thickness counts by itself."""
    case = objectivity.Case
    made = [(case("U", "free"), 400.0), (case("U", "free", mesh=0.7), 416.0), (case("U", "free", mesh=1.3), 376.0),
            (case("U", "free", step=0.5), 400.0), (case("U", "free", thickness=0.85), 340.0)]  # fmt: skip
    text = objectivity.page([objectivity.Found(c, s, True, "side thrust", 60, 5, 90, 1.0) for c, s in made])
    assert "**Elements**: 1 of 2 within 5 %, most 6.0 %; beyond: U-free-mesh1.3." in text
    assert "**Step**: 1 of 1 within 5 %, most 0.0 %." in text
    assert "**Thickness of the slab**: 0 of 1 within 5 %, most 15.0 %" in text and "**-15.0 %**" in text


def test_objectivity_varies_one_thing_at_a_time() -> None:
    """All cases are of specimens that can be read, named apart, and each differs from its defaults in one value."""
    every = objectivity.cases()
    assert len({c.name for c in every}) == len(every) == 4 * (4 + 5 + 5)
    assert all(sum(v != 1.0 for v in (c.mesh, c.step, c.thickness)) <= 1 for c in every)
    thin = objectivity.Case("T3", "cohesive", thickness=0.85).specimen()
    assert thin.plan.thickness == pytest.approx(0.85 * 189.15, rel=1e-3) and thin.plan.interface == "cohesive"
    coarse = objectivity.Case("T3", "elevation", mesh=1.2).specimen()
    assert coarse.mesh.splice == pytest.approx(21.6)
