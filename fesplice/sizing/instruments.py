"""The recommended instruments of a specimen as ``[[gauges]]`` to paste into its file.

Places are common practice without a source: every bar of the first pair at the joint face, mid-lead, tangent point,
bend (a pair) and tail, its fellows at the joint face; the outermost and middle sets of transverse steel; deflection at
midspan, under the rams and at the supports, whose settlement is deducted; both joints; lift at the hooks.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

from fesplice.geometry import bars
from fesplice.specimen import toml
from fesplice.specimen.gauges import Gauge, bar_names

if TYPE_CHECKING:
    from fesplice.specimen import Specimen

Table = Mapping[str, str | int]


def suggested(s: Specimen) -> tuple[Table, ...]:
    """Recommended gauges as tables of a specimen file."""
    return (*_loads(s), *_on_bars(s), *_on_ties(s), *_sensors(s))


def gauges_of(s: Specimen) -> tuple[Gauge, ...]:
    """The gauges of a specimen; the recommended ones where its file names none."""
    return s.gauges or tuple(Gauge.model_validate(dict(table), strict=False) for table in suggested(s))


def gauges_toml(tables: tuple[Table, ...]) -> str:
    """The tables as TOML text."""
    return "\n".join("[[gauges]]\n" + toml.dump(table) for table in tables)


def _mm(value: float) -> str:
    return f"{value:g} mm"


def _loads(s: Specimen) -> list[Table]:
    if len(bars.load_positions(s)) == 1:
        return [{"id": "load", "kind": "load", "channel": "load"}]
    return [
        {"id": f"load {side}", "kind": "load", "ram": side, "channel": f"load_{side[0].upper()}"}
        for side in ("left", "right")
    ]


def _on_bars(s: Specimen) -> list[Table]:
    out: list[Table] = []
    for name in bar_names(s):
        row = s.bars.left if name[0] == "A" else s.bars.right
        assert row is not None

        def at(mark: str, name: str = name, **where: str) -> Table:
            gauge = {"id": f"{name} {mark.replace('_', ' ')}", "kind": "bar_strain", "bar": name, **where}
            return {**gauge, "length": "5 mm", "channel": f"sg_{name}_{mark}"}

        # the origin of distances along the bar: the joint face, or the lap's start
        out.append(at("face", from_joint="0 mm"))
        if name[1:] != "1":
            continue
        if row.hook is not None:
            out += [at("lead", station="lead"), at("tangent", station="tangent")]
            out += [at(f"bend_{side}", station="mid-bend", side=side) for side in ("inside", "outside")]
            out.append(at("tail", station="tail"))
        elif s.bars.splice == "straight":
            length = row.embedment if s.body.closure > 0.0 else s.bars.lap
            out += [at("lap", from_joint=_mm(0.5 * length)), at("end", from_joint=_mm(0.85 * length))]
        elif s.body.closure > 0.0:
            out.append(at("mid", from_joint=_mm(0.5 * s.body.closure)))
    return out


def _on_ties(s: Specimen) -> list[Table]:
    c = s.confinement
    if not c.there:
        return []
    sets = sorted({1, (c.number + 1) // 2, c.number})
    return [
        {"id": f"tie {k}", "kind": "tie_strain", "tie": k, "leg": 1, "length": "5 mm", "channel": f"sg_tie{k}"}
        for k in sets
    ]


def _sensors(s: Specimen) -> list[Table]:
    def disp(name: str, x: float, kind: str = "deflection") -> Table:
        return {"id": name, "kind": kind, "x": _mm(x), "channel": name.replace(" ", "_")}

    rams = bars.load_positions(s)
    out = [disp("midspan", 0.0)]
    out += [disp(f"ram {side}", x) for side, x in zip(("left", "right"), rams)] if len(rams) == 2 else []
    out += [disp(f"support {side}", x) for side, x in (("left", -0.5 * s.body.span), ("right", 0.5 * s.body.span))]
    for side in ("left", "right") if s.body.closure > 0.0 else ():
        channel = f"joint_{side}"
        out.append({
            "id": f"joint {side}", "kind": "joint_opening", "joint": side, "face": "tension", "length": "100 mm",
            "channel": channel,
        })  # fmt: skip
    if s.bars.splice == "hooked":
        out.append({**disp("lift", bars.bar_ends(s)[1], "lift"), "face": "compression"})
    return out
