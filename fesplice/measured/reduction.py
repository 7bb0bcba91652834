"""Readings -> what happened: load per ram, deflection less settlement, bar stress three ways, bond, ties, events.

Order (each step a formula named in the results): pairs averaged -> support settlement -> largest load by the raw
maximum -> moment at the joint face with own weight and loading equipment -> bar stress -> bond -> ties -> onsets on
the curve -> peak, drop, energy, stiffness. N, mm, MPa; loads per ram.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from fesplice.contracts import Floats
from fesplice.measured import onsets
from fesplice.measured.displacements import deflections, openings, ram_loads, rotations
from fesplice.measured.readings import Readings, load_per_ram, row_at, uncertainty
from fesplice.measured.record import BarStressAt, BondStress, Happening, TieForce, Value
from fesplice.measured.steel import bar_stress, bond_stress, tie_forces
from fesplice.sizing.statics import Statics
from fesplice.specimen import Specimen

#: Loads at which profiles are told, as shares of the largest.
SHARES = (0.25, 0.5, 0.75, 0.9, 1.0)


@dataclass(frozen=True)
class Reduced:
    """Everything found: columns of the series by name (n,), results by name, rows of the tables, remarks."""

    series: Mapping[str, Floats]
    results: dict[str, Value]
    bar_stress: tuple[BarStressAt, ...]
    bond: tuple[BondStress, ...]
    ties: tuple[TieForce, ...]
    events: tuple[Happening, ...]
    remarks: tuple[str, ...]
    peak: int


def reduce_readings(s: Specimen, rows: Mapping[str, Statics], r: Readings, built: set[str]) -> Reduced:
    """Reduce the readings of a specimen; ``rows`` statics by line of bars, ``built`` key paths measured as built."""
    load, remarks = load_per_ram(r)
    peak = onsets.peak_row(load)
    largest = float(load[peak])
    series: dict[str, Floats] = {"t_s": r.t, "load_N": load}
    results: dict[str, Value] = {}
    u_load = uncertainty(r.of("load"), largest)
    results["largest load"] = Value(largest, "N", "raw maximum of the load per ram, not smoothed", u_load)
    results["time of the largest load"] = Value(float(r.t[peak]), "s", "row of the raw maximum")
    ram_loads(r, peak, largest, results, remarks)
    middle = deflections(s, r, series, results, peak)
    rotations(s, r, series, results, peak)
    opened = openings(r, series, results, peak)
    at = {share: row_at(load, peak, share) for share in SHARES}
    stress = bar_stress(s, rows, r, series, load, peak, at, u_load / largest, built, results, remarks)
    bond = bond_stress(s, r, load, at)
    ties = tie_forces(s, r, load, peak, at, series, results, stress)
    events = _events(r, series, load, peak, middle, opened, results)
    _curve(load, middle, peak, results)
    return Reduced(series, results, tuple(stress), tuple(bond), tuple(ties), tuple(events), tuple(remarks), peak)


# ------------------------------------------------------------------ events and the curve
def _events(
    r: Readings, series: dict[str, Floats], load: Floats, peak: int, middle: Floats | None,
    opened: Mapping[str, Floats], results: dict[str, Value],
) -> list[Happening]:  # fmt: skip
    found = []
    largest, rise = float(load[peak]), slice(0, peak + 1)

    def tell(what: str, at: float, how: str) -> None:
        with np.errstate(invalid="ignore"):
            row = int(np.argmax(load[rise] >= at))
        found.append(Happening(what, at, float(r.t[row]), how))
        results[f"load: {what}"] = Value(at, "N", how)

    curves: list[tuple[str, Floats | None, str]] = [("first crack", middle, "load-midspan deflection")]
    curves += [
        (f"{side} joint begins to open", values, f"load-opening of the {side} joint") for side, values in opened.items()
    ]
    for what, values, of in curves:
        if values is None:
            continue
        if what != "first crack":
            opens = onsets.opening(load[rise], values[rise], largest)
            if opens is not None:
                tell(what, opens, f"{of}: the line through the first {onsets.OPEN[1]:g} mm, taken back to nothing")
            else:
                results[f"load: {what}"] = Value(math.nan, "N", f"{of} does not pass {onsets.OPEN[0]:g} mm")
            continue
        bend = onsets.knee(load[rise], values[rise], largest)
        if bend is None:
            results[f"load: {what}"] = Value(math.nan, "N", f"no knee found on {of}")
            continue
        told = f"knee of {of}: slope x {bend.after / bend.before:.1f}" if bend.before > 0.0 else f"knee of {of}"
        tell(what, bend.load, f"{told}, two lines remove {100 * bend.better:.0f} % of the misfit of one")
    found.append(Happening("largest load", largest, float(r.t[peak]), "raw maximum"))
    fallen = onsets.failure_row(load, peak)
    if fallen is not None:
        told = f"load down by {100 * onsets.FALLEN:.0f} % of the peak"
        found.append(Happening("failure", float(load[fallen]), float(r.t[fallen]), told))
    return sorted(found, key=lambda h: h.t)


def _curve(load: Floats, middle: Floats | None, peak: int, results: dict[str, Value]) -> None:
    if middle is None:
        return
    fallen = onsets.failure_row(load, peak)
    results["drop after the peak"] = Value(
        onsets.drop(load, middle, peak), "1", "1 - least load over the peak, while the deflection is not taken back"
    )
    results["energy to the peak"] = Value(
        onsets.area(load, middle, peak), "N mm", "area under load per ram over midspan deflection, trapezoids"
    )
    if fallen is not None:
        results["energy to failure"] = Value(
            onsets.area(load, middle, fallen), "N mm", f"the same to a drop of {100 * onsets.FALLEN:.0f} %"
        )
    low, high = onsets.STIFF
    results["stiffness"] = Value(
        onsets.stiffness(load, middle, peak), "N/mm",
        f"least squares slope of the rise from {low:g} to {high:g} of the peak, load per ram over midspan deflection",
    )  # fmt: skip
