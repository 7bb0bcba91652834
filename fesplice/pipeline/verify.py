"""Does a folder say what was computed? Digests, and everything that follows from the steps made again and compared.

A run: manifest, mesh, curve, attempts and steps against their digests; the curve and the findings against the steps. A
prediction: its runs, and what it makes of them. Nothing is written, and what does not agree is never believed.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from fesplice.contracts import FespliceError, Floats, FolderFault, InputFault
from fesplice.model.assembly import Model
from fesplice.pipeline.both import results_digest
from fesplice.pipeline.views import Setup, setup
from fesplice.post.elevation.trace import trace
from fesplice.post.prediction import RECORD, Prediction
from fesplice.post.readings import GAUGES, gauge_table
from fesplice.post.record import EDITION, findings, view_of
from fesplice.post.runs import load_at
from fesplice.post.values import to_dict
from fesplice.sizing.instruments import gauges_of
from fesplice.specimen import Specimen, read_text
from fesplice.store import Run
from fesplice.store.folder import ATTEMPTS, CURVE, MANIFEST, MESH, STEPS, file_digest
from fesplice.store.run import believing
from fesplice.store.steps import QUANTA

#: Steps keep single precision: columns made again agree this well, as a share of the largest value.
AGREE = 2e-4
#: On top of it what the rounding of steps may do to a column: four quanta of what it is read from, by its unit.
ROUNDED = {"_MPa": 4.0 * QUANTA["stress"], "_mm": 4.0 * QUANTA["u"], "_N": 4.0 * QUANTA["reactions"]}
#: The specimen of a prediction, in its folder.
SPECIMEN = "specimen.toml"


@dataclass(frozen=True)
class Look:
    """One thing looked at: ``what``, whether it ``held`` (None: could not be told), and what was seen."""

    what: str
    held: bool | None
    said: str

    def __str__(self) -> str:
        word = {True: "agrees", False: "DIFFERS", None: "not told"}[self.held]
        return f"{word}: {self.what}{': ' if self.said else ''}{self.said}"


def looked(what: str, look: Callable[[], str]) -> Look:
    """``look`` answers what it saw; a fault of the folder is what differs."""
    try:
        return Look(what, True, look())
    except FolderFault as fault:
        return Look(what, False, "; ".join(f"{f.path}: {f.allowed}".removeprefix(": ") for f in fault.faults))


# ------------------------------------------------------------------ run
def verify_run(folder: str | Path) -> list[Look]:
    """Everything a run folder says against its digests and its steps. Raises :class:`FolderFault` for no run at all."""
    home = Path(folder)
    if not (home / MANIFEST).is_file():
        Run(home)
    first = looked(str(home / MANIFEST), lambda: Run(home).outcome.value)
    if not first.held:
        return [first]
    run = Run(home)
    out = [first, looked(str(home / MESH), lambda: f"{len(run.mesh.points)} points")]
    out += [looked(str(home / name), lambda name=name: _digest(run, name)) for name in (CURVE, ATTEMPTS)]
    steps = looked(str(home / STEPS), lambda: _steps(run, out[2].held is True))
    out.append(steps)
    if not (out[1].held and steps.held):
        return out
    case = _case(run)
    if isinstance(case, str):
        return [*out, Look(f"{home}: curve and findings", None, case)]
    made = remade(run, *case)
    out.append(looked(f"{home / CURVE} against the steps", lambda: _compared(run, made, out[2].held is True)))
    out.append(looked(f"{home}: findings against the steps", lambda: _findings(run)))
    return out


def _digest(run: Run, name: str) -> str:
    if name == CURVE:
        return f"{run.n_steps} steps"
    run.attempts  # noqa: B018  read, and with it held against its digest
    told = run.manifest.get("digests", {}).get(name)
    if told is not None and file_digest(run.folder / name) != told:
        raise FolderFault(str(run.folder / name), "its digest is not that of the file this run wrote")
    return "" if told is not None else "no digest kept"


def _stored(run: Run, curve_holds: bool) -> tuple[int, ...]:
    """Numbers of the steps: those of the curve, or of the files where the curve is not believed."""
    if curve_holds:
        return run.indices
    return tuple(sorted(int(p.stem) for p in (run.folder / STEPS).glob("*.h5") if p.stem.isdecimal()))


def _steps(run: Run, curve_holds: bool) -> str:
    stored = _stored(run, curve_holds)
    for index in stored:
        at = run.stored_step(index)
        at.u.sum()
    told = [name for name in run.manifest.get("digests", {}) if name.startswith(STEPS)]
    if told and len(told) != len(stored):
        raise FolderFault(str(run.folder / STEPS), f"{len(stored)} steps of {len(told)} that the manifest knows")
    return f"{len(stored)} steps"


def _case(run: Run) -> tuple[Setup, Model] | str:
    """The run set up again, to read deflections and openings off displacements; why it cannot be."""
    try:
        given = read_text(run.specimen_text, str(run.folder))
        case = setup(given, view_of(run), None, run.mesh)
        return case, case.model()
    except InputFault as fault:
        return f"not made again: {fault.faults[0].allowed}"


@believing
def remade(run: Run, case: Setup, model: Model) -> dict[str, Floats]:
    """Columns of the curve made again from the steps; the loads from the forces at supports or bars."""
    stored = _stored(run, False)
    rows = [_row(run, case, model, index) for index in stored]
    out = {name: np.array([row[name] for row in rows]) for name in (rows[0] if rows else {})}
    return case.loads_again(out, stored[0] == 0) if rows else out


def _row(run: Run, case: Setup, model: Model, index: int) -> dict[str, float]:
    at = run.stored_step(index)
    # what slides is an unknown of the model, and no displacement that a step keeps
    full = np.zeros(max(len(at.u), int(model.free.max()) + 1))
    full[: len(at.u)] = at.u
    u = model.restrict(full)
    watched = ("deflection", "load_point", "extension", "joint_left", "joint_right")
    out = {f"{name}_mm": model.read(name, u) for name in watched if name in model.watch}
    return out | case.row_again(run.mesh, at.fields)


def _compared(run: Run, made: Mapping[str, Floats], curve_holds: bool) -> str:
    load = made.get("load_N", np.array([]))
    finite = np.flatnonzero(np.isfinite(load))
    top = int(finite[np.argmax(load[finite])]) if len(finite) else -1
    peak = f"from the steps: peak {load[top] / 1e3:.4g} kN, step {_stored(run, False)[top]}" if top >= 0 else "no peak"
    if not curve_holds:
        raise FolderFault(CURVE, f"is not believed; {peak} of {len(load)}")
    curve, off = run.curve, {}
    for name, values in made.items():
        if name not in curve:
            continue
        kept = np.asarray(curve[name], float)
        scale = float(np.nanmax(np.abs(values))) if np.isfinite(values).any() else 0.0
        both = np.isfinite(values) & np.isfinite(kept)
        if scale > 0.0 and both.any():
            rounding = next((r for unit, r in ROUNDED.items() if name.endswith(unit)), 0.0)
            off[name] = max(float(np.max(np.abs(values - kept)[both])) - rounding, 0.0) / scale
    worst = max(off, key=lambda name: off[name], default="")
    if worst and off[worst] > AGREE:
        raise FolderFault(CURVE, f"column {worst} is {100.0 * off[worst]:.3g} % off what the steps tell; {peak}")
    return f"{len(off)} columns made again; {peak}"


def _findings(run: Run) -> str:
    kept = run.summary
    if kept.get("edition") != EDITION:
        return "none kept of this edition: always read from the steps"
    if away := _away(to_dict(findings(run)), to_dict(findings(run, stored=False))):
        raise FolderFault(str(run.folder / MANIFEST), f"the steps tell another {away}")
    return "the same"


def _away(kept: Any, made: Any, path: str = "") -> str:
    """Key path of the first value that differs by more than single precision; empty where none does."""
    if isinstance(kept, dict) and isinstance(made, dict):
        if kept.keys() != made.keys():
            return path or "record"
        return next((away for k in kept if (away := _away(kept[k], made[k], f"{path}.{k}".lstrip(".")))), "")
    if isinstance(kept, list) and isinstance(made, list):
        if len(kept) != len(made):
            return path
        return next((away for k, (a, b) in enumerate(zip(kept, made)) if (away := _away(a, b, f"{path}[{k}]"))), "")
    if isinstance(kept, float | int) and isinstance(made, float | int):
        return "" if math.isclose(kept, made, rel_tol=1e-6, abs_tol=1e-9) else path
    return "" if kept == made else path


# ------------------------------------------------------------------ prediction
def verify_prediction(folder: str | Path) -> list[Look]:
    """The runs of a prediction, and whether it says of them what they say themselves."""
    home = Path(folder)
    found: Prediction | None = None

    def record() -> str:
        nonlocal found
        found = Prediction.read(home)
        return found.sentence

    out = [looked(str(home / RECORD), record)]
    runs = sorted(p.parent for p in home.glob(f"*/{MANIFEST}"))
    for place in runs:
        out += verify_run(place)
    if found is None:
        return out
    whole = all(look.held is not False for look in out)
    answer = found
    out.append(looked(f"{home / RECORD} against its runs", lambda: _against(home, answer)))
    if whole and (home / GAUGES).is_file():
        out.append(looked(str(home / GAUGES), lambda: _gauges(home, answer)))
    return out


def _against(home: Path, found: Prediction) -> str:
    if found.made is not None and results_digest(home) != found.made.results:
        raise FolderFault(str(home / RECORD), "was made of other curves than those that lie here (digest of results)")
    given = _specimen(home)
    if found.made is not None and given.digest != found.made.specimen:
        raise FolderFault(str(home / SPECIMEN), "is not the specimen of this prediction")
    parts = {"elevation": found.elevation, "plan-free": found.free, "plan-intact": found.intact}
    if found.passes:
        parts[f"plan-pass-{len(found.passes)}"] = found.coupled
    for name, said in parts.items():
        if said is not None and (away := _away(to_dict(said), to_dict(findings(Run(home / name)).assessment))):
            raise FolderFault(str(home / RECORD), f"the run {name} tells another {away}")
    seen = trace(Run(home / "elevation"))
    load = load_at(found.bar_stress, seen.bar_stress, seen.load)
    if not math.isclose(load, found.load, rel_tol=1e-6):
        said = f"its load is {found.load / 1e3:.5g} kN, the elevation tells {load / 1e3:.5g} kN"
        raise FolderFault(str(home / RECORD), said)
    return f"{len(parts)} runs"


def _specimen(home: Path) -> Specimen:
    text = home / SPECIMEN
    try:
        return read_text(text.read_text(encoding="utf-8"), str(text))
    except (OSError, UnicodeDecodeError) as error:
        raise FolderFault(str(text), f"cannot be read: {error}") from error
    except FespliceError as fault:
        raise FolderFault(str(text), f"is no specimen: {fault}") from fault


def _gauges(home: Path, found: Prediction) -> str:
    given = _specimen(home)
    top = Run(home / f"plan-pass-{len(found.passes)}") if found.passes else None
    made = gauge_table(given, gauges_of(given), Run(home / "elevation"), top).to_csv()
    if made.encode() != (home / GAUGES).read_bytes():
        raise FolderFault(str(home / GAUGES), "is not the table that the runs give")
    return "made again, the same"


def verify_folder(folder: str | Path) -> Iterator[Look]:
    """A run or a prediction, as it stands."""
    yield from verify_prediction(folder) if (Path(folder) / RECORD).is_file() else verify_run(folder)
