"""Figures of curves: bar profiles, load against deflection, hook nodes over load."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np

from fesplice.contracts import Floats, Outcome
from fesplice.mesh import ZONES
from fesplice.post.elevation.bars import face_arcs, profile
from fesplice.post.elevation.forces import OPEN
from fesplice.post.elevation.layout import main_lines
from fesplice.post.mechanisms import Mechanism
from fesplice.report import style
from fesplice.report.elevation.beam import MOVED, beam_of
from fesplice.report.elevation.fields import short_name
from fesplice.report.view import LeftOut, Stage, View
from fesplice.report.within import within
from fesplice.units import factor

_KIP = factor("kip", "force")
_INCH = factor("in", "length")
#: Ground of letters that may lie on lines.
_CLEAR: dict[str, Any] = {"boxstyle": "round,pad=0.08", "facecolor": "white", "edgecolor": "none", "alpha": 0.85}


def _name(stage: Stage) -> str:
    return stage.title[:1].lower() + stage.title[1:]


# ------------------------------------------------------------------ bars
def bar_profiles(view: View, folder: Path) -> list[Path]:
    """Stress, slip and bond stress along the main bars, with lead, bend and tail told apart."""
    mesh = view.run.mesh
    stages, lines = beam_of(view).stages(), list(main_lines(mesh))
    rows = (("stress (MPa)", "stress"), ("slip (mm)", "slip"), ("bond stress (MPa)", "tau"))
    table: dict[str, list[Any]] = {
        name: [] for name in ("line", "stage", "step", "distance_mm", "x_mm", "y_mm", "zone",
                              "stress_MPa", "slip_mm", "bond_stress_MPa", "bearing_N_per_mm")
    }  # fmt: skip
    with style.sheet(style.WIDE if len(lines) > 1 else 110.0, 124.0) as figure:
        grid = figure.subplots(3, len(lines), squeeze=False, sharey="row", sharex="col")
        for column, line in enumerate(lines):
            start, anchored = _origin(view, line)
            # An anchored bar pulled towards its loaded end slips against the arc: counted positive.
            sense = -1.0 if anchored else 1.0
            for stage, look in zip(stages, style.looks(stages)):
                p = profile(mesh, view.fields(stage.step), line)
                at = p.arc - start
                look = look | {"label": _name(stage)}
                grid[0, column].plot(p.middle - start, p.stress, **look)
                grid[1, column].plot(at, sense * p.slip, **look)
                grid[2, column].plot(at, sense * p.tau, **look)
                zone = [ZONES[k] for k in p.zone]
                values = ([line] * len(at), [stage.name] * len(at), [stage.step] * len(at), at, p.xy[:, 0], p.xy[:, 1],
                          zone, p.at_nodes, sense * p.slip, sense * p.tau, p.bearing)  # fmt: skip
                for name, part in zip(table, values):
                    table[name].extend(np.asarray(part).tolist())
            _zones(grid[:, column], view, line, start, anchored)
            end = "joint face" if beam_of(view).laid.joints else "start of the lap"
            word = f"distance along the bar from the {end} (mm)" if anchored else "distance from midspan (mm)"
            grid[2, column].set_xlabel(word)
            style.letter(grid[0, column], "ab"[column] if len(lines) > 1 else "", f"Bars {line}")
        for row, (label, _) in zip(grid, rows):
            row[0].set_ylabel(label)
            for axes in row:
                axes.axhline(0.0, color=style.QUIET, linewidth=0.5, zorder=0)
        _alike(grid, view)
        _yield(grid[0], view, lines)
        key_below(figure, grid[0, 0], 3)
        return style.save(figure, folder, "bar-profiles", {"": table})


def _origin(view: View, line: str) -> tuple[float, bool]:
    """Arc length the distances of a profile count from, and whether the line is anchored in the splice."""
    laid = beam_of(view).laid
    arcs = face_arcs(view.run.mesh, line, laid)
    return (float(arcs[0]), True) if line in laid.anchors else (float(np.mean(arcs)), False)


def _zones(column: Any, view: View, line: str, start: float, anchored: bool) -> None:
    """Shade bend and tail, name the zones, and keep to the part of the bar near the splice."""
    bar = view.run.mesh.lines[line]
    arc, zone = np.asarray(bar.arc, float) - start, np.asarray(bar.zone)
    low, high = beam_of(view).laid.y
    reach = 1.5 * (high - low)
    limits = (max(-reach, arc[0]), arc[-1]) if anchored else (max(-2.0 * reach, arc[0]), min(2.0 * reach, arc[-1]))
    spans = {}
    for k, name in enumerate(ZONES):
        here = np.flatnonzero(zone == k)
        if len(here):
            first = arc[max(here[0] - 1, 0)] if k else max(limits[0], 0.0 if anchored else limits[0])
            spans[name] = (float(first), float(arc[here[-1]]))
    for axes in column:
        axes.set_xlim(*limits)
        if anchored:
            axes.axvline(0.0, color=style.INK, linewidth=0.7, linestyle=(0, (4, 2)), zorder=0)
        for name, shade in (("bend", "#e4e1d8"), ("tail", "#f2f0ea")):
            if name in spans:
                axes.axvspan(*spans[name], color=shade, linewidth=0.0, zorder=-1)
    if len(spans) > 1:
        for name, (a, b) in spans.items():
            column[0].text(
                0.5 * (a + b), 0.985, name, transform=column[0].get_xaxis_transform(), fontsize=7,
                color=style.QUIET, ha="center", va="top",
            )  # fmt: skip


def _alike(grid: Any, view: View) -> None:
    """Upright scales that hold for every run of the series."""

    def ends(v: View, quantity: str) -> Floats:
        """Least and largest of a quantity along the main bars at the stages."""
        profiles = (profile(v.run.mesh, v.fields(s.step), line) for s in beam_of(v).stages() for line in
                    main_lines(v.run.mesh))  # fmt: skip
        values = [np.asarray(getattr(p, quantity), float) for p in profiles]
        both = np.concatenate(values) if quantity == "stress" else np.concatenate([*values, *(-v for v in values)])
        return np.array([np.nanmin(both), np.nanmax(both)])

    if not view.shown.beside:
        return
    for row, quantity in zip(grid, ("stress", "slip", "tau"), strict=True):
        low, high = (
            -view.over(lambda v, q=quantity: -float(ends(v, q)[0])),
            view.over(lambda v, q=quantity: float(ends(v, q)[1])),
        )
        room = 0.05 * max(high - low, 1e-9)
        row[0].set_ylim(low - room, high + room)


def _yield(row: Any, view: View, lines: list[str]) -> None:
    """Head room for the zone names, and the yield strength where it is near."""
    low, high = row[0].get_ylim()
    row[0].set_ylim(low, high + 0.14 * (high - low))
    for axes, line in zip(row, lines):
        strength = view.specimen.steel[view.run.mesh.lines[line].steel].yield_strength
        if strength < 1.4 * high:
            axes.axhline(strength, color=style.QUIET, linewidth=0.7, linestyle=(0, (1, 1.5)))
            axes.annotate(
                f"f$_y$ = {strength:.0f} MPa", (0.99, strength), xycoords=("axes fraction", "data"), ha="right",
                fontsize=7, color=style.QUIET, va="top", xytext=(0, -1), textcoords="offset points", bbox=_CLEAR,
            )  # fmt: skip
            row[0].set_ylim(low, max(row[0].get_ylim()[1], 1.12 * strength))


# ------------------------------------------------------------------ load against deflection
def load_deflection(view: View, folder: Path) -> list[Path]:
    """Load per ram against midspan deflection, in both unit systems, with what happened on the way."""
    curve, stages = view.curve, beam_of(view).stages()
    load, deflection = np.asarray(curve["load_N"], float) / 1e3, np.asarray(curve["deflection_mm"], float)
    outcome = np.asarray([str(o) for o in curve["outcome"]]) if "outcome" in curve else np.full(len(load), "")
    with style.sheet(style.NARROW + 21.0, 82.0) as figure:
        axes = figure.subplots()
        whole = view.part(within)
        # past the predicted failure the elevation only tells what would come if nothing else gave way
        past = len(load) if whole is None else int(np.argmax(load >= whole.load / 1e3)) or len(load)
        line: dict[str, Any] = {"color": style.FAMILY["A"]["color"], "marker": ".", "markersize": 2.2}
        axes.plot(deflection[: past + 1], load[: past + 1], linewidth=1.4, **line)
        axes.plot(deflection[past:], load[past:], linewidth=0.7, linestyle=(0, (3, 1.5)), **line)
        relaxed = np.isin(outcome, list(Outcome.unconverged.spellings))
        if relaxed.any():
            look = {"marker": "o", "markerfacecolor": "white", "markersize": 3.5, "linestyle": "none"}
            axes.plot(deflection[relaxed], load[relaxed], color=style.INK, label="relaxed tolerance", **look)
        axes.set_xlabel("midspan deflection (mm)")
        axes.set_ylabel("load per ram (kN)")
        axes.set_xlim(min(0.0, float(deflection.min())), 1.06 * view.over(lambda v: float(v.curve[MOVED].max())))
        axes.set_ylim(min(0.0, float(load.min())), 1.2 * view.over(lambda v: float(v.curve["load_N"].max()) / 1e3))
        axes.grid(True, zorder=0)
        _events(axes, view, stages, deflection, load)
        right = axes.secondary_yaxis("right", functions=_scales(1e3 / _KIP))
        right.set_ylabel("load per ram (kip)")
        top = axes.secondary_xaxis("top", functions=_scales(1.0 / _INCH))
        top.set_xlabel("midspan deflection (in)")
        top.xaxis.set_major_formatter("{x:g}")
        for side in ("top", "right"):
            axes.spines[side].set_visible(True)
        style.key(axes, loc="lower right")
        numbers = {k: v for k, v in curve.items() if k in ("step", "load_N", "deflection_mm", "outcome")
                   or k.endswith(("_mm", "_MPa", "_Nmm"))}  # fmt: skip
        return style.save(figure, folder, "load-deflection", {"": numbers})


def _scales(ratio: float) -> Any:
    """Both ways between an axis and its twin in other units."""
    return (lambda v: np.asarray(v) * ratio, lambda v: np.asarray(v) / ratio)


def _events(axes: Any, view: View, stages: tuple[Stage, ...], deflection: Floats, load: Floats) -> None:
    """Marks on the curve: first crack, joints opening, yield, the stages of the other figures, and where the prediction
    from both views has the splice fail.
    """
    marks: list[tuple[str, int, str]] = []
    row = first_crack(view)
    if row is not None:
        marks.append((f"first crack, {load[row]:.0f} kN", row, "v"))
    opened = joint_opening(view)
    if opened is not None:
        marks.append((f"joint open {OPEN} mm at the face, {load[opened]:.0f} kN", opened, "s"))
    yielded = beam_of(view).found.assessment.state(Mechanism.yielding)
    if yielded is not None and yielded.reached:
        at = view.run.indices.index(yielded.step)
        marks.append((f"bars yield, {load[at]:.0f} kN, {view.bar_stress[at]:.0f} MPa", at, "*"))
    lost = "first loss of bond"
    told = [(s, shape) for s, shape in zip(stages, style.shapes(stages)) if s.name != "predicted"]
    marks += [(_name(s).replace("first loss", lost), s.row, shape) for s, shape in told]
    if len(told) < len(stages):
        at = beam_of(view).found.strength.row
        marks.append((f"this view alone, {load[at]:.0f} kN, {view.bar_stress[at]:.0f} MPa", at, "^"))
    for text, at, marker in marks:
        # Events are solid and small, stages hollow and larger: both show where they fall together.
        event = marker in "vs*"
        axes.plot(
            deflection[at], load[at], marker=marker, markersize=5.5 if marker == "*" else 3.6 if event else 6.0,
            linestyle="none", markerfacecolor=style.QUIET if event else "none", markeredgecolor=style.INK,
            markeredgewidth=0.8, label=text, zorder=5,
        )  # fmt: skip
    whole = view.part(within)
    if whole is not None:
        top = int(np.nanargmax(load))
        at = float(np.interp(whole.load / 1e3, np.maximum.accumulate(load[: top + 1]), deflection[: top + 1]))
        axes.plot(
            at, whole.load / 1e3, marker="X", markersize=7.0, linestyle="none", color="#b4532a",
            markeredgecolor=style.INK, markeredgewidth=0.8, label=whole.failure, zorder=6,
        )  # fmt: skip


def first_crack(view: View) -> int | None:
    """Row of the curve at which the first crack stands; None when none formed."""
    # A run may have grown since its curve was read.
    row = np.flatnonzero(view.curve["step"] == beam_of(view).found.cracking.first_step)
    return int(row[0]) if len(row) else None


def joint_opening(view: View) -> int | None:
    """Row of the curve at which a joint first opened visibly at the tension face; None when none did."""
    columns = [np.asarray(view.curve[k], float) for k in ("joint_left_mm", "joint_right_mm") if k in view.curve]
    if not columns or not beam_of(view).laid.joints:
        return None
    open_ = np.flatnonzero(np.nanmax(columns, axis=0) >= OPEN)
    return int(open_[0]) if len(open_) else None


# ------------------------------------------------------------------ hook nodes
def hook_history(view: View, folder: Path) -> list[Path]:
    """Principal tension at the hook nodes as share of f_ct over the load; thin after the largest load."""
    stages = beam_of(view).stages()
    if not view.run.mesh.stations:
        raise LeftOut("no bar has a hook")
    h = beam_of(view).hooks
    load, top = h.load / 1e3, int(np.nanargmax(h.load))
    lines = sorted(set(h.lines))
    with style.sheet(style.WIDE if len(lines) > 1 else 110.0, 72.0) as figure:
        row = figure.subplots(1, len(lines), squeeze=False, sharey=True)[0]
        for axes, line, mark in zip(row, lines, "ab"):
            own = [k for k, name in enumerate(h.lines) if name == line]
            for k, look in zip(own, style.CYCLE * 2):
                axes.plot(load[: top + 1], h.ratio[: top + 1, k], label=_place(h.names[k]), **look)
                axes.plot(load[top:], h.ratio[top:, k], **look | {"linewidth": 0.5, "alpha": 0.8})
            axes.axhline(1.0, color=style.INK, linewidth=0.6, linestyle=(0, (1, 1.5)))
            for stage in stages:
                axes.axvline(stage.load / 1e3, color=style.FAINT, linewidth=0.6, zorder=0)
            style.letter(axes, mark if len(lines) > 1 else "", f"Hooks of bars {line}")
            axes.set_xlabel("load per ram (kN)")
            furthest = view.over(lambda v: float(beam_of(v).hooks.load.max()) / 1e3)
            axes.set_xlim(min(0.0, float(load.min())), 1.02 * furthest)
        row[0].set_ylabel(f"principal tension / f$_{{ct}}$, mean over {h.diameters:.0f} d$_b$")
        low, high = row[0].get_ylim()
        if view.shown.beside:
            high = 1.05 * view.over(lambda v: float(np.nanmax(beam_of(v).hooks.ratio, initial=0.0)))
            low = -1.05 * view.over(lambda v: -float(np.nanmin(beam_of(v).hooks.ratio, initial=0.0)))
        row[0].set_ylim(min(low, 0.0), max(high, 1.15))
        key_below(figure, row[0], 5)
        return style.save(figure, folder, "hook-history", {"": _hook_table(view)})


def _place(station: str) -> str:
    """``A/tangent`` -> ``2 tangent``: number and place, without the line."""
    return f"{short_name(station).removeprefix(station.partition('/')[0])} {station.partition('/')[2]}".strip()


def key_below(figure: Any, axes: Any, columns: int) -> None:
    """One key under all panels, of what is named in ``axes``."""
    handles, labels = axes.get_legend_handles_labels()
    if labels:
        figure.legend(handles, labels, loc="outside lower center", ncols=min(columns, len(labels)), columnspacing=1.4)


def _hook_table(view: View) -> dict[str, Any]:
    h = beam_of(view).hooks
    n = len(h.names)
    return {
        "step": np.repeat(h.step, n),
        "load_N": np.repeat(h.load, n),
        "station": list(h.names) * len(h.step),
        "principal_tension_MPa": h.major.ravel(),
        "angle_deg": np.degrees(h.angle).ravel(),
        "ratio_to_fct": h.ratio.ravel(),
        "mean_positive_tension_MPa": h.positive.ravel(),
    }
