"""The house rules that a reader of the source relies on, checked on the source itself.

Source: the layering contract in pyproject.toml and DEVELOPERS.md, the public signature of
the import-linter and ``ast`` libraries; the limits themselves are house rules with no
source outside.
"""

from __future__ import annotations

import ast
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
PACKAGE = ROOT / "fesplice"
SOURCES = sorted(PACKAGE.rglob("*.py"))

# Each heavy library has one door; every other file goes through it.
DOORS = {
    "gmsh": ("geometry/meshing.py",),
    "meshio": ("store/export.py",),
    "pint": ("units.py",),
    "h5py": ("store/",),
    "pyvista": ("report/elevation/scenes.py", "report/grid.py"),
    "pandas": ("answers.py",),
    "IPython": ("pipeline/watcher.py",),
    "vtk": ("report/elevation/scenes.py",),
    "vtkmodules": ("report/elevation/scenes.py",),
    "matplotlib": ("report/",),
    "jinja2": ("report/",),
    "pydantic": ("specimen/", "measured/rig.py", "post/values.py"),
    "typer": ("cli/",),
    "rich": ("cli/",),
    "dask": ("study/",),
    "ezdxf": ("report/dxf.py",),
    "pyarrow": ("measured/", "study/table.py"),
    "numba": ("compiled.py",),
    "pickle": (),
    "marshal": (),
    "shelve": (),
}

# Pairs that may never meet, even where the order of floors would let them.
STRANGERS = {
    "solve": ("laws", "elements", "model", "mesh"),
    "laws": ("elements", "mesh", "specimen", "model"),
    "elements": ("laws", "model"),
    "post": ("model", "solve", "geometry"),
    "provisions": ("mesh", "model", "solve", "geometry"),
    "report": ("model", "solve", "laws", "elements"),
    "measured": ("model", "solve", "laws", "elements"),
}


def imports(tree: ast.AST) -> set[str]:
    """Dotted names a module imports, at any depth, as written from the root."""
    found: set[str] = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            found.update(alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"line {node.lineno}: imports are written from the root"
            found.add(node.module or "")
            found.update(f"{node.module}.{alias.name}" for alias in node.names)
    return found


def calls(tree: ast.AST) -> set[str]:
    """Bare names that a module calls."""
    return {n.func.id for n in ast.walk(tree) if isinstance(n, ast.Call) and isinstance(n.func, ast.Name)}


def parsed(path: Path) -> ast.Module:
    return ast.parse(path.read_text(encoding="utf-8"))


def room(path: Path) -> str:
    """First part of a file's place in the package, without suffix: ``laws``, ``cli``, …"""
    return path.relative_to(PACKAGE).parts[0].removesuffix(".py")


@pytest.fixture(params=SOURCES, ids=lambda p: p.relative_to(PACKAGE).as_posix())
def source(request: pytest.FixtureRequest) -> Path:
    return request.param


def test_layers_are_kept() -> None:
    """The contract of pyproject.toml: downwards only, no neighbours, no room left out."""
    tool = Path(sys.executable).with_name("lint-imports")
    done = subprocess.run([tool, "--no-cache"], cwd=ROOT, capture_output=True, text=True)
    assert done.returncode == 0, done.stdout + done.stderr


def test_the_contract_notices_a_breach(tmp_path: Path) -> None:
    """A copy of the package in which the lowest floor looks up must be refused."""
    for path in SOURCES:
        copy = tmp_path / path.relative_to(ROOT)
        copy.parent.mkdir(parents=True, exist_ok=True)
        copy.write_text(path.read_text(encoding="utf-8"), encoding="utf-8")
    (tmp_path / "pyproject.toml").write_text((ROOT / "pyproject.toml").read_text(encoding="utf-8"), encoding="utf-8")
    with (tmp_path / "fesplice" / "contracts.py").open("a", encoding="utf-8") as file:
        file.write("\nimport fesplice.mesh\n")
    tool = Path(sys.executable).with_name("lint-imports")
    done = subprocess.run([tool, "--no-cache"], cwd=tmp_path, capture_output=True, text=True)
    assert done.returncode != 0
    assert "fesplice.contracts -> fesplice.mesh" in done.stdout


def test_libraries_stay_behind_their_doors(source: Path) -> None:
    """What stands under TYPE_CHECKING is read by the checker of types alone and passes."""
    place = source.relative_to(PACKAGE).as_posix()
    tree = parsed(source)
    tree.body = [n for n in tree.body if not (isinstance(n, ast.If) and ast.unparse(n.test) == "TYPE_CHECKING")]
    for name in imports(tree):
        library = name.split(".")[0]
        doors = DOORS.get(library)
        assert doors is None or any(place == d or (d.endswith("/") and place.startswith(d)) for d in doors), (
            f"{place} imports {library}, which only {' and '.join(doors) or 'nobody'} may"
        )


def test_strangers_do_not_meet(source: Path) -> None:
    met = {name.split(".")[1] for name in imports(parsed(source)) if name.startswith("fesplice.")}
    assert not met & set(STRANGERS.get(room(source), ()))


def test_no_code_from_text_and_no_talk(source: Path) -> None:
    """No eval, exec or compile anywhere; print only on the command line."""
    called = calls(parsed(source))
    assert not called & {"eval", "exec", "compile", "__import__", "breakpoint"}
    assert "print" not in called or room(source) == "cli"


def test_nobody_asks_for_the_kind_of_confinement(source: Path) -> None:
    """The specimen's confinement answers for itself; only the table that picks its class names the kinds."""
    kinds = {"ties", "stirrups", "hooked_transverse_bar"}
    for node in ast.walk(parsed(source)):
        if isinstance(node, ast.Compare):
            within = list(ast.walk(node))
            words = {n.value for n in within if isinstance(n, ast.Constant) and isinstance(n.value, str)}
            asked = any(isinstance(n, ast.Attribute) and n.attr == "kind" for n in within)
            assert not (asked and words & (kinds | {"none"})), f"line {node.lineno} compares a kind of confinement"
            assert "hooked_transverse_bar" not in words, f"line {node.lineno} compares a kind of confinement"
        elif isinstance(node, ast.Match):
            cases = {n.value for n in ast.walk(node) if isinstance(n, ast.Constant) and isinstance(n.value, str)}
            assert not cases & kinds, f"line {node.lineno} matches a kind of confinement"


def test_annotations_are_postponed(source: Path) -> None:
    """Wherever a function is defined; a face that only passes names on has none."""
    tree = parsed(source)
    if any(isinstance(node, ast.FunctionDef) for node in ast.walk(tree)):
        assert "__future__.annotations" in imports(tree)


def test_a_file_can_be_read_in_one_sitting(source: Path) -> None:
    """At most 500 lines of one subject; tables of numbers are data files, not modules."""
    assert len(source.read_text(encoding="utf-8").splitlines()) <= 500


def test_a_class_stays_small(source: Path) -> None:
    """At most 15 methods; properties and the names Python itself calls are not counted."""
    for node in ast.walk(parsed(source)):
        if isinstance(node, ast.ClassDef):
            methods = [
                n.name
                for n in node.body
                if isinstance(n, ast.FunctionDef) and not n.name.startswith("__") and not n.decorator_list
            ]
            assert len(methods) <= 15, f"{node.name} has {len(methods)} methods"


def test_modules_say_what_they_are_for(source: Path) -> None:
    """A docstring on every module that holds code, and on every public function and class."""
    tree = parsed(source)
    if not tree.body:
        return
    assert ast.get_docstring(tree), "no module docstring"
    for node in tree.body:
        if isinstance(node, ast.FunctionDef | ast.ClassDef) and not node.name.startswith("_"):
            assert ast.get_docstring(node), f"{node.name} has no docstring"
