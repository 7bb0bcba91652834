"""One increment to equilibrium: Newton with blended and secant stiffness, viscous help.

The unknowns are the displacements u and the load factor, coupled by one linear constraint
c.u + w load = target, so that every iteration needs one factor and two solutions
(Batoz & Dhatt 1979; the constraint covers point displacement, crack opening, arc length
and dissipated energy alike).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

import numpy as np
from scipy.sparse import csc_matrix

from fesplice.contracts import Equilibrium, Floats, History, Outcome, State, Trial
from fesplice.solve.fronts import Fronts
from fesplice.solve.linear import Factorisation, Singular


@dataclass(frozen=True)
class Tolerances:
    """When an iteration counts as equilibrium (relative to the loads) and when it is given up.

    Met when the force norm is below ``force``, or when the energy is below ``energy`` with the
    force norm below ``force_with_energy``, and in both cases the sum of the absolute forces out of
    balance is below ``balance`` of that of the loads: a norm alone hides many small ones. Never
    before the second iteration. No correction moves a node farther than ``reach`` times the span of
    the increment: without that bound nearly all increments that fail blow up. ``blend`` and ``drag``
    are the shares of secant stiffness in the tangent, without and with viscous forces. A tenth takes
    the sting out of crack tips that jump between opening and closing: of 40 steps of a beam 40
    instead of 10 converged, at 2.7 iterations per step instead of 16.
    """

    force: float = 5e-3
    energy: float = 1e-3
    force_with_energy: float = 2e-2
    balance: float = 5e-2
    relaxed: float = 5e-2
    reach: float = 1.0
    iterations: int = 20
    patience: int = 8
    viscous: float = 0.3
    blend: float = 0.1
    drag: float = 0.3

    @classmethod
    def strict(cls) -> Tolerances:
        """For verification: force 1e-3 (1e-4 with energy 1e-6), and the consistent tangent alone.

        A blend would lead a strip that tears evenly onto the branch where it opens at one edge.
        """
        return cls(force=1e-4, energy=1e-6, force_with_energy=1e-3, relaxed=1e-2, iterations=25, blend=0.0)


@dataclass(frozen=True)
class Constraint:
    """c.u + w load = target."""

    row: Floats
    weight: float
    target: float

    def gap(self, u: Floats, load: float) -> float:
        """What is missing to the target."""
        return self.target - float(self.row @ u) - self.weight * load


@dataclass(frozen=True)
class Viscosity:
    """Viscous forces eta K0 (u - since) that carry an increment over a sudden drop.

    K0 is the stiffness at rest. Proportional to it, the forces resist straining only, not the
    motion of the beam as a whole; and once eta exceeds the steepest softening over the elastic
    modulus (about 0.03 for 20 mm bands) the increment has one solution.
    """

    stiffness: csc_matrix
    eta: float
    since: Floats

    def force(self, u: Floats) -> Floats:
        """Viscous forces [N] at ``u``."""
        return np.asarray(self.eta * (self.stiffness @ (u - self.since)))


@dataclass(frozen=True)
class Attempt:
    """How an increment ended; ``trial`` belongs to the best point found.

    ``residual`` is the norm of the forces out of balance over that of the loads, ``unbalanced`` the
    sum of their absolutes over that of the loads, viscous forces counted as loads.
    """

    outcome: Outcome
    u: Floats
    load: float
    trial: Trial | None
    iterations: int
    residual: float
    energy: float
    unbalanced: float = np.inf


class Equilibrator:
    """Iterates one increment of a model; ``largest`` is the norm of the largest accepted loads [N]."""

    def __init__(self, model: Equilibrium, tolerances: Tolerances, largest: float = 0.0):
        self.model = model
        self.tol = tolerances
        self.largest = largest
        self.evaluations = 0
        self._fronts: Fronts | None = None

    def scale(self, load: float) -> float:
        """Reference force of the residual norms [N]: the loads, at least 1 % of the largest accepted."""
        return max(self._loads(load), 0.01 * self.largest, 1e-9)

    def accepted(self, load: float) -> None:
        """Note an accepted load. Trial loads never count: one wild iterate would loosen every later check."""
        self.largest = max(self.largest, self._loads(load))

    def _loads(self, load: float) -> float:
        m = self.model
        return max(abs(load) * float(np.linalg.norm(m.f_ref)), float(np.linalg.norm(m.f_dead)))

    def unbalanced(self, residual: Floats, load: float) -> float:
        """Sum of the absolute forces in ``residual`` over that of the loads (at least 1 % of the largest accepted)."""
        return self.total(residual) / max(self.applied(load), 0.01 * self.largest, 1e-9)

    def applied(self, load: float) -> float:
        """Sum of the absolute loads [N]."""
        return self.total(load * self.model.f_ref + self.model.f_dead)

    def total(self, forces: Floats) -> float:
        """Sum of the absolute ``forces`` (n_free) [N], moments left out."""
        return float(np.abs(forces[self.model.shifts]).sum())

    def residual(self, trial: Trial, u: Floats, load: float, viscosity: Viscosity | None) -> Floats:
        """Forces out of balance [N]."""
        r = load * self.model.f_ref + self.model.f_dead - trial.force
        return r if viscosity is None else r - viscosity.force(u)

    def solve(
        self,
        start: State,
        guess: tuple[Floats, float],
        constraint: Constraint,
        *,
        secant: float = 0.0,
        viscosity: Viscosity | None = None,
        iterations: int | None = None,
        accelerate: bool = False,
        patience: int | None = None,
        span: float = np.inf,
    ) -> Attempt:
        """Iterate from ``guess`` with the committed history of ``start``; never raises for a failed search.

        No correction moves anything by more than ``Tolerances.reach`` times ``span`` [mm]. ``accelerate``
        mixes corrections (Anderson) instead of bounding and searching along them.
        """
        patience = self.tol.patience if patience is None else patience
        reach = self.tol.reach * span
        u, load = guess
        history = start.history
        limit = iterations or self.tol.iterations
        trial = self._evaluate(u, history, secant)
        best = Attempt(Outcome.max_iterations, u, load, trial, 0, np.inf, np.inf)
        since_gain, mixer = 0, Anderson(5) if accelerate else None
        first = None
        for k in range(1, limit + 1):
            r = self.residual(trial, u, load, viscosity)
            try:
                du, dload = self._correction(trial, r, u, load, constraint, viscosity)
            except Singular:
                return _as(best, Outcome.singular, k)
            whole = True
            if mixer is not None:
                du, dload = mixer(u, load, du, dload)
            elif (far := float(np.abs(du).max())) > reach:
                du, dload = du * (reach / far), dload * (reach / far)
                whole = False
            if k >= 2 and mixer is None:
                length, trial = self._along(u, load, du, dload, r, history, secant, viscosity)
                whole = whole and length == 1.0
                u, load = u + length * du, load + length * dload
            else:
                u, load = u + du, load + dload
                trial = self._evaluate(u, history, secant)
            r_new = self.residual(trial, u, load, viscosity)
            work = abs(float((load * self.model.f_ref + self.model.f_dead) @ (u - start.u))) + 1e-12
            energy = abs(float(du @ r_new)) / work
            norm = float(np.linalg.norm(r_new)) / self.scale(load)
            if not np.isfinite(norm):
                return _as(best, Outcome.diverged, k)
            held = abs(constraint.gap(u, load)) <= 1e-6 * max(abs(constraint.target), 1e-12) + 1e-9
            now = Attempt(Outcome.converged, u, load, trial, k, norm, energy, self.unbalanced(r_new, load))
            if k >= 2 and held and self._met(now, whole, viscosity is not None):
                return now
            first = norm if first is None else first
            if norm > 1e3 * max(first, 1.0):
                return _as(best, Outcome.diverged, k)
            if norm < 0.98 * best.residual:
                best, since_gain = (now if held else _as(now, Outcome.max_iterations, k)), 0
            else:
                since_gain += 1
                if since_gain >= patience and not accelerate:
                    return _as(best, Outcome.max_iterations, k)
        return _as(best, Outcome.max_iterations, limit)

    def _met(self, now: Attempt, whole: bool, passing: bool) -> bool:
        # a shortened correction does little work whatever is left out of balance, and a searched one none by design
        small = whole and now.energy < self.tol.energy and now.residual < self.tol.force_with_energy
        return (now.residual < self.tol.force or small) and (passing or now.unbalanced < self.tol.balance)

    def _evaluate(self, u: Floats, history: Mapping[str, History], secant: float, matrix: bool = True) -> Trial:
        self.evaluations += 1
        return self.model.internal(u, history, secant=secant, matrix=matrix)

    def _along(self, u, load, du, dload, r, history, secant, viscosity) -> tuple[float, Trial]:
        """How far to go along (du, dload), and the answer there: where forces out of balance do little work on it.

        The whole correction where it leaves at most 0.8 of that work; else regula falsi between lengths
        0.2 and 0.9, at most four evaluations, the best of them (Crisfield 1982; from memory).
        """
        before = float(du @ r)

        def left(length: float) -> tuple[float, Trial]:
            at = u + length * du
            trial = self._evaluate(at, history, secant, matrix=length == 1.0)
            return float(du @ self.residual(trial, at, load + length * dload, viscosity)), trial

        after, trial = left(1.0)
        if not abs(after) > 0.8 * abs(before):
            return 1.0, trial
        low, s_low, high, s_high = 0.0, before, 1.0, after
        best = (abs(after), 1.0, trial)
        for _ in range(4):
            length = low - s_low * (high - low) / (s_high - s_low) if s_high * s_low < 0.0 else 0.5 * (low + high)
            length = float(np.clip(length, 0.2, 0.9))
            s, trial = left(length)
            if abs(s) < best[0]:
                best = (abs(s), length, trial)
            if abs(s) < 0.5 * abs(before):
                break
            low, s_low, high, s_high = (length, s, high, s_high) if s * s_low > 0.0 else (low, s_low, length, s)
            if high - low < 0.05:
                break
        _, length, trial = best
        if trial.matrix is None:
            trial = self._evaluate(u + length * du, history, secant)
        return length, trial

    def _correction(self, trial, r, u, load, constraint, viscosity):
        k = trial.matrix
        if viscosity is not None:
            k = csc_matrix((k.data + viscosity.eta * viscosity.stiffness.data, k.indices, k.indptr), shape=k.shape)
        factor = Factorisation(k, fronts=self._fronts)
        self._fronts = factor.fronts
        x = factor.solve(np.column_stack([r, self.model.f_ref]))
        along = float(constraint.row @ x[:, 1]) + constraint.weight
        if abs(along) < 1e-14 * (np.linalg.norm(constraint.row) * np.linalg.norm(x[:, 1]) + abs(constraint.weight)):
            raise Singular("the control does not see the load")
        dload = (constraint.gap(u, load) - float(constraint.row @ x[:, 0])) / along
        return x[:, 0] + dload * x[:, 1], dload


def _as(attempt: Attempt, outcome: Outcome, iterations: int) -> Attempt:
    return Attempt(
        outcome, attempt.u, attempt.load, attempt.trial, iterations, attempt.residual, attempt.energy,
        attempt.unbalanced,
    )  # fmt: skip


class Anderson:
    """Anderson (1965) mixing of the last ``depth`` fixed-point corrections of (u, load)."""

    def __init__(self, depth: int):
        self.depth = depth
        self.points: list[Floats] = []
        self.moves: list[Floats] = []

    def __call__(self, u: Floats, load: float, du: Floats, dload: float) -> tuple[Floats, float]:
        """The mixed correction."""
        self.points.append(np.append(u, load))
        self.moves.append(np.append(du, dload))
        self.points, self.moves = self.points[-self.depth - 1 :], self.moves[-self.depth - 1 :]
        move = self.moves[-1]
        if len(self.moves) > 1:
            df = np.stack([move - m for m in self.moves[:-1]], axis=1)
            dx = np.stack([self.points[-1] - p for p in self.points[:-1]], axis=1)
            theta, *_ = np.linalg.lstsq(df[:-1], move[:-1], rcond=1e-8)
            move = move - (dx + df) @ theta
        return move[:-1], float(move[-1])


def relax(
    solver: Equilibrator,
    start: State,
    constraint: Constraint,
    stiffness: csc_matrix,
    *,
    report: Callable[..., None] | None = None,
    most: int = 60,
    wary: bool = False,
    fallen: float = 0.0,
    span: float = np.inf,
) -> tuple[Attempt, State, float]:
    """Cross a sudden drop at the held control value with viscous forces that die away.

    Sub-steps with viscous forces eta K0 (u - u_n); each converged sub-step becomes the next u_n
    and its history is kept, for the drop is real. Once the sum of the absolute viscous forces is below
    ``Tolerances.viscous`` of that of the loads (now or before the drop, whichever is more), an iteration
    without them follows each sub-step and ends it all when it balances. The viscosity
    starts low and grows only on failure: a high one would carry a large fictitious load on the
    way and damage the model for good. ``wary`` relaxation keeps away from a viscosity that has failed, for a while:
    a part that comes loose has far to go at one viscosity. A load below ``fallen`` ends it: viscous forces hold back
    what falls, so that equilibrium lies lower still, and nothing is asked of what comes after. ``span`` bounds
    corrections as in ``solve``.
    Returns the attempt, the state to commit from, and what is left out of balance without viscous forces, by the
    same measure.
    """

    eta, state, barred = 0.03, start, 0.0
    last: Attempt | None = None
    share = left = np.inf
    for _ in range(most):
        viscosity = Viscosity(stiffness, eta, state.u)
        tried = solver.solve(
            state, (state.u, state.load), constraint,
            viscosity=viscosity, iterations=20, patience=8, secant=solver.tol.drag, span=span,
        )  # fmt: skip
        if report is not None:
            report(tried, eta)
        if tried.outcome is not Outcome.converged or tried.trial is None:
            if eta > 1.0:
                break
            barred = eta if wary else 0.0
            eta *= 2.0 if wary else 3.0
            continue
        # where all strength is lost there is hardly a load left to measure by: the one before the drop stands in
        loads = max(solver.applied(tried.load), solver.applied(start.load), 1e-9)
        share = solver.total(viscosity.force(tried.u)) / loads
        left = solver.total(solver.residual(tried.trial, tried.u, tried.load, None)) / loads
        last = tried
        state = State(tried.u, tried.load, tried.trial.history)
        if abs(tried.load) < fallen:
            return replace(last, unbalanced=left), state, left
        if share < solver.tol.viscous:
            still = solver.solve(state, (state.u, state.load), constraint, iterations=6, patience=2, span=span)
            if report is not None:
                report(still, 0.0)
            if still.outcome is Outcome.converged and still.trial is not None:
                return still, State(still.u, still.load, still.trial.history), 0.0
            # settled, all but what a kink of the laws keeps moving
            if share < 0.25 * solver.tol.balance and left < solver.tol.balance:
                break
        lower = eta * (0.1 if tried.iterations <= 3 else 0.3 if tried.iterations <= 6 else 1.0)
        eta = max(lower, 1.5 * barred) if barred < eta else lower
        barred *= 0.25
    if last is None or left > solver.tol.balance:
        return Attempt(Outcome.diverged, start.u, start.load, None, most, np.inf, np.inf), start, left
    return replace(last, unbalanced=left), state, left
