"""Both views of a specimen, computed side by side, coupled by the bar stress they share, and read together.

FOLDER/elevation, FOLDER/plan-free, FOLDER/plan-intact and FOLDER/plan-pass-1, -2, ... are ordinary run
folders; FOLDER/prediction.json holds the reading, FOLDER/gauges.csv what every gauge reads at every step. A
prediction that was stopped goes on: what is finished is not computed again.
"""

from __future__ import annotations

import hashlib
import math
from contextlib import ExitStack
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np

from fesplice.contracts import BondMaker, ConcreteMaker, FespliceError, FolderFault, InputFault, NotConverged
from fesplice.laws.cracking import hordijk
from fesplice.measured.learning import Model, corrected
from fesplice.model.choice import Chosen, choose
from fesplice.model.plan import Vertical
from fesplice.pipeline import beside, manifest
from fesplice.pipeline.analyse import analyse
from fesplice.pipeline.beside import Beside, Told
from fesplice.pipeline.progress import Hears
from fesplice.pipeline.views import computable
from fesplice.post.elevation.findings import elevation_findings
from fesplice.post.elevation.interface import InterfaceTrace
from fesplice.post.elevation.trace import trace
from fesplice.post.expected import expected
from fesplice.post.mechanisms import Assessment
from fesplice.post.plan.trace import trace as plan_trace
from fesplice.post.prediction import AGREED, RECORD, Made, Pass, Prediction
from fesplice.post.readings import GAUGES, GaugeTable, gauge_table
from fesplice.post.record import findings
from fesplice.post.runs import load_at
from fesplice.sizing.instruments import gauges_of
from fesplice.specimen import Specimen, read, read_text, vary
from fesplice.store import Run
from fesplice.store.folder import CURVE, MARK, Lock, claim, is_frozen, reason, refuse_frozen, write_whole

#: Most passes of the coupling.
PASSES = 5

#: The plane between slab and body in the two plans that bracket the coupled one.
BRACKET = {"plan-free": "cracked", "plan-intact": "intact"}

#: Laws handed in, as :func:`analyse` takes them.
Laws = dict[str, Any]


def predict(
    specimen: Specimen | str | Path,
    folder: str | Path,
    *,
    progress: Hears | None = None,
    bond: BondMaker | None = None,
    concrete: ConcreteMaker | None = None,
    learned: Model | str | Path | None = None,
) -> Prediction:
    """Compute and read both views of a specimen (or its file); ``progress(now, run)`` hears of every step.

    The elevation and the two plans that bracket the answer run side by side, each in a process of its own; what is
    told of their steps lacks displacements and stresses. With a law handed in (``bond``, ``concrete``: see
    :func:`analyse`), which may live in a notebook only, they run in this one in turn. Raises :class:`InputFault` for
    a faulty specimen or folder.
    ``learned``: a model that tests at hand taught (:func:`fesplice.learn`), or its file: the band is then its.
    A run that ends without reaching its stop is read as far as it came, and the prediction says so. A finished
    prediction of the same specimen with the same laws by the same program is returned as it stands.
    """
    s = specimen if isinstance(specimen, Specimen) else read(specimen)
    home = Path(folder)
    computable(s)
    chosen = choose(s, bond, concrete)  # a law that cannot be is told before anything is written
    model = learned if learned is None or isinstance(learned, Model) else Model.read(learned)
    if (standing := _standing(s, home, chosen)) is not None:
        if not is_frozen(home) and not _gauged(s, home):
            _gauge_anew(s, home, standing)
        return _told_by(model, s, home, standing)
    laws: Laws = {kind: law for kind, law in (("bond", bond), ("concrete", concrete)) if law is not None}
    text, lock = _claim(s, home)
    try:
        hears = progress or (lambda now, run="": None)
        answer = _predict(s, home, text, lambda name, now: hears(now, name), laws)
    finally:
        lock.release()
    return _told_by(model, s, home, answer)


def _told_by(model: Model | None, s: Specimen, home: Path, answer: Prediction) -> Prediction:
    """The prediction with the band that a model gives it, or with its own; kept in its folder where that changes it."""
    told = replace(answer, learned=None if model is None else corrected(model, s, answer))
    if told.learned == answer.learned:
        return answer
    refuse_frozen(home)
    lock = Lock(home)
    try:
        write_whole(home / RECORD, told.to_json().encode())
    except OSError as error:
        raise FolderFault(str(home), f"cannot be written: {reason(error)}") from error
    finally:
        lock.release()
    return told


def _predict(s: Specimen, home: Path, text: Path, tell: Told, laws: Laws) -> Prediction:
    with ExitStack() as stack:
        names = [] if s.bars.splice == "continuous" else list(BRACKET)
        if laws:
            return _read(s, home, _in_turn(s, home, names, tell, laws), None, tell, laws)
        started = {"elevation": stack.enter_context(beside.run(text, home / "elevation"))}
        for name in reversed(names):
            # the passes of the coupling wait for elevation and intact plan alone
            patient = name == "plan-free"
            started[name] = stack.enter_context(beside.run(text, home / name, BRACKET[name], patient=patient))
        late = started.pop("plan-free", None)
        beside.wait(list(started.values()), tell)
        return _read(s, home, [note for work in started.values() for note in work.notes], late, tell, laws)


def _in_turn(s: Specimen, home: Path, names: list[str], tell: Told, laws: Laws) -> list[str]:
    """The runs that need no other, in this process; answers their notes."""
    notes: list[str] = []
    for name in names:
        _compute(vary(s, "plan.interface", BRACKET[name]), home / name, "plan", None, tell, notes, laws)
    _compute(s, home / "elevation", "elevation", None, tell, notes, laws)
    return notes


def _read(s: Specimen, home: Path, notes: list[str], late: Beside | None, tell: Told, laws: Laws) -> Prediction:
    """The coupling, and all runs read together; ``late`` is a run that may still go on beside."""
    run = Run(home / "elevation")
    seen = trace(run)
    found = elevation_findings(run, seen)
    elevation = found.assessment
    passes: tuple[Pass, ...] = ()
    agreed = True
    free = intact = coupled = None
    if s.bars.splice != "continuous":
        intact = findings(Run(home / "plan-intact")).assessment
        passes, coupled, agreed = _couple(s, home, seen.interface, elevation, intact, tell, notes, laws)
        if late is not None:
            beside.wait([late], tell)
            notes += late.notes
        free = findings(Run(home / "plan-free")).assessment
    answer = Prediction(
        s.name, elevation, free, intact, coupled, passes, agreed, math.nan, tuple(notes), found.side_splitting,
    )  # fmt: skip
    load = load_at(answer.bar_stress, seen.bar_stress, seen.load)
    top = Run(home / f"plan-pass-{len(passes)}") if passes else None
    across = None if top is None else plan_trace(top)
    shows = expected(answer.bar_stress, load, run, seen, top, across)
    answer = replace(answer, load=load, expected=shows, made=_made(s, home))
    _write_gauges(s, home, answer)
    write_whole(home / RECORD, answer.to_json().encode())
    return answer


def _write_gauges(s: Specimen, home: Path, answer: Prediction) -> None:
    """The table of gauges, from the runs of the prediction."""
    top = Run(home / f"plan-pass-{len(answer.passes)}") if answer.passes else None
    table = gauge_table(s, gauges_of(s), Run(home / "elevation"), top)
    write_whole(home / GAUGES, table.to_csv().encode())


def _gauge_anew(s: Specimen, home: Path, standing: Prediction) -> None:
    """Other gauges are no other prediction: a finished one is read once more, and keeps the text that names them."""
    lock = Lock(home)
    try:
        write_whole(home / "specimen.toml", s.text.encode())
        _write_gauges(s, home, standing)
    except OSError as error:
        raise FolderFault(str(home), f"cannot be written: {reason(error)}") from error
    finally:
        lock.release()


def _gauged(s: Specimen, home: Path) -> bool:
    """Whether the table in the folder has the gauges of this specimen, placed as they are in the text kept there."""
    try:
        kept = read_text((home / "specimen.toml").read_text(encoding="utf-8"), str(home))
        return kept.gauges == s.gauges and GaugeTable.read(home).ids == tuple(g.id for g in gauges_of(s))
    except (FespliceError, OSError):
        return False


def _made(s: Specimen, home: Path) -> Made:
    """Time, versions and digests of a prediction."""
    now = datetime.now(UTC).isoformat(timespec="seconds")
    return Made(now, manifest.versions()["fesplice"], manifest.program(), s.digest, results_digest(home))


def results_digest(home: Path) -> str:
    """SHA-256 over the names and curves of all runs of a prediction."""
    digest = hashlib.sha256()
    for curve in sorted(home.glob(f"*/{CURVE}")):
        digest.update(curve.parent.name.encode())
        digest.update(curve.read_bytes())
    return digest.hexdigest()


# ------------------------------------------------------------------ coupling
def _couple(
    s: Specimen,
    home: Path,
    state: InterfaceTrace,
    elevation: Assessment,
    intact: Assessment,
    tell: Told,
    notes: list[str],
    laws: Laws,
) -> tuple[tuple[Pass, ...], Assessment, bool]:
    """Passes of the plan with the plane that the elevation leaves at the bar stress at which the plan fails.

    The second pass reads the plane at the strength the first one found. Strength falls with the stress at
    which the plane is read, so the answer lies between the two: later passes start where the straight line
    through the last two meets it. A plan that holds more than the elevation, with the plane that the
    elevation leaves at its own strength, needs no further pass: the elevation governs.
    """
    cohesive = vary(s, "plan.interface", "cohesive")
    given = min(intact.bar_stress, elevation.bar_stress)
    passes: list[Pass] = []
    for k in range(1, PASSES + 1):
        folder = home / f"plan-pass-{k}"
        _compute(cohesive, folder, "plan", hung(s, state.at(given)), tell, notes, laws)
        judged = findings(Run(folder)).assessment
        found = judged.bar_stress
        passes.append(Pass(given, found, judged.dropped))
        governs = found >= given and given >= elevation.bar_stress
        if governs or abs(found - given) <= AGREED * given:
            return tuple(passes), judged, True
        given = found if k == 1 else _meeting(passes)
    return tuple(passes), judged, False


def _meeting(passes: list[Pass]) -> float:
    """Where the strength found would be the stress given, by the last two passes; half way where they tell nothing."""
    (g1, f1), (g2, f2) = ((p.given, p.found) for p in passes[-2:])
    slope = (f2 - f1) / (g2 - g1) if g2 != g1 else 0.0
    if slope >= 0.0:
        return 0.5 * (g2 + f2)
    low, high = sorted((g2, f2))
    return min(max((f2 - slope * g2) / (1.0 - slope), low), high)


def hung(s: Specimen, state: InterfaceTrace) -> Vertical:
    """The plane for the plan from one row of the elevation's trace.

    Where the elevation has a crack along the bars of width w, tension of s(w) is left of f_t
    (Hordijk 1991): the plane then has the strength of one under the vertical tension
    f_t (1 - (s/f_t)^2), from sqrt(f_t^2 - f_t s_v).
    """
    concrete = s.concrete.closure or s.concrete.precast
    f_t = concrete.tensile_strength
    last = 5.136 * concrete.fracture_energy / f_t
    left = np.array([hordijk(min(w / last, 1.0))[0] for w in state.opening[0]])
    stress = np.maximum(np.minimum(state.stress[0], f_t), f_t * (1.0 - left**2) * (state.opening[0] > 0.0))
    order = np.argsort(state.leg_x)
    legs = np.interp(state.x, state.leg_x[order], np.maximum(state.leg_stress[0][order], 0.0)) if len(order) else 0.0
    return Vertical(state.x, stress, np.broadcast_to(legs, state.x.shape), float(state.bar_stress[0]))


# ------------------------------------------------------------------ runs
def _compute(
    s: Specimen, folder: Path, view: str, vertical: Vertical | None, tell: Told, notes: list[str], laws: Laws
) -> None:
    """One run in this process; where its march stopped short, a note."""

    def hear(now: Any, name: str = "", /) -> None:
        tell(folder.name, now)

    try:
        analyse(s, folder, view=view, vertical=vertical, progress=hear, **laws)
    except NotConverged as fault:
        notes.append(f"{folder.name}: {fault}")


def _claim(s: Specimen, home: Path) -> tuple[Path, Lock]:
    """The specimen's text in the folder and the sole right to write there.

    A folder that is frozen, holds somebody's files or runs of another specimen is refused untouched. An elevation
    computed there alone, as a study does, is taken up; its own folder tells whose it is.
    """
    refuse_frozen(home)
    text = home / "specimen.toml"
    try:
        there = text.read_text(encoding="utf-8", errors="replace") if text.is_file() else ""
    except OSError as error:
        raise FolderFault(str(home), f"cannot be read: {reason(error)}") from error
    if there and there != s.text and (home / MARK).is_file() and not _same(there, s):
        raise FolderFault(str(home), "holds the prediction of another specimen; give a new folder; nothing was written")
    claim(home, "prediction")
    lock = Lock(home)
    try:
        if there != s.text:
            write_whole(text, s.text.encode())
    except OSError as error:
        lock.release()
        raise FolderFault(str(home), f"cannot be written: {reason(error)}") from error
    return text, lock


def _standing(s: Specimen, home: Path, chosen: Chosen) -> Prediction | None:
    """The prediction in the folder if it is this very one: specimen, laws, program, the curves it was made from."""
    if not (home / RECORD).is_file():
        return None
    found = Prediction.read(home)
    made = _made(s, home)
    same = found.made is not None and (made.specimen, made.program, made.results) == (
        found.made.specimen, found.made.program, found.made.results
    )  # fmt: skip
    return found if same and Run(home / "elevation").settings.get("laws") == chosen.as_dict() else None


def _same(text: str, s: Specimen) -> bool:
    try:
        return read_text(text, "specimen.toml").digest == s.digest
    except InputFault:
        return False
