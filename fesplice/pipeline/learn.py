"""Learning from tests: lessons read from their folders and the predictions of their specimens, one file written."""

from __future__ import annotations

import os
from collections.abc import Sequence
from pathlib import Path

from fesplice.contracts import InputFault
from fesplice.measured.learning import Lesson, Model, learnt, lesson_of
from fesplice.measured.record import Test
from fesplice.post.prediction import Prediction
from fesplice.store.folder import put_whole

Place = str | os.PathLike[str]


def learn(tests: Sequence[Place], out: Place | None = None, *, predictions: Sequence[Place] = ()) -> Model:
    """What ``tests`` (folders) teach about the models; with ``out`` written there for ``predict(learned=...)``.

    ``predictions``: folders of the predictions of their specimens, found by name; without one a test teaches about
    formulas alone. Raises :class:`InputFault` for a test that teaches nothing or a prediction that belongs to none.
    """
    by_name: dict[str, Prediction] = {}
    for place in predictions:
        found = Prediction.read(Path(place))
        if found.specimen in by_name:
            raise InputFault("learn", f"two predictions are of {found.specimen}: give one")
        by_name[found.specimen] = found
    names = [Test.read(Path(t)).specimen for t in tests]
    spare = sorted(set(by_name) - set(names))
    if spare:
        raise InputFault("learn", f"no test is of {', '.join(spare)}, of which a prediction is given")
    lessons: list[Lesson] = [lesson_of(Path(t), by_name.get(n)) for t, n in zip(tests, names, strict=True)]
    model = learnt(lessons)
    if out is not None:
        put_whole(Path(out), model.to_json().encode())
    return model
