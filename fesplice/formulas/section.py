"""A section in bending by fibres: cracked elastic, moment-curvature, nominal and maximum moment.

Units N, mm, MPa. Depths are measured from the compression face; strain is tension positive, so the
curvature [1/mm] opens the far face; moments [N mm] are about mid-depth, an axial force [N] is tension
positive and acts there. Concrete carries no tension. Plane sections, perfect bond.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike

from fesplice.contracts import Fault, Floats, InputFault

Curve = Callable[[Floats], Floats]
N_FIBRES = 400


# ------------------------------------------------------------------ curves
def parabola(fc: float, peak_strain: float = 0.002, crushing: float = 0.0035) -> Curve:
    """Parabola to ``fc`` [MPa] at ``peak_strain``, then constant to ``crushing``, then nothing (strains as sizes)."""

    def curve(e: Floats) -> Floats:
        size = np.maximum(-e, 0.0)
        ratio = np.minimum(size / peak_strain, 1.0)
        return np.where(size <= crushing * (1 + 1e-9), -fc * (2.0 * ratio - ratio * ratio), 0.0)

    return curve


# ------------------------------------------------------------------ the section
@dataclass(frozen=True)
class Layer:
    """Bars of one level: ``depth`` [mm] from the compression face, whole ``area`` [mm2], ``curve`` of the steel."""

    depth: float
    area: float
    curve: Curve
    modulus: float = 200e3


@dataclass(frozen=True)
class Section:
    """Concrete as strips (width, top, bottom) [mm] from the compression face, and layers of bars."""

    strips: tuple[tuple[float, float, float], ...]
    layers: tuple[Layer, ...]
    _fibres: tuple[Floats, Floats] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        faults = [
            Fault(f"strips[{i}]", strip, "width above zero, bottom below top")
            for i, strip in enumerate(self.strips)
            if not (strip[0] > 0.0 and 0.0 <= strip[1] < strip[2])
        ]
        faults += [
            Fault(f"layers[{i}]", layer.depth, "depth within the section, area above zero")
            for i, layer in enumerate(self.layers)
            if not (0.0 < layer.depth and layer.area > 0.0)
        ]
        if faults or not self.strips or not self.layers:
            raise InputFault("section", faults or "needs at least one strip and one layer of bars")
        depth = self.depth
        y: list[Floats] = []
        a: list[Floats] = []
        for width, top, bottom in self.strips:
            n = max(20, round(N_FIBRES * (bottom - top) / depth))
            edges = np.linspace(top, bottom, n + 1)
            y.append(0.5 * (edges[1:] + edges[:-1]))
            a.append(width * np.diff(edges))
        object.__setattr__(self, "_fibres", (np.concatenate(y), np.concatenate(a)))

    @classmethod
    def rectangle(cls, width: float, depth: float, *layers: Layer) -> Section:
        """One strip of ``width`` and ``depth`` [mm]."""
        return cls(((width, 0.0, depth),), layers)

    @property
    def depth(self) -> float:
        """Overall depth [mm]."""
        return max(bottom for _, _, bottom in self.strips)

    @property
    def tension(self) -> Layer:
        """The layer farthest from the compression face."""
        return max(self.layers, key=lambda layer: layer.depth)

    def forces(self, top: ArrayLike, curvature: float, concrete: Curve) -> tuple[Floats, Floats]:
        """Axial force [N] and moment about mid-depth [N mm] for strains ``top`` (n,) at the compression face."""
        y, a = self._fibres
        face = np.atleast_1d(np.asarray(top, dtype=np.float64))[:, None]
        half = 0.5 * self.depth
        f = concrete(face + curvature * y) * a
        force, moment = f.sum(axis=1), f @ (y - half)
        for layer in self.layers:
            bars = layer.curve(face[:, 0] + curvature * layer.depth) * layer.area
            force, moment = force + bars, moment + bars * (layer.depth - half)
        return force, moment


# ------------------------------------------------------------------ cracked elastic
@dataclass(frozen=True)
class Cracked:
    """Cracked elastic section: neutral axis x [mm], inertia [mm4] in concrete, modular ratio n."""

    x: float
    inertia: float
    n: float

    def stress(self, moment: float, depth: float) -> float:
        """Bar stress [MPa] at ``depth`` under a moment [N mm]."""
        return self.n * moment * (depth - self.x) / self.inertia

    def moment(self, stress: float, depth: float) -> float:
        """Moment [N mm] at which the bar at ``depth`` has ``stress`` [MPa]."""
        return stress * self.inertia / (self.n * (depth - self.x))


def singly_reinforced(width: float, depth: float, area: float, n: float) -> Cracked:
    """:func:`cracked` of a rectangle with one layer of bars in closed form (textbook).

    Bars of ``area`` [mm2] at ``depth`` [mm], ``n`` modular ratio; x = k d with k = sqrt(2 rho n + (rho n)^2) - rho n.
    """
    rho_n = n * area / (width * depth)
    k = math.sqrt(2 * rho_n + rho_n**2) - rho_n
    x = k * depth
    return Cracked(x, width * x**3 / 3 + n * area * (depth - x) ** 2, n)


def cracked(section: Section, modulus: float) -> Cracked:
    """Cracked elastic properties for a concrete ``modulus`` E_c [MPa], without axial force.

    The bars count n A_s, displaced concrete is not deducted, as in the usual formulas.
    """
    n = section.tension.modulus / modulus

    def first_moment(x: float) -> float:
        strips = sum(
            0.5 * w * ((x - top) ** 2 - max(0.0, x - bottom) ** 2) for w, top, bottom in section.strips if x > top
        )
        return strips + sum(la.modulus / modulus * la.area * (x - la.depth) for la in section.layers)

    x = _root(first_moment, 0.0, section.depth)
    inertia = sum(
        w * ((x - top) ** 3 - max(0.0, x - bottom) ** 3) / 3.0 for w, top, bottom in section.strips if x > top
    )
    inertia += sum(la.modulus / modulus * la.area * (la.depth - x) ** 2 for la in section.layers)
    return Cracked(x, inertia, n)


def _root(f: Callable[[float], float], low: float, high: float) -> float:
    """Zero of a rising function by halving."""
    for _ in range(100):
        middle = 0.5 * (low + high)
        if abs(high - low) <= 1e-13 * abs(middle):
            break
        if f(middle) > 0.0:
            high = middle
        else:
            low = middle
    return 0.5 * (low + high)


def _crossing(f: Callable[[float], float], x: tuple[float, float], y: tuple[float, float]) -> float:
    """Zero of a rising function between two ``x`` with values ``y`` of either sign: chords, held back from sticking."""
    (low, high), (below, above) = x, y
    for _ in range(100):
        at = high - above * (high - low) / (above - below) if above != below else 0.5 * (low + high)
        value = f(at)
        if value == 0.0 or abs(high - low) <= 1e-13 * abs(at):
            return at
        if value > 0.0:
            # an end that stays put too long lets the chord creep: its value is halved (Illinois)
            high, above, below = at, value, 0.5 * below
        else:
            low, below, above = at, value, 0.5 * above
        if abs(value) < 1e-7 * (abs(y[0]) + abs(y[1])):
            return at
    return _root(f, *x)


# ------------------------------------------------------------------ moment-curvature
@dataclass(frozen=True)
class MomentCurvature:
    """Answer to a row of curvatures: arrays (n,) of curvature [1/mm], moment [N mm], neutral axis [mm], strains.

    ``top`` is the strain at the compression face (compression negative), ``steel`` (n,) the strain and ``stress``
    (n,) the stress [MPa] of the layer farthest from it.
    """

    curvature: Floats
    moment: Floats
    x: Floats
    top: Floats
    steel: Floats
    stress: Floats

    @property
    def peak(self) -> int:
        """Index of the largest moment."""
        return int(np.argmax(self.moment))

    def stress_at(self, moment: float) -> float:
        """Bar stress [MPa] on the way to the peak at ``moment`` [N mm]; InputFault above the peak."""
        rise = slice(0, self.peak + 1)
        if moment > self.moment[self.peak]:
            raise InputFault("bar stress", [Fault("moment", moment, f"at most {self.moment[self.peak]:.4g} N mm")])
        return float(np.interp(moment, np.maximum.accumulate(self.moment[rise]), self.stress[rise]))


def bend(section: Section, curvature: float, concrete: Curve, axial: float = 0.0) -> float:
    """Strain at the compression face that balances ``axial`` [N] at ``curvature`` [1/mm].

    The balance with the axis nearest to the compression face is taken. InputFault where there is none:
    the section is crushed or torn.
    """
    tries = -curvature * section.depth * np.linspace(0.0, 1.6, 81)
    sums = section.forces(tries, curvature, concrete)[0] - axial
    crossings = np.flatnonzero((sums[:-1] >= 0.0) & (sums[1:] < 0.0))
    if crossings.size:
        k = int(crossings[0])
        ends = (float(tries[k + 1]), float(tries[k])), (float(sums[k + 1]), float(sums[k]))
        return _crossing(lambda top: float(section.forces(top, curvature, concrete)[0][0]) - axial, *ends)
    raise InputFault(
        "section", [Fault("curvature", curvature, "no balance of forces: crushed, torn or all in tension")]
    )


def moment_curvature(
    section: Section, concrete: Curve, curvatures: Floats | None = None, axial: float = 0.0
) -> MomentCurvature:
    """Moment, neutral axis and strains for ``curvatures`` [1/mm]; the row ends where there is no balance left.

    Left out: 240 curvatures up to the tearing of the outer bars or 0.08/d.
    """
    d = section.tension.depth
    row = 0.08 / d * np.linspace(1 / 240, 1.0, 240) ** 2 if curvatures is None else np.asarray(curvatures, dtype=float)
    out: list[tuple[float, ...]] = []
    for k in row:
        try:
            top = bend(section, float(k), concrete, axial)
        except InputFault:
            break
        e = top + k * d
        stress = float(section.tension.curve(np.array([e]))[0])
        out.append((k, float(section.forces(top, float(k), concrete)[1][0]), -top / k, top, e, stress))
    if not out:
        raise InputFault("section", "no curvature of the row can be balanced")
    return MomentCurvature(*np.array(out).T)


# ------------------------------------------------------------------ nominal and largest moment
@dataclass(frozen=True)
class Nominal:
    """Strength by a stress block: axis c and block a [mm], moment [N mm], bar strain, curvature [1/mm]."""

    c: float
    a: float
    moment: float
    strain: float
    curvature: float


def nominal(
    section: Section,
    fc: float,
    beta: float,
    *,
    alpha: float = 0.85,
    crushing: float = 0.003,
    axial: float = 0.0,
    net: bool = False,
) -> Nominal:
    """Moment at the strain ``crushing`` of the face, block of alpha fc over beta c (ACI 318-19 22.2: 0.85, 0.003).

    ``axial`` [N] tension positive at mid-depth; ``net`` deducts the concrete displaced by bars inside the block.
    """
    half = 0.5 * section.depth

    def forces(c: float) -> tuple[float, float]:
        a = beta * c
        force = moment = 0.0
        for w, top, bottom in section.strips:
            end = min(a, bottom)
            if end > top:
                f = alpha * fc * w * (end - top)
                force -= f
                moment += f * (half - 0.5 * (end + top))
        for la in section.layers:
            stress = float(la.curve(np.array([crushing * (la.depth - c) / c]))[0])
            stress += alpha * fc if net and la.depth < a else 0.0
            force += stress * la.area
            moment += stress * la.area * (la.depth - half)
        return force, moment

    # A deeper axis always means more compression, so the force falls with c.
    c = _root(lambda x: axial - forces(x)[0], 1e-6 * section.depth, 50.0 * section.depth)
    return Nominal(c, beta * c, forces(c)[1], crushing * (section.tension.depth - c) / c, crushing / c)


# ------------------------------------------------------------------ bar stress from moment
@dataclass(frozen=True)
class BarStress:
    """Stress of the outer bars three ways [MPa]; ``gauge`` is NaN without gauges; ``flag`` tells what disagrees."""

    elastic: float
    fibre: float
    gauge: float
    spread: float
    flag: str


def bar_stress(
    section: Section, moment: float, *, modulus: float, concrete: Curve, gauges: Sequence[float] = ()
) -> BarStress:
    """Bar stress at ``moment`` [N mm]: cracked elastic lever arm, moment-curvature, mean of gauge strains.

    ``modulus`` E_c [MPa]; ``gauges`` strains of the outer bars. ``spread`` is the largest difference over the
    fibre value; above 5 % it is flagged.
    """
    if not (math.isfinite(moment) and moment > 0.0):
        raise InputFault("bar stress", [Fault("moment", moment, "must be above zero")])
    elastic = cracked(section, modulus).stress(moment, section.tension.depth)
    fibre = moment_curvature(section, concrete).stress_at(moment)
    gauge = float(section.tension.curve(np.array([float(np.mean(gauges))]))[0]) if len(gauges) else math.nan
    ways = [w for w in (elastic, fibre, gauge) if not math.isnan(w)]
    spread = (max(ways) - min(ways)) / fibre
    names = "elastic and fibre values" if math.isnan(gauge) else "elastic, fibre and gauge values"
    flag = f"{names} differ by {100 * spread:.0f} %" if spread > 0.05 else ""
    return BarStress(elastic, fibre, gauge, spread, flag)


def moment_at(
    x: float,
    ram: float,
    *,
    span: float,
    shear_span: float,
    overhang: float = 0.0,
    weight: float = 0.0,
    gear: float = 0.0,
    tension_face: str = "down",
) -> float:
    """Moment [N mm] at ``x`` [mm] from midspan of a beam with two rams and its own weight.

    ``ram`` and ``gear`` (loading gear not weighed by the cell) are forces of one ram [N], ``weight`` [N/mm] of the
    beam; tension face "down": rams push down and weights add; "up": rams push up, weights are deducted.
    """
    if tension_face not in ("down", "up"):
        raise InputFault("moment", [Fault("tension_face", tension_face, 'allowed: "down" or "up"')])
    if not 0.0 <= abs(x) <= 0.5 * span:
        raise InputFault("moment", [Fault("x", x, "must lie between the supports")])
    sign = 1.0 if tension_face == "down" else -1.0
    to_support = 0.5 * span - abs(x)
    own = weight * ((0.5 * span + overhang) * to_support - 0.5 * (to_support + overhang) ** 2)
    return (ram + sign * gear) * min(to_support, shear_span) + sign * own
