"""How far next: sizes of increments that grow when iteration is easy and are cut when it fails."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from fesplice.contracts import Step, Stepper


@dataclass
class Adaptive:
    """Nominal size, grown by 1.5 up to ``largest`` times nominal, halved down to ``smallest`` times nominal."""

    nominal: float
    largest: float = 2.0
    smallest: float = 0.125
    easy: int = 8
    size: float = 0.0

    def next_size(self, last: Step | None) -> float:
        """Size of the next increment after ``last``."""
        if self.size == 0.0:
            self.size = 0.5 * self.nominal
        elif last is not None and last.iterations <= self.easy:
            self.size = min(1.5 * self.size, self.largest * self.nominal)
        return self.size

    def cut(self) -> bool:
        """Halve; False (and size at the smallest) when that would pass the smallest."""
        self.size *= 0.5
        if self.size < self.smallest * self.nominal * 0.999:
            self.size = self.smallest * self.nominal
            return False
        return True


@dataclass
class Constant:
    """The same size throughout (checks of step sensitivity); cuts like :class:`Adaptive`."""

    nominal: float
    smallest: float = 0.125
    size: float = 0.0

    def next_size(self, last: Step | None) -> float:
        """Always the nominal size."""
        self.size = self.nominal
        return self.size

    def cut(self) -> bool:
        """Halve; False when that would pass the smallest."""
        self.size *= 0.5
        return self.size >= self.smallest * self.nominal * 0.999


#: What ``analysis.stepping`` of a specimen may name: a stepper is made of its nominal size.
STEPPERS: dict[str, Callable[[float], Stepper]] = {"adaptive": Adaptive, "constant": Constant}
