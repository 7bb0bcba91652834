"""From one equilibrium state to the next, past the peak: a generator of accepted steps.

The chain for one increment: Newton; viscous relaxation at the held control value; both again
with halved increments; secant stiffness with Anderson mixing; all of it again holding the
deflection, where another control was asked for; relaxation of the whole increment with as many
sub-steps as it takes, for a zone that crushes row by row loses most of the load in one go; and
last the relaxed tolerance. Every try is reported, accepted or not.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace

import numpy as np
from scipy.sparse import csc_matrix

from fesplice.contracts import Control, Equilibrium, Floats, NotConverged, Outcome, State, Step, Stepper
from fesplice.solve.control import LoadFactor
from fesplice.solve.iterate import Attempt, Constraint, Equilibrator, Tolerances, relax


@dataclass(frozen=True)
class Stop:
    """When to end: after the load fell by ``drop`` from its peak, at ``end`` of the control value,
    or after ``steps``. A drop counts only beyond the control value ``not_before`` (first cracking).
    """

    drop: float = 0.30
    end: float = np.inf
    steps: int = 400
    not_before: float = 0.0


Report = Callable[..., None]
#: How a step that was relaxed says so.
RELAXED = "viscous relaxation"
#: Sub-steps of a relaxation: of the usual one, in a patient march, and as the last resort.
USUAL, PATIENT, LAST = 60, 250, 600


class March:
    """Iterating yields accepted :class:`Step` objects; ``outcome`` says afterwards how it ended.

    ``patient`` marches let relaxation go far. ``memory()`` and ``restore`` carry everything that
    the next step depends on, so that a run taken up again follows the same curve.
    """

    def __init__(
        self,
        model: Equilibrium,
        control: Control,
        stepper: Stepper,
        state: State,
        *,
        tolerances: Tolerances | None = None,
        stop: Stop | None = None,
        report: Report | None = None,
        patient: bool = False,
    ):
        self.model, self.control, self.stepper, self.state = model, control, stepper, state
        self.stop = stop or Stop()
        self.solver = Equilibrator(model, tolerances or Tolerances())
        self.previous: State | None = None
        self.last: Step | None = None
        self.last_size = 0.0
        self.peak = 0.0
        self.reached = 0.0
        self.index = -1
        self.outcome = Outcome.running
        # what is held first is a deflection: the stop rules read it whatever the control
        self._deflection = control.weights
        self._report = report or (lambda **row: None)
        self.stuck: Attempt | None = None
        # parts that come loose: relaxation may take many small moves, wary of viscosities that failed
        self._relaxing = {"most": PATIENT if patient else USUAL, "wary": True}
        self._at_rest: csc_matrix | None = None

    # ------------------------------------------------------------------ memory
    def memory(self) -> dict[str, float | Floats]:
        """Numbers, besides the state, that the next step depends on."""
        out: dict[str, float | Floats] = {
            "index": float(self.index),
            "size": float(self.stepper.size),
            "last_size": self.last_size,
            "last_iterations": float(self.last.iterations if self.last else 0),
            "peak": self.peak,
            "reached": self.reached,
            "largest": self.solver.largest,
            "smooth": float(self.last is not None and self.last.outcome is Outcome.converged),
        }
        if self.previous is not None:
            out["previous_u"] = self.previous.u
            out["previous_load"] = self.previous.load
        return out

    def restore(self, memory: dict) -> None:
        """Take up where :meth:`memory` was written; ``state`` must be the one of that step."""
        self.index = int(memory["index"])
        self.stepper.size = float(memory["size"])
        self.last_size = float(memory["last_size"])
        self.peak, self.reached = float(memory["peak"]), float(memory["reached"])
        self.solver.largest = float(memory["largest"])
        if "previous_u" in memory:
            self.previous = State(np.asarray(memory["previous_u"]), float(memory["previous_load"]), {})
        outcome = Outcome.converged if memory["smooth"] else Outcome.relaxed
        iterations = int(memory["last_iterations"])
        self.last = Step(self.index, self.state, {}, outcome, iterations, 0.0, 0.0, self.last_size, 0.0)

    # ------------------------------------------------------------------ the march
    def __iter__(self) -> Iterator[Step]:
        if self.index < 0:
            yield self._dead_load()
        while not self._finished():
            yield self._advance()

    def _dead_load(self) -> Step:
        began = time.perf_counter()
        hold = Constraint(*LoadFactor(self.model.n_free).row(self.state, None), target=0.0)
        tried = self.solver.solve(self.state, (self.state.u, 0.0), hold, iterations=40)
        self._tell(0, "dead load", 0.0, tried, began)
        if tried.outcome is not Outcome.converged or tried.trial is None:
            self.outcome = tried.outcome
            raise NotConverged("the dead load alone finds no equilibrium: " + tried.outcome.value)
        return self._accept(tried, State(tried.u, tried.load, tried.trial.history), 0.0, began, "dead load", ())

    def _finished(self) -> bool:
        if self.reached >= self.stop.end:
            self.outcome = Outcome.target_reached
        elif abs(self.state.load) < self._fallen():
            self.outcome = Outcome.softened
        elif self.index >= self.stop.steps:
            self.outcome = Outcome.step_limit
        return self.outcome is not Outcome.running

    def _advance(self) -> Step:
        began = time.perf_counter()
        failed: list[str] = []
        best: list[tuple[Attempt, float]] = []
        size = whole = self.stepper.next_size(self.last)
        rows = [self.control.row(self.state, self.previous)]
        if (first := self.control.first) is not None:
            rows.append(first.row(self.state, None))
        for row, weight in rows:
            if (step := self._by(row, weight, size, began, failed, best)) is not None:
                return step
        held = next((row for row, weight in reversed(rows) if weight == 0.0), None)
        if held is not None and (step := self._at_length(held, whole, began, failed)) is not None:
            return step
        tried, size = min(best, key=lambda pair: pair[0].residual)
        if tried.residual < self.solver.tol.relaxed and tried.trial is not None:
            return self._take(replace(tried, outcome=Outcome.unconverged), size, began, "relaxed tolerance", failed)
        self.outcome, self.stuck = Outcome.smallest_step, tried
        raise NotConverged(f"step {self.index + 1}: {Outcome.smallest_step.value}; tried: " + "; ".join(failed))

    def _by(self, row: Floats, weight: float, size: float, began: float, failed: list[str], best: list) -> Step | None:
        """The chain for one constraint, from ``size`` down; None when all of it fails."""
        held = float(row @ self.state.u) + weight * self.state.load
        still = (self.state.u, self.state.load)
        self.stepper.size = size
        while True:
            constraint = Constraint(row, weight, held + size)
            span = self._span(size)
            guess = still if failed else self._guess(size)
            tried = self.solver.solve(self.state, guess, constraint, secant=self.solver.tol.blend, span=span)
            self._tell(self.index + 1, "newton", size, tried, began)
            if tried.outcome is Outcome.converged:
                return self._take(tried, size, began, "", failed)
            best.append((tried, size))
            failed.append(f"newton at {size:.4g}: {tried.outcome.name}")

            # a drop is crossed at a held displacement; held energy would send it backwards
            if weight == 0.0 and (step := self._relaxed(constraint, size, began, failed)) is not None:
                return step
            if not self.stepper.cut():
                break
            size = self.stepper.size

        tried = self.solver.solve(self.state, still, constraint, secant=1.0, iterations=40, accelerate=True)
        self._tell(self.index + 1, "secant", size, tried, began)
        if tried.outcome is Outcome.converged:
            return self._take(tried, size, began, "secant stiffness with Anderson mixing", failed)
        failed.append(f"secant at {size:.4g}: {tried.outcome.name}")
        best.append((tried, size))
        return None

    def _relaxed(
        self, constraint: Constraint, size: float, began: float, failed: list[str], most: int | None = None
    ) -> Step | None:
        """Viscous relaxation of one increment, with ``most`` sub-steps; None when it does not come to rest."""
        settings = self._relaxing if most is None else {**self._relaxing, "most": most}
        tried, state, left = relax(
            self.solver, self.state, constraint, self._stiffness_at_rest(),
            report=lambda t, eta: self._tell(self.index + 1, f"viscous {eta:.2g}", size, t, began),
            fallen=self._fallen(), span=self._span(size), **settings,
        )  # fmt: skip
        if tried.trial is None:
            failed.append(f"viscous at {size:.4g}: {tried.outcome.name}")
            return None
        note = f"{RELAXED}, {100 * left:.2g} % of the load left in viscous forces" if left > 0.0 else RELAXED
        tried = replace(tried, outcome=Outcome.relaxed)
        return self._accept(tried, state, size, began, note, tuple(failed))

    def _fallen(self) -> float:
        """Load [N] below which the model has failed; 0 as long as the stop rules do not ask."""
        return (1.0 - self.stop.drop) * self.peak if self.reached > self.stop.not_before else 0.0

    def _at_length(self, row: Floats, size: float, began: float, failed: list[str]) -> Step | None:
        """The last resort before the relaxed tolerance: relax the increment as a whole, however many sub-steps."""
        self.stepper.size = size
        constraint = Constraint(row, 0.0, float(row @ self.state.u) + size)
        return self._relaxed(constraint, size, began, failed, LAST)

    # ------------------------------------------------------------------ small parts
    def _guess(self, size: float) -> tuple[Floats, float]:
        """The last increment, scaled; none after a relaxed step or at the start."""
        smooth = self.last is not None and self.last.outcome is Outcome.converged and self.last_size > 0.0
        if self.previous is None or not smooth:
            return self.state.u, self.state.load
        f = size / self.last_size
        return (
            self.state.u + f * (self.state.u - self.previous.u),
            self.state.load + f * (self.state.load - self.previous.load),
        )

    def _span(self, size: float) -> float:
        """How far things may be expected to move in an increment: its size, or as the last one went; no bound yet at
        the start.

        What is held may move less than the rest does: a crack that opens while the beam behind it springs back.
        """
        if self.previous is None or not self.last_size > 0.0:
            return np.inf
        return max(size, size / self.last_size * float(np.abs(self.state.u - self.previous.u).max()))

    def _stiffness_at_rest(self) -> csc_matrix:
        """Stiffness of the virgin model; made once."""
        if self._at_rest is None:
            fresh = self.model.fresh()
            self._at_rest = csc_matrix(self.model.internal(np.zeros(self.model.n_free), fresh).matrix)
        return self._at_rest

    def _take(self, tried: Attempt, size: float, began: float, note: str, failed: list[str]) -> Step:
        assert tried.trial is not None
        state = State(tried.u, tried.load, tried.trial.history)
        return self._accept(tried, state, size, began, note, tuple(failed))

    def _accept(self, tried: Attempt, state: State, size: float, began: float, note: str, failed) -> Step:
        assert tried.trial is not None
        self.previous, self.state, self.last_size = (self.state if self.index >= 0 else None), state, size
        self.index += 1
        self.solver.accepted(state.load)
        self.peak = max(self.peak, abs(state.load))
        self.reached = self.reached + size if self._deflection is None else float(self._deflection @ state.u)
        self.last = Step(
            self.index,
            state,
            tried.trial.stress,
            tried.outcome,
            tried.iterations,
            tried.residual,
            tried.energy,
            size,
            time.perf_counter() - began,
            note,
            failed,
        )
        return self.last

    def _tell(self, index: int, method: str, size: float, tried: Attempt, began: float) -> None:
        self._report(
            step=index,
            method=method,
            size=size,
            outcome=tried.outcome.name,
            iterations=tried.iterations,
            residual=tried.residual,
            energy=tried.energy,
            unbalanced=tried.unbalanced,
            evaluations=self.solver.evaluations,
            seconds=time.perf_counter() - began,
        )
