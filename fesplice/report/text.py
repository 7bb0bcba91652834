"""The findings of a run as one screen of plain text."""

from __future__ import annotations

import math
from pathlib import Path

from fesplice.contracts import Outcome
from fesplice.post.concrete import VISIBLE
from fesplice.post.elevation.findings import Summary, summarise
from fesplice.report.plan.text import plan_text
from fesplice.store import Run
from fesplice.units import both

CAUTION = (
    "Research aid: not a design check and not a safety system. Local codes and licensed engineers decide.\n"
    "Two dimensions only: no side blow-out, no spalling, hook bearing spread over the width (see the page)."
)


def summary_text(run: Run, page: Path | None = None) -> str:
    """Loads, stresses, where it failed first, prying tie, equilibrium, files; for a terminal."""
    if not run.n_steps:
        return f"{run.specimen_name}: no step is stored yet ({run.outcome.value})"
    if run.settings.get("plane") == "plan":
        return plan_text(run, page)
    s = summarise(run)
    rows = [
        ("specimen", s.specimen),
        ("ended", f"{_ended(run)}; last step {run.indices[-1]}{_loose(s)}"),
        ("first crack", _cracking(s)),
        *_strength(s, run),
        ("failed first", s.verdict.what),
        *(("", f"- {line}") for line in s.verdict.evidence),
        *(("then", f"{e.what} at {_load(e.load)}, {e.deflection:.1f} mm") for e in s.events),
        *_ties(s),
        ("joints at the peak", _joints(s)),
        (
            "equilibrium",
            f"supports against loads {s.residual:.1e}; nodes out of balance at the peak {_share(s.unbalanced)}, "
            f"at worst {_share(s.worst_unbalanced)} of the loads (step {s.worst_step})",
        ),
        # what was estimated stands on the page, line by line
        *(("note", text) for text in run.warnings if " estimated by " not in text),
        ("run folder", str(run.folder)),
    ]
    if page is not None:
        rows.append(("page", str(page)))
    wide = max(len(name) for name, _ in rows)
    return "\n".join(f"{name:<{wide}}  {text}" for name, text in rows) + "\n\n" + CAUTION


def _ended(run: Run) -> str:
    return "not finished: it runs, or was stopped" if run.outcome is Outcome.running else run.outcome.value


def _loose(s: Summary) -> str:
    return f"; {s.loose_steps} steps at the loose tolerance, not fully in equilibrium" if s.loose_steps else ""


def _cracking(s: Summary) -> str:
    if not math.isfinite(s.cracking.first):
        return "none yet"
    seen = math.isfinite(s.cracking.visible)
    wide = f"wider than {VISIBLE} mm at {_load(s.cracking.visible)}" if seen else f"none wider than {VISIBLE} mm"
    return f"{_load(s.cracking.first)} per ram; {wide}"


def _joints(s: Summary) -> str:
    if not s.joint_opening:
        return "none"
    # a closed joint reports the tiny overlap of its contact
    sides = ", ".join(f"{k} open by {max(v, 0.0):.2f} mm" for k, v in s.joint_opening.items())
    return f"{sides} at the tension face; widest {s.joint_widest:.2f} mm at y = {s.joint_widest_y:.0f} mm"


def _strength(s: Summary, run: Run) -> list[tuple[str, str]]:
    def stresses(at: dict[str, float]) -> str:
        return ", ".join(f"{line} {both(v, 'stress')}" for line, v in at.items() if math.isfinite(v))

    strength = s.strength
    rows = [
        (
            "peak load",
            f"{_load(s.peak_load)} per ram at {both(s.peak_deflection, 'length')} midspan deflection"
            + (", the last step: the true peak may lie higher" if s.peak_step == run.indices[-1] else ""),
        ),
        ("bar stress at peak", f"{stresses(s.bar_stress)} at the joint face"),
    ]
    loss = s.bond_loss
    if loss.line:
        rows += [
            (
                "bond of a lead lost",
                f"bars {loss.line}, after {_load(loss.load)} per ram at {loss.deflection:.1f} mm "
                f"({stresses(loss.bar_stress)})",
            )
        ]
    if strength.dropped:
        rows += [
            (
                "first drop of 15 %",
                f"from {_load(strength.first)} at {strength.first_deflection:.1f} mm "
                f"({stresses(s.first_bar_stress)}) to {_load(strength.lowest)}",
            )
        ]
        if math.isfinite(strength.later):
            rows += [("afterwards up to", f"{_load(strength.later)} at {strength.later_deflection:.1f} mm")]
    else:
        rows += [("first drop of 15 %", "none so far")]
    return rows


def _ties(s: Summary) -> list[tuple[str, str]]:
    return [
        (
            f"prying tie {tie.line}",
            f"vertical tension at the {_anchor(s, tie.line)} {tie.demand / 1e3:.0f} of {tie.capacity / 1e3:.0f} kN "
            f"({_share(tie.usage)} of f_ct x net area at the peak, {_share(tie.highest_usage)} at most); "
            f"lift {tie.lift:.3f} mm, open over {tie.open_length:.0f} mm",
        )
        for tie in s.ties
    ]


def _anchor(s: Summary, line: str) -> str:
    return "hook" if math.isfinite(s.hook_share.get(line, math.nan)) else "bar end"


def _load(force: float) -> str:
    return both(force, "force")


def _share(value: float) -> str:
    return "?" if not math.isfinite(value) else f"{100.0 * value:.1f} %"
