"""A run with wedging bond on disk: fields of its third component, findings, taking it up again.

Source: the wedge force per length is |tau| d_b tan(45 degrees) per bar (resultant of a radial pressure tau on half
a ring); the rest compares the run with itself.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from fesplice.mesh import LEAD
from fesplice.pipeline import analyse
from fesplice.post.elevation.bars import profile
from fesplice.specimen import read
from fesplice.specimen.read import vary_many
from fesplice.store.steps import QUANTA

MODELS = Path(__file__).parents[2] / "models"
COARSE = {"bond.splitting": "wedging", "mesh.splice": "36 mm", "mesh.elsewhere": "90 mm"}


def specimen(steps: int):
    return vary_many(read(MODELS / "as29-100-u.toml"), COARSE | {"analysis.max_steps": steps})


@pytest.fixture(scope="module")
def run(tmp_path_factory):
    return analyse(specimen(3), tmp_path_factory.mktemp("run") / "a")


def test_fields_of_the_wedge(run) -> None:
    """Opening between the gauge points and force that drives them apart, on the leads of the main bars alone."""
    mesh, last = run.mesh, run.step(run.n_steps - 1)
    for line in mesh.lines.values():
        names = {key.rpartition("/")[2] for key in last.fields if key.startswith(f"{line.bond}/")}
        assert {"slip", "gap", "tau", "bearing"} <= names
        assert ({"opening", "wedge"} <= names) == (line.role == "main")
    line = mesh.lines["A"]
    tau, wedge, opening = (np.asarray(last.fields[f"bond:A/{k}"], float).ravel() for k in ("tau", "wedge", "opening"))
    wedges = (line.zone == LEAD) & (np.abs(mesh.points[line.nodes, 0]) <= 280.0)
    # both are kept to whole multiples, each off by half of one
    off = 0.5 * QUANTA["wedge"] + line.diameter * QUANTA["tau"]
    assert wedge == pytest.approx(np.where(wedges, 2 * line.diameter * np.abs(tau), 0.0), rel=1e-4, abs=off)
    assert opening[wedges].max() > 1e-4 and np.abs(opening[line.zone != LEAD]).max() < 1e-12


def test_findings_and_stored_width(run) -> None:
    """The summary and the profiles read such a run, and the stored mesh has the width it was computed with."""
    assert run.manifest["summary"] and any("effective width of bars A" in text for text in run.warnings)
    assert np.isfinite(profile(run.mesh, run.step(run.n_steps - 1).fields, "A").tau).all()
    closure = run.mesh.groups["closure"]
    level = closure.data["bar_row"] > 0.0
    middle = np.abs(run.mesh.points[closure.cells, 0].mean(axis=1)) < 200.0
    assert closure.data["thickness"][level & middle].max() < 500.0 - 4 * 28.7


def test_taken_up_again_it_is_the_same_run(run, tmp_path) -> None:
    """The largest opening so far belongs to the state on disk: two steps and one more are three."""

    class Stopped(KeyboardInterrupt):
        pass

    def stop(progress) -> None:
        if progress.step.index == 2:
            raise Stopped

    with pytest.raises(KeyboardInterrupt):
        analyse(specimen(3), tmp_path / "b", progress=stop)
    again = analyse(specimen(3), tmp_path / "b")
    assert (again.folder / "curve.csv").read_bytes() == (run.folder / "curve.csv").read_bytes()
