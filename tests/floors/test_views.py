"""What each floor knows of there being two views is one table by name, and all of them hold the same names.

The rule is the project's own (DEVELOPERS.md).
"""

from __future__ import annotations

from fesplice.contracts import ViewName
from fesplice.pipeline.views import SETUPS
from fesplice.post.mechanisms import PER
from fesplice.post.record import READERS
from fesplice.report.views import VIEWS


def test_every_floor_knows_the_same_views() -> None:
    assert set(ViewName) == set(SETUPS) == set(READERS) == set(VIEWS) == set(PER)
    assert all(name == view.name for name, view in VIEWS.items())
