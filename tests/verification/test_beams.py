"""Beams with continuous bars, file to run folder: bar stress of the cracked section and nominal moments.

Sources: cracked section, R. F. Warner et al., "Reinforced Concrete Basics", Example 3.1 (steel
stress 213 MPa and neutral axis 125 mm at 100 kNm); nominal moment, Example 3.8 of the same (302
kNm); both as quoted in the tests of the library concreteproperties. J. K. Wight & J. G.
MacGregor, "Reinforced Concrete: Mechanics and Design", Example 4-1 (240 kip-ft, from memory,
recalculated as 239.8). The library concreteproperties itself as installed.

The examples leave out concrete in tension, so the beams compared with them are given almost no
tensile strength (0.02 MPa); nothing else differs from models/plain. Measured: bar stress 1.7 %
below the example at 100 kNm, 2.4 % at 40 kNm; peak moments +0.2 % and +0.5 %.

With the estimated tensile strength the concrete between the cracks (mean curve of Collins and
Mitchell, no more than the bars have left before they yield) takes its share, so the 3 % do not hold
there: measured at midspan the bar stress, a mean between and at cracks, is 76, 87 and 90 % of the
cracked section's at 100, 150 and 180 kNm. Bar force and concrete tension together balance the
moment (measured 0.5 % off). The share fades as the bars yield; the peak moment of Example 3.8 comes
out 2.1 % high (4.5 % when the share did not fade).
"""

from __future__ import annotations

from functools import cache
from pathlib import Path

import numpy as np
import pytest
from concreteproperties.concrete_section import ConcreteSection
from concreteproperties.material import Concrete, SteelBar
from concreteproperties.pre import add_bar
from concreteproperties.stress_strain_profile import (
    ConcreteLinearNoTension,
    RectangularStressBlock,
    SteelElasticPlastic,
)
from sectionproperties.pre.library import rectangular_section

from fesplice.contracts import Floats
from fesplice.pipeline import analyse
from fesplice.specimen import Specimen, read, vary_many
from fesplice.store import Run

PLAIN = Path(__file__).parents[2] / "models" / "plain"
KIP_FT = 4448.2216 * 304.8  # N mm


def coarse(name: str, **analysis) -> Specimen:
    """A plain beam on a coarse mesh; keyword ``tension`` sets the tensile strength."""
    changes = {"mesh.splice": "54 mm", "mesh.elsewhere": "90 mm"}
    if (strength := analysis.pop("tension", None)) is not None:
        changes["concrete.precast.tensile_strength"] = strength
    return vary_many(read(PLAIN / f"{name}.toml"), changes | {f"analysis.{k}": v for k, v in analysis.items()})


@pytest.fixture(scope="module")
def runs(tmp_path_factory):
    """Runs by name and settings, each computed once."""

    @cache
    def get(name: str, **analysis) -> Run:
        return analyse(coarse(name, **analysis), tmp_path_factory.mktemp(name) / "run")

    return get


def moment(run: Run) -> Floats:
    return run.curve["moment_Nmm"]


def bar_stress(run: Run, at: float) -> float:
    """Bar stress at midspan [MPa] at a moment [N mm], between steps."""
    m, s = moment(run), run.curve["bar_stress_A_MPa"]
    up = slice(0, int(np.argmax(m)) + 1)
    return float(np.interp(at, m[up], s[up]))


# ------------------------------------------------------------------ without concrete in tension
def test_bar_stress_of_the_cracked_section(runs) -> None:
    """213 MPa at 100 kNm within 3 %, and the same share of every moment from 40 kNm up to there."""
    run = runs("cracked-section", tension="0.02 MPa", end_deflection="11 mm")
    assert moment(run).max() > 100e6
    assert bar_stress(run, 100e6) == pytest.approx(213.0, rel=0.03)
    for m in (40e6, 60e6, 80e6):
        assert bar_stress(run, m) == pytest.approx(213.0 * m / 100e6, rel=0.03)


def test_bar_stress_against_the_library(runs) -> None:
    run = runs("cracked-section", tension="0.02 MPa", end_deflection="11 mm")
    section = library_section(300, 450, 390, 3, 450, modulus=30.1e3, strength=32, yield_strength=500)
    results = section.calculate_cracked_properties()
    stress = section.calculate_cracked_stress(results, m=100e6)
    theirs = max(np.abs(force[0]) / 450.0 for force in stress.lumped_reinforcement_forces)
    assert theirs == pytest.approx(213.0, rel=0.01), "the library and the book must agree, or the section is wrong"
    assert bar_stress(run, 100e6) == pytest.approx(theirs, rel=0.03)


@pytest.mark.parametrize(
    ("name", "end", "published"),
    [("nominal-moment", "31 mm", 302e6), ("nominal-moment-in", "26 mm", 240 * KIP_FT)],
)
def test_peak_moment_is_the_nominal_moment(runs, name: str, end: str, published: float) -> None:
    """Within 3 %; the bars yield, and yield before the peak."""
    run = runs(name, tension="0.02 MPa", end_deflection=end)
    assert moment(run).max() == pytest.approx(published, rel=0.03)
    steel = coarse(name).steel["main"].yield_strength
    assert run.curve["bar_stress_A_MPa"].max() > 0.99 * steel


def test_nominal_moment_against_the_library(runs) -> None:
    run = runs("nominal-moment", tension="0.02 MPa", end_deflection="31 mm")
    section = library_section(300, 450, 390, 4, 450, modulus=30.1e3, strength=32, yield_strength=500)
    theirs = section.ultimate_bending_capacity().m_x
    assert theirs == pytest.approx(302e6, rel=0.01)
    assert moment(run).max() == pytest.approx(theirs, rel=0.03)


# ------------------------------------------------------------------ with concrete in tension
def test_concrete_between_cracks_takes_its_share(runs) -> None:
    """Below the bare section by tension stiffening, less so as the moment grows; the moment is balanced by both."""
    run = runs("cracked-section", end_deflection="16 mm")
    share = [bar_stress(run, m) / (213.0 * m / 100e6) for m in (100e6, 150e6, 180e6)]
    assert 0.60 < share[0] < share[1] < share[2] < 1.0
    assert share[0] == pytest.approx(0.76, abs=0.05) and share[2] == pytest.approx(0.90, abs=0.05)
    for index in (len(moment(run)) // 2, len(moment(run)) - 1):
        inside, outside = balance(run, index)
        assert inside == pytest.approx(outside, rel=0.01)


def test_peak_moment_with_tension_stiffening(runs) -> None:
    """Between the nominal moment and 4 % above it (measured 2.1 %)."""
    run = runs("nominal-moment", end_deflection="28 mm")
    assert 302e6 < moment(run).max() < 1.04 * 302e6


def balance(run: Run, index: int) -> tuple[float, float]:
    """Moment of the stored stresses over the element column next to midspan about the compression face, and the
    applied one.
    """
    step, mesh = run.step(index), run.mesh
    group, line = mesh.groups["precast"], mesh.lines["A"]
    xy = mesh.points[group.cells]
    middle = xy[..., 0].mean(axis=1)
    column = np.abs(middle - middle[middle > 0].min()) < 1e-3
    xy, stress = xy[column], step.of("precast")["stress"][column][..., 0]
    low, high = xy[..., 1].min(axis=1)[:, None], xy[..., 1].max(axis=1)[:, None]
    root = np.array([-1, -1, 1, 1]) / np.sqrt(3.0)
    y = 0.5 * (low + high) + 0.5 * (high - low) * root
    force = stress * (high - low) * group.data["thickness"][column][:, None] / 4
    bars = mesh.groups[line.groups[0]]
    ends = mesh.points[bars.cells]
    near = np.argmin(np.abs(ends[..., 0].mean(axis=1) - middle[column][0]))
    bar = step.of(line.groups[0])["stress"][near] * line.area
    top = mesh.points[group.cells][..., 1].max()
    inside = bar * (top - ends[near, :, 1].mean()) + np.sum(force * (top - y))
    return float(inside), float(moment(run)[index])


def library_section(width, depth, d, number, area, *, modulus, strength, yield_strength) -> ConcreteSection:
    """Singly reinforced rectangle; stress block 0.85 f'c over 0.826 c (AS 3600 for 32 MPa, as in the example)."""
    concrete = Concrete(
        "concrete", 2.4e-6, ConcreteLinearNoTension(modulus),
        "lightgrey", RectangularStressBlock(strength, 0.85, 0.826, 0.003), 3.4,
    )  # fmt: skip
    steel = SteelBar("steel", 7.85e-6, SteelElasticPlastic(yield_strength, 200e3, 0.05), "grey")
    shape = rectangular_section(d=depth, b=width, material=concrete)
    for k in range(number):
        shape = add_bar(shape, area=area, material=steel, x=width * (k + 1) / (number + 1), y=depth - d)
    return ConcreteSection(shape)
