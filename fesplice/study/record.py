"""What a table of results keeps of one run: a small flat record, made where the run was computed."""

from __future__ import annotations

import math
import time
from collections.abc import Callable, Sequence
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np

from fesplice.contracts import FespliceError, FolderFault, InputFault, NotConverged, Outcome
from fesplice.post.elevation.findings import ElevationFindings
from fesplice.post.record import READERS, findings
from fesplice.specimen import Specimen, read_text
from fesplice.store import Run
from fesplice.study.hand import ram_load

Record = dict[str, Any]

#: How a view of a case stands. ``lost``: the machine failed it, not the specimen; it is taken up again.
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

#: Columns of the record of a view, with their SQL types. Loads per ram; stresses of the bars at the joint face.
_VIEW: dict[str, str] = {
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
    "exact": "INTEGER",
    "seconds": "REAL",
    "steps": "INTEGER",
    "failed": "INTEGER",
    "loose": "INTEGER",
}
#: The same of both views read together: strength, its band, the bracket of the plan, what governs where.
_PREDICTION: dict[str, str] = {
    "state": "TEXT",
    "reason": "TEXT",
    "kN": "REAL",
    "MPa": "REAL",
    "low_MPa": "REAL",
    "high_MPa": "REAL",
    "bracket_low_MPa": "REAL",
    "bracket_high_MPa": "REAL",
    "view": "TEXT",
    "mode": "TEXT",
    "mode_words": "TEXT",
    "exact": "INTEGER",
    "agreed": "INTEGER",
}


def fields(view: str) -> dict[str, str]:
    """Columns of a record, in order: of a view, or of the ``prediction`` from both."""
    return _PREDICTION if view == "prediction" else _VIEW


def compute(text: str, folder: str, views: Sequence[str]) -> dict[str, Record]:
    """Compute views of the specimen in ``text`` into run folders under ``folder``; records by view. Never raises.

    With ``prediction`` the plan is the one coupled to the elevation. A folder that holds a run unfinished is taken
    up, a finished one is only read. Ctrl-C passes through.
    """
    home = Path(folder)
    found: dict[str, Record] = {}
    for view in ("elevation", "plan"):
        # a plan that is part of a prediction is coupled to the elevation and comes with it
        if view in views and not (view == "plan" and "prediction" in views):
            found[view] = _tried(home / view, text, partial(_view, home / view, view))
    if "prediction" not in views:
        return found
    if (stands := found.get("elevation", {"state": "done"}))["state"] in ("failed", "lost"):
        short = {"state": stands["state"], "reason": "the elevation has no result"}
        return found | {"plan": short, "prediction": short}
    parts: dict[str, Record] = {}
    found["prediction"] = _tried(home, text, lambda s: _prediction(s, home, parts))
    return found | {"plan": parts.get("plan", {k: found["prediction"][k] for k in ("state", "reason")})}


def _tried(folder: Path, text: str, work: Callable[[Specimen], Record]) -> Record:
    """The record that ``work`` answers, or one that says why there is none."""
    try:
        return {"state": "done", "reason": ""} | _patiently(lambda: work(read_text(text, str(folder))))
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


def _patiently(work: Callable[[], Record]) -> Record:
    for pause in PAUSES:
        try:
            return work()
        except FolderFault as fault:
            # a worker that was given up may still be about to die with the folder's lock in its hands
            if not isinstance(fault.__cause__, BlockingIOError):
                raise
            time.sleep(pause)
    return work()


def _view(folder: Path, view: str, specimen: Specimen) -> Record:
    from fesplice.pipeline import analyse

    return _standing(analyse(specimen, folder, view=view), specimen)


def _standing(run: Run, specimen: Specimen) -> Record:
    """The record of a run with its state: one that stopped short earlier comes out of its folder without a fault."""
    if run.outcome in (Outcome.softened, Outcome.target_reached, Outcome.step_limit):
        return record(run, specimen) | {"state": "done", "reason": _short(run)}
    return record(run, specimen) | {"state": "stopped", "reason": (run.warnings or [run.outcome.value])[0]}


def _short(run: Run) -> str:
    """What to know of strengths from a run that its number of steps has ended, empty for others."""
    return "ended by analysis.max_steps: the strength may be larger" if run.outcome is Outcome.step_limit else ""


def _prediction(specimen: Specimen, home: Path, parts: dict[str, Record]) -> Record:
    """Both views read together; the record of the coupled plan goes into ``parts``."""
    from fesplice.pipeline import predict

    found = predict(specimen, home)
    passes = [Run(home / f"plan-pass-{k + 1}") for k in range(len(found.passes))]
    ended = [Run(home / "elevation"), *passes[-1:]]
    notes = [*found.notes, *(f"{run.folder.name} {short}" for run in ended if (short := _short(run)))]
    told: Record = {"state": "done", "reason": "; ".join(notes)}
    parts["plan"] = _standing(passes[-1], specimen) if passes else told
    others = [Run(f) for f in (home / "plan-free", home / "plan-intact") if f.is_dir()]
    if passes:
        parts["plan"]["seconds"] = round(sum(_seconds(run) for run in [*others, *passes]), 2)
    return told | {
        "kN": found.load / 1e3,
        "MPa": found.bar_stress,
        "low_MPa": found.band[0],
        "high_MPa": found.band[1],
        "bracket_low_MPa": found.bracket[0],
        "bracket_high_MPa": found.bracket[1],
        "view": found.governing.view,
        "mode": found.mode.value,
        "mode_words": found.sentence,
        "exact": int(found.exact),
        "agreed": int(found.agreed),
    }


def _stopped(folder: Path, text: str, reason: str) -> Record:
    try:
        return record(Run(folder), read_text(text)) | {"state": "stopped", "reason": reason}
    except (FespliceError, OSError) as fault:
        return {"state": "failed", "reason": f"{reason}; the run cannot be read: {fault}"}


def record(run: Run, specimen: Specimen) -> Record:
    """The numbers of a run that has ended; what it does not know is absent.

    The plan knows no rams: its loads are those at which the cracked section has its bar stress.
    """
    found, attempts = findings(run), run.attempts
    judged = found.assessment

    def load(stress: float, force: float) -> float:
        return force / 1e3 if READERS[found.view].of_rams else ram_load(specimen, stress)

    peak = max((v for v in found.bar_stress.values() if math.isfinite(v)), default=math.nan)
    row: Record = {
        "outcome": run.outcome.name,
        "peak_kN": load(peak, found.peak_load),
        "peak_MPa": peak,
        "peak_mm": found.peak_deflection,
        "mode": judged.mode.value,
        "mode_words": judged.failure,
        "exact": int(judged.dropped),
        "steps": run.n_steps,
    }
    if isinstance(found, ElevationFindings):
        loss = found.bond_loss
        row |= {"bond_loss_kN": load(loss.bar_stress, loss.load), "bond_loss_MPa": loss.bar_stress}
    if judged.dropped:
        row |= {"drop_kN": load(judged.bar_stress, judged.load), "drop_MPa": judged.bar_stress}
    if attempts:
        outcomes = [str(o) for o in attempts["outcome"]]
        row["failed"] = sum(not Outcome[o].accepted for o in outcomes if o in Outcome.__members__)
        row["loose"] = sum(o in Outcome.unconverged.spellings for o in outcomes)
        row["seconds"] = round(_seconds(run), 2)
    return {name: value for name, value in row.items() if not (isinstance(value, float) and math.isnan(value))}


def _seconds(run: Run) -> float:
    """Time spent on steps; the clock of a step runs on over its tries."""
    attempts = run.attempts
    if not attempts:
        return 0.0
    last = np.flatnonzero(np.append(np.diff(attempts["step"]) != 0, True))
    return float(np.sum(attempts["seconds"][last]))
