"""Reading specimens: values in N, mm, MPa, missing values filled, and one key varied.

Sources: bar sizes of ASTM A615 (soft metric, nominal); standard hooks of ACI 318-19 25.3.1 (a 90
degree hook of No. 9 to No. 11 is 17 d_b high, of smaller bars 16 d_b: 12 d_b + d_b + half of 8 or
6 d_b); everything else is geometry worked by hand beside the check.
"""

from __future__ import annotations

import math
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pydantic import BaseModel, ValidationError

from fesplice.contracts import InputFault
from fesplice.specimen import Specimen, read, read_text, toml, vary, vary_many
from fesplice.specimen.sizes import INCH_POUND, SOFT_METRIC, bend_diameter, hook_tail, lookup
from fesplice.units import UnitFault, factor

MODELS = Path(__file__).parents[2] / "models"
#: What lies in "validation" and "studies" are tables and study files.
FILES = sorted([*MODELS.glob("*.toml"), *MODELS.glob("plain/*.toml")])
LAPPED = MODELS / "as29-100-u.toml"


def numbers(part: object) -> list[float]:
    """Every number anywhere in a part."""
    if isinstance(part, BaseModel):
        return [n for _, value in part for n in numbers(value)]
    if isinstance(part, dict):
        return [n for value in part.values() for n in numbers(value)]
    if isinstance(part, tuple):
        return [n for value in part for n in numbers(value)]
    return [float(part)] if isinstance(part, (int, float)) else []


# ------------------------------------------------------------------ the shipped models
@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_every_model_is_complete(path: Path) -> None:
    s = read(path)
    found = numbers(s)
    assert len(found) > 50 and all(map(math.isfinite, found))
    assert s.text == path.read_text()
    assert (s.bars.right is None) == (s.bars.splice == "continuous")
    if s.bars.right is not None:
        assert s.bars.left.embedment + s.bars.right.embedment == pytest.approx(s.body.closure + s.bars.lap)
        assert len(s.bars.right.positions) == s.bars.right.number


def test_the_demonstration_series_has_ten_specimens() -> None:
    series = {read(path).name for path in MODELS.glob("as*.toml")}
    assert len(series) == 10
    assert {path.stem for path in MODELS.glob("as*.toml")} == {name.lower() for name in series}


def test_values_of_a_lapped_specimen() -> None:
    """Bar level: cover 575 - 515 - 28.7/2 = 45.65 mm; outer bars at 600/2 - 45.65 - 14.35 = 240 mm; hook
    outside at (560 + 460)/2 = 510 mm from its own face; standard bend 8 d_b, tail 12 d_b."""
    s = read(LAPPED)
    row, right = s.bars.left, s.bars.right
    assert right is not None and row.hook is not None
    assert (row.diameter, row.area, row.number) == (28.7, 645.0, 2)
    assert row.cover == pytest.approx(45.65)
    assert row.embedment == pytest.approx(510.0)
    assert row.positions == pytest.approx((-240.0, 240.0))
    assert right.positions == pytest.approx((-140.0, 140.0))
    assert (row.hook.bend_diameter, row.hook.tail) == pytest.approx((8 * 28.7, 12 * 28.7))
    height = row.hook.bend_diameter / 2 + row.diameter + row.hook.tail
    assert height == pytest.approx(17 * 28.7)
    # stated for the demonstration series: the tail leaves 42 mm of cover
    assert 575 - row.cover - height == pytest.approx(42, abs=0.6)
    # 6 d_b between the inner bars even at 150 mm
    inner = read(MODELS / "as29-150-u.toml").bars.right
    assert inner is not None and inner.positions[1] - inner.positions[0] > 6 * 28.7


def test_contact_is_one_bar_diameter() -> None:
    assert read(MODELS / "as19-0-u.toml").bars.spacing == pytest.approx(19.1)


def test_self_weight_of_the_demonstration_beams() -> None:
    """Midspan moments 24.3 and 6.4 kNm between the supports, b h L^2/8 x unit weight."""
    for name, span, moment in (("as29-100-u", 4800.0, 24.3e6), ("as19-100-u", 3600.0, 6.4e6)):
        s = read(MODELS / f"{name}.toml")
        line = s.body.width * s.body.depth * s.concrete.precast.unit_weight
        assert line * span**2 / 8 == pytest.approx(moment, rel=0.01)


def test_inches_and_millimetres_tell_the_same() -> None:
    s = read(MODELS / "plain" / "nominal-moment-in.toml")
    assert s.bars.left.depth == pytest.approx(17.5 * 25.4)
    assert s.bars.left.area == pytest.approx(0.79 * 645.16)
    assert s.concrete.precast.strength == pytest.approx(27.579, rel=1e-4)
    assert s.body.plate_thickness == pytest.approx(31.75)


# ------------------------------------------------------------------ sizes and hooks
@pytest.mark.parametrize(
    ("text", "diameter", "area"),
    [
        ("No. 9", 28.6512, 645.16),
        ("no 9", 28.6512, 645.16),
        ("#9", 28.6512, 645.16),
        ("29", 28.7, 645.0),
        ("D29", 28.7, 645.0),
        ("No. 29", 28.7, 645.0),
        ("No. 10", 32.258, 819.35),
        ("10", 9.5, 71.0),
        ("phi 28", 28.0, 615.75),
        ("Ø28", 28.0, 615.75),
        ("28.7 mm", 28.7, 646.92),
        ("1 1/8 in", 28.575, 641.30),
    ],
)
def test_sizes(text: str, diameter: float, area: float) -> None:
    size = lookup(text)
    assert (size.diameter, size.area) == pytest.approx((diameter, area), rel=1e-5)


@pytest.mark.parametrize("text", ["No. 12", "9", "D9", "phi 27", "30M", "", "thick", "300 mm", "0 mm", "#"])
def test_unknown_sizes(text: str) -> None:
    with pytest.raises(UnitFault, match="known"):
        lookup(text)


def test_both_designations_name_the_same_bars() -> None:
    """ASTM A615 lists each bar under both numbers: within rounding the tables must agree."""
    for (diameter, area), (metric, metric_area) in zip(INCH_POUND.values(), SOFT_METRIC.values(), strict=True):
        assert diameter * 25.4 == pytest.approx(metric, abs=0.06)
        assert area * 645.16 == pytest.approx(metric_area, abs=1.1)


@pytest.mark.parametrize(
    ("size", "bend", "tail_90", "tail_180"),
    [
        ("No. 3", 6, 12, 65 / 9.525),
        ("No. 8", 6, 12, 4),
        ("No. 9", 8, 12, 4),
        ("No. 11", 8, 12, 4),
        ("No. 14", 10, 12, 4),
    ],
)
def test_standard_hooks(size: str, bend: float, tail_90: float, tail_180: float) -> None:
    d = lookup(size).diameter
    assert bend_diameter(d) == pytest.approx(bend * d)
    assert hook_tail(d, 90.0) == pytest.approx(tail_90 * d)
    assert hook_tail(d, 180.0) == pytest.approx(tail_180 * d)


# ------------------------------------------------------------------ filling
def test_embedments_and_lap_follow_from_each_other() -> None:
    """left + right = closure + lap = 560 + 460 mm."""
    s = vary(read(LAPPED), "bars.left.embedment", "510 mm")
    assert s.bars.lap == 460.0
    row = tomllib.loads(s.text)["bars"]["left"]
    s = vary_many(s, {"bars.left.embedment": "530 mm", "bars.right": {**row, "embedment": "490 mm"}, "bars.lap": None})
    assert s.bars.lap == pytest.approx(460.0)
    s = vary_many(s, {"bars.lap": "460 mm", "bars.right.embedment": None})
    assert s.bars.right is not None and s.bars.right.embedment == pytest.approx(490.0)


@pytest.mark.parametrize("number", [1, 2, 3, 4])
def test_pairs_are_mirrored_about_the_centre_line(number: int) -> None:
    """A B | B A: pairs one spacing wide, mirror images, outer bars at the side cover; an odd one in the middle."""
    s = vary_many(read(LAPPED), {"bars.left.number": number, "bars.spacing": "60 mm"})
    assert s.bars.right is not None
    a, b = s.bars.left.positions, s.bars.right.positions
    assert [abs(p - q) for p, q in zip(a, b)] == pytest.approx([60.0] * number)
    if number % 2 == 0:
        assert a == pytest.approx(tuple(-z for z in reversed(a)))
        assert b == pytest.approx(tuple(-z for z in reversed(b)))
    else:
        assert (a[number // 2], b[number // 2]) == pytest.approx((-30.0, 30.0))
    if number > 1:
        assert max(map(abs, (*a, *b))) == pytest.approx(240.0)


def test_positions_as_built() -> None:
    s = vary(read(LAPPED), "bars.left.positions", ["-230 mm", "228 mm"])
    assert s.bars.right is not None
    assert s.bars.right.positions == pytest.approx((-130.0, 128.0))
    assert s.bars.side_cover == pytest.approx(300 - 230 - 28.7 / 2)


def test_cover_or_depth_say_the_same() -> None:
    s = vary_many(read(LAPPED), {"bars.left.depth": None, "bars.left.cover": "45.65 mm"})
    assert s.bars.left.depth == pytest.approx(515.0)


def test_frozen() -> None:
    with pytest.raises(ValidationError, match="frozen"):
        read(LAPPED).body.width = 1.0


# ------------------------------------------------------------------ one key varied
def test_vary_keeps_text_and_values_together() -> None:
    s = read(LAPPED)
    wide = vary(s, "bars.spacing", "150 mm")
    assert wide.bars.spacing == 150.0
    assert tomllib.loads(wide.text)["bars"]["spacing"] == "150 mm"
    assert read_text(wide.text) == wide
    assert wide.digest != s.digest
    assert vary(wide, "bars.spacing", "100 mm").digest == s.digest
    # estimates follow the strength they come from
    assert vary(s, "concrete.precast.strength", "60 MPa").concrete.precast.tensile_strength > 3.0


def test_digest_hears_values_only() -> None:
    s = read(LAPPED)
    assert vary(s, "note", "another word").digest == s.digest
    assert vary(s, "body.width", "60 cm").digest == s.digest
    assert vary(s, "bond.splitting", "none").digest != s.digest
    assert len({read(path).digest for path in FILES}) == len(FILES)


def test_vary_faults_name_the_key() -> None:
    s = read(LAPPED)
    for path, value, says in (
        ("bars.spacig", "150 mm", "spacing"),
        ("bars.spacing", 150, "unit is missing"),
        ("name.first", "x", "runs through a value"),
        ("bars.spacing", object(), "no place"),
    ):
        with pytest.raises(InputFault, match=says):
            vary(s, path, value)


_LEAVES = st.one_of(st.booleans(), st.integers(-(2**60), 2**60), st.floats(allow_nan=False), st.text(max_size=20))
_VALUES = st.one_of(_LEAVES, st.lists(_LEAVES, max_size=4))


_TABLE = st.dictionaries(st.text(max_size=8), _VALUES, max_size=4)


@settings(max_examples=60, deadline=None)
@given(st.recursive(_TABLE, lambda t: st.dictionaries(st.text(max_size=8), t, max_size=3), max_leaves=5))
def test_written_toml_is_read_back(tree: dict[str, object]) -> None:
    """Oracle: the standard library's tomllib."""
    text = toml.dump(tree)
    assert tomllib.loads(text) == tree


# ------------------------------------------------------------------ cost
def test_reading_loads_no_heavy_library() -> None:
    heavy = {"pint", "gmsh", "pyvista", "matplotlib", "dask", "h5py", "meshio", "scipy"}
    code = f"import sys; from fesplice import read; read({str(LAPPED)!r}); sys.exit(bool({heavy!r} & set(sys.modules)))"
    assert subprocess.run([sys.executable, "-c", code]).returncode == 0


def test_unit_weight_is_density_times_gravity() -> None:
    s: Specimen = vary(read(LAPPED), "concrete.closure.density", "24 kN/m3")
    assert s.concrete.closure is not None
    assert s.concrete.closure.unit_weight == pytest.approx(24e3 * factor("N", "force") / 1e9)
