"""Two planes read together, on made readings: which governs, bracket, band, margin, words.

Source: the rules are the module's own; made cases, nothing outside the project is used here.
"""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest

from fesplice.pipeline.both import _meeting
from fesplice.post.mechanisms import Reading, Sign, read_plane
from fesplice.post.prediction import MODEL_BAND, Pass, Prediction, load_at


def reading(plane: str, strength: float, mechanism: str, sure: bool = True) -> Reading:
    stress = np.array([0.0, 0.5, 1.0, 0.8]) * strength
    signs = [Sign(mechanism, "measure", np.array([0.0, 0.2, 1.2, 3.0]), 1.0, "mm", "made case")]
    return read_plane(plane, stress, 400.0 * stress, 2, 3 if sure else None, signs, ["side blow-out"])


def prediction(elevation: float, free: float, coupled: float, intact: float, agreed: bool = True) -> Prediction:
    return Prediction(
        "M-100-U", reading("elevation", elevation, "prying"), reading("plan", free, "side_thrust"),
        reading("plan", intact, "strut_crushing"), reading("plan", coupled, "side_thrust"),
        (Pass(intact, coupled, True), Pass(coupled, coupled, True)), agreed, 150e3,
    )  # fmt: skip


def test_the_weaker_plane_governs_and_the_other_is_the_margin() -> None:
    seen = prediction(elevation=500.0, free=250.0, coupled=400.0, intact=600.0)
    assert seen.governing.plane == "plan" and seen.bar_stress == 400.0
    following, margin = seen.next
    assert following is not None and following.mechanism == "prying" and margin == pytest.approx(1.25)
    turned = prediction(elevation=380.0, free=250.0, coupled=400.0, intact=600.0)
    assert turned.governing.plane == "elevation" and turned.next[1] == pytest.approx(400.0 / 380.0)


def test_a_limit_passed_before_the_strength_is_told_as_passed_and_never_as_next() -> None:
    stress = np.array([0.0, 200.0, 400.0, 300.0])
    signs = [
        Sign("side_thrust", "measure", np.array([0.0, 0.2, 1.2, 5.0]), 1.0, "mm", "made case"),
        Sign("hook_bearing", "measure", np.array([0.0, 1.1, 1.5, 1.6]), 1.0, "mm", "made case"),
    ]
    plan = read_plane("plan", stress, 400.0 * stress, 2, 3, signs)
    free = reading("plan", 250.0, "side_thrust")
    seen = Prediction("M", reading("elevation", 500.0, "prying"), free, free, plan, (), True, 1.0)
    assert [(f.mechanism, share) for f, share in seen.passed] == [("hook_bearing", pytest.approx(0.5))]
    assert seen.next[0] is not None and seen.next[0].mechanism == "prying"
    assert "passed before: bearing of the hook at 0.50 of that" in "\n".join(seen.sentences)


def test_the_evidence_of_a_passed_limit_is_that_of_the_sign_that_passed_first() -> None:
    stress = np.array([0.0, 200.0, 400.0, 300.0])
    signs = [
        Sign("side_thrust", "measure", np.array([0.0, 0.2, 1.2, 5.0]), 1.0, "mm", "made case"),
        Sign("hook_bearing", "strong and late", np.array([0.0, 0.5, 9.0, 9.1]), 1.0, "mm", "made case"),
        Sign("hook_bearing", "weak and early", np.array([0.0, 1.1, 1.5, 1.6]), 1.0, "mm", "made case"),
    ]
    plan = read_plane("plan", stress, 400.0 * stress, 2, 3, signs)
    free = reading("plan", 250.0, "side_thrust")
    said = "\n".join(Prediction("M", reading("elevation", 500.0, "prying"), free, free, plan, (), True, 1.0).sentences)
    assert "passed before: bearing of the hook at 0.50 of that (weak and early 1.5 mm" in said
    assert "reached at 200 MPa" in said and "strong and late" not in said


@pytest.mark.parametrize(("end", "told"), [(520.0, True), (404.0, False), (150.0, False)])
def test_a_plane_that_carries_more_after_its_drop_says_so(end: float, told: bool) -> None:
    stress = np.array([0.0, 200.0, 400.0, 300.0, end])
    signs = [Sign("bond_splitting", "measure", np.array([0.0, 0.2, 1.2, 3.0, 3.0]), 1.0, "", "made case")]
    plan = read_plane("plan", stress, 400.0 * stress, 2, 3, signs)
    free = reading("plan", 250.0, "side_thrust")
    seen = Prediction("M", reading("elevation", 600.0, "prying"), free, free, plan, (), True, 1.0)
    assert seen.bar_stress == 400.0
    text = "after the drop the plan carried more again, up to 520 MPa by the end of its run"
    assert (text in "\n".join(seen.sentences)) == told


def test_planes_that_fail_alike_are_not_each_others_next() -> None:
    free = reading("plan", 250.0, "side_thrust")
    alike = Prediction(
        "M", reading("elevation", 450.0, "yielding"), free, free, reading("plan", 400.0, "yielding"), (), True, 1.0
    )
    assert alike.next == (None, float("inf")) and "next:" not in "\n".join(alike.sentences)


def test_the_margin_to_a_plane_that_never_dropped_is_a_lower_bound() -> None:
    seen = prediction(elevation=500.0, free=250.0, coupled=400.0, intact=600.0)
    assert "next: prying at the hook at 1.25 times that" in "\n".join(seen.sentences)
    still = replace(seen, elevation=reading("elevation", 500.0, "prying", sure=False))
    assert "next: prying at the hook no less than 1.25 times that" in "\n".join(still.sentences)


def test_the_bracket_is_told_and_the_uncoupled_minimum_is_not_the_answer() -> None:
    seen = prediction(elevation=500.0, free=250.0, coupled=400.0, intact=600.0)
    assert seen.bracket == (250.0, 500.0)
    assert seen.uncoupled == 250.0 and seen.bar_stress != seen.uncoupled
    text = "\n".join(seen.sentences)
    assert "no plane 250 MPa, coupled 400 MPa, intact plane 600 MPa" in text and "not the answer" in text
    assert seen.band == pytest.approx(((1 - MODEL_BAND) * 400.0, (1 + MODEL_BAND) * 400.0))


def test_passes_that_did_not_agree_are_told() -> None:
    assert "agreed in 2 passes: 600 -> 400, 400 -> 400" in "\n".join(prediction(500, 250, 400, 600).sentences)
    once = replace(prediction(500, 250, 400, 600), passes=(Pass(400.0, 400.0, True),))
    assert "agreed in 1 pass: 400 -> 400" in "\n".join(once.sentences)
    assert "did NOT agree" in "\n".join(prediction(500, 250, 400, 600, agreed=False).sentences)


def test_no_word_without_evidence_and_what_is_not_in_the_planes_is_told() -> None:
    text = prediction(500, 250, 400, 600).sentences
    assert text[0].startswith("side thrust at the edge bars in the plan at a bar stress of 400 MPa")
    assert text[1].startswith("because: measure 1.2 mm at strength, limit 1 (made case)")
    assert text[-1] == "not resolvable in 2D: side blow-out"


@pytest.mark.parametrize(("formula", "word"), [(350.0, "LESS than the planes"), (650.0, "more than they hold")])
def test_the_formula_for_side_splitting_is_told_beside_the_planes(formula: float, word: str) -> None:
    seen = replace(prediction(500, 250, 400, 600), side_splitting=formula)
    assert f"{formula:.0f} MPa, {word}" in "\n".join(seen.sentences)
    assert seen.as_dict()["beside"] in seen.sentences
    assert prediction(500, 250, 400, 600).beside == ""


def test_a_run_without_a_drop_gives_a_lower_bound() -> None:
    alone = Prediction("M", reading("elevation", 700.0, "prying", sure=False), None, None, None, (), True, 1.0)
    assert "at least 700 MPa" in alone.sentences[0] and alone.bracket == (700.0, 700.0)
    assert alone.sentences[0].startswith("no failure seen, the load never dropped (nearest: prying at the hook)")
    yielded = Prediction("M", reading("elevation", 700.0, "yielding", sure=False), None, None, None, (), True, 1.0)
    assert yielded.sentences[0].startswith("flexural yielding in the elevation at a bar stress of at least 700")


def test_an_uncoupled_minimum_that_is_a_lower_bound_is_told_as_one() -> None:
    seen = replace(prediction(500, 250, 400, 600), free=reading("plan", 250.0, "side_thrust", sure=False))
    assert "lower of two uncoupled planes: >250 MPa" in "\n".join(seen.sentences)


def test_a_run_that_ended_early_names_no_failure() -> None:
    stress = np.array([0.0, 100.0, 200.0])
    early = read_plane("elevation", stress, 400.0 * stress, 2, None, [
        Sign("yielding", "share", np.array([0.0, 0.1, 0.3]), 1.0, "", "made case", False)
    ])  # fmt: skip
    said = Prediction("M", early, None, None, None, (), True, 1.0).sentences[0]
    assert said.startswith("no mechanism reached its limit (nearest: flexural yielding)") and "at least 200" in said


def test_it_is_fit_for_json() -> None:
    stored = json.loads(json.dumps(prediction(500, 250, 400, 600).as_dict()))
    assert stored["mechanism"] == "side_thrust" and stored["bracket"] == [250.0, 500.0]
    assert stored["elevation"]["findings"][0]["mechanism"] == "prying"


def test_load_of_a_bar_stress_follows_the_rising_branch() -> None:
    stress, load = [0.0, 100.0, 80.0, 200.0, 150.0], [0.0, 50.0, 45.0, 90.0, 60.0]
    assert load_at(100.0, stress, load) == pytest.approx(50.0)
    assert load_at(150.0, stress, load) == pytest.approx(70.0)
    assert load_at(900.0, stress, load) == pytest.approx(90.0)


def test_passes_meet_where_strength_found_is_stress_given() -> None:
    """A plan whose strength is 500 - 0.3 g meets it at 500/1.3; one that grows with g is halved towards."""
    def passes(f, a: float, b: float) -> list[Pass]:
        return [Pass(a, f(a), True), Pass(b, f(b), True)]

    assert _meeting(passes(lambda g: 500.0 - 0.3 * g, 700.0, 290.0)) == pytest.approx(500.0 / 1.3)
    assert _meeting(passes(lambda g: 200.0 + 0.5 * g, 700.0, 550.0)) == pytest.approx(0.5 * (550.0 + 475.0))
    kinked = [Pass(735.0, 228.0, True), Pass(228.0, 365.0, True)]
    assert 228.0 <= _meeting(kinked) <= 365.0
