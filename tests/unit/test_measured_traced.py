"""Cracks traced as a drawing and frames as VTU: what is drawn comes out on the face, what is damaged is one message.

SVG 2 (W3C): commands of a path, transforms; the file of points is written by meshio, a library of its own.
"""

from __future__ import annotations

import runpy
from pathlib import Path

import meshio
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fesplice.contracts import InputFault
from fesplice.measured import reduce
from fesplice.measured.pictures import read_cracks, read_frame
from fesplice.measured.rig import CrackFile, FrameFile, read_rig_text
from fesplice.measured.traced import polylines

REDUCE = runpy.run_path(str(Path(__file__).with_name("test_measured_reduce.py")))
HEAD = '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 800 500">'
TRACED = CrackFile(file="c.svg", scale="2 mm", origin=(100, 400), face="S")


def drawn(place: Path, body: str, given: CrackFile = TRACED):
    (place / "c.svg").write_text(f"{HEAD}{body}</svg>", encoding="utf-8")
    return read_cracks(place, given)


def test_a_drawing_in_pixels_becomes_cracks_in_millimetres_with_y_upwards(tmp_path: Path) -> None:
    """A unit counts 2 mm and the face begins at (100, 400): a crack of 3-4-5 again, 100 mm long."""
    body = (
        '<polyline id="1" data-load="60 kN" data-width="0.1 mm" points="100,400 115,380 130,360"/>'
        '<g id="N" data-load="80 kN"><line id="2" x1="150" y1="300" x2="150" y2="250"/>'
        '<g transform="translate(10 20) scale(2)"><path id="3" d="m 45,190 l 10 0 v -5 H 60"/></g></g>'
    )
    one, two, three = drawn(tmp_path, body)
    assert (one.face, one.name, one.load, one.width) == ("S", "1", 60e3, pytest.approx(0.1))
    assert one.points == ((0.0, 0.0), (30.0, 40.0), (60.0, 80.0)) and one.length == pytest.approx(100.0)
    assert (two.face, two.load, two.length) == ("N", 80e3, pytest.approx(100.0)) and two.angle == pytest.approx(90.0)
    assert three.points == ((0.0, 0.0), (40.0, 0.0), (40.0, 20.0), (60.0, 20.0)) and three.face == "N"


def test_turns_of_a_drawing_are_those_of_the_standard(tmp_path: Path) -> None:
    """rotate(90) takes (10, 0) to (0, 10); about (5, 5) it takes (10, 5) to (5, 10); matrix is column by column."""
    body = "".join(
        f'<polyline points="0 0 {x} {y}" transform="{turn}"/>'
        for turn, x, y in (("rotate(90)", 10, 0), ("rotate(90 5 5)", 10, 5), ("matrix(1 2 3 4 5 6)", 1, 1))
    )
    (tmp_path / "c.svg").write_text(HEAD + body + "</svg>")
    ends = [points[-1] for points, _ in polylines(tmp_path / "c.svg")]
    np.testing.assert_allclose(ends, [[0, 10], [5, 10], [1 + 3 + 5, 2 + 4 + 6]], atol=1e-12)


@pytest.mark.parametrize(("body", "told"), [
    ('<path id="k" d="M0 0 C 1 1 2 2 3 3"/>', "straight lines only, 'C' bends"),
    ('<path d="L 1 1"/>', "a path begins with M"), ('<path d="M 1"/>', "x and y after M and L"),
    ('<polyline points="1 2 3"/>', "at least two points"), ('<polyline points="1 2 x 3"/>', "numbers"),
    ('<line x1="1mm" y1="0" x2="0" y2="0"/>', "numbers"),
    ('<polyline points="0 0 1 1" data-load="60"/>', "data-load"),
    ('<polyline points="0 0 1 1" transform="skewX(3)"/>', "translate, scale, rotate or matrix"),
    ("", "holds no polyline"),
])  # fmt: skip
def test_what_is_no_tracing_is_one_message_with_its_file(tmp_path: Path, body: str, told: str) -> None:
    with pytest.raises(InputFault) as caught:
        drawn(tmp_path, body)
    assert told in str(caught.value) and "c.svg" in str(caught.value)


@pytest.mark.parametrize(
    "data", [b"", b"<svg", b"\x00\xff", b"<html/>", b'<!DOCTYPE a [<!ENTITY b "c">]><svg>&d;</svg>']
)
def test_what_is_no_drawing_at_all_is_told(tmp_path: Path, data: bytes) -> None:
    (tmp_path / "c.svg").write_bytes(data)
    with pytest.raises(InputFault, match="no SVG drawing"):
        read_cracks(tmp_path, TRACED)


@given(st.text(alphabet="MmLlHhVvZzCc0123456789.,- e", max_size=60))
def test_no_path_is_anything_but_points_or_a_fault(tmp_path_factory, text: str) -> None:
    place = tmp_path_factory.mktemp("path")
    try:
        assert all(np.isfinite(c.length) for c in drawn(place, f'<path d="{text}"/>'))
    except InputFault:
        pass


def test_a_drawing_needs_its_scale_and_stands_in_the_record(tmp_path: Path) -> None:
    with pytest.raises(InputFault, match=r"cracks\[0\]\.scale"):
        read_rig_text(REDUCE["RIG"] + '[[cracks]]\nfile = "c.svg"\n')
    log, rig = REDUCE["small"](tmp_path)
    (tmp_path / "c.svg").write_text(f'{HEAD}<polyline id="7" points="0 0 3 4"/></svg>')
    rig.write_text(rig.read_text() + '[[cracks]]\nfile = "c.svg"\nscale = "10 mm"\nface = "S"\n')
    test = reduce([log], rig, REDUCE["SPECIMEN"], tmp_path / "out")
    assert [(c.name, c.length) for c in test.cracks] == [("7", pytest.approx(50.0))]
    from fesplice.measured import replay

    assert replay(tmp_path / "out") == ()


# ------------------------------------------------------------------ frames
POINTS = np.array([[0.0, 0.0, 0.0], [1.0, 0.0, 0.0], [0.0, 0.5, 0.0]])


@pytest.mark.parametrize("name", ["u", "displacement"])
def test_a_frame_of_points_in_metres_is_that_of_the_table(tmp_path: Path, name: str) -> None:
    """Pure shear of 200 microstrain, whose principal strain is that; a movement of 3-4-5."""
    moved = np.array([[0.0, 0.0, 0.0], [3e-3, 4e-3, 0.0], [0.0, 0.0, 0.0]])
    data = {name: moved, "exx": np.zeros(3), "eyy": np.zeros(3), "exy": np.array([0.0, 2e-4, 0.0])}
    meshio.Mesh(POINTS, {"triangle": np.array([[0, 1, 2]])}, point_data=data).write(tmp_path / "f.vtu")
    frame = read_frame(tmp_path, FrameFile(file="f.vtu", unit="m", face="S"))
    assert frame.points == 3 and frame.extent == (0.0, 1000.0, 0.0, 500.0)
    assert frame.movement == pytest.approx(5.0) and frame.principal_strain == pytest.approx(2e-4)


@pytest.mark.parametrize("cut", [0, 100, 400])
def test_a_damaged_frame_is_one_message(tmp_path: Path, cut: int) -> None:
    meshio.Mesh(POINTS, {"triangle": np.array([[0, 1, 2]])}).write(tmp_path / "g.vtu")
    (tmp_path / "f.vtu").write_bytes((tmp_path / "g.vtu").read_bytes()[:cut])
    with pytest.raises(InputFault, match="cannot be read as VTU"):
        read_frame(tmp_path, FrameFile(file="f.vtu"))
    with pytest.raises(InputFault, match="no such file"):
        read_frame(tmp_path, FrameFile(file="h.vtu"))
