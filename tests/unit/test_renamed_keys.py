"""Keys that have another name now: the old one is refused, and the new one is told (common practice, no source)."""

from __future__ import annotations

from pathlib import Path

import pytest

from fesplice import read
from fesplice.contracts import InputFault
from fesplice.measured.rig import Rig
from fesplice.specimen import read_text, vary
from fesplice.specimen.renamed import RENAMED
from fesplice.specimen.schema import Specimen
from fesplice.study import read_study_text
from fesplice.study.keys import key

MODELS = Path(__file__).parents[2] / "models"
SPECIMEN = read(MODELS / "as29-100-u.toml")
OLD = {"plan.hanging": '"none"', "loading.gear_weight": '"2 kN"'}


def test_every_new_name_is_a_key_and_no_old_one_is() -> None:
    for old, new in RENAMED.items():
        for path, there in ((old, False), (new, True)):
            table, _, name = path.partition(".")
            fields = Rig.model_fields if table == "test" else Specimen.model_fields
            assert (name in fields[table].annotation.model_fields) is there, path


@pytest.mark.parametrize("old", OLD)
def test_an_old_key_is_one_fault_that_tells_the_new_name(old: str) -> None:
    table, _, name = old.partition(".")
    text = SPECIMEN.text
    line = f"{name} = {OLD[old]}\n"
    head = f"[{table}]\n"
    text = text.replace(head, head + line, 1) if head in text else f"{text}\n{head}{line}"
    with pytest.raises(InputFault) as fault:
        read_text(text, "old.toml")
    (only,) = fault.value.faults
    assert only.path == old and only.allowed.startswith(f"is now called {RENAMED[old]} (line ")
    assert str(fault.value).startswith(f"old.toml: {old} = ") and fault.value.exit_code == 2


def test_a_fault_of_the_value_is_told_under_the_old_name_too() -> None:
    """It is the key that is wrong; what it says is judged once it has its name."""
    with pytest.raises(InputFault, match="plan.hanging.*is now called plan.interface"):
        vary(SPECIMEN, "plan.hanging", "loosely")


@pytest.mark.parametrize("old", OLD)
def test_studies_tell_it_too(old: str) -> None:
    with pytest.raises(ValueError, match=f"is now called {RENAMED[old]}"):
        key(old)


def test_an_old_key_of_a_study_file() -> None:
    with pytest.raises(InputFault, match="planes.*is now called views") as fault:
        read_study_text('name = "old"\nplanes = "plan"\n[grid]\n"bars.spacing" = ["100 mm"]\n')
    assert "line 2" in str(fault.value)


@pytest.mark.parametrize("file", sorted(MODELS.rglob("*.toml")), ids=lambda f: f.stem)
def test_no_file_of_ours_uses_an_old_key(file: Path) -> None:
    text = file.read_text(encoding="utf-8")
    assert not any(old.partition(".")[2] in text for old in RENAMED)
