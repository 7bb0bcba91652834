"""Cases of scripts/wedging and what is read from their runs: the crack along the bars, the cover, the legs."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from validation.record import ROOT

from fesplice import Run, read
from fesplice.contracts import Floats, Outcome
from fesplice.elements.membrane import quad_shape
from fesplice.mesh import Mesh
from fesplice.model.width import GAUGE
from fesplice.pipeline import manifest
from fesplice.post.concrete import FLAT, VISIBLE
from fesplice.post.elevation.findings import ElevationFindings, elevation_findings
from fesplice.post.elevation.interface import InterfaceTrace
from fesplice.post.elevation.layout import layout
from fesplice.post.elevation.trace import trace
from fesplice.post.points import Fields, cross
from fesplice.specimen import Specimen, read_text, vary_many

MODELS = {"U": "as29-100-u", "S3": "as29-100-s3"}
SIZES, MIDDLE = (21.5, 18.0, 14.0), 18.0  # elements in the splice [mm]: 0.75, 0.63 and 0.49 bar diameters
BETWEEN = (16.0, 12.0)  # more sizes, for short runs at a quarter of the step
LOOK = 400.0  # bar stress [MPa] at which the pictures are compared
FALL = 0.05  # a smaller fall than a drop, but one that shows in a test
LIFTED = 1.0  # the cover has come off where it has moved by so much [mm]; judgement, twenty times what the eye sees
END = 5.0  # deflection [mm] of short runs
EVERY = 5.0  # distance of readings along the lap [mm]


@dataclass(frozen=True)
class Case:
    """One run: specimen by its short name, bond, element size in the splice [mm], step over the usual one.

    A short run is no longer than the deflection ``end`` [mm].
    """

    model: str
    splitting: str = "wedging"
    size: float = MIDDLE
    step: float = 1.0
    end: float | None = None

    @property
    def name(self) -> str:
        """Of its folder."""
        step = "" if self.step == 1.0 else f"-step{self.step:g}"
        return f"{self.model}-{self.splitting}-{self.size:g}{step}" + ("" if self.end is None else f"-to{self.end:g}")

    @property
    def meshed(self) -> bool:
        """True for the rows that the comparison of meshes is made of."""
        return self.splitting == "wedging" and self.step == 1.0

    def specimen(self) -> Specimen:
        """The specimen with what this case changes."""
        s = read(ROOT / "models" / f"{MODELS[self.model]}.toml")
        changes = {"bond.splitting": self.splitting, "mesh.splice": f"{self.size:g} mm"}
        if self.step != 1.0:
            usual = float(manifest.settings(s)["expected_deflection_mm"]) / manifest.STEPS_TO_PEAK
            changes |= {"analysis.step": f"{self.step * usual:.6g} mm",
                        "analysis.max_steps": round(s.analysis.max_steps / self.step)}  # fmt: skip
        if self.end is not None:
            changes["analysis.end_deflection"] = f"{self.end:g} mm"
        return vary_many(s, changes)


def cases() -> list[Case]:
    """All rows of the page but the short runs."""
    found = []
    for model in MODELS:
        found += [Case(model, size=size) for size in SIZES]
        found += [Case(model, step=0.5), Case(model, "branch")]
    return found


def short() -> list[Case]:
    """Runs to where the lead of the unconfined specimen has split, with ever smaller steps."""
    meshes = [(step, size) for step in (0.5, 0.25, 0.125) for size in SIZES] + [(0.25, size) for size in BETWEEN]
    return [Case("U", size=size, step=step, end=END) for step, size in meshes]


# ------------------------------------------------------------------ reading
class Level:
    """A height of the closure at which the vertical movement of its concrete is read, at places ``x`` (n,) [mm]."""

    def __init__(self, mesh: Mesh, y: float, x: Floats):
        line = cross(mesh, (float(x[0]), y), (float(x[-1]), y), ("closure",))
        self.x, self._at = x, line.start[0] + line.span.ravel()
        self._shape, self._nodes = quad_shape(line.local)[0], mesh.groups["closure"].cells[line.element]

    def rise(self, u: Floats) -> Floats:
        """Vertical displacement (n,) [mm], up positive, from all unknowns ``u``."""
        nodal = np.asarray(u, float)[2 * self._nodes + 1]
        return np.interp(self.x, self._at, np.einsum("mpk,mk->mp", self._shape, nodal).ravel())


class Cover:
    """The cover along the lap: how far it has moved off the concrete above the bars."""

    def __init__(self, mesh: Mesh, lap: float):
        anchor = next(iter(layout(mesh).anchors.values()))
        x = np.arange(-0.5 * lap, 0.5 * lap + 1e-6, EVERY)
        self._upper = Level(mesh, anchor.level + GAUGE * anchor.diameter, x)
        self._lower = Level(mesh, layout(mesh).y[0], x)

    def lift(self, u: Floats) -> Floats:
        """Along the lap (n,) [mm], away from the beam positive."""
        return self._upper.rise(u) - self._lower.rise(u)


class Along:
    """Cracks along the bars, over all rows of elements from the soffit to the level above the bars."""

    def __init__(self, mesh: Mesh, lap: float):
        anchor = next(iter(layout(mesh).anchors.values()))
        self.x = np.arange(-0.5 * lap, 0.5 * lap + 1e-6, EVERY)
        middle = mesh.points[mesh.groups["closure"].cells].mean(axis=1)
        rows = np.unique(middle[np.abs(middle[:, 0]) <= 0.5 * lap, 1].round(3))
        below = rows[rows < anchor.level + GAUGE * anchor.diameter]
        ends = float(self.x[0]), float(self.x[-1])
        self.rows = tuple(cross(mesh, (ends[0], y), (ends[1], y), ("closure",)) for y in below)
        if any(abs(row.length.sum() - lap) > 1.0 for row in self.rows):
            raise ValueError("the elements at bar level are not in rows: cracks along the bars cannot be added up")

    def width(self, fields: Fields) -> Floats:
        """Sum over the rows (n,) [mm] of the widths of cracks at most ``FLAT`` degrees from the bars."""
        total = np.zeros(len(self.x))
        for row in self.rows:
            strain, normal, band = row.means(fields, "crack").T
            flat = np.abs(np.sin(normal)) >= np.cos(np.radians(FLAT))
            width = np.where(flat, np.maximum(strain, 0.0) * band, 0.0)
            # one value per element: the one that holds the place
            held = np.searchsorted(row.start[0] + row.span[:, 1], self.x, side="left")
            total += width[np.minimum(held, len(width) - 1)]
        return total


@dataclass(frozen=True)
class Look:
    """What the closure looks like at one step; N, mm, MPa. Along the lap only.

    ``crack`` widest and ``crack_length`` over which it is at least visible, ``lift`` largest and mean of the cover,
    ``legs`` largest stress of vertical legs that cross the plane over the bars (nan without).
    """

    step: int
    deflection: float
    bar_stress: float
    crack: float
    crack_length: float
    lift: float
    mean_lift: float
    legs: float


def look(run: Run, plane: InterfaceTrace, row: int, crack: Floats, lift: Floats) -> Look:
    """The look at row ``row`` of the curve, with ``crack`` and ``lift`` (n,) [mm] every ``EVERY`` along the lap."""
    return Look(
        step=int(run.indices[row]),
        deflection=float(run.curve["deflection_mm"][row]),
        bar_stress=float(plane.bar_stress[row]),
        crack=float(crack.max()),
        crack_length=EVERY * float((0.5 * (crack[1:] + crack[:-1]) >= VISIBLE).sum()),
        lift=float(lift.max()),
        mean_lift=float(lift.mean()),
        legs=float(plane.leg_stress[row].max()) if len(plane.leg_x) else math.nan,
    )


@dataclass(frozen=True)
class Found:
    """Findings of one case; stresses at the joint face [MPa].

    ``lost`` before half of a lead had passed its bond peak, ``fell`` before the first fall by ``FALL``, ``lifted``
    before the cover had moved off by ``LIFTED``, ``first`` the strength (a lower bound when
    ``dropped`` is False), ``largest``; ``soft`` deflection [mm] at which the bars first carry ``LOOK``; nan where it
    did not happen. ``depth`` of the fall after ``fell``, as share of the load before it.
    ``looks`` by stage: "lost" is the step after the bond is lost.
    """

    case: Case
    lost: float
    fell: float
    lifted: float
    first: float
    largest: float
    soft: float
    dropped: bool
    ending: str
    failure: str
    looks: dict[str, Look]
    steps: int
    loose: int
    relaxed: int
    failed: int
    seconds: float
    depth: float


def found(case: Case, run: Run) -> Found:
    """Read a run."""
    seen = trace(run)
    summary, plane = elevation_findings(run, seen), seen.interface
    curve, attempts, n = run.curve, run.attempts, len(seen.snapshots)
    deflection, load, stress = seen.deflection, seen.load, seen.bar_stress
    lap = float(read_text(run.specimen_text, str(run.folder)).bars.lap)
    cover, along = Cover(run.mesh, lap), Along(run.mesh, lap)
    lift = np.array([cover.lift(step.u) for step in run.steps()])
    highest = np.maximum.accumulate(stress)
    stages = {"strength": summary.strength.row}
    loss = summary.bond_loss
    if math.isfinite(loss.load):
        stages["lost"] = min(int(np.argmin(np.abs(deflection - loss.deflection))) + 1, n - 1)
    if (reached := np.flatnonzero(stress >= LOOK)).size:
        stages["look"] = int(reached[0])
    fall = first_fall(load, _opened(summary, run))
    off = np.flatnonzero(lift.max(axis=1) > LIFTED)
    outcome = np.array([str(o) for o in curve["outcome"]])
    tried = [(str(method), str(o)) for method, o in zip(attempts["method"], attempts["outcome"])]
    return Found(
        case=case,
        lost=loss.bar_stress,
        fell=math.nan if fall is None else float(stress[fall]),
        lifted=float(highest[max(off[0] - 1, 0)]) if off.size else math.nan,
        first=float(stress[summary.strength.row]),
        largest=float(stress.max()),
        soft=first_reach(deflection, stress, LOOK),
        dropped=summary.strength.exact,
        ending=run.outcome.value,
        failure=summary.assessment.failure,
        looks={
            name: look(run, plane, row, along.width(run.step(run.indices[row]).fields), lift[row])
            for name, row in stages.items()
        },
        steps=run.n_steps,
        loose=int(np.isin(outcome, list(Outcome.unconverged.spellings)).sum()),
        relaxed=int((outcome == "relaxed").sum()),
        failed=sum(method == "newton" and o != "converged" for method, o in tried),
        seconds=_seconds(attempts),
        depth=math.nan if fall is None else fall_depth(load, fall),
    )


def _seconds(attempts: Mapping[str, np.ndarray]) -> float:
    """Of the clock: every try of a step counts from the step's beginning."""
    last: dict[int, float] = {}
    for step, seconds in zip(attempts["step"], attempts["seconds"]):
        last[int(step)] = max(last.get(int(step), 0.0), float(seconds))
    return sum(last.values())


def first_reach(deflection: Floats, stress: Floats, goal: float) -> float:
    """Deflection at which ``stress`` first reaches ``goal``, between two steps in proportion; nan if it never does."""
    reached = np.flatnonzero(stress >= goal)
    if not reached.size or reached[0] == 0:
        return math.nan
    k = int(reached[0])
    return float(np.interp(goal, stress[k - 1 : k + 1], deflection[k - 1 : k + 1]))


def first_fall(load: Floats, start: int, share: float = FALL) -> int | None:
    """Row of the largest load before the first fall by ``share`` of it, from row ``start`` on; None without one."""
    best = np.maximum.accumulate(load[start:])
    low = np.flatnonzero((load[start:] <= (1.0 - share) * best) & (best > 0.0))
    return None if not low.size else start + int(np.argmax(load[start:] == best[low[0]]))


def fall_depth(load: Floats, row: int) -> float:
    """How far the load falls after ``row`` before it rises again, as share of the load there."""
    low = row + 1
    while low + 1 < len(load) and load[low + 1] < load[low]:
        low += 1
    return float(1.0 - load[low] / load[row])


def _opened(summary: ElevationFindings, run: Run) -> int:
    """Row at which cracks are visible: falls until then belong to first cracking."""
    step = summary.cracking.visible_step
    return run.indices.index(step) if step >= 0 else 0
