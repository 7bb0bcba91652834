"""Laws of one's own: named in the specimen, brought by an installed package, handed in from a notebook.

Entry points as the packaging specification "Entry points" describes them (a group, a name, module:object). Bond that
is linear has the force k_t x perimeter x slip per length (Hooke). Otherwise what is owed here is the project's own
promise: the run tells which laws it was computed by, and is never taken for one by others.
"""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest

from fesplice import Run, analyse, predict, read
from fesplice.contracts import BondLaw, BondNumbers, ConcreteNumbers, FolderFault, InputFault, Law, Response
from fesplice.laws import BOND, CONCRETE, BondSlip, Elastic, LinearBond
from fesplice.model.choice import choose, described
from fesplice.specimen import Specimen, vary_many

MODELS = Path(__file__).parents[2] / "models"
COARSE = {"mesh.splice": "45 mm", "mesh.elsewhere": "120 mm", "analysis.max_steps": 3}
SPECIMEN = vary_many(read(MODELS / "as29-100-u.toml"), COARSE)


class Stiff(BondSlip):
    """MC2010's bond with the modulus of unloading doubled."""

    @classmethod
    def built(cls, numbers: BondNumbers) -> BondSlip:
        law = BondSlip.built(numbers)
        return cls(
            law.curve, law.perimeter, law.bearing, law.bearing_cap, law.bearing_width, law.anchored,
            2.0 * law.stiffness,
        )  # fmt: skip


@dataclass(frozen=True)
class Springs:
    """Linear bond of a modulus of one's own [N/mm3]; the object is the maker and its field the setting."""

    modulus: float

    def built(self, numbers: BondNumbers) -> LinearBond:
        width = numbers.number * numbers.diameter
        return LinearBond(self.modulus, 300.0, np.pi * width, width)


@dataclass(frozen=True)
class Bare:
    """The least that a bond law must say: springs along and across, nothing that joins several lines."""

    perimeter: np.ndarray
    n_strain: int = 2
    reads_opening: bool = False

    @classmethod
    def built(cls, numbers: BondNumbers) -> Bare:
        return cls(numbers.number * np.pi * numbers.diameter)

    def fresh(self, shape: tuple[int, int]) -> dict[str, np.ndarray]:
        return {}

    def respond(self, strain, history, size, *, secant: float = 0.0) -> Response:
        k = 200.0 * self.perimeter[:, None, None]
        return Response(k * strain, k[..., None] * np.broadcast_to(np.eye(2), (*strain.shape, 2)), history)


def bond(run: Run) -> dict:
    return run.settings["laws"]["bond"]


def numbers(points: int = 1) -> BondNumbers:
    one = np.ones(points)
    return BondNumbers(
        36.0 * one, 25.0 * one, 4.0 * one, "good", 12.5 * one, 0.0 * one, 50.0 * one, 60.0 * one, 0.0 * one,
        np.zeros(points, bool), 0.8, 0.0 * one,
    )  # fmt: skip


# ------------------------------------------------------------------ names
def test_what_a_specimen_names_is_looked_up() -> None:
    assert choose(SPECIMEN).bond is BOND["mc2010"] and choose(SPECIMEN).concrete is CONCRETE["smeared"]
    other = vary_many(SPECIMEN, {"bond.law": "linear", "analysis.concrete_law": "elastic"})
    assert choose(other).bond is LinearBond and choose(other).concrete is Elastic


def test_every_maker_of_the_registries_answers_a_law() -> None:
    for maker in BOND.values():
        assert isinstance(maker.built(numbers()), BondLaw)
    mean = ConcreteNumbers(30e3, 0.2, 3.0, 0.12, 38.0, 2.2e-3, 50.0, "rotating", 0.0, 1e9)
    for maker in CONCRETE.values():
        law = maker.built(mean)
        assert isinstance(law, Law) and law.n_strain == 3


@pytest.mark.parametrize(
    ("key", "given", "told"),
    [
        ("bond.law", "mc2011", "no such bond law; did you mean 'mc2010'? known: mc2010, linear"),
        ("bond.law", "os.system", "no such bond law; known: mc2010, linear"),
        ("analysis.concrete_law", "smear", "no such concrete law; did you mean 'smeared'? known: smeared, elastic"),
    ],
)
def test_an_unknown_name_tells_the_known_ones_and_writes_nothing(
    key: str, given: str, told: str, tmp_path: Path
) -> None:
    faulty = vary_many(SPECIMEN, {key: given})
    for compute in (analyse, predict):
        with pytest.raises(InputFault) as fault:
            compute(faulty, tmp_path / "run")
        assert str(fault.value) == f"specimen AS29-100-U: {key} = {given!r}: {told}"
        assert fault.value.exit_code == 2 and not (tmp_path / "run").exists()


def test_linear_bond_by_name() -> None:
    """Hooke: 4 bars of 25 mm, 200 N/mm3 as MC2010's bond has in unloading."""
    law = BOND["linear"].built(numbers())
    got = law.respond(np.array([[[0.01, 0.0]]]), {}, np.ones((1, 1)))
    assert got.stress[0, 0, 0] == pytest.approx(200.0 * 4.0 * np.pi * 25.0 * 0.01)


# ------------------------------------------------------------------ installed packages
@pytest.fixture
def package(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    """An installed package with a bond law, a concrete law, and one that cannot be imported."""
    home = tmp_path / "site"
    (home / "ribbed-1.4.dist-info").mkdir(parents=True)
    about = home / "ribbed-1.4.dist-info"
    (about / "METADATA").write_text("Metadata-Version: 2.1\nName: ribbed\nVersion: 1.4\n")
    (about / "RECORD").write_text("ribbed.py,,\n")
    (about / "top_level.txt").write_text("ribbed\n")
    (about / "entry_points.txt").write_text(
        "[fesplice.bond]\nribbed = ribbed:Ribbed\nbroken = ribbed:nothing\nplain = ribbed:PLAIN\n"
        "[fesplice.concrete]\nuncracked = ribbed:Uncracked\n"
    )
    (home / "ribbed.py").write_text(
        "from fesplice.laws import BondSlip, Elastic\n\nPLAIN = 3\n\n\n"
        "class Ribbed(BondSlip):\n    pass\n\n\nclass Uncracked(Elastic):\n    pass\n"
    )
    monkeypatch.syspath_prepend(str(home))
    from fesplice.model import choice

    choice._release.cache_clear()
    yield home
    choice._release.cache_clear()
    sys.modules.pop("ribbed", None)


def test_an_installed_package_brings_laws(package: Path) -> None:
    s = vary_many(SPECIMEN, {"bond.law": "ribbed", "analysis.concrete_law": "uncracked"})
    told = choose(s).as_dict()
    assert [told["bond"][k] for k in ("class", "module", "version")] == ["Ribbed", "ribbed", "1.4"]
    assert told["concrete"]["class"] == "Uncracked"
    before = told["bond"]["code"]
    (package / "ribbed.py").write_text((package / "ribbed.py").read_text() + "# another\n")
    assert choose(s).as_dict()["bond"]["code"] != before, "the package was edited in place"


@pytest.mark.parametrize(("name", "told"), [("broken", "AttributeError"), ("plain", "no method built")])
def test_a_package_that_fails_is_told(package: Path, name: str, told: str) -> None:
    with pytest.raises(InputFault, match=told):
        choose(vary_many(SPECIMEN, {"bond.law": name}))


def test_names_of_packages_are_told_among_the_known(package: Path) -> None:
    with pytest.raises(InputFault, match="known: mc2010, linear, broken, plain, ribbed"):
        choose(vary_many(SPECIMEN, {"bond.law": "zzz"}))


# ------------------------------------------------------------------ handed in
def test_a_run_tells_its_law_and_is_never_taken_for_one_by_another(tmp_path: Path) -> None:
    own = analyse(SPECIMEN, tmp_path / "own", bond=Stiff)
    usual = analyse(SPECIMEN, tmp_path / "usual")
    assert (bond(own)["class"], bond(own)["module"]) == ("Stiff", __name__) and len(bond(own)["code"]) == 12
    assert bond(usual) == {"class": "BondSlip", "module": "fesplice.laws.bond", "version": bond(usual)["version"]}
    assert not np.array_equal(own.curve["load_N"], usual.curve["load_N"])
    kept = (tmp_path / "own" / "curve.csv").read_bytes()
    for other in ({}, {"bond": LinearBond}, {"bond": Stiff, "concrete": Elastic}):
        with pytest.raises(FolderFault):
            analyse(SPECIMEN, tmp_path / "own", **other)
    again = analyse(SPECIMEN, tmp_path / "own", bond=Stiff)
    assert again.n_steps == own.n_steps and (tmp_path / "own" / "curve.csv").read_bytes() == kept


def test_settings_of_a_maker_are_part_of_the_run(tmp_path: Path) -> None:
    run = analyse(SPECIMEN, tmp_path / "run", bond=Springs(150.0))
    assert bond(run)["settings"] == {"modulus": 150.0}
    with pytest.raises(FolderFault):
        analyse(SPECIMEN, tmp_path / "run", bond=Springs(160.0))


def test_the_least_law_runs_and_is_the_linear_one(tmp_path: Path) -> None:
    """Two makers of the same springs give the same curve to the last but a few digits; each line its own part."""
    bare = analyse(SPECIMEN, tmp_path / "bare", bond=Bare)

    @dataclass(frozen=True)
    class Same:
        def built(self, numbers: BondNumbers) -> LinearBond:
            width = numbers.number * numbers.diameter
            return LinearBond(200.0, 200.0 * np.pi, np.pi * width, width)

    same = analyse(SPECIMEN, tmp_path / "same", bond=Same())
    assert bare.curve["load_N"] == pytest.approx(same.curve["load_N"], rel=1e-9)


def test_concrete_that_never_cracks_is_stiffer(tmp_path: Path) -> None:
    """And it tells no cracks: the fields stay zero."""
    s = vary_many(SPECIMEN, {"analysis.max_steps": 10})
    run, usual = analyse(s, tmp_path / "elastic", concrete=Elastic), analyse(s, tmp_path / "usual")
    at = float(min(run.curve["load_point_mm"][-1], usual.curve["load_point_mm"][-1]))
    loads = [np.interp(at, r.curve["load_point_mm"], r.curve["load_N"]) for r in (run, usual)]
    assert loads[0] > 1.05 * loads[1]
    cracks = [v for k, v in run.step(-1).fields.items() if k.endswith("/crack")]
    assert cracks and not any(np.any(c) for c in cracks)


@pytest.mark.parametrize(
    ("given", "told"),
    [
        (3.0, "no method built"),
        (lambda numbers: None, "no method built"),
        (type("Plain", (), {"built": int})(), "must be a dataclass"),
    ],
)
def test_what_makes_no_law_is_told(given: object, told: str, tmp_path: Path) -> None:
    with pytest.raises(InputFault, match=told):
        analyse(SPECIMEN, tmp_path / "run", bond=given)  # type: ignore[arg-type]
    assert not (tmp_path / "run").exists()


def test_settings_must_be_plain() -> None:
    @dataclass(frozen=True)
    class Odd:
        of: object

        def built(self, numbers: BondNumbers) -> LinearBond:
            return LinearBond.built(numbers)

    assert json.dumps(described(Odd((1, 2.0, "a")), "bond")["settings"]) == '{"of": [1, 2.0, "a"]}'
    with pytest.raises(InputFault, match="object is no setting"):
        described(Odd(object()), "bond")


def test_bond_that_cannot_wedge_is_told(tmp_path: Path) -> None:
    s = vary_many(SPECIMEN, {"bond.splitting": "wedging"})
    with pytest.raises(InputFault, match="LinearBond has no tau and press") as fault:
        analyse(s, tmp_path / "run", bond=LinearBond)
    assert fault.value.faults[0].path == "bond.splitting" and not (tmp_path / "run").exists()


# ------------------------------------------------------------------ notebooks
def notebook(factor: float) -> type:
    """A class of a module without a file, as a cell of a notebook makes it."""

    def built(cls, numbers: BondNumbers) -> LinearBond:
        return LinearBond.built(numbers)

    return type("Cell", (), {"built": classmethod(built), "factor": factor, "__module__": "a_notebook"})


def test_a_class_of_a_notebook_is_known_by_its_code() -> None:
    one, same, other = (described(notebook(f), "bond") for f in (1.0, 1.0, 2.0))
    assert one == same and one["module"] == "a_notebook" and one["version"] == ""
    assert one["code"] != other["code"]


# ------------------------------------------------------------------ predictions
def test_a_prediction_takes_a_law_that_only_this_process_knows(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The elevation runs here then: no process is started."""

    def refuse(*args: object, **more: object) -> None:
        raise AssertionError("a process was started")

    monkeypatch.setattr(subprocess, "Popen", refuse)
    s: Specimen = vary_many(read(MODELS / "as29-cb.toml"), {**COARSE, "analysis.max_steps": 8})
    predict(s, tmp_path / "home", bond=Springs(150.0))
    assert bond(Run(tmp_path / "home" / "elevation"))["settings"] == {"modulus": 150.0}


def test_plans_of_a_prediction_take_it_too(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    s = vary_many(SPECIMEN, {"plan.element": "40 mm"})
    predict(s, tmp_path / "home", bond=Springs(150.0))
    runs = sorted(tmp_path.glob("home/*/manifest.json"))
    assert len(runs) >= 4 and {bond(Run(r.parent))["class"] for r in runs} == {"Springs"}
    with pytest.raises(InputFault):  # by the specimen's own law it is another prediction
        predict(s, tmp_path / "home")
