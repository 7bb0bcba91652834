"""Study file, samples and cases: all faults at once, margins of the samples, what is dropped and why.

Sources: distributions of ``scipy.stats`` as the second computation; stratification as McKay, Beckman & Conover
(1979) define it. The specimens are those of ``models/``; geometry that cannot be built is common practice.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from scipy import stats

from fesplice.contracts import InputFault
from fesplice.specimen import read_text
from fesplice.study import cases, read_study, read_study_text
from fesplice.study.distributions import Distribution, correlation_matrix, latin_hypercube
from fesplice.study.keys import held, key

MODELS = Path(__file__).parents[2] / "models"
GRID = """
name = "Grid"
base = "as29-100-u.toml"
views = "both"
[set]
"mesh.splice" = "25 mm"
mesh.elsewhere = "80 mm"
[grid]
"bars.spacing" = ["contact", "100 mm", "560 mm"]
[[lists]]
name = "confinement"
labels = ["none", "ties"]
[lists.keys]
confinement = [
    { kind = "none" },
    { kind = "ties", size = "10", spacing = "85 mm", number = 6, steel = "ties" },
]
"""
SAMPLE = """
base = "as29-100-u.toml"
seed = 11
[sample]
number = 60
[sample.values]
"concrete.closure.strength" = { distribution = "normal", cov = 0.06 }
"concrete.closure.tensile_strength" = { distribution = "lognormal", mean = "2 MPa", cov = "12 %" }
"bars.left.depth" = { distribution = "normal", mean = "20 in", sd = "2 mm" }
"joint.friction" = { distribution = "triangular", low = 0.6, mode = 0.9, high = 1.0 }
[[sample.pairs]]
keys = ["concrete.closure.strength", "concrete.closure.tensile_strength"]
correlation = 0.8
"""


def study(text: str):
    return read_study_text(text, "study.toml", MODELS)


def faults(text: str) -> list[str]:
    with pytest.raises(InputFault) as caught:
        study(text)
    assert caught.value.exit_code == 2
    return [str(f) for f in caught.value.faults]


# ------------------------------------------------------------------ cases
def test_grid_and_lists_give_every_combination():
    found = cases(study(GRID))
    assert [c.label for c in found[:4]] == [
        "spacing contact, confinement none", "spacing contact, confinement ties",
        "spacing 100 mm, confinement none", "spacing 100 mm, confinement ties",
    ]  # fmt: skip
    assert [c.dropped for c in found] == [False] * 4 + [True] * 2
    assert "outside the width" in found[4].reason
    assert found[0].levels == {"bars.spacing_mm": 28.7, "confinement": "none"}
    made = [read_text(c.text) for c in found[:4]]
    assert [s.bars.spacing for s in made] == [28.7, 28.7, 100.0, 100.0]
    assert [s.confinement.kind for s in made] == ["none", "ties", "none", "ties"]
    assert all(s.mesh.splice == 25.0 and s.mesh.elsewhere == 80.0 for s in made)
    # hand values of the demonstration table: 240 and 360 MPa without ties, 521 with
    assert found[0].hand["hand_stress_MPa"] == pytest.approx(240, rel=0.02)
    assert found[2].hand["hand_stress_MPa"] == pytest.approx(360, rel=0.02)
    assert found[3].hand["hand_stress_MPa"] == pytest.approx(521, rel=0.02)
    assert found[2].hand["hand_load_kN"] == pytest.approx(132, rel=0.02)


def test_identity_comes_from_the_content_alone():
    first = cases(study(GRID))
    other = cases(study(GRID.replace('["contact", "100 mm", "560 mm"]', '["10 cm", "120 mm", "contact"]')))
    assert len({c.id for c in first if c.id}) == 4
    assert {c.id for c in first[:2]} <= {c.id for c in other}
    assert other[0].id == first[2].id
    assert not {c.id for c in cases(study(GRID.replace('"25 mm"', '"26 mm"'))) if c.id} & {c.id for c in first}


def test_a_specimen_that_stands_already_is_dropped():
    found = cases(study(GRID.replace('"560 mm"', '"10 cm"')))
    assert [c.reason for c in found[4:]] == ["the same specimen as case 3", "the same specimen as case 4"]


def test_listed_cases_have_their_own_base_and_test():
    text = """
    views = "plan"
    [[cases]]
    label = "U"
    base = "as29-100-u.toml"
    measured = { load = "30 kip", bar_stress = "52 ksi", mode = "splitting" }
    [[cases]]
    label = "wider"
    base = "as19-100-u.toml"
    set = { body.width = "450 mm" }
    [grid]
    "concrete.closure.strength" = ["30 MPa", "40 MPa"]
    """
    found = cases(study(text))
    assert [c.label for c in found] == [
        "case U, strength 30 MPa", "case U, strength 40 MPa",
        "case wider, strength 30 MPa", "case wider, strength 40 MPa",
    ]  # fmt: skip
    assert [c.quantities["d_b_mm"] for c in found] == [28.7, 28.7, 19.1, 19.1]
    assert found[0].measured and found[0].measured.load == pytest.approx(30 * 4448.2216)
    assert found[0].measured.bar_stress == pytest.approx(52 * 6.894757) and found[2].measured is None


# ------------------------------------------------------------------ samples
def test_sample_has_the_stated_scatter_and_correlation():
    found = cases(study(SAMPLE))
    assert len(found) == 60 and not any(c.dropped for c in found)
    concrete = "concrete.closure."
    names = (f"{concrete}strength_MPa", f"{concrete}tensile_strength_MPa", "bars.left.depth_mm", "joint.friction")
    fc, ft, d, mu = (np.array([c.levels[name] for c in found]) for name in names)
    assert fc.mean() == pytest.approx(35.0, rel=5e-3) and fc.std() / fc.mean() == pytest.approx(0.06, rel=0.08)
    assert ft.mean() == pytest.approx(2.0, rel=5e-3) and ft.std() / ft.mean() == pytest.approx(0.12, rel=0.08)
    assert d.mean() == pytest.approx(20 * 25.4, abs=0.1) and d.std() == pytest.approx(2.0, rel=0.08)
    assert 0.6 < mu.min() < mu.max() < 1.0 and mu.mean() == pytest.approx(2.5 / 3, rel=5e-3)
    assert stats.spearmanr(fc, ft).statistic == pytest.approx(6 / np.pi * np.arcsin(0.4), abs=0.06)
    assert abs(stats.spearmanr(fc, d).statistic) < 0.15
    assert [c.text for c in cases(study(SAMPLE))] == [c.text for c in found]
    assert [c.text for c in cases(study(SAMPLE.replace("seed = 11", "seed = 12")))] != [c.text for c in found]


def test_every_margin_is_stratified():
    matrix = correlation_matrix(["a", "b", "c"], {("a", "b"): 0.7, ("b", "c"): -0.5})
    shares = latin_hypercube(40, matrix, 3)
    for column in shares.T:
        assert np.array_equal(np.sort((column * 40).astype(int)), np.arange(40))
    scores = np.corrcoef(stats.norm.ppf(shares), rowvar=False)
    assert scores == pytest.approx(matrix, abs=0.1)


@pytest.mark.parametrize(
    ("law", "oracle"),
    [
        (Distribution("normal", 30.0, cov=0.1), stats.norm(30.0, 3.0)),
        (Distribution("lognormal", 2.0, sd=0.5), stats.lognorm(np.sqrt(np.log1p(0.0625)), scale=2.0 / np.sqrt(1.0625))),
        (Distribution("uniform", low=2.0, high=5.0), stats.uniform(2.0, 3.0)),
        (Distribution("triangular", low=1.0, mode=2.0, high=5.0), stats.triang(0.25, 1.0, 4.0)),
        (Distribution("triangular", low=1.0, mode=1.0, high=5.0), stats.triang(0.0, 1.0, 4.0)),
    ],
    ids=lambda x: x.name if isinstance(x, Distribution) else "",
)
def test_distributions(law: Distribution, oracle):
    for share in (0.001, 0.05, 0.3, 0.5, 0.95, 0.999):
        assert law.at(share) == pytest.approx(float(oracle.ppf(share)))


# ------------------------------------------------------------------ faults
def test_all_faults_at_once():
    told = faults("""
    base = "none-such.toml"
    view = "both"
    views = "elevations"
    [set]
    "bars.spacng" = "100 mm"
    [grid]
    "bars.lap" = ["460 mm", "460", 18]
    "mesh.splice" = "25 mm"
    [[lists]]
    name = "x"
    [lists.keys]
    "bars.spacing" = ["100 mm"]
    "bars.lap" = ["460 mm", "500 mm"]
    [sample]
    number = 0
    [sample.values]
    "joint.friction" = { distribution = "normal", mean = 0.9 }
    "joint.roughness" = { distribution = "normal", cov = 0.1 }
    "joint.tensile_strength" = { distribution = "gaussian", cov = 0.1 }
    "joint.cohesion" = { distribution = "uniform", low = "2 MPa", high = "1 MPa" }
    [[sample.pairs]]
    keys = ["joint.friction", "joint.cohesion"]
    correlation = 1.5
    [resources]
    workers = -1
    memory = "lots"
    """)
    for words in (
        "base = 'none-such.toml'", "did you mean 'views'", "allowed: elevation, plan, both",
        "did you mean bars.spacing?",
        "grid.bars.lap[1] = '460': the unit is missing", "grid.bars.lap[2] = 18", "grid.mesh.splice = '25 mm': a list",
        "bars.lap is already changed under grid", "number = 0: 1 to", "give either cov or sd", "holds no number",
        "allowed: normal, lognormal, uniform, triangular", "low must be below high", "between -1 and 1",
        "workers = -1", "memory = 'lots'",
    ):  # fmt: skip
        assert any(words in line for line in told), (words, told)
    assert any("(line 3)" in line and "view" in line for line in told)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ('base = "as29-cb.toml"', "nothing is varied"),
        ("", "missing"),
        ('base = "as29-cb.toml"\n[grid]\n"bars" = ["x"]\n"bars.lap" = ["1 m"]', "already changed"),
        ('base = "as29-cb.toml"\n[sample]\nnumber = 9\n[sample.values]\n', "no key to sample"),
        (
            'base = "as29-cb.toml"\n[[lists]]\nname = "a"\nkeys = { "bars.lap" = ["1 m"], "bars.spacing" = [] }',
            "a list",
        ),
    ],
)
def test_single_faults(text: str, words: str):
    assert any(words in line for line in faults(text))


def test_contradicting_correlations_are_refused():
    with pytest.raises(ValueError, match="contradict"):
        correlation_matrix(["a", "b", "c"], {("a", "b"): 0.9, ("b", "c"): 0.9, ("a", "c"): -0.9})


def test_files_that_cannot_be_read(tmp_path: Path):
    (tmp_path / "bad.toml").write_text("[grid", encoding="utf-8")
    for name, words in (("none.toml", "no such file"), ("bad.toml", "not valid TOML")):
        with pytest.raises(InputFault, match=words):
            read_study(tmp_path / name)


def test_keys_know_their_unit_and_place():
    s = read_text((MODELS / "as29-100-u.toml").read_text(encoding="utf-8"))
    assert key("steel.main.yield_strength").column == "steel.main.yield_strength_MPa"
    assert held(s, "steel.main.yield_strength") == 725.0 and held(s, "bars.left.hook.tail") == pytest.approx(344.4)
    assert key("bars.spacing").text(100.0) == "100 mm" and key("joint.friction").text(0.9) == 0.9
    with pytest.raises(ValueError, match="one of them"):
        key("steel")


def test_a_fault_names_the_file_and_the_line_that_the_user_wrote(tmp_path) -> None:
    """Of a value of the study its own line, of one of the specimen that file's; counted here as an editor counts."""
    base = (MODELS / "as29-100-u.toml").read_text(encoding="utf-8")
    (tmp_path / "s.toml").write_text(base, encoding="utf-8")
    study = 'name = "b"\nbase = "s.toml"\nviews = "elevation"\n[set]\n"bars.left.depth" = "900 mm"\n'
    (tmp_path / "b.toml").write_text(study + '[grid]\n"bars.lap" = ["400 mm"]\n', encoding="utf-8")
    (case,) = cases(read_study(tmp_path / "b.toml"))
    assert case.dropped and "bars.left.depth = '900 mm'" in case.reason and "(b.toml, line 5)" in case.reason
    assert "(line" not in case.reason
    broken = base.replace('lap = "460 mm"', 'lap = "46 MPa"')
    number = next(k for k, line in enumerate(broken.splitlines(), start=1) if "46 MPa" in line)
    (tmp_path / "s.toml").write_text(broken, encoding="utf-8")
    with pytest.raises(InputFault) as fault:
        read_study(tmp_path / "b.toml")
    assert f"(s.toml, line {number})" in str(fault.value) and "(line 2)" in str(fault.value)
