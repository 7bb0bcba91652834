"""What a test of the predicted specimen would show: readings at the predicted load, cracks at service, order of events.

Both views are read at the bar stress at the joint face that they share; a bar stress is a load per ram of the
elevation. Everything here is read from the traces of the two runs, nothing is judged.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from fesplice.contracts import Floats
from fesplice.post.concrete import HAIRLINE, VISIBLE
from fesplice.post.elevation.findings import elevation_findings, events
from fesplice.post.elevation.gauges import read_gauges
from fesplice.post.elevation.layout import main_lines
from fesplice.post.elevation.trace import ElevationTrace
from fesplice.post.plan.gauges import read_ties
from fesplice.post.runs import load_at, specimen_of
from fesplice.post.values import Known

if TYPE_CHECKING:
    from fesplice.post.plan.trace import PlanTrace
    from fesplice.store.run import Run

#: Share of the predicted load at which cracks are told as those in service (common practice, no source).
SERVICE = 0.6
#: Nodes out of balance by more than this share of the loads at a step that decides are warned of (judgement).
OUT_OF_BALANCE = 0.05


@dataclass(frozen=True)
class GaugeReading:
    """What one instrument reads at the predicted load, from zero under own weight; ``value`` in ``unit``."""

    name: str
    place: str
    value: Known
    unit: str


@dataclass(frozen=True)
class CrackSeen:
    """The widest crack of one kind at a load: ``width`` at (x, y) [mm] of ``view``."""

    view: str
    what: str
    width: Known
    x: Known
    y: Known

    @property
    def text(self) -> str:
        """``elevation, inclined 0.69 mm (x = 154, y = 55 mm)``."""
        where = f" (x = {self.x:.0f}, y = {self.y:.0f} mm)" if math.isfinite(self.x) else ""
        return f"{self.view}, {self.what} {self.width:.2f} mm{where}"


@dataclass(frozen=True)
class Happening:
    """The first sight of something in ``view``: load per ram [N], bar stress at the joint face [MPa], place [mm]."""

    view: str
    what: str
    load: Known
    bar_stress: Known
    x: Known = math.nan
    y: Known = math.nan

    @property
    def text(self) -> str:
        """``22 kN: a joint is open by 0.05 mm at x = -280, y = 0 mm``."""
        where = f" at x = {self.x:.0f}, y = {self.y:.0f} mm" if math.isfinite(self.x) else ""
        return f"{self.load / 1e3:.0f} kN per ram ({self.bar_stress:.0f} MPa), {self.view}: {self.what}{where}"


@dataclass(frozen=True)
class OutOfBalance:
    """Forces left out of balance at a step that decides, as share of the loads: of all nodes, sum of absolutes."""

    view: str
    step: int
    share: Known
    what: str


@dataclass(frozen=True)
class Expected:
    """What a test would show, at the predicted load per ram ``load`` [N] unless said; lengths [mm].

    ``deflection`` at midspan from zero under own weight, as on the day; ``first_crack`` and ``visible_crack``
    loads per ram [N]; ``service`` the load at which ``cracks`` are told; ``joint_opening`` at the tension face by
    side, ``widest_joint`` over the height (None without joints); ``happenings`` in their order up to the predicted bar
    stress. ``unbalanced``: steps that decide, whatever their balance (see :attr:`warnings`).
    """

    load: float
    deflection: Known
    first_crack: Known
    visible_crack: Known
    joint_opening: dict[str, Known]
    service: float
    cracks: tuple[CrackSeen, ...]
    gauges: tuple[GaugeReading, ...]
    happenings: tuple[Happening, ...]
    unbalanced: tuple[OutOfBalance, ...]
    widest_joint: CrackSeen | None = None

    @property
    def joints(self) -> str:
        """Openings at the tension face; a joint that is closed there and open above is told as such."""
        if not self.joint_opening:
            return ""
        shut = {side for side, v in self.joint_opening.items() if not v >= HAIRLINE}
        told = ", ".join(f"{s} closed" if s in shut else f"{s} {v:.2f} mm" for s, v in self.joint_opening.items())
        text = f"joints open at the tension face by {told}" if not shut else f"joints at the tension face: {told}"
        opened = next((h.load for h in self.happenings if h.what.startswith("a joint is open")), None)
        if shut and opened is not None and opened < self.load:
            text += f" (one was open there from {opened / 1e3:.0f} kN on and has closed again)"
        if (w := self.widest_joint) is not None and w.width >= HAIRLINE and ("left" if w.x < 0.0 else "right") in shut:
            text += f", but open above the face by up to {w.width:.2f} mm (x = {w.x:.0f}, y = {w.y:.0f} mm)"
        return text

    @property
    def sentences(self) -> tuple[str, ...]:
        """All but the gauges in words."""
        at = f"{self.load / 1e3:.0f} kN per ram"
        found = [f"at {at}: midspan deflection {self.deflection:.1f} mm from zero under own weight"]
        if joints := self.joints:
            found[0] += f"; {joints}"
        if math.isfinite(self.first_crack):
            seen = f", visible ({VISIBLE} mm) at {self.visible_crack / 1e3:.0f} kN" if self.visible_crack > 0.0 else ""
            found.append(f"first crack at {self.first_crack / 1e3:.0f} kN per ram{seen}")
        if self.cracks:
            wide = "; ".join(c.text for c in self.cracks)
            found.append(f"widest cracks at {self.service / 1e3:.0f} kN per ram, {SERVICE} of that load: {wide}")
        else:
            found.append(f"no crack of {HAIRLINE} mm at {self.service / 1e3:.0f} kN per ram, {SERVICE} of that load")
        return (*found, *(f"will be seen: {h.text}" for h in self.happenings))

    @property
    def warnings(self) -> tuple[str, ...]:
        """Steps that decide and are out of balance by more than ``OUT_OF_BALANCE`` of the loads."""
        return tuple(
            f"nodes of the {u.view} are out of balance by {100.0 * u.share:.1f} % of the loads at step {u.step}, "
            f"{u.what}: what happens there hangs on forces that are not in equilibrium"
            for u in self.unbalanced
            if u.share > OUT_OF_BALANCE
        )


def expected(
    bar_stress: float, load: float, side: Run, seen: ElevationTrace, top: Run | None, across: PlanTrace | None
) -> Expected:
    """Read both views at the predicted ``bar_stress`` [MPa] and ``load`` per ram [N].

    ``side`` is the elevation's run with its trace ``seen``; ``top`` and ``across`` the coupled plan's, None without.
    """
    found = elevation_findings(side, seen)
    row = _row(seen.load, load)
    curve, specimen = side.curve, specimen_of(side)
    yields = {n: float(specimen.steel[line.steel].yield_strength) for n, line in main_lines(side.mesh).items()}
    up = [
        Happening("elevation", e.what, e.load, _highest_at(seen, e.step), e.x, e.y)
        for e in events(seen.snapshots, yields)
    ]
    down = [] if across is None else _plan_happenings(across, seen)
    near = 1.0 + 1e-9
    come = [h for h in [*up, *down] if h.load <= near * load and h.bar_stress <= near * bar_stress]
    deciding = [(found.assessment.step, "its strength"), (seen.snapshots[row].step, "the predicted load")]
    if found.bond_loss.step >= 0:
        deciding.insert(0, (found.bond_loss.step, "the loss of bond"))
    balances = {}
    for step, what in deciding:
        balances.setdefault(step, OutOfBalance("elevation", step, seen.balances[seen.row_of(step)].unbalanced, what))
    return Expected(
        load=load,
        deflection=float(np.interp(load, *_rising(seen.load, seen.deflection - seen.deflection[0]))),
        first_crack=found.cracking.first,
        visible_crack=found.cracking.visible,
        joint_opening={
            s: float(np.interp(load, *_rising(seen.load, np.asarray(curve[f"joint_{s}_mm"], float))))
            for s in ("left", "right")
            if seen.laid.joints
        },
        service=SERVICE * load,
        cracks=_cracks(seen, across, SERVICE * load),
        gauges=_gauges(side, top, load),
        happenings=tuple(sorted(come, key=lambda h: (h.load, h.bar_stress))),
        unbalanced=tuple(balances.values()),
        widest_joint=_joint(seen, row) if seen.laid.joints else None,
    )


# ------------------------------------------------------------------ rows
def _rising(load: Floats, values: Floats) -> tuple[Floats, Floats]:
    """Loads that were never reached before, and the values there: what an interpolation over the load needs."""
    highest = np.maximum.accumulate(load)
    rows = np.concatenate([[0], np.flatnonzero(np.diff(highest) > 0.0) + 1])
    return highest[rows], values[rows]


def _row(load: Floats, wanted: float) -> int:
    """The first row that carries ``wanted``; the one with the largest load where none does."""
    over = np.flatnonzero(load >= wanted * (1.0 - 1e-9))
    return int(over[0]) if len(over) else int(np.argmax(load))


def _highest_at(seen: ElevationTrace, step: int) -> float:
    return float(seen.bar_stress[: seen.row_of(step) + 1].max())


# ------------------------------------------------------------------ cracks
def _cracks(seen: ElevationTrace, across: PlanTrace | None, load: float) -> tuple[CrackSeen, ...]:
    row = _row(seen.load, load)
    s = seen.snapshots[row]
    words = {"flat": "along the bars", "inclined": "inclined", "upright": "across the bars"}
    found = [CrackSeen("elevation", words[k], spot.value, spot.x, spot.y) for k, spot in s.cracks.items()]
    if seen.laid.joints:
        found.append(_joint(seen, row))
    if across is not None:
        stress = float(np.interp(load, *_rising(seen.load, seen.bar_stress)))
        at = _row(across.bar_stress, stress)
        gap, side = int(across.splitting[at].argmax()), float(across.side_crack[at].max())
        between = float(across.splitting[at, gap])
        found.append(CrackSeen("plan", f"along the bars {across.gaps[gap]}", between, math.nan, math.nan))
        found.append(CrackSeen("plan", "beside the edge bars", side, math.nan, math.nan))
    # less than a hairline is strain and no crack
    return tuple(c for c in found if c.width >= HAIRLINE)


def _joint(seen: ElevationTrace, row: int) -> CrackSeen:
    spot = seen.snapshots[row].joint
    return CrackSeen("elevation", "joint", spot.value, spot.x, spot.y)


def _plan_happenings(across: PlanTrace, seen: ElevationTrace) -> list[Happening]:
    """First sights in the plan."""
    highest = np.maximum.accumulate(across.bar_stress)
    measures: list[tuple[str, Floats, float]] = [
        (f"a crack along the bars {gap} is open by {VISIBLE} mm", across.splitting[:, k], VISIBLE)
        for k, gap in enumerate(across.gaps)
    ]
    measures.append((f"a crack beside the edge bars is {VISIBLE} mm wide", across.side_crack.max(axis=1), VISIBLE))
    measures.append(("half of a lead is past its bond peak", across.bond_past.max(axis=1), 0.5))
    measures.append(("steel across the bars yields", across.tie_utilisation, 1.0))
    found = []
    for what, values, limit in measures:
        rows = np.flatnonzero(values >= limit)
        if len(rows):
            stress = float(highest[rows[0]])
            found.append(Happening("plan", what, load_at(stress, seen.bar_stress, seen.load), stress))
    return found


# ------------------------------------------------------------------ instruments
def _gauges(side: Run, top: Run | None, load: float) -> tuple[GaugeReading, ...]:
    read = read_gauges(side, [load])
    found = [
        GaugeReading(g.name, f"x = {g.xy[0]:.0f}, y = {g.xy[1]:.0f} mm", 1e6 * float(g.strain[-1]), "microstrain")
        for g in read.gauges
    ]
    found += [GaugeReading(s.name, s.place, float(s.reading[-1]), "mm") for s in read.sensors]
    if top is not None:
        found += [
            GaugeReading(
                f"tie {g.line}", f"x = {g.x:.0f}, y = {g.y:.0f} mm in plan", 1e6 * float(g.strain[-1]), "microstrain"
            )
            for g in read_ties(side, top, [load]).gauges
        ]
    return tuple(found)
