"""A bar across the beam inside the bends: the support it gives to hooks, and bond that has such a support.

A hook that is pulled leans on the bar in its bend. Over the width of the hook the concrete behind the bar bears
through it as it would without (mortar fills the wedge between two round bars that cross). What the bar adds are its
parts beside the hooks, which spread the force along the row: as long as they are elastic, beams on an elastic
foundation that go down with the hook (Hetenyi 1946: point load and moment on the infinite beam, with
end-conditioning forces for free ends); at most a dowel section on either side of each hook, of 1.3 d^2 sqrt(f_c f_y),
where the bar hinges and the concrete crushes (Rasmussen 1963, also Dulacska 1972; from memory). What the bends at the
bar's own ends bear is not counted.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from fesplice.contracts import BondLaw, Floats, History, Response
from fesplice.laws.bond import bearing_modulus
from fesplice.laws.wedge import together

#: Force of one dowel section / (d^2 sqrt(f_c f_y)).
DOWEL = 1.3


# ------------------------------------------------------------------ the bar
@dataclass(frozen=True)
class BarSupport:
    """What a bar in the bend adds to the bearing of one hook: ``stiffness`` [N/mm] up to ``strength`` [N].

    It acts over ``width`` [mm] along the bend.
    """

    stiffness: float
    strength: float
    width: float


def bar_support(
    diameter: float,
    number: int,
    modulus: float,
    steel_yield: float,
    f_cm: float,
    bearing: float,
    positions: Sequence[float],
    reach: float,
    hook: float,
) -> BarSupport:
    """Support of each hook of a row, at ``positions`` across the beam [mm], on ``number`` bars of ``diameter`` [mm].

    The bars run from -``reach`` to ``reach`` [mm]; ``modulus``, ``steel_yield`` of them and ``f_cm`` of the concrete
    [MPa]; ``bearing`` is c1 of the bearing modulus, ``hook`` the diameter of the hooks [mm]. The hooks of a row move
    alike, and share alike.
    """
    free = beside(positions, reach, hook)
    foundation = float(bearing_modulus(f_cm, np.array(diameter), bearing)) * diameter
    stiff = beam_stiffness(free, foundation, modulus * np.pi * diameter**4 / 64.0)
    each = number / len(positions)
    return BarSupport(each * stiff, each * dowel_strength(free, diameter, steel_yield, f_cm), diameter)


def beside(positions: Sequence[float], reach: float, hook: float) -> Floats:
    """Lengths (n + 1,) [mm] of the bar beside and between n hooks of diameter ``hook``, from end to end."""
    edges = np.concatenate([[-reach - 0.5 * hook], np.sort(np.asarray(positions, float)), [reach + 0.5 * hook]])
    return np.maximum(np.diff(edges) - hook, 0.0)


def beam_stiffness(lengths: Floats, foundation: float, rigidity: float) -> float:
    """Sum of the n forces [N/mm] that move a beam on an elastic foundation by 1 mm at each of them.

    ``lengths`` (n + 1,) [mm] from its free end to the first, between them and to the other end; ``foundation`` per
    length k [N/mm2], ``rigidity`` E I [N mm2]. One force far from the ends: 2 k/b with b = (k/(4 E I))^(1/4), which
    is 2 sqrt(2) k^(3/4) (E I)^(1/4).
    """
    b = (foundation / (4.0 * rigidity)) ** 0.25
    z, ends = np.cumsum(lengths[:-1]), np.array([0.0, np.sum(lengths)])

    def wave(at: Floats, source: Floats) -> tuple[Floats, Floats, Floats, Floats]:
        """Hetenyi's A, B, C, D at ``at`` (rows) of what acts at ``source`` (columns)."""
        r = b * np.abs(at[:, None] - source)
        s, c, e = np.sin(r), np.cos(r), np.exp(-r)
        return e * (c + s), e * s, e * (c - s), e * c

    def moment_shear(source: Floats, side: Floats) -> tuple[Floats, Floats]:
        """Moments, then shears, at both ends (4, n) from unit forces and from moments 1/b at ``source`` (n,).

        ``side`` (2, n) is +1 where an end lies beyond the source, else -1.
        """
        a, _, c, d = wave(ends, source)
        by_force = np.concatenate([c / (4.0 * b), -side * d / 2.0])
        by_moment = np.concatenate([side * d / (2.0 * b), -a / 2.0])
        return by_force, by_moment

    # forces and moments at the ends of the infinite beam that leave no moment and no shear just inside them
    within = np.array([[1.0, -1.0], [1.0, -1.0]])
    loads = moment_shear(z, np.repeat([[-1.0], [1.0]], len(z), axis=1))[0]
    conditioning = np.linalg.solve(np.hstack(moment_shear(ends, within)), -loads)
    a, b_ends, *_ = wave(z, ends)
    by_ends = np.hstack([a / 2.0, np.array([1.0, -1.0]) * b_ends])
    flexible = (wave(z, z)[0] / 2.0 + by_ends @ conditioning) * b / foundation
    return float(np.linalg.solve(flexible, np.ones(len(z))).sum())


def dowel_strength(lengths: Floats, diameter: float, steel_yield: float, f_cm: float) -> float:
    """Force [N] of one bar beside all its hooks: a dowel section on either side of each of them.

    No side gives more than 3 f_cm on its share of ``lengths`` (n + 1,) [mm]: to the bar's end, or half of that
    between two hooks.
    """
    sides = np.concatenate([lengths[:1], np.repeat(0.5 * lengths[1:-1], 2), lengths[-1:]])
    section = DOWEL * diameter**2 * np.sqrt(f_cm * steel_yield)
    return float(np.minimum(section, 3.0 * f_cm * diameter * sides).sum())


def shares(arc: Floats, at: float, width: float) -> Floats:
    """Shares (n,), 1 in sum, of ``width`` [mm] about the place ``at`` in what each node of a line stands for.

    ``arc`` (n,) [mm] along the line; a node stands for the line half way to its neighbours. So stiffness and
    strength of a support are the same however the line is divided.
    """
    edges = np.concatenate([arc[:1], 0.5 * (arc[1:] + arc[:-1]), arc[-1:]])
    over = np.minimum(edges[1:], at + 0.5 * width) - np.maximum(edges[:-1], at - 0.5 * width)
    over = np.maximum(over, 0.0)
    return over / over.sum()


# ------------------------------------------------------------------ the law
@dataclass(frozen=True)
class SupportedBond:
    """Forces per length of ``bond`` (that of a pull-out, or one that wedges), and those of a bar in the bend.

    Per element (n_e,): ``stiffness`` [N/mm2] and ``cap`` [N/mm] of the support, 0 away from it, beside the bearing of
    the concrete; ``sense`` is +1 where a positive gap presses on the support, else -1. A support pushes and never
    pulls: what it has given way stays as play. History: that of the bond, and ``play`` (.., 1) [mm].
    """

    bond: BondLaw
    stiffness: Floats
    cap: Floats
    sense: Floats

    @classmethod
    def over(
        cls, bond: BondLaw, support: BarSupport, number: int, arc: Floats, at: float, sense: float
    ) -> SupportedBond:
        """Supports of ``number`` hooks along a line with nodes at ``arc`` (n,) [mm], about the place ``at``."""
        length = np.diff(np.concatenate([arc[:1], 0.5 * (arc[1:] + arc[:-1]), arc[-1:]]))
        each = number * shares(arc, at, support.width) / length
        return cls(bond, each * support.stiffness, each * support.strength, np.full(len(arc), sense))

    @classmethod
    def joined(cls, laws: Sequence[SupportedBond]) -> SupportedBond:
        """One law for the points of several, in order; their bonds must be of one kind."""
        bond = together([law.bond for law in laws])
        stiffness, cap, sense = (
            np.concatenate([getattr(law, k) for law in laws]) for k in ("stiffness", "cap", "sense")
        )
        return cls(bond, stiffness, cap, sense)

    @property
    def n_strain(self) -> int:
        """Slip and gap, and the opening of a bond that wedges."""
        return self.bond.n_strain

    @property
    def reads_opening(self) -> bool:
        """As the bond does."""
        return self.bond.reads_opening

    @property
    def perimeter(self) -> Floats:
        """Bonded perimeter of all bars of the line (n_e,) [mm]."""
        return self.bond.perimeter

    def fresh(self, shape: tuple[int, int]) -> dict[str, Floats]:
        """Unslipped bond, hook and support in touch."""
        return {**self.bond.fresh(shape), "play": np.zeros((*shape, 1))}

    def push(self, gap: Floats, play: Floats) -> Floats:
        """What the support bears per length of bar (n_e, n_q) [N/mm] for ``gap`` and ``play``; signed as a gap is."""
        trial = self.stiffness[:, None] * (self.sense[:, None] * gap - play)
        return self.sense[:, None] * np.clip(trial, 0.0, self.cap[:, None])

    def respond(self, strain: Floats, history: History, size: Floats, *, secant: float = 0.0) -> Response:
        """Forces per length for strain (n_e, n_q, n_strain)."""
        found = self.bond.respond(strain, history, size, secant=secant)
        k, cap, sense = self.stiffness[:, None], self.cap[:, None], self.sense[:, None]
        gap, play = sense * strain[..., 1], history["play"][..., 0]
        q, trial = self.push(strain[..., 1], play), k * (gap - play)
        d = np.where((trial >= 0.0) & (trial <= cap), k, 0.0)
        if secant > 0.0:
            pressed = gap > 1e-9
            d = (1.0 - secant) * d + secant * np.where(pressed, q / np.where(pressed, strain[..., 1], 1.0), d)
        stress, tangent = found.stress.copy(), found.tangent.copy()
        stress[..., 1] += q
        tangent[..., 1, 1] += d
        over = np.maximum(trial - cap, 0.0) / np.where(k > 0.0, k, 1.0)
        return Response(stress, tangent, {**found.history, "play": (play + over)[..., None]})
