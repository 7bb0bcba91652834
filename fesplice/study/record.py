"""What a table of results keeps of one run: a small flat record, made where the run was computed."""

from __future__ import annotations

import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np

from fesplice.contracts import FespliceError, FolderFault, InputFault, NotConverged, Outcome
from fesplice.specimen import Specimen, read_text
from fesplice.store import Run

Record = dict[str, Any]

#: How a plane of a case stands. ``lost``: the machine failed it, not the specimen; it is taken up again.
STATES = {
    "waiting": "not computed yet",
    "done": "computed to its stop",
    "stopped": "no convergence beyond the last accepted step; its numbers are those up to there",
    "failed": "no result; the reason is in the row",
    "lost": "the machine failed it; computed further at the next start",
    "dropped": "cannot be built, or stands in the study already",
}
#: States that are final: the next start leaves these alone.
FINAL = ("done", "stopped", "failed", "dropped")

#: Waits before a locked run folder is tried again [s].
PAUSES = (0.25, 0.5, 1.0, 2.0, 4.0, 8.0)

#: Columns of a record, in order, with their SQL types. Loads per ram; stresses of the bars at the joint face.
FIELDS: dict[str, str] = {
    "state": "TEXT",
    "outcome": "TEXT",
    "reason": "TEXT",
    "bond_loss_kN": "REAL",
    "bond_loss_MPa": "REAL",
    "drop_kN": "REAL",
    "drop_MPa": "REAL",
    "peak_kN": "REAL",
    "peak_MPa": "REAL",
    "peak_mm": "REAL",
    "mode": "TEXT",
    "mode_words": "TEXT",
    "seconds": "REAL",
    "steps": "INTEGER",
    "failed": "INTEGER",
    "loose": "INTEGER",
}


def _analyse(plane: str, specimen: Specimen, folder: Path) -> Run:
    from fesplice.pipeline import analyse

    # the elevation is what is computed without being asked
    asked: dict[str, Any] = {} if plane == "elevation" else {"plane": plane}
    for pause in PAUSES:
        try:
            return analyse(specimen, folder, **asked)
        except FolderFault as fault:
            # a worker that was given up may still be about to die with the folder's lock in its hands
            if not isinstance(fault.__cause__, BlockingIOError):
                raise
            time.sleep(pause)
    return analyse(specimen, folder, **asked)


def compute(text: str, folder: str, plane: str) -> Record:
    """Compute one plane of the specimen in ``text`` into a run folder and answer its record; never raises.

    A folder that holds the run unfinished is taken up, a finished one is only read. Ctrl-C passes through.
    """
    place = Path(folder)
    try:
        run = _analyse(plane, read_text(text, folder), place)
    except NotConverged as fault:
        return _of(lambda: Run(place), "stopped", str(fault))
    except FolderFault as fault:
        return {"state": "lost", "reason": str(fault)}
    except InputFault as fault:
        return {"state": "failed", "reason": "; ".join(str(f).removeprefix(": ") for f in fault.faults)}
    except (MemoryError, OSError) as fault:
        return {"state": "lost", "reason": f"{type(fault).__name__}: {fault}"}
    except Exception as fault:  # whatever goes wrong in one case is a row of the table, not the end of the study
        return {"state": "failed", "reason": f"{type(fault).__name__}: {fault}"}
    return _of(lambda: run, "done", "")


def _of(get: Callable[[], Run], state: str, reason: str) -> Record:
    try:
        return record(get()) | {"state": state, "reason": reason}
    except (FespliceError, OSError, KeyError, TypeError, ValueError) as fault:
        told = f"{reason}; " if reason else ""
        return {"state": "failed", "reason": f"{told}the run cannot be read: {type(fault).__name__}: {fault}"}


def record(run: Run) -> Record:
    """The numbers of a run that has ended; what it does not know is absent."""
    summary, attempts = run.summary, run.attempts
    found: Record = {
        "outcome": run.outcome.name,
        "bond_loss_kN": _kilo(_dig(summary, "bond_loss", "load")),
        "bond_loss_MPa": _most(_dig(summary, "bond_loss", "bar_stress")),
        "peak_kN": _kilo(_dig(summary, "peak_load")),
        "peak_MPa": _most(_dig(summary, "bar_stress")),
        "peak_mm": _dig(summary, "peak_deflection"),
        "mode": _dig(summary, "verdict", "kind"),
        "mode_words": _dig(summary, "verdict", "what"),
        "steps": run.n_steps,
    }
    if _dig(summary, "strength", "dropped"):
        found["drop_kN"] = _kilo(_dig(summary, "strength", "first"))
        found["drop_MPa"] = _most(_dig(summary, "first_bar_stress"))
    if attempts:
        outcomes = [str(o) for o in attempts["outcome"]]
        found["failed"] = sum(not Outcome[o].accepted for o in outcomes if o in Outcome.__members__)
        found["loose"] = outcomes.count(Outcome.loose.name)
        # the clock of a step runs on over its tries
        last = np.flatnonzero(np.append(np.diff(attempts["step"]) != 0, True))
        found["seconds"] = round(float(np.sum(attempts["seconds"][last])), 2)
    return {name: value for name, value in found.items() if value is not None}


def _dig(tree: Any, *path: str) -> Any:
    for step in path:
        tree = tree.get(step) if isinstance(tree, dict) else None
    return tree


def _kilo(value: float | None) -> float | None:
    return None if value is None else value / 1e3


def _most(by_line: Any) -> float | None:
    """The largest of the values by bar line."""
    known = [float(v) for v in by_line.values() if v is not None] if isinstance(by_line, dict) else []
    return max(known, default=None)
