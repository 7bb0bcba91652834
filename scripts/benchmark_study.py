"""Speed-up of a study with two workers against one, on cases of equal work, and the cost of a case without any.

Workers have loaded the program before the clock starts: starting them costs some seconds once, whatever the
study. Goals: at least 1.8 with two workers, less than 20 ms for a case that takes no time.
"""

from __future__ import annotations

import sys
import tempfile
import time
from pathlib import Path

from fesplice.study import Resources, read_study_text, run_study
from fesplice.study.cases import cases
from fesplice.study.record import compute
from fesplice.study.schedule import carry_out

ROOT = Path(__file__).resolve().parents[1]
SPEED_UP, OVERHEAD = 1.8, 0.020  # goals
CASES = 8
STUDY = """
base = "models/plain/cracked-section.toml"
[set]
"mesh.splice" = "40 mm"
"mesh.elsewhere" = "100 mm"
"analysis.step" = "0.005 mm"
"analysis.max_steps" = 60
[grid]
"concrete.precast.strength" = [{values}]
"""


def study(number: int):
    """Cases that differ a little in strength, below cracking: the same work for each."""
    values = ", ".join(f'"{45 + 0.01 * k:.2f} MPa"' for k in range(number))
    return read_study_text(STUDY.replace("{values}", values), "benchmark", ROOT)


def seconds(workers: int, folder: Path) -> float:
    """Time from the first beginning to the last end of the cases; every worker first does others to warm up."""

    def timed(text: str, place: str) -> tuple[float, float]:
        began = time.time()
        state = compute(text, place, ["elevation"])["elevation"]
        if state["state"] != "done":
            raise RuntimeError(state["reason"])
        return began, time.time()

    texts = [case.text for case in cases(study(CASES + 2 * workers))]
    work = {
        f"{'warm' if k < 2 * workers else 'case'} {k}": (text, str(folder / f"{k}")) for k, text in enumerate(texts)
    }
    spans = []
    for batch in carry_out(timed, work, Resources(workers=workers)):
        for name, answer in batch:
            if isinstance(answer, BaseException):
                sys.exit(f"a case failed: {answer}")
            spans += [answer] if name.startswith("case") else []
    return max(end for _, end in spans) - min(began for began, _ in spans)


def overhead(folder: Path, number: int = 1000) -> float:
    """Seconds per case for cases that take no time, with two workers: scheduling and the table."""

    def nothing_to_do(text: str, place: str, views: list[str]) -> dict:
        return {plane: {"state": "done"} for plane in views}

    ends: list[float] = []
    run_study(
        study(number), folder / "many", resources=Resources(workers=2), task=nothing_to_do,
        progress=lambda now: ends.append(now.elapsed),
    )  # fmt: skip
    return (ends[-1] - ends[0]) / number


def main() -> int:
    """Print both figures; 0 when both goals are met."""
    with tempfile.TemporaryDirectory() as scratch:
        one, two = (seconds(w, Path(scratch) / str(w)) for w in (1, 2))
        each = overhead(Path(scratch))
    print(
        f"{CASES} cases: {one:.1f} s with one worker, {two:.1f} s with two: speed-up {one / two:.2f} (goal {SPEED_UP})"
    )
    print(f"a case that takes no time: {1e3 * each:.1f} ms (goal {1e3 * OVERHEAD:.0f} ms)")
    return 0 if one / two >= SPEED_UP and each < OVERHEAD else 1


if __name__ == "__main__":
    sys.exit(main())
