"""How the solver gets through whole specimens: one row per specimen and view, printed as it comes.

Counted are all increments after the dead load. An increment is *plain* when the first try at its whole size was
accepted. The force out of balance is read from the stresses of the accepted step alone, not from what the solver says
of itself: sum of the absolute forces out of balance at the free nodes over that of the loads (moments at nodes apart,
they have another unit). Left out is the last step of a march that ends within a fall of the load, below its stop: it
is held back by viscous forces, says so, and decides nothing. Nothing is written to disk.
"""

from __future__ import annotations

import argparse
import sys
import time
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from threadpoolctl import threadpool_limits

from fesplice import read
from fesplice.contracts import NotConverged, Outcome, Step
from fesplice.model.assembly import Model
from fesplice.model.fields import fields
from fesplice.pipeline.views import setup
from fesplice.specimen import Specimen

MODELS = Path(__file__).parents[1] / "models"
VIEWS = ("elevation", "plan")


@dataclass(frozen=True)
class Row:
    """One run. ``worst`` share of the loads out of balance; ``stress`` [MPa] at the peak; times [s]."""

    specimen: str
    view: str
    steps: int
    plain: int
    relaxed: int
    unconverged: int
    tries: int
    iterations: int
    worst: float
    stress: float
    wall: float
    processor: float
    ending: str

    @property
    def share(self) -> float:
        """Of the increments, by plain iteration."""
        return self.plain / self.steps if self.steps else 0.0

    def line(self) -> str:
        """The row of the table."""
        counts = self.steps, f"{100 * self.share:.0f}", self.relaxed, self.unconverged, self.tries, self.iterations
        figures = f"{100 * self.worst:.1f}", f"{self.stress:.0f}", f"{self.wall:.0f}", f"{self.processor:.0f}"
        return "| " + " | ".join(str(x) for x in (self.specimen, self.view, *counts, *figures, self.ending)) + " |"


HEAD = (
    "| specimen | view | steps | plain % | relaxed | unconverged | tries | iterations | worst imbalance % "
    "| peak bar stress MPa | wall s | processor s | ended |\n|---|---|" + "--:|" * 10 + "---|"
)


def unbalanced(model: Model, step: Step) -> float:
    """Sum of the absolute forces out of balance at free nodes over that of the loads, from the step's stresses."""
    nodal = model.free[model.free < 2 * len(model.mesh.points)]
    left = np.abs(model.reactions(step.stress, step.state.load)[nodal]).sum()
    loads = np.abs(step.state.load * model.f_ref + model.f_dead).sum()
    return float(left / loads) if loads > 0.0 else 0.0


def measure(specimen: Specimen, view: str, name: str = "") -> Row:
    """March one view of a specimen to its end (the plan hangs on nothing) and count."""
    case = setup(specimen, view)
    model = case.model()
    tries: list[dict] = []
    march = case.march(model, lambda **row: tries.append(row))
    wall, processor = time.perf_counter(), time.process_time()
    outcomes: list[Outcome] = []
    stress, out = 0.0, []
    try:
        for step in march:
            outcomes.append(step.outcome)
            out.append((unbalanced(model, step), step.note))
            stress = max(stress, float(case.row(model, step, fields(model, step))["bar_stress_A_MPa"]))
    except NotConverged:
        pass
    wall, processor = time.perf_counter() - wall, time.process_time() - processor
    if march.outcome is Outcome.softened and "in viscous forces" in out[-1][1]:
        out.pop()
    worst = max((share for share, _ in out[1:]), default=0.0)
    counted = Counter(outcomes[1:])
    times = Counter(row["step"] for row in tries)
    return Row(
        name or specimen.name, view, len(outcomes) - 1, sum(times[k] == 1 for k in range(1, len(outcomes))),
        counted[Outcome.relaxed], counted[Outcome.unconverged], len(tries), sum(row["iterations"] for row in tries),
        worst, stress, wall, processor, march.outcome.name,
    )  # fmt: skip


def main(arguments: Iterable[str] | None = None) -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("specimens", nargs="*", help="files of models/ without their ending; left out: all of them")
    parser.add_argument("--view", choices=VIEWS, help="one view alone")
    options = parser.parse_args(None if arguments is None else list(arguments))
    print(HEAD, flush=True)
    with threadpool_limits(1):
        for name in options.specimens or sorted(path.stem for path in MODELS.glob("*.toml")):
            for view in [options.view] if options.view else VIEWS:
                print(measure(read(MODELS / f"{name}.toml"), view, name).line(), flush=True)


if __name__ == "__main__":
    sys.exit(main())
