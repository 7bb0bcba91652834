"""What failed first, with its evidence: a trace of the run and rules over it.

The trace notes for every step the widest cracks by direction, joint openings, bond past its peak,
bar stress and the least concrete strain. Rules:

1. Bars at yield by the load before the first drop: yielding, with crushing if that came too.
2. Concrete beyond the crushing strain by then: crushing.
   A lead that had lost its bond before the bars yielded comes first in both: what follows is what
   the hooks went on to carry.
3. Otherwise what grew most over that drop: cracks that are not upright (splitting at bar level,
   inclined), or slip of the anchored bars (of the lead where half of it is past its bond
   peak, else of the hook). Upright cracks and joints open whenever anything gives way, so
   they are named only if they grew more than four times as much as everything else.

The 0.0035 crushing strain is the ultimate strain of EN 1992-1-1 Table 3.1 up to C50/60 (from memory);
the other limits are judgement and stand in the evidence next to the numbers they decide on.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass

import numpy as np

from fesplice.algebra import principal
from fesplice.contracts import Floats
from fesplice.mesh import LEAD, Mesh
from fesplice.post.concrete import VISIBLE
from fesplice.post.elevation.bars import arc_at, face_arcs, profile
from fesplice.post.elevation.layout import Layout, main_lines, stations_of
from fesplice.post.points import Fields, Points, gather

CRUSHING = 0.0035
#: A bond point is past its peak when it carries less than this share of its largest stress while slipping on.
PAST = 0.8
#: Crack directions: up to this angle from the bars is along them, beyond 90 deg minus this is upright [deg].
FLAT = 30.0
FOLLOWER = 4.0
#: A load that fell by less than this share has not failed yet (yielding and crushing apart).
FALLEN = 0.05


@dataclass(frozen=True)
class Spot:
    """A value at a place of the elevation [mm]."""

    value: float
    x: float
    y: float


@dataclass(frozen=True)
class Moment:
    """What the trace notes of one step; openings and slips in mm, stresses in MPa.

    ``strain``: largest crack strain by concrete; ``cracks``: widest crack by direction (``flat``,
    ``inclined``, ``upright``); ``bar_level``: widest flat or inclined crack in the bar row or the row
    above, between joint face and hook; ``joint``: widest joint opening; ``crushing``: least
    principal strain away from plates, positive. By main bar line: ``past`` share of the embedded
    lead past its bond peak, ``lead`` mean slip over it, ``slip`` largest of the anchored end,
    ``stress`` at the joint face.
    """

    step: int
    load: float
    deflection: float
    strain: Mapping[str, float]
    cracks: Mapping[str, Spot]
    bar_level: Spot
    joint: Spot
    crushing: Spot
    past: Mapping[str, float]
    lead: Mapping[str, float]
    slip: Mapping[str, float]
    stress: Mapping[str, float]


class Tracer:
    """Notes one step after the other; holds what bond points have reached so far."""

    def __init__(self, mesh: Mesh, plan: Layout):
        self.mesh, self.plan, self.points = mesh, plan, gather(mesh)
        self._away = _away_from_plates(mesh, self.points, plan)
        self._row = _bar_rows(self.points, plan)
        self._faces = {name: face_arcs(mesh, name, plan) for name in main_lines(mesh)}
        self._embedded = {name: _embedded(mesh, name, plan) for name in plan.anchors}
        self._highest = {name: np.zeros(len(mesh.lines[name].nodes)) for name in plan.anchors}
        self._furthest = {name: np.zeros(len(mesh.lines[name].nodes)) for name in plan.anchors}
        materials = [mesh.groups[name].material for name in self.points.names]
        self._of = {m: np.isin(self.points.group, [k for k, n in enumerate(materials) if n == m]) for m in materials}

    def note(self, number: int, load: float, deflection: float, fields: Fields) -> Moment:
        """What is seen at the next step."""
        points = self.points
        crack = points.values(fields, "crack")
        kinds = _widths(crack)
        past, lead, slip, stress = {}, {}, {}, {}
        for name, faces in self._faces.items():
            state = profile(self.mesh, fields, name)
            stress[name] = max(state.stress_at(arc) for arc in faces)
            if name not in self._embedded:
                continue
            length, anchored = self._embedded[name]
            tau, slid = np.abs(state.tau), np.abs(state.slip)
            over = (tau < PAST * self._highest[name]) & (slid >= self._furthest[name])
            self._highest[name] = np.maximum(self._highest[name], tau)
            self._furthest[name] = np.maximum(self._furthest[name], slid)
            total = max(float(length.sum()), 1e-300)
            past[name], lead[name] = float((length * over).sum()) / total, float((length * slid).sum()) / total
            slip[name] = float(slid[anchored].max(initial=0.0))
        e2 = principal(points.values(fields, "strain"), engineering=True)[1]
        level = np.where(self._row, np.maximum(kinds["flat"], kinds["inclined"]), 0.0)
        return Moment(
            step=number,
            load=load,
            deflection=deflection,
            strain={m: float(crack[here, 0].max(initial=0.0)) for m, here in self._of.items()},
            cracks={kind: _most(points, width) for kind, width in kinds.items()},
            bar_level=_most(points, level),
            joint=_joint(self.mesh, fields),
            crushing=_most(points, np.where(self._away, -e2, 0.0)),
            past=past,
            lead=lead,
            slip=slip,
            stress=stress,
        )


def trace(mesh: Mesh, steps: Iterable[tuple[int, float, float, Fields]], plan: Layout) -> list[Moment]:
    """Trace over (step number, load per ram [N], deflection [mm], fields), in order."""
    tracer = Tracer(mesh, plan)
    return [tracer.note(*step) for step in steps]


def _widths(crack: Floats) -> dict[str, Floats]:
    """Crack widths (n,) by direction from crack fields (n, 3); a point has one of them, the others are 0."""
    strain, normal, band = crack.T
    width = np.maximum(strain, 0.0) * band
    # angle between the crack and the bars, 0 .. 90 deg
    lean = np.degrees(np.arccos(np.clip(np.abs(np.sin(normal)), 0.0, 1.0)))
    flat, upright = lean <= FLAT, lean >= 90.0 - FLAT
    return {"flat": width * flat, "inclined": width * (~flat & ~upright), "upright": width * upright}


def _most(points: Points, value: Floats) -> Spot:
    k = int(np.argmax(value))
    return Spot(float(value[k]), float(points.xy[k, 0]), float(points.xy[k, 1]))


def _joint(mesh: Mesh, fields: Fields) -> Spot:
    best = Spot(0.0, 0.0, 0.0)
    for name, g in mesh.of_kind("joint").items():
        opening = np.asarray(fields[f"{name}/opening"], float)
        e, q = np.unravel_index(int(np.argmax(opening)), opening.shape)
        if opening[e, q] > best.value:
            x, y = mesh.points[g.cells[e, q]]
            best = Spot(float(opening[e, q]), float(x), float(y))
    return best


def _away_from_plates(mesh: Mesh, points: Points, plan: Layout) -> np.ndarray:
    """Points further than a quarter of the depth from every load and support."""
    away = np.ones(len(points), bool)
    for name, nodes in mesh.node_sets.items():
        if name.startswith(("load:", "support:")):
            away &= np.abs(points.xy[:, 0] - mesh.points[nodes, 0].mean()) > 0.25 * (plan.y[1] - plan.y[0])
    return away


def _bar_rows(points: Points, plan: Layout) -> np.ndarray:
    """Points in the bar row or the row above it, between joint face and 4 d_b beyond the tip of any anchor."""
    inside = np.zeros(len(points), bool)
    x, y = points.xy.T
    for a in plan.anchors.values():
        x0, x1 = plan.reach(a)
        inside |= (x >= x0) & (x <= x1) & (y >= a.row[0]) & (y <= a.above[1])
    return inside


def _embedded(mesh: Mesh, line: str, plan: Layout) -> tuple[Floats, np.ndarray]:
    """Tributary lengths (n,) of the lead inside the splice (0 elsewhere), and the nodes at and past its end."""
    bar = mesh.lines[line]
    face = face_arcs(mesh, line, plan)[0]
    places = stations_of(mesh, line)
    end = arc_at(mesh, line, places["tangent"].xy if "tangent" in places else plan.anchors[line].tail)
    low, high = min(face, end), max(face, end)
    inside = (bar.arc >= low) & (bar.arc <= high)
    anchored = (bar.arc >= end - 1e-6) if end > face else (bar.arc <= end + 1e-6)
    length = np.asarray(mesh.groups[bar.bond].data["length"], float)
    return length * (inside & (bar.zone == LEAD)), anchored


# ------------------------------------------------------------------ events
@dataclass(frozen=True)
class Event:
    """The first step at which something is seen: load per ram [N], deflection [mm]."""

    what: str
    step: int
    load: float
    deflection: float


def events(moments: list[Moment], yields: Mapping[str, float]) -> tuple[Event, ...]:
    """Events in order of appearance; ``yields`` = yield strength [MPa] by main bar line."""
    tests: dict[str, Callable[[Moment], bool]] = {
        f"a joint is open by {VISIBLE} mm": lambda m: m.joint.value >= VISIBLE,
        f"a crack at bar level in the splice is {VISIBLE} mm wide": lambda m: m.bar_level.value >= VISIBLE,
        f"an inclined crack is {VISIBLE} mm wide": lambda m: m.cracks["inclined"].value >= VISIBLE,
        f"concrete is compressed beyond {CRUSHING}": lambda m: m.crushing.value >= CRUSHING,
    }
    for line in moments[0].past if moments else ():
        tests[f"half of lead {line} is past its bond peak"] = lambda m, line=line: m.past[line] >= 0.5
    for line, limit in yields.items():
        tests[f"bars {line} yield at the joint face"] = lambda m, line=line, limit=limit: m.stress[line] >= limit
    found = []
    for what, test in tests.items():
        if first := next((m for m in moments if test(m)), None):
            found.append(Event(what, first.step, first.load, first.deflection))
    return tuple(sorted(found, key=lambda e: e.step))


# ------------------------------------------------------------------ verdict
@dataclass(frozen=True)
class Verdict:
    """``what`` failed first in a sentence, ``kind`` in a word, where [mm], and the ``evidence``."""

    kind: str
    what: str
    x: float
    y: float
    evidence: tuple[str, ...]


def verdict(
    mesh: Mesh,
    moments: list[Moment],
    top: tuple[int, Fields],
    low: tuple[int, Fields],
    yields: Mapping[str, float],
    plan: Layout,
) -> Verdict:
    """Failure by the rules of this module.

    ``top`` and ``low``: row of ``moments`` and fields before the drop and at its end;
    ``yields`` = yield strength [MPa] by main bar line.
    """
    points = gather(mesh)
    old, new = (_widths(points.values(fields, "crack")) for _, fields in (top, low))
    growth = {kind: _most(points, new[kind] - old[kind]) for kind in old}
    a, b, rise = moments[top[0]], moments[low[0]], moments[: top[0] + 1]
    slips = {name: b.slip[name] - a.slip[name] for name in a.slip}
    leads = {name: b.lead[name] - a.lead[name] for name in a.lead}
    joint = b.joint.value - a.joint.value
    evidence = [f"between step {a.step} ({a.load / 1e3:.1f} kN) and step {b.step} ({b.load / 1e3:.1f} kN):"]
    evidence += [f"{kind} crack grew {s.value:.2f} mm {_place(mesh, plan, s)}" for kind, s in growth.items()]
    for name in slips:
        evidence.append(f"lead of bars {name} slipped {leads[name]:.2f} mm more, its anchored end {slips[name]:.2f} mm")
    if plan.joints:
        evidence.append(f"joint opened {joint:.2f} mm more")
    evidence.append(f"least concrete strain {-a.crushing.value:.4f} before")
    for name, x in a.past.items():
        evidence.append(f"{x:.0%} of lead {name} past its bond peak before, {b.past[name]:.0%} after")
    evidence += [f"bars {name} at {a.stress[name]:.0f} of {limit:.0f} MPa before" for name, limit in yields.items()]

    fallen = b.load <= (1.0 - FALLEN) * a.load

    def found(kind: str, what: str, at: tuple[float, float], sure: bool = fallen) -> Verdict:
        # a run that ends near its largest load has not failed: only what grew last can be told
        said = what if sure else f"no drop of load yet; last seen: {what}"
        return Verdict(kind if sure else "none yet", said, *at, tuple(evidence))

    crushed = max((m.crushing for m in rise), key=lambda s: s.value)
    held = _after_bond(plan, rise, yields)
    if yielded := [name for name, limit in yields.items() if max(m.stress[name] for m in rise) >= limit]:
        then = ", then the compressed concrete crushed" if crushed.value >= CRUSHING else ""
        text = f"bars {' and '.join(yielded)} yielded at the joint face{then}"
        return found(*(held(text) or ("yielding", text, _face(plan, yielded[0]))), True)
    if crushed.value >= CRUSHING:
        text = f"concrete crushed {_place(mesh, plan, crushed)}"
        return found(*(held(text) or ("crushing", text, (crushed.x, crushed.y))), True)

    kind = max(("flat", "inclined"), key=lambda k: growth[k].value)
    spot, up = growth[kind], growth["upright"]
    moved = {name: max(leads[name] if b.past[name] >= 0.5 else 0.0, slips[name]) for name in slips}
    line = max(moved, key=lambda name: moved[name], default="")
    slip = moved.get(line, 0.0)
    if max(up.value, joint) > FOLLOWER * max(spot.value, slip):
        if joint >= up.value:
            return found("joint", "a cold joint opened", (b.joint.x, b.joint.y))
        return found("bending crack", f"a crack across the bars opened {_place(mesh, plan, up)}", (up.x, up.y))
    if slip > spot.value:
        end = plan.anchors[line]
        if b.past[line] >= 0.5:
            text = f"bond along the lead of bars {line} gave way, {b.past[line]:.0%} of it past its peak"
            return found("bond of the lead", text, (0.5 * (end.face + end.tip), end.level))
        part = "hook" if end.hooked else "end"
        return found("slip of the " + part, f"the {part} of bars {line} was drawn through", (end.tip, end.level))
    if kind == "flat":
        # far from the bars a flat crack splits nothing: it lifts the block
        along = "a crack along the bars" if _at_bars(plan, spot) else "a flat crack off the bars"
        kind = "splitting" if _at_bars(plan, spot) else "flat crack"
        return found(kind, f"{along} opened {_place(mesh, plan, spot)}", (spot.x, spot.y))
    return found("inclined crack", f"an inclined crack opened {_place(mesh, plan, spot)}", (spot.x, spot.y))


def _after_bond(
    plan: Layout, rise: list[Moment], yields: Mapping[str, float]
) -> Callable[[str], tuple[str, str, tuple[float, float]] | None]:
    """Puts a bond of the lead that was lost before any bar yielded in front of what came later."""
    highest = 0.0
    for m in rise:
        highest = max(highest, m.load)
        lost = max(m.past, key=lambda line: m.past[line], default="")
        if lost and m.past[lost] >= 0.5:
            end = plan.anchors[lost]
            said = f"bond along the lead of bars {lost} was lost after {highest / 1e3:.1f} kN; later "
            at = (0.5 * (end.face + end.tip), end.level)
            return lambda text: ("bond of the lead", said + text, at)
        if any(m.stress[line] >= limit for line, limit in yields.items()):
            break
    return lambda text: None


def _at_bars(plan: Layout, spot: Spot) -> bool:
    return any(a.row[0] <= spot.y <= a.above[1] for a in plan.anchors.values())


def _face(plan: Layout, line: str) -> tuple[float, float]:
    a = plan.anchors.get(line)
    return (a.face, a.level) if a else ((plan.joints or (0.0,))[0], plan.y[0])


def _place(mesh: Mesh, plan: Layout, spot: Spot) -> str:
    """Where a spot lies, in the words of a drawing."""
    words = [f"at x = {spot.x:.0f}, y = {spot.y:.0f} mm"]
    for line in plan.anchors:
        near = [(float(np.hypot(spot.x - s.xy[0], spot.y - s.xy[1])), s) for s in mesh.stations if s.line == line]
        gap, s = min(near, key=lambda item: item[0], default=(np.inf, None))
        if s is not None and gap < 3.0 * mesh.lines[line].diameter:
            words.append(f"beside the {s.name.split('/')[-1].replace('-', ' ')} of bars {line}")
    if _at_bars(plan, spot):
        words.append("at bar level")
    if plan.joints and not plan.joints[0] <= spot.x <= plan.joints[-1]:
        words.append("in the precast part")
    return ", ".join(words)
