"""Exchanged plugs: told where the order of two gauges can be known, silent where both read next to nothing.

The readings are those of a hook's bend and tail in an invented log judged by a prediction. That zeros of strain gauges
move by some ten microstrain with the warmth of lead wires and hall: common practice, no source.
"""

from __future__ import annotations

import numpy as np
import pytest

from fesplice.measured.channels import Conditioned
from fesplice.measured.expected import Tabulated
from fesplice.measured.quality import FAINT, Course, judge
from fesplice.specimen.gauges import Gauge

#: What two gauges should read and what they read, as shares of the largest of the four.
WANT, READ = (11.0 / 11.0, 3.0 / 11.0), (3.0 / 11.0, 9.0 / 11.0)


def told(largest: float, read: tuple[float, float] = READ, noise: float = 0.5e-6) -> set[tuple[str, str]]:
    """Faults told of a bend and a tail gauge; ``largest`` of what they should read at two thirds of the load."""
    t = np.linspace(0.0, 600.0, 1201)
    load = np.interp(t, [60.0, 600.0], [0.0, 100e3])
    rng = np.random.default_rng(3)
    gauges = [
        Gauge(id="bend", kind="bar_strain", bar="A1", station="mid-bend"),
        Gauge(id="tail", kind="bar_strain", bar="A1", station="tail"),
    ]
    values = {
        g.id: r * largest * load / 65e3 + rng.normal(0.0, noise, len(t)) for g, r in zip(gauges, read, strict=True)
    }
    channels = [Conditioned(g.id, g, "", 1.0, 1.0, 0.0, noise, 0, (), (0, 100), 0.0, None, True) for g in gauges]
    rows = {g.id: (w * largest, False, "") for g, w in zip(gauges, WANT, strict=True)}
    expected = Tabulated("a prediction", 65e3, {"strain": 2e-3}, rows)
    return {(s.channel, s.fault) for s in judge(channels, values.__getitem__, Course(t, load, len(t) - 1), expected)}


BOTH = {("bend", "swapped"), ("tail", "swapped")}


@pytest.mark.parametrize("largest", [11e-6, 0.9 * FAINT])
def test_gauges_that_read_next_to_nothing_are_in_no_order(largest: float) -> None:
    assert told(largest) == set()


@pytest.mark.parametrize("largest", [5.0 * FAINT, 1.1e-3])
def test_the_same_readings_larger_are_told_as_exchanged(largest: float) -> None:
    assert told(largest) == BOTH
    assert told(largest, WANT) == set()


def test_one_next_to_nothing_and_one_large_are_still_told() -> None:
    # the share 3/11 of 60 microstrain is below the limit, the other one well above
    assert 3.0 / 11.0 * 60e-6 < FAINT < 9.0 / 11.0 * 60e-6
    assert told(60e-6) == BOTH
