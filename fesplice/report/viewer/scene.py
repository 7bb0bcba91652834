"""What one view shows: its shape, the fields of its elements by step, its bars, its curve, its places; put in a parcel.

Elements come first as concrete, then as steel plates, which have a shape and no field. Values of an element are those
of its mean tensor, cracks those of its mean opening, as in the figures. One pass over the steps reads all of it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from fesplice.algebra import principal
from fesplice.contracts import Floats, Ints, Outcome
from fesplice.post.runs import bar_columns
from fesplice.report import style
from fesplice.report.cracks import CLASSES
from fesplice.report.elevation.beam import beam_of
from fesplice.report.plan.slab import slab_of
from fesplice.report.view import View
from fesplice.report.viewer.bars import QUANTITIES, BarReader
from fesplice.report.viewer.pack import Parcel, directions, even, exponential
from fesplice.report.viewer.places import Members, Place, Stations, gauges
from fesplice.report.views import VIEWS

if TYPE_CHECKING:
    from fesplice.post.points import Fields

#: Below these the scale of eight-bit codes is even: openings [mm], stresses [MPa].
FINE_OPENING, FINE_STRESS = 0.01, 0.05
#: Share of elements that may lie beyond the end of a colour scale (judgement).
_BEYOND = 0.005
_PLANE = "interface"


@dataclass(frozen=True)
class Field:
    """A field as people know it: ``name``, the ``kind`` of its unit, the end of its colour scale, its map and strokes.

    ``on``: "concrete" or "bars". ``strokes``: the array of directions drawn over it, empty for none.
    """

    key: str
    name: str
    kind: str
    top: float
    map: str
    on: str = "concrete"
    strokes: str = ""
    note: str = ""


def put_scene(view: View, parcel: Parcel, head: str) -> dict[str, Any]:
    """Put the arrays of a view under names that begin with ``head``; answer what the page says of it."""
    view.has_steps()
    kind = VIEWS[view.name]
    shape = _Shape(view)
    bars = BarReader(view.run.mesh)
    read = _read(view, shape, bars)
    parcel.plain(f"{head}points", view.run.mesh.points, "f4")
    parcel.plain(f"{head}cells", shape.cells, "u4")
    parcel.plain(f"{head}edges", shape.edges, "u4")
    parcel.scaled(f"{head}moved", read.moved)
    parcel.plain(f"{head}bars/nodes", bars.nodes, "u4")
    parcel.plain(f"{head}bars/arc", bars.arc, "f4")
    for k, name in enumerate(QUANTITIES):
        parcel.scaled(f"{head}bars/{name}", read.bars[:, :, k])
    fields = _put_fields(view, parcel, head, read)
    for name, values in (("stations", read.stations), ("gauges", read.gauges)):
        # values of different kinds stand side by side: each is a share of its own largest
        parcel.scaled(f"{head}{name}", values / _tops(values))
    names = sorted({m.name for step in read.members for m in step})
    rows = [[names.index(m.name), *m.line, m.force, m.steel] for step in read.members for m in step]
    parcel.plain(f"{head}members", np.array(rows, float).reshape(-1, 7), "f4")
    parcel.plain(f"{head}members/start", np.cumsum([0, *(len(step) for step in read.members)]), "u4")
    for name, values in curve_of(view).items():
        parcel.plain(f"{head}curve/{name}", values, "f4")
    kinds = {m.name: m.kind for step in read.members for m in step}
    lines = view.run.mesh.lines
    return {
        "name": view.name, "title": kind.title, "per": kind.per, "caution": kind.caution, "head": head,
        "folder": view.run.folder.name, "outcome": view.run.outcome.value,
        "concrete": shape.concrete, "steps": [int(s) for s in view.run.indices],
        "unconverged": [k for k, o in enumerate(view.curve["outcome"]) if str(o) in Outcome.unconverged.spellings],
        "movement": "midspan deflection" if view.name == "elevation" else "extension",
        "upright": kind.panel.upright,
        "windows": _windows(view, shape),
        "fields": [vars(f) for f in fields],
        "bars": [
            {"name": n, "role": line.role, "diameter": float(line.diameter), "number": int(line.number)}
            for n, line in lines.items()
        ],
        "start": bars.start.tolist(),
        "stations": _told(read.at_stations, read.stations), "gauges": _told(read.at_gauges, read.gauges),
        "members": [{"name": n, "kind": kinds[n]} for n in names],
        "marks": _marks(view),
        "sentence": view.findings.assessment.sentence,
    }  # fmt: skip


# ------------------------------------------------------------------ shape
class _Shape:
    """Elements (n, 4) by nodes, concrete first (``concrete`` of them), and edges (m, 2) that only one element has."""

    def __init__(self, view: View):
        mesh = view.run.mesh
        names = [*view.points.names, *(n for n in mesh.of_kind("quad4", "tri3") if n not in view.points.names)]
        blocks = []
        for name in names:
            cells = mesh.groups[name].cells
            blocks.append(cells if cells.shape[1] == 4 else np.column_stack([cells, cells[:, -1]]))
        self.cells = np.concatenate(blocks)
        self.concrete = sum(len(mesh.groups[n].cells) for n in view.points.names)
        self.edges = _rim(self.cells)
        used = mesh.points[np.unique(self.cells)]
        self.low, self.high = used.min(axis=0), used.max(axis=0)


def _rim(cells: Ints) -> Ints:
    """Edges that belong to one cell: faces and joints."""
    ends = np.stack([cells, np.roll(cells, -1, axis=1)], axis=-1).reshape(-1, 2)
    ends = np.sort(ends[ends[:, 0] != ends[:, 1]], axis=1)
    edges, count = np.unique(ends, axis=0, return_counts=True)
    return edges[count == 1]


def _windows(view: View, shape: _Shape) -> dict[str, list[float]]:
    """x0, x1, y0, y1 [mm] of the splice and of the whole view."""
    room = 0.03 * float((shape.high - shape.low).min())
    (x0, y0), (x1, y1) = shape.low - room, shape.high + room
    if view.name == "elevation":
        splice = (*beam_of(view).closure, y0, y1)
    else:
        (a, b), (c, d) = slab_of(view).window
        splice = (a, b, c - room, d + room)
    return {"splice": [float(v) for v in splice], "whole": [float(v) for v in (x0, x1, y0, y1)]}


# ------------------------------------------------------------------ one pass
@dataclass(frozen=True)
class _Read:
    """All steps of a view: ``moved`` (s, n, 2) [mm]; by element (s, n_e); ``bars`` (s, n_b, 3)."""

    moved: Floats
    opening: Floats
    crack: Floats
    tension: Floats
    compression: Floats
    upward: Floats
    angle: Floats
    plane: Floats | None
    bars: Floats
    stations: Floats
    gauges: Floats
    at_stations: tuple[Place, ...]
    at_gauges: tuple[Place, ...]
    members: list[list[Any]]


def _read(view: View, shape: _Shape, bars: BarReader) -> _Read:
    mesh, elements, points = view.run.mesh, view.elements, view.points
    stations, members, instruments = Stations(view), Members(view), gauges(view)
    plane = _Plane(view, shape) if _PLANE in mesh.groups else None
    rows: dict[str, list[Any]] = {name: [] for name in _Read.__dataclass_fields__}
    for step in view.run.steps():
        fields = step.fields
        rows["moved"].append(step.displacements(len(mesh.points)))
        strain, normal, band = points.values(fields, "crack").T
        opening = np.maximum(strain, 0.0) * band
        # a normal and its opposite are one crack: directions are averaged at twice their angle
        turned = opening * np.cos(2.0 * normal), opening * np.sin(2.0 * normal)
        crack = elements.mean(np.stack([opening, *turned], axis=1))
        rows["opening"].append(crack[:, 0])
        rows["crack"].append(0.5 * np.arctan2(crack[:, 2], crack[:, 1]) + 0.5 * math.pi)
        tensor = elements.mean(points.values(fields, "stress"))
        major, minor, angle = principal(tensor, engineering=False)
        rows["tension"].append(major)
        rows["compression"].append(-minor)
        rows["upward"].append(tensor[:, 1])
        rows["angle"].append(angle)
        rows["bars"].append(bars.read(fields))
        rows["stations"].append(stations.read(fields))
        rows["members"].append(members.read(fields))
        if plane is not None:
            rows["plane"].append(plane.lost(fields))
    count = len(rows["moved"])
    arrays = {k: np.array(v, float).reshape(count, *np.shape(v[0])) for k, v in rows.items() if v and k != "members"}
    arrays["gauges"] = instruments.reading
    return _Read(
        **{"plane": None, **arrays}, members=rows["members"], at_stations=stations.places, at_gauges=instruments.places
    )


class _Plane:
    """Share of its stiffness that the plane between slab and body has lost, as the mean over the nodes of an element.

    The plane unloads towards its origin, so traction over displacement is what is left of its stiffness; the largest
    ever met is that of the sound plane. What is lost does not come back: a node that does not move keeps its value.
    """

    def __init__(self, view: View, shape: _Shape):
        self._cells = shape.cells[: shape.concrete]
        mesh = view.run.mesh
        self._nodes = mesh.groups[_PLANE].cells[:, 0]
        self._of = np.zeros((len(mesh.points), 2))
        self._sound, self._lost = self._stiffness(view), np.zeros(len(self._nodes))

    def _stiffness(self, view: View) -> Floats:
        """Stiffness (2,) of the sound plane along and across the bars [MPa/mm]; 0 for a plane that is not there."""
        found = np.zeros(2)
        for number in view.run.indices[:4]:
            left, sure = _secant(view.run.step(number).fields)
            if sure.any():
                found = np.maximum(found, np.where(sure, left, 0.0).max(axis=0))
        return found

    def lost(self, fields: Fields) -> Floats:
        """Share lost (n_e,) at the next step; steps come in order."""
        left, sure = _secant(fields)
        share = 1.0 - left / np.maximum(self._sound, 1e-12)
        # the direction that carries more tells
        lead = np.abs(np.asarray(fields[f"{_PLANE}/stress"], float)).argmax(axis=1)
        rows = np.arange(len(lead))
        seen = np.where(sure[rows, lead] & (self._sound[lead] > 0.0), share[rows, lead], 0.0)
        self._lost = np.maximum(self._lost, np.clip(seen, 0.0, 1.0))
        whole = np.zeros(len(self._of))
        whole[self._nodes] = self._lost
        return whole[self._cells].mean(axis=1)


def _secant(fields: Fields) -> tuple[Floats, np.ndarray]:
    """Traction over displacement (n, 2) along and across the bars, and where both are large enough to tell."""
    moved, stress = (np.asarray(fields[f"{_PLANE}/{name}"], float) for name in ("slip", "stress"))
    sure = (np.abs(moved) > 1e-7) & (np.abs(stress) > 1e-7)
    return np.abs(np.divide(stress, moved, out=np.zeros_like(moved), where=sure)), sure


# ------------------------------------------------------------------ fields
def _put_fields(view: View, parcel: Parcel, head: str, read: _Read) -> list[Field]:
    """Code the fields of elements; answer all fields of the view with the ends of their scales."""
    side = view.name == "elevation"
    top = _row(view) + 1
    limit = style.ceiling(_tensile(view))
    upward = "Vertical tension" if side else "Tension across the bars"
    pulled = "the stress that lifts the concrete over the hooks" if side else "the stress that parts the bars"
    fields = [
        Field("opening", "Crack opening", "opening", CLASSES[-1], "classes", strokes="crack",
              note="colour and strokes by class, as in the figures"),
        Field("tension", "Principal tension", "stress", limit, "warm", strokes="angle", note="strokes: its direction"),
        Field("compression", "Principal compression", "stress", _end(read.compression[:top], 1.0), "cool",
              strokes="across", note="strokes: its direction"),
        Field("upward", upward, "stress", limit, "warm", note=pulled),
    ]  # fmt: skip
    for name, fine in (
        ("opening", FINE_OPENING), ("tension", FINE_STRESS), ("compression", FINE_STRESS), ("upward", FINE_STRESS)
    ):  # fmt: skip
        parcel.codes(f"{head}{name}", *exponential(getattr(read, name), fine))
    for name in ("crack", "angle"):
        parcel.codes(f"{head}{name}", *directions(getattr(read, name)))
    if read.plane is not None:
        parcel.codes(f"{head}plane", *even(read.plane, 1.0))
        note = "share of its stiffness that the plane between slab and body has lost"
        fields.append(Field("plane", "Damage of the plane to the body", "share", 1.0, "warm", note=note))
    main = _main(view)
    for name, words, kind, fine in (
        ("stress", "Bar stress", "stress", 1.0), ("slip", "Slip of bars", "opening", 0.01),
        ("bond", "Bond stress", "stress", 0.1),
    ):  # fmt: skip
        seen = np.abs(read.bars[:top, :, QUANTITIES.index(name)][:, main])
        end = style.ceiling(max(float(seen.max(initial=0.0)), fine))
        colours = "both" if name == "stress" else "warm"
        fields.append(Field(name, words, kind, end, colours, on="bars"))
    return fields


def _row(view: View) -> int:
    """Row of the step whose state the scales are made for: the strength."""
    stages = VIEWS[view.name].stages(view)
    return next((s.row for s in stages if s.name == "strength"), stages[-1].row)


def _end(values: Floats, least: float) -> float:
    """End of a colour scale beyond which few elements lie at any step."""
    return style.ceiling(max(float(np.quantile(values, 1.0 - _BEYOND, axis=1).max()), least))


def _tensile(view: View) -> float:
    """Tensile strength [MPa] of the concrete that is cast round the lap."""
    concrete = view.specimen.concrete
    return float((concrete.closure or concrete.precast).tensile_strength)


def _main(view: View) -> np.ndarray:
    """Places of the nodes of main bars among those of all bars."""
    lines = view.run.mesh.lines.values()
    return np.repeat([line.role == "main" for line in lines], [len(line.nodes) for line in lines])


# ------------------------------------------------------------------ curve, places, marks
def curve_of(view: View) -> dict[str, Floats]:
    """Load per ram or side [N], movement [mm] and bar stress [MPa] (n,) of a view."""
    curve = view.curve
    return {
        "load": np.asarray(curve["load_N"], float),
        "moved": np.asarray(curve[VIEWS[view.name].moved], float),
        "stress": np.fmax.reduce(list(bar_columns(curve).values())),
    }


def _tops(values: Floats) -> Floats:
    """Largest of every column (m,) of values (steps, m), 1 where there is nothing."""
    tops = np.abs(values).max(axis=0, initial=0.0)
    return np.where(tops > 0.0, tops, 1.0)


def _told(places: tuple[Place, ...], values: Floats) -> list[dict[str, Any]]:
    return [
        {"name": p.name, "line": p.line, "xy": list(p.xy), "what": p.what, "kind": p.kind, "top": float(top)}
        for p, top in zip(places, _tops(values))
    ]


def _marks(view: View) -> list[dict[str, Any]]:
    """Steps with a name: the stages of the figures, and where each mechanism reached its limit."""
    marks = [{"row": s.row, "name": s.word, "stage": True} for s in VIEWS[view.name].stages(view)]
    rows = {step: row for row, step in enumerate(view.run.indices)}
    for state in view.findings.assessment.states:
        if state.reached and state.step in rows:
            marks.append({"row": rows[state.step], "name": f"{state.name}: limit reached", "stage": False})
    return sorted(marks, key=lambda m: (m["row"], not m["stage"]))
