"""What the page of an elevation shows of its findings: loads, bar stresses, hooks, joints, balance, events, ties."""

from __future__ import annotations

import math

from fesplice.post.concrete import HAIRLINE, VISIBLE
from fesplice.post.elevation.findings import ElevationFindings
from fesplice.report.elevation.beam import beam_of
from fesplice.report.parts import DASH, Parts, Table, fixed, millimetres, quantity, share, single, tiny
from fesplice.report.view import View


def parts(view: View) -> Parts:
    """Lead, findings and tables of the page."""
    f = beam_of(view).found
    tables = tuple(t for t in (_events(f), _ties(f)) if t.rows)
    return Parts(_lead(f), _findings(f), tables)


def _lead(f: ElevationFindings) -> tuple[tuple[str, str, str], ...]:
    stress = max((v for v in f.bar_stress.values() if math.isfinite(v)), default=math.nan)
    visible = f"visible ({VISIBLE} mm) at {quantity(f.cracking.visible, 'force')}"
    return (
        ("Largest load per ram", quantity(f.peak_load, "force"), f"at {millimetres(f.peak_deflection)} at midspan"),
        ("Bar stress at the joint face", quantity(stress, "stress"), "then, the larger of the two sides"),
        ("First crack", quantity(f.cracking.first, "force"), visible),
        ("Failed by", f.assessment.mode.words, f.assessment.failure),
    )


def _findings(f: ElevationFindings) -> tuple[tuple[str, str], ...]:
    """Rows of the table of findings; all at the largest load unless said."""
    rows = [
        ("Largest load per ram", f"{quantity(f.peak_load, 'force')}, step {f.peak_step}"),
        ("Midspan deflection there", millimetres(f.peak_deflection)),
    ]
    bound = "" if f.strength.exact else "at least "
    rows.append(("Strength, load per ram", f"{bound}{quantity(f.strength.value, 'force')}, {f.strength.kind.words}"))
    rows += [("On the way to it", text) for text in f.strength.told("mm deflection")]
    rows.append(("Fall of the load after the largest", share(f.drop_after_peak)))
    for line, stress in f.bar_stress.items():
        used = share(f.yield_share.get(line, math.nan))
        rows.append((f"Stress of bars {line} at the joint face", f"{quantity(stress, 'stress')}, {used} of yield"))
        hook = f.hook_share.get(line, math.nan)
        if math.isfinite(hook):
            slip = millimetres(f.slip.get(line, math.nan))
            rows.append((f"Taken by the hooks of bars {line}", f"{share(hook)}, slip at the bend {slip}"))
    for side, opening in f.joint_opening.items():
        # a closed joint reports the tiny overlap of its contact
        said = millimetres(opening) if opening >= HAIRLINE else "closed"
        rows.append((f"Opening of the {side} joint at the tension face", said))
    if math.isfinite(f.joint_widest):
        height = f"at y = {f.joint_widest_y:.0f} mm"
        rows.append(("Widest joint opening over the height", f"{millimetres(f.joint_widest)} {height}"))
    if f.widest_crack is not None:
        where = f"at x = {f.widest_crack.x:.0f} mm, y = {f.widest_crack.y:.0f} mm"
        rows.append(("Widest crack outside the joints", f"{millimetres(f.widest_crack.width)} {where}"))
    balance = f"{tiny(f.residual)} of the forces, {tiny(f.moment_residual)} of the moments"
    nodes = f"{tiny(f.unbalanced)} of the loads; at worst {tiny(f.worst_unbalanced)}"
    rows += [
        ("Out of balance, whole beam", f"{balance}; at worst {tiny(f.worst_residual)} of the forces"),
        ("Out of balance, sum of absolutes over all nodes", nodes),
        ("Accepted steps", f"{f.steps}, of which {f.relaxed_steps} at the relaxed tolerance"),
    ]
    return tuple(rows)


def _events(f: ElevationFindings) -> Table:
    rows = tuple(
        (e.what, _place(e.x, e.y), str(e.step), quantity(e.load, "force"), millimetres(e.deflection)) for e in f.events
    )
    heads = ("event", "at x, y", "step", "load per ram", "midspan deflection")
    return Table("What was seen, in order", heads, rows)


def _place(x: float, y: float) -> str:
    return f"{x:.0f} mm, {y:.0f} mm" if math.isfinite(x) and math.isfinite(y) else DASH


def _ties(f: ElevationFindings) -> Table:
    rows = tuple(
        (
            t.line, fixed(t.index, 2, ""), fixed(t.highest_index, 2, ""), share(t.torn), fixed(t.tension, 2, "MPa"),
            fixed(t.left, 2, "MPa"), fixed(t.x, 0, "mm"), single(t.demand, "force"), single(t.capacity, "force"),
            quantity(t.bars, "force"), millimetres(t.lift), millimetres(t.open_length),
        )
        for t in f.ties
    )  # fmt: skip
    note = (
        "A hook that turns towards the compression face pushes the closure off the bars. The index of prying is 1 "
        "where the plane over the bars is torn over two bar diameters near the hook, or carries all the strength that "
        "cracks have left it there. Demand is the concrete tension across the row above the bars, within four bar "
        "diameters of the hook (or bar end); capacity is tensile strength times net area there."
    )
    heads = ("bars", "index of prying", "highest before", "plane torn", "tension on it", "strength left", "at x",
             "demand", "capacity", "tails and legs crossing", "lift of the block", "length open")  # fmt: skip
    return Table("The prying tie", heads, rows, note)
