"""Laps of loops and of headed bars: EN 1992-1-1:2023 (11.13) to (11.22) and the check of specimens that have them.

Source: the two check points are those of an open library of formulas (17.546 kN and 53.048 kN); the standard itself
was not seen. The trend with the spacing is that of the same formula, worked out by hand.
"""

from __future__ import annotations

import math
from pathlib import Path

import pytest

from fesplice import analyse, predict, read
from fesplice.contracts import InputFault
from fesplice.provisions import ec2_2023_loops as ec2
from fesplice.sizing import check
from fesplice.specimen import Specimen, read_text

BEAM = (Path(__file__).parents[2] / "models" / "as29-100-u.toml").read_text(encoding="utf-8")
TRANSVERSE = 'kind = "hooked_transverse_bar"\nsize = "16"\nsteel = "ties"\nnumber = 4\n'
STIRRUPS = 'kind = "stirrups"\nsize = "16"\nsteel = "ties"\nnumber = 4\nspacing = "90 mm"\n'


def lapped(splice: str, spacing: str = "100 mm") -> Specimen:
    """The beam with loops bent over 200 mm, or heads 70 mm wide."""
    head, rest = BEAM.split("[bars.left.hook]", 1)
    tail = rest[rest.index("[compression_bars]") :]
    part = '[bars.left.hook]\nbend_diameter = "200 mm"\ntail = "150 mm"\n\n' if splice == "looped" else (
        '[bars.left.head]\nwidth = "70 mm"\n\n'
    )  # fmt: skip
    text = (head + part + tail).replace('splice = "hooked"', f'splice = "{splice}"', 1)
    text = text.replace('spacing = "100 mm" ', f'spacing = "{spacing}" ', 1)
    confined = TRANSVERSE if splice == "looped" else STIRRUPS
    return read_text(text.replace('kind = "none"\n', confined, 1), splice)


def test_both_check_points_of_the_library() -> None:
    assert ec2.loop_strength(30.0, 1e4, 16.0, 200.0, 0.8, 50.0).value == pytest.approx(17_546.0, rel=1e-4)
    assert ec2.head_strength(30.0, 1e4, 16.0, 160.0, 0.8, 50.0).value == pytest.approx(53_048.0, rel=1e-4)


def test_steel_saturates_and_none_leaves_nothing() -> None:
    assert ec2.loop_strength(30.0, 1e4, 16.0, 200.0, 1e-9, c_s=50.0).value == pytest.approx(0.0, abs=0.01)
    bare = BEAM.replace('splice = "hooked"', 'splice = "headed"', 1).replace("[bars.left.hook]", "[bars.left.head]", 1)
    bare = bare.replace("angle = 90\n", 'width = "70 mm"\n', 1).replace('orientation = "compression"', "#", 1)
    with pytest.raises(InputFault, match="confinement.kind = 'none': headed laps need steel across") as fault:
        check(read_text(bare, "bare"))
    assert fault.value.exit_code == 2
    index = lambda w: w * 0.85 * (16.0 / 200.0) ** (1 / 3) * 1e4 * 30.0 / 435.0  # noqa: E731
    given = [ec2.loop_steel(435.0, 30.0, 1e4, 16.0, 200.0, index(w)).value for w in (0.1, 0.25, 0.5, 2.0)]
    assert given == pytest.approx([0.36, 0.75, 1.0, 1.0])


def test_strength_falls_with_the_spacing_at_full_steel() -> None:
    """sqrt(1 + r^2) - r with r = 150/460 is 0.726: 27 % less than in contact."""
    apart = [ec2.loop_strength(30.0, 1e4, 16.0, 460.0, 1.0, c).value for c in (0.0, 100.0, 150.0)]
    assert apart[2] / apart[0] == pytest.approx(0.726, abs=0.001)
    assert apart[1] / apart[0] == pytest.approx(0.806, abs=0.001)


def test_units_turn_exactly() -> None:
    si = ec2.head_strength(30.0, 1e4, 16.0, 160.0, 0.8, 50.0).value
    us = ec2.head_strength(
        30.0 / 6.894757293e-3, 1e4 / 645.16, 16.0 / 25.4, 160.0 / 25.4, 0.8, 50.0 / 25.4, units="US"
    ).value
    assert us * 4.4482216152605 == pytest.approx(si, rel=1e-9)


@pytest.mark.parametrize("splice", ["looped", "headed"])
def test_check_takes_the_one_formula(splice: str) -> None:
    found = check(lapped(splice))
    (row, *_), s = found.rows, lapped(splice)
    inside = [e for e in found.band.estimates if e.role == "band"]
    assert len(inside) == 2 and all(splice in e.formula for e in inside)  # one a row
    area = s.bars.left.area
    steel = s.confinement.number * s.confinement.area
    if splice == "looped":
        core = (200.0 + row.diameter) * (460.0 - 0.21 * (200.0 + row.diameter))
        part, length, factor, legs = 0.2, 460.0, 0.85, 2
    else:
        length = 460.0 - 2 * row.diameter
        core, part, factor, legs = length * 70.0, 0.6, 1.3, 1
    g = (32.0 / length) ** (1 / 3)
    w = steel * 460.0 / (factor * g * core * 35.0)
    k, r = (4 * w * (1 - w) if w < 0.5 else 1.0), (100.0 - row.diameter) / length
    by_hand = part * 35.0 * core * g * (math.sqrt(k + r * r) - r) / (legs * area)
    assert found.band.central.stress == pytest.approx(by_hand, rel=1e-6)
    assert any("the standard not seen" in note and "prying" in note for note in found.notes)
    assert not any("Laps of hooked bars" in note for note in found.notes)


def test_wider_spacing_lowers_the_band_of_loops() -> None:
    near, far = (check(lapped("looped", spacing=s)).band.central.stress for s in ("60 mm", "120 mm"))
    assert far < near


@pytest.mark.parametrize("compute", [analyse, predict])
def test_the_views_refuse_what_they_do_not_take(compute, tmp_path: Path) -> None:
    with pytest.raises(InputFault, match="bars.splice = 'looped': checked by formula only") as fault:
        compute(lapped("looped"), tmp_path / "out")
    assert fault.value.exit_code == 2 and not (tmp_path / "out").exists()


def test_keys_that_belong_to_another_splice_are_told() -> None:
    with pytest.raises(InputFault, match="bars.left.head: hooked bars have none"):
        read_text(BEAM.replace("[bars.left.hook]", '[bars.left.head]\nwidth = "70 mm"\n[bars.left.hook]', 1), "x")
    with pytest.raises(InputFault, match="bars.left.head: missing"):
        read_text(BEAM.replace('splice = "hooked"', 'splice = "headed"', 1).replace("[bars.left.hook]\n", "", 1), "x")
    with pytest.raises(InputFault, match="a loop turns back on itself"):
        read_text(BEAM.replace('splice = "hooked"', 'splice = "looped"', 1), "x")


def test_hooks_are_read_as_before() -> None:
    hooked = check(read(Path(__file__).parents[2] / "models" / "as29-100-u.toml"))
    assert all(row.kind == "hooked" and row.hooked for row in hooked.rows)
