"""Tests laid over a prediction: the freeze verified, both read, page, figures, CSV and JSON written."""

from __future__ import annotations

import json
import os
from collections.abc import Callable, Sequence
from pathlib import Path

from fesplice.contracts import FolderFault, InputFault
from fesplice.measured.comparison import Comparison, Predicted, compare_test, dates
from fesplice.post.prediction import Prediction
from fesplice.report.compare.page import comparison_page
from fesplice.report.prediction_page import runs_of
from fesplice.store.folder import claim, is_frozen, put_whole
from fesplice.store.freeze import verify

Place = str | os.PathLike[str]
#: File of the numbers of a comparison.
NUMBERS = "comparison.json"


def compare(
    tests: Sequence[Place] | Place, prediction: Place, out: Place | None = None, *,
    progress: Callable[[str], None] | None = None,
) -> Comparison:  # fmt: skip
    """Lay reduced ``tests`` of one specimen over its ``prediction``; with ``out`` write page, figures, numbers there.

    Raises :class:`InputFault` for a test of another specimen, :class:`FolderFault` for a folder that is none of these
    or holds files of somebody else. A prediction whose freeze does not hold is compared and says so.
    """
    places = [tests] if isinstance(tests, (str, os.PathLike)) else list(tests)
    if not places:
        raise InputFault("compare", "give at least one test")
    home = Path(prediction)
    found = Prediction.read(home)
    side, top = runs_of(home, found)
    predicted = Predicted(found, side, top)
    done = tuple(compare_test(Path(t), predicted) for t in places)
    named = [t.name for t in done]
    if len(set(named)) < len(named):
        raise InputFault("compare", "two folders of tests have one name; give each its own")
    made = found.made.created if found.made is not None else ""
    age = dates(done, made) if made else ("the prediction does not say when it was made",)
    answer = Comparison(str(home), found, done, frozen_words(home), age)
    if out is not None:
        target = Path(out)
        claim(target, "comparison")
        comparison_page(answer, side, top, target, progress)
        text = json.dumps(answer.to_dict(), indent=1, ensure_ascii=False, allow_nan=False) + "\n"
        put_whole(target / NUMBERS, text.encode())
    return answer


def frozen_words(home: Path) -> str:
    """What verifying the freeze of a prediction says."""
    if not is_frozen(home):
        return "the prediction was not frozen: that it was not changed after the test cannot be shown"
    try:
        seen = verify(home)
    except FolderFault as fault:
        return f"the freeze of the prediction does NOT hold: {fault}"
    when = seen.frozen.time.replace("T", " ").replace("+00:00", " UTC")
    if seen.held:
        return f"the prediction was frozen {when} and no byte changed since (SHA-256 {seen.frozen.digest[:12]})"
    names = [*seen.changed, *seen.missing, *seen.added]
    return f"the freeze of the prediction of {when} does NOT hold: {len(names)} files differ ({', '.join(names[:3])})"
