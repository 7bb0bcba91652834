"""What is held in a step. Each control gives one linear equation c.u + w load about the current state.

``size`` of a step is the growth of that expression [mm]: of a deflection or an opening, of a
length in displacement space, or of the deflection that the dissipated energy stands for.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np

from fesplice.contracts import Control, Floats, State


@dataclass(frozen=True)
class Displacement:
    """Hold a displacement, or any weighted sum of displacements such as a crack opening."""

    weights: Floats
    name: str = "deflection"
    first: None = field(default=None, init=False)

    def row(self, state: State, previous: State | None) -> tuple[Floats, float]:
        """The weights themselves."""
        return self.weights, 0.0


@dataclass(frozen=True)
class LoadFactor:
    """Hold the load (dead load, elastic checks)."""

    n_free: int
    name: str = "load"
    first: None = field(default=None, init=False)
    weights: None = field(default=None, init=False)

    def row(self, state: State, previous: State | None) -> tuple[Floats, float]:
        """Only the load counts."""
        return np.zeros(self.n_free), 1.0


@dataclass(frozen=True)
class ArcLength:
    """Advance along the last increment (Riks 1979, in its linearised normal-plane form).

    Falls back to ``first`` while there is no increment to follow.
    """

    first: Displacement
    name: str = "arc_length"

    @property
    def weights(self) -> Floats:
        """The deflection held first."""
        return self.first.weights

    def row(self, state: State, previous: State | None) -> tuple[Floats, float]:
        """Unit vector of the last displacement increment."""
        if previous is None:
            return self.first.row(state, None)
        du = state.u - previous.u
        length = float(np.linalg.norm(du))
        return self.first.row(state, None) if length < 1e-12 else (du / length, 0.0)


@dataclass(frozen=True)
class Dissipation:
    """Hold the energy dissipated in the step (Gutierrez 2004; Verhoosel, Remmers & Gutierrez 2009).

    With secant unloading a step dissipates f.(load_0 du - dload u_0)/2. That is held as a length,
    twice the energy over load_0 sum|f|: under a constant load it is the growth of the deflection,
    and it grows on where the deflection goes back. While less than ``least`` of the deflection's
    growth is dissipated nothing can be held this way, and ``first`` is held instead.
    """

    f_ref: Floats
    first: Displacement
    name: str = "dissipation"
    least: float = 0.1

    @property
    def weights(self) -> Floats:
        """The deflection held first."""
        return self.first.weights

    def row(self, state: State, previous: State | None) -> tuple[Floats, float]:
        """Linear in u and load."""
        if previous is None or abs(previous.load) < 1e-12 or abs(state.load) < 1e-12:
            return self.first.row(state, None)
        last, weight = self._about(previous)
        lost = float(last @ (state.u - previous.u)) + weight * (state.load - previous.load)
        grown = abs(float(self.first.weights @ (state.u - previous.u)))
        return self.first.row(state, None) if lost <= self.least * grown else self._about(state)

    def _about(self, state: State) -> tuple[Floats, float]:
        total = float(np.abs(self.f_ref).sum())
        return np.sign(state.load) * self.f_ref / total, -float(self.f_ref @ state.u) / (abs(state.load) * total)


@dataclass(frozen=True)
class ScaledControl:
    """Another control measured in millimetres of the deflection ``first``.

    The equation of ``inner`` is scaled so that its growth over the last increment equals the
    growth of the deflection then; one step size serves all controls. While ``inner`` has not
    grown (an uncracked joint), and after an increment in which the deflection shrank, the
    deflection itself is held.
    """

    inner: Control
    first: Displacement

    @property
    def name(self) -> str:
        """The inner control's."""
        return self.inner.name

    @property
    def weights(self) -> Floats:
        """The deflection held first."""
        return self.first.weights

    def row(self, state: State, previous: State | None) -> tuple[Floats, float]:
        """Scaled equation of the inner control, or the deflection."""
        if previous is None:
            return self.first.row(state, None)
        c, w = self.inner.row(state, previous)
        du = state.u - previous.u
        grown = float(c @ du) + w * (state.load - previous.load)
        deflected = float(self.first.weights @ du)
        if deflected <= 0.0 or grown <= 1e-3 * deflected:
            return self.first.row(state, None)
        return c * (deflected / grown), w * (deflected / grown)


# ------------------------------------------------------------------ the registry
@dataclass(frozen=True)
class Holdable:
    """What a control of one model may hold: the deflection where the load acts, the reference load (n_free),

    and the weights (n_free) of a crack or joint opening, None where the model reads none.
    """

    deflection: Displacement
    f_ref: Floats
    opening: Floats | None = None


def _opening(of: Holdable) -> Control:
    """The opening of the joints; the deflection of a beam that has none."""
    if of.opening is None:
        return of.deflection
    return ScaledControl(Displacement(of.opening, "crack_opening"), of.deflection)


#: What ``analysis.control`` of a specimen may name.
CONTROLS: dict[str, Callable[[Holdable], Control]] = {
    "deflection": lambda of: of.deflection,
    "crack_opening": _opening,
    "arc_length": lambda of: ScaledControl(ArcLength(of.deflection), of.deflection),
    "dissipation": lambda of: Dissipation(of.f_ref, of.deflection),
}
