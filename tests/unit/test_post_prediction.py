"""Two views read together, on made assessments: which governs, bracket, band, margin, words, the file and back.

Source: the rules are the module's own; made cases, nothing outside the project is used here.
"""

from __future__ import annotations

import json
import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from fesplice import Prediction
from fesplice.contracts import FolderFault
from fesplice.pipeline.both import _meeting
from fesplice.post.mechanisms import Assessment, Indicator, Mechanism, assess
from fesplice.post.prediction import RECORD, Made, Pass
from fesplice.post.runs import load_at
from fesplice.post.scatter import unseen


def measure(mechanism: str, values: list[float], what: str = "measure", growing: bool = True) -> Indicator:
    return Indicator(Mechanism(mechanism), what, np.array(values), 1.0, "mm", "made case", growing)


def judged(view: str, strength: float, mechanism: str, dropped: bool = True) -> Assessment:
    stress = np.array([0.0, 0.5, 1.0, 0.8]) * strength
    found = [measure(mechanism, [0.0, 0.2, 1.2, 3.0])]
    return assess(view, stress, 400.0 * stress, 2, 3 if dropped else None, found, ["side blow-out"])


def alone(elevation: Assessment, plan: Assessment | None = None) -> Prediction:
    """No plan, or a made one between two that side thrust ends."""
    free = judged("plan", 250.0, "side_thrust") if plan is not None else None
    return Prediction("M", elevation, free, free, plan, (), True, 1.0)


def prediction(elevation: float, free: float, coupled: float, intact: float, agreed: bool = True) -> Prediction:
    return Prediction(
        "M-100-U", judged("elevation", elevation, "prying"), judged("plan", free, "side_thrust"),
        judged("plan", intact, "strut_crushing"), judged("plan", coupled, "side_thrust"),
        (Pass(intact, coupled, True), Pass(coupled, coupled, True)), agreed, 150e3,
    )  # fmt: skip


def test_the_weaker_view_governs_and_the_other_comes_next() -> None:
    seen = prediction(elevation=500.0, free=250.0, coupled=400.0, intact=600.0)
    assert seen.governing.view == "plan" and seen.bar_stress == 400.0 and seen.mode is Mechanism.side_thrust
    following = seen.next
    assert following is not None and following.mechanism is Mechanism.prying
    assert following.margin == pytest.approx(1.25) and following.bar_stress == 500.0
    turned = prediction(elevation=380.0, free=250.0, coupled=400.0, intact=600.0)
    assert turned.governing.view == "elevation" and turned.next is not None
    assert turned.next.margin == pytest.approx(400.0 / 380.0)


STRESS = np.array([0.0, 200.0, 400.0, 300.0])


def test_a_limit_passed_before_the_strength_is_told_as_before_and_never_as_next() -> None:
    found = [measure("side_thrust", [0.0, 0.2, 1.2, 5.0]), measure("hook_bearing", [0.0, 1.1, 1.5, 1.6])]
    plan = assess("plan", STRESS, 400.0 * STRESS, 2, 3, found)
    seen = alone(judged("elevation", 500.0, "prying"), plan)
    assert [(view, s.mechanism, s.reached_at) for view, s in seen.before] == [("plan", Mechanism.hook_bearing, 200.0)]
    assert seen.next is not None and seen.next.mechanism is Mechanism.prying
    assert seen.sentences[1].startswith("plan: bearing of the hook at 200 MPa (80 kN per side), after which the bars")


def test_what_the_other_view_went_through_before_is_told_with_its_evidence() -> None:
    """Weak and early passes first, at 200 MPa with 1.1 mm; strong and late is not what is told."""
    found = [
        measure("prying", [0.0, 0.2, 0.9, 5.0]), measure("hook_bearing", [0.0, 0.5, 9.0, 9.1], "strong and late"),
        measure("hook_bearing", [0.0, 1.1, 1.5, 1.6], "weak and early"),
    ]  # fmt: skip
    elevation = assess("elevation", 1.2 * STRESS, 400.0 * STRESS, 2, 3, found)
    said = "\n".join(alone(elevation, judged("plan", 400.0, "side_thrust")).sentences)
    assert "before, in the elevation: bearing of the hook at 240 MPa (80 kN per ram) (weak and early 1.1 mm" in said
    assert "reached at 240 MPa (step 1)" in said and "strong and late" not in said


@pytest.mark.parametrize(("end", "told"), [(520.0, True), (404.0, False), (150.0, False)])
def test_a_view_that_carries_more_after_its_drop_says_so(end: float, told: bool) -> None:
    stress = np.append(STRESS, end)
    plan = assess("plan", stress, 400.0 * stress, 2, 3, [measure("bond_splitting", [0.0, 0.2, 1.2, 3.0, 3.0])])
    seen = alone(judged("elevation", 600.0, "prying"), plan)
    assert seen.bar_stress == 400.0
    text = "after the drop the plan carried more again, up to 520 MPa by the end of its run"
    assert (text in "\n".join(seen.sentences)) == told


def test_views_that_fail_alike_are_not_each_others_next() -> None:
    alike = alone(judged("elevation", 450.0, "yielding"), judged("plan", 400.0, "yielding"))
    assert alike.next is None and "next: no other mechanism reached its limit in either view" in alike.sentences
    assert alike.answer()["next"] is None


def test_the_margin_to_a_view_that_never_dropped_is_a_lower_bound_or_a_stress_that_was_reached() -> None:
    seen = prediction(elevation=500.0, free=250.0, coupled=400.0, intact=600.0)
    assert "next: prying at the hook in the elevation at 500 MPa, 1.25 times that" in "\n".join(seen.sentences)
    still = assess("elevation", STRESS[:3] * 1.25, STRESS[:3], 2, None, [measure("prying", [0.0, 0.2, 0.8])])
    following = replace(seen, elevation=still).next
    assert following is not None and following.bound and following.margin == pytest.approx(1.25)
    assert following.text == "prying at the hook in the elevation no earlier than 500 MPa, 1.25 times that"


def test_a_mechanism_that_no_view_reached_has_no_margin() -> None:
    """At 0.4 of its limit in the governing view: no multiple of stress is told of it anywhere."""
    found = [measure("side_thrust", [0.0, 0.2, 1.2, 5.0]), measure("strut_crushing", [0.0, 0.2, 0.4, 0.3])]
    plan = assess("plan", STRESS, 400.0 * STRESS, 2, 3, found)
    seen = alone(judged("elevation", 390.0, "side_thrust"), plan)
    assert seen.next is None and "crushing of struts" not in "\n".join(seen.sentences)


def test_the_bracket_is_told_and_the_uncoupled_minimum_is_not_the_answer() -> None:
    seen = prediction(elevation=500.0, free=250.0, coupled=400.0, intact=600.0)
    assert seen.bracket == (250.0, 500.0)
    assert seen.bracket_ends == ("an open plane between slab and body, steel across alone", "the elevation")
    assert seen.uncoupled == 250.0 and seen.bar_stress != seen.uncoupled
    text = "\n".join(seen.sentences)
    assert "open plane 250 MPa, coupled 400 MPa, intact plane 600 MPa" in text and "not the answer" in text
    ends = [400.0 * unseen("hooks").quantile(q) for q in (0.05, 0.95)]
    assert seen.band == pytest.approx(ends) and ends[0] < 0.75 * 400.0 and ends[1] > 1.25 * 400.0


def test_passes_that_did_not_agree_are_told() -> None:
    assert "agreed in 2 passes: 600 -> 400, 400 -> 400" in "\n".join(prediction(500, 250, 400, 600).sentences)
    once = replace(prediction(500, 250, 400, 600), passes=(Pass(400.0, 400.0, True),))
    assert "agreed in 1 pass: 400 -> 400" in "\n".join(once.sentences)
    assert "did NOT agree" in "\n".join(prediction(500, 250, 400, 600, agreed=False).sentences)


def test_no_word_without_evidence_and_what_is_not_in_the_views_is_told() -> None:
    text = prediction(500, 250, 400, 600).sentences
    assert text[0].startswith("side thrust at the edge bars in the plan at a bar stress of 400 MPa")
    assert text[1] == "plan: failure at 400 MPa (160 kN per side) by side thrust at the edge bars"
    assert text[2] == "elevation: failure at 500 MPa (200 kN per ram) by prying at the hook"
    assert text[3] == (
        "because: side thrust at the edge bars: measure 1.2 mm, limit 1 mm (made case), reached at 400 MPa (step 2); "
        "1.2 mm at strength, 3 mm after the drop"
    )
    assert "not resolvable in 2D: side blow-out" in text and text.count("not resolvable in 2D: side blow-out") == 1


@pytest.mark.parametrize(("formula", "word"), [(350.0, "less than the views"), (650.0, "more than the views")])
def test_the_formula_for_side_splitting_is_told_beside_the_views_and_decides_nothing(formula: float, word: str) -> None:
    """Below or above the views' 400 MPa: one sentence, and the answer is that of the views."""
    seen = replace(prediction(500, 250, 400, 600), side_splitting=formula)
    assert f"{formula:.0f} MPa" in seen.beside and word in seen.beside and seen.beside in seen.sentences
    assert seen.bar_stress == 400.0 and seen.mode is Mechanism.side_thrust and seen.view == "plan"
    assert seen.answer()["bar_stress_MPa"] == 400.0 and seen.answer()["view"] == "plan"
    assert prediction(500, 250, 400, 600).beside == ""


def test_a_run_without_a_drop_gives_a_lower_bound() -> None:
    still = alone(judged("elevation", 700.0, "prying", dropped=False))
    assert "at least 700 MPa" in still.sentences[0] and still.bracket == (700.0, 700.0) and not still.exact
    assert still.sentences[0].startswith("no failure seen, the load never dropped (nearest: prying at the hook)")
    assert still.mode is Mechanism.none
    yielded = alone(judged("elevation", 700.0, "yielding", dropped=False))
    assert yielded.sentences[0].startswith("flexural yielding in the elevation at a bar stress of at least 700")


def test_an_uncoupled_minimum_that_is_a_lower_bound_is_told_as_one() -> None:
    seen = replace(prediction(500, 250, 400, 600), free=judged("plan", 250.0, "side_thrust", dropped=False))
    assert "lower of two uncoupled views: at least 250 MPa" in "\n".join(seen.sentences)


def test_a_run_that_ended_early_names_no_failure() -> None:
    stress = np.array([0.0, 100.0, 200.0])
    early = assess("elevation", stress, 400.0 * stress, 2, None, [
        measure("yielding", [0.0, 0.1, 0.3], "share", growing=False)
    ])  # fmt: skip
    said = alone(early).sentences[0]
    assert said.startswith("no mechanism reached its limit (nearest: flexural yielding)") and "at least 200" in said


# ------------------------------------------------------------------ on disk
def kept(folder: Path, seen: Prediction) -> Path:
    (folder / RECORD).write_text(seen.to_json(), encoding="utf-8")
    return folder


def test_a_prediction_comes_back_from_its_folder_as_it_was_made(tmp_path: Path) -> None:
    """Compared as plain values too: None equals itself, nan does not."""
    made = Made("2024-01-01T00:00:00+00:00", "1.0", "abc", "def", "0123")
    seen = replace(prediction(500, 250, 400, 600), side_splitting=350.0, notes=("elevation: stopped",), made=made)
    back = Prediction.read(kept(tmp_path, seen))
    assert back.to_dict() == seen.to_dict() and back.sentences == seen.sentences and back.answer() == seen.answer()
    assert back.to_json() == seen.to_json() and repr(back) == repr(seen)
    assert isinstance(back.elevation, Assessment) and back.coupled == seen.coupled
    assert back.governing.governing is not None and back.governing.governing.mechanism is Mechanism.side_thrust
    assert back.next is not None and seen.next is not None and back.next == seen.next


def test_what_is_not_known_is_null_in_the_file_and_nan_again(tmp_path: Path) -> None:
    seen = alone(judged("elevation", 700.0, "prying", dropped=False))
    text = seen.to_json()
    assert "NaN" not in text and "Infinity" not in text
    stored = json.loads(text, parse_constant=lambda name: pytest.fail(f"{name} is no JSON"))
    assert stored["prediction"]["side_splitting"] is None and stored["prediction"]["elevation"]["margin"] is None
    back = Prediction.read(kept(tmp_path, seen))
    assert math.isnan(back.side_splitting) and math.isnan(back.elevation.margin) and math.isnan(back.elevation.later)
    assert back.coupled is None and back.sentences == seen.sentences


def test_the_answer_stands_in_the_file_as_the_record_says_it() -> None:
    seen = prediction(500, 250, 400, 600)
    stored = json.loads(seen.to_json())
    answer = stored["answer"]
    assert answer["mode"] == "side_thrust" and answer["bracket_MPa"] == [250.0, 500.0] and answer["exact"] is True
    assert answer["sentence"] == seen.sentence == answer["sentences"][0]
    assert answer["next"] == {
        "view": "elevation", "mechanism": "prying", "bar_stress": 500.0, "margin": 1.25, "bound": False,
        "evidence": seen.next.evidence if seen.next else "",
    }  # fmt: skip
    assert stored["prediction"]["elevation"]["states"][0]["mechanism"] == "prying"


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("{}", "has no edition"),
        ("[]", "has no edition"),
        ('{"edition": 1, "mechanism": "prying"}', "is of edition 1, this program reads edition 3"),
        ('{"edition": 99}', "is of edition 99"),
        ('{"edition": 3}', "the whole"),
        ('{"edition": 3, "prediction": {"specimen": "M"}}', "elevation"),
        ("not json", "cannot be read"),
        ("[" * 100000, "cannot be read"),
    ],
)
def test_a_file_that_is_no_prediction_is_refused_by_name_and_key(tmp_path: Path, text: str, said: str) -> None:
    (tmp_path / RECORD).write_text(text, encoding="utf-8")
    with pytest.raises(FolderFault) as fault:
        Prediction.read(tmp_path)
    assert str(tmp_path / RECORD) in str(fault.value) and said in str(fault.value) and fault.value.exit_code == 2
    assert len(str(fault.value)) < 500


@pytest.mark.parametrize(
    ("path", "value"),
    [
        (("coupled", "states", 0, "mechanism"), "gust"),
        (("coupled", "bar_stress"), "strong"),
        (("elevation", "states", 0, "evidence", 0, "limit"), None),
        (("passes", 0, "given"), [1.0]),
        (("agreed",), "perhaps"),
    ],
)
def test_a_faulty_value_is_named_with_its_place(tmp_path: Path, path: tuple, value: object) -> None:
    stored = json.loads(prediction(500, 250, 400, 600).to_json())
    inner = stored["prediction"]
    for key in path[:-1]:
        inner = inner[key]
    inner[path[-1]] = value
    (tmp_path / RECORD).write_text(json.dumps(stored), encoding="utf-8")
    with pytest.raises(FolderFault) as fault:
        Prediction.read(tmp_path)
    assert str(tmp_path / RECORD) in str(fault.value) and ".".join(map(str, path)) in str(fault.value)


def test_a_folder_without_a_prediction_is_refused(tmp_path: Path) -> None:
    with pytest.raises(FolderFault, match="cannot be read"):
        Prediction.read(tmp_path)


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
