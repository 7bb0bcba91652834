"""Where bars lie across the beam and how wide it is: layouts, gap, and the width that follows.

The measure is addition: a beam is as wide as its covers, bars, spacings and gaps (common practice, no source).
"""

from __future__ import annotations

from pathlib import Path

import pytest

from fesplice import read
from fesplice.contracts import InputFault
from fesplice.specimen import read_text, vary_many

MODELS = Path(__file__).parents[2] / "models"
BEAM = read(MODELS / "as29-100-u.toml").text
STRIP = read(MODELS / "strip-16.toml")


def beam(**lines: str):
    """The beam with lines under [bars] added, and its own width where ``width`` is not left out."""
    text = BEAM.replace('width = "600 mm"\n', "" if lines.pop("width", "") == "out" else 'width = "600 mm"\n', 1)
    added = "".join(f"{name} = {value}\n" for name, value in lines.items())
    return read_text(text.replace("[bars]\n", f"[bars]\n{added}", 1), "beam")


def test_the_strip_is_as_wide_as_what_lies_in_it() -> None:
    b, d = STRIP.bars, STRIP.bars.left.diameter
    assert STRIP.body.width == pytest.approx(2 * 50.0 + d + 6 * 70.0 + 5 * 80.0)
    every = sorted([*((z, "A") for z in b.left.positions), *((z, "B") for z in b.right.positions)])
    assert "".join(side for _, side in every) == "AB" * 6
    steps = [q - p for (p, _), (q, _) in zip(every, every[1:])]
    assert steps == pytest.approx([70.0, 80.0] * 5 + [70.0])
    assert b.side_cover == pytest.approx(50.0)


def test_a_wider_spacing_widens_the_beam_and_keeps_its_cover() -> None:
    wide = vary_many(STRIP, {"bars.spacing": "100 mm"})
    assert wide.body.width - STRIP.body.width == pytest.approx(6 * 30.0)
    assert wide.bars.side_cover == pytest.approx(50.0) and wide.bars.gap == STRIP.bars.gap


def test_mirrored_pairs_face_their_like_across_the_gap() -> None:
    s = beam(width="out", gap='"220 mm"', side_cover='"60 mm"')
    (a1, a2), (b1, b2) = s.bars.left.positions, s.bars.right.positions
    assert a1 < b1 < b2 < a2 and b2 - b1 == pytest.approx(220.0)
    assert s.body.width == pytest.approx(2 * 60.0 + s.bars.left.diameter + 2 * 100.0 + 220.0)


def test_with_a_width_the_side_cover_follows_from_the_gap() -> None:
    s = beam(gap='"220 mm"', layout='"alternating"')
    (a1, a2), (b1, b2) = s.bars.left.positions, s.bars.right.positions
    assert a1 < b1 < a2 < b2 and a2 - b1 == pytest.approx(220.0)
    assert s.bars.side_cover == pytest.approx(300.0 - 210.0 - 0.5 * s.bars.left.diameter)


def test_one_pair_needs_no_gap() -> None:
    text = BEAM.replace('width = "600 mm"\n', "", 1).replace("number = 2  ", "number = 1  ", 1)
    text = text.replace("[compression_bars]", "[compression_bars]", 1)
    s = read_text(text, "pair")
    assert s.body.width == pytest.approx(100.0 + s.bars.left.diameter + 2 * s.bars.side_cover)


@pytest.mark.parametrize(
    ("lines", "told"),
    [
        ({"width": "out"}, "body.width: missing; or give bars.gap"),
        ({"gap": '"200 mm"', "side_cover": '"60 mm"'}, "give gap or side_cover: the other follows"),
        ({"gap": '"-3 mm"'}, "bars.gap"),
        ({"layout": '"zigzag"'}, "bars.layout = 'zigzag'"),
    ],
)
def test_what_contradicts_is_told_by_key(lines: dict[str, str], told: str) -> None:
    with pytest.raises(InputFault) as fault:
        beam(**lines)
    assert told in str(fault.value) and fault.value.exit_code == 2


def test_given_places_leave_no_room_for_a_layout() -> None:
    text = BEAM.replace("[bars.left] ", '[bars.left]\npositions = ["-200 mm", "200 mm"]\n#', 1)
    text = text.replace("[bars]\n", '[bars]\ngap = "150 mm"\n', 1)
    with pytest.raises(InputFault, match="give gap or positions"):
        read_text(text, "both")


def test_alternating_partners_of_given_places_lie_on_one_side() -> None:
    text = BEAM.replace("[bars.left] ", '[bars.left]\npositions = ["-200 mm", "100 mm"]\n#', 1)
    s = read_text(text.replace("[bars]\n", '[bars]\nlayout = "alternating"\n', 1), "both")
    assert s.bars.right.positions == (-100.0, 200.0)
