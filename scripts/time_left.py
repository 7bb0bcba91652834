"""Is the time left that is told right? Predicts a specimen and prints, for every run, what was told after a fifth.

    python scripts/time_left.py SPECIMEN.toml [KEY=VALUE ...]      # e.g. models/as29-100-u.toml "mesh.splice=60 mm"

Exit 1 where a run told more than twice or less than half of what it then took. What is told is at most: a run that
fails before the end of its movement is done sooner.
"""

from __future__ import annotations

import sys
import tempfile
from collections import defaultdict
from typing import Any

from fesplice import Progress, predict, read
from fesplice.specimen import vary_many

#: Share of the time of a run after which the guess is held against the end; how far it may be off.
AFTER, FACTOR = 0.2, 2.0


def main(file: str, *changes: str) -> int:
    """Print the table; 0 when every guess was within the factor."""
    heard: dict[str, list[Progress]] = defaultdict(list)

    def hear(now: Any, name: str = "", /) -> None:
        if now is not None:
            heard[name].append(now)

    given = read(file)
    wanted = dict(change.split("=", 1) for change in changes)
    with tempfile.TemporaryDirectory() as scratch:
        predict(vary_many(given, wanted) if wanted else given, f"{scratch}/p", progress=hear)
    missed = 0
    print(f"{'run':14}{'whole':>9}{'at':>9}{'told left':>11}{'took':>9}   told / took")
    for name, steps in heard.items():
        whole = steps[-1].elapsed
        then = next((s for s in steps if s.elapsed >= AFTER * whole and s.left is not None), steps[-1])
        took = whole - then.elapsed
        ratio = (then.left or 0.0) / max(took, 1e-9)
        missed += not 1.0 / FACTOR <= ratio <= FACTOR
        print(f"{name:14}{whole:9.1f}{then.elapsed:9.1f}{then.left or 0.0:11.1f}{took:9.1f}{ratio:10.2f}")
    print(f"{len(heard) - missed} of {len(heard)} runs within a factor of {FACTOR:g} after {100.0 * AFTER:.0f} % (s)")
    return int(missed > 0)


if __name__ == "__main__":
    if len(sys.argv) < 2:
        sys.exit(__doc__)
    sys.exit(main(*sys.argv[1:]))
