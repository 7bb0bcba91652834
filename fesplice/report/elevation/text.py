"""The findings of an elevation as rows of plain text."""

from __future__ import annotations

import math

from fesplice.post.concrete import HAIRLINE, VISIBLE
from fesplice.post.elevation.findings import ElevationFindings
from fesplice.report.elevation.beam import beam_of
from fesplice.report.parts import percent
from fesplice.report.view import View
from fesplice.units import both

Rows = list[tuple[str, str]]


def loads(view: View) -> Rows:
    """Loads and bar stresses: what stands before the failure."""
    f = beam_of(view).found
    return [("first crack", _cracking(f)), *_strength(f, view.run.indices[-1])]


def details(view: View) -> Rows:
    """What happened on the way, prying tie, joints, balance: what stands after the failure."""
    f = beam_of(view).found
    return [
        *(("then", f"{e.what} at {_load(e.load)}, {e.deflection:.1f} mm") for e in f.events),
        *_ties(f),
        ("joints at the peak", _joints(f)),
        (
            "equilibrium",
            f"supports against loads {f.residual:.1e}; nodes out of balance at the peak {percent(f.unbalanced)}, "
            f"at worst {percent(f.worst_unbalanced)} of the loads (step {f.worst_step})",
        ),
    ]


def _cracking(f: ElevationFindings) -> str:
    if not math.isfinite(f.cracking.first):
        return "none yet"
    seen = math.isfinite(f.cracking.visible)
    wide = f"wider than {VISIBLE} mm at {_load(f.cracking.visible)}" if seen else f"none wider than {VISIBLE} mm"
    return f"{_load(f.cracking.first)} per ram; {wide}"


def _joints(f: ElevationFindings) -> str:
    if not f.joint_opening:
        return "none"
    # a closed joint reports the tiny overlap of its contact
    sides = {k: f"open by {v:.2f} mm" if v >= HAIRLINE else "closed" for k, v in f.joint_opening.items()}
    told = ", ".join(f"{k} {said}" for k, said in sides.items())
    above = " above it" if "closed" in sides.values() and f.joint_widest >= HAIRLINE else ""
    return f"{told} at the tension face; widest {f.joint_widest:.2f} mm{above} at y = {f.joint_widest_y:.0f} mm"


def _strength(f: ElevationFindings, last: int) -> Rows:
    stresses = ", ".join(f"{line} {both(v, 'stress')}" for line, v in f.bar_stress.items() if math.isfinite(v))
    rows = [
        (
            "peak load",
            f"{_load(f.peak_load)} per ram at {both(f.peak_deflection, 'length')} midspan deflection"
            + (", the last step: the true peak may lie higher" if f.peak_step == last else ""),
        ),
        ("bar stress at peak", f"{stresses} at the joint face"),
    ]
    loss, strength = f.bond_loss, f.strength
    if loss.step >= 0:
        place = f"after {_load(loss.load)} per ram at {loss.deflection:.1f} mm"
        rows.append(("bond of a lead lost", f"{place}, bars at the joint face {both(loss.bar_stress, 'stress')}"))
    stress = both(f.assessment.bar_stress, "stress")
    held = f"{'' if strength.exact else 'at least '}{_load(strength.value)} at {strength.deflection:.1f} mm"
    rows.append(("strength", f"{held}, bars at the joint face {stress} ({strength.kind.words})"))
    rows += [("on the way", text) for text in strength.told("mm deflection")]
    return rows


def _ties(f: ElevationFindings) -> Rows:
    return [
        (
            f"prying tie {t.line}",
            f"index of prying at the {_anchor(f, t.line)} {t.index:.2f} at the peak, {t.highest_index:.2f} at most "
            f"(plane {percent(t.torn, 0)} torn, tension {t.tension:.2f} of {t.left:.2f} MPa left, x = {t.x:.0f} mm); "
            f"vertical tension {t.demand / 1e3:.0f} of {t.capacity / 1e3:.0f} kN ({percent(t.utilisation)} of f_ct x "
            f"net area at the peak, {percent(t.highest_utilisation)} at most); lift {t.lift:.3f} mm, open over "
            f"{t.open_length:.0f} mm",
        )
        for t in f.ties
    ]


def _anchor(f: ElevationFindings, line: str) -> str:
    return "hook" if math.isfinite(f.hook_share.get(line, math.nan)) else "bar end"


def _load(force: float) -> str:
    return both(force, "force")
