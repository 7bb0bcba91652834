"""A log whose true answer is known in closed form, and the same against a published section.

Cracked elastic bar stress: R. F. Warner, S. J. Foster & A. E. Kilpatrick, "Reinforced Concrete Basics" (2007),
Example 3.1, as quoted in the tests of the library concreteproperties: 300 x 450 mm, three bars of 450 mm2 at 390 mm,
E_c 30.1 GPa, 100 kNm: 213 MPa. Two-line load-deflection, area, slope, mean bond stress, statics of a beam on two
supports: closed forms, common practice, no source. Coupon: bilinear and rounded curves of known properties; the 0.2 %
offset as in ASTM A370 (from memory).
"""

from __future__ import annotations

import importlib.util
import math
from pathlib import Path

import numpy as np
import pytest

from fesplice.measured import reduce
from fesplice.measured.channels import spikes_of
from fesplice.measured.materials import steel_of
from fesplice.measured.onsets import area, drop, failure_row, knee, opening, stiffness
from fesplice.specimen import read

MODELS = Path(__file__).parents[2] / "models"
_spec = importlib.util.spec_from_file_location("measured_data", Path(__file__).parents[1] / "unit" / "measured_data.py")
assert _spec is not None and _spec.loader is not None
data = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(data)

WARNER = """
name = "Warner 3.1"
[body]
width = "300 mm"
depth = "450 mm"
span = "4 m"
shear_span = "1 m"
closure = "0 mm"
[concrete.precast]
strength = "32 MPa"
elastic_modulus = "30.1 GPa"
[steel.main]
yield_strength = "500 MPa"
ultimate_strength = "600 MPa"
[bars]
splice = "continuous"
[bars.left]
diameter = "24 mm"
area = "450 mm2"
number = 3
steel = "main"
depth = "390 mm"
[loading]
self_weight = false
"""


def test_bar_stress_of_the_published_section(tmp_path: Path) -> None:
    """100 kN at 1 m from the support is 100 kNm; the log reads it in kip, with a zero of its own."""
    (tmp_path / "s.toml").write_text(WARNER, encoding="utf-8")
    t = np.arange(0.0, 200.0)
    load = np.interp(t, [20.0, 199.0], [0.0, 100.0]) / 4.4482216
    strain = np.interp(t, [20.0, 199.0], [0.0, 213.0 / 200e3 * 1e6])
    log = data.write_log(tmp_path / "a.csv", t, {"P": load + 7.0, "sg": strain - 350.0})
    gauges = data.gauge("P", "load") + data.gauge("sg", "bar_strain", bar='"A1"', from_joint='"0 mm"')
    rig = data.write_rig(
        tmp_path / "r.toml", "Warner 3.1", {"P": 'unit = "kip"', "sg": 'unit = "ue"'}, gauges, "zero_window = [0, 19]"
    )
    test = reduce([log], rig, tmp_path / "s.toml", tmp_path / "out")
    last = test.bar_stress[-1]
    assert last.load == pytest.approx(100e3, rel=1e-6) and last.moment == pytest.approx(100e6, rel=1e-6)
    assert last.elastic == pytest.approx(213.0, rel=0.01)
    assert last.fibre == pytest.approx(213.0, rel=0.015)
    # the middle of the last four of 180 readings lies 0.8 % below the last
    assert last.gauge == pytest.approx(213.0, rel=0.012)
    assert last.flag == "" and last.spread < 0.05
    assert last.gauge_uncertainty == pytest.approx(0.015 * last.gauge, rel=0.01)
    # s = n M (d - x)/I goes as 1/d at a given lever arm: 5 mm of 390 mm, load cell 1 %
    assert last.uncertainty == pytest.approx(last.fibre * math.hypot(0.01, 5.0 / 390.0), rel=0.02)


# ------------------------------------------------------------------ one known beam test, end to end
PEAK, KNEE, STIFF, SOFT = 150e3, 60e3, 30e3, 12e3  # N, N, N/mm, N/mm
SETTLED = 0.8  # mm at the peak, twice as much on the right


@pytest.fixture(scope="module")
def known(tmp_path_factory: pytest.TempPathFactory):
    """Two-line rise to 150 kN, sudden drop to 60 kN, no noise; supports settle, rams differ by 4 kN."""
    folder = tmp_path_factory.mktemp("known")
    t = np.arange(0.0, 1000.0, 0.5)
    load = np.interp(t, [100.0, 900.0, 900.5, 999.5], [0.0, PEAK, 60e3, 60e3])
    rise = np.where(load < KNEE, load / STIFF, KNEE / STIFF + (load - KNEE) / SOFT)
    top = KNEE / STIFF + (PEAK - KNEE) / SOFT
    net = np.where(t <= 900.0, rise, top * (1.0 + (t - 900.0) / 500.0))
    settled = SETTLED * load / PEAK
    joint = 2e-5 * np.maximum(load - 20e3, 0.0)
    e1, e2 = 1.9e-3 * load / PEAK, 1.4e-3 * load / PEAK
    columns = {
        "north": 1e-3 * (load + 2e3 * load / PEAK), "south": 1e-3 * (load - 2e3 * load / PEAK),
        "mid": net + 1.5 * settled, "sup_l": settled, "sup_r": 2.0 * settled, "joint": joint,
        "g0": -1e6 * e1 + 40.0, "g1": 1e6 * e2 - 9.0,
    }  # fmt: skip
    log = data.write_log(folder / "log.csv", t, columns)
    gauges = "".join((
        data.gauge("north", "load", ram='"left"'), data.gauge("south", "load", ram='"right"'),
        data.gauge("mid", "deflection", x='"0 mm"'), data.gauge("left support", "deflection", x='"-2400 mm"'),
        data.gauge("right support", "deflection", x='"2400 mm"'),
        data.gauge("joint", "joint_opening", joint='"left"'),
        data.gauge("g0", "bar_strain", bar='"A1"', from_joint='"0 mm"'),
        data.gauge("g1", "bar_strain", bar='"A1"', from_joint='"200 mm"'),
    ))  # fmt: skip
    channels = {
        "north": 'unit = "kN"', "south": 'unit = "kN"', "mid": 'unit = "mm"', "joint": 'unit = "mm"',
        "sup_l": 'unit = "mm"\ngauge = "left support"', "sup_r": 'unit = "mm"\ngauge = "right support"',
        "g0": 'unit = "ue"\nsign = -1', "g1": 'unit = "ue"',
    }  # fmt: skip
    rig = data.write_rig(folder / "rig.toml", "AS29-100-U", channels, gauges, "zero_window = [0, 90]")
    return reduce([log], rig, MODELS / "as29-100-u.toml", folder / "test")


def result(test, name: str) -> float:
    return test.results[name].value


def test_the_peak_is_the_raw_maximum(known) -> None:
    assert result(known, "largest load") == pytest.approx(PEAK, rel=1e-9)
    assert result(known, "time of the largest load") == 900.0
    assert result(known, "load of the left ram at the peak") == pytest.approx(152e3)
    assert known.suspects == ()


def test_settlement_knee_area_slope_and_drop_in_closed_form(known) -> None:
    top = KNEE / STIFF + (PEAK - KNEE) / SOFT
    assert result(known, "midspan deflection at the peak") == pytest.approx(top, rel=2e-3)
    assert result(known, "load: first crack") == pytest.approx(KNEE, rel=0.01)
    assert result(known, "load: left joint begins to open") == pytest.approx(20e3, rel=0.01)
    whole = 0.5 * KNEE**2 / STIFF + 0.5 * (KNEE + PEAK) * (PEAK - KNEE) / SOFT
    assert result(known, "energy to the peak") == pytest.approx(whole, rel=1e-4)
    assert result(known, "drop after the peak") == pytest.approx(0.6, rel=1e-6)
    assert [e.what for e in known.events] == ["left joint begins to open", "first crack", "largest load", "failure"]


def test_moment_bar_stress_and_bond(known) -> None:
    """M = P a + w L^2/8-like own weight of the demo, 24.3 kNm by hand at 2500 kg/m3 (0.6 x 0.575 x 4.8 m on supports,
    overhangs counted off); tau = dsigma A/(pi d dx) = 100 MPa x 645/(pi 28.7 x 200) = 3.577 MPa."""
    s = read(MODELS / "as29-100-u.toml")
    w = 2500.0 * 9.80665 * 1e-9 * 600.0 * 575.0
    half, hang, x = 2400.0, 200.0, 280.0
    own = w * ((half + hang) * (half - x) - 0.5 * (half - x + hang) ** 2)
    peak = next(b for b in known.bar_stress if b.line == "A" and b.share == 1.0)
    assert peak.moment == pytest.approx(PEAK * 1500.0 + own, rel=1e-4)
    # lever arm of the cracked section, rho n = 0.030: j = 0.928 (hand check of the demonstration series)
    assert peak.elastic == pytest.approx(peak.moment / (1290.0 * 0.928 * 515.0), rel=0.005)
    # gauges: 1900 microstrain and what own weight adds to the uncracked section
    strain = own / (600.0 * 575.0**3 / 12.0) * (515.0 - 287.5) / 27.8e3
    assert peak.gauge == pytest.approx((1.9e-3 + strain) * 200e3, rel=4e-3)
    bond = next(b for b in known.bond if b.share == 1.0)
    assert bond.value == pytest.approx(100.0 * 645.0 / (math.pi * 28.7 * 200.0), rel=4e-3)
    # 1.5 % of each strain, independent; 2 mm of each place
    per = 645.0 / (math.pi * 28.7 * 200.0)
    by_hand = math.hypot(per * 0.015 * math.hypot(380.0, 280.0), bond.value * 2.0 * math.sqrt(2.0) / 200.0)
    assert bond.uncertainty == pytest.approx(by_hand, rel=0.01)
    assert s.bars.left.area == 645.0


def test_with_the_tension_face_up_own_weight_is_taken_off(tmp_path: Path) -> None:
    """M = P a - M_own; three values of bar stress follow it."""
    text = (MODELS / "as29-100-u.toml").read_text(encoding="utf-8")
    (tmp_path / "s.toml").write_text(text.replace('tension_face = "down"', 'tension_face = "up"'), encoding="utf-8")
    t = np.arange(0.0, 200.0)
    log = data.write_log(tmp_path / "a.csv", t, {"P": np.interp(t, [20.0, 199.0], [0.0, 120.0])})
    rig = data.write_rig(tmp_path / "r.toml", "AS29-100-U", {"P": 'unit = "kN"'}, data.gauge("P", "load"))
    test = reduce([log], rig, tmp_path / "s.toml", tmp_path / "out")
    w = 2500.0 * 9.80665 * 1e-9 * 600.0 * 575.0
    own = w * (2600.0 * 2120.0 - 0.5 * 2320.0**2)
    last = test.bar_stress[-1]
    assert last.moment == pytest.approx(120e3 * 1500.0 - own, rel=1e-4)
    assert last.elastic == pytest.approx(last.moment / (1290.0 * 0.928 * 515.0), rel=0.005)


# ------------------------------------------------------------------ parts, with noise
def test_a_knee_is_found_in_noise_and_none_on_a_line() -> None:
    rng = np.random.default_rng(5)
    load = np.linspace(0.0, 100e3, 4000)
    y = np.where(load < 40e3, load / 50e3, 0.8 + (load - 40e3) / 15e3) + rng.normal(0.0, 0.03, 4000)
    found = knee(load, y, 100e3)
    assert found is not None and found.load == pytest.approx(40e3, rel=0.03)
    assert found.after / found.before == pytest.approx(50.0 / 15.0, rel=0.05)
    assert knee(load, load / 50e3 + rng.normal(0.0, 0.03, 4000), 100e3) is None
    assert opening(load, 1e-4 * np.maximum(load - 25e3, 0.0) / 10.0, 100e3) == pytest.approx(25e3, rel=0.01)
    assert opening(load, 1e-8 * load, 100e3) is None


def test_curve_measures_of_a_triangle() -> None:
    d = np.concatenate([np.linspace(0.0, 10.0, 101), np.linspace(10.1, 14.0, 40)])
    p = np.where(d <= 10.0, 1e4 * d, 1e5 - 1.5e4 * (d - 10.0))
    assert stiffness(p, d, 100) == pytest.approx(1e4)
    assert area(p, d, 100) == pytest.approx(0.5 * 10.0 * 1e5)
    assert failure_row(p, 100) == 110 and drop(p, d, 100) == pytest.approx(0.6)


def test_spikes_are_found_and_a_sudden_drop_is_none() -> None:
    rng = np.random.default_rng(11)
    x = np.concatenate([np.linspace(0.0, 1000.0, 3000), np.full(1000, 400.0)]) + rng.normal(0.0, 1.0, 4000)
    x[2999] = x.max() + 0.5  # the peak itself, right before the drop
    assert len(spikes_of(x, 1.0)) == 0
    x[[500, 1500, 1501, 3500]] += [300.0, -250.0, -240.0, 500.0]
    assert spikes_of(x, 1.0).tolist() == [500, 1500, 1501, 3500]


# ------------------------------------------------------------------ coupons
def test_a_coupon_with_a_plateau() -> None:
    e = np.concatenate([np.linspace(0.0, 0.0025, 60), np.linspace(0.0026, 0.015, 80), np.linspace(0.0152, 0.10, 200)])
    harder = 500.0 + 150.0 * (np.maximum(e - 0.015, 0.0) / 0.085) ** 0.5
    f = np.where(e < 0.0025, 200e3 * e, harder)
    c = steel_of(e + 0.0003, f)  # the extensometer was set to zero late
    assert c.plateau and c.modulus == pytest.approx(200e3, rel=1e-6)
    assert c.yield_strength == pytest.approx(500.0, rel=1e-6) and c.ultimate == pytest.approx(650.0, rel=1e-6)
    assert c.ultimate_strain == pytest.approx(0.10, rel=1e-6)


def test_a_rounded_coupon_by_the_offset() -> None:
    """Ramberg-Osgood: e = f/E + 0.002 (f/fy)^20 has the 0.2 % offset strength fy by definition."""
    f = np.linspace(0.0, 860.0, 2000)
    e = f / 200e3 + 0.002 * (f / 725.0) ** 20
    c = steel_of(e, f)
    assert not c.plateau and c.yield_strength == pytest.approx(725.0, rel=0.003)
    assert c.modulus == pytest.approx(200e3, rel=0.003)
