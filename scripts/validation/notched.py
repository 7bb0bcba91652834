"""Notched beams under three-point bending: mesh, supports, march by the crack mouth, energy of the crack."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.interpolate import LinearNDInterpolator

from fesplice import solve
from fesplice.contracts import Floats, Law, NotConverged, State, Step
from fesplice.laws import SmearedCrack
from fesplice.model.assembly import Model
from fesplice.solve import Adaptive, Displacement, Stop, Tolerances
from validation import shapes
from validation.tally import Tally
from validation.uniform import Uniform


@dataclass(frozen=True)
class Beam:
    """Span and body [mm], notch from the soffit at midspan, clip ``gauge`` from edge to edge of the mouth [mm]."""

    depth: float
    width: float
    span: float
    length: float
    notch: float
    gauge: float = 0.0

    @property
    def ligament(self) -> float:
        """Depth above the notch [mm]."""
        return self.depth - self.notch


@dataclass(frozen=True)
class Fineness:
    """How to mesh: ``size`` [mm] at the crack, quads or triangles, grid or free."""

    size: float
    kind: str = "quad4"
    free: bool = False


def body(beam: Beam, fineness: Fineness, slit: float) -> shapes.Shape:
    """The beam with a notch ``slit`` wide; the grid has one column of elements above it."""
    half, d, a, h = 0.5 * beam.length, beam.depth, beam.notch, fineness.size
    reach, coarse = 0.2 * d, max(h, 0.3 * d)
    if fineness.free:
        s, r = 0.5 * slit, 0.5 * beam.span
        outline = [
            (-half, 0.0), (-r, 0.0), (-s, 0.0), (-s, a), (s, a), (s, 0.0), (r, 0.0), (half, 0.0), (half, d), (0.0, d),
            (-half, d),
        ]  # fmt: skip
        fine = [((-reach, reach), (a - 4.0 * h, d))]
        return shapes.free({"beam": outline}, fine, h, coarse, fineness.kind)
    stops = [-half, -0.5 * beam.span, -0.5 * slit, 0.5 * slit, 0.5 * beam.span, half]
    x = shapes.ticks([s for k, s in enumerate(stops) if k == 0 or s > stops[k - 1]], (-reach, reach), h, coarse)
    below, above = max(1, round(a / h)), max(2, round(beam.ligament / h))
    y = np.concatenate([np.linspace(0.0, a, below + 1)[:-1], np.linspace(a, d, above + 1)])
    parts = {"beam": [((-half, half), (a, d)), ((-half, -0.5 * slit), (0.0, a)), ((0.5 * slit, half), (0.0, a))]}
    return shapes.grid(x, y, parts, fineness.kind)


def model(beam: Beam, law: Law, shape: shapes.Shape, slit: float) -> Model:
    """Supports at the span, unit load on top at midspan; read-outs ``mouth`` (opening) and ``work`` (deflection)."""
    mesh = shape.mesh(beam.width)
    n = 2 * len(shape.points)
    left, right = shape.at(-0.5 * beam.span, 0.0), shape.at(0.5 * beam.span, 0.0)
    top = shape.on((-0.51 * slit, 0.51 * slit), (beam.depth, beam.depth))
    f = np.zeros(n)
    f[2 * top + 1] = -1.0 / len(top)
    reach = 0.5 * max(slit, beam.gauge)
    minus, plus = shape.at(-reach, 0.0), shape.at(reach, 0.0)
    mouth = np.zeros(n)
    mouth[2 * plus], mouth[2 * minus] = 1.0, -1.0
    fixed = np.array([2 * left, 2 * left + 1, 2 * right + 1])
    return Model(mesh, dict.fromkeys(mesh.groups, law), fixed, f, watch={"mouth": mouth, "work": f})


@dataclass(frozen=True)
class March:
    """What a march found, per step: held read-out [mm], load [N], work-conjugate displacement [mm]."""

    held: Floats
    load: Floats
    moved: Floats
    last: Step
    tally: Tally
    ending: str

    @property
    def peak(self) -> float:
        """Largest load [N]."""
        return float(self.load.max())

    @property
    def dissipated(self) -> float:
        """Work less what secant unloading gives back [N mm]."""
        return float(np.trapezoid(self.load, self.moved)) - 0.5 * float(self.load[-1] * self.moved[-1])


def follow(m: Model | Uniform, hold: str, size: float, *, down_to: float, end: float, steps: int = 800) -> March:
    """March on read-out ``hold`` by steps ``size`` [mm] to ``down_to`` of the peak; longer ones far past it."""
    tally = Tally()
    stepper = Adaptive(size, largest=1.0, smallest=1.0 / 16.0)
    march = solve.March(
        m,
        Displacement(m.restrict(m.watch[hold])),
        stepper,
        State(np.zeros(m.n_free), 0.0, m.fresh()),
        tolerances=Tolerances.strict(),
        stop=Stop(drop=1.0 - down_to, end=end, steps=steps),
        report=tally,
    )
    rows, last, ending = [], None, ""
    try:
        for step in march:
            tally.step(step)
            u, load = step.state.u, step.state.load
            rows.append((m.read(hold, u), load, m.read("work", u)))
            last = step
            stepper.largest = 1.0 if load > 0.7 * march.peak else 4.0 if load > 0.3 * march.peak else 20.0
    except NotConverged as fault:
        if last is None:
            raise
        ending = str(fault)
    assert last is not None
    held, load, moved = np.array(rows).T
    return March(held, load, moved, last, tally, ending or march.outcome.value)


def opened(m: Model, shape: shapes.Shape, u: Floats, beam: Beam, law: SmearedCrack) -> tuple[float, Floats, Floats]:
    """Energy that a cohesive crack opened as far as the ligament is would have used [N mm]; levels, openings."""
    reach = 0.2 * beam.depth
    across = LinearNDInterpolator(shape.points, m.expand(u)[0::2])
    y = np.linspace(beam.notch, beam.depth, 202)[1:-1]
    w = np.maximum(across(np.full(len(y), reach), y) - across(np.full(len(y), -reach), y), 0.0)
    return beam.width * float(np.trapezoid(energy(law, w), y)) * beam.ligament / (y[-1] - y[0]), y, w


def energy(law: SmearedCrack, w: Floats) -> Floats:
    """Dissipated per area at opening ``w`` with unloading to the origin, by the Hordijk curve [N/mm]."""
    end = 5.136 * law.fracture_energy / law.tensile_strength
    x = np.linspace(0.0, 1.0, 2001)
    s = law.tensile_strength * ((1 + (3 * x) ** 3) * np.exp(-6.93 * x) - x * 28 * np.exp(-6.93))
    area = np.concatenate([[0.0], np.cumsum(0.5 * (s[1:] + s[:-1]) * np.diff(x))]) * end
    r = np.minimum(w / end, 1.0)
    return np.interp(r, x, area) - 0.5 * np.interp(r, x, s) * r * end
