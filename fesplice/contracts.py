"""The extension surface on one page: protocols, small records, and the error family.

No behaviour lives here. Units everywhere inside the package: N, mm, MPa (N/mm2);
tension, opening and lengthening are positive. Array shapes use

    n_e  elements of a group        n_q  integration points of an element
    n_s  strain components          n_k  nodes of an element
    n_d  unknowns of an element     n_dof  unknowns of a model
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from enum import Enum, StrEnum
from typing import Any, Literal, Protocol, Self, runtime_checkable

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int32]
Bools = NDArray[np.bool_]
Flags = NDArray[np.bool_]
History = Mapping[str, Floats]


# ------------------------------------------------------------------ faults
class FespliceError(Exception):
    """Root of every fault a user may meet; ``exit_code`` is the shell's."""

    exit_code = 1


@dataclass(frozen=True)
class Fault:
    """One thing wrong with an input: where, what was given, what is allowed."""

    path: str
    value: Any
    allowed: str

    def __str__(self) -> str:
        shown = "" if self.value is None else f" = {self.value!r}"
        return f"{self.path}{shown}: {self.allowed}"


class InputFault(FespliceError):
    """Bad input. Carries every fault found, not only the first."""

    exit_code = 2

    def __init__(self, source: str, faults: list[Fault] | str):
        self.source = source
        self.faults = [Fault("", None, faults)] if isinstance(faults, str) else list(faults)
        lines = [str(f).removeprefix(": ") for f in self.faults]
        text = lines[0] if len(lines) == 1 else "\n" + "\n".join(f"  - {line}" for line in lines)
        super().__init__(f"{source}: {text}" if len(lines) == 1 else f"{source}: {len(lines)} faults{text}")


class FolderFault(InputFault):
    """A run folder that cannot be used: holds another run, is in use, or is unreadable."""


class NotConverged(FespliceError):
    """The march stopped without reaching its target; accepted steps are kept."""

    exit_code = 3


# ------------------------------------------------------------------ views
class ViewName(StrEnum):
    """The views of a specimen, by the word that files hold.

    What differs between them stands in one record a floor, by these names (:mod:`fesplice.pipeline.views`,
    :mod:`fesplice.post.record`, :mod:`fesplice.report.views`); whoever needs it asks the record, nobody the name.
    """

    elevation = "elevation"
    plan = "plan"


# ------------------------------------------------------------------ outcomes
class Outcome(Enum):
    """How a step or a run ended; the value is a sentence for people."""

    converged = "equilibrium reached within the tolerances"
    relaxed = "equilibrium reached after viscous relaxation across a sudden drop"
    unconverged = "accepted at the relaxed tolerance; counted as unconverged"
    max_iterations = "no equilibrium within the allowed iterations"
    diverged = "the residual grew without bound"
    singular = "the stiffness matrix could not be factorised"
    smallest_step = "no equilibrium even with the smallest step and every fallback"
    target_reached = "the stated end of loading was reached"
    step_limit = "the allowed number of steps was used up"
    softened = "the load fell by the stated drop after the peak"
    interrupted = "stopped by the user; the run can be resumed"
    running = "not finished; the run can be resumed"
    #: As runs of earlier versions spell it.
    loose = unconverged

    @property
    def accepted(self) -> bool:
        """True when a step with this outcome belongs to the response curve."""
        return self in (Outcome.converged, Outcome.relaxed, Outcome.unconverged)

    @property
    def spellings(self) -> frozenset[str]:
        """How this outcome may be spelled in a curve: by its name, or as an earlier version did."""
        return frozenset(name for name, outcome in type(self).__members__.items() if outcome is self)

    @property
    def finished(self) -> bool:
        """True when a run with this outcome needs no resuming."""
        return self not in (Outcome.interrupted, Outcome.running)


# ------------------------------------------------------------------ laws and elements
@dataclass(frozen=True)
class Response:
    """What a law answers: stress (n_e, n_q, n_s), tangent (n_e, n_q, n_s, n_s), trial history.

    ``tangent`` is (1 - secant) x consistent tangent + secant x secant stiffness, with the
    share ``secant`` in 0..1 that the caller asked for.
    """

    stress: Floats
    tangent: Floats
    history: History


@runtime_checkable
class Law(Protocol):
    """A constitutive law. Pure: never writes into its inputs."""

    @property
    def n_strain(self) -> int:
        """Strain components the law takes."""
        ...

    def fresh(self, shape: tuple[int, int]) -> dict[str, Floats]:
        """History of virgin material at ``shape`` = (n_e, n_q) points."""
        ...

    def respond(self, strain: Floats, history: History, size: Floats, *, secant: float = 0.0) -> Response:
        """Answer to ``strain`` (n_e, n_q, n_s), iterated from the committed ``history``.

        ``size`` is the element's size datum: gradients of the shape functions at the
        centroid (n_e, n_k, 2) [1/mm] for membranes, lengths (n_e, 1) [mm] for lines.
        """
        ...


@dataclass(frozen=True)
class BondNumbers:
    """What a bond law of one bar line is built from; arrays hold one number per point of the line (n_e,).

    ``strength`` f_cm [MPa] of the concrete around the bar; ``diameter`` d_b [mm] of one of ``number`` bars side by
    side; ``condition`` of casting and clear ``rib_spacing`` [mm]; ``length`` [mm] over which the bar is anchored or
    lapped, 0 where it runs through; covers ``c_min`` and ``c_max`` [mm] and ``k_tr`` of MC2010; ``splitting`` where
    the law itself shall know splitting; ``bearing_coefficient`` c1 of the bearing in bends; ``anchored`` is 1 where
    the bar is held without slip, else 0.
    """

    strength: Floats
    diameter: Floats
    number: Floats
    condition: Literal["good", "other"]
    rib_spacing: Floats
    length: Floats
    c_min: Floats
    c_max: Floats
    k_tr: Floats
    splitting: Flags
    bearing_coefficient: float
    anchored: Floats


@runtime_checkable
class BondLaw(Law, Protocol):
    """Forces per length of bar line [N/mm] from (slip, gap), and from the opening beside the bar where it is read.

    Strain and stress come in the order slip along the bar and bond, gap across it and bearing, and with
    ``reads_opening`` the opening [mm] between the two gauge points beside the bar and the force that keeps them
    together: ``n_strain`` is 2, or then 3.
    """

    @property
    def reads_opening(self) -> bool:
        """True when the opening beside the bar is wanted: the element then carries gauge points."""
        ...

    @property
    def perimeter(self) -> Floats:
        """Bonded perimeter of all bars of the line (n_e,) [mm]; force per length over it is told as bond stress."""
        ...


@runtime_checkable
class SplitBond(BondLaw, Protocol):
    """A bond law of two strains whose parts can be asked one by one, so that bond which wedges can be made of it."""

    anchored: Floats

    def tau(self, slip: Floats, old: Floats, secant: float) -> tuple[Floats, Floats, Floats]:
        """Bond stress [MPa], slope and new history ``slip`` for slip (n_e, n_q) and the ``old`` history."""
        ...

    def press(self, gap: Floats, old: Floats) -> tuple[Floats, Floats, Floats]:
        """Bearing per length [N/mm], slope and new history ``gap`` for gap (n_e, n_q) and the ``old`` history."""
        ...


@runtime_checkable
class Joinable(Law, Protocol):
    """A law whose numbers are arrays over points, so that several groups can run as one."""

    @classmethod
    def joined(cls, laws: Sequence[Any]) -> Self:
        """One law for the points of several of its own class, in order."""
        ...


@dataclass(frozen=True)
class ConcreteNumbers:
    """What a concrete law is built from: mean properties [MPa, N/mm], and how it cracks.

    ``peak_strain`` at ``strength`` f_cm; ``crushing_energy`` is the fracture energy in compression. ``stiffening``
    0..1 (scalar or per element) is the share of tension stiffening by bars that are not modelled one by one, at most
    ``reserve`` [MPa], what those bars have left to yield over the concrete's area. ``alone`` is True where no bar
    at all lies in the body, so that nothing spreads its cracks and each runs alone.
    """

    modulus: float
    poisson: float
    tensile_strength: float
    fracture_energy: float
    strength: float
    peak_strain: float
    crushing_energy: float
    crack: Literal["rotating", "fixed"]
    stiffening: float | Floats
    reserve: float | Floats
    alone: bool = False


@runtime_checkable
class CrackedConcrete(Law, Protocol):
    """A concrete law that tells of cracks: its history has ``tension`` and ``band`` (n_e, n_q, 2) (smeared crack)."""

    @property
    def modulus(self) -> float:
        """Elastic modulus [MPa]."""
        ...

    @property
    def poisson(self) -> float:
        """Poisson's ratio."""
        ...

    @property
    def tensile_strength(self) -> float:
        """Tensile strength [MPa]."""
        ...


@runtime_checkable
class BondMaker(Protocol):
    """What the registry of bond laws holds: a class, or a frozen dataclass object whose fields are its settings."""

    def built(self, numbers: BondNumbers) -> BondLaw:
        """The law of one bar line."""
        ...


@runtime_checkable
class ConcreteMaker(Protocol):
    """What the registry of concrete laws holds; see :class:`BondMaker`."""

    def built(self, numbers: ConcreteNumbers) -> Law:
        """The law of one group of concrete; n_strain is 3: (exx, eyy, gxy)."""
        ...


@runtime_checkable
class Element(Protocol):
    """A finite element: small strain, so B and w are computed once."""

    n_nodes: int
    n_strain: int
    n_points: int

    def kinematics(self, xy: Floats, data: Mapping[str, Any]) -> tuple[Floats, Floats]:
        """B (n_e, n_q, n_s, n_d) and weights w (n_e, n_q) from nodes ``xy`` (n_e, n_k, 2)."""
        ...

    def size(self, xy: Floats, data: Mapping[str, Any]) -> Floats:
        """Size datum handed to the law (see :class:`Law`)."""
        ...


# ------------------------------------------------------------------ equilibrium
@dataclass(frozen=True)
class State:
    """An equilibrium state: free unknowns u (n_free), load factor, committed history per group."""

    u: Floats
    load: float
    history: Mapping[str, History]


@dataclass(frozen=True)
class Step:
    """One accepted step of the march, with how it was found; ``stress`` per group belongs to ``state``."""

    index: int
    state: State
    stress: Mapping[str, Floats]
    outcome: Outcome
    iterations: int
    residual: float
    energy: float
    size: float
    seconds: float
    note: str = ""
    failed: tuple[str, ...] = field(default=())


@dataclass(frozen=True)
class Trial:
    """Answer of a model to trial unknowns: forces (n_free), matrix, history and stress per group.

    ``matrix`` is sparse (CSC) or None when it was not asked for.
    """

    force: Floats
    matrix: Any
    history: Mapping[str, History]
    stress: Mapping[str, Floats]


class Equilibrium(Protocol):
    """All the solver knows of a model: forces, tangent, loads over the free unknowns. No law, no element.

    ``shifts`` (n_free,) is True at displacements and slides and False at rotations, whose moments have another unit.
    """

    n_free: int
    shifts: Bools
    f_ref: Floats
    f_dead: Floats

    def fresh(self) -> Mapping[str, History]:
        """History of the virgin model, per group."""
        ...

    def internal(self, u: Floats, history: Mapping[str, History], *, secant: float = 0.0, matrix: bool = True) -> Trial:
        """Internal forces and tangent at unknowns ``u`` (n_free), from the committed ``history``."""
        ...


class Control(Protocol):
    """What is held in a step: one scalar equation c.u + w*load = target."""

    @property
    def name(self) -> str:
        """Its key in the registry."""
        ...

    @property
    def first(self) -> Control | None:
        """What is held instead while this equation says nothing; None for a control that always says something."""
        ...

    @property
    def weights(self) -> Floats | None:
        """(n_free,) The deflection that the rules for stopping read; None: the sizes of the steps add up to it."""
        ...

    def row(self, state: State, previous: State | None) -> tuple[Floats, float]:
        """Coefficients (c (n_free), w) of the constraint about ``state``."""
        ...


class Stepper(Protocol):
    """How far next: sizes of coming increments. ``size`` is the current one and all that is kept for resuming."""

    size: float

    def next_size(self, last: Step | None) -> float:
        """Size of the increment after ``last`` (None at the start); also the new ``size``."""
        ...

    def cut(self) -> bool:
        """Shrink after a failure; False when the smallest size is passed."""
        ...


# ------------------------------------------------------------------ provisions
@dataclass(frozen=True)
class Check:
    """One value of a published provision, with everything needed to look it up."""

    document: str
    edition: str
    clause: str
    quantity: str
    value: float
    unit: str
    inputs: Mapping[str, float]
    scope_note: str = ""


class Provision(Protocol):
    """A clause of a document as a function of plain numbers with named arguments; ``units`` "SI" or "US"."""

    def __call__(self, *args: Any, **inputs: Any) -> Check: ...
