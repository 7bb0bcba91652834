"""Counts of a march for a :class:`validation.case.Found`: hand ``Tally`` to the march as its report."""

from __future__ import annotations

from dataclasses import dataclass, field

from fesplice.contracts import Outcome, Step
from fesplice.store import Run


@dataclass
class Tally:
    """Failed increments, loose steps and iterations.

    An increment counts as failed each time plain iteration found no equilibrium at the size tried, whatever then
    crossed it (viscous forces, smaller increments, the secant, the loose tolerance). Sub-steps of a viscous
    relaxation are no increments of their own.
    ``iterations`` counts all that was iterated, failed attempts and sub-steps included.
    """

    failed: int = 0
    iterations: int = 0
    steps: int = 0
    loose: int = 0
    methods: dict[str, int] = field(default_factory=dict)

    def __call__(self, *, method: str, outcome: str, iterations: int, **_: object) -> None:
        """One attempt, as :class:`fesplice.solve.March` reports it."""
        self.iterations += iterations
        kind = method.split()[0]
        met = outcome == Outcome.converged.name
        if not met:
            self.methods[kind] = self.methods.get(kind, 0) + 1
        if kind == "newton":
            self.failed += not met

    def step(self, step: Step) -> None:
        """One accepted step."""
        self.steps += 1
        self.loose += step.outcome is Outcome.unconverged


def counted(run: Run) -> Tally:
    """Counts of all attempts of a run on disk."""
    tally, rows = Tally(), run.attempts
    for method, outcome, iterations in zip(rows["method"], rows["outcome"], rows["iterations"]):
        tally(method=str(method), outcome=str(outcome), iterations=int(iterations))
    return tally
