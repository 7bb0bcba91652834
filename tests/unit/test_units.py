"""Text with units against exact definitions.

Sources: 1 in = 25.4 mm, 1 ft = 304.8 mm, 1 lb = 0.45359237 kg, standard gravity 9.80665 m/s2, all
exact (NIST Special Publication 811, from memory); 1 psi = 6.894757 kPa, 1 kip = 4.448222 kN,
1 lb/ft3 = 16.01846 kg/m3 and 1 ft-lbf = 1.355818 J (same, seven digits). Second witness for the
whole table: pint.
"""

from __future__ import annotations

import math
import subprocess
import sys

import pint
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fesplice.units import KINDS, UnitFault, both, factor, parse, show


@pytest.mark.parametrize(
    ("text", "kind", "value"),
    [
        ("460 mm", "length", 460.0),
        ("18 in", "length", 457.2),
        ("18in", "length", 457.2),
        ("1.5 ft", "length", 457.2),
        ("5/8 in", "length", 15.875),
        ("1 1/2 in", "length", 38.1),
        ("1-1/2 in", "length", 38.1),
        ("-12.5 cm", "length", -125.0),
        ("4.8e3 mm", "length", 4800.0),
        ("1 in2", "area", 645.16),
        ("1 in^2", "area", 645.16),
        ("6.45 cm²", "area", 645.0),
        ("1 psi", "stress", 6.894757e-3),
        ("5 ksi", "stress", 34.473786),
        ("27.8 GPa", "stress", 27800.0),
        ("0.14 N/mm", "energy", 0.14),
        ("140 N/m", "energy", 0.14),
        ("140 J/m2", "energy", 0.14),
        ("1 lbf/in", "energy", 4.448222 / 25.4),
        ("1 kip", "force", 4448.222),
        ("2.1 kN", "force", 2100.0),
        ("1 kip-ft", "moment", 1.355818e6),
        ("222 kNm", "moment", 222e6),
        ("2400 kg/m3", "density", 2400.0),
        ("24 kN/m3", "density", 24000 / 9.80665),
        ("150 lb/ft3", "density", 150 * 16.01846),
        ("150 pcf", "density", 150 * 16.01846),
        ("5 %", "strain", 0.05),
        ("2 ‰", "strain", 0.002),
        ("1800 µε", "strain", 1800e-6),
        (0.05, "strain", 0.05),
        (90, "angle", 90.0),
        ("90 deg", "angle", 90.0),
    ],
)
def test_text_to_number(text: object, kind: str, value: float) -> None:
    assert parse(text, kind) == pytest.approx(value, rel=3e-7)


@pytest.mark.parametrize(
    ("text", "kind", "value"),
    [
        ("3 dm", "length", 300.0),
        ("2 kN/cm^2", "stress", 20.0),
        ("2 kN / cm**2", "stress", 20.0),
        ("1 yd", "length", 914.4),
    ],
)
def test_spelling_outside_the_table(text: str, kind: str, value: float) -> None:
    """Common practice, no source: such spellings occur in laboratory files."""
    assert parse(text, kind) == pytest.approx(value, rel=1e-12)


@pytest.mark.parametrize("kind", [kind for kind, what in KINDS.items() if what.pint])
def test_table_agrees_with_pint(kind: str) -> None:
    """Pound beside a force, an energy or a unit weight is the force; the rest by pint's own names."""
    registry = pint.UnitRegistry()
    spelt = {
        **{"lb": "lbf", "lb/in": "lbf/in", "lb-ft": "lbf*ft", "kips": "kip", "inches": "inch", "t/m3": "tonne/m**3"},
        **{"Nmm": "N*mm", "Nm": "N*m", "kNm": "kN*m", "kip-ft": "kip*ft", "kip-in": "kip*inch"},
        **{"pcf": "lb/ft**3", "lbf/ft3": "lb/ft**3", "kN/m3": "kN/m**3/g_0", "N/m3": "N/m**3/g_0"},
    }
    for unit, value in KINDS[kind].factors.items():
        if not unit:
            continue
        spelling = spelt.get(unit, unit.replace("2", "**2").replace("3", "**3"))
        assert value == pytest.approx(registry.Quantity(1, spelling).to(KINDS[kind].pint).magnitude, rel=1e-12), unit


@pytest.mark.parametrize(
    ("text", "kind", "says"),
    [
        (460, "length", "unit is missing"),
        (460.0, "length", "unit is missing"),
        ("460", "length", "unit is missing"),
        ("460 MPa", "length", "no unit of a length"),
        ("5 kN", "stress", "no unit of a stress"),
        ("460 parsnips", "length", "no unit of a length"),
        ("abc mm", "length", "not a number"),
        ("", "length", "not a number"),
        ("mm", "length", "not a number"),
        ("nan mm", "length", "finite"),
        ("inf mm", "length", "finite"),
        ("1e999 mm", "length", "finite"),
        (float("nan"), "number", "finite"),
        (float("inf"), "strain", "finite"),
        (10**400, "number", "finite"),
        ("1,5 mm", "length", "comma"),
        ("1,000 mm", "length", "comma"),
        ("1/0 in", "length", "zero"),
        (True, "number", "plain number"),
        (None, "length", "length"),
        (["460 mm"], "length", "length"),
        ("2 mm**9**9**9", "length", "no unit"),
        ("2 __import__", "length", "no unit"),
        ("20 degF", "length", "no unit"),
        ("9" * 100 + " mm", "length", "not a number"),
    ],
)
def test_refused(text: object, kind: str, says: str) -> None:
    with pytest.raises(UnitFault, match=says):
        parse(text, kind)


@settings(deadline=None)
@given(st.one_of(st.text(), st.binary(), st.floats(), st.integers(), st.none()), st.sampled_from(sorted(KINDS)))
def test_junk_gives_a_finite_number_or_a_unit_fault(value: object, kind: str) -> None:
    try:
        assert math.isfinite(parse(value, kind))
    except UnitFault as fault:
        assert str(fault)


@settings(deadline=None)
@given(
    st.sampled_from([(k, u) for k, what in KINDS.items() for u in what.factors]),
    st.floats(-1e9, 1e9, allow_subnormal=False),
)
def test_there_and_back(place: tuple[str, str], number: float) -> None:
    kind, unit = place
    value = parse(f"{number!r} {unit}", kind)
    assert value / factor(unit, kind) == pytest.approx(number, rel=1e-14, abs=1e-300)


@pytest.mark.parametrize(
    ("value", "kind", "text"),
    [
        (460.0, "length", "460 mm (18.1 in)"),
        (4800.0, "length", "4800 mm (189 in)"),
        (131.5e3, "force", "131.5 kN (29.6 kip)"),
        (35.0, "stress", "35 MPa (5.08 ksi)"),
        (27800.0, "stress", "27.8 GPa (4032 ksi)"),
        (222e6, "moment", "222 kNm (164 kip-ft)"),
        (645.0, "area", "645 mm2 (1 in2)"),
        (0.002, "strain", "0.002"),
        (90.0, "angle", "90 deg"),
    ],
)
def test_shown_in_both_systems(value: float, kind: str, text: str) -> None:
    """600 mm = 23.6 in, 35 MPa = 5.08 ksi and the like: exact factors above, rounded to three digits."""
    assert both(value, kind) == text
    assert show(value, kind) == text.split(" (")[0]


def test_everyday_units_do_not_wait_for_pint() -> None:
    code = "import sys; from fesplice.units import both, parse; parse('18 in', 'length'); both(1.0, 'force')"
    code += "; sys.exit('pint' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code]).returncode == 0
