"""What a published test is to the validation, and what a computation answers.

A series is one module with a function ``cases(data: Path) -> list[Case]`` that reads its rows from
CSV or TOML in ``data`` (models/validation/data unless told otherwise), so that rows of a series
that are not in the repository can be computed by putting a longer file in another folder.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Literal


@dataclass(frozen=True)
class Settings:
    """What the sensitivity page varies. The defaults are the one set that serves all cases.

    ``mesh`` and ``step`` multiply the element and step size of a case. ``splitting`` beyond "none" names a law on
    trial, of :mod:`validation.lap_laws`, for laps alone.
    """

    mesh: float = 1.0
    step: float = 1.0
    crack: Literal["rotating", "fixed"] = "rotating"
    stiffening: bool = True
    bond: Literal["slip", "perfect"] = "slip"
    splitting: Literal[
        "default", "branch", "wedging", "none", "twice", "local", "ring", "cohesive", "softening", "shared"
    ] = "default"


@dataclass(frozen=True)
class Found:
    """Result of one case. ``prediction`` is in the unit of the case; ``extras`` go to the CSV.

    ``failed`` counts attempts that did not converge, ``loose`` steps accepted at the loose tolerance;
    ``passed`` is True when the load fell after its peak or a yield plateau was proved; ``ending`` says
    in words why the computation stopped. ``curve`` holds columns by name with unit, for the figure.
    """

    prediction: float
    mode: str
    unknowns: int
    steps: int
    failed: int
    loose: int
    iterations: int
    passed: bool
    ending: str
    extras: dict[str, float | str] = field(default_factory=dict)
    curve: dict[str, list[float]] = field(default_factory=dict)


@dataclass(frozen=True)
class Case:
    """One test. ``test`` is the measured value [``unit``] or None; ``band`` (low, high) where only a range is known.

    ``use`` tells how the row counts: "pass_fail" and "surrogate" enter mean and COV, "indication" and
    "lower_bound" are shown only. ``memory`` is True when the measured value was not found in a stored text.
    ``quick`` cases run in scripts/test. ``run(settings, folder)`` may leave files in ``folder``.
    """

    series: str
    name: str
    quantity: str
    unit: str
    run: Callable[[Settings, Path], Found]
    test: float | None = None
    band: tuple[float, float] | None = None
    mode: str = ""
    use: Literal["pass_fail", "surrogate", "indication", "lower_bound"] = "pass_fail"
    source: str = ""
    memory: bool = False
    quick: bool = False
