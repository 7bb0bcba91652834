"""What tests teach about the errors of models: coupled views and every formula of the band, each log-normal.

Each model's error is learnt by the closed form of :mod:`fesplice.post.errors`; a model weighs as it predicted all tests
together (its evidence, equal weights before), and the mixture gives median, 5 and 95 %. A specimen that lies far from
every test in its inputs gets a band no narrower than without them.
"""

from __future__ import annotations

import hashlib
import json
import math
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

import numpy as np

from fesplice.contracts import FolderFault, InputFault
from fesplice.measured.record import SPECIMEN, Test
from fesplice.measured.rig import read_rig
from fesplice.post.errors import Prior, evidence, leave_one_out, mixed_quantile, predictive
from fesplice.post.prediction import Prediction
from fesplice.post.scatter import ENDS, Learned, prior
from fesplice.sizing import check
from fesplice.sizing.lapped import lapped
from fesplice.specimen import Specimen, read
from fesplice.store.folder import plain, reason

KIND, EDITION, COUPLED = "fesplice learned model", 1, "coupled views"
#: Formulas have no record of laps of hooked bars: no bias, a scatter of 25 % within a series and as much between,
#: held as weakly as four tests would (judgement).
FORMULA = Prior(0.0, 2.0, 2.0 * 0.25**2, 1.0, 1.0, "judgement: no bias, 25 %")
#: Steps of the inputs that count as a distance of one (judgement): f_cm [MPa], bar size [mm], lap, spacing and least
#: cover in bar diameters, steel across (area of all legs over lap x diameter), kind of splice and of confinement.
STEPS = {
    "concrete": 10.0, "diameter": 8.0, "lap": 5.0, "spacing": 2.5, "cover": 1.0, "ties": 0.02, "splice": 0.5,
    "confinement": 0.5,
}  # fmt: skip


@dataclass(frozen=True)
class Lesson:
    """One test: bar stress at failure [MPa], what every model said before [MPa], its inputs by name of ``STEPS``."""

    test: str
    specimen: str
    digest: str
    series: str
    stress: float
    said: dict[str, float]
    inputs: dict[str, float]
    splice: str
    confinement: str


@dataclass(frozen=True)
class Model:
    """Tests learnt from, ``weights`` of the models, and which share of tests each model's 90 % band held left out."""

    lessons: tuple[Lesson, ...]
    weights: dict[str, float]
    held: dict[str, float]
    remarks: tuple[str, ...]

    def __repr__(self) -> str:
        best = max(self.weights, key=lambda k: self.weights[k], default="nothing")
        return f"Model({len(self.lessons)} tests, most weight on {best})"

    @property
    def digest(self) -> str:
        """SHA-256 of what was learnt from."""
        text = json.dumps([plain(asdict(lesson)) for lesson in self.lessons], sort_keys=True)
        return hashlib.sha256(text.encode()).hexdigest()

    @property
    def series(self) -> tuple[str, ...]:
        """Series of the tests, in their order."""
        return tuple(lesson.series for lesson in self.lessons)

    def errors(self, name: str) -> list[float]:
        """Logarithms of test over what a model said."""
        return [math.log(lesson.stress / lesson.said[name]) for lesson in self.lessons]

    # -------------------------------------------------------------- file
    def to_json(self) -> str:
        """The text of the file."""
        tree = {"kind": KIND, "edition": EDITION, "digest": self.digest, **plain(asdict(self))}
        return json.dumps(tree, indent=1, ensure_ascii=False, allow_nan=False) + "\n"

    @classmethod
    def read(cls, path: str | Path) -> Model:
        """The model of a file; :class:`FolderFault` for another one or one that was changed."""
        place = Path(path)
        try:
            tree = json.loads(place.read_text(encoding="utf-8"))
        except (OSError, ValueError, RecursionError) as error:
            raise FolderFault(str(place), f"cannot be read: {reason(error)}") from error
        if not isinstance(tree, dict) or tree.get("kind") != KIND or tree.get("edition") != EDITION:
            raise FolderFault(str(place), f"is no learned model of edition {EDITION}: make it with learn")
        try:
            lessons = tuple(_lesson(row) for row in tree["lessons"])
            found = learnt(lessons)
        except (KeyError, TypeError, ValueError, AttributeError) as error:
            raise FolderFault(str(place), f"is damaged: {type(error).__name__} {reason(error)}") from error
        if tree.get("digest") != found.digest:
            raise FolderFault(str(place), "was changed since it was learnt: its digest does not fit its tests")
        return found


def _lesson(row: Mapping[str, Any]) -> Lesson:
    numbers = {k: {str(n): float(v) for n, v in row[k].items()} for k in ("said", "inputs")}
    words = {k: str(row[k]) for k in ("test", "specimen", "digest", "series", "splice", "confinement")}
    return Lesson(stress=float(row["stress"]), said=numbers["said"], inputs=numbers["inputs"], **words)


# ------------------------------------------------------------------ learning
def lesson_of(folder: str | Path, found: Prediction | None) -> Lesson:
    """What a reduced test teaches; ``found`` the prediction of its specimen, or None.

    Raises :class:`InputFault` for a test that says nothing about the anchorage: bars that yielded, or no bar stress.
    """
    place = Path(folder)
    test = Test.read(place)
    s, rig = read(place / SPECIMEN), read_rig(place / "rig.toml")
    stress = max((b.fibre for b in test.bar_stress if b.share >= 1.0 and math.isfinite(b.fibre)), default=math.nan)
    if not stress > 0.0:
        raise InputFault(str(place), "its bar stress at the largest load is not known: nothing can be learnt from it")
    yielding = min(float(s.steel[row.steel].yield_strength) for row in (s.bars.left, s.bars.right) if row is not None)
    if stress >= yielding:
        raise InputFault(
            str(place), f"its bars yielded ({stress:.0f} of {yielding:.0f} MPa): it tells that the anchorage held, not "
            "at what it fails; leave it out",
        )  # fmt: skip
    said = said_by(s, found)
    inputs, splice, confinement = inputs_of(s)
    return Lesson(place.name, s.name, s.digest, rig.test.series, stress, said, inputs, splice, confinement)


def said_by(s: Specimen, found: Prediction | None) -> dict[str, float]:
    """Bar stress [MPa] by every model: the coupled views, where they are computed, and the formulas of the band."""
    said = {} if found is None else {COUPLED: found.bar_stress}
    for e in check(s).band.estimates:
        if e.role == "band" and math.isfinite(e.stress) and e.stress > 0.0:
            name = ", ".join(part for part in (e.formula, e.source, e.reading) if part)
            # of two rows the one that gives way first
            said[name] = min(e.stress, said.get(name, math.inf))
    return said


def inputs_of(s: Specimen) -> tuple[dict[str, float], str, str]:
    """Inputs by name of ``STEPS``, kind of splice and of confinement."""
    concrete = s.concrete.closure or s.concrete.precast
    rows = lapped(s)
    numbers = {"concrete": float(concrete.strength), "diameter": float(s.bars.left.diameter)}
    if rows:
        b = rows[0]
        numbers |= {
            "lap": b.lap / b.diameter, "spacing": b.s_partner / b.diameter, "cover": b.c_least / b.diameter,
            "ties": b.ties.total / (b.lap * b.diameter),
        }  # fmt: skip
    return numbers, s.bars.splice, s.confinement.kind


def learnt(lessons: Sequence[Lesson]) -> Model:
    """The model of some lessons. Raises :class:`InputFault` for none, or twice the same test."""
    if not lessons:
        raise InputFault("learn", "give at least one test")
    names = [lesson.test for lesson in lessons]
    if len(set(names)) < len(names):
        raise InputFault("learn", "two folders of tests have one name; give each its own")
    everywhere = [n for n in lessons[0].said if all(n in lesson.said for lesson in lessons)]
    model = Model(tuple(lessons), {}, {}, ())
    logs = {n: evidence(prior_for(n), model.errors(n), model.series) for n in everywhere}
    top = max(logs.values())
    raw = {n: math.exp(v - top) for n, v in logs.items()}
    weights = {n: v / sum(raw.values()) for n, v in raw.items()}
    held = {
        n: float(np.mean(leave_one_out(prior_for(n), model.errors(n), model.series))) for n in everywhere
    }  # fmt: skip
    left = sorted({n for lesson in lessons for n in lesson.said} - set(everywhere))
    remarks = [f"{n}: not known for every test, so it has no part in the mixture" for n in left]
    if COUPLED not in everywhere:
        remarks.append("the coupled views have no part: give the prediction of every test with --prediction")
    return Model(tuple(lessons), weights, held, tuple(remarks))


def prior_for(name: str) -> Prior:
    """Prior of a model: the record of published tests for the coupled views, judgement for formulas."""
    return prior("hooks") if name == COUPLED else FORMULA


# ------------------------------------------------------------------ using it
def distance(a: Lesson, inputs: Mapping[str, float], splice: str, confinement: str) -> float:
    """Distance of a test's inputs from others, in ``STEPS``."""
    words = ((a.splice != splice) / STEPS["splice"], (a.confinement != confinement) / STEPS["confinement"])
    numbers = [(a.inputs[k] - inputs[k]) / STEPS[k] for k in inputs if k in a.inputs]
    return math.sqrt(sum(x * x for x in (*numbers, *words)))


def corrected(model: Model, s: Specimen, found: Prediction) -> Learned:
    """What the model makes of the prediction of a specimen."""
    inputs, splice, confinement = inputs_of(s)
    nearest = min(model.lessons, key=lambda lesson: distance(lesson, inputs, splice, confinement))
    gap = distance(nearest, inputs, splice, confinement)
    far = gap > 1.0
    said = said_by(s, found)
    weights = {n: w for n, w in model.weights.items() if n in said}
    total = sum(weights.values())
    if not total > 0.0:
        raise InputFault(s.name, "no model that was learnt says anything of this specimen")
    parts, before = [], []
    for name, w in weights.items():
        base = prior_for(name)
        of = "" if far else nearest.series
        # a specimen far from all tests is one of a series not seen yet
        series = [f"tested {x}" for x in model.series]
        spread = predictive(base, model.errors(name), series, f"tested {of}" if not far else "unseen")
        parts.append((w / total, said[name], spread))
        before.append((w / total, said[name], predictive(base, (), (), "")))
    low, median, high = (mixed_quantile(parts, q) for q in (ENDS[0], 0.5, ENDS[1]))
    if far:
        low, high = min(low, mixed_quantile(before, ENDS[0])), max(high, mixed_quantile(before, ENDS[1]))
    shares = {n: w / total for n, w in sorted(weights.items(), key=lambda item: -item[1])}
    return Learned(low, median, high, shares, gap, nearest.test, far, len(model.lessons), model.digest)
