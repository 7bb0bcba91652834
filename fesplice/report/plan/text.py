"""The findings of a plan run as one screen of plain text."""

from __future__ import annotations

import math
from pathlib import Path

from fesplice.contracts import Outcome
from fesplice.post.plan.findings import PlanSummary, summarise_plan
from fesplice.store import Run
from fesplice.units import both

CAUTION = (
    "Research aid: not a design check and not a safety system. Local codes and licensed engineers decide.\n"
    "The plan alone: prying, flexure and shear need the elevation; read the strength between free and intact plane."
)
_PLANE = {"cohesive": "softens", "intact": "never softens", "none": "there is none"}


def plan_text(run: Run, page: Path | None = None) -> str:
    """Strength, mode, struts, thrust, ties, cracks, balance, files; for a terminal."""
    if not run.n_steps:
        return f"{run.specimen_name}: no step is stored yet ({run.outcome.value})"
    s = summarise_plan(run)
    rows = [
        ("specimen", f"{s.specimen}, plan at bar level"),
        ("ended", f"{_ended(run)}; last step {run.indices[-1]}{_loose(s)}"),
        ("plane to the body", f"{_PLANE[s.hanging]}; {_share(s.plane_lost)} of it past its peak at strength"),
        ("largest load", f"{both(s.peak_load, 'force')} per side at {both(s.peak_deflection, 'length')} extension"),
        ("strength", f"{_strength(s)}, bars at the face {_stresses(s.first_bar_stress)}"),
        ("failed first", s.verdict.what),
        *(("", f"- {line}") for line in s.verdict.evidence),
        *_struts(s),
        *_thrusts(s),
        *_ties(s),
        *(
            (f"cracks {c.place}", f"along the bars {c.opening:.2f} mm, wider than 0.05 mm over {c.length:.0f} mm; "
             f"widest of all {c.widest:.2f} mm at x = {c.widest_x:.0f}, y = {c.widest_y:.0f} mm")
            for c in s.splitting
        ),
        ("side faces", f"moved out by {s.side_displacement:.2f} mm at most"),
        ("balance", f"strips between cuts {_share(s.residual)} of the bar force at worst, nodes of struts and ties "
         f"{_share(s.left_out)}"),
        *(("note", text) for text in run.warnings if " estimated by " not in text),
        ("run folder", str(run.folder)),
    ]  # fmt: skip
    if page is not None:
        rows.append(("page", str(page)))
    wide = max(len(name) for name, _ in rows)
    return "\n".join(f"{name:<{wide}}  {text}" for name, text in rows) + "\n\n" + CAUTION


def _ended(run: Run) -> str:
    return "not finished: it runs, or was stopped" if run.outcome is Outcome.running else run.outcome.value


def _loose(s: PlanSummary) -> str:
    return f"; {s.loose_steps} steps at the loose tolerance, not fully in equilibrium" if s.loose_steps else ""


def _strength(s: PlanSummary) -> str:
    load = both(s.strength.first, "force")
    if not s.strength.dropped:
        return f"at least {load} per side, no drop of 15 % so far"
    return f"{load} per side before the first drop of 15 % (step {s.strength_step})"


def _stresses(by: dict[str, float]) -> str:
    return ", ".join(f"{name} {v:.0f}" for name, v in by.items() if len(name) == 1) + " MPa"


def _struts(s: PlanSummary) -> list[tuple[str, str]]:
    return [
        (
            f"strut {c.gap}",
            f"{c.force / 1e3:.0f} kN at {c.inclination:.0f} degrees, {c.width:.0f} mm wide, {c.stress:.1f} MPa; "
            f"across {c.across / 1e3:.0f} kN, by hand {s.hand_thrust[c.gap] / 1e3:.0f} kN",
        )
        for c in s.struts
        if c.gap in s.hand_thrust and c.force > 0.0
    ]


def _thrusts(s: PlanSummary) -> list[tuple[str, str]]:
    return [
        (
            f"thrust on {t.line}",
            f"{t.force / 1e3:.0f} kN: ties {_share(t.tied)}, concrete {_share(t.concrete)}, body {_share(t.body)}, "
            f"bars where they enter {_share(t.hold)}",
        )
        for t in s.thrusts
    ]


def _ties(s: PlanSummary) -> list[tuple[str, str]]:
    return [
        (f"transverse {t.line}", f"{t.stress:.0f} MPa, {_share(t.usage)} of yield, at x = {t.x:.0f}, y = {t.y:.0f} mm")
        for t in s.ties
    ]


def _share(value: float) -> str:
    return "?" if not math.isfinite(value) else f"{100.0 * value:.1f} %"
