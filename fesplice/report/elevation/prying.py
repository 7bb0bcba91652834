"""Figure of prying: what pulls on the plane over the bars beside what is left of it, how far it has torn, and where."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np

from fesplice.contracts import Floats
from fesplice.post.elevation.prying import Along, Prying, along, prying
from fesplice.post.elevation.trace import ElevationTrace
from fesplice.post.mechanisms import Mechanism
from fesplice.report import style
from fesplice.report.elevation.beam import beam_of
from fesplice.report.elevation.curves import key_below
from fesplice.report.view import LeftOut, View

#: Share by which two hooks may differ and still be shown as one.
ALIKE = 0.02
_PULL: dict[str, Any] = {"color": "#0b2f57", "linestyle": "-", "linewidth": 1.6}
_LEFT: dict[str, Any] = {"color": "#b4532a", "linestyle": (0, (4.5, 1.6)), "linewidth": 1.3}
_TORN = "#dcc3a5"


def prying_tie(view: View, folder: Path) -> list[Path]:
    """One row: tension on the plane and strength left over the load; share torn and index; both along the plane."""
    beam = beam_of(view)
    seen, laid = beam.seen, beam.laid
    found, line, who, here = view.part(_pried)
    stage, top = beam.leading(), int(np.argmax(seen.load))
    at = found[line]
    judged = beam.found.assessment
    state = judged.state(Mechanism.prying)
    first = seen.row_of(state.step) if state is not None and state.reached else None
    with style.sheet(style.WIDE, 72.0) as figure:
        a, b, c = figure.subplots(1, 3)
        _over_load(a, b, seen, at, top)
        if state is not None and first is not None:
            _mark(a, b, seen, at, first, judged.role(state))
        _at_stage(c, here, float(laid.anchors[line].tip))
        for axes in (a, b):
            axes.axvline(stage.load / 1e3, color=style.FAINT, linewidth=0.7, zorder=0)
        most, furthest = view.over(_most), 1.03e-3 * view.over(lambda v: float(beam_of(v).seen.load.max()))
        for axes in (a, c):
            axes.set_ylim(0.0, 1.15 * most)
        for axes in (a, b):
            axes.set_xlim(0.0, furthest or 1.0)
        style.letter(a, "a", f"Pull at the ends of {who}")
        index, torn = (float(v[: top + 1].max()) for v in (at.index, at.torn))
        style.letter(b, "b", f"Index up to {index:.2f}, torn {100.0 * torn:.0f} %")
        style.letter(c, "c", f"Where, at {stage.load / 1e3:.0f} kN")
        key_below(figure, a, 3)
        return style.save(figure, folder, "prying-tie", {"": _history(seen, found), "along": {
            "x_mm": here.x, "tension_MPa": here.demand, "strength_left_MPa": here.left,
            "step": np.full(len(here.x), stage.step),
        }})  # fmt: skip


def _pried(view: View) -> tuple[Any, str, str, Along]:
    """Prying of every hook, the worst one with those it stands for, and the plane at the leading stage there."""
    beam = beam_of(view)
    seen, laid, specimen = beam.seen, beam.laid, view.specimen
    concrete = specimen.concrete.closure or specimen.concrete.precast
    found = prying(seen.interface, laid, concrete)
    if not found:
        raise LeftOut("no bar ends in a splice, so nothing is pried")
    line, who = _worst(found, int(np.argmax(seen.load)))
    here = along(seen.interface, laid, concrete, line, min(beam.leading().row, len(seen.load) - 1))
    return found, line, who, here


def _most(view: View) -> float:
    """The largest pull on the plane or strength of it that the figure shows [MPa]."""
    found, line, _, here = view.part(_pried)
    rise = slice(0, int(np.argmax(beam_of(view).seen.load)) + 1)
    histories = found[line].demand[rise].max(), found[line].left[rise].max()
    return float(max(*histories, here.left.max(initial=0.0)))


def _worst(found: Any, top: int) -> tuple[str, str]:
    """The line whose index is highest up to the row ``top``, and the lines that it stands for."""
    highest = {name: float(p.index[: top + 1].max()) for name, p in found.items()}
    line = max(highest, key=lambda name: highest[name])
    mates = [n for n, p in found.items() if np.abs(p.index[: top + 1] - found[line].index[: top + 1]).max() <= ALIKE]
    return line, " and ".join(sorted({line, *mates}))


def _over_load(a: Any, b: Any, seen: ElevationTrace, at: Prying, top: int) -> None:
    """Histories: as they were up to the largest load, thin after it."""
    load = seen.load / 1e3
    rise, fall = slice(0, top + 1), slice(top, None)
    a.fill_between(load[rise], at.demand[rise], at.left[rise], color=style.CONCRETE, linewidth=0.0, zorder=0)
    a.plot(load[rise], at.demand[rise], label="tension on the plane", **_PULL)
    a.plot(load[rise], at.left[rise], label="strength that cracks have left", **_LEFT)
    b.fill_between(load[rise], 0.0, at.torn[rise], color=_TORN, linewidth=0.0, zorder=0)
    b.plot(load[rise], at.index[rise], **_PULL)
    for axes, values, look in ((a, at.demand, _PULL), (a, at.left, _LEFT), (b, at.index, _PULL)):
        axes.plot(load[fall], values[fall], **look | {"linewidth": 0.5, "alpha": 0.8})
    b.axhline(1.0, color=style.QUIET, linewidth=0.7, linestyle=(0, (1, 1.5)))
    b.set_ylim(0.0, 1.15)
    a.set_ylabel("mean over 2 d$_b$ of the plane (MPa)")
    b.set_ylabel("index of prying; filled: share torn")
    for axes in (a, b):
        axes.set_xlabel("load per ram (kN)")


def _mark(a: Any, b: Any, seen: ElevationTrace, at: Prying, row: int, role: str) -> None:
    """Where the judge calls the mechanism reached, and what it was to the failure."""
    look: dict[str, Any] = {"marker": "v", "markersize": 6.0, "markerfacecolor": "white", "markeredgecolor": style.INK,
                            "linestyle": "none", "zorder": 6}  # fmt: skip
    what = {"governs": "prying governs", "before": "prying comes before what governs"}.get(role, "prying at its limit")
    a.plot(seen.load[row] / 1e3, at.demand[row], label=f"{what}, from {seen.load[row] / 1e3:.0f} kN on", **look)
    b.plot(seen.load[row] / 1e3, at.index[row], **look)


def _at_stage(axes: Any, here: Along, tip: float) -> None:
    """Along the plane at one stage, with the outside of the hook."""
    order = np.argsort(here.x)
    x, pull, left = here.x[order], here.demand[order], here.left[order]
    axes.fill_between(x, pull, left, where=left >= pull, color=style.CONCRETE, linewidth=0.0, zorder=0)
    axes.plot(x, pull, **_PULL)
    axes.plot(x, left, **_LEFT)
    axes.axvline(tip, color=style.QUIET, linewidth=0.8, linestyle=(0, (1, 1.5)))
    axes.set_xlabel("x (mm); dotted: outside of the hook")
    axes.set_ylabel("on the plane (MPa)")
    axes.margins(x=0.0)


def _history(seen: ElevationTrace, found: Any) -> dict[str, Any]:
    table: dict[str, list[Any]] = {name: [] for name in (
        "line", "step", "load_N", "index", "share_torn", "tension_MPa", "strength_left_MPa", "x_mm", "widest_crack_mm",
    )}  # fmt: skip
    steps: Floats = np.array([s.step for s in seen.snapshots])
    for name, p in found.items():
        columns = ([name] * len(steps), steps, seen.load, p.index, p.torn, p.demand, p.left, p.x, p.opening)
        for column, values in zip(table, columns):
            table[column].extend(np.asarray(values).tolist())
    return table
