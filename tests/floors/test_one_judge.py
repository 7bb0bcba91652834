"""There is one judge: what a view failed by is named in one module, from limits that stand in one table.

The rule is the project's own (DEVELOPERS.md). Modes are told apart by their spellings: whoever writes one beside
the enum has begun a judge, or a second spelling, of his own.
"""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

from fesplice.post import limits
from fesplice.post.mechanisms import Mechanism

ROOT = Path(__file__).resolve().parents[2]
JUDGE = "fesplice/post/mechanisms.py"
#: Those that hand measures to the judge, and the only ones that may ask for a judgement.
ASKING = {"fesplice/post/elevation/indicators.py", "fesplice/post/plan/indicators.py"}
#: Those that may know a limit: indicators, the trace that follows bond past its peak, and events in their order.
MEASURING = ASKING | {f"fesplice/post/{name}.py" for name in
                      ("limits", "elevation/trace", "elevation/findings", "plan/trace")}  # fmt: skip
SOURCES = sorted(p for room in ("fesplice", "scripts") for p in (ROOT / room).rglob("*.py"))
#: Names of modes that mean nothing else: "shear" is a stress too, "none" a kind of confinement, and gauges measure a
#: "joint_opening".
SPELLINGS = {m.value for m in Mechanism if "_" in m.value} | {m.words for m in Mechanism if " " in m.words}
SPELLINGS -= {Mechanism.joint_opening.value}
LIMITS = {name for name in vars(limits) if name.isupper()}


def name_of(path: Path) -> str:
    return path.relative_to(ROOT).as_posix()


def faults(source: str, name: str) -> list[str]:
    """What a file may not do, with its line."""
    found = []
    for node in ast.walk(ast.parse(source)):
        line = f"{name}:{getattr(node, 'lineno', 0)}"
        if isinstance(node, ast.Constant) and node.value in SPELLINGS and name != JUDGE:
            found.append(f"{line} spells the mode {node.value!r} itself")
        called = getattr(node.func, "id", getattr(node.func, "attr", "")) if isinstance(node, ast.Call) else ""
        if called in ("assess", "MechanismState", "Assessment") and name not in ASKING | {JUDGE}:
            found.append(f"{line} judges by {called}()")
        if isinstance(node, ast.ImportFrom) and node.module == "fesplice.post.limits" and name not in MEASURING:
            found.append(f"{line} takes limits: {', '.join(a.name for a in node.names)}")
        if isinstance(node, ast.keyword) and node.arg in ("mode", "kind", "mechanism"):
            texts = [n.value for n in ast.walk(node.value) if isinstance(n, ast.Constant)]
            found += [f"{line} names the mode {t!r} by a text" for t in texts if t in set(Mechanism) and t != "none"]
    return found


@pytest.mark.parametrize("path", SOURCES, ids=name_of)
def test_no_file_judges_but_one(path: Path) -> None:
    assert faults(path.read_text(encoding="utf-8"), name_of(path)) == []


@pytest.mark.parametrize(
    "source",
    [
        'mode = "bond_splitting" if lost else "none"',
        'kind = {"x": "side thrust at the edge bars"}',
        "found = Found(mode='yielding')",
        "from fesplice.post.limits import CRUSHING",
        "seen = mechanisms.assess('plan', stress, load, 1, 2, [])",
    ],
)
def test_a_second_judge_is_noticed(source: str) -> None:
    assert len(faults(source, "fesplice/report/anything.py")) == 1


def test_the_rule_has_something_to_hold() -> None:
    """Modes have one spelling each, and limits are written where the table is."""
    assert len({m.words for m in Mechanism}) == len({m.value for m in Mechanism}) == len(Mechanism)
    assert len(SPELLINGS) > 10 and {"CRUSHING", "LOST", "SPLIT", "WIDE"} <= LIMITS
    for path in (ROOT / "fesplice" / "post").rglob("*.py"):
        if path.name != "limits.py":
            tree = ast.parse(path.read_text(encoding="utf-8"))
            targets = [t for n in tree.body if isinstance(n, ast.Assign) for t in n.targets]
            assert not {t.id for t in targets if isinstance(t, ast.Name)} & LIMITS, path
