"""The page of sensitivities and the counting of attempts, on made-up records; numbers by hand."""

from __future__ import annotations

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2] / "scripts"))

from validation import sensitivity  # noqa: E402
from validation.case import Case, Found, Settings  # noqa: E402
from validation.frame import Job  # noqa: E402
from validation.record import Record  # noqa: E402
from validation.tally import Tally  # noqa: E402


def never(settings: Settings, folder: Path) -> Found:
    raise AssertionError("not to be run here")


def done(key: str, value: float | None) -> Record:
    found = None if value is None else Found(value, "C", 10, 5, 0, 0, 12, True, "fell")
    return Record("beams", "B", key, Settings(), found, "" if found else "ValueError: no such thing", 1.0)


def test_page_gives_ratios_to_the_default_and_their_spread() -> None:
    """120/100 and 90/100 of the default; root mean square of 0.2 and 0.1 is 15.8 %."""
    case = Case("beams", "B", "load", "kN", never)
    jobs = {name: [Job(case, Settings(), name)] for name in ("default", "fixed cracks", "perfect bond", "steps x 2")}
    kept = {k: done(k, v) for k, v in (("default", 100.0), ("fixed cracks", 120.0), ("perfect bond", 90.0))}
    text = sensitivity.page({"beams": jobs}, kept | {"steps x 2": done("steps x 2", None)})
    assert "| default | 100 kN |" in text and "| fixed cracks | 1.200 |" in text
    assert "- choices of the model: 0.90 to 1.20 of the default, root mean square 15.8 %" in text
    assert "no such thing" in text and "mesh and steps" not in text.split("## beams")[1]


def test_every_series_has_the_default_and_few_cases_stand_for_it() -> None:
    cases = [Case("plain", f"c{k}", "load", "N", never) for k in range(9)]
    assert [c.name for c in sensitivity.chosen(cases)] == ["c0", "c8"]
    beams = {v.name for v in sensitivity.VARIANTS if "beams" in v.series}
    assert beams >= {"fixed cracks", "perfect bond", "steps x 2", "no tension stiffening", "elements x 0.7"}


def test_an_increment_fails_once() -> None:
    """Plain iteration fails twice, whatever brings the increment home then: two, sub-steps apart."""
    tally = Tally()
    for method, outcome in (
        ("newton", "converged"), ("newton", "diverged"), ("viscous 0.03", "converged"),
        ("newton", "max_iterations"), ("viscous 0.03", "diverged"), ("secant", "max_iterations"),
        ("newton", "converged"),
    ):  # fmt: skip
        tally(method=method, outcome=outcome, iterations=3)
    assert tally.failed == 2 and tally.iterations == 21
