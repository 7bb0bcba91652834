"""What a study is: base specimens, factors with their levels, a sample, views and resources. Data only."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from fesplice.contracts import Floats
from fesplice.study.distributions import Distribution
from fesplice.study.keys import Key

#: What ``views`` may say, and what it stands for: runs of a view, and the reading of both together.
VIEWS: dict[str, tuple[str, ...]] = {
    "elevation": ("elevation",),
    "plan": ("plan",),
    "both": ("elevation", "plan", "prediction"),
}


@dataclass(frozen=True)
class Measured:
    """What a test gave: load per ram [N], bar stress [MPa] at the joint face, mode in a word; None if not known."""

    load: float | None = None
    bar_stress: float | None = None
    mode: str = ""


@dataclass(frozen=True)
class Level:
    """One setting of a factor: its label and the keys it changes; of a listed case also its base and test."""

    label: str
    changes: Mapping[str, Any]
    base: str | None = None
    source: str = ""
    measured: Measured | None = None


@dataclass(frozen=True)
class Factor:
    """Something that is varied on purpose; ``name`` is its column. ``keys`` are those that its levels change."""

    name: str
    levels: tuple[Level, ...]
    keys: tuple[Key, ...] = ()


@dataclass(frozen=True)
class Sample:
    """Scatter: ``shares`` (number, n) in 0..1 for the keys, whose distributions turn them into values."""

    keys: tuple[Key, ...]
    distributions: tuple[Distribution, ...]
    correlation: Floats
    shares: Floats


@dataclass(frozen=True)
class Resources:
    """Where the work is done: ``workers`` processes of one thread here, or a scheduler that runs somewhere.

    ``workers`` 0 computes in this process. ``adaptive`` (least, most) workers instead of a fixed
    number. ``memory`` per worker as a text ("3 GB"), empty: all there is, shared.
    ``scheduler``: address or scheduler file; the rest is then the scheduler's own affair.
    """

    workers: int = 0
    adaptive: tuple[int, int] | None = None
    memory: str = ""
    scheduler: str = ""

    @property
    def alone(self) -> bool:
        """True where this process does all the work."""
        return self.workers == 0 and self.adaptive is None and not self.scheduler


@dataclass(frozen=True)
class Study:
    """A study as its file describes it; ``text`` is that file."""

    name: str
    note: str
    base: str
    base_source: str
    views: tuple[str, ...]
    seed: int
    fixed: Mapping[str, Any]
    factors: tuple[Factor, ...]
    sample: Sample | None
    resources: Resources
    text: str = field(default="", repr=False)
    source: str = "study"
