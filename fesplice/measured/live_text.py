"""A running test as text: a screen of a few lines, and one line where the terminal keeps everything."""

from __future__ import annotations

import math

from fesplice.measured.live import NO_SAFETY, Now


def line(now: Now) -> str:
    """One line."""
    if not math.isfinite(now.load):
        return f"{now.state}; {now.readings} readings"
    out = f"{len(now.outside)} of {now.gauges} gauges outside their band"
    bend = f"{_number(now.deflection, 2)} mm  stiffness {_number(now.stiffness, 2)}"
    return (
        f"{now.t:7.0f} s  {now.load / 1e3:8.1f} kN per ram  {_share(now.share)} of the prediction  bar "
        f"{_number(now.bar_stress, 0)} MPa  {bend}  {out}"
    )


def screen(now: Now, specimen: str) -> str:
    """The screen."""
    parts = [f"{specimen}: {now.state}", NO_SAFETY, ""]
    ahead = f"{now.coming} in {_number(now.ahead, 1, 1e-3)} kN" if now.coming else "nothing more"
    rows = [
        ("load per ram", f"{_number(now.load, 1, 1e-3)} kN"),
        ("largest load held", f"{_number(now.largest, 1, 1e-3)} kN"),
        ("of the predicted load", _share(now.share)),
        ("bar stress at the joint face", f"{_number(now.bar_stress, 0)} MPa"),
        ("midspan deflection", f"{_number(now.deflection, 2)} mm"),
        ("stiffness over computed", _number(now.stiffness, 2)),
        ("next by the prediction", ahead),
    ]
    parts += [f"{name:<30}{value}" for name, value in rows]
    parts += ["", "signals" if now.signals else "no signal so far"]
    parts += [f"  {signal_line(s.text, s.load, s.t)}" for s in now.signals]
    parts += ["", f"gauges outside their band: {len(now.outside)} of {now.gauges}"]
    parts += [f"  {g.gauge:<20} {g.reading:10.4g} {g.unit}  ({g.low:.4g} to {g.high:.4g})" for g in now.outside[:12]]
    more = f", {now.passed} other lines" if now.passed else ""
    anew = f", log begun anew {now.begun} times" if now.begun else ""
    parts += ["", f"{now.readings} readings{more}{anew}"]
    return "\n".join(parts)


def signal_line(text: str, load: float, t: float) -> str:
    """A signal in words."""
    return f"{text.upper()} ({load / 1e3:.1f} kN per ram, {t:.0f} s)"


def _number(value: float, places: int, per: float = 1.0) -> str:
    return f"{value * per:.{places}f}" if math.isfinite(value) else "–"


def _share(value: float) -> str:
    return f"{100.0 * value:.0f} %" if math.isfinite(value) else "–"
