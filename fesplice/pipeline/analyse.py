"""One specimen to one run on disk: specimen, plane, mesh, model, steps, run folder, findings."""

from __future__ import annotations

import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
from threadpoolctl import threadpool_limits

from fesplice.contracts import BondMaker, ConcreteMaker, NotConverged, Outcome, State
from fesplice.mesh import Mesh
from fesplice.model.assembly import Model
from fesplice.model.fields import fields
from fesplice.model.plan import Vertical
from fesplice.pipeline import manifest
from fesplice.pipeline.progress import Hears, Progress, seconds_left
from fesplice.pipeline.views import Setup, setup
from fesplice.post.record import as_stored, findings
from fesplice.sizing import check
from fesplice.solve import March
from fesplice.specimen import Specimen, read
from fesplice.store import Run, RunWriter, StepRecord
from fesplice.store.folder import STATE, is_frozen, refuse_frozen


def analyse(
    specimen: Specimen | str | Path,
    folder: str | Path,
    *,
    view: str = "elevation",
    vertical: Vertical | None = None,
    mesh: Mesh | None = None,
    bond: BondMaker | None = None,
    concrete: ConcreteMaker | None = None,
    progress: Hears | None = None,
    begin: Callable[[Model], None] | None = None,
) -> Run:
    """Compute one view of a specimen (or its file) to failure into a run folder, and return the run.

    ``view`` is "elevation" or "plan"; ``vertical`` (plan only) is what the elevation found across the plane the
    slab hangs on, and goes into the run's settings; ``mesh`` takes the place of the one made of the specimen.
    ``bond`` and ``concrete`` are laws of one's own in place of those that the specimen names: a class with
    ``built(numbers)``, or a dataclass object with one (:class:`fesplice.contracts.BondMaker`). The run's settings
    tell which they were, and a folder that was computed by other laws is refused.
    A folder holding the same run unfinished is taken up where it stopped; a finished one is
    returned as it stands. Raises :class:`InputFault` for a faulty specimen or folder,
    :class:`NotConverged` when the march ends without reaching its stop (accepted steps are kept).
    """
    s = specimen if isinstance(specimen, Specimen) else read(specimen)
    with threadpool_limits(1):
        case = setup(s, view, vertical, mesh, bond=bond, concrete=concrete)
        if (done := _finished(folder, s, case.mesh, case.settings)) is not None:
            return done
        refuse_frozen(folder)
        model = case.model()
        if begin is not None:
            begin(model)
        with RunWriter.create(
            folder,
            specimen_text=s.text,
            specimen_name=s.name,
            specimen_digest=s.digest,
            mesh=model.mesh,
            settings=case.settings,
            versions=manifest.versions(),
        ) as writer:
            _march(case, model, writer, progress)
    return Run(folder)


def _findings(folder: Path, outcome: Outcome) -> dict:
    """The findings for the manifest, from what is on disk."""
    run = Run(folder)
    return as_stored(findings(run, stored=False, outcome=outcome)) if run.n_steps else {}


def _march(case: Setup, model: Model, writer: RunWriter, progress: Hears | None) -> None:
    march = case.march(model, writer.attempt)
    if writer.saved is not None:
        _restore(march, model, dict(writer.saved.memory))
    began = time.perf_counter()
    first = march.reached
    try:
        for step in march:
            values = fields(model, step)
            row = dict(case.row(model, step, values))
            writer.accept(StepRecord(step.index, row, values, _memory(march)))
            if progress is not None:
                elapsed = time.perf_counter() - began
                left = seconds_left(case.effort, elapsed, first, march.reached, march.stop.end)
                seen = float(row[case.moved]), float(row["bar_stress_A_MPa"])
                progress(Progress(step, step.state.load, *seen, elapsed, left, case.per))
    except KeyboardInterrupt:
        writer.finish(Outcome.interrupted, {}, [])
        raise
    except NotConverged as fault:
        place = _where(model, march)
        text = str(fault) + place + _cause(case.specimen, march)
        writer.finish(march.outcome, _findings(writer.folder, march.outcome), [text, *case.warnings(model)])
        raise NotConverged(text) from fault
    writer.finish(march.outcome, _findings(writer.folder, march.outcome), case.warnings(model))


# ------------------------------------------------------------------ resuming
def _memory(march: March) -> dict:
    """Everything a resumed march needs, by flat names."""
    out: dict = {f"march/{k}": v for k, v in march.memory().items()}
    out["state/u"], out["state/load"] = march.state.u, march.state.load
    for group, history in march.state.history.items():
        for key, values in history.items():
            out[f"history/{group}/{key}"] = values
    return out


def _restore(march: March, model: Model, memory: dict) -> None:
    history: dict[str, dict] = {part.name: {} for part in model.parts}
    for name, values in memory.items():
        if name.startswith("history/"):
            group, _, key = name.removeprefix("history/").rpartition("/")
            history[group][key] = np.asarray(values)
    march.state = State(np.asarray(memory["state/u"]), float(memory["state/load"]), history)
    march.restore({k.removeprefix("march/"): v for k, v in memory.items() if k.startswith("march/")})


def _finished(folder: str | Path, s: Specimen, mesh: Mesh, settings: dict) -> Run | None:
    """The run in ``folder`` if it is this very run and has ended."""
    if not (Path(folder) / "manifest.json").is_file():
        return None
    run = Run(folder)
    same = (
        run.manifest["specimen"]["digest"] == s.digest
        and run.manifest["mesh"]["digest"] == mesh.digest
        and run.settings == settings
    )
    if not (same and run.outcome.finished):
        return None
    if not is_frozen(folder):
        # killed between its last word and the end: a finished run has no state any more
        (Path(folder) / STATE).unlink(missing_ok=True)
    return run


def _cause(s: Specimen, march: March) -> str:
    """Why not even the dead load is carried, where hand statics tell."""
    if march.state.u.any():
        return ""
    notes = [m.note for m in check(s).margins if m.key.startswith("own ") and not m.met and m.note]
    return "".join(f"; by hand: {note} (fesplice check)" for note in notes)


def _where(model: Model, march: March) -> str:
    """The node with the largest force out of balance, for the message of a stopped march."""
    tried = march.stuck
    if tried is None or tried.trial is None:
        return ""
    residual = tried.load * model.f_ref + model.f_dead - tried.trial.force
    worst = int(model.free[np.argmax(np.abs(residual))])
    if worst >= 2 * len(model.mesh.points):
        return ""
    x, y = model.mesh.points[worst // 2]
    groups = [name for name, g in model.mesh.groups.items() if np.any(g.cells == worst // 2)]
    return (
        f"; largest force out of balance {np.abs(residual).max() / 1e3:.3g} kN at x = {x:.0f} mm, y = {y:.0f} mm"
        f" ({', '.join(groups)}); a smaller analysis.step or mesh.splice may help"
    )
