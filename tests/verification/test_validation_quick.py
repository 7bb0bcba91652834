"""The quick cases of the validation series, each computed anew, against the values of their tests.

Sources: those that the cases name (published tests and descriptive equations; the tables in
models/validation/data say for every value where it comes from). The bounds here are wide, for one
case alone: the means and scatters of whole series stand in models/validation/RESULTS.md.
"""

from __future__ import annotations

import sys
from pathlib import Path

import pytest
from threadpoolctl import threadpool_limits

sys.path.insert(0, str(Path(__file__).parents[2] / "scripts"))

from validation import frame  # noqa: E402
from validation.case import Case, Settings  # noqa: E402
from validation.record import Record  # noqa: E402
from validation.target import Row  # noqa: E402

#: A single quick case may be off by so much (test over prediction), or lie so far outside its band.
RATIO, OUTSIDE = (0.75, 1.33), 0.10
QUICK = frame.gather(frame.DATA, quick=True)


@pytest.mark.parametrize("case", QUICK, ids=[f"{c.series}-{c.name}" for c in QUICK])
def test_quick_case(case: Case, tmp_path: Path) -> None:
    """Ends with a reason, past its peak where it has one, and near the test."""
    with threadpool_limits(1):
        found = case.run(Settings(), tmp_path)
    assert found.ending and found.passed
    assert found.steps == 0 or found.failed <= 0.25 * (found.steps + found.failed)
    row = Row(case, Record(case.series, case.name, "", Settings(), found, "", 0.0))
    if case.test is not None and case.use in ("pass_fail", "surrogate"):
        assert RATIO[0] < row.ratio < RATIO[1], f"{case.test:g} {case.unit} measured, {found.prediction:g} predicted"
    if case.band is not None:
        assert row.outside <= OUTSIDE, f"{case.band} {case.unit} measured, {found.prediction:g} predicted"
