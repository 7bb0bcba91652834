"""The series of beams: layers, areas and steel of the specimens against the tables, and the rules for modes.

Sources: layers 64 and 128 mm above the soffit and bar areas as the tables in models/validation/data quote
Vecchio & Shim (2004) and Bresler & Scordelis (1963); centroids by hand. No prediction is checked here.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parents[2] / "scripts"))

from validation import beams, frame  # noqa: E402
from validation.case import Settings  # noqa: E402

from fesplice import Run, findings  # noqa: E402
from fesplice.geometry import build_mesh  # noqa: E402
from fesplice.mesh import Mesh  # noqa: E402
from fesplice.post.elevation.layout import layout  # noqa: E402
from fesplice.post.elevation.trace import Tracer  # noqa: E402
from fesplice.post.mechanisms import Mechanism  # noqa: E402

ROWS = {b.name: b for file in beams.FILES for b in beams.read_rows(frame.DATA / file)}


def test_layers_make_the_stated_centroid() -> None:
    """d of the table within 2 mm: (1400 x 64 + 1000 x 128)/2400 = 90.7 mm above the soffit of 552 mm."""
    stated = {"VS-OA1": 461.0, "VS-A2": 467.0, "VS-C1": 488.0, "BS-OA1": 461.0, "BS-B3": 461.0, "BS-C1": 464.0}
    for name, d in stated.items():
        beam = ROWS[name]
        area = sum(b.number * b.area for b in beam.layers)
        level = sum(b.number * b.area * b.y for b in beam.layers) / area
        assert beam.depth - level == pytest.approx(d, abs=2.0)
    assert sum(b.number * b.area for b in ROWS["BS-B3"].layers) == pytest.approx(3225.0)
    assert [b.y for b in ROWS["VS-OA1"].layers] == [64.0, 128.0]


@pytest.mark.parametrize("name", sorted(ROWS))
def test_plane_carries_the_steel_of_the_table(name: str) -> None:
    beam = ROWS[name]
    s = beams.specimen_of(beam, Settings())
    plane = beams.plane_of(beam, s)
    main = [p for p in plane.paths if p.role == "main"]
    assert [p.points[0, 1] for p in main] == [b.y for b in beam.layers]
    assert [p.steel for p in main] == [f"layer{k}" for k in range(len(main))]
    top = [p for p in plane.paths if p.role == "compression"]
    assert sum(p.area for p in top) == pytest.approx(beam.top_area, rel=1e-3)
    legs = [p for p in plane.paths if p.role == "stirrup"]
    if beam.spacing:
        x = np.array([p.points[0, 0] for p in legs])
        assert np.diff(x)[1:-1] == pytest.approx(beam.spacing) or len(x) > 4
        assert {round(p.area, 3) for p in legs} == {round(2.0 * beam.leg_area, 3)}
    else:
        assert not legs


def test_settings_reach_the_specimen() -> None:
    s = beams.specimen_of(ROWS["VS-C1"], Settings(mesh=2.0, step=0.5, crack="fixed", stiffening=False, bond="perfect"))
    plain = beams.specimen_of(ROWS["VS-C1"], Settings())
    assert s.mesh.splice == pytest.approx(2.0 * plain.mesh.splice)
    assert s.analysis.step == pytest.approx(0.5 * plain.analysis.step, rel=1e-4)  # type: ignore[operator]
    assert s.analysis.crack_model == "fixed" and not s.analysis.tension_stiffening and not s.bond.slip
    assert plain.concrete.precast.tensile_strength == pytest.approx(0.9 * 2.37, rel=1e-3)


def test_published_names_of_what_the_judge_finds() -> None:
    """Every mechanism has a name; stirrups that yield decide between DT and VC alone."""
    assert beams.published(Mechanism.shear, False) == "DT" and beams.published(Mechanism.shear, True) == "VC"
    for ties in (False, True):
        assert beams.published(Mechanism.yielding, ties) == beams.published(Mechanism.crushing, ties) == "FC"
        others = [m for m in Mechanism if m not in (Mechanism.shear, Mechanism.yielding, Mechanism.crushing)]
        assert [beams.published(m, ties) for m in others] == [m.words for m in others]


def test_a_beam_goes_the_way_of_a_users_run(tmp_path: Path) -> None:
    """A coarse OA1: the record says what the findings of its folder say, the mode by the judge's name."""
    beam = ROWS["VS-OA1"]
    told = beams.run_beam(beam, Settings(mesh=2.0, step=4.0), tmp_path / "run")
    run = Run(tmp_path / "run")
    seen = findings(run)
    assert run.outcome.finished and told.steps == run.n_steps and told.ending == run.outcome.value
    kept = run.manifest["summary"]["findings"]
    assert kept["outcome"] == seen.outcome.name == run.outcome.name == run.manifest["outcome"]["name"]
    assert told.prediction == pytest.approx(seen.peak_load / 1e3) and 200.0 < told.prediction < 600.0
    assert told.mode == beams.published(seen.assessment.mode, ties=False)
    assert told.extras["what"] == seen.assessment.failure
    assert [line.role for line in run.mesh.lines.values()].count("main") == len(beam.layers) == 2


# ------------------------------------------------------------------ the measures the judge has of a beam
@pytest.fixture(scope="module")
def mesh() -> Mesh:
    beam = ROWS["VS-OA1"]
    s = beams.specimen_of(beam, Settings(mesh=2.0))
    return build_mesh(beams.plane_of(beam, s), s.mesh)


def noted(mesh: Mesh, where: tuple[float, float], *, lean: float = 0.0, width: float = 0.0, strain: float = 0.0):
    """The snapshot of a beam at rest but for one element at ``where`` [mm]: a crack that leans ``lean`` degrees from
    the bars, and a compressive strain upright."""
    values: dict[str, np.ndarray] = {}
    for name, g in mesh.groups.items():
        n = len(g.cells)
        if g.kind == "quad4":
            values |= {f"{name}/{k}": np.zeros((n, 4, 3)) for k in ("strain", "stress", "crack")}
        elif g.kind in ("truss2", "frame2", "bond"):
            values |= {f"{name}/{k}": np.zeros(n) for k in ("strain", "stress", "tau", "slip", "gap", "bearing")}
    centre = mesh.points[mesh.groups["precast"].cells].mean(axis=1)
    k = int(np.argmin(np.hypot(centre[:, 0] - where[0], centre[:, 1] - where[1])))
    values["precast/crack"][k] = width / 20.0, np.radians(90.0 - lean), 20.0
    values["precast/crack"][0, :, 1:] = 0.0, 20.0
    values["precast/crack"][0, :, 0] = 0.2 / 20.0  # an upright crack of 0.2 mm elsewhere
    values["precast/strain"][k, :, 1] = -strain
    return Tracer(mesh, layout(mesh)).note(1, 0.0, 0.0, values)


def test_inclined_cracks_of_a_beam_without_splice_are_seen_everywhere(mesh: Mesh) -> None:
    """0.5 mm at 45 degrees is wider than the upright 0.2 mm; 0.1 mm is not; one at 10 degrees is flat."""
    for x in (-1200.0, -600.0, 600.0):
        seen = noted(mesh, (x, 250.0), lean=45.0, width=0.5)
        assert seen.outside.value == seen.diagonal.value == pytest.approx(0.5) and seen.diagonal.x * x > 0.0
    thin = noted(mesh, (600.0, 250.0), lean=45.0, width=0.1)
    assert thin.outside.value == pytest.approx(0.1) and thin.diagonal.value == 0.0
    assert noted(mesh, (600.0, 250.0), lean=10.0, width=0.5).outside.value == 0.0


def test_a_beam_turns_about_the_wider_of_a_slanting_and_an_upright_crack(mesh: Mesh) -> None:
    """The upright one is 0.2 mm wide. Slanting is 20 to 70 degrees within the middle 0.6 of the depth of 552 mm."""
    for y, lean, counts in ((250.0, 45.0, True), (250.0, 25.0, True), (250.0, 10.0, False), (60.0, 45.0, False),
                            (500.0, 45.0, False)):  # fmt: skip
        seen = noted(mesh, (600.0, y), lean=lean, width=0.5).hinge
        assert seen.slanting == pytest.approx(0.5 if counts else 0.0, abs=1e-9)
        assert seen.upright == pytest.approx(0.2)
    assert seen.over() == 0.0 and noted(mesh, (600.0, 250.0), lean=45.0, width=0.5).hinge.over() == pytest.approx(2.5)
    assert noted(mesh, (600.0, 250.0), lean=45.0, width=0.5).hinge.over(joint=1.0) == pytest.approx(0.5)
    assert noted(mesh, (600.0, 250.0), lean=80.0, width=0.5).hinge.upright == pytest.approx(0.5)


def test_compression_of_the_zone_beside_the_load_and_of_the_web_are_told_apart(mesh: Mesh) -> None:
    """Depth 552 mm, load at x = 0: the zone is above 331 mm up to x = 552, the web between 110 and 442 beyond."""
    for where, name in (((300.0, 500.0), "compression"), ((900.0, 250.0), "web"), ((300.0, 250.0), ""),
                        ((900.0, 500.0), ""), ((900.0, 60.0), "")):  # fmt: skip
        seen = noted(mesh, where, strain=0.004)
        assert seen.compression.value == pytest.approx(0.004 if name == "compression" else 0.0)
        assert seen.web.value == pytest.approx(0.004 if name == "web" else 0.0)
