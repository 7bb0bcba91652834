"""What is kept of a computed case, and the digest that says whether it still holds.

A record is a JSON file in runs/validation/SERIES/, named after the case and a digest of all the
prediction depends on: the inputs that the case carries, the settings, the source of the
computing rooms of fesplice and of the module of the series, and the releases of the libraries.
"""

from __future__ import annotations

import functools
import hashlib
import json
import os
import re
import sys
from collections.abc import Callable, Mapping
from dataclasses import asdict, dataclass, fields, is_dataclass
from importlib.metadata import version
from pathlib import Path
from types import ModuleType
from typing import Any

import numpy as np

from validation.case import Case, Found, Settings

ROOT = Path(__file__).resolve().parents[2]
#: Rooms of fesplice that no prediction depends on.
ASIDE = ("cli", "study", "report", "store", "measured")
LIBRARIES = ("numpy", "scipy", "numba", "gmsh")


@dataclass(frozen=True)
class Record:
    """A case that was run: what was found, or the ``reason`` why nothing was; ``seconds`` of the clock."""

    series: str
    name: str
    digest: str
    settings: Settings
    found: Found | None
    reason: str
    seconds: float


# ------------------------------------------------------------------ digests
def describe(value: Any) -> str:
    """A text that is the same for equal inputs, whatever carries them: rows, partials, closures, methods, files."""
    if value is None or isinstance(value, bool | int | float | complex | str | bytes):
        return repr(value)
    if isinstance(value, np.generic):
        return repr(value.item())
    if isinstance(value, np.ndarray):
        return f"array{value.shape}{hashlib.sha256(np.ascontiguousarray(value).tobytes()).hexdigest()}"
    if isinstance(value, Path):
        return _files([value] if value.is_file() else sorted(p for p in value.glob("*") if p.is_file()))
    if isinstance(value, Mapping):
        return "{" + ",".join(f"{describe(k)}:{describe(v)}" for k, v in value.items()) + "}"
    if isinstance(value, set | frozenset):
        return "{" + ",".join(sorted(describe(v) for v in value)) + "}"
    if isinstance(value, list | tuple):
        return "[" + ",".join(describe(v) for v in value) + "]"
    if isinstance(value, functools.partial):
        return f"partial({describe(value.func)},{describe(value.args)},{describe(value.keywords)})"
    if isinstance(value, ModuleType | type):
        return getattr(value, "__qualname__", value.__name__)
    if callable(value) and hasattr(value, "__qualname__"):
        held = [cell.cell_contents for cell in getattr(value, "__closure__", None) or ()]
        held += [getattr(value, "__self__", None), getattr(value, "__defaults__", None)]
        return f"{value.__qualname__}({describe(held)})"
    if isinstance(digest := getattr(value, "digest", None), str):
        return digest
    if is_dataclass(value):
        return type(value).__qualname__ + describe({f.name: getattr(value, f.name) for f in fields(value)})
    return type(value).__qualname__ + describe(getattr(value, "__dict__", {}))


def _files(paths: list[Path]) -> str:
    h = hashlib.sha256()
    for path in paths:
        h.update(path.name.encode() + b"\0" + path.read_bytes() + b"\0")
    return h.hexdigest()


@functools.cache
def engine() -> str:
    """Digest of the computing rooms of fesplice and of the libraries below it."""
    package = ROOT / "fesplice"
    rooms = sorted(p for p in package.rglob("*.py") if p.relative_to(package).parts[0] not in ASIDE)
    tables = sorted(p for p in package.rglob("*.csv")) + sorted(p for p in package.rglob("*.toml"))
    return _files(rooms + tables) + "".join(version(name) for name in LIBRARIES)


def _own(module: ModuleType, seen: set[str]) -> list[Path]:
    """Sources of a module of this folder and of the modules of this folder that it uses."""
    if module.__name__ in seen or not getattr(module, "__file__", None):
        return []
    seen.add(module.__name__)
    found = [Path(str(module.__file__))]
    for value in list(vars(module).values()):
        name = value.__name__ if isinstance(value, ModuleType) else getattr(value, "__module__", "") or ""
        if isinstance(name, str) and name.startswith("validation.") and name in sys.modules:
            found += _own(sys.modules[name], seen)
    return sorted(found)


def digest(case: Case, settings: Settings) -> str:
    """Digest of everything the prediction of ``case`` depends on."""
    module = sys.modules.get(_module(case.run))
    sources = _files(_own(module, {"validation.case"})) if module is not None else ""
    parts = [case.series, case.name, describe(case.run), describe(settings), engine(), sources]
    return hashlib.sha256("\n".join(parts).encode()).hexdigest()


def _module(run: Callable) -> str:
    inner = run.func if isinstance(run, functools.partial) else run
    return getattr(inner, "__module__", "") or type(inner).__module__


# ------------------------------------------------------------------ files
def place(root: Path, case: Case, mark: str) -> Path:
    """Where the record of a case goes, without suffix; the folder of the same name is the case's own."""
    name = re.sub(r"[^\w.+-]+", "_", case.name)
    return root / case.series / f"{name}-{mark[:16]}"


def _file(root: Path, case: Case, mark: str) -> Path:
    folder = place(root, case, mark)
    return folder.with_name(folder.name + ".json")  # a name may hold a point


def write(root: Path, case: Case, record: Record) -> None:
    """Write the record whole or not at all."""
    path = _file(root, case, record.digest)
    path.parent.mkdir(parents=True, exist_ok=True)
    part = path.with_name(f"{path.name}.{os.getpid()}.partial")
    part.write_text(json.dumps(asdict(record), indent=1, default=_plain))
    os.replace(part, path)


def _plain(value: Any) -> Any:
    if isinstance(value, np.generic):
        return value.item()
    if isinstance(value, np.ndarray):
        return value.tolist()
    raise TypeError(f"a record cannot hold a {type(value).__name__}")


def load(root: Path, case: Case, mark: str) -> Record | None:
    """The record of this very case, or None."""
    path = _file(root, case, mark)
    try:
        held = json.loads(path.read_text())
        found = Found(**held["found"]) if held["found"] is not None else None
        return Record(**held | {"settings": Settings(**held["settings"]), "found": found})
    except (OSError, ValueError, KeyError, TypeError):
        return None


def last_seconds(root: Path, case: Case) -> float:
    """How long the case took the last time, whatever was changed since [s]; infinite if never run."""
    stem = re.sub(r"[^\w.+-]+", "_", case.name)
    old = sorted((root / case.series).glob(f"{stem}-" + "?" * 16 + ".json"), key=lambda p: p.stat().st_mtime)
    for path in reversed(old):
        try:
            return float(json.loads(path.read_text())["seconds"])
        except (OSError, ValueError, KeyError):
            continue
    return float("inf")
