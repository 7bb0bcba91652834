"""Bad input: every fault at once, each with key, value and what is allowed; junk never does worse.

Limits tested here are geometry and statics (a hook must fit between the faces, a lap into the
closure) or common practice without a source (least cover of 10 mm).
"""

from __future__ import annotations

import os
import re
import tomllib
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from fesplice.contracts import InputFault
from fesplice.specimen import Specimen, read, read_text, toml, vary, vary_many

MODELS = Path(__file__).parents[2] / "models"
LAPPED = read(MODELS / "as29-100-u.toml")
TIED = read(MODELS / "as29-100-t3.toml")
STIRRUPS = read(MODELS / "as29-100-s3.toml")
LACED = read(MODELS / "as29-100-x.toml")
STRAIGHT = read(MODELS / "plain" / "straight-lap.toml")
CONTINUOUS = read(MODELS / "as29-cb.toml")
PLAIN = read(MODELS / "plain" / "cracked-section.toml")


def faults(specimen: Specimen, changes: dict[str, Any]) -> InputFault:
    with pytest.raises(InputFault) as caught:
        vary_many(specimen, changes)
    return caught.value


# ------------------------------------------------------------------ one key, one fault
ONE_KEY: list[tuple[Specimen, str, Any, str]] = [
    # units and numbers
    (LAPPED, "body.width", 600, "unit is missing"),
    (LAPPED, "body.width", "600", "unit is missing"),
    (LAPPED, "body.width", "600 kN", "no unit of a length"),
    (LAPPED, "body.width", "-600 mm", "above 0 mm"),
    (LAPPED, "body.width", "nan mm", "finite"),
    (LAPPED, "body.width", float("inf"), "unit is missing"),
    (LAPPED, "body.width", None, "missing; or give bars.gap"),
    (LAPPED, "concrete", None, "table needed: Concrete of the precast halves"),
    (LAPPED, "concrete.closure.strength", "5000 MPa", "between 5 MPa and 150 MPa"),
    (LAPPED, "concrete.closure.poisson", float("nan"), "finite"),
    (LAPPED, "concrete.closure.aggregate", "granite", "allowed: 'basalt'"),
    (LAPPED, "joint.friction", "0.9 mm", "plain number"),
    (LAPPED, "bars.left.number", 0, "at least 1"),
    (LAPPED, "bars.left.number", 2.5, "whole number"),
    (LAPPED, "bars.left.number", True, "whole number"),
    (LAPPED, "bond.splitting", "branches", "did you mean 'branch'"),
    (LAPPED, "loading.tension_face", "dwon", "did you mean 'down'"),
    (LAPPED, "name", "", "empty"),
    (LAPPED, "name", "a/b", "letters"),
    (LAPPED, "note", 3, "text in quotes"),
    (LAPPED, "bars.left", 3, "a table: [bars.left]"),
    (LAPPED, "bars.left.positions", "230 mm", "a list"),
    (LAPPED, "analysis.drop", 1.5, "between 0.01 and 0.99"),
    # names
    (LAPPED, "bars.spacng", "100 mm", "did you mean 'spacing'"),
    (LAPPED, "confinment", {}, "did you mean 'confinement'"),
    (LAPPED, "concrete.closure.estimated", {}, "unknown key"),
    (LAPPED, "bars.left.size", "No. 12", "unknown bar size"),
    (LAPPED, "bars.left.size", 29, "unknown bar size"),
    (LAPPED, "bars.left.steel", "mian", "did you mean 'main'"),
    (LAPPED, "bars.left.steel", "?", "empty"),
    (TIED, "confinement.steel", "iron", "no such steel"),
    # body
    (LAPPED, "body.shear_span", "2500 mm", "half the span"),
    (LAPPED, "body.shear_span", "2350 mm", "overlap"),
    (LAPPED, "body.shear_span", "100 mm", "plate length"),
    (LAPPED, "body.overhang", "50 mm", "half a bearing plate"),
    (PLAIN, "body.closure", "5 m", "shorter than the span"),
    # materials
    (LAPPED, "concrete.closure", None, "needs a concrete"),
    (PLAIN, "concrete.closure", {"strength": "30 MPa"}, "leave it out"),
    (LAPPED, "concrete.closure.tensile_strength", "12 MPa", "a quarter"),
    (LAPPED, "concrete.closure.peak_strain", 0.001, "must exceed strength/elastic_modulus"),
    (LAPPED, "steel.main.ultimate_strength", "700 MPa", "not be below the yield"),
    (LAPPED, "steel.main.rupture_strain", 0.003, "exceed the yield strain"),
    (LAPPED, "steel.main.hardening_strain", 0.002, "not be below the yield strain"),
    (LAPPED, "steel.main.hardening_strain", 0.07, "below the rupture strain"),
    (LAPPED, "steel.main.curve", [[0.004, "725 MPa"]], "two points"),
    (LAPPED, "steel.main.curve", [[0.004, "725 MPa"], [0.003, "600 MPa"]], "rise"),
    (LAPPED, "steel.main.curve", [[0.001, "725 MPa"], [0.03, "800 MPa"]], "elastic line"),
    # main bars
    (LAPPED, "bars.lap", "600 mm", "longer than the closure"),
    (LAPPED, "bars.lap", "0 mm", "above 0"),
    (LAPPED, "bars.lap", "555 mm", "no concrete between the bar and the opposite face"),
    (LAPPED, "bars.lap", None, "missing; lap length"),
    (LAPPED, "bars.left.embedment", "500 mm", "disagrees"),
    (LAPPED, "bars.spacing", "20 mm", "overlap"),
    (LAPPED, "bars.spacing", "touching", "contact"),
    (LAPPED, "bars.spacing", None, "missing; centre to centre"),
    (LAPPED, "bars.spacing", "230 mm", "overlap"),
    (LAPPED, "bars.side_cover", "5 mm", "outside the width"),
    (LAPPED, "bars.left.positions", ["-240 mm"], "1 positions for 2 bars"),
    (LAPPED, "bars.left.positions", ["-240 mm", "400 mm"], "outside the width"),
    (LAPPED, "bars.left.positions", ["-20 mm", "0 mm"], "bars of one row overlap"),
    (LAPPED, "bars.left.cover", "40 mm", "not both"),
    (LAPPED, "bars.left.depth", None, "missing; effective depth"),
    (LAPPED, "bars.left.depth", "570 mm", "leaves a clear cover of"),
    (LAPPED, "bars.left.depth", "200 mm", "compression side"),
    (LAPPED, "bars.left.diameter", "28 mm", "not both"),
    (LAPPED, "bars.left.size", None, "missing; a bar designation"),
    (CONTINUOUS, "bars.lap", "400 mm", "no lap"),
    (CONTINUOUS, "bars.left.embedment", "400 mm", "no embedment"),
    (CONTINUOUS, "bars.left.hook", {}, "no hook"),
    (STRAIGHT, "bars.left.hook", {}, "no hook"),
    # hooks
    (LAPPED, "bars.left.hook.angle", 135, "90 or 180"),
    (LAPPED, "bars.left.hook.tail", "400 mm", "does not fit the depth"),
    (LAPPED, "bars.left.hook.orientation", "tension", "does not fit the depth"),
    (LAPPED, "bars.left.hook.bend_diameter", "50 mm", "two bar diameters"),
    # other reinforcement
    (LAPPED, "stirrups.cover", "40 mm", "does not go round"),
    (LAPPED, "stirrups.spacing", "2 m", "shear span"),
    (LAPPED, "stirrups.spacing", "8 mm", "bar diameter"),
    (LAPPED, "compression_bars.cover", "20 mm", "outside the stirrups"),
    (LAPPED, "compression_bars.cover", "400 mm", "mid-depth"),
    (LAPPED, "compression_bars.number", 60, "side by side"),
    (LAPPED, "confinement.size", "10", "takes no other key"),
    (TIED, "confinement.spacing", None, "missing; centre to centre"),
    (TIED, "confinement.number", None, "missing; number of sets"),
    (TIED, "confinement.spacing", "5 mm", "bar diameter"),
    (TIED, "confinement.number", 8, "the closure has room for"),
    (TIED, "confinement.size", "57", "does not fit between the tension face"),
    (STIRRUPS, "confinement.cover", "45 mm", "does not go round"),
    (LACED, "confinement.spacing", "50 mm", "has no spacing"),
    (LACED, "confinement.size", "250 mm", "3 and 80 mm"),
    # settings
    (LAPPED, "mesh.splice", "100 mm", "too coarse"),
    (LAPPED, "plan.thickness", "28 mm", "28.7 mm (1.13 in) to 575 mm"),
    (LAPPED, "plan.thickness", "576 mm", "lie in the beam"),
    (LAPPED, "plan.element", "94 mm", "too coarse: at most a sixth of the slab, 93.33 mm"),
    (LAPPED, "plan.element", "0.5 mm", "about 1,300,000 elements"),
    (LAPPED, "mesh.splice", "1 mm", "too fine"),
    (LAPPED, "mesh.elsewhere", "10 mm", "not be finer"),
    (LAPPED, "mesh.elsewhere", "300 mm", "too coarse"),
    (LAPPED, "body.span", "4800 km", "must lie between"),
    (LAPPED, "body.overhang", "1 km", "must lie between"),
]


@pytest.mark.parametrize(
    ("specimen", "path", "value", "says"), ONE_KEY, ids=[f"{path}={value}"[:50] for _, path, value, _ in ONE_KEY]
)
def test_one_key_one_message(specimen: Specimen, path: str, value: Any, says: str) -> None:
    fault = faults(specimen, {path: value})
    assert any(says in f.allowed for f in fault.faults), str(fault)
    assert fault.exit_code == 2
    # one mistake is told once, or once for each of two places that no longer agree
    assert len(fault.faults) <= 2, str(fault)


def test_a_bend_longer_than_its_embedment() -> None:
    fault = faults(LAPPED, {"body.closure": "200 mm", "bars.lap": "60 mm"})
    assert "too short for the bend" in str(fault)


def test_rows_must_share_a_layer() -> None:
    row = tomllib.loads(LAPPED.text)["bars"]["left"]
    assert "one layer" in str(faults(LAPPED, {"bars.right": {**row, "depth": "480 mm"}}))


def test_unequal_rows_need_positions() -> None:
    row = tomllib.loads(LAPPED.text)["bars"]["left"]
    fault = faults(LAPPED, {"bars.right": {**row, "number": 3}})
    assert "unequal numbers" in str(fault)
    changes = {
        "bars.left.positions": ["-150 mm", "150 mm"],
        "bars.right": {**row, "number": 3, "positions": ["-220 mm", "0 mm", "220 mm"]},
    }
    assert vary_many(LAPPED, changes).bars.right is not None


# ------------------------------------------------------------------ all at once
def test_all_faults_at_once_with_their_lines() -> None:
    text = (MODELS / "as29-100-u.toml").read_text()
    for old, new in (
        ('width = "600 mm"', "widht = 600"),
        ('strength = "35 MPa"', 'strength = "35 kN"'),
        ('splice = "hooked"', 'splice = "hoked"'),
        ('lap = "460 mm"', 'lap = "600 mm"'),
        ('depth = "515 mm"', 'depth = "515 mm"\ncover = "-3 mm"'),
        ("angle = 90", 'angle = 90\ntail = "2 ft"'),
        ('spacing = "150 mm"', 'spacing = "nan mm"'),
        ("friction = 0.9", "friction = inf"),
    ):
        assert old in text
        text = text.replace(old, new, 1)
    with pytest.raises(InputFault) as caught:
        read_text(text, "beam.toml")
    told = {f.path: f for f in caught.value.faults}
    expected = {
        "body.widht": "did you mean 'width'",
        "body.width": "unit is missing",
        "concrete.closure.strength": "no unit of a stress",
        "bars.splice": "did you mean 'hooked'",
        "bars.lap": "longer than the closure",
        "bars.left.cover": "must not be below 0",
        "bars.left.depth": "not both",
        "bars.left.hook.tail": "does not fit the depth",
        "stirrups.spacing": "finite",
        "joint.friction": "finite",
    }
    assert set(told) == set(expected)
    rows = text.splitlines()
    for path, says in expected.items():
        assert says in told[path].allowed
        if path != "body.width":
            line = re.search(r"\(line (\d+)\)", told[path].allowed)
            assert line and rows[int(line[1]) - 1].strip().startswith(path.split(".")[-1])
    message = str(caught.value)
    assert message.startswith("beam.toml: 10 faults") and "Traceback" not in message


def test_a_misspelt_key_is_one_fault() -> None:
    text = (MODELS / "as29-100-u.toml").read_text().replace("shear_span", "shearspan")
    with pytest.raises(InputFault) as caught:
        read_text(text)
    assert [f.path for f in caught.value.faults] == ["body.shearspan"]


# ------------------------------------------------------------------ files
def test_files_that_are_none(tmp_path: Path) -> None:
    def written(name: str, data: bytes) -> Path:
        path = tmp_path / name
        path.write_bytes(data)
        return path

    os.mkfifo(tmp_path / "pipe")
    cases = {
        tmp_path / "none.toml": "no such file",
        tmp_path: "directory",
        tmp_path / "pipe": "not a file",
        written("empty.toml", b""): "empty",
        written("comment.toml", b"# nothing\n\n"): "empty",
        written("binary.toml", b"\x7fELF\0\0\1"): "binary",
        written("latin.toml", 'name = "Büchse"'.encode("latin-1")): "UTF-8",
        written("broken.toml", b"name = \n"): "not valid TOML",
        written("twice.toml", b"a = 1\na = 2\n"): "not valid TOML",
        written("deep.toml", b"a = " + b"[" * 5000): "nested too deeply",
        written("dotted.toml", b"a" + b".a" * 4000 + b" = 1"): "nested too deeply",
        written("long.toml", b"a = 0x" + b"F" * 9000): "a very long number",
        written("line.toml", b"a = [" + b"1, " * 5000 + b"]"): "longer than",
        written("huge.toml", b"#\n" * 500_001): "too large",
        Path("a\0b"): "cannot be read",
    }
    for path, says in cases.items():
        with pytest.raises(InputFault, match=says) as caught:
            read(path)
        assert "Traceback" not in str(caught.value)


def test_mark_at_the_start_and_windows_lines(tmp_path: Path) -> None:
    """Common practice, no source: editors write a byte order mark and CRLF."""
    path = tmp_path / "beam.toml"
    path.write_bytes(b"\xef\xbb\xbf" + LAPPED.text.replace("\n", "\r\n").encode())
    assert read(path).digest == LAPPED.digest


# ------------------------------------------------------------------ junk
RELAXED = settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
TREE = tomllib.loads(TIED.text)


def leaves(tree: dict[str, Any], path: str = "") -> list[str]:
    found = []
    for key, value in tree.items():
        here = f"{path}.{key}".removeprefix(".")
        found += [here, *(leaves(value, here) if isinstance(value, dict) else [])]
    return found


JUNK = st.one_of(
    st.text(max_size=12),
    st.integers(),
    st.floats(),
    st.booleans(),
    st.none(),
    st.lists(st.one_of(st.text(max_size=5), st.floats(), st.lists(st.integers(), max_size=3)), max_size=4),
    st.dictionaries(st.text(max_size=5), st.integers(), max_size=3),
    st.builds("{} {}".format, st.floats(-1e4, 1e4), st.sampled_from(["mm", "in", "MPa", "N/mm", "kN", "kg/m3"])),
)


def survives(text: str) -> None:
    """Either a complete specimen or an InputFault with a message; anything else fails the test."""
    try:
        assert read_text(text).digest
    except InputFault as fault:
        assert str(fault)


@RELAXED
@given(st.binary(max_size=200))
def test_random_bytes(tmp_path: Path, data: bytes) -> None:
    path = tmp_path / "junk.toml"
    path.write_bytes(data)
    with pytest.raises(InputFault):
        read(path)


@RELAXED
@given(st.dictionaries(st.sampled_from(leaves(TREE)), JUNK, min_size=1, max_size=6))
def test_random_values(changes: dict[str, Any]) -> None:
    try:
        vary_many(TIED, changes)
    except InputFault as fault:
        assert str(fault)


@RELAXED
@given(st.integers(0, len(TIED.text)), st.integers(0, 30), st.text(max_size=8))
def test_random_damage_to_the_text(start: int, length: int, patch: str) -> None:
    survives(TIED.text[:start] + patch + TIED.text[start + length :])


@RELAXED
@given(
    st.recursive(
        st.dictionaries(st.sampled_from([*Specimen.model_fields, "left", "hook", "size", "x"]), JUNK, max_size=5),
        lambda inner: st.dictionaries(st.sampled_from([*Specimen.model_fields, "left", "hook"]), inner, max_size=5),
    )
)
def test_random_tables(tree: dict[str, Any]) -> None:
    def plain(value: Any) -> Any:
        if isinstance(value, dict):
            return {key: plain(inner) for key, inner in value.items() if inner is not None}
        return [plain(inner) for inner in value if inner is not None] if isinstance(value, list) else value

    survives(toml.dump(plain(tree)))


def test_vary_reads_a_text_too() -> None:
    assert vary(LAPPED.text, "bars.spacing", "150 mm").bars.spacing == 150.0


def test_vary_leaves_the_callers_values_alone() -> None:
    hook: dict[str, Any] = {}
    assert vary_many(LAPPED, {"bars.left.hook": hook, "bars.left.hook.tail": "250 mm"}).bars.left.hook
    assert hook == {}
