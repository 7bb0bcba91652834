"""What comes first at hooks in a lap, with and without legs that hold the cover; coarse demonstration specimens.

Source: common practice, no source: without stirrups the cover lifts at the hooks before the hooks let go; legs of
stirrups hold it down. Order and ratio are compared, no value.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from fesplice import Run, analyse, findings, read
from fesplice.post.elevation.trace import ElevationTrace, trace
from fesplice.post.mechanisms import Mechanism
from fesplice.specimen import vary_many

MODELS = Path(__file__).parents[2] / "models"
COARSE = {"mesh.splice": "40 mm", "mesh.elsewhere": "120 mm", "bond.splitting": "wedging"}


@pytest.fixture(scope="module")
def runs(tmp_path_factory) -> dict[str, Run]:
    home = tmp_path_factory.mktemp("prying")
    return {
        name: analyse(vary_many(read(MODELS / f"as29-100-{name}.toml"), COARSE), home / name) for name in ("u", "s3")
    }


def lift(seen: ElevationTrace, row: int) -> float:
    return float(seen.interface.opening[row].max())


def test_without_legs_the_cover_lifts_then_a_dip_then_the_hook(runs: dict[str, Run]) -> None:
    judged, seen = findings(runs["u"]).assessment, trace(runs["u"])
    pried, split = judged.state(Mechanism.prying), judged.state(Mechanism.side_splitting)
    assert pried is not None and split is not None and judged.dropped
    assert pried.reached_at < 0.8 * split.reached_at and judged.mode is Mechanism.side_splitting
    first = int(np.flatnonzero([lift(seen, k) > 0.1 for k in range(len(seen.snapshots))])[0])
    peak = int(seen.load.argmax())
    assert seen.load[first] < 0.95 * seen.load[:first].max()  # the dip
    assert first < peak and seen.load[peak + 1] < 0.7 * seen.load[peak]  # climbs again, then falls
    covers = [float(np.mean(step.fields["plane:A/cover"])) for step in runs["u"].steps()]
    assert covers[0] > 0.99 and covers[peak] < 0.55 and np.all(np.diff(covers) < 1e-9)


def test_with_legs_the_cover_is_held_and_the_hook_carries_more(runs: dict[str, Run]) -> None:
    free, held = trace(runs["u"]), trace(runs["s3"])
    at = int(free.load.argmax())
    same = int(np.argmin(np.abs(held.bar_stress - free.bar_stress[at])))
    assert lift(held, same) < 0.5 * lift(free, at)
    assert held.bar_stress.max() > 1.3 * free.bar_stress.max()
