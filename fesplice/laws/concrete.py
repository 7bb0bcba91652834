"""Smeared-crack concrete in plane stress: total strain, rotating or fixed crack axes.

The law is a frame that turns the strain into crack axes, applies uniaxial curves there and
turns the answer back. Sources: crack band Bazant & Oh (1983), direction-dependent band
Oliver (1989), softening Hordijk (1991), compression softening Vecchio & Collins (1986),
coaxial shear term Willam, Pramono & Sture (1989), lateral strain
from the stress across (compliance of Bazant & Oh 1983).

History (committed values, per point):
    tension, compression (.., 2)  largest equivalent strain so far along each axis
    band (.., 2)                  crack-band width frozen at first cracking and at first crushing [mm]
    axes (.., 2)                  cos 2t, sin 2t of a fixed crack; zeros while free to rotate
    way (.., 1)                   how the nodes part, where cracks run alone (:mod:`fesplice.laws.parting`)
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fesplice.contracts import ConcreteNumbers, Floats, History, Response
from fesplice.laws import cracking, parting

#: Keys of the history, in the order of the compiled loop.
HISTORY = ("tension", "compression", "band", "axes")


@dataclass(frozen=True)
class SmearedCrack:
    """Concrete law with mean properties; MPa, N/mm, mm.

    ``stiffening`` (0..1, scalar or per element) mixes Collins-Mitchell tension stiffening
    into the softening curve; 0 where bond-slip of the bars is modelled explicitly. It is no more
    than ``reserve`` [MPa] (scalar or per element), the yield force of bars along x over the
    concrete area they stiffen; where the history that is handed in has ``left`` (n_e,), the
    share of it that the bars have left at present counts.

    ``biaxial``: compression along both axes strengthens (Kupfer & Gerstle 1973); False keeps f_c there.

    ``alone`` says that no bar spreads the cracks, so that each is one jump in a band of one element: rotating axes
    then follow the opening of that jump, whose shear along the crack takes no stress (:mod:`fesplice.laws.parting`).
    Where bars cross the cracks several hairline cracks share an element, and its strain is not that of one jump:
    leave it False there.
    """

    modulus: float
    poisson: float
    tensile_strength: float
    fracture_energy: float
    strength: float
    peak_strain: float
    crushing_energy: float
    crack: str = "rotating"
    curve: str = "hordijk"
    softening_floor: float = 0.4
    biaxial: bool = True
    alone: bool = False
    stiffening: float | Floats = 0.0
    reserve: float | Floats = cracking.UNBOUNDED
    n_strain: int = 3

    @classmethod
    def built(cls, numbers: ConcreteNumbers) -> SmearedCrack:
        """The law of these numbers, with Hordijk's softening."""
        n = numbers
        return cls(
            n.modulus, n.poisson, n.tensile_strength, n.fracture_energy, n.strength, n.peak_strain, n.crushing_energy,
            crack=n.crack, stiffening=n.stiffening, reserve=n.reserve, alone=n.alone,
        )  # fmt: skip

    def fresh(self, shape: tuple[int, int]) -> dict[str, Floats]:
        """Virgin history at (n_e, n_q) points."""
        pair = (*shape, 2)
        return {
            "tension": np.zeros(pair),
            "compression": np.zeros(pair),
            "band": np.zeros(pair),
            "axes": np.zeros(pair),
        } | ({"way": np.zeros((*shape, 1))} if self.alone else {})

    def respond(self, strain: Floats, history: History, size: Floats, *, secant: float = 0.0) -> Response:
        """See :class:`fesplice.contracts.Law`; ``size`` = centroid gradients (n_e, n_k, 2) [1/mm]."""
        constants = cracking.Constants(
            self.modulus,
            self.poisson,
            self.tensile_strength,
            self.fracture_energy,
            self.strength,
            self.peak_strain,
            self.crushing_energy,
            self.softening_floor,
            self.curve == "exponential",
            self.crack == "fixed",
            self.biaxial,
        )
        weight = np.full(len(strain), self.stiffening, float)
        reserve = np.full(len(strain), self.reserve, float) * history.get("left", 1.0)
        old = tuple(np.ascontiguousarray(history[key]) for key in HISTORY)
        new = tuple(np.empty(value.shape) for value in old)
        stress, tangent = np.empty(strain.shape), np.empty((*strain.shape, 3))
        strain, size = np.ascontiguousarray(strain), np.ascontiguousarray(size)
        parted = np.zeros((*strain.shape[:2], 2))
        if self.alone:
            parting.gradients(history["way"], size, parted)
        cracking.respond(
            constants, strain, size, parted, weight, reserve, float(secant), old, stress, tangent, new
        )  # fmt: skip
        answer: dict[str, Floats] = {}
        answer.update(zip(HISTORY, new, strict=True))
        if self.alone:
            opening = np.maximum(new[0][..., 0] - self.tensile_strength / self.modulus, 0.0) * new[2][..., 0]
            answer["way"] = np.empty((*strain.shape[:2], 1))
            unit = self.fracture_energy / self.tensile_strength
            parting.choose(strain, size, opening, unit, history["way"], answer["way"])
        return Response(stress, tangent, answer)


@dataclass(frozen=True)
class Elastic:
    """Linear elastic plane stress (steel plates, verification)."""

    modulus: float
    poisson: float
    n_strain: int = 3

    @classmethod
    def built(cls, numbers: ConcreteNumbers) -> Elastic:
        """Concrete that never cracks (comparisons)."""
        return cls(numbers.modulus, numbers.poisson)

    def fresh(self, shape: tuple[int, int]) -> dict[str, Floats]:
        """No history."""
        return {}

    def respond(self, strain: Floats, history: History, size: Floats, *, secant: float = 0.0) -> Response:
        """Hooke's law in plane stress."""
        from fesplice.algebra import elastic_matrix

        matrix = elastic_matrix(self.modulus, self.poisson)
        return Response(strain @ matrix, np.broadcast_to(matrix, (*strain.shape, 3)), history)
