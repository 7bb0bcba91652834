"""Bar centre lines, covers, clashes.

Sources: overall hook sizes by ACI 318-19, 25.3.1 (inside bend diameters 6 and 8 d_b, tails
12 d_b and 4 d_b >= 65 mm; from memory, the sums are arithmetic); K_tr by the open library
structuralcodes (fib Model Code 2010, eq. 6.1-6); bars beside each other and legs near bars:
plane geometry.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from structuralcodes.codes import mc2010

from fesplice.contracts import InputFault
from fesplice.formulas import bond, laps
from fesplice.geometry import bars, clash, planes, surroundings
from fesplice.mesh import BEND, LEAD, TAIL
from fesplice.specimen.read import read, read_text, vary, vary_many

MODELS = Path(__file__).parents[2] / "models"
U100 = read(MODELS / "as29-100-u.toml")


def lengths(points):
    return np.linalg.norm(np.diff(points, axis=0), axis=1)


# ------------------------------------------------------------------ hooks
@pytest.mark.parametrize(
    ("size", "diameter", "bend", "overall"),
    [("No. 6", 19.1, 6.0, 16.0), ("No. 8", 25.4, 6.0, 16.0), ("No. 9", 28.7, 8.0, 17.0), ("No. 11", 35.8, 8.0, 17.0)],
)
def test_a_90_degree_hook_has_its_standard_overall_height(size, diameter, bend, overall):
    points, zone, centre = bars.hook_line(-1000.0, 60.0, 200.0, diameter, bend * diameter, 90.0, 12.0 * diameter, 1.0)
    shape = bars.Shape("A", "bars.left", points, zone, diameter, (0.0,), centre[0], centre, 0.0)
    _, x1, y0, y1 = shape.outside
    assert y1 - y0 == pytest.approx(overall * diameter, rel=1e-9), size
    assert x1 == pytest.approx(200.0, abs=1e-9)


@pytest.mark.parametrize(("diameter", "bend"), [(12.7, 6.0), (19.1, 6.0), (28.7, 8.0)])
def test_a_180_degree_hook_is_one_bend_and_two_bars_high_and_its_tail_runs_back(diameter, bend):
    tail = max(4.0 * diameter, 65.0)
    points, zone, centre = bars.hook_line(-1000.0, 60.0, 200.0, diameter, bend * diameter, 180.0, tail, 1.0)
    shape = bars.Shape("A", "bars.left", points, zone, diameter, (0.0,), centre[0], centre, 0.0)
    _, x1, y0, y1 = shape.outside
    assert y1 - y0 == pytest.approx((bend + 2.0) * diameter, rel=1e-3)
    assert x1 == pytest.approx(200.0, abs=0.05)
    assert points[-1] == pytest.approx([centre[0] - tail, 60.0 + (bend + 1.0) * diameter])


@pytest.mark.parametrize("angle", [90.0, 180.0])
def test_the_bend_is_an_arc_of_at_least_twelve_chords_that_touches_lead_and_tail(angle):
    radius = 0.5 * (8.0 + 1.0) * 28.7
    points, zone, centre = bars.hook_line(-1000.0, 60.0, 200.0, 28.7, 8.0 * 28.7, angle, 300.0, 1.0)
    bend = points[zone == BEND]
    assert np.linalg.norm(bend - centre, axis=1) == pytest.approx(np.full(len(bend), radius))
    assert len(bend) - 1 >= 12
    # chords fall short of the arc by (turn of one chord)^2 / 24
    assert lengths(bend).sum() == pytest.approx(np.deg2rad(angle) * radius, rel=1e-3)
    assert np.dot(bend[0] - centre, points[1] - points[0]) == pytest.approx(0.0, abs=1e-6)
    assert np.dot(bend[-1] - centre, points[-1] - bend[-1]) == pytest.approx(0.0, abs=1e-6)
    assert list(zone[[0, -1]]) == [LEAD, TAIL]


def test_hook_outsides_stand_half_a_lap_from_midspan_and_tails_half_a_bar_inside():
    a, b = bars.main_shapes(U100)
    assert (a.name, b.name) == ("A", "B")
    assert a.outside[1] == pytest.approx(230.0) and b.outside[0] == pytest.approx(-230.0)
    assert a.points[-1, 0] == pytest.approx(230.0 - 0.5 * 28.7)
    assert b.points == pytest.approx(a.points * [-1.0, 1.0])
    assert a.points[0, 0] == pytest.approx(-2600.0 + U100.stirrups.cover)
    assert a.points[0, 1] == pytest.approx(575.0 - 515.0)


def test_unequal_embedments_shift_the_lap_but_keep_its_length():
    rows = '[bars.right]\nsize = "29"\nnumber = 2\nsteel = "main"\ndepth = "515 mm"\n\n[compression_bars]'
    text = U100.text.replace('depth = "515 mm"', 'depth = "515 mm"\nembedment = "490 mm"', 1)
    x0, x1 = bars.bar_ends(read_text(text.replace("[compression_bars]", rows, 1)))
    assert x1 == pytest.approx(-280.0 + 490.0)
    assert x1 - x0 == pytest.approx(460.0)


def test_tension_hooks_turn_down():
    points, _, centre = bars.hook_line(-1000.0, 300.0, 200.0, 20.0, 120.0, 90.0, 100.0, -1.0)
    assert centre[1] < 300.0 and points[-1, 1] == pytest.approx(300.0 - 70.0 - 100.0)


def test_stations_lie_on_the_bar_in_order_and_the_transverse_bar_touches_the_bend_from_inside():
    text = {"confinement.kind": "hooked_transverse_bar", "confinement.size": "16", "confinement.number": 2}
    s = vary_many(U100, {**text, "confinement.steel": "ties"})
    found = {t.name: np.array(t.xy) for t in bars.stations(s)}
    a = bars.main_shapes(s)[0]
    names = ["lead", "tangent", "mid-bend", "bend-end", "tail-end"]
    arcs = []
    for name in names:
        p = found[f"A/{name}"]
        start, step = a.points[:-1], np.diff(a.points, axis=0)
        t = np.clip(((p - start) * step).sum(1) / (step * step).sum(1), 0.0, 1.0)
        away = np.linalg.norm(start + t[:, None] * step - p, axis=1)
        assert away.min() < 1e-6
        k = int(away.argmin())
        arcs.append(lengths(a.points)[:k].sum() + t[k] * lengths(a.points)[k])
    assert arcs == sorted(arcs)
    assert found["A/lead"][0] == pytest.approx(0.5 * (-280.0 + a.tangent_x))
    between = np.linalg.norm(found["A/transverse-bar"] - found["A/mid-bend"])
    assert between == pytest.approx(0.5 * (28.7 + s.confinement.diameter))
    assert np.linalg.norm(found["A/transverse-bar"] - a.bend) < a.radius
    assert found["B/tangent"] == pytest.approx(found["A/tangent"] * [-1.0, 1.0])


# ------------------------------------------------------------------ distances and clashes
def test_distance_between_polylines_in_space():
    line = np.array([[-10.0, 0.0, 0.0], [10.0, 0.0, 0.0]])
    crossing = np.array([[0.0, -5.0, 3.0], [0.0, 5.0, 3.0]])
    beside = np.array([[12.0, 4.0, 0.0], [20.0, 4.0, 0.0]])
    parallel = line + [3.0, 2.0, 0.0]
    assert clash.distance(line, crossing) == pytest.approx(3.0)
    assert clash.distance(line, beside) == pytest.approx(np.hypot(2.0, 4.0))
    assert clash.distance(line, parallel) == pytest.approx(2.0)
    bent = np.vstack([crossing, [[0.0, 5.0, 0.5], [0.0, -5.0, 0.5]]])
    assert clash.distance(bent, line) == pytest.approx(0.5)


def test_distance_agrees_with_dense_sampling():
    rng = np.random.default_rng(5)
    for _ in range(40):
        a, b = rng.uniform(-1.0, 1.0, (3, 3)), rng.uniform(-1.0, 1.0, (4, 3))
        t = np.linspace(0.0, 1.0, 201)[:, None, None]
        pa = (a[:-1] + t * np.diff(a, axis=0)).reshape(-1, 3)
        pb = (b[:-1] + t * np.diff(b, axis=0)).reshape(-1, 3)
        sampled = np.sqrt(((pa[:, None] - pb[None]) ** 2).sum(-1).min())
        assert clash.distance(a, b) <= sampled + 1e-12
        assert clash.distance(a, b) == pytest.approx(sampled, abs=0.02)


def test_the_demonstration_beam_has_no_clash_and_its_gap_is_spacing_less_a_bar():
    assert clash.clashes(U100) == []
    assert clash.clear_gaps(U100)["A", "B"] == pytest.approx(100.0 - 28.7, abs=1e-6)


def test_bars_in_contact_do_not_clash_and_closer_ones_do():
    contact = vary(U100, "bars.spacing", "contact")
    assert clash.clashes(contact) == []
    # what the reader would refuse: rows moved together afterwards
    right = contact.bars.right.filled(positions=tuple(z - np.sign(z) * -3.0 for z in contact.bars.right.positions))
    moved = contact.filled(bars=contact.bars.filled(right=right))
    faults = clash.clashes(moved)
    assert [f.path for f in faults] == ["bars.spacing"]
    with pytest.raises(InputFault, match="clash"):
        planes.elevation(moved)


def test_compression_bars_through_the_closure_step_aside_for_the_tails():
    through = vary(U100, "compression_bars.through_closure", True)
    tails = np.concatenate([m.positions for m in bars.main_shapes(through)])
    top = max(m.outside[3] for m in bars.main_shapes(through))
    assert top > bars.compression_level(through) - 0.5 * through.compression_bars.diameter
    apart = np.abs(np.subtract.outer(bars.compression_across(through), tails)).min()
    assert apart >= 0.5 * (28.7 + 12.7) - 0.02
    assert clash.clashes(through) == []


def test_more_compression_bars_than_fit_between_the_tails_are_reported():
    crowded = vary(vary(U100, "compression_bars.through_closure", True), "compression_bars.number", 40)
    paths = {f.path for f in clash.clashes(crowded)}
    assert paths and paths <= {"bars.left.hook.tail", "bars.right.hook.tail", "compression_bars.number"}


def test_a_load_plate_over_a_joint_is_refused():
    faults = clash.clashes(vary(U100, "body.shear_span", "2150 mm"))
    assert [f.path for f in faults] == ["body.plate_length"]


# ------------------------------------------------------------------ other steel
def test_stirrups_stand_mirrored_in_the_precast_halves_only():
    x = np.array(bars.stirrup_positions(U100))
    assert x == pytest.approx(-x[::-1])
    assert np.abs(x).min() == pytest.approx(280.0 + 75.0)
    assert np.abs(x).max() <= 2600.0 - 36.0
    assert np.diff(x[x > 0]) == pytest.approx(150.0)


def test_confinement_sets_are_centred_on_the_lap():
    s = vary_many(
        U100,
        {
            "confinement.kind": "stirrups",
            "confinement.size": "13",
            "confinement.spacing": "85 mm",
            "confinement.number": 6,
            "confinement.steel": "ties",
        },
    )
    assert bars.confinement_positions(s) == pytest.approx([-212.5, -127.5, -42.5, 42.5, 127.5, 212.5])
    names = [p.name for p in planes.elevation(s).paths if p.role == "confinement"]
    assert names == ["T1", "T2", "T3", "T4", "T5", "T6"]


# ------------------------------------------------------------------ surroundings
@pytest.mark.parametrize(
    ("legs", "area", "units", "diameter", "spacing"),
    [(4, 490.87, 10, 25.0, 300.0), (2, 71.0, 2, 28.7, 150.0), (4, 129.0, 1, 19.1, 60.0)],
)
def test_ktr_agrees_with_the_model_code(legs, area, units, diameter, spacing):
    ours = bond.limited(bond.k_tr(legs, area, units, diameter, spacing))
    assert ours == pytest.approx(mc2010.K_tr(n_t=legs, A_st=area, n_b=units, phi=diameter, s_t=spacing))


def test_covers_take_the_nearest_neighbour_the_side_and_the_tension_face():
    width, d = 400.0, 20.0

    def of(*places: float) -> tuple[float, float]:
        gap, side = laps.clear_gaps(places, d)[0], laps.side_covers(places, d, width)[0]
        return bond.covers(0.5 * gap, side, 40.0, d)

    assert of(-100.0, 100.0) == pytest.approx((40.0, 90.0))
    assert of(-100.0, -40.0, 100.0) == pytest.approx((20.0, 90.0))
    assert of(-170.0, 100.0) == pytest.approx((20.0, 125.0))
    assert of(0.0) == pytest.approx((40.0, 190.0))


def test_a_lapped_pair_is_one_unit_so_contact_does_not_void_the_cover():
    contact = vary(U100, "bars.spacing", "contact")
    a = bars.main_shapes(contact)[0]
    cover = 575.0 - 515.0 - 0.5 * 28.7
    stretches = surroundings.along(contact, a)
    assert all(s.cmin == pytest.approx(cover) for s in stretches)
    assert [s.x0 for s in stretches[1:]] == [s.x1 for s in stretches[:-1]]
    assert stretches[0].x0 == -np.inf and stretches[-1].x1 == np.inf


def test_ties_count_only_where_they_stand_and_by_their_distance():
    a = bars.main_shapes(U100)[0]
    by_place = {(s.x0 < 0.0 < s.x1): s for s in surroundings.along(U100, a)}
    assert by_place[True].ktr == 0.0
    precast = surroundings.along(U100, a)[1]
    legs = bars.leg_positions(600.0, 36.0, U100.stirrups.diameter, 2)
    near = np.abs(legs[:, None] - np.array(a.positions)).min(axis=0).max() <= 5.0 * 28.7
    base = mc2010.K_tr(n_t=2, A_st=U100.stirrups.area, n_b=2, phi=28.7, s_t=150.0)
    assert precast.ktr == pytest.approx((12.0 if near else 6.0) * base)
    assert bond.k_m(0.0, 20.0, np.array([99.0])) == 12.0
    assert bond.k_m(0.0, 20.0, np.array([101.0])) == 6.0
    assert bond.k_m(0.0, 20.0, np.array([])) == 0.0


def test_sets_hold_the_lap_only_near_where_they_stand() -> None:
    """Two ties 400 mm apart hold 5 x 28.7 mm to either side; 500 mm apart they stand outside a lap of 460 mm."""
    ties = {"kind": "ties", "size": "10", "spacing": "400 mm", "number": 2, "legs": 2, "steel": "ties"}
    wide = vary(U100, "confinement", ties)
    held = [s for s in surroundings.along(wide, bars.main_shapes(wide)[0]) if s.ktr > 0.0]
    assert [(s.x0, s.x1) for s in held if -230 < 0.5 * (s.x0 + s.x1) < 230] == [
        pytest.approx((-230.0, -200.0 + 143.5)), pytest.approx((200.0 - 143.5, 230.0))
    ]  # fmt: skip
    outside = vary(U100, "confinement", {**ties, "spacing": "500 mm"})
    for own in bars.main_shapes(outside):
        within = [s for s in surroundings.along(outside, own) if abs(0.5 * (s.x0 + s.x1)) < 230.0]
        assert within and all(s.ktr == 0.0 for s in within)


def test_the_bonded_length_of_the_lead_runs_from_the_joint_to_the_tangent_point():
    a = bars.main_shapes(U100)[0]
    middle = next(s for s in surroundings.along(U100, a) if s.x0 < 0.0 < s.x1)
    assert middle.bond_length == pytest.approx(280.0 + a.tangent_x)
    assert surroundings.along(U100, a)[0].bond_length == pytest.approx(2600.0 - 36.0 - 280.0)
