"""The findings of a run as one screen of plain text."""

from __future__ import annotations

import math
from pathlib import Path

from fesplice.contracts import Outcome
from fesplice.post.summary import Summary, summarise
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
    s = summarise(run)
    rows = [
        ("specimen", s.specimen),
        ("ended", f"{_ended(run)}; {s.steps} steps, {s.loose_steps} at the loose tolerance"),
        ("first crack", f"{_load(s.cracking.first)} per ram; wider than 0.05 mm at {_load(s.cracking.visible)}"),
        *_strength(s),
        ("failed first", s.verdict.what),
        *(("", f"- {line}") for line in s.verdict.evidence),
        *(("then", f"{e.what} at {_load(e.load)}, {e.deflection:.1f} mm") for e in s.events[:6]),
        *_ties(s),
        ("joints at the peak", ", ".join(f"{k} open by {v:.2f} mm" for k, v in s.joint_opening.items()) or "none"),
        (
            "equilibrium",
            f"supports against loads {s.residual:.1e}; nodes out of balance at the peak {_share(s.unbalanced)}, "
            f"at worst {_share(s.worst_unbalanced)} of the loads (step {s.worst_step})",
        ),
        ("run folder", str(run.folder)),
    ]
    if page is not None:
        rows.append(("page", str(page)))
    wide = max(len(name) for name, _ in rows)
    return "\n".join(f"{name:<{wide}}  {text}" for name, text in rows) + "\n\n" + CAUTION


def _ended(run: Run) -> str:
    return "not finished: it runs, or was stopped" if run.outcome is Outcome.running else run.outcome.value


def _strength(s: Summary) -> list[tuple[str, str]]:
    def stresses(at: dict[str, float]) -> str:
        return ", ".join(f"{line} {both(v, 'stress')}" for line, v in at.items() if math.isfinite(v))

    strength = s.strength
    rows = [
        ("peak load", f"{_load(s.peak_load)} per ram at {both(s.peak_deflection, 'length')} midspan deflection"),
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
            f"vertical tension at the hook {tie.demand / 1e3:.0f} of {tie.capacity / 1e3:.0f} kN "
            f"({_share(tie.usage)} of f_ct x net area at the peak, {_share(tie.highest_usage)} at most); "
            f"lift {tie.lift:.3f} mm, open over {tie.open_length:.0f} mm",
        )
        for tie in s.ties
    ]


def _load(force: float) -> str:
    return "none seen" if not math.isfinite(force) else both(force, "force")


def _share(value: float) -> str:
    return "?" if not math.isfinite(value) else f"{100.0 * value:.1f} %"
