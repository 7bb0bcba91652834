"""What is held in a step. Each control gives one linear equation c.u + w load about the current state.

``size`` of a step is the growth of that expression: millimetres of deflection or opening,
a length in displacement space, or dissipated energy [N mm].
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fesplice.contracts import Floats, State


@dataclass(frozen=True)
class Displacement:
    """Hold a displacement, or any weighted sum of displacements such as a crack opening."""

    weights: Floats
    name: str = "deflection"

    def row(self, state: State, previous: State | None) -> tuple[Floats, float]:
        """The weights themselves."""
        return self.weights, 0.0


@dataclass(frozen=True)
class LoadFactor:
    """Hold the load (dead load, elastic checks)."""

    n_free: int
    name: str = "load"

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

    tau = f.(load_0 u - load u_0)/2, exact for secant unloading.
    """

    f_ref: Floats
    name: str = "dissipation"

    def row(self, state: State, previous: State | None) -> tuple[Floats, float]:
        """Linear in u and load."""
        return 0.5 * state.load * self.f_ref, -0.5 * float(self.f_ref @ state.u)


CONTROLS = {
    "deflection": Displacement,
    "crack_opening": Displacement,
    "arc_length": ArcLength,
    "dissipation": Dissipation,
    "load": LoadFactor,
}
