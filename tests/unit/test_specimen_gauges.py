"""Gauges and as-built values in a specimen file: read, checked, and without a say in what is computed.

Lengths along a hooked bar: geometry of the standard hook (ACI 318-19 Table 25.3.1, from memory; bend of a No. 29
bar 8 d_b inside), worked by hand below. The rest are rules of the house, no source outside.
"""

from __future__ import annotations

import math
from pathlib import Path

import pytest

from fesplice.contracts import InputFault
from fesplice.sizing.instruments import gauges_toml, suggested
from fesplice.specimen import read, read_text, vary
from fesplice.specimen.gauges import arc, bar_names, reach

MODELS = Path(__file__).parents[2] / "models"
PLAIN = (MODELS / "as29-100-u.toml").read_text(encoding="utf-8")
TIED = (MODELS / "as29-100-t3.toml").read_text(encoding="utf-8")
GOOD = """
[[gauges]]
id = "A1 face"
kind = "bar_strain"
bar = "A1"
station = "joint-face"
length = "5 mm"
channel = "sg_A1_jf"

[[gauges]]
id = "A1 in"
kind = "bar_strain"
bar = "A1"
station = "mid-bend"
side = "inside"

[[gauges]]
id = "A1 out"
kind = "bar_strain"
bar = "A1"
station = "mid-bend"
side = "outside"

[[gauges]]
id = "mid"
kind = "deflection"
x = "0 mm"
"""


def one(**keys: str) -> str:
    """A specimen file with one gauge."""
    return PLAIN + "\n[[gauges]]\n" + "\n".join(f"{k} = {v}" for k, v in keys.items()) + "\n"


def faults(text: str) -> str:
    with pytest.raises(InputFault) as caught:
        read_text(text, "file.toml")
    return str(caught.value)


def test_gauges_change_nothing_that_is_computed() -> None:
    bare, gauged = read_text(PLAIN), read_text(PLAIN + GOOD)
    assert gauged.digest == bare.digest
    assert [g.id for g in gauged.gauges] == ["A1 face", "A1 in", "A1 out", "mid"]
    assert gauged.gauges[0].length == 5.0 and gauged.gauges[0].quantity == "strain"
    assert gauged.model_dump_json(exclude={"gauges"}) == bare.model_dump_json(exclude={"gauges"})


def test_a_varied_specimen_keeps_its_gauges() -> None:
    assert len(vary(read_text(PLAIN + GOOD), "bars.spacing", "150 mm").gauges) == 4


def test_lengths_along_a_hooked_bar() -> None:
    s = read(MODELS / "as29-100-u.toml")
    d = 28.7
    # embedment (560 + 460)/2 = 510; outer bend radius 4 d + d; axis radius 4.5 d; tail 12 d
    found = reach(s, s.bars.left)
    assert found.tangent == pytest.approx(510.0 - 5.0 * d)
    assert found.bend_end - found.tangent == pytest.approx(0.5 * math.pi * 4.5 * d)
    assert found.end - found.bend_end == pytest.approx(12.0 * d)
    assert bar_names(s) == ("A1", "A2", "B1", "B2")
    gauged = read_text(PLAIN + GOOD)
    assert arc(gauged, gauged.gauges[0]) == 0.0
    assert arc(gauged, gauged.gauges[1]) == pytest.approx(0.5 * (found.tangent + found.bend_end))


FAULTS = [
    ({"id": '"g"', "kind": '"bar_strain"', "bar": '"A1"', "from_joint": '"2 m"'}, "lies off bar A1"),
    ({"id": '"g"', "kind": '"bar_strain"', "bar": '"A1"', "from_joint": '"-3 m"'}, "lies off bar A1"),
    ({"id": '"g"', "kind": '"bar_strain"', "bar": '"a1"', "from_joint": '"0 mm"'}, "did you mean 'A1'"),
    ({"id": '"g"', "kind": '"bar_strain"', "bar": '"A3"', "from_joint": '"0 mm"'}, "bars: A1, A2, B1, B2"),
    ({"id": '"g"', "kind": '"bar_strain"', "bar": '"A1"'}, "one of the two"),
    ({"id": '"g"', "kind": '"bar_strain"', "bar": '"A1"', "from_joint": "0.0"}, "unit is missing"),
    ({"id": '"g"', "kind": '"bar_strain"', "bar": '"A1"', "station": '"mid-bend"'}, "reads bending"),
    ({"id": '"g"', "kind": '"bar_strain"', "bar": '"A1"', "from_joint": '"400 mm"'}, "reads bending"),
    ({"id": '"g"', "kind": '"bar_strain"', "bar": '"A1"', "station": '"midbend"'}, "did you mean 'mid-bend'"),
    ({"id": '"g"', "kind": '"tie_strain"', "tie": "1"}, "no transverse steel"),
    ({"id": '"g"', "kind": '"deflection"', "x": '"3 m"'}, "lies off the beam"),
    ({"id": '"g"', "kind": '"deflection"'}, "needs x"),
    ({"id": '"g"', "kind": '"deflection"', "x": '"0 mm"', "bar": '"A1"'}, "says nothing about a gauge of kind"),
    ({"id": '"g"', "kind": '"joint_opening"', "joint": '"middle"'}, "allowed: '', 'left' or 'right'"),
    ({"id": '"g"', "kind": '"concrete_strain"', "face": '"top"', "x": '"0 mm"'}, "'tension', 'compression'"),
    ({"id": '"g"', "kind": '"bar_strian"'}, "did you mean 'bar_strain'"),
    ({"id": '"g"', "knid": '"load"'}, "did you mean 'kind'"),
    ({"id": '"g"', "kind": '"load"', "ram": '"left"', "length": '"0 mm"'}, "above 0 mm"),
]


@pytest.mark.parametrize(("keys", "told"), FAULTS, ids=[t for _, t in FAULTS])
def test_a_gauge_that_cannot_sit_there_is_told_with_its_line(keys: dict[str, str], told: str) -> None:
    text = faults(one(**keys))
    assert told in text and "gauges[0]" in text
    last = len(one(**keys).splitlines())
    assert any(f"(line {n})" in text for n in range(last - len(keys), last + 1))


def test_ties_legs_and_pairs_must_be_there() -> None:
    base = TIED + '\n[[gauges]]\nid = "t"\nkind = "tie_strain"\n'
    assert read_text(base + "tie = 6\nleg = 2\nabout = 2\n").gauges[0].tie == 6
    assert "sets 1 to 6" in faults(base + "tie = 7\n")
    assert "legs 1 to 2" in faults(base + "tie = 1\nleg = 3\n")
    assert "pairs 1 to 2" in faults(base + "tie = 1\nabout = 3\n")


def test_two_of_one_id_or_channel_are_told() -> None:
    twice = '\n[[gauges]]\nid = "g"\nkind = "load"\nchannel = "c"\n' * 2
    text = faults(PLAIN + twice)
    assert "gauges[1].id" in text and "used before, by gauge 1" in text and "a channel reads one gauge" in text


@pytest.mark.parametrize("name", ["as29-100-u", "as29-100-t3", "as29-100-s3", "as29-100-x", "as29-cb", "as19-0-u"])
def test_suggested_gauges_can_be_pasted(name: str) -> None:
    text = (MODELS / f"{name}.toml").read_text(encoding="utf-8")
    s = read_text(text + "\n" + gauges_toml(suggested(read_text(text))))
    assert {"bar_strain", "deflection", "load"} <= {g.kind for g in s.gauges} and s.digest == read_text(text).digest
    assert len({g.channel for g in s.gauges}) == len(s.gauges)


def test_suggested_gauges_of_beams_without_joints_can_be_pasted() -> None:
    for path in sorted((MODELS / "plain").glob("*.toml")):
        text = path.read_text(encoding="utf-8")
        assert read_text(text + "\n" + gauges_toml(suggested(read_text(text)))).gauges


# ------------------------------------------------------------------ as built
def test_built_values_take_the_place_of_planned_ones() -> None:
    built = '\n[as_built]\nbars.left.depth = "512 mm"\n[as_built.concrete.closure]\nstrength = "33 MPa"\n'
    s = read_text(PLAIN + built)
    assert s.bars.left.depth == 512.0 and s.bars.right is not None and s.bars.right.depth == 512.0
    assert s.concrete.closure is not None and s.concrete.closure.strength == 33.0
    assert [(b.path, b.planned, b.value, b.mark) for b in s.built] == [
        ("bars.left.depth", "515 mm", "512 mm", "measured"),
        ("concrete.closure.strength", "35 MPa", "33 MPa", "measured"),
    ]
    planned = PLAIN.replace('"515 mm"', '"512 mm"').replace('strength = "35 MPa"', 'strength = "33 MPa"')
    assert s.digest == read_text(planned).digest


def test_a_built_cover_replaces_a_planned_depth_and_a_built_right_row_leaves_the_left() -> None:
    s = read_text(PLAIN + '\n[as_built]\nbars.left.cover = "50 mm"\n')
    assert s.bars.left.depth == pytest.approx(575.0 - 50.0 - 14.35)
    t = read_text(PLAIN + '\n[as_built.bars.right]\ndepth = "508 mm"\n')
    assert t.bars.right is not None and (t.bars.left.depth, t.bars.right.depth) == (515.0, 508.0)


def test_marks_and_faults_of_built_values() -> None:
    text = PLAIN + '\n[as_built]\ncalibrated = ["joint.friction"]\njoint.friction = 0.8\nbody.width = "601 mm"\n'
    assert {b.path: b.mark for b in read_text(text).built} == {
        "joint.friction": "calibrated", "body.width": "measured",
    }  # fmt: skip
    assert "which [as_built] does not give" in faults(PLAIN + '\n[as_built]\nestimated = ["body.depth"]\n')
    told = faults(PLAIN + '\n[as_built.bars.left]\ndpth = "512 mm"\n')
    assert "as_built.bars.left.dpth" in told and "did you mean 'depth'" in told
    told = faults(PLAIN + "\n[as_built.body]\nwidth = 601\n")
    assert "as_built.body.width" in told and f"(line {len(PLAIN.splitlines()) + 3})" in told


def test_a_varied_key_is_not_covered_by_what_was_built() -> None:
    s = read_text(PLAIN + '\n[as_built.bars.left]\ndepth = "512 mm"\n')
    assert vary(s, "bars.left.depth", "500 mm").bars.left.depth == 500.0
    assert vary(s, "bars.spacing", "150 mm").bars.left.depth == 512.0
