"""What comes with an installation and what goes out of it: pins with hashes, licences, no network while it works.

Names of distributions compared as PEP 503 says; SHA-256 as pip's hash-checking mode wants it (pip documentation,
"Secure installs").
"""

from __future__ import annotations

import importlib.util
import os
import subprocess
import sys
from pathlib import Path
from types import ModuleType

import pytest

from fesplice.specimen import read
from fesplice.specimen.read import vary_many

ROOT = Path(__file__).resolve().parents[2]
#: Every way out is closed: names are not looked up, and nothing is connected to but sockets of this machine.
GUARD = """
import socket, sys
def refuse(*given, **named):
    raise AssertionError(f"the network was asked: {given}")
true = socket.socket.connect
def connect(self, address):
    if self.family not in (socket.AF_UNIX,):
        refuse(address)
    return true(self, address)
socket.socket.connect = connect
socket.socket.connect_ex = refuse
socket.socket.sendto = refuse
socket.getaddrinfo = socket.gethostbyname = socket.create_connection = refuse
from fesplice.cli import main
sys.argv = ["fesplice", *sys.argv[1:]]
main()
"""


def script(name: str) -> ModuleType:
    spec = importlib.util.spec_from_file_location(name, ROOT / "scripts" / f"{name}.py")
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def test_every_pin_has_a_hash_and_nothing_else_has_one() -> None:
    hashes = script("hashes")
    assert len(hashes.pins()) > 100 and hashes.hashed() == hashes.pins(), "run scripts/hashes.py"


def test_every_package_that_comes_along_tells_its_licence() -> None:
    licences = script("licences")
    found = licences.brought("fesplice", ["study"])
    assert {"numpy", "gmsh", "distributed", "click"} <= found.keys() and "pytest" not in found
    assert [name for name, package in found.items() if not licences.licence(package)] == []


@pytest.mark.parametrize("words", [
    ["check", "{file}"], ["keys", "span"], ["schedule", "{file}", "--out", "{home}/bars"],
    ["analyse", "{file}", "--out", "{home}/run"], ["--version"], ["sheet", "{file}", "--out", "{home}/sheet.html"],
    ["drawing", "{file}", "--out", "{home}/drawing"],
    ["reduce", "{test}/loads.csv", "{test}/strains.csv", "--rig", "{test}/rig.toml", "--specimen", "{file}",
     "--out", "{home}/test"],
], ids=lambda words: words[0])  # fmt: skip
def test_no_verb_asks_the_network(words: list[str], tmp_path: Path) -> None:
    file = tmp_path / "s.toml"
    coarse = {"mesh.splice": "45 mm", "mesh.elsewhere": "120 mm", "analysis.max_steps": 1}
    file.write_text(vary_many(read(ROOT / "models" / "as19-100-t3.toml"), coarse).text)
    given = [word.format(file=file, home=tmp_path, test=ROOT / "models" / "tests" / "as19-100-t3") for word in words]
    done = subprocess.run(
        [sys.executable, "-c", GUARD, *given], capture_output=True, text=True, env=os.environ | {"MPLBACKEND": "Agg"}
    )
    assert done.returncode == 0 and "the network was asked" not in done.stderr, done.stderr[-2000:]


def test_the_guard_itself_refuses() -> None:
    code = GUARD.replace("from fesplice.cli import main", "socket.create_connection(('127.0.0.1', 9))")
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True)
    assert done.returncode == 1 and "the network was asked" in done.stderr
