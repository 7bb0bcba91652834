"""Figures of curves and bars in the plan: strain of the steel across, what holds the edge bars, side faces, load."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np

from fesplice.post.plan.forces import Thrust
from fesplice.post.plan.layout import PlanBar
from fesplice.post.plan.trace import TieState
from fesplice.post.runs import bar_columns
from fesplice.report import style
from fesplice.report.plan.slab import MOVED, Slab, places_across, slab_of
from fesplice.report.view import Stage, View
from fesplice.units import factor

_KIP = factor("kip", "force")
_INCH = factor("in", "length")
#: What holds an edge strip, with its look: light and dark, plain and hatched.
HOLDERS: tuple[tuple[str, str, dict[str, Any]], ...] = (
    ("tied", "steel across", {"facecolor": "#0b3c6f"}),
    ("concrete", "tension of concrete", {"facecolor": "#c8b08f", "hatch": "////"}),
    ("body", "body above", {"facecolor": "#e4e1d8"}),
    ("hold", "bars where they enter", {"facecolor": "#ffffff", "hatch": "----"}),
)
# A key that may lie on lines.
_CLEAR: dict[str, Any] = {"frameon": True, "facecolor": "white", "edgecolor": "none", "framealpha": 0.9}
_FILLS = ({"facecolor": "#0b3c6f"}, {"facecolor": "#bfd6e8", "hatch": "////"}, {"facecolor": "#8d8d8d"},
          {"facecolor": "#ffffff", "hatch": "xxxx"})  # fmt: skip


def _name(stage: Stage) -> str:
    return stage.title[:1].lower() + stage.title[1:]


# ------------------------------------------------------------------ steel across
def plan_ties(view: View, folder: Path) -> list[Path]:
    """Strain of every line of transverse steel along the lap against yield, and what holds each edge bar."""
    slab = slab_of(view)
    stage = slab.leading()
    states = slab.ties(stage.step)
    thrusts = slab.forces.thrusts(view.fields(stage.step))
    tables = {"thrust": _thrust_table(stage, thrusts)}
    height = 30.0 + 9.0 * len(thrusts)
    with style.sheet(style.WIDE if states else 0.72 * style.WIDE, height + (48.0 if states else 0.0)) as figure:
        if states:
            top, low = figure.subplots(2, 1, height_ratios=(48.0, height - 8.0))
            _strains(top, slab, stage, {t.line: t.strain for t in states})
        else:
            low = figure.subplots(1, 1)
        _shares(low, thrusts)
        style.letter(low, "b" if states else "", f"What holds the edge bars, {_name(stage)}")
        tables |= {"": _tie_table(slab, stage)} if states else {}
        return style.save(figure, folder, "plan-ties", tables)


def _leading_ties(view: View) -> tuple[TieState, ...]:
    slab = slab_of(view)
    return slab.ties(slab.leading().step)


def _strains(axes: Any, slab: Slab, stage: Stage, strain: dict[str, float]) -> None:
    """One bar per line at its place; lines at one place side by side."""
    at = places_across(slab)
    x = np.array([p for p, _ in at])
    most = max(len(names) for _, names in at)
    pitch = float(np.min(np.diff(x))) if len(x) > 1 else 60.0
    wide = min(0.8 * pitch, 60.0) / most
    steel = slab.mesh.lines[slab.laid.across[0]].steel
    limit = 1e3 * slab.yields[steel] / slab.view.specimen.steel[steel].elastic_modulus
    for place, names in at:
        for k, name in enumerate(names):
            here = place + (k - 0.5 * (len(names) - 1)) * wide
            value = 1e3 * strain[name]
            fill = _FILLS[k % len(_FILLS)]
            axes.bar(here, value, wide * 0.94, edgecolor=style.INK, linewidth=0.5, zorder=3, **fill)
            axes.annotate(
                name, (here, max(value, 0.0)), xytext=(0, 2), textcoords="offset points", fontsize=7, ha="center",
                va="bottom", rotation=90, zorder=5,
                bbox={"boxstyle": "round,pad=0.05", "facecolor": "white", "edgecolor": "none", "alpha": 0.85},
            )  # fmt: skip
    axes.axhline(0.0, color=style.QUIET, linewidth=0.5, zorder=1)
    highest = slab.view.over(lambda v: max((1e3 * t.strain for t in _leading_ties(v)), default=0.0))
    near = highest > 0.25 * limit
    lowest = -slab.view.over(lambda v: max((-1e3 * t.strain for t in _leading_ties(v)), default=0.0))
    axes.set_ylim(1.15 * min(lowest, 0.0), 1.32 * max(highest, limit if near else 0.0, 1e-3))
    if near:
        axes.axhline(limit, color=style.INK, linewidth=0.8, linestyle=(0, (1, 1.5)), zorder=4)
    axes.set_xlim(*slab.laid.x)
    for bar in slab.laid.bars:
        if bar.hooked:
            outside = slab.tail(bar) + 0.5 * bar.sign * bar.diameter
            axes.axvline(outside, color=style.FAINT, linewidth=0.7, linestyle=(0, (4, 2)), zorder=0)
    axes.set_xlabel("x from midspan (mm); dashed: outside of the hooks")
    axes.set_ylabel("largest strain (‰)")
    told = f"{'dotted: ' if near else 'beyond the scale: '}yield strain {style.short(limit)} ‰"
    style.letter(axes, "a", f"Steel across the bars, {_name(stage)}; {told}")


def _shares(axes: Any, thrusts: tuple[Thrust, ...]) -> None:
    """Shares as one stacked bar for each edge bar; what pushes out with the thrust stands left of zero."""
    for row, t in enumerate(thrusts):
        right = left = 0.0
        for key, label, fill in HOLDERS:
            share = 100.0 * float(getattr(t, key))
            if all(getattr(each, key) == 0.0 for each in thrusts):
                continue
            start = right if share >= 0.0 else left
            axes.barh(
                row, share, 0.55, left=start, edgecolor=style.INK, linewidth=0.6, label=label if row == 0 else None,
                **fill,
            )  # fmt: skip
            if abs(share) > 6.0:
                axes.text(
                    start + 0.5 * share, row, f"{share:.0f} %", fontsize=7, ha="center", va="center",
                    bbox={"boxstyle": "round,pad=0.12", "facecolor": "white", "edgecolor": "none"},
                )  # fmt: skip
            right, left = (right + share, left) if share >= 0.0 else (right, left + share)
    axes.axvline(0.0, color=style.INK, linewidth=0.6)
    axes.axvline(100.0, color=style.QUIET, linewidth=0.6, linestyle=(0, (2, 2)))
    axes.set_yticks(range(len(thrusts)), [f"{t.line}: {t.force / 1e3:.0f} kN" for t in thrusts])
    axes.set_ylim(-0.6, len(thrusts) - 0.4)
    axes.set_xlabel("share of the side thrust (%)")
    handles, labels = axes.get_legend_handles_labels()
    if labels:
        axes.figure.legend(handles, labels, ncols=4, loc="outside lower center", columnspacing=1.2)


def _tie_table(slab: Slab, stage: Stage) -> dict[str, list[Any]]:
    table: dict[str, list[Any]] = {}
    for each in slab.stages():
        for t in slab.ties(each.step):
            steel = slab.mesh.lines[t.line].steel
            row = {"stage": each.name, "step": each.step, "load_kN": each.load / 1e3, "line": t.line, "x_mm": t.x,
                   "y_mm": t.y, "strain": t.strain, "stress_MPa": t.stress, "yield_MPa": slab.yields[steel],
                   "share_of_yield": t.utilisation}  # fmt: skip
            for name, value in row.items():
                table.setdefault(name, []).append(value)
    return table


def _thrust_table(stage: Stage, thrusts: tuple[Thrust, ...]) -> dict[str, list[Any]]:
    table: dict[str, list[Any]] = {name: [] for name in (
        "stage", "step", "load_kN", "edge_bar", "gap", "thrust_N", "steel_across", "concrete", "body",
        "bars_where_they_enter", "residual",
    )}  # fmt: skip
    for t in thrusts:
        row = (stage.name, stage.step, stage.load / 1e3, t.line, t.gap, t.force, t.tied, t.concrete, t.body, t.hold,
               t.residual)  # fmt: skip
        for name, value in zip(table, row):
            table[name].append(value)
    return table


# ------------------------------------------------------------------ side faces
def plan_sides(view: View, folder: Path) -> list[Path]:
    """Outward displacement of both side faces along the beam at the stages, and thrust on the edge bars over load."""
    slab = slab_of(view)
    stages, history = slab.stages(), slab.history
    faces = (("low", -1.0, slab.laid.y[0]), ("high", 1.0, slab.laid.y[1]))
    table: dict[str, list[Any]] = {}
    with style.sheet(style.WIDE, 120.0) as figure:
        grid = figure.subplot_mosaic([["low", "high"], ["thrust", "thrust"]], height_ratios=(1.0, 0.9))
        out = {s.step: {name: outward(slab, s, name, sign) for name, sign, _ in faces} for s in stages}
        limit = 1.1 * view.over(lambda v: float(np.abs(_moved(v)).max()))
        lowest = -view.over(lambda v: -float(_moved(v).min()))
        floor = max(1.15 * min(lowest, 0.0), -0.4 * limit) - 1e-6
        for mark, (name, _, y) in zip("ab", faces):
            axes = grid[name]
            for stage, look in zip(stages, style.looks(stages)):
                x, moved = out[stage.step][name]
                axes.plot(x, moved, **look, label=_name(stage))
                for k, v in zip(x, moved):
                    row = {"stage": stage.name, "step": stage.step, "face": name, "x_mm": k, "outward_mm": v}
                    for column, value in row.items():
                        table.setdefault(column, []).append(value)
            axes.axhline(0.0, color=style.QUIET, linewidth=0.5, zorder=0)
            axes.set_ylim(floor, 1.45 * max(limit, 1e-6))
            axes.set_xlim(*slab.laid.x)
            axes.set_xlabel("x from midspan (mm)")
            axes.set_ylabel("outward displacement (mm)")
            style.letter(axes, mark, f"Side face at y = {y:.0f} mm".replace("-", "−"))
            style.key(axes, loc="upper center", **_CLEAR)
        _thrust_over_load(grid["thrust"], slab, stages)
        tables = {"": table, "thrust": {
            "step": history.step, "load_N": history.load, "extension_mm": history.extension,
            **{f"thrust_on_{bar.line}_N": history.thrust[:, k] for k, (bar, _, _) in enumerate(slab.laid.edges)},
            "largest_outward_mm": history.side,
        }}  # fmt: skip
        return style.save(figure, folder, "plan-sides", tables)


def _moved(view: View) -> np.ndarray:
    """Outward displacement [mm] of both side faces at all stages."""
    slab = slab_of(view)
    return np.concatenate(
        [outward(slab, s, *face)[1] for s in slab.stages() for face in (("low", -1.0), ("high", 1.0))]
    )


def outward(slab: Slab, stage: Stage, face: str, sign: float) -> tuple[np.ndarray, np.ndarray]:
    """x [mm] of the nodes of a side face and their outward displacement [mm]."""
    nodes = slab.mesh.node_sets[f"side:{face}"]
    x = slab.mesh.points[nodes, 0]
    order = np.argsort(x)
    u = np.asarray(slab.view.fields(stage.step)["u"], float)
    return x[order], sign * u[2 * nodes[order] + 1]


def _thrust_over_load(axes: Any, slab: Slab, stages: tuple[Stage, ...]) -> None:
    h, top = slab.history, slab.found.strength.row
    for k, ((bar, _, _), line) in enumerate(zip(slab.laid.edges, style.CYCLE)):
        axes.plot(h.load[: top + 1] / 1e3, h.thrust[: top + 1, k] / 1e3, label=f"on {bar.line}", **line)
        axes.plot(h.load[top:] / 1e3, h.thrust[top:, k] / 1e3, **line | {"linewidth": 0.5, "alpha": 0.8})
    for stage in stages:
        axes.axvline(stage.load / 1e3, color=style.FAINT, linewidth=0.6, zorder=0)
    furthest = slab.view.over(lambda v: float(slab_of(v).history.load.max()) / 1e3)
    axes.set_xlim(min(0.0, float(h.load.min()) / 1e3), 1.04 * furthest or 1.0)
    if slab.view.shown.beside:
        most = slab.view.over(lambda v: float(slab_of(v).history.thrust.max()) / 1e3)
        least = -slab.view.over(lambda v: -float(slab_of(v).history.thrust.min()) / 1e3)
        axes.set_ylim(min(0.0, 1.05 * least), 1.05 * most or 1.0)
    axes.set_xlabel("load per side (kN)")
    axes.set_ylabel("side thrust (kN)")
    style.letter(axes, "c", "Thrust that pushes the edge bars out (thin: past the strength)")
    style.key(axes, loc="upper left")


# ------------------------------------------------------------------ load and bar stress
def plan_load(view: View, folder: Path) -> list[Path]:
    """Load per side against extension, and the stress of every bar where it enters."""
    slab, curve = slab_of(view), view.curve
    stages = slab.stages()
    moved, load = np.asarray(curve["extension_mm"], float), np.asarray(curve["load_N"], float) / 1e3
    with style.sheet(style.WIDE, 84.0) as figure:
        left, right = figure.subplots(1, 2)
        left.plot(moved, load, color=style.INK, marker=".", markersize=2.6, linewidth=1.0, zorder=3)
        for stage, marker in zip(stages, style.shapes(stages)):
            left.plot(
                moved[stage.row], load[stage.row], marker=marker, markersize=6.0, linestyle="none",
                markerfacecolor="none", markeredgecolor=style.INK, markeredgewidth=0.8, label=_name(stage), zorder=5,
            )  # fmt: skip
        left.set_ylabel("load per side (kN)")
        left.set_ylim(min(0.0, float(load.min())), 1.12e-3 * view.over(lambda v: float(v.curve["load_N"].max())) or 1.0)
        twin = left.secondary_yaxis(
            "right", functions=(lambda v: np.asarray(v) * 1e3 / _KIP, lambda v: np.asarray(v) * _KIP / 1e3)
        )
        twin.set_ylabel("load per side (kip)")
        left.spines["right"].set_visible(True)
        style.letter(left, "a", "Load")
        style.key(left, loc="lower right", **_CLEAR)
        stresses = bar_columns(curve)
        for bar, line in zip(slab.laid.bars, _cycle(len(slab.laid.bars))):
            right.plot(moved, stresses[bar.line], label=f"{bar.line}, {_place(slab, bar)}", **line)
        high = view.over(lambda v: float(v.bar_stress.max()))
        strength = slab.yields[slab.mesh.lines[slab.laid.bars[0].line].steel]
        if strength < 1.4 * high:
            right.axhline(strength, color=style.QUIET, linewidth=0.7, linestyle=(0, (1, 1.5)))
            right.text(
                0.01, strength, f"f$_y$ = {strength:.0f} MPa", transform=right.get_yaxis_transform(), fontsize=7,
                va="bottom", color=style.QUIET,
            )  # fmt: skip
        lowest = min(float(stresses[b.line].min()) for b in slab.laid.bars)
        right.set_ylim(min(0.0, lowest), 1.15 * (max(high, strength) if strength < 1.4 * high else high) or 1.0)
        right.set_ylabel("bar stress where it enters (MPa)")
        style.letter(right, "b", "Bar stress")
        style.key(right, loc="lower right", ncols=1 if len(slab.laid.bars) < 5 else 2, **_CLEAR)
        for axes in (left, right):
            axes.set_xlabel("extension from face to face (mm)")
            furthest = view.over(lambda v: float(v.curve[MOVED].max()))
            axes.set_xlim(min(0.0, float(moved.min())), 1.04 * furthest or 1.0)
            axes.grid(True, zorder=0)
        keep = {k: v for k, v in curve.items() if k in ("step", "load_N", "outcome", "interface_lost")
                or k.endswith(("_mm", "_MPa"))}  # fmt: skip
        return style.save(figure, folder, "plan-load", {"": keep})


def _cycle(count: int) -> list[dict[str, Any]]:
    """Lines told apart by dash and lightness, then also by weight."""
    n = len(style.CYCLE)
    return [style.CYCLE[k % n] | {"linewidth": 1.2 + 0.9 * (k // n)} for k in range(count)]


def _place(slab: Slab, bar: PlanBar) -> str:
    return "edge" if bar in (slab.laid.bars[0], slab.laid.bars[-1]) else "inner"
