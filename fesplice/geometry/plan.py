"""A specimen from below: the slab of concrete at bar level, its staggered bars, and the steel across them.

x runs along the beam from midspan as ever, y across it from the centre line: positions of bars are their
y as they stand. The slab is the closure alone, between the cracked joints (the lap of a beam without
joints, between the cracks at its ends), as thick as ``plan.thickness`` says. Main bars enter at the faces,
one line each ("A1", "A2", ... from the left in ascending y, "B1", ... from the right), and end where their hooks bend
out of the plane. Ties show their two legs beside the bars, stirrups the one leg below them, a hooked transverse
bar itself; their ends are anchored by what turns out of the plane there.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from fesplice.contracts import InputFault
from fesplice.geometry import bars, clash, surroundings
from fesplice.geometry.planes import Block, HookEnd, LegStrip, NetStrip, Path, Plane
from fesplice.mesh import Station
from fesplice.specimen.transverse import TIE_BEND, transverse_bars

if TYPE_CHECKING:
    from fesplice.geometry.bars import Shape
    from fesplice.specimen.schema import Specimen


def plan(s: Specimen) -> Plane:
    """The slab at bar level; raises :class:`InputFault` for bars without a lap, and naming every clash."""
    if s.bars.splice == "continuous":
        raise InputFault(s.name, "the plan shows a lap; continuous bars have none")
    if faults := clash.clashes(s):
        raise InputFault(s.name, faults)
    x0, x1 = extent(s)
    half, t = 0.5 * s.body.width, s.plan.thickness
    shapes = bars.main_shapes(s)
    material = "closure" if s.body.closure > 0.0 else "precast"
    paths, ends, net, stations = [], [], [], []
    for m in shapes:
        face = x0 if m.side > 0.0 else x1
        for k, y in enumerate(sorted(m.positions), start=1):
            name = f"{m.name}{k}"
            paths.append(_main(s, m, name, y, face))
            low, high = sorted((face, m.tangent_x))
            net.append(NetStrip(y, low, high, m.diameter))
            stations.append(Station(f"{name}/end", name, (m.tangent_x, y)))
            if m.bend is not None:
                reach = m.radius + 0.5 * m.diameter
                ends.append(HookEnd(name, name, m.tangent_x, y, (m.side, 0.0), reach, m.diameter))
    across = _transverse(s, (x0, x1))
    if s.plan.tie_ends == "bent":
        ends += [end for path in across for end in _bent_ends(s, path)]
    return Plane(
        kind="plan",
        blocks=(Block("slab", material, x0, x1, -half, half, t, material),),
        paths=tuple(paths + across),
        joints=(),
        points=(),
        snaps_x=(x0, x1),
        levels=tuple(sorted({y for m in shapes for y in m.positions})),
        refined=max(abs(x0), abs(x1)),
        net=tuple(net),
        stations=tuple(stations),
        digest=s.digest,
        ends=tuple(ends),
        legs=_legs(s),
    )


def extent(s: Specimen) -> tuple[float, float]:
    """x of both ends of the slab [mm]: the joint faces, or the ends of the lap in a beam without joints."""
    half = 0.5 * s.body.closure
    return (-half, half) if half > 0.0 else bars.bar_ends(s)


def _main(s: Specimen, m: Shape, name: str, y: float, face: float) -> Path:
    row = s.bars.left if m.side > 0.0 else s.bars.right
    assert row is not None
    return Path(
        name=name,
        role="main",
        points=np.array([[face, y], [m.tangent_x, y]]),
        zone=np.zeros(2, np.int32),
        area=row.area,
        diameter=m.diameter,
        number=1,
        steel=row.steel,
        frame_from=0.0,  # thick bars across a crack hold it as dowels
        condition=s.bond.condition,
        anchored_start=False,
        anchored_end=False,
        bonded=True,
        clear_cover=row.cover,
        stretches=surroundings.along(s, m),
    )


# ------------------------------------------------------------------ steel across the bars
def _transverse(s: Specimen, bounds: tuple[float, float]) -> list[Path]:
    c = s.confinement
    thick = max(s.bars.left.diameter, s.bars.right.diameter if s.bars.right else 0.0)
    loops = bars.confinement_loops(s, 0.5, thick)
    found = [
        _across(s, f"T{j}{_letter(k) if c.about_pairs else ''}", x, (low, high), c.beside)
        for j, x in enumerate(bars.confinement_positions(s), start=1)
        for k, (low, high, *_) in enumerate(loops)
    ]
    found += _in_bends(s)
    return [p for p in found if bounds[0] < p.points[0, 0] < bounds[1]]


def _legs(s: Specimen) -> tuple[LegStrip, ...]:
    """Upright steel across the plane over the slab: legs of stirrups over their spacing, tails over 5 bar diameters.

    Both are spread over the width. Ties close about the bars inside the slab; a hook of 180 degrees comes back inside
    it, and a tail that points to the tension face never crosses the plane.
    """
    c, found = s.confinement, []
    if c.upright:
        x, half = bars.confinement_positions(s), 0.5 * c.spacing
        found.append(LegStrip("leg", x[0] - half, x[-1] + half, c.legs * c.area / (c.spacing * s.body.width)))
    low, high = extent(s)
    for m in bars.main_shapes(s):
        row = s.bars.left if m.side > 0.0 else s.bars.right
        if row is None or row.hook is None or row.hook.angle != 90.0 or row.hook.orientation != "compression":
            continue
        at, half = m.tangent_x + m.side * m.radius, 2.5 * m.diameter
        x0, x1 = max(at - half, low), min(at + half, high)
        found.append(LegStrip(f"tail_{m.name}", x0, x1, row.number * row.area / ((x1 - x0) * s.body.width)))
    return tuple(found)


def _in_bends(s: Specimen) -> list[Path]:
    """Transverse bars inside the bends: half of their number in each row, hooked about the outermost bars."""
    c = s.confinement
    places = {st.line: st.xy[0] for st in bars.stations(s) if st.name.endswith("/transverse-bar")}
    found = []
    for j, (name, x) in enumerate(sorted(places.items(), key=lambda item: item[1]), start=1):
        outer = max(abs(y) + 0.5 * m.diameter for m in bars.main_shapes(s) for y in m.positions)
        edge = min(outer + 0.5 * c.diameter, 0.5 * s.body.width - 0.5 * c.diameter)
        if number := transverse_bars(s, name):
            found.append(_across(s, f"X{j}", x, (-edge, edge), number))
    return found


def _across(s: Specimen, name: str, x: float, y: tuple[float, float], number: int) -> Path:
    c, edge = s.confinement, 0.5 * s.body.width - 0.5 * s.confinement.diameter
    low, high = max(y[0], -edge), min(y[1], edge)
    return Path(
        name=name,
        role="confinement",
        points=np.array([[x, low], [x, high]]),
        zone=np.zeros(2, np.int32),
        area=c.area * number,
        diameter=c.diameter,
        number=number,
        steel=c.steel,
        frame_from=None,
        condition=s.bond.condition,
        anchored_start=s.plan.tie_ends == "held",
        anchored_end=s.plan.tie_ends == "held",
        bonded=True,
        clear_cover=c.cover,
        stretches=surroundings.secondary(c.diameter, c.cover, high - low),
    )


def _bent_ends(s: Specimen, path: Path) -> list[HookEnd]:
    """Both ends of a bar across, bent out of the plane over the outside of its bend, inside the slab."""
    reach, half = s.confinement.diameter * (0.5 * TIE_BEND + 1.0), 0.5 * s.body.width
    found = []
    for which, (x, y), sign in (("low", path.points[0], -1.0), ("high", path.points[-1], 1.0)):
        room = min(reach, half - sign * y)
        found.append(HookEnd(f"{path.name}-{which}", path.name, x, y, (0.0, sign), room, s.confinement.diameter))
    return found


def _letter(k: int) -> str:
    return chr(ord("a") + k) if k < 26 else f"-{k + 1}"


def mirrored(plane: Plane) -> bool:
    """True when the plane is its own image in the beam's centre line."""
    image = [replace(p, points=p.points * np.array([1.0, -1.0])) for p in plane.paths]
    ends = {tuple(np.sort(p.points, axis=0).ravel().round(6)) for p in plane.paths}
    return {tuple(np.sort(p.points, axis=0).ravel().round(6)) for p in image} == ends
