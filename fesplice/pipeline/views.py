"""What the two views of a specimen need of the pipeline: mesh, model, march, the row of the curve, findings."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np

from fesplice.contracts import BondMaker, ConcreteMaker, Fault, Floats, InputFault, State, Step, ViewName
from fesplice.geometry import build_mesh, elevation
from fesplice.geometry.plan import plan
from fesplice.geometry.plan_mesh import plan_mesh
from fesplice.mesh import Mesh
from fesplice.model import plan as plan_side
from fesplice.model.assembly import Model
from fesplice.model.build import elevation_model
from fesplice.model.choice import Chosen, choose
from fesplice.model.estimate import cracking_deflection, expected_deflection, yield_deflection
from fesplice.model.fields import columns
from fesplice.model.plan import Vertical
from fesplice.pipeline import again, manifest
from fesplice.pipeline.progress import BEAM_EFFORT, SLAB_EFFORT, Effort
from fesplice.post.mechanisms import PER
from fesplice.solve import CONTROLS, STEPPERS, Displacement, Holdable, March, Stop
from fesplice.specimen import Specimen

Report = Callable[..., None]


@dataclass(frozen=True)
class Setup:
    """One view of one specimen, ready to be marched.

    ``moved`` is the column of its movement, ``per`` what its load is counted per, ``effort`` the share of the time over
    that of the movement; ``row_again`` and ``loads_again`` make its curve again from the steps (:mod:`again`).
    """

    specimen: Specimen
    mesh: Mesh
    settings: dict
    model: Callable[[], Model]
    march: Callable[[Model, Report], March]
    row: Callable[[Model, Step, dict[str, Floats]], Mapping[str, float | str]]
    moved: str
    per: str
    warnings: Callable[[Model], list[str]]
    effort: Effort
    row_again: Callable[[Mesh, Mapping[str, np.ndarray]], dict[str, float]]
    loads_again: Callable[[dict[str, Floats], bool], dict[str, Floats]]


def folder_name(specimen: Specimen, view: str) -> str:
    """What a run folder is called unless told otherwise: the specimen, and the view where it is not the first one."""
    name = specimen.name.lower()
    return name if view == next(iter(SETUPS)) else f"{name}-{view}"


def computable(specimen: Specimen) -> None:
    """Raises :class:`InputFault` for a splice that is checked by formula only."""
    if specimen.bars.splice in ("looped", "headed"):
        allowed = "checked by formula only (fesplice check); the views compute hooked, straight and continuous bars"
        raise InputFault(specimen.name, [Fault("bars.splice", specimen.bars.splice, allowed)])


def setup(
    specimen: Specimen,
    view: str,
    vertical: Vertical | None = None,
    mesh: Mesh | None = None,
    *,
    bond: BondMaker | None = None,
    concrete: ConcreteMaker | None = None,
) -> Setup:
    """The ``view`` "elevation" or "plan"; ``vertical`` is for the plan alone. Raises :class:`InputFault`.

    ``mesh`` takes the place of the one made of the specimen: for a layout that no specimen file describes. Laws handed
    in stand in place of those that the specimen names (:mod:`fesplice.model.choice`).
    """
    computable(specimen)
    chosen = choose(specimen, bond, concrete)
    if view not in SETUPS:
        raise InputFault("view", f"{view!r} is no view: {' or '.join(SETUPS)}")
    return SETUPS[view](specimen, vertical, mesh, chosen)


def _elevation(s: Specimen, vertical: Vertical | None, given: Mesh | None, chosen: Chosen) -> Setup:
    if vertical is not None:
        raise InputFault("vertical", "is what the elevation tells the plan; the elevation takes none")
    mesh = build_mesh(elevation(s), s.mesh) if given is None else given
    return Setup(
        specimen=s,
        mesh=mesh,
        settings=manifest.settings(s, chosen),
        model=lambda: elevation_model(s, mesh, chosen),
        march=lambda model, report: marcher(s, model, report),
        row=lambda model, step, values: columns(s, model, step, values),
        moved="deflection_mm",
        per=PER[ViewName.elevation],
        warnings=lambda model: manifest.warnings(s, model.mesh),
        effort=BEAM_EFFORT,
        row_again=lambda mesh, values: again.beam_row(s, mesh, values),
        loads_again=lambda made, begun: again.beam_loads(s, made, begun),
    )


def _plan(s: Specimen, vertical: Vertical | None, given: Mesh | None, chosen: Chosen) -> Setup:
    mesh = plan_mesh(plan(s), s.plan.element) if given is None else given
    return Setup(
        specimen=s,
        mesh=mesh,
        settings=manifest.plan_settings(s, vertical, chosen),
        model=lambda: plan_side.plan_model(s, mesh, vertical, chosen),
        march=lambda model, report: plan_marcher(s, model, report),
        row=lambda model, step, values: plan_side.columns(model, step, values),
        moved="extension_mm",
        per=PER[ViewName.plan],
        warnings=lambda model: manifest.plan_warnings(s, vertical),
        effort=SLAB_EFFORT,
        row_again=lambda mesh, values: again.slab_row(s, mesh, values),
        loads_again=lambda made, begun: again.slab_loads(s, made, begun),
    )


#: By view: how it is set up. The reading side and the pages have one entry for each of the same names.
SETUPS: dict[str, Callable[[Specimen, Vertical | None, Mesh | None, Chosen], Setup]] = {
    ViewName.elevation: _elevation,
    ViewName.plan: _plan,
}


def marcher(s: Specimen, model: Model, report: Report) -> March:
    """The march of a beam under its rams as the specimen asks for, from the unloaded state."""
    nominal = s.analysis.step or expected_deflection(s) / manifest.STEPS_TO_PEAK
    # held where the load acts: a stiffness made stiff by viscous help still sees the load there
    hold = Displacement(model.restrict(model.watch["load_point"]))
    joints = [model.watch[name] for name in ("joint_left", "joint_right") if name in model.watch]
    opening = model.restrict(0.5 * (joints[0] + joints[1])) if joints else None
    control = CONTROLS[s.analysis.control](Holdable(hold, model.f_ref, opening))
    stop = Stop(
        drop=s.analysis.drop,
        end=s.analysis.end_deflection or 1.5 * yield_deflection(s),
        steps=s.analysis.max_steps,
        not_before=4.0 * cracking_deflection(s),
    )
    start = State(np.zeros(model.n_free), 0.0, model.fresh())
    stepper = STEPPERS[s.analysis.stepping](nominal)
    return March(model, control, stepper, start, stop=stop, report=report)


def plan_marcher(s: Specimen, model: Model, report: Report) -> March:
    """The march of a slab between its crossheads, held at their distance whatever the beam's control.

    Held energy was tried: it turns back into elastic unloading before the slab has failed.
    """
    goal = plan_side.expected_extension(s)
    hold = Displacement(model.restrict(model.watch["extension"]), "extension")
    stop = Stop(
        drop=s.analysis.drop, end=manifest.PLAN_END * goal, steps=s.analysis.max_steps,
        not_before=plan_side.cracking_extension(s),
    )  # fmt: skip
    start = State(np.zeros(model.n_free), 0.0, model.fresh())
    stepper = STEPPERS[s.analysis.stepping](goal / manifest.PLAN_STEPS)
    return March(
        model, hold, stepper, start, tolerances=manifest.PLAN_TOLERANCES, stop=stop,
        report=report, patient=True,
    )  # fmt: skip
