"""A prediction made by hand, for tests of page, sheet and terminal: assessments of known strengths, runs beside it."""

from __future__ import annotations

import runpy
from dataclasses import replace
from pathlib import Path

import numpy as np

from fesplice.post.mechanisms import Assessment, Indicator, Mechanism, assess
from fesplice.post.prediction import RECORD, Pass, Prediction

HERE = Path(__file__)
SIDE = runpy.run_path(str(HERE.with_name("report_data.py")))
PLAN = runpy.run_path(str(HERE.with_name("plan_data.py")))


def judged(view: str, strength: float, mechanism: str, dropped: bool = True) -> Assessment:
    """A view that fails at ``strength`` [MPa] by ``mechanism``; a hook slips to 0.4 of its limit until then."""
    stress = np.array([0.0, 0.5, 1.0, 0.8]) * strength
    measures = [
        Indicator(Mechanism(mechanism), "measure <b>", np.array([0.0, 0.2, 1.2, 3.0]), 1.0, "mm", "made case"),
        Indicator(Mechanism.hook_bearing, "slip", np.array([0.0, 0.1, 0.4, 0.5]), 1.0, "mm", "made case"),
    ]
    low = 3 if dropped else None
    return assess(view, stress, 400.0 * stress, 2, low, measures, [f"{view} cannot show this"])


def made(**changes: object) -> Prediction:
    """Elevation 500 MPa without a drop, plan 210 / 400 / 610 MPa (free, coupled, intact)."""
    found = Prediction(
        "R-100-U", judged("elevation", 500.0, "prying", dropped=False), judged("plan", 210.0, "side_thrust"),
        judged("plan", 610.0, "strut_crushing"), judged("plan", 400.0, "side_thrust"),
        (Pass(500.0, 405.0, True), Pass(405.0, 400.0, True)), True, 110e3, ("plan-free: <i>stopped</i>",),
    )  # fmt: skip
    return replace(found, **changes)


def write(folder: Path, found: Prediction) -> Path:
    """The record of a prediction, where its runs are or will be."""
    folder.mkdir(parents=True, exist_ok=True)
    (folder / RECORD).write_text(found.to_json(), encoding="utf-8")
    return folder
