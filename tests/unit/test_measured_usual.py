"""What a number of a rig file may be and usually is: every one has its limits, and slips of the unit are told.

A slip is by 10 (cm for mm), 25.4 (inch for millimetre), 1000 (m for mm, kN for N): common practice, no source.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any, get_args

import numpy as np
import pytest
from pydantic import BaseModel

from fesplice.contracts import InputFault
from fesplice.measured import reduce
from fesplice.measured.rig import Rig, gauges_of, read_rig, read_rig_text
from fesplice.measured.text import test_text as told
from fesplice.measured.usual import LIMITS, doubts, limits_of
from fesplice.specimen import read

MODELS = Path(__file__).resolve().parents[2] / "models"
RIG = """
[test]
specimen = "AS29-100-U"
equipment_weight = "3 kN"
[channel.P]
unit = "kN"
[channel.mid]
unit = "mm"
range = [0, 100]
[[gauges]]
id = "P"
kind = "load"
[[gauges]]
id = "mid"
kind = "deflection"
x = "0 mm"
"""


def numbers(kind: Any, path: str = "") -> list[str]:
    """Paths of all keys below a table whose type holds a number."""
    if isinstance(kind, type) and issubclass(kind, BaseModel):
        found = kind.model_fields.items()
        return [p for name, of in found for p in numbers(of.annotation, f"{path}.{name}".lstrip("."))]
    if isinstance(kind, type):
        return [path] if issubclass(kind, float | int) and kind is not bool else []
    below = get_args(kind)[1:] if getattr(kind, "__origin__", None) is dict else get_args(kind)
    star = f"{path}.*" if getattr(kind, "__origin__", None) is dict else path
    return [p for one in below for p in numbers(one, star)]


def test_every_number_of_a_rig_file_has_its_limits_and_every_limit_its_key() -> None:
    found = set(numbers(Rig))
    assert {"channel.*.factor", "test.equipment_weight", "log.offset.*", "photograph.scale"} <= found
    ranged = {path for path in found if path != "channel.*.range"}
    assert {path for path in ranged if limits_of(path.replace("*", "a.b")) is None} == set()
    assert LIMITS.keys() <= ranged
    for path, known in LIMITS.items():
        assert known.range.low <= known.range.least <= known.range.most <= known.range.high, path


@pytest.mark.parametrize("path", sorted(MODELS.glob("tests/*/rig.toml")), ids=lambda p: p.parent.name)
def test_the_shipped_rig_files_pass_without_a_word(path: Path) -> None:
    rig = read_rig(path)
    s = read(MODELS / f"{path.parent.name}.toml")
    assert doubts(rig, gauges_of(s, rig, "rig")) == ()


@pytest.mark.parametrize(("old", "new", "path"), [
    ('"3 kN"', '"300 kN"', "test.equipment_weight"), ('"3 kN"', '"3 N"', "test.equipment_weight"),
    ("[0, 100]", "[0, 100000]", "channel.mid.range"), ("[0, 100]", "[0, 0.1]", "channel.mid.range"),
    ('x = "0 mm"', 'x = "0 mm"\nlength = "10 m"', "gauges[1].length"),
    ('unit = "mm"', 'unit = "mm"\nrezero = [600000]', "channel.mid.rezero[0]"),
    ('unit = "mm"', 'unit = "mm"\naccuracy = 0.5', "channel.mid.accuracy"),
    ('unit = "mm"', 'unit = "mm"\nfactor = 2e9', "channel.mid.factor"),
    ("[channel.P]", "zero_window = [0, 55000]\n[channel.P]", "test.zero_window[1]"),
    ("[channel.P]", "no_reading = [0]\n[channel.P]", "test.no_reading[0]"),
    ("[channel.P]", "[time]\nrate = 50000\n[channel.P]", "time.rate"),
    ("[channel.P]", "[log.offset]\n'a.csv' = -3600000\n[channel.P]", "log.offset.a.csv"),
    ("[[gauges]]", "[[photograph]]\nfile = 'a.jpg'\nscale = '200 mm'\n[[gauges]]", "photograph[0].scale"),
])  # fmt: skip
def test_slips_are_refused_or_told_with_key_value_and_what_is_usual(old: str, new: str, path: str) -> None:
    assert old in RIG
    try:
        rig = read_rig_text(RIG.replace(old, new, 1), "rig.toml")
    except InputFault as fault:
        assert path in str(fault) and "must lie between" in str(fault)
        return
    found = doubts(rig, gauges_of(read(MODELS / "as29-100-u.toml"), rig, "rig"))
    assert [d.path for d in found] == [path] and "usually" in str(found[0])


def test_what_no_rig_has_is_refused_with_its_line() -> None:
    with pytest.raises(InputFault, match=r"time\.rate = -2: must lie between 1e-05 and 1e\+06 readings in a second"):
        read_rig_text(RIG + "[time]\nrate = -2\n", "rig.toml")


def test_terminal_and_record_say_the_same_doubt(tmp_path: Path) -> None:
    rig = tmp_path / "rig.toml"
    rig.write_text(RIG.replace("[0, 100]", "[0, 100000]"), encoding="utf-8")
    load = np.interp(np.arange(200.0), [20.0, 190.0], [0.0, 80.0])
    rows = "".join(f"{k};{p:.2f};{p / 10:.3f}\n" for k, p in enumerate(load))
    (tmp_path / "log.csv").write_text("time_s;P;mid\n" + rows, encoding="utf-8")
    test = reduce([tmp_path / "log.csv"], rig, MODELS / "as29-100-u.toml", tmp_path / "test")
    doubt = next(text for text in test.remarks if "channel.mid.range" in text)
    assert doubt.startswith("rig file: channel.mid.range = [0.0, 100000.0]") and doubt in told(test)
