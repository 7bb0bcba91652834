"""Loads of the rams, deflections less the settlement of the supports, rotations, curvature, openings of the joints."""

from __future__ import annotations

import math

import numpy as np

from fesplice.contracts import Floats
from fesplice.geometry import bars
from fesplice.measured.readings import Readings, at_row, uncertainty, word
from fesplice.measured.record import Value
from fesplice.specimen import Specimen
from fesplice.specimen.gauges import Gauge


def ram_loads(r: Readings, peak: int, largest: float, results: dict[str, Value], remarks: list[str]) -> None:
    """Load of each ram at the peak, and a remark where they differ."""
    sides = {side: r.mean(r.of("load", lambda g, side=side: g.ram == side)) for side in ("left", "right")}
    if any(v is None for v in sides.values()):
        return
    left, right = (float(v[peak]) for v in sides.values() if v is not None)
    results["load of the left ram at the peak"] = Value(left, "N", "its own reading in the row of the peak")
    results["load of the right ram at the peak"] = Value(right, "N", "its own reading in the row of the peak")
    if abs(left - right) > 0.05 * largest:
        remarks.append(f"the rams differ by {100 * abs(left - right) / largest:.0f} % at the peak")


def deflections(
    s: Specimen, r: Readings, series: dict[str, Floats], results: dict[str, Value], peak: int
) -> Floats | None:
    """Deflections less the settlement of the supports; midspan (n,), or the load points' where midspan has none."""
    span = s.body.span
    settled = {
        side: r.mean(r.of("deflection", lambda g, x=x: abs(g.x - x) < 0.03 * span))
        for side, x in (("left", -0.5 * span), ("right", 0.5 * span))
    }
    given = {k: v for k, v in settled.items() if v is not None}
    for side, values in given.items():
        series[f"settlement_{side}_mm"] = values
    formula = {
        2: "less the settlement on a straight line between the supports",
        1: f"less the settlement of the {next(iter(given), '')} support",
        0: "settlement of the supports not measured",
    }[len(given)]
    places = {"midspan": (0.0,), "ram": tuple(x for x in bars.load_positions(s) if x)}
    middle = None
    for name, wanted in places.items():
        nets = []
        for x in wanted:
            found = r.mean(r.of("deflection", lambda g, x=x: abs(g.x - x) < 0.03 * span))
            if found is not None:
                share = {"left": 0.5 - x / span, "right": 0.5 + x / span}
                if len(given) < 2:
                    share = dict.fromkeys(given, 1.0)
                # a support that reads nothing in a row takes nothing off there
                nets.append(found - sum((share[k] * np.nan_to_num(v) for k, v in given.items()), np.zeros(len(found))))
        if not nets:
            continue
        net = np.mean(nets, axis=0)
        series[f"deflection_{name}_mm"] = net
        label = "midspan deflection" if name == "midspan" else "deflection under the rams"
        chosen = r.of("deflection", lambda g, w=wanted: any(abs(g.x - x) < 0.03 * span for x in w))
        value = at_row(net, peak, peak)
        results[f"{label} at the peak"] = Value(
            value, "mm", f"mean of {len(chosen)}, {formula}", uncertainty(chosen, value)
        )
        middle = net if middle is None else middle
    return middle


def rotations(s: Specimen, r: Readings, series: dict[str, Floats], results: dict[str, Value], peak: int) -> None:
    """Rotations, and curvature from strains of both faces."""
    for c in r.of("rotation"):
        values = r.fetch(c.name)
        series[f"rotation_{word(c.gauge.id)}_deg"] = values
        results[f"rotation {c.gauge.id} at the peak"] = Value(at_row(values, peak, peak), "deg", "reading")
    # curvature from strains of both faces at one place along the beam
    tops = r.of("concrete_strain", lambda g: g.face == "compression")
    for top in tops:
        for low in r.of("concrete_strain", lambda g, x=top.gauge.x: g.face == "tension" and abs(g.x - x) < 20.0):
            phi = (r.fetch(low.name) - r.fetch(top.name)) / _height(s, top.gauge, low.gauge)
            name = f"{top.gauge.x:g}"
            series[f"curvature_{name}_per_mm"] = phi
            results[f"curvature at x = {name} mm, at the peak"] = Value(
                at_row(phi, peak, peak), "1/mm", f"(strain of the tension face - strain of the compression face) / "
                f"{_height(s, top.gauge, low.gauge):g} mm",
            )  # fmt: skip


def _height(s: Specimen, top: Gauge, low: Gauge) -> float:
    """Distance of two gauges over the depth [mm]; those that say no level sit on their faces."""
    above = top.level if math.isfinite(top.level) else s.body.depth
    return above - (low.level if math.isfinite(low.level) else 0.0)


def openings(r: Readings, series: dict[str, Floats], results: dict[str, Value], peak: int) -> dict[str, Floats]:
    """Opening of each joint (n,) by side."""
    found = {}
    for side in ("left", "right"):
        chosen = r.of("joint_opening", lambda g, side=side: g.joint == side)
        values = r.mean(chosen)
        if values is None:
            continue
        found[side] = series[f"joint_{side}_mm"] = values
        value = at_row(values, peak, peak)
        results[f"{side} joint opening at the peak"] = Value(
            value, "mm", f"mean of {len(chosen)}, strain of the concrete over the base not deducted",
            uncertainty(chosen, value),
        )  # fmt: skip
    return found
