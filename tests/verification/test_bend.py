"""A bar pulled round its 90-degree bend bears on the concrete with T/R per length.

Source: equilibrium of a frictionless rope round a drum (any textbook of statics). The bar is the
hooked line of a demonstration specimen with the geometry, tangents and tributary lengths of its
mesh; the concrete is held, bond is off, the tail end is held and the lead is pulled.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from fesplice.contracts import Floats, Law, State
from fesplice.formulas.steel import Curve
from fesplice.geometry import build_mesh, elevation
from fesplice.laws import Bar, BentBar, Elastic, LinearBond
from fesplice.laws.bond import bearing_modulus
from fesplice.mesh import BEND, Mesh
from fesplice.model.assembly import Model, number_unknowns
from fesplice.solve import LoadFactor, March, Stop, Tolerances
from fesplice.solve.stepping import Constant
from fesplice.specimen import read

MODELS = Path(__file__).parents[2] / "models"
STEEL = Curve(200e3, (1.0, 2.0), (200e3, 200e3))
TENSION = 400e3


def pulled(kind: str) -> tuple[Mesh, Floats, Floats]:
    """The mesh, and along line A the bearing [N/mm] at the bond points and the tension [N] of the elements."""
    specimen = read(MODELS / "as29-100-u.toml")
    whole = build_mesh(elevation(specimen), specimen.mesh)
    line = whole.lines["A"]
    hosts = {name: g for name, g in whole.groups.items() if g.kind == "quad4"}
    bars = {name: replace(whole.groups[name], kind="truss2" if kind == "truss" else whole.groups[name].kind)
            for name in line.groups}  # fmt: skip
    mesh = replace(whole, groups={**hosts, **bars, line.bond: whole.groups[line.bond]})
    data = mesh.groups[line.bond].data
    modulus = bearing_modulus(35.0, line.diameter, 0.8)
    width = data["number"] * data["diameter"]
    laws: dict[str, Law] = {name: Elastic(30e3, 0.2) for name in hosts}
    for name, g in bars.items():
        bent = BentBar(STEEL, line.diameter, line.number, line.area)
        laws[name] = bent if g.kind == "frame2" else Bar(STEEL)
    laws[line.bond] = LinearBond(0.0, float(modulus), np.pi * width, width)
    n_dof, _, _ = number_unknowns(mesh)
    held = np.ones(n_dof, bool)
    held[2 * line.nodes] = held[2 * line.nodes + 1] = False
    held[2 * len(mesh.points) :] = False
    held[[2 * line.nodes[-1], 2 * line.nodes[-1] + 1]] = True
    f_ref = np.zeros(n_dof)
    f_ref[2 * line.nodes[0]] = -1.0
    model = Model(mesh, laws, np.flatnonzero(held), f_ref)
    start = State(np.zeros(model.n_free), 0.0, model.fresh())
    march = March(model, LoadFactor(model.n_free), Constant(TENSION), start, stop=Stop(steps=1),
                  tolerances=Tolerances.strict())  # fmt: skip
    step = list(march)[-1]
    force = {
        name: step.stress[part.name][rows, :, 0].mean(axis=1) * (line.area if isinstance(part.law, Bar) else 1.0)
        for part in model.parts
        for name, rows in part.groups.items()
    }
    tension = [force[name] for name in line.groups]
    return mesh, step.stress[line.bond][:, 0, 1], np.concatenate(tension)


def test_truss_bears_with_t_over_r_everywhere_in_the_bend() -> None:
    """All bond points inside the bend, 2 %; the tension stays the pull all the way to the tail end."""
    mesh, bearing, tension = pulled("truss")
    line = mesh.lines["A"]
    radius = (229.6 + 28.7) / 2  # bend diameter 8 d_b inside (ACI 318-19 25.3.1), bar axis
    inside = np.flatnonzero(line.zone == BEND)[1:-1]
    assert len(inside) >= 10
    assert np.abs(bearing[inside]) == pytest.approx(np.full(len(inside), TENSION / radius), rel=0.02)
    assert tension == pytest.approx(np.full(len(tension), TENSION), rel=0.001)
    lead = np.flatnonzero(line.zone == 0)[:-1]
    assert np.abs(bearing[lead]).max() < 1e-6 * TENSION / radius


def test_bending_bar_spreads_its_bearing_beyond_the_bend() -> None:
    """A bar that resists bending spreads the same resultant: the mean over the bend is a tenth less.

    The bend's ends carry less and the lead and tail beside them some, as a beam on an elastic
    foundation has it (measured mean: 89 % of T/R). The resultant of all bearing balances both pulls.
    """
    mesh, bearing, _ = pulled("frame")
    line, data = mesh.lines["A"], mesh.groups[mesh.lines["A"].bond].data
    radius = (229.6 + 28.7) / 2
    inside = np.flatnonzero(line.zone == BEND)[1:-1]
    length = data["length"]
    mean = np.sum(np.abs(bearing[inside]) * length[inside]) / np.sum(length[inside])
    assert mean == pytest.approx(0.89 * TENSION / radius, rel=0.03)
    normal = np.stack([-data["tangent"][:, 1], data["tangent"][:, 0]], axis=1)
    on_bar = -(bearing * length)[:, None] * normal
    assert on_bar.sum(axis=0)[0] == pytest.approx(TENSION, rel=0.02)  # the tail is vertical: the lead's pull alone
