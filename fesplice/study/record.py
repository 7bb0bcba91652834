"""What a table of results keeps of one run: a small flat record, made where the run was computed."""

from __future__ import annotations

import time
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np

from fesplice.contracts import FespliceError, FolderFault, InputFault, NotConverged, Outcome
from fesplice.specimen import Specimen, read_text
from fesplice.store import Run
from fesplice.study.hand import ram_load

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


def compute(text: str, folder: str, planes: Sequence[str]) -> dict[str, Record]:
    """Compute planes of the specimen in ``text`` into run folders ``folder``/plane; records by plane. Never raises.

    A folder that holds the run unfinished is taken up, a finished one is only read. Ctrl-C passes through.
    """
    return {plane: _plane(text, Path(folder) / plane, plane) for plane in planes}


def _plane(text: str, folder: Path, plane: str) -> Record:
    try:
        specimen = read_text(text, str(folder))
        _analyse(plane, specimen, folder)
        return record(Run(folder), specimen) | {"state": "done", "reason": ""}
    except NotConverged as fault:
        return _stopped(folder, text, str(fault))
    except FolderFault as fault:
        return {"state": "lost", "reason": str(fault)}
    except InputFault as fault:
        return {"state": "failed", "reason": "; ".join(str(f).removeprefix(": ") for f in fault.faults)}
    except (MemoryError, OSError) as fault:
        return {"state": "lost", "reason": f"{type(fault).__name__}: {fault}"}
    except Exception as fault:  # whatever goes wrong in one case is a row of the table, not the end of the study
        return {"state": "failed", "reason": f"{type(fault).__name__}: {fault}"}


def _stopped(folder: Path, text: str, reason: str) -> Record:
    try:
        return record(Run(folder), read_text(text)) | {"state": "stopped", "reason": reason}
    except (FespliceError, OSError) as fault:
        return {"state": "failed", "reason": f"{reason}; the run cannot be read: {fault}"}


def record(run: Run, specimen: Specimen) -> Record:
    """The numbers of a run that has ended; what it does not know is absent.

    The plan knows no rams: its loads are those at which the cracked section has its bar stress.
    """
    summary, attempts = run.summary, run.attempts
    plan = run.settings.get("plane") == "plan"

    def load(stress: float | None, *path: str) -> float | None:
        if plan:
            return None if stress is None else ram_load(specimen, stress)
        force = _dig(summary, *path)
        return None if force is None else force / 1e3

    bond, peak = _most(_dig(summary, "bond_loss", "bar_stress")), _most(_dig(summary, "bar_stress"))
    found: Record = {
        "outcome": run.outcome.name,
        "bond_loss_kN": load(bond, "bond_loss", "load"),
        "bond_loss_MPa": bond,
        "peak_kN": load(peak, "peak_load"),
        "peak_MPa": peak,
        "peak_mm": _dig(summary, "peak_deflection"),
        "mode": _dig(summary, "verdict", "kind"),
        "mode_words": _dig(summary, "verdict", "what"),
        "steps": run.n_steps,
    }
    if _dig(summary, "strength", "dropped"):
        first = _most(_dig(summary, "first_bar_stress"))
        found |= {"drop_kN": load(first, "strength", "first"), "drop_MPa": first}
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


def _most(by_line: Any) -> float | None:
    """The largest of the values by bar line."""
    known = [float(v) for v in by_line.values() if v is not None] if isinstance(by_line, dict) else []
    return max(known, default=None)
