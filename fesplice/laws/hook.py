"""A hook as an end anchor: force at its tangent point against the slip there, computed in one dimension.

The bar of lead, bend and tail is a chain of straight links (Hencky 1920): links stretch elastically,
nodes bend up to the plastic moment. It stands on concrete that does not crack or move but gives way locally:
bond after the pull-out branch of Model Code 2010 on bend and tail, bearing across the bar up to
3 f_cm (laws and sources in :mod:`fesplice.laws.bond`); a transverse bar in the middle of the bend is a support of its
own (:mod:`fesplice.laws.bar_support`). With mean tangents at the nodes the tension T
round a bend of radius R bears with T/R. Yielding in tension is for the bar before the anchor,
breaking-out of concrete for the plane that holds it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from fesplice.contracts import FespliceError, Floats, History, Response
from fesplice.laws.bar_support import BarSupport, SupportedBond
from fesplice.laws.bond import BondSlip, bearing_modulus, envelope
from fesplice.laws.steel import BentBar, Curve

#: Links per quarter turn, and per bar diameter of lead and tail.
TURN, STRAIGHT = 12, 2.0
#: Length of unbonded lead that still bends [bar diameters]: beyond it a bar on concrete feels nothing of the bend.
LEAD = 5.0
#: Of steel [MPa].
MODULUS = 200e3
#: The stored curve ends at this slip [bar diameters]; no hook is of use there any more.
FARTHEST = 0.33


@dataclass(frozen=True)
class HookBar:
    """One hooked bar end [mm, mm2, MPa].

    ``bend_diameter`` inside, straight ``tail`` after a bend of ``angle`` [degree]; ``bearing`` is c1 of the
    bearing modulus; ``on_bend`` scales the bond on the bend (1 as elsewhere, 0 none); ``support`` by a transverse bar.
    """

    diameter: float
    bend_diameter: float
    tail: float
    angle: float
    f_cm: float
    condition: str
    area: float
    steel_yield: float
    bearing: float = 0.8
    on_bend: float = 1.0
    support: BarSupport | None = None

    @property
    def radius(self) -> float:
        """Radius of the bend's centre line [mm]."""
        return 0.5 * (self.bend_diameter + self.diameter)

    def line(self) -> tuple[Floats, int, int]:
        """Nodes (n, 2) [mm] from the lead's start along +x, turning towards +y; first and last node of the bend."""
        turn, r = np.deg2rad(self.angle), self.radius
        lead = LEAD * self.diameter
        x = np.linspace(-lead, 0.0, round(STRAIGHT * LEAD) + 1)
        around = np.linspace(0.0, turn, max(2, round(TURN * self.angle / 90.0)) + 1)[1:]
        bend = np.column_stack([r * np.sin(around), r * (1.0 - np.cos(around))])
        n = max(2, round(STRAIGHT * self.tail / self.diameter))
        way = np.linspace(0.0, self.tail, n + 1)[1:, None] * np.array([np.cos(turn), np.sin(turn)])
        nodes = np.concatenate([np.column_stack([x, 0.0 * x]), bend, bend[-1] + way])
        return nodes, len(x) - 1, len(x) - 1 + len(bend)


@dataclass(frozen=True)
class Pull:
    """A hook pulled to several slips.

    ``slip`` (m,) at the tangent point [mm]; ``force`` (m,) there [N]. At the last slip: ``tension`` (n - 1,)
    of the links [N], ``tau`` (n,) [N/mm] and ``bearing`` (n,) [N/mm] on the bar per length at the nodes,
    ``length`` (n,) [mm] each node stands for, ``tangent`` (n, 2).
    """

    slip: Floats
    force: Floats
    tension: Floats
    tau: Floats
    bearing: Floats
    length: Floats
    tangent: Floats


class _Chain:
    """Strain rows and laws of a hook bar: links, bending nodes, points of bond and bearing."""

    def __init__(self, bar: HookBar):
        self.bar = bar
        xy, self.first, last = bar.line()
        n = self.n = len(xy)
        step = np.diff(xy, axis=0)
        self.link = np.linalg.norm(step, axis=1)
        t = step / self.link[:, None]
        across = np.column_stack([-t[:, 1], t[:, 0]])
        stretch, rotation = np.zeros((n - 1, 2 * n)), np.zeros((n - 1, 2 * n))
        for rows, axis in ((stretch, t), (rotation, across)):
            for k in range(n - 1):
                rows[k, 2 * k : 2 * k + 2], rows[k, 2 * k + 2 : 2 * k + 4] = -axis[k], axis[k]
            rows /= self.link[:, None]
        self.stretch = stretch
        half = 0.5 * (self.link[1:] + self.link[:-1])
        self.bend, self.half = np.diff(rotation, axis=0) / half[:, None], half
        mean = np.vstack([t[:1], t[1:] + t[:-1], t[-1:]])
        self.tangent = mean / np.linalg.norm(mean, axis=1)[:, None]
        self.length = np.concatenate([[0.5 * self.link[0]], half, [0.5 * self.link[-1]]])
        self.slide, self.part = np.zeros((n, 2 * n)), np.zeros((n, 2 * n))
        for k, (tx, ty) in enumerate(self.tangent):
            self.slide[k, 2 * k : 2 * k + 2], self.part[k, 2 * k : 2 * k + 2] = (tx, ty), (-ty, tx)

        self.steel = BentBar(Curve(MODULUS, (1.0,), (bar.steel_yield,)), bar.diameter, 1, bar.area)
        d = np.full(n, bar.diameter)
        no = np.zeros(n)
        share = np.ones(n)
        share[: self.first] = 0.0
        share[self.first] = 0.5 * self.link[self.first] / self.length[self.first]  # bonded on the bend's side only
        share[self.first : last + 1] *= bar.on_bend
        rib = 0.5 * d
        ground = BondSlip(
            envelope(bar.f_cm, d, bar.condition, rib, np.zeros(n, bool), no, no),
            np.pi * d * share, bearing_modulus(bar.f_cm, d, bar.bearing), 3.0 * bar.f_cm + no, d, no,
        )  # fmt: skip
        arc = np.concatenate([[0.0], np.cumsum(self.link)])
        # the bend turns towards the normal: a support is on its positive side
        middle = 0.5 * float(arc[self.first] + arc[last])
        self.ground = ground if bar.support is None else SupportedBond.over(ground, bar.support, 1, arc, middle, 1.0)

    def fresh(self) -> dict[str, History]:
        """Unloaded chain."""
        return {
            "bending": self.steel.fresh((self.n - 2, 1)),
            "ground": self.ground.fresh((self.n, 1)),
        }

    def forces(self, u: Floats, old: dict[str, History]) -> tuple[Floats, Floats, dict[str, History], list[Floats]]:
        """Forces (2n,), stiffness (2n, 2n), new history, and [tension, moment, tau, bearing]."""
        size = self.length[:, None]
        curved = np.stack([np.zeros(self.n - 2), self.bend @ u], axis=-1)[:, None]
        against = np.stack([self.slide @ u, self.part @ u], axis=-1)[:, None]
        stiff = np.full(self.n - 1, MODULUS * self.bar.area)
        b = self.steel.respond(curved, old["bending"], size)
        c = self.ground.respond(against, old["ground"], size)
        force, matrix = np.zeros(2 * self.n), np.zeros((2 * self.n, 2 * self.n))
        found = []
        for rows, weight, stress, slope in (
            (self.stretch, self.link, stiff * (self.stretch @ u), stiff),
            (self.bend, self.half, b.stress[:, 0, 1], b.tangent[:, 0, 1, 1]),
            (self.slide, self.length, c.stress[:, 0, 0], c.tangent[:, 0, 0, 0]),
            (self.part, self.length, c.stress[:, 0, 1], c.tangent[:, 0, 1, 1]),
        ):
            force += rows.T @ (weight * stress)
            matrix += rows.T @ ((weight * slope)[:, None] * rows)
            found.append(stress)
        return force, matrix, {"bending": b.history, "ground": c.history}, found


def pull(bar: HookBar, slips: Sequence[float] | Floats) -> Pull:
    """Pull the lead's start until the tangent point has slipped by each of the rising ``slips`` [mm] in turn.

    Raises :class:`FespliceError` when no equilibrium is found.
    """
    chain = _Chain(bar)
    u, old, at = np.zeros(2 * chain.n), chain.fresh(), 0.0
    found, forces = chain.forces(u, old)[3], []
    for slip in np.asarray(slips, float):
        if slip > at:
            u, old, found = _reach(chain, u, old, at, slip)
            at = slip
        forces.append(float(found[0][chain.first - 1]))  # the lead is not bonded: its last link has the force there
    tension, _, tau, bearing = found
    return Pull(np.asarray(slips, float), np.array(forces), tension, tau, bearing, chain.length, chain.tangent)


def _reach(chain: _Chain, u: Floats, old: dict[str, History], at: float, slip: float, deep: int = 0):
    """Equilibrium at the next slip by Newton's method with shortened steps; by halves where that is too far.

    Given is the tangent point's slip, unknown the pull at the lead's start: one column and one row are dropped.
    """
    hold = 2 * chain.first
    v = u * (slip / at if at > 0.0 else 1.0)
    v[hold] = -slip
    others, rows = np.delete(np.arange(len(v)), hold), np.arange(1, len(v))
    force, matrix, new, found = chain.forces(v, old)
    for _ in range(40):
        miss = float(np.abs(force[rows]).max())
        if miss < 1e-6 * (chain.bar.area + abs(force[0])):
            return v, new, found
        try:
            move = np.linalg.solve(matrix[np.ix_(rows, others)], -force[rows])
        except np.linalg.LinAlgError:
            break
        before, start = float(np.linalg.norm(force[rows])), v[others]
        for share in 0.5 ** np.arange(7):  # kinks of the laws send a full step astray
            v[others] = start + share * move
            force, matrix, new, found = chain.forces(v, old)
            if float(np.linalg.norm(force[rows])) < (1.0 - 0.1 * share) * before:
                break
    if deep >= 8:
        raise FespliceError(f"the hook finds no equilibrium at a slip of {slip:.4g} mm")
    middle = 0.5 * (at + slip)
    u, old, _ = _reach(chain, u, old, at, middle, deep + 1)
    return _reach(chain, u, old, middle, slip, deep + 1)


# ------------------------------------------------------------------ the curve and its law
@dataclass(frozen=True)
class AnchorCurve:
    """Force [N] of one anchor against its slip [mm], straight between the stored points and level beyond the last."""

    slip: tuple[float, ...]
    force: tuple[float, ...]

    def __call__(self, slip: Floats) -> tuple[Floats, Floats]:
        """Force and slope at slips >= 0, of any shape."""
        s, f = np.array([*self.slip, 2.0 * self.slip[-1]]), np.array([*self.force, self.force[-1]])
        k = np.clip(np.searchsorted(s, slip, side="right") - 1, 0, len(s) - 2)
        slope = np.where(slip >= self.slip[-1], 0.0, (np.diff(f) / np.diff(s))[k])
        return f[k] + slope * (slip - s[k]), slope

    @property
    def stiffness(self) -> float:
        """Initial slope [N/mm]: also that of unloading."""
        return (self.force[1] - self.force[0]) / (self.slip[1] - self.slip[0])


@lru_cache(maxsize=256)
def end_anchor(
    diameter: float,
    bend_diameter: float,
    tail: float,
    angle: float,
    f_cm: float,
    condition: str,
    area: float,
    steel_yield: float,
    bearing: float = 0.8,
    support: BarSupport | None = None,
) -> AnchorCurve:
    """Curve of one hook from slip 0 to a third of its diameter; arguments as in :class:`HookBar`.

    Kept per bar and concrete. Raises :class:`FespliceError` when the chain finds no equilibrium.
    """
    bar = HookBar(
        diameter,
        bend_diameter,
        tail,
        angle,
        f_cm,
        condition,
        area,
        steel_yield,
        bearing,
        support=support,
    )
    found = pull(bar, np.concatenate([[0.0], np.geomspace(0.002, FARTHEST * diameter, 48)]))
    return AnchorCurve(tuple(map(float, found.slip)), tuple(map(float, found.force)))


@dataclass(frozen=True)
class EndAnchor:
    """Force [N] of ``number`` anchors (scalar or per element) from their slip [mm], pulled or pushed alike.

    Follows the curve over the largest slip so far; unloading and reloading with the initial stiffness.
    History: ``slip`` (.., 2) = plastic slip and largest |slip|.
    """

    curve: AnchorCurve
    number: float | Floats = 1.0
    n_strain: int = 1

    def fresh(self, shape: tuple[int, int]) -> dict[str, Floats]:
        """Unslipped anchor."""
        return {"slip": np.zeros((*shape, 2))}

    def respond(self, strain: Floats, history: History, size: Floats, *, secant: float = 0.0) -> Response:
        """Force for slip (n_e, n_q, 1)."""
        slip, k = strain[..., 0], self.curve.stiffness
        plastic, seen = history["slip"][..., 0], history["slip"][..., 1]
        reached = np.maximum(seen, np.abs(slip))
        cap, slope = self.curve(reached)
        trial = k * (slip - plastic)
        slides = np.abs(trial) > cap
        force = np.where(slides, np.sign(trial) * cap, trial)
        # moving at the cap without a new largest slip costs nothing more: a small slope keeps it regular
        d = np.where(slides, np.where(np.abs(slip) >= seen, np.maximum(slope, -0.9 * k), 1e-4 * k), k)
        if secant > 0.0:
            big = np.abs(slip) > 1e-9
            ratio = np.where(big, np.abs(force) / np.where(big, np.abs(slip), 1.0), k)
            d = (1.0 - secant) * d + secant * np.clip(ratio, 1e-4 * k, k)
        count = np.reshape(self.number, (-1, 1))
        new = {"slip": np.stack([np.where(slides, slip - force / k, plastic), reached], axis=-1)}
        return Response((count * force)[..., None], (count * d)[..., None, None], new)
