"""Every law: what is committed changes no stress. The next increment begins where the last one was accepted.

A law that keeps a quantity of the committed state through an increment (a Poisson's ratio that fades with the crack,
cohesion that sliding has used up) jumps when it is committed, and nodes that were in balance no longer are.

Source: an internal variable is a function of the strains up to now and of nothing else (rate independence; any
textbook of plasticity).
"""

from __future__ import annotations

import sys
from collections.abc import Mapping
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parent))

from test_bond_joint import LAWS as JOINTS
from test_cohesive import PLANE, legs
from test_concrete import LAWS as CONCRETES
from test_concrete import square
from test_end_anchor import LAWS as ANCHORS
from test_hook_plane import PLANE as HOOK_PLANE
from test_steel import CURVES
from test_wedge import wedge

from fesplice.contracts import Floats, Law
from fesplice.laws.cohesive import CohesiveInterface, Spring
from fesplice.laws.steel import Bar, BentBar

CURVE = next(iter(CURVES.values()))
LINE = np.ones((1, 1))
#: The law, its size, and how far its strains wander.
CASES: dict[str, tuple[Law, Floats, Floats]] = {
    # cracks that run alone read their way of parting from accepted states on purpose (fesplice.laws.parting)
    **{k: (law, square(20.0), np.full(3, 15e-4)) for k, law in CONCRETES.items() if k != "smeared alone"},
    **{k: (law, LINE, np.array([0.05, 0.2]) if k == "joint" else np.array([0.8, 0.3])) for k, law in JOINTS.items()},
    **{f"anchor {k}": (law, LINE, np.ones(1)) for k, law in ANCHORS.items()},
    "wedging": (wedge(), LINE, np.array([0.8, 0.3, 0.1])),
    "hook plane": (HOOK_PLANE, LINE, np.array([0.5, 0.1])),
    "interface": (PLANE, LINE, np.array([0.1, 0.1])),
    "interface with legs": (
        CohesiveInterface(58.0, np.array([1.95]), np.array([0.4]), 1.95, 0.138, along=1.0, crossing=legs()),
        LINE,
        np.array([0.1, 0.1]),
    ),
    "spring": (Spring(50.0), LINE, np.array([0.1, 0.1])),
    "bar": (Bar(CURVE), LINE, np.full(1, 0.01)),
    "bent bar": (BentBar(CURVE, 25.0, 1, 491.0), LINE, np.array([0.01, 2e-4])),
}


def wandering(law: Law, size: Floats, far: Floats, seed: int) -> list[tuple[Floats, Mapping[str, Floats]]]:
    """60 accepted (strain, history before) on a walk that opens, closes, unloads and turns."""
    draw = np.random.default_rng(seed)
    history, strain, out = law.fresh((1, 1)), np.zeros((1, 1, len(far))), []
    for _ in range(60):
        strain = 0.95 * strain + 0.25 * far * draw.standard_normal(strain.shape)
        out.append((strain, history))
        history = law.respond(strain, history, size).history
    return out


@pytest.mark.parametrize("name", CASES)
@pytest.mark.parametrize("seed", range(4))
def test_committed_state_gives_the_stress_it_was_accepted_with(name: str, seed: int) -> None:
    law, size, far = CASES[name]
    largest = 0.0
    for strain, history in wandering(law, size, far, seed):
        accepted = law.respond(strain, history, size)
        again = law.respond(strain, accepted.history, size)
        largest = max(largest, float(np.abs(accepted.stress).max()))
        assert again.stress == pytest.approx(accepted.stress, rel=1e-7, abs=1e-7 * largest)
