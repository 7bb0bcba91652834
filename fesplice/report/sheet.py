"""The sheet of the test day: one page of loads, steps, stop rules, rig, gauges and sensors with their readings.

What stands on it; :mod:`fesplice.report.sheetprint` brings it to paper. Readings come from a run of the same specimen
where there is one; hand formulas otherwise.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from fesplice.contracts import Fault, FolderFault, InputFault
from fesplice.geometry import bars
from fesplice.post.elevation.findings import ElevationFindings
from fesplice.post.record import findings, view_of
from fesplice.post.runs import specimen_of
from fesplice.report import sheetgauges
from fesplice.report.parts import Table
from fesplice.sizing.instruments import gauges_of
from fesplice.sizing.testday import FRAME, HANDS_OFF, LOAD_CONTROL, SHARES, Event, TestDay
from fesplice.units import both, show

if TYPE_CHECKING:
    from fesplice.post.elevation.gauges import Readings
    from fesplice.post.plan.gauges import TieReadings
    from fesplice.post.prediction import Prediction
    from fesplice.post.readings import GaugeTable
    from fesplice.sizing import SpecimenCheck
    from fesplice.specimen import Specimen
    from fesplice.store import Run

CAUTION = (
    "No safety system and no design check. Expect a brittle, loud release without warning; whoever leads the test "
    "decides by what is seen, not by this sheet."
)


@dataclass(frozen=True)
class Spot:
    """A numbered mark on the map: "G" gauges at (x, y) [mm], "D" displacement sensors; ``z`` across, nan unknown."""

    label: str
    x: float
    y: float
    line: str
    z: float = math.nan


@dataclass(frozen=True)
class Sheet:
    """Everything on the page."""

    specimen: Specimen
    source: str
    blanks: tuple[str, ...]
    events: Table
    steps: Table
    stops: tuple[str, ...]
    rig: Table
    gauges: Table
    sensors: Table
    cautions: tuple[str, ...]
    spots: tuple[Spot, ...]
    csv: str = ""


def sheet(
    s: Specimen,
    check: SpecimenCheck,
    day: TestDay,
    run: Run | None = None,
    plan: Run | None = None,
    predicted: Prediction | None = None,
    table: GaugeTable | None = None,
) -> Sheet:
    """The content of the page; raises :class:`InputFault` when ``run`` is of another specimen or another view.

    ``plan``: the plan of the prediction ``predicted``, read for the steel across. With the ``table`` of its gauges the
    page tells the gauges of the specimen, or the recommended ones, and what the coupled prediction says they read.
    """
    if predicted is not None and table is not None:
        if run is not None:
            _same(s, run)
        return _of_prediction(s, check, day, run, predicted, table)
    readings: Readings | None = None
    ties: TieReadings | None = None
    if run is not None:
        _same(s, run)
        from fesplice.post.elevation.gauges import read_gauges

        readings = read_gauges(run, day.loads)
        if plan is not None:
            _same(s, plan, "plan")
            from fesplice.post.plan.gauges import read_ties

            ties = read_ties(run, plan, day.loads)
    gauges, spots = _gauges(s, day, readings, ties)
    sensors, more = _sensors(s, day, readings)
    source = "readings by hand formulas; a run would give those marked –"
    if run is not None:
        source = f"readings from run {run.folder.name}" + (f" and {plan.folder.name}" if plan is not None else "")
    return Sheet(
        s, source, ("date", "age of closure / precast", "f_cm closure / precast", "test leader"),
        _events(day, run, predicted),
        _steps(day, check), _stops(s, day), _rig(day), gauges, sensors, _cautions(s, check, day), (*spots, *more),
    )  # fmt: skip


def _of_prediction(
    s: Specimen, check: SpecimenCheck, day: TestDay, run: Run | None, predicted: Prediction, table: GaugeTable
) -> Sheet:
    """The page with one prediction on it, the coupled one, and every gauge."""
    told = sheetgauges.expected(s, gauges_of(s), table, predicted)
    source = sheetgauges.source_of(predicted)
    spots = tuple(Spot(m.label, m.x, m.y, m.line, m.z) for m in told.marks)
    gauges, sensors = told.tables()
    return Sheet(
        s, source, ("date", "age of closure / precast", "f_cm closure / precast", "test leader"),
        _events(day, run, predicted), _steps(day, check), _stops(s, day), _rig(day), gauges, sensors,
        _cautions(s, check, day), spots, told.to_csv(f"{s.name}: {source}"),
    )  # fmt: skip


def _same(s: Specimen, run: Run, wanted: str = "elevation") -> None:
    seen = view_of(run)
    if seen != wanted:
        raise InputFault(
            str(run.folder), f"is a run of the {seen}; a sheet takes its readings from an elevation, or a prediction"
        )
    if not run.n_steps:
        raise FolderFault(str(run.folder), "no step is stored yet")
    other = specimen_of(run)
    keys = ("body", "bars", "stirrups", "confinement", "steel", "concrete", "loading")
    faults = [
        Fault(key, None, f"of run {run.folder.name} ({other.name}) differs from the specimen file")
        for key in keys
        if _values(getattr(s, key)) != _values(getattr(other, key))
    ]
    if faults:
        raise InputFault(str(run.folder), faults)


def _values(part: Any) -> Any:
    return {k: _values(v) for k, v in part.items()} if isinstance(part, dict) else (
        part.model_dump(mode="json") if hasattr(part, "model_dump") else part
    )  # fmt: skip


# ------------------------------------------------------------------ loads
def _kn(value: float) -> str:
    return _rounded(value, -2, "force")


def _rounded(value: float, places: int, kind: str) -> str:
    """In both systems, each rounded from the value itself."""
    return f"{show(round(value, places), kind)} ({show(value, kind, customary=True)})"


def _mm(value: float, places: int = 1) -> str:
    return f"{value:.{places}f} mm ({value / 25.4:.{places + 1}f} in)".replace("-", "−")


def _event(e: Event) -> tuple[str, ...]:
    return (
        e.name, _kn(e.load), _rounded(e.moment, -5, "moment"), f"{e.stress:.0f} MPa ({e.stress / 6.894757:.0f} ksi)",
        f"{1e6 * e.strain:.0f}", _mm(e.deflection),
    )  # fmt: skip


def _events(day: TestDay, run: Run | None, predicted: Prediction | None) -> Table:
    rows = [(e.load, _event(e)) for e in day.events]
    for name, load in _computed(run) if run is not None else ():
        rows.append((load, (f"computed: {name}", _kn(load), "", "", "", "")))
    if predicted is not None:
        least = "" if predicted.exact else "at least "
        stress = f"{predicted.strength_text} ({predicted.bar_stress / 6.894757:.0f} ksi)"
        rows.append((predicted.load, ("predicted from both views", least + _kn(predicted.load), "", stress, "", "")))
    heads = ("event", "load per ram", "moment", "bar stress", "bar strain με", "deflection by ram")
    note = "Strain and deflection from zero under own weight, by hand, cracked sections without tension stiffening."
    return Table("Loads and events", heads, tuple(row for _, row in sorted(rows, key=lambda r: r[0])), note)


def _computed(run: Run) -> list[tuple[str, float]]:
    """Loads per ram [N] that the elevation found, by name."""
    found = findings(run)
    assert isinstance(found, ElevationFindings)
    loads = [
        ("largest load of the elevation alone", found.peak_load),
        ("first visible crack", found.cracking.visible),
        ("bond of a lead lost", found.bond_loss.load),
    ]
    return [(name, load) for name, load in loads if math.isfinite(load)]


def _steps(day: TestDay, check: SpecimenCheck) -> Table:
    s = day.steps
    holds = ", ".join(f"{load / 1e3:g}" for load in s.holds) or "none"
    kip = ", ".join(f"{load / 4448.2216:.1f}" for load in s.holds)
    aim, low = ("yield load",) * 2 if check.band.yields else ("central prediction", "low end of the band")
    rows = (
        ("load control", f"steps of {both(s.first, 'force')} to {_kn(s.change)}"),
        ("stroke control above", f"steps worth {both(s.later, 'force')}, to 1.5 x the deflection at the largest load"),
        ("hold, mark cracks at", f"{holds} kN" + (f" ({kip} kip)" if s.holds else "")),
        ("hands off from", f"{_kn(s.hands_off)}: {HANDS_OFF:g} of the {low}"),
    )
    return Table("Load steps per ram", (), rows, f"Change at {LOAD_CONTROL:g} of the {aim}.")


def _stops(s: Specimen, day: TestDay) -> tuple[str, ...]:
    rig = day.rig
    return (
        f"load reaches the frame limit, {_kn(FRAME * rig.frame / rig.rams)} per ram",
        f"deflection reaches the stroke left in the rams (full stroke {rig.stroke:.0f} mm)",
        "load falls by 20 % and does not come back; unload, then go near",
        "a load cell or the pair of rams differ by more than 5 %",
        "supports move by more than 1 mm, a plate tilts, or the beam leaves its seat",
        "anybody inside the line: pump off",
    )


def _rig(day: TestDay) -> Table:
    r = day.rig
    one = "one ram" if r.rams == 1 else f"{r.rams} rams"
    rows = (
        ("bending bound per ram", f"{_kn(r.bound)}, hardened bars"),
        ("rams and cells", f"{one}, at least {both(r.ram, 'force')} each (1.3 x bound)"),
        ("cell at the low end", f"{100 * r.reading:.0f} % of its range (20 % wanted)"),
        ("frame", f"at least {both(r.frame, 'force')} ({both(r.reactions, 'force')} in all, 60 % of rating)"),
        (
            "stroke",
            f"at least {_mm(r.stroke, 0)}; at M_y {_mm(r.yield_deflection)}, at the bound {_mm(r.bound_deflection, 0)}",
        ),
        ("supports", "one pin, one roller, spherical seats"),
    )
    return Table("Rams, cells, frame", (), rows, "; ".join(r.notes))


# ------------------------------------------------------------------ gauges and sensors
def _shares(day: TestDay) -> tuple[str, ...]:
    return tuple(
        f"{share:g} P: {load / 1e3:.0f} kN ({load / 4448.2216:.0f} kip)" for share, load in zip(SHARES, day.loads)
    )


def _gauges(s: Specimen, day: TestDay, readings: Readings | None, ties: TieReadings | None) -> tuple[Table, list[Spot]]:
    heads = ("", "gauge", "x, y mm (in)", *_shares(day), "advice")
    title = "Strain gauges, expected readings in με"
    rows, spots = [], []
    if readings is None:
        for k, (name, line, x, y, hand) in enumerate(_hand_gauges(s, day), start=1):
            cells = tuple(f"{1e6 * v:.0f}" for v in hand) if hand else ("–",) * len(SHARES)
            rows.append((f"G{k}", name, _place(x, y), *cells, "opposite bar of the pair as well" if hand else ""))
            spots.append(Spot(f"G{k}", x, y, line))
        return Table(title, heads, tuple(rows), _where(s, None)), spots
    for k, g in enumerate(readings.gauges, start=1):
        cells = tuple(f"{1e6 * v:.0f}{star}".replace("-", "−") for v, star in zip(g.strain, _stars(day, readings)))
        rows.append((f"G{k}", g.name, _place(*g.xy), *cells, g.advice))
        spots.append(Spot(f"G{k}", *g.xy, g.line))
    note = _where(s, ties)
    rows += _tie_rows(ties, len(rows) + 1) if ties is not None else []
    if day.loads[-1] > readings.reached:
        note += f" * At the largest load of the run, {_kn(readings.reached)}."
    return Table(title, heads, tuple(rows), note), spots


def _stars(day: TestDay, readings: Readings | None) -> tuple[str, ...]:
    """A mark behind readings at loads that the run did not reach."""
    reached = math.inf if readings is None else readings.reached
    return tuple("*" if load > reached * (1.0 + 1e-9) else "" for load in day.loads)


def _tie_rows(ties: TieReadings, first: int) -> list[tuple[str, ...]]:
    """Rows of the steel across; two stars behind readings at loads beyond the strength of the plan."""
    stars = ["**" if at > ties.reached * (1.0 + 1e-9) else "" for at in ties.wanted]
    return [
        (
            f"G{k}", f"{tie.line} across, in plan", _place(tie.x, tie.y),
            *(f"{round(1e6 * float(v))}{star}".replace("-", "−") for v, star in zip(tie.strain, stars)),
            "y from the centre line; jumps with splitting",
        )
        for k, tie in enumerate(ties.gauges, start=first)
    ]  # fmt: skip


def _where(s: Specimen, ties: TieReadings | None) -> str:
    text = "Mean over 5 mm of gauge, zeroed under own weight; put gauges on the side away from the lap partner."
    if ties is not None and ties.gauges:
        text += " Steel across: read in the plan at the bar stress of the load"
        text += f"; ** beyond its strength of {ties.reached:.0f} MPa." if ties.wanted[-1] > ties.reached else "."
    elif s.confinement.about_pairs:
        text += " Gauge two or three ties in plan as well: they do not lie in the plane of this view."
    return text


def _place(x: float, y: float) -> str:
    return f"{x:.0f}, {y:.0f} ({x / 25.4:.1f}, {y / 25.4:.1f})".replace("-", "−")


def _hand_gauges(s: Specimen, day: TestDay) -> list[tuple[str, str, float, float, tuple[float, ...]]]:
    """Names, lines, places and (at the joint face alone) strains by hand."""
    by_load = {e.load: e.strain for e in day.events}
    face = tuple(by_load[load] for load in day.loads)
    out = []
    for m in bars.main_shapes(s):
        y = float(m.points[0, 1])
        x = -m.side * 0.5 * s.body.closure
        out.append((f"{m.name} joint face" if s.body.closure else f"{m.name} midspan", m.name, x, y, face))
        for station in bars.stations(s):
            kind = station.name.split("/")[1]
            if station.line == m.name and kind in ("lead", "tangent", "mid-bend", "tail-end"):
                out.append((f"{m.name} {kind}", m.name, *station.xy, ()))
        if m.bend is None and s.bars.splice == "straight":
            out.append((f"{m.name} mid lap", m.name, 0.5 * (x + m.tangent_x), y, ()))
    return out


def _sensors(s: Specimen, day: TestDay, readings: Readings | None) -> tuple[Table, list[Spot]]:
    depth, span = s.body.depth, 0.5 * s.body.span
    at = {e.load: e.deflection for e in day.events}
    if readings is None:
        known = [("midspan deflection", "soffit at x = 0", tuple(at[load] for load in day.loads))]
        known += [(name, place, ()) for name, place in _others(s)]
    else:
        known = [(x.name, x.place, tuple(float(v) for v in x.reading)) for x in readings.sensors]
    known += [("settlement of both supports", "beam over the plates", (0.0,) * len(SHARES)),
              ("out of plane at mid-lap", "both side faces, bar row", ())]  # fmt: skip
    if s.bars.splice == "continuous":
        known.pop()
    rows, spots = [], []
    places = {"midspan": [(0.0, 0.0)], "deflection at": [(x, 0.0) for x in bars.load_positions(s)],
              "left joint": [(-0.5 * s.body.closure, 0.0)], "right joint": [(0.5 * s.body.closure, 0.0)],
              "curvature pair, t": [(0.0, 0.06 * depth)], "curvature pair, c": [(0.0, 0.94 * depth)],
              "settlement": [(-span, 0.0), (span, 0.0)]}  # fmt: skip
    for k, (name, place, values) in enumerate(known, start=1):
        marks = _stars(day, readings if any(values) else None)
        cells = tuple(f"{v:.2f} ({v / 25.4:.3f}){star}".replace("-", "−") for v, star in zip(values, marks))
        cells = cells or ("–",) * len(SHARES)
        rows.append((f"D{k}", name, place, *cells))
        head = next((h for h in places if name.startswith(h)), None)
        spots += [Spot(f"D{k}", x, y, "") for x, y in (places[head] if head else [])]
    title = "Displacement sensors, expected readings in mm (in)"
    return Table(title, ("", "sensor", "place", *_shares(day)), tuple(rows)), spots


def _others(s: Specimen) -> list[tuple[str, str]]:
    out = [("deflection at the loads", "mean of the load points")]
    if s.body.closure > 0.0:
        c = 0.5 * s.body.closure
        out += [("left joint opening", f"across x = {-c:.0f}, tension face"),
                ("right joint opening", f"across x = {c:.0f}, tension face")]  # fmt: skip
    base = s.body.depth
    return out + [(f"curvature pair, {f} face", f"base {base:.0f} mm about x = 0") for f in ("tension", "compression")]


def _cautions(s: Specimen, check: SpecimenCheck, day: TestDay) -> tuple[str, ...]:
    out = [CAUTION, "Exclusion zone around beam and line of the rams; screens between people and the closure."]
    if s.bars.splice != "continuous":
        out.append("Weak splice under own weight: lift at the supports, never at midspan.")
    if s.loading.tension_face == "up":
        out.append("Tension face up: the rams push upwards; hold the beam down and catch it after failure.")
    if check.loads.joint_load < 0.25 * check.band.low.load and s.body.closure > 0.0:
        out.append(f"Joints open early, at about {_kn(max(check.loads.joint_load, 0.0))}: no sign of failure.")
    if check.missed:
        out.append("Margins missed: " + ", ".join(m.name for m in check.missed) + ".")
    return tuple(out)
