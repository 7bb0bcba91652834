"""Stress-strain curve of reinforcing bars, measured or idealised, as laws and as sections in bending need it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from fesplice.contracts import Fault, Floats, InputFault

#: A plateau must reach beyond the yield strain by this factor; a shorter one is none.
PLATEAU = 1.001


@dataclass(frozen=True)
class Curve:
    """Monotonic stress-strain curve: rising points ``strain``, ``stress`` [MPa], from yield on.

    Before the first point the steel is linear elastic with ``modulus``; beyond the last the bar
    has broken and its stress falls to zero over a tenth of the last strain.
    """

    modulus: float
    strain: tuple[float, ...]
    stress: tuple[float, ...]

    @classmethod
    def through(cls, modulus: float, points: Sequence[tuple[float, float]]) -> Curve:
        """The curve through (strain, stress [MPa]) from the yield point on."""
        return cls(modulus, tuple(float(e) for e, _ in points), tuple(float(f) for _, f in points))

    def __call__(self, strain: Floats) -> tuple[Floats, Floats]:
        """Stress and slope at strains >= 0."""
        e = np.concatenate([[0.0], self.strain, [1.1 * self.strain[-1], 1e9]])
        s = np.concatenate([[0.0], self.stress, [0.0, 0.0]])
        k = np.clip(np.searchsorted(e, strain, side="right") - 1, 0, len(e) - 2)
        slope = (np.diff(s) / np.diff(e))[k]
        return s[k] + slope * (strain - e[k]), slope

    def fibres(self) -> Callable[[Floats], Floats]:
        """Stress of strain of either sign for a section in bending; past the last point the bar is torn at once.

        A march needs the steep fall of the curve to follow it, the balance of a section only what still carries.
        InputFault where strains do not rise from zero.
        """
        return through(list(zip(self.strain, self.stress)))


def idealised(modulus: float, yield_strength: float, ultimate: float, hardening: float, rupture: float) -> Curve:
    """Elastic, plateau to strain ``hardening`` (none if at yield), straight line to ultimate at ``rupture``."""
    ey = yield_strength / modulus
    if hardening > ey * PLATEAU:
        return Curve(modulus, (ey, hardening, rupture), (yield_strength, yield_strength, ultimate))
    return Curve(modulus, (ey, rupture), (yield_strength, ultimate))


def through(points: Sequence[tuple[float, float]]) -> Callable[[Floats], Floats]:
    """Stress of strain through measured ``points`` (strain, stress [MPa]) from the yield point on.

    Straight lines from the origin, the same in compression. Past the last point the bar is torn: zero stress.
    """
    strain = np.array([0.0, *(p[0] for p in points)])
    stress = np.array([0.0, *(p[1] for p in points)])
    if len(points) == 0 or not (
        np.isfinite(strain).all() and np.isfinite(stress).all() and (np.diff(strain) > 0).all()
    ):
        raise InputFault("steel curve", [Fault("points", list(points), "strains must rise from above zero")])

    def curve(e: Floats) -> Floats:
        size = np.abs(e)
        return np.sign(e) * np.interp(size, strain, stress, right=0.0)

    return curve


def bilinear(
    fy: float, *, modulus: float = 200e3, fu: float | None = None, rupture: float = 0.05
) -> Callable[[Floats], Floats]:
    """Elastic to ``fy``, then straight to ``fu`` at ``rupture``; ``fu`` left out: perfectly plastic [MPa]."""
    return through([(fy / modulus, fy), (rupture, fy if fu is None else fu)])
