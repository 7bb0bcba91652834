"""What computing a specimen takes, before anything is meshed: elements, memory, time.

Elements are counted by areas over the wanted sizes; memory and time follow from the unknowns by what the project's own
benchmark measures (``scripts/benchmark``: 12 ms an iteration at 5000 unknowns growing with the power 1.2, about
12 kB an unknown in the factors, 0.4 GB for the program itself). Good to a factor of three.
"""

from __future__ import annotations

from dataclasses import dataclass

from fesplice.specimen.fill import TellFault
from fesplice.specimen.schema import Specimen
from fesplice.units import both

#: Refused above: elements of one mesh, memory [bytes], time of one run [s]. A large workstation (judgement).
MOST_ELEMENTS, MOST_MEMORY, MOST_TIME = 1_000_000, 16e9, 3 * 24 * 3600.0
#: Told above: memory [bytes], time [s].
MUCH_MEMORY, MUCH_TIME = 2e9, 4 * 3600.0
_PROGRAM, _PER_UNKNOWN = 0.4e9, 12e3
_ITERATION, _UNKNOWNS, _GROWTH = 0.012, 5000.0, 1.2
_ITERATIONS = 12.0  # of one step, with what is tried again
_STEPS = 90.0  # of a run whose step is left to the rule


@dataclass(frozen=True)
class Effort:
    """One view: its name, elements, memory [bytes] and time [s] of a run, and the key it hangs on most."""

    view: str
    elements: float
    memory: float
    time: float
    key: str

    def __str__(self) -> str:
        return (
            f"{self.view}: about {_round(self.elements):,.0f} elements, {self.memory / 1e9:.1f} GB of memory, "
            f"{_time(self.time)}"
        )


def effort(s: Specimen) -> tuple[Effort, ...]:
    """What each view of the filled ``s`` takes."""
    found = [_elevation(s)]
    if s.bars.splice != "continuous" and s.body.closure > 0.0 and s.plan.element > 0.0:
        elements = s.body.closure / s.plan.element * s.body.width / s.plan.element
        found.append(_effort("plan", elements, _STEPS, "plan.element"))
    return tuple(found)


def _elevation(s: Specimen) -> Effort:
    length = s.body.span + 2 * s.body.overhang
    fine = min(s.body.closure + 2 * s.body.depth, length)
    columns = fine / s.mesh.splice, (length - fine) / s.mesh.elsewhere
    # a plate is meshed too: as thick as long it counts like a beam
    plates = 4.0 * s.body.plate_length * s.body.plate_thickness / s.mesh.elsewhere**2
    beam = sum(columns) * s.body.depth / s.mesh.splice
    key = "mesh.splice" if columns[0] > columns[1] else "mesh.elsewhere"
    steps = _STEPS
    if s.analysis.step is not None:
        # the plan of a run ends by itself; a beam test ends at about a hundredth of the span
        end = s.analysis.end_deflection or 0.01 * s.body.span
        steps = min(end / s.analysis.step, float(s.analysis.max_steps))
    found = _effort("elevation", beam + plates, steps, key if beam >= plates else "body.plate_thickness")
    slow = found.time > MOST_TIME and _effort("", beam + plates, _STEPS, "").time <= MOST_TIME
    return Effort(found.view, found.elements, found.memory, found.time, "analysis.step") if slow else found


def _effort(view: str, elements: float, steps: float, key: str) -> Effort:
    unknowns = 2.2 * elements + 200.0
    time = 5.0 + steps * _ITERATIONS * _ITERATION * (unknowns / _UNKNOWNS) ** _GROWTH
    return Effort(view, elements, _PROGRAM + _PER_UNKNOWN * unknowns, time, key)


def refuse_effort(s: Specimen, report: TellFault) -> None:
    """Tell ``report`` a run that no workstation does."""
    for view in effort(s):
        if view.elements > MOST_ELEMENTS:
            limit = f"at most {MOST_ELEMENTS:,}"
        elif view.memory > MOST_MEMORY:
            limit = f"at most {MOST_MEMORY / 1e9:.0f} GB"
        elif view.time > MOST_TIME:
            limit = f"at most {_time(MOST_TIME)}"
        else:
            continue
        length = both(s.body.span + 2 * s.body.overhang, "length")
        report(
            view.key, f"too much to compute: {view} for a beam of {length}: {limit}; coarsen it, or mend the dimensions"
        )


def heavy(s: Specimen, doubt: TellFault) -> None:
    """Tell ``doubt`` a run that takes much memory or time."""
    for view in effort(s):
        if view.memory > MUCH_MEMORY or view.time > MUCH_TIME:
            doubt(view.key, f"{view}: is that meant?")


def _round(number: float) -> float:
    return float(f"{number:.2g}")


def _time(seconds: float) -> str:
    if seconds < 90.0:
        return f"{_round(seconds):.0f} s"
    return f"{seconds / 60.0:.0f} min" if seconds < 5400.0 else f"{_round(seconds / 3600.0):g} h"
